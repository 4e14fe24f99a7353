"""Where artwork goes: an item's outline with bleed around it, or less a safe distance inside it."""

from __future__ import annotations

from ..errors import UsageError
from ..fitting.fit import Joins
from ..fitting.ring import Ring
from ..records import Curve
from .curve_offset import offset_paths
from .judge import ByCurve
from .pocket import CHORD_SHARE, SLIVER, curve_of, offset_circles, offset_rings, offset_shapes, quiet_ring
from .sources import directed


def make_print_area(
    rings: tuple[Ring, ...],
    distance_mm: float,
    *,
    curves: tuple[Curve, ...] = (),
    tolerance_mm: float = 0.02,
    ideal: bool = False,
    joins: Joins = "smooth",
) -> tuple[Curve, ...]:
    """Return the edge of the region within a distance of an item (bleed), or farther than that inside it (inset).

    Holes go the other way by the same amount: bleed runs over their edge, an inset stays clear of it.

    Parameters
    ----------
    rings
        Of the item, exterior first, item frame.
    distance_mm
        Bleed if positive, inset if negative.
    curves
        The same as lines and arcs, exterior first; empty where none are known.
    tolerance_mm
        Largest distance of the lines and arcs from the exact offset.
    ideal
        Offset the ideal shape, by formula, of each ring that is one within the tolerance.
    joins
        As for the item's own lines and arcs, where the edge is not made of those.

    Returns
    -------
    tuple of Curve
        Exteriors counter-clockwise, holes clockwise; in each part the holes first.

    Raises
    ------
    UsageError
        If nothing is left.
    """
    known_curves = curves or (None,) * len(rings)
    quiet = tuple(quiet_ring(*one, tolerance_mm=tolerance_mm) for one in zip(rings, known_curves, strict=True))
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
    sources = [directed(curve, hole=number > 0) for number, curve in enumerate(curves)]
    noise = max(ring.sd_mm for ring in rings)
    known = ByCurve(offset_paths(sources, distance_mm, edges, tolerance_mm=tolerance_mm), noise)
    return tuple(curve_of(ring, perfect, tolerance_mm, known=known, joins=joins) for ring in edges)
