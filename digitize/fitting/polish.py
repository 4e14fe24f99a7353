"""All pieces of a closed path fitted at once, by least squares of the distances across them.

Unknowns are the vertices and the bulges, so the path is closed whatever the solution; joints move freely.
Tangent joints are exact side conditions of each Gauss-Newton step (Lagrange multipliers).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..records import FloatArray
from ..steady import product
from .blocks import solve_ring
from .draft import (
    Draft,
    Local,
    chords_of,
    distance_of,
    following,
    kinks_of,
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
_ENOUGH = 100  # points of a piece for a first fit
_STEADY = 0.05
_MEAN_PRICE = 100.0
_MEAN_SHARE = 0.02  # of the limit: the mean offset that is small enough
_TRIALS = 7
_GAIN = 1e-4  # stop when the sum of squares falls by less than this share


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


SQUARES = Goal()


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


@dataclass(frozen=True, slots=True)
class _Seen:
    """The points that count for a goal, seen from the pieces of a draft, and what that draft costs."""

    local: Local
    first: IntArray  # (K + 1,) where each piece's points begin
    unit: FloatArray  # (N,) the offset that counts as 1
    even: FloatArray  # (N,) what their offsets in mm add to the mean in the least unit
    off: FloatArray  # (N,) offsets in units
    merit: float


def _seen(draft: Draft, points: _Points, goal: Goal) -> _Seen:
    first = points.first_of(draft.breaks)
    part = slice(first[0], first[-1])
    local = local_of(draft, points.x[part], points.y[part], np.diff(first))
    off = distance_of(local)
    mean = _dot(points.even[part], off)
    if goal.limit_mm is not None:
        off = off / points.unit[part]
    total = float(_cost(off, goal.power).sum())
    if goal.power > 2:
        total += _MEAN_PRICE * points.size * mean**2
    total += _price_of_kinks(draft, points)
    return _Seen(local, first - first[0], points.unit[part], points.even[part], off, total)


def _dot(one: FloatArray, other: FloatArray) -> float:
    """Return the sum of products; `@` would wake threads for a few thousand numbers."""
    return float(np.einsum("i,i->", one, other))


def _price_of_kinks(draft: Draft, points: _Points) -> float:
    """Return a price on kinks that should be none."""
    if not draft.smooth.any():
        return 0.0
    length = np.hypot(*chords_of(draft).T)
    arm = np.minimum(length, preceding(length)) / 4 / points.least_unit
    price = 10 * points.size / len(draft.bulges)
    return price * float(np.sum((kinks_of(draft) * arm)[draft.smooth] ** 2))


def polish(draft: Draft, ring: FloatArray, goal: Goal = SQUARES) -> Draft:
    """Return the draft with vertices and bulges at the least cost, breaks following.

    Levenberg-Marquardt for squares; Newton steps, damped alike, for high powers. Squares of long pieces are
    taken at a hundred or two of their points unless the goal says `every_point`.
    """
    if goal.power == 2 and goal.use is None and not goal.every_point:
        goal = replace(goal, use=_sampled(draft, len(ring)))
    damping = 1e-4
    points = _Points(ring, goal)
    seen = _seen(draft, points, goal)
    for _ in range(_STEPS):
        normal = _normal_equations(draft, seen, goal)
        calm = damping / 5
        for _ in range(_TRIALS):
            trial = rebroken(moved(draft, _solve(draft, normal, damping)), ring)
            better = _seen(trial, points, goal)
            if better.merit <= seen.merit:
                break
            damping = calm = damping * 8 + 1e-5
        else:
            break
        gain, draft, seen = seen.merit - better.merit, trial, better
        damping = calm
        if gain < _GAIN * seen.merit + 1e-12 or _reached(draft, seen, ring, goal):
            break
    return draft


def _reached(draft: Draft, seen: _Seen, ring: FloatArray, goal: Goal) -> bool:
    """Tell whether the work may stop early: no point is farther off than its limit, and the mean is small enough."""
    if goal.limit_mm is None or np.abs(seen.off).max() > 1:
        return False
    off = offsets(draft, ring)
    mean = off.mean() / goal.limit_mm.min()
    index, _ = shares_of(draft, len(ring))
    return bool(np.abs(off / goal.limit_mm[index]).max() <= 1 and abs(mean) <= _MEAN_SHARE)


def _sampled(draft: Draft, points: int) -> IntArray:
    """Return a choice of points, at least `_ENOUGH` of each piece that has so many."""
    index, counts = shares_of(draft, points)
    stride = np.repeat(np.maximum(counts // _ENOUGH, 1), counts)
    return np.sort(index[np.arange(points) % stride == 0])


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


@dataclass(frozen=True, slots=True)
class _Normal:
    """Normal equations; block k holds x and y of vertex k, the sagitta of piece k, the multiplier of joint k."""

    diagonal: FloatArray  # (K, 4, 4)
    upper: FloatArray  # (K, 4, 4)
    right: FloatArray  # (K, 4)
    mean: FloatArray  # (K, 4) this vector times its transpose is added to the matrix: the price of the mean


def _normal_equations(draft: Draft, seen: _Seen, goal: Goal) -> _Normal:
    sums = _sums(draft, seen, goal)
    count = len(sums)
    own, end = np.array([0, 1, 4]), np.array([2, 3])
    diagonal, upper = np.zeros((count, 4, 4)), np.zeros((count, 4, 4))
    diagonal[:, :3, :3] = sums[:, own[:, None], own]
    diagonal[:, :2, :2] += preceding(sums[:, 2:4, 2:4])
    upper[:, :3, :2] = sums[:, own[:, None], end]
    right, mean = _gathered(sums[:, :, 5]), _gathered(sums[:, :, 6])
    if goal.power == 2:
        return _Normal(diagonal, upper, right, np.zeros_like(mean))
    price = 2 * _MEAN_PRICE * len(seen.off)
    so_far = _dot(seen.even, seen.off * seen.unit)
    return _Normal(diagonal, upper, right - price * so_far * mean, mean * np.sqrt(price))


def _sums(draft: Draft, seen: _Seen, goal: Goal) -> FloatArray:
    """Return (K, 5, 7): of slopes times curved slopes, of slopes times cost and times share of the mean.

    The slopes are sums of four functions of a point's place: the points are summed with those only.
    """
    slope, curvature = _slope_and_curvature(seen.off, goal.power)
    u, v = seen.local.along, seen.local.across
    places = np.stack((np.ones_like(u), u, v, u * u + v * v))
    loads = np.concatenate((places * (curvature / seen.unit**2), [-slope / seen.unit, seen.even]))
    sums = np.empty((len(draft.bulges), 4, 6))
    for k, (low, high) in enumerate(pairwise(seen.first.tolist())):
        sums[k] = product(places[:, low:high], loads[:, low:high].T)
    slopes = slopes_of(draft)
    turned = product(np.swapaxes(slopes, 1, 2), sums)
    return np.concatenate((product(turned[:, :, :4], slopes), turned[:, :, 4:]), axis=2)


def _gathered(sums: FloatArray) -> FloatArray:
    """Return sums of start x, y, end x, y and sagitta (K, 5) by blocks (K, 4)."""
    blocks = np.zeros((len(sums), 4))
    blocks[:, :2] = sums[:, :2] + preceding(sums[:, 2:4])
    blocks[:, 2] = sums[:, 4]
    return blocks


def _solve(draft: Draft, normal: _Normal, damping: float) -> FloatArray:
    """Return the damped step (K, 3): x, y and sagitta.

    Vertices can slide along a smooth path at no cost: the damping acts on them in all directions alike.
    """
    diagonal, upper, right = normal.diagonal.copy(), normal.upper.copy(), normal.right.copy()
    inertia = diagonal[:, (0, 1, 2), (0, 1, 2)]
    inertia[:, 0] = inertia[:, 1] = inertia[:, 0] + inertia[:, 1]
    weight = max(float(inertia.mean()), 1e-12)
    diagonal[:, (0, 1, 2), (0, 1, 2)] += damping * inertia + 1e-9 * weight
    _hold_tangent(draft, diagonal, upper, right, weight)
    held = draft.straight
    diagonal[held, 2, :] = diagonal[held, :, 2] = 0.0
    diagonal[held, 2, 2] = weight
    upper[held, 2, :] = 0.0  # column 2 is empty: no piece's sagitta is in the block of another
    right[held, 2] = 0.0
    mean = np.where(held[:, None] & (np.arange(4) == 2), 0.0, normal.mean)
    return _solve_with_mean(diagonal, upper, right, mean)[:, :3]


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
    chords = chords_of(draft)
    square = np.maximum(np.sum(chords**2, axis=1), 1e-12)
    turn = np.column_stack([-chords[:, 1], chords[:, 0]]) / square[:, None]  # slope of a chord's angle in its end
    half = 2 / (1 + draft.bulges**2) * 2 / np.sqrt(square)  # slope of half the sweep in the sagitta
    half = np.where(draft.straight, 0.0, half)
    on = draft.smooth * weight
    own = np.column_stack([-turn - preceding(turn), -half]) * on[:, None]
    diagonal[:, 3, :3] = diagonal[:, :3, 3] = own
    diagonal[:, 3, 3] = np.where(draft.smooth, -1e-10 * weight, weight)
    upper[:, 3, :2] = turn * on[:, None]
    upper[:, :2, 3] = turn * following(on)[:, None]
    upper[:, 2, 3] = -half * following(on)
    right[:, 3] = -kinks_of(draft) * on
