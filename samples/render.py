"""Renders the pictures of the Lantern Row Workshop (invented) with their exact outlines.

    python samples/render.py [NAME ...] [--to FOLDER]

Run it from a clone: the renderer is the one that the tests measure by (tests/truth), not a part of the package.
Beside every picture stands NAME.expected.json: each item's exact lines and arcs in mm, in reading order.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from samples.card_on_glass import lay_card
from samples.photos import badge_scene, hanger_scene, mat_scenes
from tests.truth.flatbed import Rendered, Scene, save_jpeg
from tests.truth.photo import Photo, PhotoScene, save_photo
from tests.truth.shapes import Ring, Shape, circle, rectangle, ring, rounded, slot

DEMO = Path(__file__).resolve().parents[1] / "digitize" / "data" / "fobs.jpg"


@dataclass(frozen=True)
class Sample:
    """A picture: what draws it, how it is saved, and the options that measure it."""

    draw: Callable[[], Scene | PhotoScene]
    says: str
    suffix: str
    options: tuple[str, ...]


def fob(grown_mm: float) -> Shape:
    """Return a drop-shaped fob; blanks of one lot differ by `grown_mm` in width and height."""
    g = grown_mm / 2
    corners = [(-14 - g, -19 - g), (14 + g, -19 - g), (15 + g, 2), (5 + g, 21 + g), (-5 - g, 21 + g), (-15 - g, 2)]
    return Shape(rounded(corners, [8, 8, 10, 5, 5, 10]), (circle(5, (0, 16)),), "fob")


def tag() -> Shape:
    """Return a wooden tag with two cut corners and a hole for a string."""
    body = rounded([(-32, -17), (23, -17), (33, -8), (33, 8), (23, 17), (-32, 17)], [4, 0, 0, 0, 0, 4])
    return Shape(body, (circle(4.5, (26.5, 0)),), "tag")


def ornament() -> Shape:
    """Return an eight-lobed ornament with a pierced middle; its notches are sharp."""
    a = np.radians(45 * np.arange(8) + 22.5)
    edge = ring(24 * np.stack([np.cos(a), np.sin(a)], 1), np.full(8, 0.45))
    petals = tuple(_petal(90 * k) for k in range(4))
    return Shape(edge, (circle(3.2, (0, 21.5)), *petals), "ornament")


def _petal(degrees: float) -> Ring:
    """Return an almond between two arcs, its tips sharp."""
    return ring([(5, 0), (17, 0)], [0.42, 0.42]).placed((0, 0), degrees)


def phone_case() -> Shape:
    """Return a flat phone case with a camera window, a speaker slot and a round opening."""
    holes = (rectangle(30, 32, 6, (-15, 48)), circle(9, (20, 54)), slot(22, 3, (0, -64)))
    return Shape(rectangle(70, 142, 10), holes, "phone-case")


def fobs_scene() -> Scene:
    scene = Scene(158, 54, dpi_x=300.6, dpi_y=299.5, blur_px=0.7, noise_codes=1.0, gradient=(0.01, -0.01), seed=11)
    scene.add_square(30, (21, 27), angle_deg=4)
    for k, (grown, turned) in enumerate([(0.0, 3.0), (0.14, -2.0), (-0.1, 5.0)]):
        scene.add_item(fob(grown), (61 + 38.5 * k, 26), turned, (0.09, 0.16, 0.30))
    scene.add_dust(12, 1)
    return scene


def tag_scene() -> Scene:
    scene = Scene(164, 118, dpi_x=300, dpi_y=301.1, background=0.045, blur_px=0.8, noise_codes=1.4, seed=12)
    lay_card(scene, (45, 58), angle_deg=-3, printed=(0.9981, 0.9963))
    look = {"grain": 0.05, "grain_deg": 8}
    scene.add_item(tag(), (122, 60), 8, (0.62, 0.46, 0.29), **look)
    scene.add_dust(14, 2, light=True)
    return scene


def ornament_scene() -> Scene:
    scene = Scene(106, 68, dpi_x=400.7, dpi_y=399.4, background=0.86, blur_px=0.9, noise_codes=1.0, seed=13)
    scene.add_square(30, (23, 30), angle_deg=-11)
    scene.add_item(ornament(), (74, 34), 14, 0.11)
    scene.add_dust(16, 2)
    return scene


def case_scene() -> Scene:
    scene = Scene(138, 158, dpi_x=299.2, dpi_y=300.3, background=(0.88, 0.88, 0.88), blur_px=0.75, seed=14)
    scene.add_square(40, (28, 60), angle_deg=33)
    scene.add_item(phone_case(), (98, 79), 1.5, (0.16, 0.17, 0.18), shadow=0.1, shadow_mm=0.8)
    scene.add_dust(14, 2)
    return scene


SAMPLES = {
    "fobs": Sample(fobs_scene, "three fobs of one lot and a plain square of 30 mm", "jpg", ("--square", "30")),
    "tag": Sample(tag_scene, "a wooden tag on black and a ring card", "jpg", ("--measured", "53.90x53.80")),
    "ornament": Sample(
        ornament_scene, "a pierced ornament and a plain square of 30 mm, in grey", "png", ("--square", "30")
    ),
    "case": Sample(case_scene, "a phone case and a plain square of 40 mm, turned", "jpg", ("--square", "40")),
    "badge": Sample(
        badge_scene, "a photo: a badge 3.2 mm high beside the ring card", "jpg",
        ("--measured", "54x54", "--item-height", "3.2"),
    ),
    "hanger": Sample(
        hanger_scene, "a photo: a hanger 4 mm high on the mat", "jpg",
        ("--measured", "100x100", "--profile", "phone.toml", "--item-height", "4"),
    ),
}  # fmt: skip
LENS = "phone.toml"  # of the phone that took the photos
NIGHT = "night"  # a folder for `digitize batch`


def tags_scene(seed: int, *, square: bool = True, touching: bool = False) -> Scene:
    """Two tags of a lot on a lid that falls off a little; without the square, or with a tag on the card's paper."""
    scene = Scene(124, 84, dpi_x=200, background=0.84, gradient=(0.02, 0.015), blur_px=0.7, noise_codes=1.4, seed=seed)
    if square:
        scene.add_paper(34, 34, (24, 42), 2.0 * seed)
        scene.add_square(25, (24, 42), 2.0 * seed)
    for k in range(2):
        place = (52 if touching and k == 0 else 86, 21.5 + 41 * k)
        scene.add_item(tag(), place, 4.0 * k - seed, (0.30, 0.17, 0.08), grain=0.05, grain_deg=4.0 * k)
    scene.add_dust(8, 1)
    return scene


NIGHT_SCENES = {  # the last two need a person: no reference; a tag lies over it
    "tags-01": lambda: tags_scene(1),
    "tags-02": lambda: tags_scene(2),
    "tags-03": lambda: tags_scene(3, square=False),
    "tags-04": lambda: tags_scene(4, touching=True),
}


def render(name: str, folder: Path) -> None:
    """Draw one sample and write its picture and what is true of it."""
    sample = SAMPLES[name]
    picture = sample.draw().render()
    target = folder / f"{name}.{sample.suffix}"
    if isinstance(picture, Photo):
        save_photo(target, picture, quality=90)
    else:
        _save_scan(target, picture)
    expected = {
        "picture": target.name,
        "says": sample.says,
        "options": list(sample.options),
        "units": "mm, y up, zero at the lower left of each item's box; bulge = tan(angle / 4), holes clockwise",
        "items": [_expected(shape) for shape in picture.items],
    }
    (folder / f"{name}.expected.json").write_text(_lines(expected))
    print(f"{target.name}: {picture.pixels.shape[1]} x {picture.pixels.shape[0]} px, {target.stat().st_size >> 10} kB")


def _lines(expected: dict) -> str:
    """Return JSON with one point a line."""
    text = json.dumps(expected, indent=1)
    return re.sub(r"\[[^][{}]+\]", lambda found: " ".join(found[0].split()), text) + "\n"


def _save_scan(target: Path, picture: Rendered) -> None:
    claimed = round(picture.dpi[0] / 100) * 100
    if target.suffix == ".png":
        _save_grey(target, picture.pixels[..., 1], claimed)
    else:
        save_jpeg(target, picture, 95, dpi=claimed)


def render_lens(folder: Path) -> None:
    """Photograph the mat from several sides and measure the lens by it, with the command itself."""
    with tempfile.TemporaryDirectory() as below:
        names = []
        for number, scene in enumerate(mat_scenes()):
            names.append(str(Path(below) / f"mat-{number}.jpg"))
            save_photo(names[-1], scene.render(), quality=92)
        command = [sys.executable, "-m", "digitize", "profile", "lens", *names, "--to", str(folder / LENS)]
        subprocess.run(command, check=True)


def render_night(folder: Path) -> None:
    """Draw the folder for a batch."""
    (folder / NIGHT).mkdir(exist_ok=True)
    for name, draw in NIGHT_SCENES.items():
        save_jpeg(folder / NIGHT / f"{name}.jpg", draw().render(), 90, dpi=200)


def _save_grey(path: Path, codes: np.ndarray, dpi: int) -> None:
    from PIL import Image

    Image.fromarray(codes).save(path, "PNG", optimize=True, dpi=(dpi, dpi))


def _expected(shape: Shape) -> dict:
    x0, y0, x1, y1 = shape.bounds()
    return {
        "name": shape.name,
        "width_mm": round(x1 - x0, 6),
        "height_mm": round(y1 - y0, 6),
        "area_mm2": round(shape.area, 6),
        "perimeter_mm": round(shape.perimeter, 6),
        "exterior": _ring(shape.outer, (x0, y0)),
        "holes": [_clockwise(_ring(hole, (x0, y0))) for hole in shape.holes],
    }


def _ring(outline: Ring, zero: tuple[float, float]) -> list[list[float]]:
    """Return [x, y, bulge to the next point] a row, counter-clockwise."""
    points = outline.points - np.array(zero)
    return [[round(float(v), 6) for v in (*p, b)] for p, b in zip(points, outline.bulges, strict=True)]


def _clockwise(rows: list[list[float]]) -> list[list[float]]:
    back = rows[::-1]
    bulges = [row[2] for row in back[1:]] + [back[0][2]]
    return [[x, y, -b] for (x, y, _), b in zip(back, bulges, strict=True)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(SAMPLES)}; all unless said")
    parser.add_argument("--to", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    options.to.mkdir(parents=True, exist_ok=True)
    for name in options.names or SAMPLES:
        render(name, options.to)
    if not options.names:
        render_lens(options.to)
        render_night(options.to)
    fobs = options.to / DEMO.name
    if options.to == Path(__file__).parent and fobs.exists():
        DEMO.parent.mkdir(exist_ok=True)
        DEMO.write_bytes(fobs.read_bytes())


if __name__ == "__main__":
    main()
