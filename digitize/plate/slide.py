"""How near two shapes can be slid to each other: the outermost contact along x or y, by their profiles."""

from __future__ import annotations

import numpy as np

from ..records import FloatArray

Edges = FloatArray  # (N, 4): x, y of both ends of every edge of a shape


def edges_of(rings: list[FloatArray]) -> Edges:
    """Return the edges of closed rings, each (N, 2)."""
    return np.concatenate([np.hstack([ring, np.roll(ring, -1, axis=0)]) for ring in rings])


def turned_over_diagonal(edges: Edges) -> Edges:
    """Return the edges with x and y exchanged: what slides along x then slides along y."""
    return np.asarray(edges[:, [1, 0, 3, 2]])


def slide(first: Edges, second: Edges, across: float = 0.0) -> float:
    """Return the least x from which on the second shape, shifted by (x, across), does not overlap the first.

    On every line of constant y the first shape ends at its largest x and the second begins at its least; the shift
    is the largest difference. Between the heights of two neighbouring corners the first is a maximum and the second
    a minimum of straight lines, so that the difference is convex and largest at a corner's height. For all shifts
    from this one on the shapes are apart; -inf if they never meet.

    Examples
    --------
    >>> square = edges_of([np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)])])
    >>> slide(square, square), slide(square, square, 3.0)
    (2.0, -inf)
    """
    moved = np.add(second, (0.0, across, 0.0, across))
    low = max(first[:, [1, 3]].min(), moved[:, [1, 3]].min())
    high = min(first[:, [1, 3]].max(), moved[:, [1, 3]].max())
    if low > high:
        return -np.inf
    heights = np.unique(np.concatenate([first[:, 1], moved[:, 1], [low, high]]))
    heights = heights[(heights >= low) & (heights <= high)]
    return float((reach(first, heights) + reach(moved * (-1.0, 1.0, -1.0, 1.0), heights)).max())


def reach(edges: Edges, heights: FloatArray) -> FloatArray:
    """Return the largest x of a shape at each height; -inf where there is none of it."""
    x0, y0, x1, y1 = edges.T
    rise = y1 - y0
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (heights[:, None] - y0) / rise
    level = rise == 0
    share = np.where(level, 0.0, share)
    on = (share >= 0.0) & (share <= 1.0)
    on[:, level] = heights[:, None] == y0[level]
    found = np.where(on, x0 + share * (x1 - x0), -np.inf)
    found[:, level] = np.where(on[:, level], np.maximum(x0, x1)[level], -np.inf)
    return np.asarray(found.max(axis=1))
