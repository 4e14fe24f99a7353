"""Where to break a closed ring so that the fewest circles and lines explain it, and best among those.

Every stretch between two candidate points is one piece if a circle or line explains it. How far a piece
can go is found for some candidates at once (doubling, then bisection), then for those half-way between,
whose pieces end between those of their neighbours. A walk that always jumps as far as it can counts the
pieces from every start; among all ways with the least count the one with the least sum of squares is
taken by dynamic programming.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..records import FloatArray
from ..steady import as_complex
from .pieces import IntArray, Limits, judged

_WIDER = 1.5  # times as far apart, while there are too many candidates
_DENSE = 4000  # points: of a denser ring, every second, third, ... may end a piece
_COARSE = 8  # one candidate in so many is looked at first


@dataclass(frozen=True, slots=True)
class Candidates:
    """Points of a ring at which pieces may end."""

    index: IntArray  # (M,) ascending
    barrier: IntArray  # (M,) how many candidates on the next corner lies (at most M)


def find_candidates(ring: FloatArray, corners: tuple[int, ...], *, spread_mm: float, most: int) -> Candidates:
    """Choose candidate points: those of a simplified ring, dense where it bends, and the points half-way.

    A joint moved to the nearest candidate changes the distance by about `spread_mm`.
    """
    kept = _simplified(ring, corners, spread_mm)
    while 2 * len(kept) > most:
        spread_mm *= _WIDER
        kept = _simplified(ring, corners, spread_mm)
    gaps = np.diff(np.append(kept, kept[0] + len(ring)))
    halves = (kept + gaps // 2)[gaps >= 4] % len(ring)
    index = np.union1d(kept, halves).astype(np.intp)
    return Candidates(index, _barriers(index, corners))


def _simplified(ring: FloatArray, corners: tuple[int, ...], spread: float) -> IntArray:
    """Return indices kept by shapely's simplification between fixed points (corners, or two far points)."""
    import shapely

    if corners:
        fixed = np.unique(np.asarray(corners))
    else:
        first = int(np.argmax(np.sum((ring - ring.mean(axis=0)) ** 2, axis=1)))
        fixed = np.sort([first, int(np.argmax(np.sum((ring - ring[first]) ** 2, axis=1)))])
    bounds = np.append(fixed, fixed[0] + len(ring))
    thin_by = len(ring) // _DENSE + 1
    kept: list[IntArray] = []
    for low, high in pairwise(bounds):
        index = np.append(np.arange(low, high, thin_by), high)
        line = ring[index % len(ring)]
        if len(line) > 2:
            thin = shapely.get_coordinates(shapely.simplify(shapely.linestrings(line), spread, preserve_topology=False))
            keep = np.isin(as_complex(line), as_complex(thin))
            index = index[keep]
        kept.append(index % len(ring))
    return np.unique(np.concatenate(kept))


def _barriers(index: IntArray, corners: tuple[int, ...]) -> IntArray:
    count = len(index)
    barrier = np.full(count, count, dtype=np.intp)
    for corner in np.searchsorted(index, np.unique(np.asarray(corners, dtype=np.intp))):
        ahead = (corner - np.arange(count) - 1) % count + 1
        barrier = np.minimum(barrier, ahead)
    return barrier


async def find_reach(ring: FloatArray, found: Candidates, *, limits: Limits, samples: int) -> IntArray:
    """Return (M,) how many candidates far one piece can go from each candidate; at least 1, never past a corner."""
    size = len(found.index)
    cap = np.minimum(found.barrier, size - 1)
    stride = _COARSE
    reach = np.ones(size, dtype=np.intp)
    some = np.arange(0, size, stride)
    reach[some] = await _doubled(ring, found, some, cap[some], limits, samples)
    while stride > 1:
        before = np.arange(0, size, stride)
        some = before + stride // 2
        before, some = before[some < size], some[some < size]
        after = np.minimum(before + stride, size)  # the last is the first again
        least = np.clip(before + reach[before] - some, 1, cap[some])
        most = np.clip(after + reach[after % size] - some, least, cap[some])
        reach[some] = await _halved(ring, found, some, least, most + 1, limits, samples)
        stride //= 2
    return reach


async def _doubled(
    ring: FloatArray, found: Candidates, start: IntArray, cap: IntArray, limits: Limits, samples: int
) -> IntArray:
    """Return how far pieces go from each start, first trying steps of 2, 4, 8, ..., at most `cap`."""
    good = np.ones(len(start), dtype=np.intp)
    bad = cap + 1
    step = 4
    while len(open_ends := np.flatnonzero((bad == cap + 1) & (good < cap))):
        trial = np.minimum(step, cap[open_ends])
        fits = await _try(ring, found, start[open_ends], trial, limits, samples)
        good[open_ends[fits]] = trial[fits]
        bad[open_ends[~fits]] = trial[~fits]
        step *= 2
    return await _halved(ring, found, start, good, bad, limits, samples)


async def _halved(
    ring: FloatArray,
    found: Candidates,
    start: IntArray,
    good: IntArray,
    bad: IntArray,
    limits: Limits,
    samples: int,
) -> IntArray:
    """Return how far pieces go from each start: at least `good`, less than `bad`, found by bisection."""
    good, bad = good.copy(), bad.copy()
    while len(unsure := np.flatnonzero(bad - good > 1)):
        trial = (bad[unsure] + good[unsure]) // 2
        fits = await _try(ring, found, start[unsure], trial, limits, samples)
        good[unsure[fits]] = trial[fits]
        bad[unsure[~fits]] = trial[~fits]
    return good


async def _try(
    ring: FloatArray, found: Candidates, start: IntArray, steps: IntArray, limits: Limits, samples: int
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    first, length = _stretch(ring, found, start, steps)
    return (await judged(ring, first, length, limits=limits, samples=samples)).fits


def _stretch(ring: FloatArray, found: Candidates, start: IntArray, steps: IntArray) -> tuple[IntArray, IntArray]:
    """Return first point and length in points, two points short at both ends: a joint lies between points."""
    first = found.index[start]
    last = found.index[(start + steps) % len(found.index)]
    length = (last - first) % len(ring)
    trim = np.minimum(2, length // 16)
    return first + trim, length - 2 * trim


def count_pieces(reach: IntArray) -> IntArray:
    """Return (M,) the pieces needed to come around from each candidate, always going as far as possible."""
    size = len(reach)
    start = np.arange(size)
    at, counts = start.copy(), np.zeros(size, dtype=np.intp)
    while len(short := np.flatnonzero(at < start + size)):
        at[short] += reach[at[short] % size]
        counts[short] += 1
    return counts


async def best_breaks(ring: FloatArray, found: Candidates, reach: IntArray, start: int, *, samples: int) -> IntArray:
    """Return indices into the ring of the joints of a best way around that has a joint at candidate `start`.

    Best is the least count, then the least sum over the ring of the squared distances.
    """
    size = len(reach)
    turned = np.minimum(np.roll(reach, -start), size - np.arange(size))
    forward, backward = _counts(turned)
    on_way = forward + backward == forward[size]
    layers = [np.flatnonzero(on_way & (forward == k)) for k in range(forward[size] + 1)]
    steps = [_steps(turned, before, here) for before, here in pairwise(layers)]
    source, target = (np.concatenate(ends) for ends in zip(*steps, strict=True))
    square = await _squares(ring, found, (source + start) % size, target - source, samples)
    cost, came_from = np.full(size + 1, np.inf), np.zeros(size + 1, dtype=np.intp)
    cost[0], done = 0.0, 0
    for source, target in steps:
        _advance(source, target, square[done : done + len(source)], cost, came_from)
        done += len(source)
    way = [size]
    while way[-1] > 0:
        way.append(int(came_from[way[-1]]))
    return np.sort(found.index[(np.array(way[1:]) + start) % size])


def _counts(reach: IntArray) -> tuple[IntArray, IntArray]:
    """Return least counts from the start to each node, and from each node to the end, both (M + 1,).

    A few of the latter may be too small, where a node does not reach as far as the one before it.
    """
    size = len(reach)
    ends = np.maximum.accumulate(np.arange(size) + reach)
    forward, backward = np.zeros(size + 1, dtype=np.intp), np.zeros(size + 1, dtype=np.intp)
    node, count = 0, 0
    while node < size:
        node, before, count = int(ends[node]), node, count + 1
        forward[before + 1 : node + 1] = count
    node, count = size, 0
    while node > 0:
        node, after, count = int(np.searchsorted(ends, node)), node, count + 1
        backward[node:after] = count
    return forward, backward


def _steps(reach: IntArray, before: IntArray, here: IntArray) -> tuple[IntArray, IntArray]:
    """Return all pairs of a node of one layer and one of the next that a single piece joins."""
    source, target = np.repeat(before, len(here)), np.tile(here, len(before))
    joined = (target > source) & (target <= source + reach[source])
    return source[joined], target[joined]


async def _squares(ring: FloatArray, found: Candidates, start: IntArray, steps: IntArray, samples: int) -> FloatArray:
    """Return the sum of squared distances of each piece."""
    loose = Limits(np.full(len(ring), np.inf), np.inf)
    first, length = _stretch(ring, found, start, steps)
    judgement = await judged(ring, first, length, limits=loose, samples=samples)
    return np.asarray(judgement.mean_square * (length + 1))


def _advance(source: IntArray, target: IntArray, square: FloatArray, cost: FloatArray, came_from: IntArray) -> None:
    """Carry the least cost from one layer of nodes to the next."""
    total = cost[source] + square
    order = np.argsort(-total, kind="stable")  # the least is written last
    cost[target[order]] = total[order]
    came_from[target[order]] = source[order]
