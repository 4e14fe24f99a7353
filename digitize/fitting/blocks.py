"""Linear systems whose unknowns form a ring of small blocks, each coupled only to its two neighbours."""

from __future__ import annotations

import numpy as np

from ..opencv import cv
from ..records import FloatArray
from ..steady import inverse, product, solve

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
    if count * size <= _DENSE or count < 4:
        return _solve_dense(diagonal, upper, right)
    out, before = slice(1, count - count % 2, 2), slice(0, count - 1, 2)
    after = np.arange(2, count + 1, 2) % count
    inner = _inverses(diagonal[out])
    to_before, to_after = upper[before], upper[out]
    from_before, from_after = np.swapaxes(to_before, 1, 2), np.swapaxes(to_after, 1, 2)
    left, back = product(to_before, inner), product(from_after, inner)
    smaller, rest, joined = diagonal.copy(), right.copy(), upper.copy()
    smaller[before] -= product(left, from_before)
    rest[before] -= product(left, right[out])
    smaller[after] -= product(back, to_after)
    rest[after] -= product(back, right[out])
    joined[before] = product(-left, to_after)
    solution = np.empty_like(right)
    solution[::2] = solve_ring(smaller[::2], joined[::2], rest[::2])
    solution[out] = product(
        inner, right[out] - product(from_before, solution[before]) - product(to_after, solution[after])
    )
    return solution


def _inverses(blocks: FloatArray) -> FloatArray:
    scales = np.abs(blocks).max(axis=(1, 2), keepdims=True)
    found = [cv().invert(one, flags=cv().DECOMP_LU) for one in blocks / np.where(scales > 0, scales, 1.0)]
    if not all(done for done, _ in found):
        return inverse(blocks)
    return np.asarray(np.stack([one for _, one in found]) / scales)


def _solve_dense(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    count, size, _ = right.shape
    matrix = np.zeros((count, count, size, size))
    here = np.arange(count)
    beyond = (here + 1) % count
    matrix[here, here] = diagonal
    matrix[here, beyond] += upper
    matrix[beyond, here] += np.swapaxes(upper, 1, 2)
    flat, sides = matrix.swapaxes(1, 2).reshape(count * size, count * size), right.reshape(count * size, -1)
    scale = float(np.abs(flat).max()) or 1.0  # OpenCV's least pivot is a fixed number
    done, found = cv().solve(flat / scale, sides / scale, flags=cv().DECOMP_LU)
    return np.asarray(found if done else solve(flat, sides)).reshape(right.shape)
