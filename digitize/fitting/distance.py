"""How far a curve and a ring lie apart, measured without any help from the fitter."""

from __future__ import annotations

import numpy as np

from ..measure.rings import rolled
from ..records import Curve, FloatArray
from .bulge import curve_ring

_FLAT_MM = 1e-4  # chord error of the flattened curve: adds at most this to a distance


def two_sided_distance(curve: Curve, ring_mm: FloatArray, *, step_mm: float = 0.02) -> tuple[float, float, float]:
    """Measure how far a curve strays from a ring, how far the ring strays from the curve, and on which side.

    Parameters
    ----------
    curve : Path or Circle
    ring_mm : (N, 2)
        Closed polyline; its straight sides count, not only its points.
    step_mm
        Both are sampled at most this far apart, which misses at most about step^2 / (8 R) of a distance.

    Returns
    -------
    path_to_ring_mm, ring_to_path_mm, signed_mean_mm
        The two largest distances, and the mean along the ring of the signed distance: positive where the
        curve lies outside the ring, negative where it cuts inside.
    """
    import shapely

    flat, along = curve_ring(curve, chord_mm=_FLAT_MM), sampled_ring(ring_mm, step_mm)
    away, back = distances_to(flat, along), distances_to(ring_mm, sampled_ring(flat, step_mm))
    area = shapely.polygons(flat)
    shapely.prepare(area)
    side = np.where(shapely.contains_xy(area, along[:, 0], along[:, 1]), 1.0, -1.0)
    following = np.hypot(*(rolled(along, -1) - along).T)
    weight = following + rolled(following, 1)
    return float(back.max()), float(away.max()), float(np.average(side * away, weights=weight))


def distances_both_ways(curve: Curve, ring_mm: FloatArray, *, step_mm: float) -> tuple[FloatArray, FloatArray]:
    """Return the distances of a ring's points (N,) from a curve, and of the curve, sampled, from the ring, in mm."""
    flat = curve_ring(curve, chord_mm=_FLAT_MM)
    return distances_to(flat, ring_mm), distances_to(ring_mm, sampled_ring(flat, step_mm))


def distances_to(ring_mm: FloatArray, points_mm: FloatArray) -> FloatArray:
    """Return (M,) the distance in mm of each of the points (M, 2) from the nearest side of a closed polyline."""
    import shapely

    sides = np.asarray(shapely.linestrings(np.stack([ring_mm, rolled(ring_mm, -1)], axis=1)))
    tree = shapely.STRtree(sides)
    (asked, _), found = tree.query_nearest(shapely.points(points_mm), return_distance=True, all_matches=False)
    distances = np.empty(len(points_mm))
    distances[asked] = found
    return distances


def sampled_ring(ring: FloatArray, step: float) -> FloatArray:
    """Return the ring with its sides divided so that none is longer than `step`; no point is lost."""
    sides = rolled(ring, -1) - ring
    counts = np.maximum(1, np.ceil(np.hypot(*sides.T) / step).astype(int))
    which = np.repeat(np.arange(len(ring)), counts)
    share = (np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[which]
    return np.asarray(ring[which] + share[:, None] * sides[which])
