"""All pieces of a closed path fitted at once, by least squares of the distances across them.

Unknowns are the vertices and the bulges, so the path is closed whatever the solution; joints move freely.
Tangent joints are exact side conditions of each Gauss-Newton step (Lagrange multipliers).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from digitize.fitting.blocks import solve_ring
from digitize.fitting.bulge import path_kinks
from digitize.fitting.draft import (
    BoolArray,
    Draft,
    Frame,
    chords_of,
    distance_of,
    frame_of,
    moved,
    offsets,
    order_of,
    rebroken,
    slopes_of,
)
from digitize.fitting.pieces import IntArray
from digitize.records import FloatArray

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
    use: BoolArray | None = None  # (N,) points that count; all if not given
    every: int = 1  # points with an index divisible by this stand for all in the mean
    every_point: bool = False

    def reached(self, draft: Draft, ring: FloatArray) -> bool:
        """Tell whether the work may stop early."""
        if self.limit_mm is None:
            return False
        mean = offsets(draft, ring).mean() / self.limit_mm.min()
        return bool(np.abs(offsets(draft, ring, self.limit_mm)).max() <= 1 and abs(mean) <= _MEAN_SHARE)


SQUARES = Goal()


@dataclass(frozen=True, slots=True)
class _Seen:
    """The points that count for a goal, seen from their pieces."""

    frame: Frame
    owner: IntArray  # (N,) their pieces
    even: FloatArray  # (N,) what their offsets, in units, add to the mean in the least unit
    unit: FloatArray  # (N,) the offset that counts as 1


def _seen(draft: Draft, ring: FloatArray, goal: Goal) -> _Seen:
    index, owner = order_of(draft, len(ring))
    if goal.use is not None:
        picked = goal.use[index]
        index, owner = index[picked], owner[picked]
    unit = np.ones(len(index)) if goal.limit_mm is None else goal.limit_mm[index]
    even = (index % goal.every == 0).astype(np.float64)
    even *= unit / (max(even.sum(), 1.0) * unit.min())
    return _Seen(frame_of(draft, ring[index], owner), owner, even, unit)


def polish(draft: Draft, ring: FloatArray, goal: Goal = SQUARES) -> Draft:
    """Return the draft with vertices and bulges at the least cost, breaks following.

    Levenberg-Marquardt for squares; Newton steps, damped alike, for high powers. Squares of long pieces are
    taken at a hundred or two of their points unless the goal says `every_point`.
    """
    if goal.power == 2 and goal.use is None and not goal.every_point:
        goal = replace(goal, use=_sampled(draft, len(ring)))
    damping = 1e-4
    merit = _merit(draft, ring, goal)
    for _ in range(_STEPS):
        normal = _normal_equations(draft, ring, goal)
        calm = damping / 5
        for _ in range(_TRIALS):
            trial = rebroken(moved(draft, _solve(draft, normal, damping)), ring)
            better = _merit(trial, ring, goal)
            if better <= merit:
                break
            damping = calm = damping * 8 + 1e-5
        else:
            break
        gain, draft, merit = merit - better, trial, better
        damping = calm
        if gain < _GAIN * merit + 1e-12 or goal.reached(draft, ring):
            break
    return draft


def _sampled(draft: Draft, points: int) -> BoolArray:
    """Return (N,) a choice of points, at least `_ENOUGH` of each piece that has so many."""
    index, owner = order_of(draft, points)
    stride = np.maximum(np.bincount(owner, minlength=len(draft.breaks)) // _ENOUGH, 1)
    use = np.zeros(points, dtype=bool)
    use[index] = np.arange(points) % stride[owner] == 0
    return use


def _price(off: FloatArray, power: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what offsets cost, its slope and its curvature.

    High powers keep a little of the square: all points steady the path, not only the few farthest.
    """
    if power == 2:
        return off**2, 2 * off, np.full_like(off, 2.0)
    square = off * off
    high = square
    for _ in range(power // 2 - 2):  # a product is ten times faster than a power
        high = high * square
    cost = (high + _STEADY) * square
    return cost, (power * high + 2 * _STEADY) * off, power * (power - 1) * high + 2 * _STEADY


def _merit(draft: Draft, ring: FloatArray, goal: Goal) -> float:
    """Return the cost, with a price on kinks that should be none."""
    seen = _seen(draft, ring, goal)
    off = distance_of(seen.frame) / seen.unit
    total = float(np.sum(_price(off, goal.power)[0]))
    if goal.power > 2:
        total += _MEAN_PRICE * len(off) * float(seen.even @ off) ** 2
    if draft.smooth.any():
        length = np.hypot(*chords_of(draft).T)
        arm = np.minimum(length, np.roll(length, 1)) / 4 / np.min(seen.unit)
        price = 10 * len(off) / len(draft.bulges)
        total += price * float(np.sum((path_kinks(draft.path()) * arm)[draft.smooth] ** 2))
    return total


@dataclass(frozen=True, slots=True)
class _Normal:
    """Normal equations; block k holds x and y of vertex k, the sagitta of piece k, the multiplier of joint k."""

    diagonal: FloatArray  # (K, 4, 4)
    upper: FloatArray  # (K, 4, 4)
    right: FloatArray  # (K, 4)
    mean: FloatArray  # (K, 4) this vector times its transpose is added to the matrix: the price of the mean


def _normal_equations(draft: Draft, ring: FloatArray, goal: Goal) -> _Normal:
    seen = _seen(draft, ring, goal)
    off = distance_of(seen.frame) / seen.unit
    _, slope, curvature = _price(off, goal.power)
    moves = slopes_of(seen.frame) / seen.unit[:, None]
    loads = np.column_stack([moves * curvature[:, None], -slope, seen.even])
    count = len(draft.bulges)
    filled, first = np.unique(seen.owner, return_index=True)
    sums = np.zeros((count, 5, 7))
    sums[filled] = np.add.reduceat(moves[:, :, None] * loads[:, None, :], first, axis=0)
    own, end = [0, 1, 4], [2, 3]
    diagonal, upper = np.zeros((count, 4, 4)), np.zeros((count, 4, 4))
    diagonal[:, :3, :3] = sums[:, own][:, :, own]
    diagonal[:, :2, :2] += np.roll(sums[:, end][:, :, end], 1, axis=0)
    upper[:, :3, :2] = sums[:, own][:, :, end]
    right, mean = _gathered(sums[:, :, 5]), _gathered(sums[:, :, 6])
    price = 2 * _MEAN_PRICE * len(off) if goal.power > 2 else 0.0
    return _Normal(diagonal, upper, right - price * float(seen.even @ off) * mean, mean * np.sqrt(price))


def _gathered(sums: FloatArray) -> FloatArray:
    """Return sums of start x, y, end x, y and sagitta (K, 5) by blocks (K, 4)."""
    blocks = np.zeros((len(sums), 4))
    blocks[:, :3] = sums[:, [0, 1, 4]]
    blocks[:, :2] += np.roll(sums[:, [2, 3]], 1, axis=0)
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
    upper[held, 2, :] = 0.0
    upper[np.roll(held, -1), :, 2] = 0.0
    right[held, 2] = 0.0
    mean = np.where(held[:, None] & (np.arange(4) == 2), 0.0, normal.mean)
    return _solve_with_mean(diagonal, upper, right, mean)[:, :3]


def _solve_with_mean(diagonal: FloatArray, upper: FloatArray, right: FloatArray, mean: FloatArray) -> FloatArray:
    """Solve the system with mean mean^T added to its matrix (Sherman and Morrison 1950)."""
    plain = solve_ring(diagonal, upper, right)
    if not mean.any():
        return plain
    turned = solve_ring(diagonal, upper, mean)
    return np.asarray(plain - turned * (np.sum(mean * plain) / (1 + np.sum(mean * turned))))


def _hold_tangent(draft: Draft, diagonal: FloatArray, upper: FloatArray, right: FloatArray, weight: float) -> None:
    """Add the side conditions: the slopes of each held kink, scaled like the rest of the system."""
    chords = chords_of(draft)
    square = np.maximum(np.sum(chords**2, axis=1), 1e-12)
    turn = np.column_stack([-chords[:, 1], chords[:, 0]]) / square[:, None]  # slope of a chord's angle in its end
    half = 2 / (1 + draft.bulges**2) * 2 / np.sqrt(square)  # slope of half the sweep in the sagitta
    half = np.where(draft.straight, 0.0, half)
    on = draft.smooth.astype(np.float64)
    before = np.roll(np.arange(len(on)), 1)
    own = np.column_stack([-turn - turn[before], -half]) * (on * weight)[:, None]
    diagonal[:, 3, :3] = diagonal[:, :3, 3] = own
    diagonal[:, 3, 3] = np.where(draft.smooth, -1e-10 * weight, weight)
    upper[:, 3, :2] = turn * (on * weight)[:, None]
    upper[before, :2, 3] = turn[before] * (on * weight)[:, None]
    upper[before, 2, 3] = -half[before] * on * weight
    right[:, 3] = -path_kinks(draft.path()) * on * weight
