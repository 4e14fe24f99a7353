"""Linear systems whose unknowns form a ring of small blocks, each coupled only to its two neighbours."""

from __future__ import annotations

import numpy as np

from digitize.records import FloatArray

_DENSE = 6  # blocks solved at once


def solve_ring(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    """Solve a symmetric block-cyclic tridiagonal system by cyclic reduction.

    Every other block is expressed by its neighbours and taken out, all at once, until few are left.

    Parameters
    ----------
    diagonal : (K, n, n)
        Block (k, k), symmetric.
    upper : (K, n, n)
        Block (k, k + 1), the last one (K - 1, 0); the blocks below are their transposes.
    right : (K, n)

    Returns
    -------
    (K, n)
    """
    count = len(right)
    if count <= _DENSE:
        return _solve_dense(diagonal, upper, right)
    out = np.arange(1, count - count % 2, 2)
    kept = np.setdiff1d(np.arange(count), out)
    before, after = out - 1, (out + 1) % count
    inverse = np.linalg.inv(diagonal[out])
    to_before, to_after = upper[before], upper[out]
    left = to_before @ inverse
    back = np.swapaxes(to_after, 1, 2) @ inverse
    diagonal, right, joined = diagonal.copy(), right.copy(), upper.copy()
    diagonal[before] -= left @ np.swapaxes(to_before, 1, 2)
    right[before] -= (left @ right[out][..., None])[..., 0]
    diagonal[after] -= back @ to_after
    right[after] -= (back @ right[out][..., None])[..., 0]
    joined[before] = -left @ to_after
    solution = np.empty_like(right)
    solution[kept] = solve_ring(diagonal[kept], joined[kept], right[kept])
    rest = right[out] - (np.swapaxes(to_before, 1, 2) @ solution[before][..., None])[..., 0]
    rest -= (to_after @ solution[after][..., None])[..., 0]
    solution[out] = (inverse @ rest[..., None])[..., 0]
    return solution


def _solve_dense(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    count, size = right.shape
    matrix = np.zeros((count, size, count, size))
    for k in range(count):
        following = (k + 1) % count
        matrix[k, :, k] += diagonal[k]
        matrix[k, :, following] += upper[k]
        matrix[following, :, k] += upper[k].T
    flat = matrix.reshape(count * size, count * size)
    return np.asarray(np.linalg.solve(flat, right.ravel()).reshape(count, size))
