"""Random scans as the world makes them, one a number: half of them ordinary, half with something hard in them.

``lid_scene(number)`` is what lies on the glass, ``lid_picture(number)`` the rendered scan. Even numbers are ordinary:
a shade up to 15 %, dust, grain, print that stays clear of the edge, a lid that falls off by up to 20 codes, a strip
at its border. Odd ones have one to three of the traits of ``lid_traits`` on top.
"""

from __future__ import annotations

import numpy as np

from . import zoo
from .lid import LidPicture, LidScene
from .lid_light import Lid, Sensor, Strip
from .lid_shapes import leaf, notched, plate, polygon_of, scaled, stick, washer, wedge, window
from .lid_things import Print, Shade, Thing
from .lid_traits import TRAITS, Draft, glare_of
from .light import srgb_codes
from .shapes import Shape, rectangle

GAP_MM = 5.0
MARGIN_MM = 6.0  # clear of the strips at the border
LEAST_HOLE_MM = 2.2  # narrower ones are left out: what counts as dust is no matter of this
LEAST_CONTRAST_CODES = 40.0  # of an ordinary item to the lid, in its clearest colour
MATERIALS = {
    "walnut": ((0.16, 0.09, 0.05), {"grain": 0.10}),
    "oak": ((0.42, 0.29, 0.17), {"grain": 0.07}),
    "birch": ((0.64, 0.50, 0.35), {"grain": 0.04}),
    "maple": ((0.72, 0.62, 0.48), {"grain": 0.03}),
    "black plastic": ((0.03, 0.03, 0.035), {"uneven": 0.05}),
    "blue plastic": ((0.05, 0.12, 0.40), {"uneven": 0.06}),
    "red leather": ((0.35, 0.05, 0.04), {"felt": 0.06, "uneven": 0.06}),
    "steel": ((0.30, 0.30, 0.31), {"uneven": 0.15}),
    "brass": ((0.45, 0.34, 0.14), {"uneven": 0.15}),
    "slate": ((0.10, 0.11, 0.12), {"felt": 0.10}),
    "green board": ((0.10, 0.28, 0.12), {"felt": 0.04}),
    "kraft board": ((0.42, 0.30, 0.19), {"felt": 0.05}),
    "yellow acrylic": ((0.75, 0.55, 0.05), {"uneven": 0.03}),
}
INKS = ((0.03, 0.03, 0.03), (0.50, 0.06, 0.05), (0.06, 0.12, 0.45), (0.55, 0.42, 0.12), (0.55, 0.55, 0.53))


def lid_picture(number: int) -> LidPicture:
    """Return the rendered scan of this number."""
    return lid_scene(number).render()


def lid_scene(number: int) -> LidScene:
    """Return what lies on the glass in the scan of this number."""
    rng = np.random.default_rng([number, 90417])
    draft = _ordinary(number, rng)
    if number % 2:
        names = list(TRAITS)
        for i in rng.choice(len(names), rng.integers(1, 4), replace=False):
            TRAITS[names[i]](draft, rng)
            draft.scene.tags.add(names[i])
    _place(draft, rng)
    return draft.scene


def _ordinary(number: int, rng) -> Draft:
    width, height = rng.uniform(85, 135), rng.uniform(70, 110)
    scene = LidScene(width, height, dpi=300, seed=number, name=f"scan {number:04d}", blur_px=rng.uniform(0.6, 1.2))
    bright = rng.uniform(228, 252)
    scene.lid = Lid(
        bright,
        bright - rng.uniform(0, 20),
        rng.uniform(0, 360),
        rng.uniform(0.7, 1.8),
        bend=rng.uniform(0, 0.02),
        tint=(1.0, rng.uniform(0.98, 1.0), rng.uniform(0.95, 1.0)),
        mottle=rng.uniform(0, 0.006),
    )
    scene.tags.add("fall-off")
    if rng.uniform() < 0.4:
        side = str(rng.choice(("left", "right", "top", "bottom")))
        scene.strips = (Strip(side, rng.uniform(0.2, 1.5), rng.uniform(5, 120), rng.uniform(0.05, 0.3)),)
        scene.tags.add("rim-strip")
    jpeg = int(rng.integers(85, 96)) if rng.uniform() < 0.5 else None
    scene.tags |= {"jpeg"} if jpeg else set()
    scene.sensor = Sensor(rng.uniform(0.6, 1.8), rng.uniform(0, 0.004), rng.uniform(0, 0.003), jpeg=jpeg)
    scene.dirt = {"specks": int(rng.integers(5, 50)), "hairs": int(rng.integers(0, 3))}
    scene.tags |= {"dust", "hair"} if scene.dirt["hairs"] else {"dust"}
    return Draft(scene, _items(scene, rng), rng.uniform() < 0.8)


def _items(scene: LidScene, rng):
    """Return (shape, look) of one to six items: all alike, as a shop makes them, or a mixture."""
    count = int(rng.integers(1, 7))
    alike = rng.uniform() < 0.5
    made = [_item(scene, rng) for _ in range(1 if alike else count)]
    return [(shape, dict(look)) for shape, look in (made * count if alike else made)]


def _item(scene: LidScene, rng):
    shape = _shape(rng)
    if shape.name == "leaf":
        green = rng.uniform(0.06, 0.25)
        colour, look = (0.45 * green, green, 0.2 * green), {"felt": 0.08, "uneven": 0.12}
        scene.tags.add("leaf")
    else:
        colour, look = _material(scene, rng)
    look = {**look, "reflectance": colour, "grain_deg": rng.uniform(0, 180)}
    if rng.uniform() < 0.7:
        offset = rng.uniform(0.05, 0.4, 2) * rng.choice((-1, 1), 2)
        look["shade"] = Shade(rng.uniform(0.03, 0.15), rng.uniform(0.2, 0.9), tuple(offset.tolist()))
        scene.tags.add("shade")
    if rng.uniform() < 0.3 and shape.name != "leaf":
        look["inks"] = tuple(_inner_print(shape, rng))
        scene.tags.add("print")
    return shape, look


def _material(scene: LidScene, rng):
    names = [n for n in MATERIALS if _contrast(scene.lid, MATERIALS[n][0]) >= LEAST_CONTRAST_CODES]
    name = names[rng.integers(len(names))]
    colour, look = MATERIALS[name]
    scene.tags |= {"pale-wood", "grain"} if name in ("birch", "maple") else {"grain"} if "grain" in look else set()
    light = rng.uniform(0.85, 1.1)
    return tuple(light * c for c in colour), dict(look)


def _contrast(lid: Lid, colour) -> float:
    """Return the difference to the lid's darker side in the clearest colour, codes."""
    codes = srgb_codes(np.array(colour)) - min(lid.bright, lid.dark)
    return float(np.abs(codes).max())


def _shape(rng) -> Shape:
    kind = rng.uniform()
    if kind < 0.5:
        names = [n for n in zoo.BLANKS if n != "phone-case"]
        return with_wide_holes(scaled(zoo.BLANKS[names[rng.integers(len(names))]](), rng.uniform(0.6, 1.15)))
    if kind < 0.62:
        return leaf(rng.uniform(30, 60), rng)
    makers = (
        lambda: plate(rng.uniform(18, 60), rng.uniform(12, 35), radius=rng.uniform(0.3, 4), hole_mm=rng.choice((0, 4))),
        lambda: washer(rng.uniform(18, 40), rng.uniform(4, 12)),
        lambda: stick(rng.uniform(30, 65), rng.uniform(5, 10)),
        lambda: notched(rng.uniform(25, 50), rng.uniform(15, 30), rng.uniform(0.8, 2.5)),
        lambda: wedge(rng.uniform(30, 60), rng.uniform(10, 20)),
        lambda: window(rng.uniform(35, 55), rng.uniform(25, 40), rng.uniform(4, 7)),
        lambda: zoo.coin(str(rng.choice(list(zoo.COIN_DIAMETERS_MM)))),
    )
    return makers[rng.integers(len(makers))]()


def with_wide_holes(shape: Shape) -> Shape:
    """Return the shape without holes narrower than `LEAST_HOLE_MM`."""
    import shapely

    wide = (h for h in shape.holes if not shapely.Polygon(h.polygon(1e-3)).buffer(-LEAST_HOLE_MM / 2).is_empty)
    return Shape(shape.outer, tuple(wide), shape.name)


def _inner_print(shape: Shape, rng):
    """Yield (ring in the shape's own frame, ink) well clear of every edge."""
    import shapely

    room = polygon_of(shape, 1e-2).buffer(-2.0)
    ink = INKS[rng.integers(len(INKS))]
    x0, y0, x1, y1 = room.bounds if not room.is_empty else (0, 0, 0, 0)
    for _ in range(int(rng.integers(1, 5))):
        centre = (rng.uniform(x0, x1), rng.uniform(y0, y1))
        box = rectangle(rng.uniform(2, 14), rng.uniform(0.5, 3)).placed(centre, rng.uniform(-5, 5)).polygon(1)
        if room.contains(shapely.Polygon(box)):
            yield box, ink


# --- where things lie --------------------------------------------------------------------------------------------


def _place(draft: Draft, rng) -> None:
    """Lay square and items where there is room; what finds none stays away."""
    taken = [polygon_of(thing.shape, 1e-2) for thing in draft.scene.strangers]
    if draft.with_square:
        side = float(np.round(rng.uniform(18, 28), 1))
        spot = _free_spot(Shape(rectangle(side, side)), draft.scene, taken, rng)
        if spot is not None:
            draft.scene.add_square(side, *spot)
    if draft.scene.square is None:
        draft.scene.tags.add("no-square")
    for shape, look in draft.items:
        spot = _free_spot(shape, draft.scene, taken, rng)
        if spot is not None:
            draft.scene.things.append(_thing(shape, look, spot, rng))
    if not draft.scene.things:
        centre = (draft.scene.width_mm / 2, draft.scene.height_mm / 2)
        draft.scene.square, draft.scene.tags = None, draft.scene.tags | {"no-square"}
        draft.scene.things.append(_thing(*draft.items[0], (centre, 0.0), rng))


def _thing(shape: Shape, look: dict, spot, rng) -> Thing:
    look = dict(look)
    inks = look.pop("inks", ())
    placed = shape.placed(*spot)
    if "gloss" in look:
        look["glare"] = glare_of(placed, look.pop("gloss"), rng)
    prints = tuple(Print(_turned(ring, *spot), ink) for ring, ink in inks)
    return Thing(placed, prints=prints, **look)


def _turned(points, centre, angle_deg):
    a = np.radians(angle_deg)
    return points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + np.asarray(centre)


def _free_spot(shape: Shape, scene: LidScene, taken: list, rng):
    """Return ((x, y), degrees) clear of all in `taken`, which it joins; None if there is no room."""
    from shapely import affinity

    body = polygon_of(shape, 1e-2)
    for _ in range(80):
        angle = rng.uniform(0, 360)
        turned = affinity.rotate(body, angle, origin=(0, 0))
        x0, y0, x1, y1 = turned.bounds
        low = np.array([MARGIN_MM - x0, MARGIN_MM - y0])
        high = np.array([scene.width_mm - MARGIN_MM - x1, scene.height_mm - MARGIN_MM - y1])
        if (high < low).any():
            continue
        place = tuple(rng.uniform(low, high).tolist())
        there = affinity.translate(turned, *place)
        if all(there.distance(other) >= GAP_MM for other in taken):
            taken.append(there)
            return place, angle
    return None
