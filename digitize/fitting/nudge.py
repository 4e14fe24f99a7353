"""A path that nearly keeps to its limit moved until it does, its pieces staying what they are."""

from __future__ import annotations

import numpy as np

from ..measure.rings import rolled
from ..records import FloatArray, Path
from .bulge import make_path, path_kinks
from .draft import Draft
from .pieces import IntArray
from .repair import levelled, spread
from .ring import dense_ring
from .tangent import TANGENT
from .together import alone

_KEEP = 0.99  # of the limit, for the points between samples


def nudged(path: Path, ring_mm: FloatArray, limit_mm: float) -> Path | None:
    """Return the path with its largest distance from a ring lowered to the limit, lines staying lines.

    Tangent joints stay tangent. None where that is not enough, or the vertices do not follow the ring.
    """
    middle = ring_mm.mean(axis=0)
    ring, _ = dense_ring(ring_mm - middle, ())
    met = aligned(make_path(path.points_mm - middle, path.bulges), ring)
    if met is None:
        return None
    begun, breaks = met
    straight, tangent = begun.bulges == 0, np.abs(path_kinks(begun)) < TANGENT
    smooth = tangent & ~(straight & rolled(straight, 1))
    none = np.zeros(len(breaks), dtype=bool)
    draft = Draft(begun.points_mm, begun.bulges, breaks, straight, smooth, none)
    limit = np.full(len(ring), _KEEP * limit_mm)
    level = alone(levelled(draft, ring, limit))
    if spread(level, ring, limit)[1].max() > 1:
        return None
    return make_path(level.vertices + middle, level.bulges)


def aligned(path: Path, ring_mm: FloatArray) -> tuple[Path, IntArray] | None:
    """Return a path begun where it first meets a ring's points, and the index of the point nearest to each vertex.

    None where the vertices do not follow the ring, one after the other.
    """
    breaks = np.array([int(np.argmin(np.hypot(*(ring_mm - vertex).T))) for vertex in path.points_mm])
    order = rolled(np.arange(len(breaks)), -int(np.argmin(breaks)))
    if (np.diff(breaks[order]) <= 0).any():
        return None
    return make_path(path.points_mm[order], path.bulges[order]), breaks[order]
