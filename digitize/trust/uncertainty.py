"""The budget after JCGM 100 (GUM): every contribution named, root sum of squares, k = 2."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..measure.profiles import SHADE_PX
from ..measure.response import code_step, curve_shift_px, sharpened_shift_px
from ..measure.rings import rolled
from ..records import Contour, Contribution, FloatArray, Item, ReferenceEdge, Uncertainty

# Of the power of a tone curve that a file does not state: one in ten by 0.4 less, as older systems had; common
# practice, no source.
GAMMA_SD = 0.13
_LEAST_SHARPENED = 0.005  # told from none
LEVEL_SD_PX = 0.01  # what remains of the edge's place from levels, glare and the blur's shape; from renders

BY_HAND = "by hand"  # name of the contribution of what a hand set


def shade_sd_mm(contours: tuple[Contour, ...], mm_per_px: float) -> float:
    """Return how far the shade beside its edges may move an item's outline (k = 1), mm.

    The trend of the light just outside is taken out as a straight one; what its bend leaves grows with it. Rendered
    shades of 6 to 50 % wider than the blur, at 100 to 600 dpi, moved edges by 1 to 14 px times the trend.
    """
    return SHADE_PX * max(c.shade for c in contours) * mm_per_px


def edge_contributions(
    contours: tuple[Contour, ...], mm_per_px: float, *, extents_mm: tuple[float, float], reference: ReferenceEdge | None
) -> tuple[Contribution, ...]:
    """Contributions of the edge itself: its noise, the level it was taken at, its blur's shape, the shade beside it.

    Parameters
    ----------
    contours
        Of the item.
    mm_per_px
        Size of a pixel.
    extents_mm
        Width and height of the item's box.
    reference
        The edges the scale counts from, None where they are not known.
    """
    noise = math.sqrt(float(np.mean(np.concatenate([c.sd_px for c in contours]) ** 2))) * mm_per_px
    level = _level_px(max(c.blur_px for c in contours)) * mm_per_px
    shade = shade_sd_mm(contours, mm_per_px)
    printed = max(c.uneven_px for c in contours) * mm_per_px
    beside, along = "light that changes beside the edge", "light that changes along the edge: print, grain"
    lines = (
        Contribution("shade", shade, math.sqrt(2) * shade, note=beside, acts="side by side"),
        Contribution("print", printed, math.sqrt(2) * printed, note=along, acts="side by side"),
        Contribution("edge noise", noise, math.sqrt(2) * noise, acts="point by point"),
        Contribution("edge level", level, 2 * level, acts="all round"),
        *_blur(contours, mm_per_px, extents_mm, reference),
        *_resolution(contours[0], mm_per_px),
        *_level_of(reference, mm_per_px),
    )
    return tuple(one for one in lines if one.profile_mm or one.length_per_mm)


def _level_px(blur_px: float) -> float:
    return LEVEL_SD_PX * max(1.0, blur_px)


def _level_of(reference: ReferenceEdge | None, mm_per_px: float) -> tuple[Contribution, ...]:
    """What the level at the reference's own edges leaves: both of its ends alike, over its side."""
    if reference is None:
        return ()
    part = 2.0 * _level_px(reference.blur_px) * mm_per_px / reference.side_mm
    return (Contribution("corner fit", length_per_mm=part, note="level of its edges", acts="with length"),)


def all_round_mm(
    item_px: float, reference_px: float, reference: ReferenceEdge, extents_mm: tuple[float, float], mm_per_px: float
) -> float:
    """Return how far an item's edges are off where one cause moves them, and those of the reference, outward.

    The two are correlated (JCGM 100, 5.2.2): a reference that seems larger by 2 r makes a length L smaller by
    2 r L / side, while the item's own edges add 2 i to it. Root mean square of both extents.
    """
    left = [(item_px - reference_px * extent / reference.side_mm) * mm_per_px for extent in extents_mm]
    return math.hypot(*left) / math.sqrt(2.0)


def tone_curve(
    edge: Contour, mm_per_px: float, extents_mm: tuple[float, float], reference: ReferenceEdge | None, *, more_mm: float
) -> Contribution:
    """Contribution of a tone curve that the file does not state.

    Parameters
    ----------
    edge
        The item's outer edge.
    mm_per_px, extents_mm, reference
        As for `edge_contributions`.
    more_mm
        Standard uncertainty for what speaks for another curve altogether.
    """
    off = 0.0
    if edge.light is not None:
        own = _by_power(edge.light, edge.blur_px)
        other = 0.0 if reference is None else _by_power(reference.light, reference.blur_px)
        side = ReferenceEdge(math.inf, edge.light, edge.blur_px, 0.0) if reference is None else reference
        off = all_round_mm(own, other, side, extents_mm, mm_per_px)
    sd = math.hypot(off, more_mm)
    return Contribution("tone curve", sd, 2.0 * sd, note="the file states none", acts="all round")


def _by_power(light: tuple[float, float], blur_px: float) -> float:
    """How far an edge moves with one deviation of the curve's power."""
    return 0.5 * (curve_shift_px(light, blur_px, GAMMA_SD) - curve_shift_px(light, blur_px, -GAMMA_SD))


def _blur(
    contours: tuple[Contour, ...], mm_per_px: float, extents_mm: tuple[float, float], reference: ReferenceEdge | None
) -> tuple[Contribution, ...]:
    """What a driver's sharpening leaves: as much as the reference's edges show of it."""
    edge = contours[0]
    if reference is None or edge.light is None or reference.sharpened < _LEAST_SHARPENED:
        return ()
    item = sharpened_shift_px(edge.light, edge.blur_px, reference.sharpened)
    own = sharpened_shift_px(reference.light, reference.blur_px, reference.sharpened)
    off = all_round_mm(item, own, reference, extents_mm, mm_per_px)
    note = f"edges overshoot as if sharpened by {100 * reference.sharpened:.0f} %"
    return (Contribution("blur", off, 2 * off, note=note, acts="all round"),)


def _resolution(edge: Contour, mm_per_px: float) -> tuple[Contribution, ...]:
    """What whole codes leave of an edge that runs along the pixels: a step d has deviation d / sqrt(12) (F.2.2.1)."""
    if edge.light is None or edge.light[0] == edge.light[1]:
        return ()
    step = code_step(0.5 * (edge.light[0] + edge.light[1])) / abs(edge.light[0] - edge.light[1])
    off = step * edge.blur_px * math.sqrt(2.0 * math.pi) / math.sqrt(12.0) * mm_per_px
    return (Contribution("resolution", off, math.sqrt(2.0) * off, note="of codes", acts="side by side"),)


def arm_mm(rings: Sequence[FloatArray]) -> float:
    """Return how far the edge of an item moves across itself, root mean square, where all of it grows by a part of 1.

    Of a circle it is the radius; of a rectangle less than half its length, as its long sides lie near the middle.

    Parameters
    ----------
    rings
        Each (N, 2), closed, the exterior first: the middle of its edge stays where it is.
    """
    sides = [rolled(ring, -1) - ring for ring in rings]
    lengths = [np.hypot(side[:, 0], side[:, 1]) for side in sides]
    middle = np.average(rings[0] + 0.5 * sides[0], axis=0, weights=lengths[0])
    along, away = np.concatenate(sides), np.concatenate(rings) - middle
    length = np.maximum(np.concatenate(lengths), 1e-12)
    across = (away[:, 0] * along[:, 1] - away[:, 1] * along[:, 0]) / length  # the same all along a side
    return float(np.sqrt(np.average(across**2, weights=length)))


def combine(contributions: tuple[Contribution, ...], arm: float) -> Uncertainty:
    """Combine contributions for an item.

    Parameters
    ----------
    contributions
        The budget lines (k = 1).
    arm
        From `arm_mm`: a scale that is wrong moves the outline by so much of it.

    Examples
    --------
    Two independent deviations of 3 and 4 um are one of 5, expanded 10; nothing is sure to nothing.

    >>> combine((Contribution("a", profile_mm=0.003), Contribution("b", profile_mm=0.004)), 25.0).profile_k2_mm
    0.01
    >>> combine((), 25.0).profile_k2_mm
    0.0
    """
    return Uncertainty(
        profile_k2_mm=2 * math.hypot(*(outline_mm(one, arm) for one in contributions)),
        length_offset_k2_mm=2 * math.hypot(*(c.length_mm for c in contributions)),
        length_per_metre_k2_mm=2000 * math.hypot(*(c.length_per_mm for c in contributions)),
        budget=contributions,
    )


def outline_mm(one: Contribution, arm: float) -> float:
    """Return what a line gives an edge point, what grows with the length taken over the item's arm."""
    return math.hypot(one.profile_mm, one.length_per_mm * arm)


def length_k2_mm(item: Item) -> float:
    """Return the expanded uncertainty (k = 2) of the longer side of the item's box, mm."""
    return of_length_k2_mm(item.uncertainty, max(item.width_mm, item.height_mm))


def of_length_k2_mm(stated: Uncertainty, length_mm: float) -> float:
    """Return the expanded uncertainty (k = 2) of a length, mm.

    The constant and the proportional part are independent: root sum of squares (JCGM 100, 5.1.2).
    """
    return math.hypot(stated.length_offset_k2_mm, stated.length_per_metre_k2_mm * length_mm / 1000.0)
