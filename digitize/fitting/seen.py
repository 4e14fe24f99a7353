"""The points of rings as they are seen from the pieces of drafts: what they cost, and the sums that slopes follow from.

Everything is of several drafts at once, each of its own ring.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..records import FloatArray
from ..steady import product
from .draft import distance_of, local_each, local_of
from .goal import Goal, cost_of, slope_and_curvature
from .joined import Joined, Rings
from .pieces import IntArray

MEAN_PRICE = 100.0  # of a mean offset over that of scatter: a piece must not lie to one side
_ENOUGH = 48  # points of a piece for a first fit
_SHARES = (np.arange(_ENOUGH) + 0.5) / _ENOUGH


@dataclass(frozen=True, slots=True)
class Mean:
    """What the mean offset of a draft is to cost."""

    points: int  # that count; 0 where it costs nothing
    off: float  # of them, in the least unit


NO_MEAN = Mean(0, 0.0)


class Points:
    """The points that count for goals, each of its own ring."""

    def __init__(self, each: Sequence[OfOne]) -> None:
        """Take those of several rings."""
        self._each = each

    def seen(self, draft: Joined) -> SeenPoints:
        """Look at drafts, one of each ring."""
        firsts = [one.first_of(draft.breaks[part]) for one, part in zip(self._each, draft.each(), strict=True)]
        parts = [slice(first[0], first[-1]) for first in firsts]
        x, y, unit, even = (
            np.concatenate([getattr(one, name)[part] for one, part in zip(self._each, parts, strict=True)])
            for name in ("x", "y", "unit", "even")
        )
        local = local_of(draft, x, y, np.concatenate([np.diff(first) for first in firsts]))
        off = distance_of(local)
        prices = prices_of_kinks(draft, [one.size for one in self._each], [one.least_unit for one in self._each])
        starts = np.cumsum([0, *(one.size for one in self._each)]).tolist()
        merits, means = [], []
        for one, low, high, price in zip(self._each, starts[:-1], starts[1:], prices, strict=True):
            mean = _dot(even[low:high], off[low:high])
            if one.goal.limit_mm is not None:
                off[low:high] /= unit[low:high]
            total = float(cost_of(off[low:high], one.goal.power).sum())
            if one.goal.power > 2:
                total += MEAN_PRICE * one.size * mean**2
            merits.append(total + price)
            means.append(Mean(one.size, mean) if one.goal.power > 2 else NO_MEAN)
        bounds = [first - first[0] + start for first, start in zip(firsts, starts, strict=False)]
        powers = [one.goal.power for one in self._each]
        return SeenPoints(_places(local.along, local.across), bounds, unit, even, off, powers, merits, prices, means)


class OfOne:
    """The points of one ring that count for a goal, twice over: from wherever a path begins they are one slice."""

    def __init__(self, ring: FloatArray, goal: Goal) -> None:
        """Take those that a goal names."""
        self.goal = goal
        index = np.arange(len(ring)) if goal.use is None else goal.use
        self.points, self.index, self.size = len(ring), index, len(index)
        points = ring if goal.use is None else ring[index]
        self.x, self.y = (np.concatenate((column, column)) for column in points.T)
        unit = np.ones(self.size) if goal.limit_mm is None else goal.limit_mm[index]
        even = (index % goal.every == 0).astype(np.float64)
        even *= 1 / (max(even.sum(), 1.0) * unit.min())
        self.least_unit = float(unit.min())
        self.unit, self.even = np.concatenate((unit, unit)), np.concatenate((even, even))

    def first_of(self, breaks: IntArray) -> IntArray:
        """Return (K + 1,) where each piece's points begin, and where the last one's end."""
        if self.goal.use is None:
            first = breaks.copy()
        else:
            around, place = np.divmod(breaks, self.points)
            first = np.searchsorted(self.index, place) + self.size * around
        first -= first[0] // self.size * self.size
        return np.append(first, first[0] + self.size)


@dataclass(frozen=True, slots=True)
class SeenPoints:
    """The points that count for goals, seen from the pieces of drafts, and what those drafts cost."""

    places: FloatArray  # (4, N)
    bounds: list[IntArray]  # of each draft, (K + 1,): where its pieces' points begin
    unit: FloatArray  # (N,) the offset that counts as 1
    even: FloatArray  # (N,) what their offsets in mm add to the mean in the least unit
    off: FloatArray  # (N,) offsets in units
    powers: list[int]
    merits: list[float]
    prices: list[float]  # parts of them that are for kinks
    means: list[Mean]

    def sums(self, which: Sequence[int]) -> FloatArray:
        """Return (K, 4, 6) of some drafts: of places, places times curvature, and the loads of slope and mean."""
        parts = [slice(self.bounds[at][0], self.bounds[at][-1]) for at in which]
        whole = len(which) == len(self.bounds)
        index = slice(None) if whole else np.concatenate([np.arange(part.start, part.stop) for part in parts])
        places, unit, even = self.places[:, index], self.unit[index], self.even[index]
        bends = [slope_and_curvature(self.off[part], self.powers[at]) for at, part in zip(which, parts, strict=True)]
        slope, curvature = (np.concatenate(column) for column in zip(*bends, strict=True))
        loads = np.concatenate((places * (curvature / unit**2), [-slope / unit, even]))
        sizes = np.concatenate([np.diff(self.bounds[at]) for at in which])
        first, filled = np.cumsum(sizes) - sizes, sizes > 0
        sums = np.zeros((len(sizes), 4, 6))
        for k, place in enumerate(places):
            sums[filled, k] = np.add.reduceat(place * loads, first[filled], axis=1).T
        return sums

    def farthest(self, at: int) -> float:
        """Return the largest offset of a draft in units."""
        bounds = self.bounds[at]
        return float(np.abs(self.off[bounds[0] : bounds[-1]]).max())


class Samples:
    """As many points of each piece, evenly spread: squares of these stand for those of all."""

    def __init__(self, rings: Rings) -> None:
        """Take points of these."""
        self._rings = rings

    def seen(self, draft: Joined) -> SeenSamples:
        """Look at drafts, one of each ring."""
        rings, counts = self._rings, draft.counts(self._rings)
        size = rings.sizes[draft.owner][:, None]
        index = draft.breaks[:, None] % size + (counts[:, None] * _SHARES).astype(np.intp)
        index -= size * (index >= size)
        index += rings.first[draft.owner][:, None]
        local = local_each(draft, rings.x[index], rings.y[index])
        off, weight = distance_of(local), counts / _ENOUGH
        squares = np.einsum("km,km->k", off, off)
        prices = prices_of_kinks(draft, rings.sizes.tolist(), [1.0] * len(rings.sizes))
        costs = np.add.reduceat(squares * weight, draft.firsts).tolist()
        merits = [cost + price for cost, price in zip(costs, prices, strict=True)]
        return SeenSamples(local.along, local.across, weight, off, draft.each(), merits, prices)


@dataclass(frozen=True, slots=True)
class SeenSamples:
    """Samples seen from the pieces of drafts, and what those drafts cost."""

    along: FloatArray  # (K, M)
    across: FloatArray
    weight: FloatArray  # (K,) points that one sample stands for
    off: FloatArray  # (K, M) mm
    pieces: list[slice]  # of each draft
    merits: list[float]
    prices: list[float]

    @property
    def means(self) -> list[Mean]:
        """They cost nothing."""
        return [NO_MEAN] * len(self.merits)

    def sums(self, which: Sequence[int]) -> FloatArray:
        """Return (K, 4, 6) of some drafts, as of all points."""
        along, across, weight, off = self.along, self.across, self.weight, self.off
        if len(which) < len(self.pieces):
            rows = np.concatenate([np.arange(self.pieces[at].start, self.pieces[at].stop) for at in which])
            along, across, weight, off = along[rows], across[rows], weight[rows], off[rows]
        places = np.swapaxes(_places(along, across), 0, 1)
        own = places * (2 * weight[:, None, None])
        sums = np.zeros((len(weight), 4, 6))
        sums[:, :, :4] = product(own, np.swapaxes(places, 1, 2))
        sums[:, :, 4] = -(product(own, off[:, :, None]))[:, :, 0]
        return sums


def _places(along: FloatArray, across: FloatArray) -> FloatArray:
    """Return the four functions of a point's place whose sums slopes are."""
    return np.stack((np.ones_like(along), along, across, along * along + across * across))


def _dot(one: FloatArray, other: FloatArray) -> float:
    """Return the sum of products; `@` would wake threads for a few thousand numbers."""
    return float(np.einsum("i,i->", one, other))


def prices_of_kinks(draft: Joined, points: Sequence[int], unit_mm: Sequence[float]) -> list[float]:
    """Return for each draft a price on kinks that should be none."""
    if not draft.smooth.any():
        return [0.0] * len(points)
    length = draft.lengths
    arm = np.minimum(length, draft.before(length)) / 4
    sums = np.add.reduceat((draft.kinks * arm * draft.smooth) ** 2, draft.firsts) / np.square(unit_mm)
    return [float(one) for one in 10 * np.asarray(points) / draft.sizes * sums]
