"""The budget after JCGM 100 (GUM): every contribution named, root sum of squares, k = 2."""

from __future__ import annotations

import math

import numpy as np

from ..records import Contour, Contribution, Item, Uncertainty

LEVEL_SD_PX = 0.01  # what remains of the edge's place from levels, glare and the blur's shape; from renders
SHADE_PX = 12.0  # px an edge lies off (k = 1) for a trend of the light beside it of one contrast a px; from renders

BY_HAND = "by hand"  # name of the contribution of what a hand set


def shade_sd_mm(contours: tuple[Contour, ...], mm_per_px: float) -> float:
    """Return how far the shade beside its edges may move an item's outline (k = 1), mm.

    The trend of the light just outside is taken out as a straight one; what its bend leaves grows with it. Rendered
    shades of 6 to 50 % wider than the blur, at 100 to 600 dpi, moved edges by 1 to 14 px times the trend.
    """
    return SHADE_PX * max(c.shade for c in contours) * mm_per_px


def edge_contributions(contours: tuple[Contour, ...], mm_per_px: float) -> tuple[Contribution, ...]:
    """Contributions of the edge itself: its noise, the level it was taken at, and the shade beside it."""
    noise = math.sqrt(float(np.mean(np.concatenate([c.sd_px for c in contours]) ** 2)))
    blur = max(c.blur_px for c in contours)
    level = LEVEL_SD_PX * max(1.0, blur)
    shade = shade_sd_mm(contours, mm_per_px)
    note = "light that changes beside the edge"
    shaded = Contribution("shade", profile_mm=shade, length_mm=2 * shade, note=note, acts="all round")
    return (
        *((shaded,) if shade else ()),
        Contribution(
            "edge noise", noise * mm_per_px, length_mm=math.sqrt(2) * noise * mm_per_px, acts="point by point"
        ),
        Contribution("edge level", level * mm_per_px, length_mm=2 * level * mm_per_px, acts="all round"),
    )


def combine(contributions: tuple[Contribution, ...], extent_mm: float) -> Uncertainty:
    """Combine contributions for an item of the given largest extent.

    A scale error moves the outline in proportion to the distance from its middle, at most half the extent.

    Parameters
    ----------
    contributions
        The budget lines (k = 1).
    extent_mm
        Largest dimension of the item.

    Examples
    --------
    Two independent deviations of 3 and 4 um are one of 5, expanded 10; nothing is sure to nothing.

    >>> combine((Contribution("a", profile_mm=0.003), Contribution("b", profile_mm=0.004)), 50.0).profile_k2_mm
    0.01
    >>> combine((), 50.0).profile_k2_mm
    0.0
    """
    profile = math.hypot(
        *(c.profile_mm for c in contributions), *(c.length_per_mm * extent_mm / 2 for c in contributions)
    )
    return Uncertainty(
        profile_k2_mm=2 * profile,
        length_offset_k2_mm=2 * math.hypot(*(c.length_mm for c in contributions)),
        length_per_metre_k2_mm=2000 * math.hypot(*(c.length_per_mm for c in contributions)),
        budget=contributions,
    )


def length_k2_mm(item: Item) -> float:
    """Return the expanded uncertainty (k = 2) of the longer side of the item's box, mm."""
    return of_length_k2_mm(item.uncertainty, max(item.width_mm, item.height_mm))


def of_length_k2_mm(stated: Uncertainty, length_mm: float) -> float:
    """Return the expanded uncertainty (k = 2) of a length, mm.

    The constant and the proportional part are independent: root sum of squares (JCGM 100, 5.1.2).
    """
    return math.hypot(stated.length_offset_k2_mm, stated.length_per_metre_k2_mm * length_mm / 1000.0)
