"""What makes a scan hard, a function each: it changes a draft of a scene before things are laid down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .lid import LidScene
from .lid_light import Lid, Strip
from .lid_shapes import plate, thin_ring, washer
from .lid_things import Bevel, Colour, Glare, Rim, Shade, Thing
from .light import linear_light, srgb_codes
from .shapes import Shape, circle, rectangle


@dataclass(eq=False)
class Draft:
    """A scene under way: its things and their looks are not laid down yet."""

    scene: LidScene
    items: list[tuple[Shape, dict]]
    with_square: bool

    def look(self, **more) -> None:
        """Change the look of all items."""
        for _, look in self.items:
            look.update(more)


def _lid_light(lid: Lid):
    """Return the lid's mean linear light, (3,)."""
    return linear_light((lid.bright + lid.dark) / 2) * np.array(lid.tint)


def deep_shade(draft: Draft, rng) -> None:
    offset = rng.uniform(0.1, 0.5, 2) * rng.choice((-1, 1), 2)
    draft.look(shade=Shade(rng.uniform(0.18, 0.40), rng.uniform(0.2, 1.0), tuple(offset.tolist())))


def pale_rim(draft: Draft, rng) -> None:
    light = _lid_light(draft.scene.lid)
    for _, look in draft.items:
        share = rng.uniform(0.45, 0.85)  # of the way from the item's light to the lid's
        own = np.array(look["reflectance"])
        look["rim"] = Rim(rng.uniform(0.1, 0.6), tuple((own + share * (light - own)).tolist()))


def bevel(draft: Draft, rng) -> None:
    draft.look(bevel=Bevel(rng.uniform(0.2, 0.9), rng.uniform(0.2, 0.7), rng.uniform(0, 360)))


def felt(draft: Draft, rng) -> None:
    colour = tuple((rng.uniform(0.05, 0.4, 3) * rng.uniform(0.4, 1)).tolist())
    draft.look(felt=rng.uniform(0.10, 0.20), fuzz_mm=rng.uniform(0.1, 0.4), reflectance=colour, grain=0.0, inks=())


def print_at_edge(draft: Draft, rng) -> None:
    """A border line 0.3 to 0.8 mm inside the edge of a plate, and a band that runs over its edge."""
    w, h = rng.uniform(30, 55), rng.uniform(18, 32)
    look = dict(draft.items[0][1])
    away, ink = rng.uniform(0.3, 0.8), tuple(rng.choice((0.05, 0.35, 0.5), 3).tolist())
    frame = rectangle(w - 2 * away, h - 2 * away, 0.5).polygon(1e-2)
    inner = rectangle(w - 2 * away - 1.6, h - 2 * away - 1.6, 0.5).polygon(1e-2)
    band = rectangle(rng.uniform(4, 12), h + 6, centre=(rng.uniform(-w / 3, w / 3), 0)).polygon(1)
    look["inks"] = ((frame, ink), (inner, look["reflectance"]), (band, tuple((0.5 * np.array(ink)).tolist())))
    draft.items[0] = (plate(w, h, radius=1.0), look)


def tape(draft: Draft, _rng) -> None:
    draft.scene.tapes = 1


def translucent(draft: Draft, rng) -> None:
    """Frosted or tinted, seen through by half and more; its cut edge is darker."""
    tint = np.array(((0.55, 0.25, 0.2), (0.2, 0.35, 0.6), (0.45, 0.45, 0.45), (0.3, 0.5, 0.3)))[rng.integers(4)]
    rim = Rim(rng.uniform(0.15, 0.4), tuple((0.5 * tint).tolist()))
    clear = rng.uniform(0.3, 0.65)
    draft.look(reflectance=tuple(tint.tolist()), clear=clear, rim=rim, grain=0.0, felt=0.0, inks=())


def glare(draft: Draft, rng) -> None:
    """A reflex inside the thing or over its edge, as bright as the lid or brighter."""
    draft.look(gloss=(rng.uniform(2, 7), rng.uniform(0.15, 0.7)))


def thin_rings(draft: Draft, rng) -> None:
    wall = rng.uniform(1.1, 1.6)
    look = {"reflectance": (0.22, 0.21, 0.19), "uneven": 0.15}
    draft.items = [(thin_ring(d, wall), look) for d in rng.uniform(16, 36, 2)] + draft.items[:3]


def low_contrast_hole(draft: Draft, rng) -> None:
    code = rng.uniform(60, 110)
    floor = code - rng.uniform(12, 22)
    hole = circle(rng.uniform(3, 7), (rng.uniform(-10, 10), 0))
    look = {"reflectance": _grey(code), "floor": _grey(floor)}
    draft.items[0] = (Shape(rectangle(42, 24, 4), (hole,), "dim-hole"), look)


def _grey(code: float) -> Colour:
    return (float(linear_light(code)),) * 3


def lifted(draft: Draft, rng) -> None:
    _, look = draft.items[0]
    look.update(lift_px=rng.uniform(1.5, 3.5), shade=Shade(rng.uniform(0.1, 0.25), rng.uniform(0.6, 1.5), (0.4, 0.4)))


def curled(draft: Draft, rng) -> None:
    _, look = draft.items[0]
    shade = Shade(rng.uniform(0.15, 0.4), rng.uniform(0.5, 1.5), (0.3, 0.5))
    look.update(curl_px=rng.uniform(1.5, 4.0), curl_deg=rng.uniform(0, 360), shade=shade)


def border_cut(draft: Draft, rng) -> None:
    """Something reaches over the border: no outline of it is possible."""
    side = rng.integers(4)
    w, h = draft.scene.width_mm, draft.scene.height_mm
    along = rng.uniform(0.25, 0.75)
    place = ((0, along * h), (w, along * h), (along * w, 0), (along * w, h))[side]
    look = {k: v for k, v in draft.items[0][1].items() if k not in ("inks", "gloss")}
    shape = plate(rng.uniform(25, 40), rng.uniform(12, 20)).placed(place, rng.uniform(0, 360))
    draft.scene.strangers.append(Thing(shape, **look))
    draft.scene.strips = ()
    draft.scene.must_be_said = ("something is cut by the border",)


def strong_fall_off(draft: Draft, rng) -> None:
    bright = rng.uniform(240, 264)
    lid = draft.scene.lid
    draft.scene.lid = replace(lid, bright=bright, dark=bright - rng.uniform(30, 50), mottle=rng.uniform(0.004, 0.012))


def dark_rims(draft: Draft, rng) -> None:
    sides = rng.permutation(("left", "right", "top", "bottom"))[: rng.integers(1, 4)]
    strips = [Strip("left", rng.uniform(3, 5), rng.uniform(195, 225), 0.4, rng.uniform(0, 0.5))]
    strips += [Strip(str(s), rng.uniform(0.8, 3), rng.uniform(3, 90), 0.08, rng.uniform(0, 0.8)) for s in sides]
    draft.scene.strips = tuple(strips)


def see_through(draft: Draft, rng) -> None:
    draft.scene.lid = replace(draft.scene.lid, see_through=rng.uniform(0.03, 0.10))


def scratches(draft: Draft, rng) -> None:
    draft.scene.lid = replace(draft.scene.lid, scratches=int(rng.integers(3, 12)))


def stains(draft: Draft, rng) -> None:
    draft.scene.lid = replace(draft.scene.lid, stains=int(rng.integers(2, 10)))


def paper_edge(draft: Draft, rng) -> None:
    """A sheet under some of the things ends somewhere in the picture; things may lie across its edge."""
    w, h = draft.scene.width_mm, draft.scene.height_mm
    light = np.minimum(_lid_light(draft.scene.lid) * rng.choice((0.86, 0.93, 1.06)) * (1, 0.99, 0.97), 1.0)
    x0, x1 = rng.uniform(-0.1 * w, 0.5 * w), rng.uniform(0.6 * w, 1.2 * w)
    corners = [(x0, -5), (x1, -5), (x1 + rng.uniform(-3, 3), h + 5), (x0 + rng.uniform(-3, 3), h + 5)]
    if rng.uniform() < 0.5:
        corners = [(x, min(y, 0.85 * h)) for x, y in corners]
    shade = Shade(rng.uniform(0.15, 0.35), rng.uniform(0.1, 0.3), (0.15, 0.15))
    draft.scene.papers.append((np.array(corners), tuple(light.tolist()), shade))


def crumbs(draft: Draft, rng) -> None:
    draft.scene.dirt["crumbs"] = int(rng.integers(8, 40))


def dirt_at_edge(draft: Draft, rng) -> None:
    draft.scene.dirt.update(clear=False, specks=int(rng.integers(60, 150)))


def hair_on_edge(draft: Draft, rng) -> None:
    draft.scene.hairs_across = int(rng.integers(1, 3))


def sharpened(draft: Draft, rng) -> None:
    draft.scene.sensor = replace(draft.scene.sensor, sharpen=rng.uniform(0.3, 0.9))


def low_quality(draft: Draft, rng) -> None:
    draft.scene.sensor = replace(draft.scene.sensor, jpeg=int(rng.integers(50, 76)))


def noisy(draft: Draft, rng) -> None:
    draft.scene.sensor = replace(draft.scene.sensor, noise_codes=rng.uniform(2.5, 4.5))


def coarse(draft: Draft, rng) -> None:
    draft.scene.dpi = float(rng.choice((100, 150, 200)))


def coloured_ground(draft: Draft, rng) -> None:
    """Things on green, blue or yellow paper; those that are too much like it become white."""
    tint = np.array(((0.12, 0.5, 0.2), (0.15, 0.3, 0.7), (1.0, 0.8, 0.15)))[rng.integers(3)]
    draft.scene.lid = replace(draft.scene.lid, tint=tuple(tint.tolist()), texture=rng.uniform(0.005, 0.02))
    _recolour(draft, (0.78, 0.77, 0.74))
    draft.with_square = False


def black_ground(draft: Draft, rng) -> None:
    """A dark sheet instead of the lid; things are pale or coloured."""
    code = rng.uniform(25, 60)
    draft.scene.lid = Lid(code, code - rng.uniform(0, 8), rng.uniform(0, 360), texture=rng.uniform(0.02, 0.08))
    _recolour(draft, (0.55, 0.42, 0.30))
    draft.with_square = False


def _recolour(draft: Draft, colour: Colour) -> None:
    ground = srgb_codes(_lid_light(draft.scene.lid))
    for _, look in draft.items:
        if np.abs(srgb_codes(np.array(look["reflectance"])) - ground).max() < 45:
            look["reflectance"] = colour


def cloth_ground(draft: Draft, rng) -> None:
    draft.scene.lid = replace(draft.scene.lid, texture=rng.uniform(0.02, 0.05), mottle=0.01)


def near_lid(draft: Draft, rng) -> None:
    """White card on a white lid: 8 to 20 codes between them."""
    light = linear_light(min(draft.scene.lid.bright, draft.scene.lid.dark) - rng.uniform(8, 20))
    colour = tuple((light * np.array(draft.scene.lid.tint)).tolist())
    draft.look(reflectance=colour, grain=0.0, uneven=0.0, felt=0.0, inks=())


def small_items(draft: Draft, rng) -> None:
    look = {"reflectance": (0.3, 0.3, 0.31), "uneven": 0.1}
    draft.items += [(washer(rng.uniform(7, 10), 3.2), look) for _ in range(int(rng.integers(1, 4)))]


TRAITS: dict[str, Callable[[Draft, np.random.Generator], None]] = {
    make.__name__.replace("_", "-"): make
    for make in (
        deep_shade, pale_rim, bevel, felt, print_at_edge, tape, translucent, glare, thin_rings, low_contrast_hole,
        lifted, curled, border_cut, strong_fall_off, dark_rims, see_through, scratches, stains, paper_edge, crumbs,
        dirt_at_edge, hair_on_edge, sharpened, low_quality, noisy, coarse, coloured_ground, black_ground,
        cloth_ground, near_lid, small_items,
    )
}  # fmt: skip


def glare_of(shape: Shape, gloss, rng) -> Glare:
    """Return a reflex of (radius, light) somewhere on a placed shape."""
    x0, y0, x1, y1 = shape.bounds()
    return Glare((float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))), *gloss)
