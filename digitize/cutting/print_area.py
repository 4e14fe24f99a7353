"""Where artwork goes: an item's outline with bleed around it, or less a safe distance inside it."""

from __future__ import annotations

from ..errors import UsageError
from ..fitting.ring import Ring
from ..records import Curve
from .pocket import CHORD_SHARE, SLIVER, curve_of, offset_circles, offset_rings, offset_shapes, quiet_ring


def make_print_area(
    rings: tuple[Ring, ...],
    distance_mm: float,
    *,
    tolerance_mm: float = 0.02,
    ideal: bool = False,
) -> tuple[Curve, ...]:
    """Return the edge of the region within a distance of an item (bleed), or farther than that inside it (inset).

    Holes go the other way by the same amount: bleed runs over their edge, an inset stays clear of it.

    Parameters
    ----------
    rings
        Of the item, exterior first, item frame.
    distance_mm
        Bleed if positive, inset if negative.
    tolerance_mm
        Largest distance of the lines and arcs from the exact offset.
    ideal
        Offset the ideal shape, by formula, of each ring that is one within the tolerance.

    Returns
    -------
    tuple of Curve
        Exteriors counter-clockwise, holes clockwise; in each part the holes first.

    Raises
    ------
    UsageError
        If nothing is left.
    """
    quiet = tuple(quiet_ring(ring) for ring in rings)
    exterior_mm, *holes_mm = (ring.points_mm for ring in quiet)
    chord, least = CHORD_SHARE * tolerance_mm, SLIVER * tolerance_mm
    parts = offset_rings(exterior_mm, tuple(holes_mm), distance_mm, chord_mm=chord, least_mm=least)
    if not parts:
        width, height = exterior_mm.max(axis=0) - exterior_mm.min(axis=0)
        raise UsageError(
            f"--inset {-distance_mm:g} leaves no area to print on an item of {width:.1f} x {height:.1f} mm: "
            "say less than half of its narrowest place, or the scale is wrong."
        )
    perfect = offset_circles(quiet, distance_mm, tolerance_mm)
    if ideal:
        perfect += offset_shapes(quiet, distance_mm, tolerance_mm)
    edges = [ring for part in parts for ring in (*part.holes_mm, part.exterior_mm)]
    return tuple(curve_of(ring, perfect, tolerance_mm) for ring in edges)
