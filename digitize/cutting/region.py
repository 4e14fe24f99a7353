"""What a pocket is to be, what a round cutter gets of it, and what it leaves standing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..records import FloatArray
from ..steady import product
from .pocket import OffsetRing, quadrant_segments, rings_of

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry as Geometry


def polygons_of(region: Geometry) -> list[Polygon]:
    """Return the polygons of a region, largest first."""
    import shapely

    parts = shapely.get_parts(shapely.get_parts(region))
    kept = [part for part in parts if part.geom_type == "Polygon" and part.area > 0]
    return sorted(kept, key=lambda part: -float(part.area))


def rings_of_region(region: Geometry) -> list[OffsetRing]:
    """Return the rings of every part of a region, largest first."""
    return [rings_of(part) for part in polygons_of(region)]


def edges_of(region: Geometry) -> list[FloatArray]:
    """Return the rings of every part of a region, exteriors counter-clockwise, holes clockwise."""
    return [ring for part in rings_of_region(region) for ring in (part.exterior_mm, *part.holes_mm)]


def region_of(parts: list[OffsetRing]) -> Geometry:
    """Return rings as one region."""
    import shapely

    return shapely.union_all([shapely.Polygon(part.exterior_mm, part.holes_mm) for part in parts])


def grown(region: Geometry, distance_mm: float, *, chord_mm: float) -> Geometry:
    """Return all within a distance of a region, or, if it is negative, all farther than that inside it."""
    import shapely

    if distance_mm == 0.0:
        return region
    return shapely.buffer(region, distance_mm, quad_segs=quadrant_segments(abs(distance_mm), chord_mm))


_TOUCH_MM = 0.002  # beyond the cutter's edge, for regions that only touch


@dataclass(frozen=True, slots=True)
class Left:
    """One piece of a pocket that a round cutter does not reach."""

    region: Geometry
    tip: FloatArray  # (2,), its point farthest from the cutter
    centre: FloatArray  # (2,), where the centre of the cutter stands that comes nearest to the tip
    depth_mm: float  # from the cutter to the tip
    between: bool  # whether it lies between two parts of the pocket: a neck

    @property
    def ring(self) -> FloatArray:
        """Return its edge (N, 2), counter-clockwise."""
        return rings_of(polygons_of(self.region)[0]).exterior_mm


def left_standing(
    wanted: Geometry, centres: Geometry, swept: Geometry, *, radius_mm: float, tolerance_mm: float
) -> list[Left]:
    """Return the pieces of a region that a cutter leaves, deepest first; what is within the tolerance is none.

    Parameters
    ----------
    wanted
        The pocket.
    centres
        Where the cutter's centre may go: the pocket less its radius.
    swept
        What it takes away there.
    radius_mm, tolerance_mm
        The cutter's radius; how deep a piece is to be to count.
    """
    import shapely

    if centres.is_empty:
        return []
    missed = wanted.difference(swept)
    # where the sweep only grazes the wall, slivers as thin as a chord's error tie pieces together: they are cut off
    cores = polygons_of(wanted.difference(shapely.buffer(swept, tolerance_mm / 4, quad_segs=4)))
    found = []
    for core, (tip, depth) in zip(cores, _deepest(cores, swept, radius_mm / 4), strict=True):
        if depth <= tolerance_mm:
            continue
        piece = missed.intersection(shapely.buffer(core, tolerance_mm, quad_segs=4))
        if polygons_of(piece):
            near = shapely.get_coordinates(shapely.shortest_line(shapely.Point(tip), centres))[1]
            found.append(Left(piece, tip, near, depth, _parts_beside(core, swept, tolerance_mm) > 1))
    return sorted(found, key=lambda one: -one.depth_mm)


def contacts_of(left: Left, wanted: Geometry, radius_mm: float) -> FloatArray | None:
    """Return the two places (2, 2) where a cutter in a corner touches its sides; None where there are no two.

    They are the middles of the stretches of the pocket's edge that lie within 2 um of the cutter: a tangent leaves a
    circle so slowly that single points of a noisy edge would not tell.
    """
    import shapely

    toward = left.tip - left.centre
    near = shapely.boundary(wanted).intersection(
        shapely.Point(left.centre).buffer(radius_mm + _TOUCH_MM, quad_segs=512)
    )
    merged = shapely.line_merge(near) if near.geom_type == "MultiLineString" else near
    middles = [shapely.get_coordinates(part.interpolate(0.5, normalized=True))[0] for part in shapely.get_parts(merged)]
    if len(middles) < 2:
        return None
    places = np.array(middles)
    away = places - left.centre
    turned = np.arctan2(toward[0] * away[:, 1] - toward[1] * away[:, 0], product(away, toward))
    first, last = int(np.argmin(turned)), int(np.argmax(turned))
    return places[[first, last]] if turned[first] < 0 < turned[last] else None


def _deepest(cores: list[Polygon], swept: Geometry, step_mm: float) -> list[tuple[FloatArray, float]]:
    """Return for each polygon beside a region the point farthest from it, and how far; all by one tree of its edges."""
    import shapely

    if not cores:
        return []
    lines = [shapely.get_coordinates(line) for line in shapely.get_parts(shapely.boundary(swept))]
    edges = np.concatenate([np.stack([line[:-1], line[1:]], axis=1) for line in lines])
    tree = shapely.STRtree(np.asarray(shapely.linestrings(edges)).tolist())
    points, owner = shapely.get_coordinates(shapely.segmentize(cores, step_mm), return_index=True)
    away = np.asarray(tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)[1])
    firsts = [int(np.argmax(np.where(owner == number, away, -1.0))) for number in range(len(cores))]
    return [(points[at], float(away[at])) for at in firsts]


def _parts_beside(core: Polygon, swept: Geometry, tolerance: float) -> int:
    import shapely

    return int(sum(shapely.distance(part, core) <= tolerance for part in shapely.get_parts(swept)))
