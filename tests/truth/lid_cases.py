"""Single cases that went wrong once, each a function that returns a rendered `LidPicture` (or several)."""

from __future__ import annotations

import math

import numpy as np

from . import zoo
from .lid import LidPicture, LidScene
from .lid_light import Lid, Sensor, Strip
from .lid_shapes import plate, polygon_of, thin_ring
from .lid_things import Rim, Shade, Thing
from .light import linear_light
from .shapes import Shape, circle, rectangle

PALE_WOOD = (0.72, 0.62, 0.48)
WHITE = Lid(238, 232, towards_deg=20)
SQUARE_MM = 30.0


def of_code(code: float) -> tuple[float, float, float]:
    """Return the grey whose 8-bit code is `code`."""
    return (float(linear_light(code)),) * 3


def lid_of(light: float, **more) -> Lid:
    """Return an even lid of this linear reflectance."""
    from .light import srgb_codes

    code = float(srgb_codes(np.array(light)))
    return Lid(code, code, **more)


def pale_wood_with_shadow(strength=0.25, blur_mm=0.35, offset_mm=(0.25, 0.35), *, tags: int = 12, seed: int = 0):
    """Tags of pale wood on a white lid, each with a grey shadow to one side, beside a plain square of 30 mm."""
    rng = np.random.default_rng([seed, 31])
    scene = LidScene(125, 118, lid=WHITE, sensor=Sensor(1.2, streaks=0.003), seed=seed, name="pale wood with shadow")
    scene.tags |= {"pale-wood", "grain", "shade" if strength <= 0.15 else "deep-shade"}
    scene.add_square(SQUARE_MM, (20, 97), 2.0)
    _lay_tags(scene, tags, rng, lambda: PALE_WOOD, shade=Shade(strength, blur_mm, offset_mm), grain=0.05)
    return scene.render()


def _lay_tags(scene: LidScene, count: int, rng, colour, **look) -> None:
    places = [(46 + 29 * c, 12 + 20 * r) for r in range(5) for c in range(3)] + [(17, 12 + 20 * r) for r in range(3)]
    for x, y in places[:count]:
        scene.add(
            plate(22, 13, radius=2, hole_mm=3), (x, y), rng.uniform(-5, 5), reflectance=colour(), grain_deg=8, **look
        )


def dark_item_with_pale_rim(
    reflectance=0.60, width_mm=0.5, *, ground: float = 0.80, dpi: float = 300.0, blur_px: float = 0.8, seed: int = 0,
    alone: bool = False,
) -> LidPicture:  # fmt: skip
    """A dark tag and a dark fob, or the fob `alone`, whose outermost band is pale, nearly like the lid."""
    look = {"lid": lid_of(ground, mottle=0.003), "dpi": dpi, "blur_px": blur_px}
    size, square, fob = ((94, 50), (20, 25), (66, 25)) if alone else ((100, 75), (20, 55), (70, 42))
    scene = LidScene(*size, seed=seed, name="pale rim", tags={"rim"}, **look)
    scene.add_square(SQUARE_MM, square, 1.0)
    rim = Rim(width_mm, (reflectance,) * 3)
    scene.add(zoo.key_fob(), fob, 12, reflectance=(0.06, 0.05, 0.05), rim=rim)
    if not alone:
        scene.add(plate(34, 20, radius=3, hole_mm=5), (24, 19), -7, reflectance=(0.10, 0.06, 0.04), rim=rim)
    return scene.render()


def thin_rings(diameters_mm=(34.0, 18.0), wall_mm: float = 1.2, *, seed: int = 0) -> LidPicture:
    """Rings with a wall of 1.2 mm beside an ordinary tag."""
    scene = LidScene(110, 80, lid=WHITE, seed=seed, name="thin rings", tags={"thin-rings"})
    scene.add_square(SQUARE_MM, (20, 60), 1.0)
    scene.add(zoo.tag(), (40, 21), 5, reflectance=(0.08, 0.12, 0.30))
    for diameter, place in zip(diameters_mm, ((84, 55), (90, 20)), strict=True):
        scene.add(
            thin_ring(diameter, wall_mm), place, reflectance=(0.22, 0.21, 0.19), shade=Shade(0.08, 0.3, (0.1, 0.1))
        )
    return scene.render()


def hole_of_low_contrast(item_code=71.0, floor_code=58.0, diameter_mm: float = 3.0, *, seed: int = 0) -> LidPicture:
    """A dark tag whose holes show a floor hardly darker than the tag: a plain hole and one near the end."""
    scene = LidScene(90, 75, lid=WHITE, seed=seed, name="hole of low contrast", tags={"low-contrast-hole"})
    scene.add_square(SQUARE_MM, (20, 55), 1.0)
    holes = (circle(diameter_mm, (-14, 0)), circle(2 * diameter_mm, (8, 2)))
    shape = Shape(rectangle(44, 26, 4), holes, "two-holes")
    scene.add(shape, (55, 25), 9, reflectance=of_code(item_code), floor=of_code(floor_code))
    return scene.render()


def hole_with_shaded_floor(strength: float = 0.35, diameter_mm: float = 6.0, *, seed: int = 0) -> LidPicture:
    """A pale tag whose hole shows the lid in deep shade: near the tag's own light."""
    scene = LidScene(90, 75, lid=WHITE, seed=seed, name="hole with a shaded floor", tags={"low-contrast-hole"})
    scene.add_square(SQUARE_MM, (20, 55), 1.0)
    floor = tuple(float(linear_light(235)) * (1 - strength) for _ in range(3))
    shape = Shape(rectangle(44, 26, 4), (circle(diameter_mm, (-12, 0)),), "one-hole")
    scene.add(shape, (55, 25), 9, reflectance=(0.42, 0.33, 0.24), floor=floor, shade=Shade(0.12, 0.4, (0.2, 0.2)))
    return scene.render()


LIFT_SHADE = Shade(0.35, 0.5, (0.8, 0.5))


def lifted_item(
    blur_px=3.0, *, beside_px=0.8, reflectance=(0.45, 0.30, 0.20), shade: Shade = LIFT_SHADE, seed: int = 0
) -> LidPicture:
    """An item some 1.5 mm above the glass, much softer than the square beside it, with the wide shade of such."""
    scene = LidScene(95, 75, lid=WHITE, blur_px=beside_px, seed=seed, name="lifted item", tags={"lifted"})
    scene.add_square(SQUARE_MM, (20, 55), 1.0)
    lift = math.sqrt(blur_px**2 - beside_px**2)
    scene.add(zoo.key_fob(), (62, 40), 12, reflectance=reflectance, lift_px=lift, shade=shade)
    return scene.render()


def ordinary_folder(n: int = 40, *, strength: float = 0.12, first: int = 0):
    """Yield `n` pictures of a folder as a shop makes it: two or three tags each, a shade, some dust."""
    for i in range(first, first + n):
        rng = np.random.default_rng([i, 77])
        lid = Lid(rng.uniform(238, 248), rng.uniform(226, 238), towards_deg=rng.uniform(-20, 20))
        scene = LidScene(
            100,
            70,
            lid=lid,
            sensor=Sensor(rng.uniform(0.9, 1.5), streaks=0.003, jpeg=int(rng.integers(90, 96)) if i % 2 else None),
            blur_px=rng.uniform(0.7, 1.0),
            seed=i,
            name=f"folder {i:02d}",
            tags={"shade", "dust", "fall-off", "grain"},
            dirt={"specks": 15, "hairs": 1},
        )
        scene.add_square(SQUARE_MM, (19, 51), rng.uniform(-2, 2))
        colour = _workshop_colour(rng)
        look = {"shade": Shade(strength, rng.uniform(0.3, 0.9), tuple(rng.uniform(0.15, 0.45, 2)))}
        look |= {"grain": 0.04, "reflectance": colour}
        scene.add((zoo.key_fob, zoo.hook)[i % 2](), (67, 40), rng.uniform(-15, 15), **look)
        if i % 3:
            scene.add(plate(30, 14, radius=2, hole_mm=3.2), (24, 19), rng.uniform(-6, 6), **look)
        yield scene.render()


def _workshop_colour(rng):
    colours = (PALE_WOOD, (0.62, 0.48, 0.33), (0.55, 0.50, 0.42), (0.42, 0.29, 0.17), (0.45, 0.45, 0.44))
    return tuple(float(v) for v in np.array(colours[rng.integers(len(colours))]) * rng.uniform(0.9, 1.1))


def uneven_lid(*, seed: int = 0) -> LidPicture:
    """Leaves on a lid that falls from code 250 to 215 to one side, with a black strip and a grey band at the left."""
    from .lid_shapes import leaf

    rng = np.random.default_rng([seed, 91])
    scene = LidScene(
        140,
        110,
        dpi=200,
        lid=Lid(252, 215, towards_deg=15, power=1.3, mottle=0.004, stains=4, scratches=3, see_through=0.03),
        strips=(Strip("left", 4.0, 232, 0.4), Strip("left", 0.9, 6, 0.06), Strip("top", 0.5, 60, 0.1, 0.4)),
        sensor=Sensor(1.0, streaks=0.004, flicker=0.003, jpeg=88),
        seed=seed,
        name="uneven lid",
        tags={"fall-off", "rim-strip", "strong-fall-off", "crumbs", "see-through", "scratches", "leaf", "no-square"},
        dirt={"specks": 60, "hairs": 2, "crumbs": 12},
    )
    for place, green in (((38, 78), 0.10), ((100, 80), 0.22), ((42, 30), 0.07), ((102, 28), 0.15)):
        colour = (0.45 * green, green, 0.25 * green)
        shade = Shade(0.3, 0.6, (0.4, 0.3))
        scene.add(leaf(52, rng), place, rng.uniform(-25, 25), reflectance=colour, felt=0.12, shade=shade, curl_px=1.5)
    return scene.render()


def cut_by_border(*, seed: int = 0) -> LidPicture:
    """A tag inside the picture, and one that the border cuts: no outline of it is possible, and it must be said."""
    scene = LidScene(100, 75, lid=WHITE, seed=seed, name="cut by the border", tags={"border-cut"})
    scene.add_square(SQUARE_MM, (20, 55), 1.0)
    scene.add(zoo.key_fob(), (60, 35), 12, reflectance=(0.10, 0.20, 0.35))
    other = zoo.key_fob().placed((97, 40), -8)
    scene.strangers.append(Thing(other, (0.10, 0.20, 0.35)))
    scene.must_be_said = ("an item is cut by the right border",)
    return scene.render()


def areas_mm2(picture: LidPicture) -> list[float]:
    """Return the true areas, holes taken out."""
    return [polygon_of(shape).area for shape in picture.shapes]
