"""What every way of cutting stands on: outlines moved by a distance, and their path as lines and arcs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..errors import UsageError
from ..fitting.bulge import curve_ring, make_path
from ..fitting.distance import two_sided_distance
from ..fitting.fit import Joins, fit_curve, full_circle
from ..fitting.ragged import lines_if_ragged
from ..fitting.ring import Ring, checked_ring, make_ring, smoothed_ring
from ..fitting.shapes import offset_shape, recognise
from ..measure.rings import signed_area
from ..records import Circle, Curve, Finding, FloatArray
from ..words.say import finding_of
from .judge import PEAK, ByCurve

if TYPE_CHECKING:
    from shapely import Polygon

SLIVER = 2.0  # tolerances: what is nowhere wider is noise
_RESIDUE_MM = 0.0005  # noise that may stay in an edge before it is offset
CHORD_SHARE = 0.02  # of the tolerance: chord error of round corners
_LOOK_MM = 0.1  # along a known offset, where it is held against the ring
_BOX_MM = 1e-3  # chord error of a curve's box, which only tells what cannot be the same


@dataclass(frozen=True, slots=True)
class OffsetRing:
    """One polygon of an offset: exterior counter-clockwise, holes clockwise, mm."""

    exterior_mm: FloatArray
    holes_mm: tuple[FloatArray, ...]


def offset_rings(
    exterior_mm: FloatArray,
    holes_mm: tuple[FloatArray, ...],
    distance_mm: float,
    *,
    chord_mm: float,
    least_mm: float = 0.0,
) -> list[OffsetRing]:
    """Return the region within `distance_mm` of a polygon (positive), or farther than that inside it (negative).

    Outward the outside grows and holes shrink; inward the outside shrinks and holes grow. Regions that meet
    merge, regions and holes too small for the offset vanish, a gap that closes leaves a hole.

    Parameters
    ----------
    exterior_mm : (N, 2)
    holes_mm : tuple of (N, 2)
        Either direction, all inside the exterior.
    distance_mm
        The offset, positive outward.
    chord_mm
        Round corners stray inward by at most this much; elsewhere the offset of the polyline is exact.
    least_mm
        Parts and holes that are nowhere as wide as this are left out: slivers, whose shape is the edge's noise.

    Returns
    -------
    list of OffsetRing
        Empty if nothing is left; largest first.

    Raises
    ------
    UsageError
        If a ring is no ring or the distance is not finite.
    """
    import shapely

    if not np.isfinite(distance_mm):
        raise UsageError(f"the offset must be a finite number of mm, got {distance_mm}")
    region = shapely.Polygon(checked_ring(exterior_mm), [checked_ring(hole) for hole in holes_mm])
    grown = shapely.buffer(
        region if region.is_valid else shapely.make_valid(region),
        distance_mm,
        quad_segs=quadrant_segments(abs(distance_mm), chord_mm),
    )
    parts = [part for part in shapely.get_parts(grown) if part.area > 0]
    rings = [rings_of(part) for part in sorted(parts, key=lambda part: -part.area)]
    return rings if least_mm <= 0 else _without_slivers(rings, least_mm)


def _without_slivers(parts: list[OffsetRing], least: float) -> list[OffsetRing]:
    import shapely

    def wide(ring: FloatArray) -> bool:
        return not shapely.buffer(shapely.Polygon(ring), -least / 2, quad_segs=2).is_empty

    return [
        OffsetRing(part.exterior_mm, tuple(hole for hole in part.holes_mm if wide(hole)))
        for part in parts
        if wide(part.exterior_mm)
    ]


def quadrant_segments(radius_mm: float, chord_mm: float) -> int:
    """Return how many chords a quarter circle needs to stray by at most `chord_mm`, twice counted.

    The engine starts its arcs at the corner's own direction, so the last chord can be up to two steps long:
    error up to 2 r (1 - cos(pi / 4 n)).
    """
    if radius_mm <= chord_mm:
        return 4
    return int(np.clip(np.ceil(np.pi / (4 * np.arccos(1 - chord_mm / (2 * radius_mm)))), 4, 512))


def rings_of(part: Polygon) -> OffsetRing:
    """Return the rings of one of the engine's polygons, each in its direction."""
    exterior = _wound(np.asarray(part.exterior.coords)[:-1, :2], 1.0)
    return OffsetRing(exterior, tuple(_wound(np.asarray(hole.coords)[:-1, :2], -1.0) for hole in part.interiors))


def _wound(ring: FloatArray, sign: float) -> FloatArray:
    return np.asarray(ring if signed_area(ring) * sign > 0 else ring[::-1], dtype=np.float64)


def quiet_ring(ring: Ring, curve: Curve | None = None, *, tolerance_mm: float = np.inf) -> Ring:
    """Return the ring without its noise: an offset follows the outermost points, not their mean.

    Near corners nothing can be averaged. If the noise of single points hides the tolerance there, they are moved onto
    the ring's lines and arcs, if those are known: these are nearer the truth than any single point.
    """
    if ring.sd_mm <= _RESIDUE_MM:
        return ring
    quiet, averaged, _ = smoothed_ring(ring.points_mm, sd_mm=ring.sd_mm, residue_mm=_RESIDUE_MM)
    if curve is not None and PEAK * ring.sd_mm > tolerance_mm and not averaged.all():
        quiet = quiet.copy()
        quiet[~averaged] = _onto(curve, quiet[~averaged], tolerance_mm * CHORD_SHARE)
    return make_ring(quiet)


def _onto(curve: Curve, points: FloatArray, chord: float) -> FloatArray:
    """Return the nearest places of a curve."""
    import shapely

    line = shapely.LinearRing(curve_ring(curve, chord_mm=chord))
    feet = shapely.line_interpolate_point(line, shapely.line_locate_point(line, shapely.points(points)))
    return np.asarray(shapely.get_coordinates(feet))


def offset_circles(sources: tuple[Ring, ...], distance: float, tolerance: float) -> list[Curve]:
    """Return the offsets, by formula, of those of an item's rings (exterior first) that are circles."""
    found: list[Curve] = []
    for ring, outward in zip(sources, (distance, *[-distance] * len(sources)), strict=False):
        circle = full_circle(ring, tolerance_mm=tolerance)
        if circle is not None and circle.radius_mm + outward > 0:
            found.append(Circle(circle.centre_mm, circle.radius_mm + outward))
    return found


def offset_shapes(sources: tuple[Ring, ...], distance: float, tolerance: float) -> list[Curve]:
    """Return the offsets, by formula, of those of an item's rings (exterior first) that are ideal shapes."""
    found: list[Curve] = []
    for ring, outward in zip(sources, (distance, *[-distance] * len(sources)), strict=False):
        shape = recognise(ring, uncertainty_mm=tolerance)
        curve = None if shape is None else offset_shape(shape, outward)
        if curve is not None:
            found.append(curve)
    return found


def curve_of(
    ring: FloatArray,
    perfect: list[Curve],
    tolerance: float,
    corners: tuple[int, ...] = (),
    known: ByCurve | None = None,
    *,
    joins: Joins = "smooth",
) -> Curve:
    """Return the curve by formula that runs where the ring does, else the ring as lines and arcs; ragged, as lines.

    `known` are offsets of the item's own lines and arcs, taken where they keep to the ring and turn at the `corners`
    (indices of the ring).
    """
    for curve in perfect:
        close = np.abs(np.subtract(_box(curve), _box(ring))).max() < 2 * tolerance
        if close and max(two_sided_distance(curve, ring, step_mm=_LOOK_MM)[:2]) <= 2 * tolerance:
            return curve
    lines = lines_if_ragged(ring, tolerance)
    if lines is not None:
        return make_path(lines, np.zeros(len(lines)))
    own = None if known is None else known.along(ring, tolerance, corners)
    return fit_curve(make_ring(ring, corners), tolerance_mm=tolerance, joins=joins) if own is None else own


def _box(curve: Curve | FloatArray) -> FloatArray:
    points = curve if isinstance(curve, np.ndarray) else curve_ring(curve, chord_mm=_BOX_MM)
    return np.concatenate([points.min(axis=0), points.max(axis=0)])


def part_findings(parts: list[OffsetRing], holes: int, distance: float, cut_holes: bool) -> tuple[Finding, ...]:
    """Return what is to be said of an offset that falls apart, loses holes or closes openings."""
    found = []
    inner = sum(len(part.holes_mm) for part in parts)
    if len(parts) > 1:
        found.append(finding_of("pocket-in-parts", value=len(parts), limit=1, moved=f"Offset by {distance:.3f} mm"))
    if inner < holes:
        found.append(finding_of("peg-too-small", value=holes - inner, limit=0, holes=holes))
    if inner > holes:
        found.append(finding_of("opening-closed", value=inner - holes, limit=0, case="islands" if cut_holes else None))
    return tuple(found)
