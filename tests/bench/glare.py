"""A bright spot over an item's edge, as a lamp throws on what is glossy: how far off, how much, and what is said.

    python -m tests.bench.glare

A spot of so many millimetres (standard deviation) and so much of the way to the ground's light, at two places of the
edge, in a scan of 300 dpi and in a photo of 5 px a mm: the largest distance, 95 % of the edge, what is stated, all in
micrometres. SILENT: over three times what is stated along 0.5 mm of the edge, and no LOOK.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from digitize.errors import DigitizeError
from digitize.reading.picture import picture_from_bytes
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.rendered import as_picture, codes_of
from tests.test_camera_photo import eye, scene_of
from tests.truth.flatbed import Scene
from tests.truth.light import linear_light
from tests.truth.photo import save_photo
from tests.truth.scenes import shape_of
from tests.truth.score import compare

SIZES_MM, SHARES, PLACES = (0.3, 0.6, 1.0, 2.0, 3.0), (0.5, 0.7, 1.0), (0.1, 0.6)
LONG_MM = 0.5


def glared(pixels, x: float, y: float, size_px: float, share: float, ground: float):
    """Codes with a spot of light at a place."""
    rows, columns = np.mgrid[: pixels.shape[0], : pixels.shape[1]]
    spot = share * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * size_px**2))[..., None]
    light = linear_light(pixels.astype(float))
    return codes_of(light + np.maximum(ground - light, 0) * spot)


def place_of(truth, at: float):
    points = truth.outer.polygon(1e-3)
    return points[int(at * len(points))]


def scan(size_mm: float, share: float, at: float):
    made = Scene(90, 60, dpi_x=300, blur_px=0.8, noise_codes=1.5, background=0.85)
    made.add_square(20, (15, 20))
    truth = made.add_item(shape_of("pebble"), (60, 30), 30)
    scale, (x, y) = 300 / 25.4, place_of(truth, at)
    pixels = glared(made.render().pixels, x * scale, (60 - y) * scale, size_mm * scale, share, 0.85)
    return as_picture(pixels, dpi=300), Settings(square_mm=(20.0, 20.0), tolerance_mm=0.1), truth


def photo(size_mm: float, share: float, at: float):
    made = scene_of(eye())
    made.add_square((50, 50), (-45, 5), 20)
    truth = made.add_item(shape_of("pebble"), (40, -5), 30, height_mm=0.0)
    taken, place = made.render(), place_of(truth, at)
    (x, y), beside = taken.camera.to_px(np.array([place, place + np.array([1.0, 0.0])]))
    pixels = glared(taken.pixels, x, y, size_mm * float(np.hypot(*(beside - (x, y)))), share, 0.78)
    with tempfile.TemporaryDirectory() as folder:
        save_photo(Path(folder) / "photo.jpg", replace(taken, pixels=pixels))
        picture = picture_from_bytes((Path(folder) / "photo.jpg").read_bytes(), "photo.jpg")
    return picture, Settings(square_mm=(50.0, 50.0), item_height_mm=0.0, tolerance_mm=0.3), truth


def row(picture, settings, truth) -> tuple[str, str]:
    """What came of one, and its kind."""
    try:
        result = outline_picture(picture, settings).result
    except DigitizeError as refusal:
        return "refused", str(refusal)[:70]
    item = max(result.items, key=lambda one: one.area_mm2)
    score = compare(item.exterior_mm, item.holes_mm, truth, any_turn=True)
    off, stated = np.abs(score.distances_um), 1000 * item.uncertainty.profile_k2_mm
    looks = sorted({one.code for one in (*result.findings, *item.findings) if one.attention})
    around_mm = truth.outer.polygon(1e-3)
    around_mm = float(np.hypot(*(around_mm - np.roll(around_mm, 1, axis=0)).T).sum())
    is_off = around_mm * float((off > 3 * stated).mean()) > LONG_MM
    kind = "said" if looks else "SILENT" if is_off else "held"
    return kind, f"{off.max():6.0f}{score.p95_um:6.0f} of {stated:5.0f}  {' '.join(looks)}"


def main() -> int:
    """Print the rows, and how often what."""
    for make in (scan, photo):
        counts = {"held": 0, "said": 0, "refused": 0, "SILENT": 0}
        for size, share, at in itertools.product(SIZES_MM, SHARES, PLACES):
            kind, text = row(*make(size, share, at))
            counts[kind] += 1
            print(f"{make.__name__:6}{size:5g} mm {share:5g} at {at:g} {kind:8}{text}", flush=True)
        print(f"{make.__name__}: {', '.join(f'{count} {kind}' for kind, count in counts.items())}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
