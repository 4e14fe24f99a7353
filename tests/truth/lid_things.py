"""What lies on the glass and how it looks there: rims, bevels, grain, felt, print, glare, shade, lift.

The edge of a thing is its exact outline; all that is drawn on it ends there. The shade falls on what lies below, in
light and grey: the lid gets less of the lamp there. A thing above the glass is blurred.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .lid_light import fine_noise
from .lid_shapes import outline_points
from .light import paint, shade, smooth_noise
from .raster import Patch, blurred_coverage
from .shapes import Ring, Shape

Colour = tuple[float, float, float]
SAGITTA_PX = 1e-3


@dataclass(frozen=True, slots=True)
class Shade:
    """The lamp does not reach the lid beside a thing: this share of the light is missing."""

    strength: float
    blur_mm: float = 0.4
    offset_mm: tuple[float, float] = (0.25, 0.35)


@dataclass(frozen=True, slots=True)
class Rim:
    """A band along all edges of another colour: a worn or unpainted edge, a laser's scorch, a glued foil."""

    width_mm: float
    reflectance: Colour


@dataclass(frozen=True, slots=True)
class Bevel:
    """A slanting edge: brighter towards the lamp, darker away from it."""

    width_mm: float
    amount: float  # largest change, share of the thing's light
    lamp_deg: float = 90.0


@dataclass(frozen=True, slots=True)
class Print:
    """Something printed on a thing; what reaches beyond its edge is cut off there."""

    ring_mm: np.ndarray  # (N, 2), plane
    reflectance: Colour


@dataclass(frozen=True, slots=True)
class Glare:
    """A soft reflex of the lamp: this much light is added."""

    centre_mm: tuple[float, float]
    radius_mm: float
    light: float


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """One thing as placed, mm."""

    shape: Shape
    reflectance: Colour = (0.05, 0.05, 0.05)
    shade: Shade | None = None
    rim: Rim | None = None
    bevel: Bevel | None = None
    grain: float = 0.0
    grain_deg: float = 0.0
    felt: float = 0.0
    uneven: float = 0.0  # slow change of light over the thing (8 mm), deviation
    prints: tuple[Print, ...] = ()
    glare: Glare | None = None
    clear: float = 0.0  # share of what lies below that is seen through it
    lift_px: float = 0.0  # blur (deviation) that comes on top of the scanner's
    curl_px: float = 0.0  # the same, growing from nothing to this along `curl_deg`
    curl_deg: float = 0.0
    floor: Colour | None = None  # what is seen through its holes, if not the lid
    fuzz_mm: float = 0.0  # fibres stand out from the edge this far


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """The picture a thing is painted into."""

    shape: tuple[int, int]
    to_px: object  # (N, 2) mm -> (N, 2) px
    per_mm: float
    blur_px: float


def rings_px(view: View, rings: tuple[Ring, ...]):
    return [view.to_px(outline_points(r, SAGITTA_PX / view.per_mm)) for r in rings]


def paint_thing(canvas, thing: Thing, view: View, rng) -> None:
    """Paint shade, floor of the holes, and the thing itself."""
    rings = rings_px(view, thing.shape.rings)
    if thing.shade is not None:
        shift = np.array(thing.shade.offset_mm) * (view.per_mm, -view.per_mm)
        shade(canvas, [r + shift for r in rings], thing.shade.blur_mm * view.per_mm, thing.shade.strength)
    if thing.floor is not None:
        for hole in rings[1:]:
            paint(canvas, _widened(hole, view), thing.floor)
    if thing.fuzz_mm:
        _paint_fibres(canvas, thing, view, rng)
    body = _covered(thing, rings, view)
    paint(canvas, body, _surface(canvas, thing, body, view, rng))


def _covered(thing: Thing, rings, view: View) -> Patch:
    """Return how much of each pixel the thing covers, as blurred as it lies high."""
    flat = blurred_coverage(rings, view.shape, math.hypot(view.blur_px, thing.lift_px))
    if not thing.curl_px:
        return flat
    soft = blurred_coverage(rings, view.shape, math.hypot(view.blur_px, thing.curl_px))
    a = math.radians(thing.curl_deg)
    h, w = soft.values.shape
    along = np.linspace(-0.5, 0.5, w) * math.cos(a) - np.linspace(-0.5, 0.5, h)[:, None] * math.sin(a)
    share = np.clip(along / 0.7 + 0.3, 0, 1) ** 2
    inner = np.zeros_like(soft.values)
    row, column = flat.row - soft.row, flat.column - soft.column
    inner[row : row + flat.values.shape[0], column : column + flat.values.shape[1]] = flat.values
    return Patch(soft.row, soft.column, share * soft.values + (1 - share) * inner)


def _widened(hole, view: View) -> Patch:
    """Return the cover of a hole and some of what lies round it, which the thing covers again."""
    import shapely

    wider = shapely.Polygon(hole).buffer(1.5 * view.per_mm)
    return blurred_coverage([np.array(wider.exterior.coords)[:-1]], view.shape, view.blur_px)


def _surface(canvas, thing: Thing, body: Patch, view: View, rng):
    """Return (h, w, 3) light of the thing's surface over its patch."""
    h, w = body.values.shape
    colour = np.broadcast_to(np.array(thing.reflectance, np.float32), (h, w, 3)).copy()
    if thing.grain:
        colour *= (1 + thing.grain * wood((h, w), view.per_mm, thing.grain_deg, rng))[..., None]
    if thing.uneven:
        slow = smooth_noise((h, w), (8 * view.per_mm, 8 * view.per_mm), rng)
        colour *= np.maximum(1 + thing.uneven * slow, 0.3)[..., None]
    if thing.felt:
        colour *= (1 + thing.felt * _felt((h, w), view.per_mm, rng))[..., None]
    for mark in thing.prints:
        _mix(colour, _share(_in_patch([view.to_px(mark.ring_mm)], body, view), body), mark.reflectance)
    if thing.bevel is not None:
        colour *= (1 + _bevelled(thing, body, view))[..., None].astype(np.float32)
    if thing.rim is not None:
        _mix(colour, 1 - _share(_inset(thing, thing.rim.width_mm, body, view), body), thing.rim.reflectance)
    if thing.clear:
        colour += thing.clear * (canvas[body.slices] - colour)
    if thing.glare is not None:
        colour += _reflex(thing.glare, body, view)[..., None].astype(np.float32)
    return colour


def _mix(colour, share, reflectance) -> None:
    colour += share[..., None].astype(np.float32) * (np.array(reflectance, np.float32) - colour)


def _share(part, body: Patch):
    """Return which share of the covered area belongs to `part`: so the sum of both is blurred as a whole."""
    return np.clip(part / np.maximum(body.values, 1e-6), 0, 1)


def _in_patch(rings, body: Patch, view: View, sigma: float | None = None):
    """Return the blurred coverage of `rings` in the window of `body`."""
    shifted = [np.asarray(r) - (body.column, body.row) for r in rings]
    out = np.zeros(body.values.shape)
    low = np.min([r.min(0) for r in shifted], axis=0)
    high = np.max([r.max(0) for r in shifted], axis=0)
    if (high < 0).any() or (low > body.values.shape[::-1]).any():
        return out
    part = blurred_coverage(shifted, body.values.shape, view.blur_px if sigma is None else sigma)
    out[part.slices] = part.values
    return out


def _inset(thing: Thing, width_mm: float, body: Patch, view: View):
    """Return the cover of what lies farther than `width_mm` from every edge."""
    import shapely

    outer, *holes = (outline_points(r, 1e-3) for r in thing.shape.rings)
    inner = shapely.Polygon(outer, holes).buffer(-width_mm, quad_segs=24)
    total = np.zeros(body.values.shape)
    sigma = math.hypot(view.blur_px, thing.lift_px)
    for part in getattr(inner, "geoms", [inner]):
        if not part.is_empty:
            rings = [view.to_px(np.array(r.coords)[:-1]) for r in (part.exterior, *part.interiors)]
            total += _in_patch(rings, body, view, sigma)
    return total


def _bevelled(thing: Thing, body: Patch, view: View):
    """Return (h, w) change of light of the slanting edge: plus where it faces the lamp, minus opposite."""
    import cv2

    width = thing.bevel.width_mm
    flat = _inset(thing, width, body, view)
    height = cv2.GaussianBlur((0.5 * flat + 0.5 * body.values), (0, 0), max(0.5 * width * view.per_mm, 0.6))
    rise_y, rise_x = np.gradient(height)
    a = math.radians(thing.bevel.lamp_deg)
    slope = -(rise_x * math.cos(a) - rise_y * math.sin(a))
    slope /= max(float(np.abs(slope).max()), 1e-9)
    return thing.bevel.amount * slope * (1 - _share(flat, body))


def _reflex(glare: Glare, body: Patch, view: View):
    x0, y0 = view.to_px(np.array([glare.centre_mm]))[0]
    y, x = np.mgrid[: body.values.shape[0], : body.values.shape[1]].astype(np.float32)
    far = np.hypot(x + body.column - x0, y + body.row - y0) / (glare.radius_mm * view.per_mm)
    return glare.light * np.exp(-(far**4))


def wood(shape, per_mm: float, angle_deg: float, rng):
    """Return (h, w) float32 of about unit deviation: bands and fine streaks along `angle_deg`."""
    import cv2

    h, w = shape
    size = int(math.hypot(h, w)) + 8
    bands = smooth_noise((size, size), (1.3 * per_mm, 30 * per_mm), rng)
    streaks = fine_noise((size, size), (0.25 * per_mm, 6 * per_mm), rng)
    pores = np.minimum(fine_noise((size, size), (0.12 * per_mm, 1.2 * per_mm), rng) + 1.2, 0)
    field = 0.7 * bands + 0.5 * streaks + 1.0 * pores
    turn = cv2.getRotationMatrix2D((size / 2, size / 2), angle_deg, 1.0)
    turn[:, 2] += (w / 2 - size / 2, h / 2 - size / 2)
    return cv2.warpAffine(field, turn, (w, h), borderMode=cv2.BORDER_REFLECT)


def _felt(shape, per_mm: float, rng):
    fine = fine_noise(shape, 0.08 * per_mm + 0.7, rng)
    return 0.8 * fine + 0.6 * fine_noise(shape, 0.5 * per_mm, rng)


def _paint_fibres(canvas, thing: Thing, view: View, rng) -> None:
    """Short hairs that stand out from every edge, thinner than a pixel; the edge itself stays where it is."""
    for outline in thing.shape.rings:
        points, normals = outline.sample(0.7)
        sign = 1 if outline is thing.shape.outer else -1
        for point, normal in zip(points, sign * normals, strict=True):
            if rng.uniform() < 0.5:
                continue
            tip = point + thing.fuzz_mm * rng.uniform(0.3, 1.0) * (normal + rng.normal(0, 0.8, 2))
            root = point - 0.1 * normal
            side = 0.010 * np.array([-(tip - root)[1], (tip - root)[0]]) / max(math.dist(tip, root), 1e-6)
            ring = view.to_px(np.array([root + side, tip + side, tip - side, root - side]))
            paint(canvas, blurred_coverage([ring], view.shape, view.blur_px), thing.reflectance)
