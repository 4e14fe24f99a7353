"""A path that nearly keeps to its limit moved until it does, its pieces staying what they are."""

from __future__ import annotations

import numpy as np

from ..records import FloatArray, Path
from .bulge import make_path, path_kinks
from .draft import Draft
from .repair import levelled, spread
from .ring import dense_ring

_KEEP = 0.99  # of the limit, for the points between samples
_TANGENT = np.radians(0.3)  # joints that turn less are held tangent


def nudged(path: Path, ring_mm: FloatArray, limit_mm: float) -> Path | None:
    """Return the path with its largest distance from a ring lowered to the limit, lines staying lines.

    Tangent joints stay tangent. None where that is not enough, or the vertices do not follow the ring.
    """
    middle = ring_mm.mean(axis=0)
    ring, _ = dense_ring(ring_mm - middle, ())
    vertices = path.points_mm - middle
    breaks = np.array([int(np.argmin(np.hypot(*(ring - vertex).T))) for vertex in vertices])
    first = int(np.argmin(breaks))
    order = np.roll(np.arange(len(breaks)), -first)
    if (np.diff(breaks[order]) <= 0).any():
        return None
    straight, tangent = path.bulges == 0, np.abs(path_kinks(path)) < _TANGENT
    draft = Draft(
        vertices[order],
        path.bulges[order],
        breaks[order],
        straight[order],
        (tangent & ~(straight & np.roll(straight, 1)))[order],
        np.zeros(len(order), dtype=bool),
    )
    limit = np.full(len(ring), _KEEP * limit_mm)
    level = levelled(draft, ring, limit)
    if spread(level, ring, limit)[1].max() > 1:
        return None
    return make_path(level.vertices + middle, level.bulges)
