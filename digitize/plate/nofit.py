"""No-fit polygons: where a shape cannot be put beside another because they would overlap."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..records import FloatArray

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

MOST_CORNERS = 48  # of a shape; the work grows with the square of them
_LEAST_MM = 0.01  # that a shape may grow to lose corners; ever more until it has few enough
_MORE = 1.5  # times as much, each time
_MITRE = 1.5  # of its grown corners, in what it grew by: sharper ones are cut off


def few_corners(region: Geometry) -> tuple[Geometry, float]:
    """Return a shape of few corners around a region, holes filled, and how far it may reach beyond it.

    What lies in a hole of a region has no way in; no second pocket is to stand in a first.
    """
    import shapely

    whole = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(region)])
    by = _LEAST_MM
    if len(shapely.get_coordinates(whole)) <= MOST_CORNERS // 4:
        return whole, 0.0
    while True:
        # simplifying moves an edge by `by` at most, so what was grown by as much before still covers the region
        around = shapely.simplify(shapely.buffer(whole, by, join_style="mitre", mitre_limit=_MITRE), by)
        if len(shapely.get_coordinates(around)) <= MOST_CORNERS:
            return around, 2 * by
        by *= _MORE


def no_fit(fixed: Geometry, moving: Geometry) -> Geometry:
    """Return all shifts of a shape by which it overlaps another that stays: their Minkowski difference.

    Both are taken apart into triangles; the difference of two triangles is the hull of the differences of their
    corners, and that of the shapes is the union of those (M. de Berg et al., Computational Geometry, 3rd ed., 13.3).

    Parameters
    ----------
    fixed, moving
        Polygons without holes, or several of them, mm.

    Returns
    -------
    Geometry
        A region of shifts, mm. On its edge the shapes touch.

    Examples
    --------
    >>> import shapely
    >>> no_fit(shapely.box(0, 0, 2, 1), shapely.box(0, 0, 1, 1)).bounds
    (-1.0, -1.0, 2.0, 1.0)
    """
    import shapely

    stays, moves = _triangles(fixed), _triangles(moving)
    corners = stays[:, None, :, None, :] - moves[None, :, None, :, :]
    points = corners.reshape(len(stays) * len(moves), 9, 2)
    return shapely.union_all(shapely.convex_hull(shapely.multipoints(points)))


def _triangles(region: Geometry) -> FloatArray:
    """Return triangles (N, 3, 2) that make up a region."""
    import shapely

    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(region))
    return np.asarray(shapely.get_coordinates(parts).reshape(len(parts), 4, 2)[:, :3])
