"""All pieces of a closed path fitted at once, by least squares of the distances across them.

Unknowns are the vertices and the bulges, so the path is closed whatever the solution; joints move freely.
Tangent joints are exact side conditions of each Gauss-Newton step (Lagrange multipliers).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..records import FloatArray
from ..steady import product
from .blocks import solve_ring
from .draft import (
    Draft,
    Local,
    counts_of,
    distance_of,
    following,
    kinks_of,
    local_each,
    local_of,
    moved,
    offsets,
    preceding,
    rebroken,
    shares_of,
    slopes_of,
)
from .pieces import IntArray

_STEPS = 12
_ENOUGH = 48  # points of a piece for a first fit
_STEADY = 0.05
_MEAN_PRICE = 100.0
_MEAN_SHARE = 0.02  # of the limit: the mean offset that is small enough
_TRIALS = 7
_GAIN = 1e-3  # stop when the sum of squares falls by less than this share: 0.05 % of their root
_GAIN_OF_ALL = 1e-4  # the same where every point counts, as in the last fit
_ROUGH_GAIN = 1e-2  # the same for a path that is fitted again
_NO_GAIN = 1e-7  # the share that a step of squares must promise to be tried at all: 0.000005 % of their root
_GAIN_OF_POWER = 2e-3  # times the power: 0.2 % of the largest offset


@dataclass(frozen=True, slots=True)
class Goal:
    """What the least of is wanted.

    Power 2 is least squares. A high even power comes near the least largest offset; the mean offset is then
    held near 0 by a price of its own, as high powers do not care for it.
    """

    power: int = 2
    limit_mm: FloatArray | None = None  # (N,) the offset that counts as 1; the work stops once none is larger
    use: IntArray | None = None  # ascending indices of the points that count; all if not given
    every: int = 1  # points with an index divisible by this stand for all in the mean
    every_point: bool = False
    rough: bool = False  # what comes is fitted again: a few steps do


SQUARES = Goal()
ROUGH = Goal(rough=True)


class _Points:
    """The points that count for a goal, twice over: from wherever the path begins they are one slice."""

    def __init__(self, ring: FloatArray, goal: Goal) -> None:
        index = np.arange(len(ring)) if goal.use is None else goal.use
        self.ring, self.index, self.size = ring, index, len(index)
        points = ring if goal.use is None else ring[index]
        self.x, self.y = (np.concatenate((column, column)) for column in points.T)
        unit = np.ones(self.size) if goal.limit_mm is None else goal.limit_mm[index]
        even = (index % goal.every == 0).astype(np.float64)
        even *= 1 / (max(even.sum(), 1.0) * unit.min())
        self.least_unit = float(unit.min())
        self.unit, self.even = np.concatenate((unit, unit)), np.concatenate((even, even))

    def first_of(self, breaks: IntArray) -> IntArray:
        """Return (K + 1,) where each piece's points begin, and where the last one's end."""
        around, place = np.divmod(breaks, len(self.ring))
        first = np.searchsorted(self.index, place) + self.size * around
        first -= first[0] // self.size * self.size
        return np.append(first, first[0] + self.size)

    def seen(self, draft: Draft, goal: Goal) -> _Seen:
        """Look at a draft."""
        first = self.first_of(draft.breaks)
        part = slice(first[0], first[-1])
        local = local_of(draft, self.x[part], self.y[part], np.diff(first))
        off = distance_of(local)
        mean = _dot(self.even[part], off)
        if goal.limit_mm is not None:
            off = off / self.unit[part]
        total = float(_cost(off, goal.power).sum())
        if goal.power > 2:
            total += _MEAN_PRICE * self.size * mean**2
        price = _price_of_kinks(draft, self.size, self.least_unit)
        return _Seen(local, first - first[0], self.unit[part], self.even[part], off, total + price, price)


@dataclass(frozen=True, slots=True)
class _Seen:
    """The points that count for a goal, seen from the pieces of a draft, and what that draft costs."""

    local: Local
    first: IntArray  # (K + 1,) where each piece's points begin
    unit: FloatArray  # (N,) the offset that counts as 1
    even: FloatArray  # (N,) what their offsets in mm add to the mean in the least unit
    off: FloatArray  # (N,) offsets in units
    merit: float
    price: float  # part of it that is for kinks

    def sums(self, goal: Goal) -> FloatArray:
        """Return (K, 4, 6): of places, places times curvature, and the loads of slope and mean."""
        slope, curvature = _slope_and_curvature(self.off, goal.power)
        places = _places(self.local)
        loads = np.concatenate((places * (curvature / self.unit**2), [-slope / self.unit, self.even]))
        sums = np.empty((len(self.first) - 1, 4, 6))
        for k, (low, high) in enumerate(pairwise(self.first.tolist())):
            sums[k] = product(places[:, low:high], loads[:, low:high].T)
        return sums


class _Samples:
    """As many points of each piece, evenly spread: squares of these stand for those of all."""

    def __init__(self, ring: FloatArray) -> None:
        self.size = len(ring)
        self.x, self.y = (np.concatenate((column, column)) for column in ring.T)
        self.share = (np.arange(_ENOUGH) + 0.5) / _ENOUGH

    def seen(self, draft: Draft, _: Goal) -> _SeenSamples:
        """Look at a draft."""
        counts = counts_of(draft, self.size)
        index = draft.breaks[:, None] % self.size + (counts[:, None] * self.share).astype(np.intp)
        local = local_each(draft, self.x[index], self.y[index])
        off, weight = distance_of(local), counts / _ENOUGH
        price = _price_of_kinks(draft, self.size, 1.0)
        return _SeenSamples(local, weight, off, _dot(np.einsum("km,km->k", off, off), weight) + price, price)


@dataclass(frozen=True, slots=True)
class _SeenSamples:
    """Samples seen from the pieces of a draft, and what that draft costs."""

    local: Local
    weight: FloatArray  # (K,) points that one sample stands for
    off: FloatArray  # (K, M) mm
    merit: float
    price: float

    def sums(self, _: Goal) -> FloatArray:
        """Return (K, 4, 6) as of all points."""
        places = np.swapaxes(_places(self.local), 0, 1)
        own = places * (2 * self.weight[:, None, None])
        sums = np.zeros((len(self.weight), 4, 6))
        sums[:, :, :4] = product(own, np.swapaxes(places, 1, 2))
        sums[:, :, 4] = -(product(own, self.off[:, :, None]))[:, :, 0]
        return sums


def _places(seen: Local) -> FloatArray:
    """Return the four functions of a point's place whose sums slopes are."""
    u, v = seen.along, seen.across
    return np.stack((np.ones_like(u), u, v, u * u + v * v))


def _dot(one: FloatArray, other: FloatArray) -> float:
    """Return the sum of products; `@` would wake threads for a few thousand numbers."""
    return float(np.einsum("i,i->", one, other))


def _price_of_kinks(draft: Draft, points: int, unit_mm: float) -> float:
    """Return a price on kinks that should be none."""
    if not draft.smooth.any():
        return 0.0
    length = draft.lengths
    arm = np.minimum(length, preceding(length)) / 4 / unit_mm
    price = 10 * points / len(draft.bulges)
    return price * float(np.sum((kinks_of(draft) * arm)[draft.smooth] ** 2))


def polish(draft: Draft, ring: FloatArray, goal: Goal = SQUARES) -> Draft:
    """Return the draft with vertices and bulges at the least cost, breaks following.

    Levenberg-Marquardt for squares; Newton steps, damped alike, for high powers. Squares are taken at
    48 places of each piece unless the goal says `every_point`.
    """
    sampled = goal.power == 2 and goal.use is None and not goal.every_point
    points = _Samples(ring) if sampled else _Points(ring, goal)
    damping, enough = 1e-4, _enough(goal)
    seen = points.seen(draft, goal)
    for _ in range(_STEPS):
        normal = _normal_equations(draft, seen, goal)
        step, calm = _solve(normal, damping), damping / 5
        if goal.power == 2 and _promised(normal, step) + seen.price < _NO_GAIN * seen.merit:
            break
        for attempt in range(_TRIALS):
            if attempt:
                damping = calm = damping * 4 + 1e-5
                step = _solve(normal, damping)
            trial = rebroken(moved(draft, step), ring)
            better = points.seen(trial, goal)
            if better.merit <= seen.merit:
                break
        else:
            break
        gain, draft, seen = seen.merit - better.merit, trial, better
        damping = calm
        if gain < enough * seen.merit + 1e-12 or _reached(draft, seen, ring, goal):
            break
    return draft


def _promised(normal: _Normal, step: FloatArray) -> float:
    """Return by how much a step would lower the sum of squares if distances were straight in the unknowns."""
    return 0.5 * float(np.einsum("ki,ki->", normal.right[:, :3], step))


def _enough(goal: Goal) -> float:
    """Return the share of its cost that a step must save to be followed by another."""
    if goal.power > 2:
        return _GAIN_OF_POWER * goal.power
    if goal.rough:
        return _ROUGH_GAIN
    return _GAIN_OF_ALL if goal.every_point else _GAIN


def _reached(draft: Draft, seen: _Seen | _SeenSamples, ring: FloatArray, goal: Goal) -> bool:
    """Tell whether the work may stop early: no point is farther off than its limit, and the mean is small enough."""
    if goal.limit_mm is None or np.abs(seen.off).max() > 1:
        return False
    off = offsets(draft, ring)
    mean = off.mean() / goal.limit_mm.min()
    index, _ = shares_of(draft, len(ring))
    return bool(np.abs(off / goal.limit_mm[index]).max() <= 1 and abs(mean) <= _MEAN_SHARE)


def _cost(off: FloatArray, power: int) -> FloatArray:
    """Return what offsets cost.

    High powers keep a little of the square: all points steady the path, not only the few farthest.
    """
    square = off * off
    return square if power == 2 else (_high(square, power) + _STEADY) * square


def _high(square: FloatArray, power: int) -> FloatArray:
    """Return the power less 2 of offsets, from their squares; a product is ten times faster than a power."""
    high = square
    for _ in range(power // 2 - 2):
        high = high * square
    return high


def _slope_and_curvature(off: FloatArray, power: int) -> tuple[FloatArray, FloatArray]:
    if power == 2:
        return 2 * off, np.full_like(off, 2.0)
    high = _high(off * off, power)
    return (power * high + 2 * _STEADY) * off, power * (power - 1) * high + 2 * _STEADY


_OWN = np.array([0, 1, 4])  # start x, y and sagitta


@dataclass(frozen=True, slots=True)
class _Normal:
    """Normal equations; block k holds x and y of vertex k, the sagitta of piece k, the multiplier of joint k.

    The side conditions are in them: straight pieces keep a sagitta of 0, held joints turn by none.
    """

    diagonal: FloatArray  # (K, 4, 4)
    upper: FloatArray  # (K, 4, 4)
    right: FloatArray  # (K, 4)
    mean: FloatArray  # (K, 4) this vector times its transpose is added to the matrix: the price of the mean
    inertia: FloatArray  # (K, 3) what damping is a share of


def _normal_equations(draft: Draft, seen: _Seen | _SeenSamples, goal: Goal) -> _Normal:
    slopes = slopes_of(draft)
    turned = product(np.swapaxes(slopes, 1, 2), seen.sums(goal))
    sums = np.concatenate((product(turned[:, :, :4], slopes), turned[:, :, 4:]), axis=2)
    count = len(sums)
    diagonal, upper = np.zeros((count, 4, 4)), np.zeros((count, 4, 4))
    diagonal[:, :3, :3] = sums[:, _OWN[:, None], _OWN]
    diagonal[:, :2, :2] += preceding(sums[:, 2:4, 2:4])
    upper[:, :3, :2] = sums[:, _OWN, 2:4]
    right, mean = _gathered(sums[:, :, 5]), np.zeros((count, 4))
    if goal.power > 2 and isinstance(seen, _Seen):
        price = 2 * _MEAN_PRICE * len(seen.off)
        mean = _gathered(sums[:, :, 6])
        right, mean = right - price * _dot(seen.even, seen.off * seen.unit) * mean, mean * np.sqrt(price)
    return _with_conditions(draft, diagonal, upper, right, mean)


def _with_conditions(
    draft: Draft, diagonal: FloatArray, upper: FloatArray, right: FloatArray, mean: FloatArray
) -> _Normal:
    """Write the side conditions into normal equations.

    Vertices can slide along a smooth path at no cost: the damping acts on them in all directions alike.
    """
    inertia = _middle(diagonal).copy(order="F")
    inertia[:, 0] = inertia[:, 1] = inertia[:, 0] + inertia[:, 1]
    weight = max(float(np.add.reduce(inertia, axis=None) / inertia.size), 1e-12)
    _middle(diagonal)[...] += 1e-9 * weight
    _hold_tangent(draft, diagonal, upper, right, weight)
    held = draft.straight
    if held.any():
        diagonal[held, 2, :] = diagonal[held, :, 2] = 0.0
        diagonal[held, 2, 2] = weight
        upper[held, 2, :] = 0.0  # column 2 is empty: no piece's sagitta is in the block of another
        right[held, 2] = mean[held, 2] = inertia[held, 2] = 0.0
    return _Normal(diagonal, upper, right, mean, inertia)


def _middle(blocks: FloatArray) -> FloatArray:
    """Return the first three elements on the diagonal of each block (K, 4, 4), as a view (K, 3)."""
    return blocks.reshape(len(blocks), 16)[:, :11:5]


def _gathered(sums: FloatArray) -> FloatArray:
    """Return sums of start x, y, end x, y and sagitta (K, 5) by blocks (K, 4)."""
    blocks = np.zeros((len(sums), 4))
    blocks[:, :2] = sums[:, :2] + preceding(sums[:, 2:4])
    blocks[:, 2] = sums[:, 4]
    return blocks


def _solve(normal: _Normal, damping: float) -> FloatArray:
    """Return the damped step (K, 3): x, y and sagitta."""
    diagonal = normal.diagonal.copy()
    _middle(diagonal)[...] += damping * normal.inertia
    return _solve_with_mean(diagonal, normal.upper, normal.right, normal.mean)[:, :3]


def _solve_with_mean(diagonal: FloatArray, upper: FloatArray, right: FloatArray, mean: FloatArray) -> FloatArray:
    """Solve the system with mean mean^T added to its matrix (Sherman and Morrison 1950)."""
    if not mean.any():
        return solve_ring(diagonal, upper, right[:, :, None])[:, :, 0]
    plain, turned = np.moveaxis(solve_ring(diagonal, upper, np.stack((right, mean), axis=2)), 2, 0)
    return np.asarray(plain - turned * (np.sum(mean * plain) / (1 + np.sum(mean * turned))))


def _hold_tangent(draft: Draft, diagonal: FloatArray, upper: FloatArray, right: FloatArray, weight: float) -> None:
    """Add the side conditions: the slopes of each held kink, scaled like the rest of the system."""
    if not draft.smooth.any():
        diagonal[:, 3, 3] = weight
        return
    chords = draft.chords
    square = np.maximum(np.add.reduce(chords**2, axis=1), 1e-12)
    turn = chords[:, ::-1] * (-1.0, 1.0) / square[:, None]  # slope of a chord's angle in its end
    half = 2 / (1 + draft.bulges**2) * 2 / np.sqrt(square)  # slope of half the sweep in the sagitta
    half = np.where(draft.straight, 0.0, half)
    on = draft.smooth * weight
    own = (-turn - preceding(turn)) * on[:, None]
    diagonal[:, 3, :2] = diagonal[:, :2, 3] = own
    diagonal[:, 3, 2] = diagonal[:, 2, 3] = -half * on
    diagonal[:, 3, 3] = np.where(draft.smooth, -1e-10 * weight, weight)
    upper[:, 3, :2] = turn * on[:, None]
    upper[:, :2, 3] = turn * following(on)[:, None]
    upper[:, 2, 3] = -half * following(on)
    right[:, 3] = -kinks_of(draft) * on
