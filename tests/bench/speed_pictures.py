"""The pictures that times are taken on: one page in every format, small, photos, and many of one thing.

``make(name, folder)`` renders one and saves it. Everything lies beside a plain square of 50 mm; nothing here is
measured for accuracy.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.truth import zoo
from tests.truth.flatbed import Rendered, Scene
from tests.truth.shapes import Shape, circle, rectangle, ring

SQUARE = ("--square", "50")
MAT = ("--measured", "100", "--item-height", "3")
SMALL = (*SQUARE, "--dust", "0.8")  # grains are less than 12 mm2 large
BESIDE = (*SQUARE, "--item-height", "3")
DARK = (0.10, 0.08, 0.05)


@dataclass(frozen=True)
class Kind:
    """A picture: its file, the options it is outlined with, and how its pixels come about."""

    file: str
    draw: Callable[[], Rendered]
    options: tuple[str, ...] = SQUARE
    save: dict[str, object] | None = None  # of Pillow


def page(dpi: float = 600) -> Rendered:
    """An A4 page with five items, a square, dust and noise."""
    scene = _scene(210.03, 297.02, dpi, seed=5)
    scene.add_square(50, (40, 250), angle_deg=7)
    places = [(140, 245), (50, 150), (150, 160), (55, 60), (150, 70)]
    makers = (zoo.tag, zoo.key_fob, zoo.heart, zoo.plaque, zoo.scalloped)
    for k, (make, place) in enumerate(zip(makers, places, strict=True)):
        scene.add_item(make(), place, 13.0 * k, DARK)
    scene.add_dust(40, 5)
    return scene.render()


def small() -> Rendered:
    """Two million pixels: a tag beside a square."""
    scene = _scene(140, 105, 300, seed=6)
    scene.add_square(50, (35, 60), angle_deg=4)
    scene.add_item(zoo.tag(), (100, 50), 20.0, DARK)
    return scene.render()


def free() -> Rendered:
    """Five shapes that are no lines and arcs, a phone case with a free edge among them."""
    scene = _scene(210, 297, 400, seed=7)
    scene.add_square(50, (40, 255), angle_deg=7)
    places = [(125, 240), (55, 165), (65, 80), (178, 205)]
    for k, (size, place) in enumerate(zip((30, 28, 33, 22), places, strict=True)):
        scene.add_item(_free(size, k), place, 17.0 * k, DARK)
    case = zoo.phone_case()
    scene.add_item(Shape(_wavy(case.outer), case.holes, "case"), (160, 90), 3.0, DARK)
    return scene.render()


def items(count: int, free_form: bool = False) -> Rendered:
    """So many blanks of 9 mm in rows under the square."""
    columns, pitch = 20, 12.0
    high = 60 + pitch * math.ceil(count / columns)
    scene = _scene(columns * pitch + 10, high, 300, seed=8)
    scene.add_square(50, (40, high - 30), angle_deg=2)
    for k in range(count):
        place = (11 + pitch * (k % columns), 7 + pitch * (k // columns))
        shape = _free(4.0, k) if free_form else Shape(rectangle(9, 6.5, 1.2), (circle(2, (2.5, 0)),), "blank")
        scene.add_item(shape, place, 13.0 * k, DARK)
    return scene.render()


def holes(count: int) -> Rendered:
    """A plate of as many holes of 2 mm."""
    columns, pitch = 50, 4.0
    rows = math.ceil(count / columns)
    scene = _scene(220, 75 + pitch * rows, 300, seed=9)
    scene.add_square(50, (40, 42 + pitch * rows), angle_deg=2)
    within = [(pitch * (k % columns - 24.5), pitch * (k // columns - (rows - 1) / 2)) for k in range(count)]
    plate = Shape(rectangle(206, pitch * rows + 4, 2), tuple(circle(2, at) for at in within), "plate")
    scene.add_item(plate, (110, 8 + pitch * rows / 2), 0.5, DARK)
    return scene.render()


def long_ring(amplitude_mm: float) -> Rendered:
    """One edge of 73 waves: of 7 mm about 25,000 px long, of 26 mm about 90,000."""
    scene = _scene(210, 297, 600, seed=10)
    scene.add_square(50, (40, 255), angle_deg=3)
    angle = np.linspace(0, 2 * math.pi, 20_000, endpoint=False)
    scene.add_item(Shape(_polar(70 + amplitude_mm * np.cos(73 * angle), angle), (), "ring"), (105, 105), 0, DARK)
    return scene.render()


def grains(count: int = 700) -> Rendered:
    """Grains of 6 x 2.5 mm, each of its own form, lying every way."""
    columns, pitch = 28, 7.5
    high = 60 + pitch * math.ceil(count / columns)
    scene = _scene(columns * pitch + 10, high, 300, seed=11)
    scene.add_square(50, (40, high - 30), angle_deg=2)
    rng = np.random.default_rng(11)
    angle = np.linspace(0, 2 * math.pi, 200, endpoint=False)
    for k in range(count):
        form = 1 + sum(rng.normal(0, 0.03) * np.cos(n * angle + rng.uniform(0, 6.3)) for n in range(2, 7))
        points = np.stack([3.0 * form * np.cos(angle), 1.25 * form * np.sin(angle)], 1)
        place = (8 + pitch * (k % columns), 5 + pitch * (k // columns))
        scene.add_item(Shape(ring(points), (), "grain"), place, rng.uniform(0, 180), DARK)
    return scene.render()


def _scene(width_mm: float, height_mm: float, dpi: float, *, seed: int) -> Scene:
    return Scene(width_mm, height_mm, dpi_x=dpi, blur_px=0.8, noise_codes=1.5, gradient=(0.01, 0.01), seed=seed)


def _free(size_mm: float, seed: int) -> Shape:
    """A smooth form of seven waves: nowhere a line or an arc."""
    rng = np.random.default_rng([seed, 3])
    angle = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    waves = sum(rng.normal(0, 0.16 / n) * np.cos(n * angle + rng.uniform(0, 6.3)) for n in range(2, 9))
    return Shape(_polar(size_mm * np.exp(waves), angle), (), "free")


def _wavy(outer):
    """The ring with gentle waves along it, so that no side is straight."""
    points = outer.sample(0.5)
    points = points[0] if isinstance(points, tuple) else points
    angle = np.arctan2(points[:, 1], points[:, 0])
    return ring(points * (1 + 0.008 * np.cos(5 * angle) + 0.004 * np.sin(9 * angle))[:, None])


def _polar(radii, angle):
    return ring(np.stack([radii * np.cos(angle), radii * np.sin(angle)], 1))


def _on_mat():
    from tests.bench.photo import mat_artwork
    from tests.truth.photo_scenes import photo_case

    return photo_case(1, artwork=mat_artwork()).photo


def _beside():
    from tests.truth.photo_scenes import photo_case

    return photo_case(1).photo


KINDS = {
    "png": Kind("page.png", page),
    "jpeg": Kind("page.jpg", page, save={"quality": 92}),
    "tiff": Kind("page.tif", page),
    "tiff-lzw": Kind("page-lzw.tif", page, save={"compression": "tiff_lzw"}),
    "tiff-deflate": Kind("page-deflate.tif", page, save={"compression": "tiff_adobe_deflate"}),
    "bmp": Kind("page.bmp", page),
    "png-140": Kind("page-140.png", lambda: page(1200)),
    "small": Kind("small.png", small),
    "photo": Kind("photo.jpg", _on_mat, MAT),
    "photo-square": Kind("photo-square.jpg", _beside, BESIDE),
    "free": Kind("free.png", free),
    **{f"items-{n}": Kind(f"items-{n}.png", lambda n=n: items(n)) for n in (10, 100, 400)},
    "free-400": Kind("free-400.png", lambda: items(400, free_form=True)),
    **{f"holes-{n}": Kind(f"holes-{n}.png", lambda n=n: holes(n)) for n in (1, 100, 1000)},
    "ring-25k": Kind("ring-25k.png", lambda: long_ring(7)),
    "ring-90k": Kind("ring-90k.png", lambda: long_ring(26)),
    "grains": Kind("grains.png", grains, SMALL),
}


def make(names: list[str], folder: Path) -> None:
    """Render the pictures of these names and save them as scanners' programs and phones do."""
    from PIL import Image

    from tests.truth.photo import save_photo

    drawn: dict[object, Rendered] = {}
    for name in names:
        kind = KINDS[name]
        if kind.draw not in drawn:
            drawn.clear()
            drawn[kind.draw] = kind.draw()
        if name.startswith("photo"):
            save_photo(folder / kind.file, drawn[kind.draw])
        else:
            picture = drawn[kind.draw]
            dots = {} if kind.file.endswith(".bmp") else {"dpi": tuple(round(one) for one in picture.dpi)}
            Image.fromarray(picture.pixels).save(folder / kind.file, **dots, **(kind.save or {}))
