"""An edge that crosses itself where two stretches come nearer than the blur: pulled back to its own pixels.

In a gap or at a neck of about a pixel each side is seen through the other's blur, and the two places found may swap.
The border of the pixels themselves, a quarter of a pixel outward, crosses nowhere.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..measure.ragged import EndToEnd
from ..records import BoolArray, FloatArray
from .smoothing import closed_normals

IntArray = npt.NDArray[np.intp]

_ROUNDS = 8  # of pulling, at most
_BESIDE = 4  # points either side of a crossing that are pulled too, and as many more each round
_OUTWARD_PX = 0.25  # of the border of the pixels, from their centres
_MOST_CROSSINGS = 400  # an edge with more is none


def untied_rings(points: Sequence[FloatArray], chains: Sequence[FloatArray]) -> list[tuple[FloatArray, BoolArray]]:
    """As `untied`, of many edges: nearly all cross nowhere, which is asked at once."""
    import shapely

    rings = EndToEnd.of(points)
    simple = np.asarray(shapely.is_simple(shapely.linearrings(np.concatenate(points), indices=rings.owner)))
    return [
        (one, np.zeros(len(one), bool)) if is_simple else untied(one, chain)
        for one, chain, is_simple in zip(points, chains, simple.tolist(), strict=True)
    ]


def untied(points: FloatArray, chain: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Pull the stretches that cross others toward the border of the item's pixels.

    Parameters
    ----------
    points
        (N, 2) px, an edge as measured.
    chain
        (M, 2) px, centres of the item's pixels along it, in the same direction.

    Returns
    -------
    points, pulled
        (N, 2) px, crossing nowhere if that could be reached; (N,) what was moved.
    """
    import shapely

    pulled = np.zeros(len(points), bool)
    if shapely.is_simple(shapely.linearrings(points)):
        return points, pulled
    border = chain - _OUTWARD_PX * closed_normals(chain, 2)
    for round_ in range(_ROUNDS):
        crossing = crossing_points(points)
        if not crossing.any() or crossing.sum() > _MOST_CROSSINGS:
            break
        for _ in range(_BESIDE * (1 + round_)):
            crossing = crossing | np.roll(crossing, 1) | np.roll(crossing, -1)
        pulled |= crossing
        points = points.copy()
        for run in _runs(crossing):
            points[run] += 0.5 * (_along(points, run, border) - points[run])
    return points, pulled


def crossing_points(points: FloatArray) -> BoolArray:
    """Which points begin or end a side that meets another than its neighbours; (N,)."""
    import shapely

    count = len(points)
    sides = np.asarray(shapely.linestrings(np.stack([points, np.roll(points, -1, axis=0)], axis=1)))
    one, other = shapely.STRtree(sides).query(sides, predicate="intersects")
    apart = np.abs(one - other)
    meeting = one[np.minimum(apart, count - apart) > 1]
    found = np.zeros(count, bool)
    found[meeting] = True
    return found | np.roll(found, 1)


def _runs(marked: BoolArray) -> list[IntArray]:
    """Return the indices of each marked stretch of a closed sequence; of one that is marked all round, none."""
    begins = np.flatnonzero(marked & ~np.roll(marked, 1))
    ends = np.flatnonzero(marked & ~np.roll(marked, -1))
    if len(ends) and len(begins) and ends[0] < begins[0]:
        ends = np.roll(ends, -1)
    count = len(marked)
    return [(begin + np.arange((end - begin) % count + 1)) % count for begin, end in zip(begins, ends, strict=True)]


def _along(points: FloatArray, run: IntArray, border: FloatArray) -> FloatArray:
    """Places on the border, in its order, for a stretch of points: between those next to the stretch's neighbours."""
    count = len(points)
    first = _nearest(points[(run[0] - 1) % count], border)
    last = _nearest(points[(run[-1] + 1) % count], border)
    way = (first + np.arange((last - first) % len(border) + 1)) % len(border)
    if len(way) > 4 * len(run) + 8:  # the wrong way round: the neighbours' own places have swapped
        return points[run]
    at = np.linspace(0, len(way) - 1, len(run) + 2)[1:-1]
    return np.column_stack([np.interp(at, np.arange(len(way)), border[way, k]) for k in (0, 1)])


def _nearest(place: FloatArray, border: FloatArray) -> int:
    return int(((border - place) ** 2).sum(axis=1).argmin())
