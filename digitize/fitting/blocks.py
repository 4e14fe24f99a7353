"""Linear systems whose unknowns form a ring of small blocks, each coupled only to its two neighbours."""

from __future__ import annotations

from functools import cache

import numpy as np

from ..opencv import cv
from ..records import FloatArray
from ..steady import inverse, product, solve
from .pieces import IntArray

_MANY = 32  # blocks: from there on OpenCV's calls, one a block, take longer
_DENSE = 96  # unknowns solved at once: from 100 on OpenCV asks a LAPACK, which differs from machine to machine


def solve_ring(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    """Solve a symmetric block-cyclic tridiagonal system by cyclic reduction.

    Every other block is expressed by its neighbours and taken out, all at once, until few are left.

    Parameters
    ----------
    diagonal : (K, n, n)
        Block (k, k), symmetric.
    upper : (K, n, n)
        Block (k, k + 1), the last one (K - 1, 0); the blocks below are their transposes. K is at least 2.
    right : (K, n, m)
        As many right sides as wanted.

    Returns
    -------
    (K, n, m)
    """
    count, size, _ = right.shape
    if is_small(count, size):
        return _solve_dense(diagonal, upper, right)
    out, before = slice(1, count - count % 2, 2), slice(0, count - 1, 2)
    after = np.arange(2, count + 1, 2) % count
    to_before, to_after = upper[before], upper[out]
    # what each block taken out owes to the one before it, to the one after, and to the right sides
    beside = np.concatenate([np.swapaxes(to_before, 1, 2), to_after, right[out]], axis=2)
    owed = _solved(diagonal[out], beside)
    by_before, by_after = product(to_before, owed), product(np.swapaxes(to_after, 1, 2), owed[:, :, size:])
    smaller, rest, joined = diagonal.copy(), right.copy(), upper.copy()
    smaller[before] -= by_before[:, :, :size]
    joined[before] = -by_before[:, :, size : 2 * size]
    rest[before] -= by_before[:, :, 2 * size :]
    smaller[after] -= by_after[:, :, :size]
    rest[after] -= by_after[:, :, size:]
    solution = np.empty_like(right)
    solution[::2] = solve_ring(smaller[::2], joined[::2], rest[::2])
    around = np.concatenate([solution[before], solution[after]], axis=1)
    solution[out] = owed[:, :, 2 * size :] - product(owed[:, :, : 2 * size], around)
    return solution


def _solved(blocks: FloatArray, right: FloatArray) -> FloatArray:
    """Solve each of many small systems: many of them all at once, few one by one."""
    return solve(blocks, right) if len(blocks) >= _MANY else product(_inverses(blocks), right)


def _inverses(blocks: FloatArray) -> FloatArray:
    scales = np.abs(blocks).max(axis=(1, 2), keepdims=True)
    found = [cv().invert(one, flags=cv().DECOMP_LU) for one in blocks / np.where(scales > 0, scales, 1.0)]
    if not all(done for done, _ in found):
        return inverse(blocks)
    return np.asarray(np.stack([one for _, one in found]) / scales)


def _solve_dense(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    return np.asarray(solve_each(diagonal[None], upper[None], right[None])[0])


def is_small(count: int, size: int) -> bool:
    """Tell whether a system of so many blocks is solved at once, without reduction."""
    return count * size <= _DENSE or count < 4


def solve_each(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    """Solve R small systems of as many blocks, each as `solve_ring` does."""
    several, count, size, sides = right.shape
    unknowns = count * size
    at_diagonal, at_upper, at_lower = _places(count, size)
    # OpenCV's least pivot is a fixed number; by a power of 2 nothing is rounded
    largest = np.maximum(np.abs(diagonal).max(axis=(1, 2, 3)), np.abs(upper).max(axis=(1, 2, 3)))
    scale = np.exp2(-np.frexp(largest)[1])[:, None]
    flat, own = np.zeros((several, unknowns * unknowns)), upper.reshape(several, -1) * scale
    flat[:, at_diagonal] = diagonal.reshape(several, -1) * scale
    flat[:, at_upper] += own
    flat[:, at_lower] += own
    matrices, wanted = flat.reshape(several, unknowns, unknowns), right.reshape(several, unknowns, sides)
    wanted = wanted * scale[:, :, None]
    solver, flags = cv().solve, cv().DECOMP_LU
    found = np.empty_like(wanted)
    for k in range(several):
        done, solved = solver(matrices[k], wanted[k], flags=flags)
        found[k] = solved if done else solve(matrices[k], wanted[k])
    return np.asarray(found.reshape(right.shape))


@cache
def _places(count: int, size: int) -> tuple[IntArray, IntArray, IntArray]:
    """Return where in a flat matrix the elements of the blocks on the diagonal, above and below it belong."""
    block, row, column = np.indices((count, size, size))
    after = (block + 1) % count
    unknowns = count * size
    own = (block * size + row) * unknowns + block * size + column
    above = (block * size + row) * unknowns + after * size + column
    below = (after * size + column) * unknowns + block * size + row
    return own.ravel(), above.ravel(), below.ravel()
