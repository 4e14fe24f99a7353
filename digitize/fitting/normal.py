"""Normal equations of all pieces of closed paths, and their solution: a ring of small blocks for each path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..records import FloatArray
from ..steady import product
from .blocks import is_small, solve_each, solve_ring
from .draft import slopes_of
from .joined import Joined
from .seen import MEAN_PRICE, Mean

_OWN = np.array([0, 1, 4])  # start x, y and sagitta


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal equations; block k holds x and y of vertex k, the sagitta of piece k, the multiplier of joint k.

    The side conditions are in them: straight pieces keep a sagitta of 0, held joints turn by none.
    """

    diagonal: FloatArray  # (K, 4, 4)
    upper: FloatArray  # (K, 4, 4)
    right: FloatArray  # (K, 4)
    mean: FloatArray  # (K, 4) this vector times its transpose is added to the matrix: the price of the mean
    inertia: FloatArray  # (K, 3) what damping is a share of

    def part(self, which: slice) -> Normal:
        """Return those of some pieces, which must be all of a path."""
        return Normal(self.diagonal[which], self.upper[which], self.right[which], self.mean[which], self.inertia[which])

    def promised(self, step: FloatArray) -> float:
        """Return by how much a step would lower the sum of squares if distances were straight in the unknowns."""
        return 0.5 * float(np.einsum("ki,ki->", self.right[:, :3], step))


def normal_equations(draft: Joined, sums: FloatArray, means: Sequence[Mean]) -> list[Normal]:
    """Return those of each draft, from sums of its points and what its mean is to cost."""
    slopes = slopes_of(draft)
    turned = product(np.swapaxes(slopes, 1, 2), sums)
    sums = np.concatenate((product(turned[:, :, :4], slopes), turned[:, :, 4:]), axis=2)
    count = len(sums)
    diagonal, upper = np.zeros((count, 4, 4)), np.zeros((count, 4, 4))
    diagonal[:, :3, :3] = sums[:, _OWN[:, None], _OWN]
    diagonal[:, :2, :2] += draft.before(sums[:, 2:4, 2:4])
    upper[:, :3, :2] = sums[:, _OWN, 2:4]
    right, mean = _gathered(draft, sums[:, :, 5]), np.zeros((count, 4))
    if any(one.points for one in means):
        prices = [2 * MEAN_PRICE * one.points for one in means]
        price, load = (
            np.repeat(values, draft.sizes)[:, None]
            for values in (prices, [price * one.off for price, one in zip(prices, means, strict=True)])
        )
        mean = _gathered(draft, sums[:, :, 6])
        right, mean = right - load * mean, mean * np.sqrt(price)
    whole = _with_conditions(draft, diagonal, upper, right, mean)
    return [whole.part(part) for part in draft.each()]


def _with_conditions(
    draft: Joined, diagonal: FloatArray, upper: FloatArray, right: FloatArray, mean: FloatArray
) -> Normal:
    """Write the side conditions into normal equations.

    Vertices can slide along a smooth path at no cost: the damping acts on them in all directions alike.
    """
    inertia = _middle(diagonal).copy()
    inertia[:, 0] = inertia[:, 1] = inertia[:, 0] + inertia[:, 1]
    sums = np.add.reduceat(np.add.reduce(inertia, axis=1), draft.firsts)
    weight = np.repeat(np.maximum(sums / (3 * draft.sizes), 1e-12), draft.sizes)
    _middle(diagonal)[...] += (1e-9 * weight)[:, None]
    _hold_tangent(draft, diagonal, upper, right, weight)
    held = draft.straight
    if held.any():
        diagonal[held, 2, :] = diagonal[held, :, 2] = 0.0
        diagonal[held, 2, 2] = weight[held]
        upper[held, 2, :] = 0.0  # column 2 is empty: no piece's sagitta is in the block of another
        right[held, 2] = mean[held, 2] = inertia[held, 2] = 0.0
    return Normal(diagonal, upper, right, mean, inertia)


def _middle(blocks: FloatArray) -> FloatArray:
    """Return the first three elements on the diagonal of each block (K, 4, 4), as a view (K, 3)."""
    return blocks.reshape(len(blocks), 16)[:, :11:5]


def _gathered(draft: Joined, sums: FloatArray) -> FloatArray:
    """Return sums of start x, y, end x, y and sagitta (K, 5) by blocks (K, 4)."""
    blocks = np.zeros((len(sums), 4))
    blocks[:, :2] = sums[:, :2] + draft.before(sums[:, 2:4])
    blocks[:, 2] = sums[:, 4]
    return blocks


def _hold_tangent(
    draft: Joined, diagonal: FloatArray, upper: FloatArray, right: FloatArray, weight: FloatArray
) -> None:
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
    own, next_on = (-turn - draft.before(turn)) * on[:, None], draft.after(on)
    diagonal[:, 3, :2] = diagonal[:, :2, 3] = own
    diagonal[:, 3, 2] = diagonal[:, 2, 3] = -half * on
    diagonal[:, 3, 3] = np.where(draft.smooth, -1e-10 * weight, weight)
    upper[:, 3, :2] = turn * on[:, None]
    upper[:, :2, 3] = turn * next_on[:, None]
    upper[:, 2, 3] = -half * next_on
    right[:, 3] = -draft.kinks * on


def damped_steps(normals: Sequence[Normal], dampings: Sequence[float]) -> list[FloatArray]:
    """Return for each path the damped step (K, 3): x, y and sagitta; those alike are solved together."""
    groups: dict[tuple[bool, bool], list[int]] = {}
    for at, normal in enumerate(normals):
        groups.setdefault((is_small(*normal.right.shape), bool(normal.mean.any())), []).append(at)
    found: dict[int, FloatArray] = {}
    for (small, meant), group in groups.items():
        steps = _damped_steps([normals[at] for at in group], [dampings[at] for at in group], small=small, meant=meant)
        found |= zip(group, steps, strict=True)
    return [found[at] for at in range(len(normals))]


def _damped_steps(
    normals: Sequence[Normal], dampings: Sequence[float], *, small: bool, meant: bool
) -> list[FloatArray]:
    """Return the steps (K, 3) of paths.

    Where the mean has a price, mean mean^T is added to the matrix (Sherman and Morrison 1950).
    """
    sizes = np.array([len(normal.right) for normal in normals])
    diagonal, upper, right, inertia = (
        np.concatenate([getattr(normal, name) for normal in normals])
        for name in ("diagonal", "upper", "right", "inertia")
    )
    _middle(diagonal)[...] += np.repeat(dampings, sizes)[:, None] * inertia
    mean = np.concatenate([normal.mean for normal in normals]) if meant else None
    sides = right[..., None] if mean is None else np.stack((right, mean), axis=2)
    firsts = np.cumsum(sizes) - sizes
    each = [slice(first, first + size) for first, size in zip(firsts.tolist(), sizes.tolist(), strict=True)]
    if small:
        solved = solve_each(diagonal, upper, sides, sizes)
    else:
        solved = np.concatenate([solve_ring(diagonal[one], upper[one], sides[one]) for one in each])
    if mean is None:
        return [solved[one, :3, 0] for one in each]
    plain, turned = np.moveaxis(solved, 2, 0)
    shares = [_sum(mean[one] * plain[one]) / (1 + _sum(mean[one] * turned[one])) for one in each]
    return [(plain[one] - turned[one] * share)[:, :3] for one, share in zip(each, shares, strict=True)]


def _sum(values: FloatArray) -> float:
    return float(np.add.reduce(values, axis=(0, 1)))
