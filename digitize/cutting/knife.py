"""A pocket as a knife can cut it: no bend tighter than a least radius, and never smaller than what was wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from digitize.pocket import quadrant_segments

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_SHARES = (1.0, 0.5, 0.25, 0.125)  # of the least radius: narrow parts vanish at the larger ones
_MITRE_LIMIT = 3.0  # a tip farther out than this many radii is cut off


def for_knife(wanted: Geometry, *, least_radius_mm: float, chord_mm: float) -> Geometry:
    """Return the region, smoothed outward only.

    Where the wall turns towards the pocket (a tongue of sheet) the bend becomes an arc of the least radius. Where
    the pocket turns into the sheet, a bend tighter than that becomes a sharp corner, the sides going on until they
    meet: a knife cannot follow a tight bend but is lifted and set anew at a corner.
    """
    import shapely

    if least_radius_mm == 0:
        return wanted
    sharp = [wanted, *(_sharpened(wanted, share * least_radius_mm, chord_mm) for share in _SHARES)]
    return _filled(shapely.union_all(sharp), least_radius_mm, chord_mm)


def _sharpened(wanted: Geometry, radius: float, chord: float) -> Geometry:
    """Return the region's inner parallel moved out again with mitred corners."""
    import shapely

    inner = shapely.buffer(wanted, -radius, quad_segs=quadrant_segments(radius, chord))
    return shapely.buffer(inner, radius, join_style="mitre", mitre_limit=_MITRE_LIMIT)


def _filled(region: Geometry, radius: float, chord: float) -> Geometry:
    """Return all that no disc of this radius reaches without touching the region (a morphological closing)."""
    import shapely

    segments = quadrant_segments(radius, chord)
    outer = shapely.buffer(region, radius, quad_segs=segments)
    return shapely.union(region, shapely.buffer(outer, -radius, quad_segs=segments))
