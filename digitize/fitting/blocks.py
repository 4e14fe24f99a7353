"""Linear systems whose unknowns form a ring of small blocks, each coupled only to its two neighbours."""

from __future__ import annotations

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
    return solve_each(diagonal, upper, right, np.array([len(diagonal)]))


def is_small(count: int, size: int) -> bool:
    """Tell whether a system of so many blocks is solved at once, without reduction."""
    return count * size <= _DENSE or count < 4


def solve_each(diagonal: FloatArray, upper: FloatArray, right: FloatArray, sizes: IntArray) -> FloatArray:
    """Solve small systems, their blocks one after the other, so many of each (R,), each as `solve_ring` does."""
    firsts, size = np.cumsum(sizes) - sizes, right.shape[1]
    # OpenCV's least pivot is a fixed number; by a power of 2 nothing is rounded
    largest = np.maximum(np.abs(diagonal).max(axis=(1, 2)), np.abs(upper).max(axis=(1, 2)))
    scale = np.exp2(-np.frexp(np.maximum.reduceat(largest, firsts))[1])
    each = np.repeat(scale, sizes)[:, None, None]
    unknowns = size * sizes
    ends = np.cumsum(unknowns**2)
    own, above, below = _places(sizes, firsts, ends - unknowns**2, size)
    flat, beside, wanted = np.zeros(int(ends[-1])), upper * each, right * each
    flat[own] = diagonal * each
    flat[above] += beside
    flat[below] += beside
    solver, flags = cv().solve, cv().DECOMP_LU
    found = []
    for end, first, count, wide in zip(*(one.tolist() for one in (ends, firsts, sizes, unknowns)), strict=True):
        matrix = flat[end - wide * wide : end].reshape(wide, wide)
        sides = wanted[first : first + count].reshape(wide, -1)
        done, solved = solver(matrix, sides, flags=flags)
        found.append(solved if done else solve(matrix, sides))
    return np.concatenate(found).reshape(right.shape)


def _places(sizes: IntArray, firsts: IntArray, starts: IntArray, size: int) -> tuple[IntArray, IntArray, IntArray]:
    """Return where in flat matrices, one after the other, the elements of blocks (K, n, n) belong.

    Of those on the diagonal, of those above it and, turned, of those below; each system's matrix begins at `starts`.
    """
    block = np.arange(int(sizes.sum())) - np.repeat(firsts, sizes)
    count = np.repeat(sizes, sizes)
    after = (block + 1) % count
    wide, start = size * count, np.repeat(starts, sizes)
    row = np.arange(size)
    rows, rows_after = ((start + size * one * wide)[:, None] + wide[:, None] * row for one in (block, after))
    columns, columns_after = (size * one[:, None] + row for one in (block, after))
    below = rows_after[:, None, :] + columns[:, :, None]
    return rows[:, :, None] + columns[:, None, :], rows[:, :, None] + columns_after[:, None, :], below
