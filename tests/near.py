"""Distances of many points to lines of many pieces, by a tree of the pieces: the same as Shapely's, sooner."""

from __future__ import annotations

import numpy as np
import shapely


def distances(points, lines) -> np.ndarray:
    """Distance of each of the points, (N, 2) or geometries, to the nearest piece of any lines or rings, (N,)."""
    points = np.asarray(points)
    points = points if points.dtype == object else shapely.points(points)
    rings = [np.asarray(part.coords) for part in _parts(lines)]
    ends = np.concatenate([np.stack([ring[:-1], ring[1:]], 1) for ring in rings])
    found = shapely.STRtree(shapely.linestrings(ends)).query_nearest(points, return_distance=True, all_matches=False)
    (of, _), far = found
    away = np.empty(len(points))
    away[of] = far
    return away


def _parts(lines) -> list[shapely.LineString]:
    return [line for part in shapely.get_parts(lines) for line in shapely.get_parts(part)]
