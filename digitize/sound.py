"""Whether rings make a body that can be cut: an outline that does not cross itself, each hole apart within it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Ring = npt.NDArray[np.float64]


def unsound(exterior: Ring, holes: Sequence[Ring]) -> str:
    """Say what is wrong with an outline and its holes; empty where nothing is.

    Sound is what OGC 06-103r4 (Simple Features, 6.1.11.1) calls a valid polygon, and beyond it: no ring touches
    another, not even in a point, the outline runs counter-clockwise and the holes clockwise.

    Parameters
    ----------
    exterior
        (N, 2) points in a y-up frame, the first not repeated.
    holes
        Likewise.

    Returns
    -------
    str
        Words that go after "because", such as "hole 2 reaches beyond the outline".
    """
    import shapely

    rings = [exterior, *holes]
    for number, ring in enumerate(rings):
        name = "the outline" if number == 0 else f"hole {number}"
        wrong = _of_one(ring, inward=number > 0)
        if wrong:
            return f"{name} {wrong}"
    if not holes:
        return ""
    lines = [shapely.linearrings(ring) for ring in rings]
    return _met(lines) or _misplaced([shapely.Polygon(line) for line in lines])


def _of_one(ring: Ring, *, inward: bool) -> str:
    """What is wrong with one ring by itself."""
    import shapely

    if ring.ndim != 2 or len(ring) < 3 or not np.isfinite(ring).all():
        return "has fewer than three places"
    x, y = (ring - ring.mean(axis=0)).T
    area = float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
    if area == 0:
        return "encloses nothing"
    if (area < 0) != inward:
        return "is inside out"
    return "" if shapely.is_valid(shapely.Polygon(ring)) else "crosses itself"


def _met(lines: Sequence[Any]) -> str:
    """Which two rings touch or cross."""
    import shapely

    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    pairs = sorted((a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b)
    if not pairs:
        return ""
    a, b = pairs[0]
    return f"hole {b} meets the outline" if a == 0 else f"holes {a} and {b} meet"


def _misplaced(filled: Sequence[Any]) -> str:
    """Which hole lies outside the outline, or within another; no two rings meet."""
    import shapely

    shell, *holes = filled
    for number, hole in enumerate(holes, 1):
        if not shapely.contains_properly(shell, hole):
            return f"hole {number} reaches beyond the outline"
    outer, inner = shapely.STRtree(holes).query(holes, predicate="contains_properly")
    nested = sorted((b + 1, a + 1) for a, b in zip(outer.tolist(), inner.tolist(), strict=True) if a != b)
    return f"hole {nested[0][0]} lies within hole {nested[0][1]}" if nested else ""
