"""A crisp shadow along one side of a reference, of an item, and all round one: how far off, what is said.

    python -m tests.bench.shadows            # all of it, about 5 minutes
    python -m tests.bench.shadows --only square disc

Each line is a scan or a photo with a shadow so wide and so light (paper has 0.85 in scans and 0.78 in photos, square,
disc and item of scans 0.03 to 0.05): of a reference the larger error of both scales and what is stated, per cent, of an
item the error of 95 % of its edge and what is stated, micrometres. SILENT is what is off by more without a LOOK.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from digitize.errors import DigitizeError
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.rendered import scanned
from tests.test_camera_photo import eye, read, scene_of
from tests.test_reference import locate, scale_errors, scan, scene
from tests.truth.flatbed import Scene
from tests.truth.scenes import shape_of
from tests.truth.score import compare
from tests.truth.shapes import circle

LIGHTS = (0.15, 0.3, 0.5)
Made = tuple[float, float, list[str]]  # off, stated, codes of LOOKs


def crescent(outline, wide_mm: float):
    """What a thing's shadow shows to its right, reaching in under the thing: (N, 2) mm."""
    middle = outline.mean(axis=0)
    turn = np.arctan2(*(outline - middle).T[::-1])
    right = np.flatnonzero(np.abs(turn) < np.radians(85))
    side = outline[right[np.argsort(turn[right])]]
    thrown = np.column_stack([wide_mm * np.cos(np.sort(turn[right])), np.zeros(len(right))])
    return np.vstack([side + thrown, (middle + 0.93 * (side - middle))[::-1]])


def of_scale(found, rendered) -> Made:
    stated = 2 * float(np.sqrt(sum(line.length_per_mm**2 for line in found.budget)))
    off = float(np.abs(scale_errors(found, rendered)).max())
    return 100 * off, 100 * stated, [one.code for one in found.findings if one.attention]


def of_item(result, truth) -> Made:
    item = max(result.items, key=lambda one: one.area_mm2)
    try:
        off = compare(item.exterior_mm, item.holes_mm, truth, any_turn=True).p95_um
    except ValueError:  # another number of holes
        off = float("inf")
    looks = [one.code for one in (*result.findings, *item.findings) if one.attention]
    return off, 1000 * item.uncertainty.profile_k2_mm, looks


def square(wide_mm: float, light: float, dpi: float) -> Made:
    made = scene(dpi=dpi)
    made.add_polygon([np.array([(30, 10), (32 + wide_mm, 10), (32 + wide_mm, 30), (30, 30)])], light)
    made.add_square(20, (22, 20))
    picture, rendered = scan(made, dpi=int(dpi))
    return of_scale(locate(picture, square_mm=(20, 20)).estimate, rendered)


def disc(wide_mm: float, light: float, dpi: float) -> Made:
    made, outline = scene(dpi=dpi), circle(25.0, (22, 20)).polygon(1e-4)
    made.add_polygon([crescent(outline, wide_mm)], light)
    made.add_polygon([outline], 0.05)
    picture, rendered = scan(made, dpi=int(dpi))
    return of_scale(locate(picture, disc_mm=25.0).estimate, rendered)


def item(wide_mm: float, light: float, dpi: float) -> Made:
    made = Scene(90, 60, dpi_x=dpi, blur_px=0.8, noise_codes=1.5, background=0.85)
    made.add_square(20, (15, 20))
    shape = shape_of("pebble")
    made.add_polygon([crescent(shape.placed((60, 30), 30).outer.polygon(1e-3), wide_mm)], light)
    truth = made.add_item(shape, (60, 30), 30)
    picture, _ = scanned(made, dpi=int(dpi))
    return of_item(outline_picture(picture, Settings(square_mm=(20.0, 20.0), tolerance_mm=0.1)).result, truth)


def in_photo(wide_mm: float, light: float, height_mm: float, *, of_square: bool) -> Made:
    """The outline of an item beside a square, a shadow along the square or along the item."""
    made, (c, s) = scene_of(eye()), (np.cos(np.radians(20)), np.sin(np.radians(20)))
    if of_square:
        strip = np.array([(24, -25), (25 + wide_mm, -25), (25 + wide_mm, 25), (24, 25)])
        made.add_polygon([strip @ [[c, s], [-s, c]] + (-45, 5)], light)
    made.add_square((50, 50), (-45, 5), 20)
    shape = shape_of("pebble")
    if not of_square:
        made.add_polygon([crescent(shape.placed((40, -5), 30).outer.polygon(1e-3), wide_mm)], light)
    truth = made.add_item(shape, (40, -5), 30, height_mm=height_mm)
    settings = Settings(square_mm=(50.0, 50.0), item_height_mm=height_mm, tolerance_mm=0.3)
    with tempfile.TemporaryDirectory() as folder:
        return of_item(outline_picture(read(Path(folder), made), settings).result, truth)


def photo_round(wide_mm: float, light: float, height_mm: float) -> Made:
    """An item with a band of shadow all round it, as under a lamp right above."""
    made, shape = scene_of(eye()), shape_of("pebble")
    made.add_square((50, 50), (-45, 5), 20)
    wider = shapely.Polygon(shape.placed((40, -5), 30).outer.polygon(1e-3)).buffer(wide_mm)
    made.add_polygon([np.array(wider.exterior.coords)[:-1]], light)
    truth = made.add_item(shape, (40, -5), 30, height_mm=height_mm)
    settings = Settings(square_mm=(50.0, 50.0), item_height_mm=height_mm, tolerance_mm=0.3)
    with tempfile.TemporaryDirectory() as folder:
        return of_item(outline_picture(read(Path(folder), made), settings).result, truth)


def photo_square(wide_mm: float, light: float, height_mm: float) -> Made:
    return in_photo(wide_mm, light, height_mm, of_square=True)


def photo_item(wide_mm: float, light: float, height_mm: float) -> Made:
    return in_photo(wide_mm, light, height_mm, of_square=False)


def cast(wide_mm: float, light: float, of: tuple[str, int, bool]) -> Made:
    """A flat item of this shape, its shadow its own outline moved this way; in a photo or a scan."""
    name, way_deg, in_a_photo = of
    shape, by = shape_of(name), wide_mm * np.array([np.cos(np.radians(way_deg)), np.sin(np.radians(way_deg))])
    at = np.array([40.0, -5.0] if in_a_photo else [60.0, 30.0])
    shadow = [ring.polygon(1e-3) for ring in shape.placed(tuple(at + by), 30).rings]
    if in_a_photo:
        made = scene_of(eye())
        made.add_square((50, 50), (-45, 5), 20)
        made.add_polygon(shadow, light)
        truth = made.add_item(shape, tuple(at), 30, height_mm=0.0)
        settings = Settings(square_mm=(50.0, 50.0), item_height_mm=0.0, tolerance_mm=0.3)
        with tempfile.TemporaryDirectory() as folder:
            return of_item(outline_picture(read(Path(folder), made), settings).result, truth)
    scene_ = Scene(90, 60, dpi_x=300, blur_px=0.8, noise_codes=1.5, background=0.85)
    scene_.add_square(20, (15, 20))
    scene_.add_polygon(shadow, light)
    truth = scene_.add_item(shape, tuple(at), 30)
    picture, _ = scanned(scene_, dpi=300)
    return of_item(outline_picture(picture, Settings(square_mm=(20.0, 20.0), tolerance_mm=0.1)).result, truth)


WIDTHS_MM, WAYS_DEG, SHAPES = (0.4, 0.8, 1.5), (0, 50, 130), ("key-fob", "star", "heart", "tag")
SCANS, PHOTOS = (0.05, 0.1, 0.2, 0.3, 0.5, 1.0), (0.2, 0.4, 0.6, 0.8, 1.2, 2.0)
CASES: dict[str, tuple[Callable[[float, float, Any], Made], tuple[Any, ...], str, tuple[float, ...]]] = {
    "square": (square, (300.0, 600.0), "dpi", SCANS),
    "disc": (disc, (300.0, 600.0), "dpi", SCANS),
    "item": (item, (300.0, 600.0), "dpi", SCANS),
    "photo_square": (photo_square, (3.0,), "mm high, 5 px/mm", PHOTOS),
    "photo_item": (photo_item, (0.0, 3.0), "mm high, 5 px/mm", PHOTOS),
    "cast": (cast, tuple(itertools.product(SHAPES, WAYS_DEG, (False,))), "of a scan", WIDTHS_MM),
    "photo_cast": (cast, tuple(itertools.product(SHAPES, WAYS_DEG, (True,))), "of a photo", WIDTHS_MM),
    "photo_round": (photo_round, (0.0,), "mm high, 5 px/mm", PHOTOS),
}


def rows(name: str) -> Iterator[str]:
    """The lines of one kind, and how often what."""
    make, given, what, widths = CASES[name]
    counts = {"held": 0, "said": 0, "refused": 0, "SILENT": 0}
    for value, wide, light in itertools.product(given, widths, LIGHTS):
        of = f"{value[0]} to {value[1]}°" if isinstance(value, tuple) else f"{value:g}"
        text = f"{name:13}{of:>6} {what}, {wide:4g} mm of {light:g}: "
        try:
            off, stated, looks = make(wide, light, value)
        except DigitizeError as refusal:
            counts["refused"] += 1
            yield f"{text}refused: {str(refusal)[:70]}"
            continue
        kind = "held" if off <= stated else "said" if looks else "SILENT"
        counts[kind] += 1
        yield f"{text}{off:8.2f} of {stated:8.2f} {kind:7} {' '.join(sorted(set(looks)))}"
    yield f"{name}: {', '.join(f'{count} {kind}' for kind, count in counts.items())}"


def main() -> int:
    """Print what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", nargs="+", choices=CASES, default=list(CASES))
    for name in parser.parse_args().only:
        for line in rows(name):
            print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
