"""The wall besides the path: what beam, cutter or knife leave open once a pocket is cut, as a region of its own.

The path is what the machine follows, and may run over itself, out into a corner and back. The wall is where the
finished pocket ends. A beam takes away half the kerf on each side of its path, a cutter its radius; what is cut loose
falls out, what stands inside an inner path stays. A knife takes away nothing, a printer prints what is drawn (its
first layer spreads by what the notes say), and a former's wall is the foot of its plug.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import curve_area, curve_ring, reversed_curve
from ..fitting.chain import curve_of_chain
from ..fitting.distance import two_sided_distance
from ..measure.rings import signed_area
from ..records import BoolArray, Circle, Curve, FloatArray, Path, Pocket
from .curve_offset import as_curve, offset_paths
from .pocket import quadrant_segments
from .region import edges_of, polygons_of
from .sources import directed

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

CHORD_MM = 0.00025  # chord error
_WITHIN_MM = 0.001  # of lines and arcs from the corners of the chain that they stand for
_ROUGH_MM = 0.01  # chords that tell which of two closed paths lies inside the other
_SLIT_MM2 = 1e-3  # what is smaller is where chords do not quite meet
_SWEPT = ("kerf", "cutter")  # the links of the chain by which the path lies inside the wall


def reach_mm(pocket: Pocket) -> float:
    """Return how far beyond its path a pocket is open: half the kerf, or the cutter's radius."""
    return max(0.0, -sum(link.offset_mm for link in pocket.chain if link.name in _SWEPT))


def with_wall(pocket: Pocket) -> Pocket:
    """Return a pocket with its wall, if it has a path and no wall yet."""
    return pocket if pocket.wall or not pocket.curves else replace(pocket, wall=wall_of(pocket))


def wall_of(pocket: Pocket) -> tuple[Curve, ...]:
    """Return the edges of what a pocket's path leaves open, inner ones first.

    Lines and arcs, within 2 um of what a round tool leaves that follows the path; outer edges run counter-clockwise,
    those of what stands inside clockwise. Where nothing is taken beside the path, its own lines and arcs; where the
    edge is made of the path's own, moved, those, tangent where the path is.
    """
    reach = reach_mm(pocket)
    depths = [sum(_inside(curve, other) for other in pocket.curves if other is not curve) for curve in pocket.curves]
    if reach == 0.0:
        return tuple(_wound(curve, inner=bool(depth % 2)) for curve, depth in zip(pocket.curves, depths, strict=True))
    sources = [
        directed(_without_strokes(curve), hole=bool(depth % 2))
        for curve, depth in zip(pocket.curves, depths, strict=True)
    ]
    rings = [ring for ring in edges_of(_swept(pocket, reach)) if abs(signed_area(ring)) > _SLIT_MM2]
    return tuple(_edge(ring, sources, reach) for ring in sorted(rings, key=lambda ring: np.ptp(ring[:, 0])))


def _edge(ring: FloatArray, sources: list[Path], reach: float) -> Curve:
    """Return a chain of chords as the moved lines and arcs of paths that it is made of, or as those it looks like."""
    for path in offset_paths(sources, reach, [ring], tolerance_mm=_WITHIN_MM):
        if max(two_sided_distance(path, ring)[:2]) <= _WITHIN_MM and signed_area(ring) * curve_area(path) > 0:
            return as_curve(path)
    return curve_of_chain(ring, within_mm=_WITHIN_MM)


def opening(pocket: Pocket, at_mm: tuple[float, float] = (0.0, 0.0), *, chord_mm: float = CHORD_MM) -> Geometry:
    """Return what is open within a pocket's wall as a region, moved by `at_mm`, arcs as chords.

    Of a pocket that comes without its wall, as older documents hold them, what its path leaves open.
    """
    from shapely import affinity

    reach = 0.0 if pocket.wall else reach_mm(pocket)
    region = _swept(pocket, reach) if reach else _even_odd(pocket.wall or pocket.curves, chord_mm)
    return affinity.translate(region, *at_mm) if any(at_mm) else region


def _swept(pocket: Pocket, reach: float) -> Geometry:
    """Return all that is gone: what the path encloses, and every place that the tool comes by."""
    import shapely

    quadrant = quadrant_segments(reach, CHORD_MM)
    strokes = [shapely.LineString(ends) for curve in pocket.curves for ends in _strokes(curve)]
    enclosed = _even_odd(pocket.curves, CHORD_MM)
    gone = [shapely.buffer(one, reach, quad_segs=quadrant) for one in (enclosed, *strokes)]
    return shapely.union_all([shapely.MultiPolygon(polygons_of(one)) for one in gone])


def _even_odd(curves: tuple[Curve, ...], chord: float) -> Geometry:
    """Return the inside of curves, those inside others taken out; ways out and back enclose nothing."""
    import shapely

    region: Geometry = shapely.Polygon()
    for curve in curves:
        inside: Geometry = shapely.Polygon(curve_ring(_without_strokes(curve), chord_mm=chord))
        inside = inside if inside.is_valid else shapely.make_valid(inside)
        region = inside if region.is_empty else region.symmetric_difference(inside)
    return region


def _without_strokes(curve: Curve) -> Curve:
    """Leave out where a path runs straight out to a point and back the same way."""
    if isinstance(curve, Circle):
        return curve
    tips = _tips(curve)
    kept = ~(tips | np.roll(tips, -1))  # a tip, and the place it set out from: the one after it is the same
    return Path(curve.points_mm[kept], curve.bulges[kept]) if tips.any() and kept.sum() > 1 else curve


def _strokes(curve: Curve) -> list[FloatArray]:
    """Return the ways out and back of a path, each (2, 2)."""
    if isinstance(curve, Circle):
        return []
    return [curve.points_mm[[at - 1, at]] for at in np.flatnonzero(_tips(curve)).tolist()]


def _tips(path: Path) -> BoolArray:
    """Which points of a path are tips, reached straight and left straight the same way."""
    before, after = np.roll(path.points_mm, 1, axis=0), np.roll(path.points_mm, -1, axis=0)
    return np.asarray((before == after).all(axis=1) & (path.bulges == 0) & (np.roll(path.bulges, 1) == 0))


def _inside(curve: Curve, other: Curve) -> bool:
    import shapely

    place = curve_ring(curve, chord_mm=_ROUGH_MM)[0]
    return bool(shapely.contains_xy(shapely.Polygon(curve_ring(other, chord_mm=_ROUGH_MM)), *place))


def _wound(curve: Curve, *, inner: bool) -> Curve:
    return curve if isinstance(curve, Circle) or (curve_area(curve) < 0) == inner else reversed_curve(curve)
