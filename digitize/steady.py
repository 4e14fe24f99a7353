"""Linear algebra that comes out the same, bit for bit, whichever BLAS a machine has: small systems, sums in order.

A BLAS chooses its kernel by the processor, and kernels differ in the last bits: enough for another piece in a fit, and
so for another file. Nothing here calls one: `numpy.einsum` has loops of its own, which one build of NumPy runs alike on
every processor. The rest of the package multiplies and solves with these alone (`tests/test_steady.py` sees to it).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_LEAST_PIVOT = 1e-10  # of a column's square: what is left of it beside the columns before
_SHORT = 16  # terms of a sum: for more it pays to lay both factors so that sums run along the memory


def product(one: npt.ArrayLike, other: npt.ArrayLike) -> Any:
    """Matrix product as of ``one @ other``: vectors, matrices and stacks of matrices.

    Returns
    -------
    array or scalar
        Shape and type as ``@`` gives them.
    """
    a, b = np.asarray(one), np.asarray(other)
    if a.ndim == b.ndim == 1:
        return np.einsum("k,k->", a, b)
    if a.ndim == 1:
        return product(a[None], b)[..., 0, :]
    if b.ndim == 1:
        return np.einsum("...ik,k->...i", a, b)
    if a.shape[-1] <= _SHORT:
        return np.einsum("...ik,...kj->...ij", a, b)
    return np.einsum("...ik,...jk->...ij", np.ascontiguousarray(a), np.ascontiguousarray(np.swapaxes(b, -1, -2)))


def norm(vector: FloatArray) -> float:
    """Euclidean length of a vector."""
    return float(np.sqrt(np.add.reduce(np.square(vector).ravel())))


def as_complex(points: FloatArray) -> npt.NDArray[np.complex128]:
    """Points (..., 2) as complex numbers x + iy."""
    found = np.empty(points.shape[:-1], dtype=np.complex128)
    found.real, found.imag = points[..., 0], points[..., 1]
    return found


def solve(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """Solve square systems by Gauss's elimination with the largest pivot of the column.

    Parameters
    ----------
    matrix : (..., n, n)
    right : (..., n, m)

    Returns
    -------
    (..., n, m)
        Not finite where a matrix is singular.
    """
    size = matrix.shape[-1]
    full = np.concatenate([matrix, right], axis=-1, dtype=np.float64)
    flat = full.reshape(-1, size, full.shape[-1])
    every = np.arange(len(flat))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for k in range(size):
            pivot = k + np.abs(flat[:, k:, k]).argmax(axis=1)
            if (pivot != k).any():
                flat[every, pivot], flat[:, k] = flat[:, k].copy(), flat[every, pivot]
            factor = flat[:, k + 1 :, k] / flat[:, k, k, None]
            flat[:, k + 1 :, k:] -= factor[:, :, None] * flat[:, k, None, k:]
        found = flat[:, :, size:]
        for k in reversed(range(size)):
            found[:, k] /= flat[:, k, k, None]
            found[:, :k] -= flat[:, :k, k, None] * found[:, k, None]
    return found.reshape(*full.shape[:-1], right.shape[-1])


def log_determinant(definite: FloatArray) -> float:
    """Logarithm of the determinant of a positive definite matrix (n, n), by elimination; nan where it is none."""
    left, total = np.array(definite, dtype=np.float64), 0.0
    for k in range(len(left)):
        if not left[k, k] > 0.0:
            return float("nan")
        total += float(np.log(left[k, k]))
        left[k + 1 :, k:] -= (left[k + 1 :, k] / left[k, k])[:, None] * left[k, k:]
    return total


def inverse(matrix: FloatArray) -> FloatArray:
    """Inverses (..., n, n) of square matrices; not finite where there is none."""
    return solve(matrix, np.broadcast_to(np.eye(matrix.shape[-1]), matrix.shape))


def least_squares(design: FloatArray, right: FloatArray, *, least: float | None = None) -> FloatArray:
    """Solution of least squares of ``design @ x - right``, of the least length where several are.

    Complete orthogonal decomposition: Gram and Schmidt's way, each column twice, the longest column first; what is left
    of a column below `least` of the first one's length counts as none (Golub and Van Loan, Matrix Computations, 5.5.2,
    from memory).

    Parameters
    ----------
    design : (M, N)
    right : (M,) or (M, K)
    least
        Unless said, the precision of a double times the larger of M and N.

    Returns
    -------
    (N,) or (N, K)
    """
    sides = right if right.ndim == 2 else right[:, None]
    least = np.finfo(np.float64).eps * max(design.shape) if least is None else least
    basis, upper, order = _orthogonal(np.asarray(design, dtype=np.float64), least)
    seen = product(basis.T, sides)
    found = np.zeros((design.shape[1], sides.shape[1]))
    rank = len(upper)
    if rank == len(order):
        found[order] = _back(upper, seen)
    elif rank:
        across, lower, kept = _orthogonal(upper.T, 0.0)
        found[order] = product(across, _forward(lower.T, seen[kept]))
    return found if right.ndim == 2 else found[:, 0]


def few_unknowns(design: FloatArray, right: FloatArray) -> FloatArray:
    """Solution of least squares as `least_squares` gives it, for a few unknowns that many places (M,) tell apart.

    By the normal equations, in a tenth of the time: half of the digits are lost, which does no harm to the steps of a
    fit that ends where they are 0. Where columns can hardly be told apart `least_squares` is asked.

    Parameters
    ----------
    design : (M, N)
    right : (M,) or (M, K)

    Returns
    -------
    (N,) or (N, K)
    """
    joined = np.column_stack([design, right]).T.copy()
    found = _definite(np.einsum("am,bm->ab", joined[: design.shape[1]], joined).tolist())
    if found is None:
        return least_squares(design, right)
    return found if right.ndim == 2 else found[:, 0]


def few_unknowns_each(design: FloatArray, right: FloatArray, starts: npt.NDArray[np.intp]) -> FloatArray:
    """Solutions as of `few_unknowns` of several systems (R,), their places one after the other.

    Parameters
    ----------
    design : (M, N)
        Quickest with each column in one piece.
    right : (M,)
    starts : (R,)
        Where the places of each begin; each has some.

    Returns
    -------
    (R, N)
    """
    columns, size = [*design.T, right], design.shape[1]
    sums = np.empty((len(starts), size, size + 1))
    for k in range(size):
        for j in range(k, size + 1):
            sums[:, k, j] = np.add.reduceat(columns[k] * columns[j], starts)
            if j < size:
                sums[:, j, k] = sums[:, k, j]
    found, good = _definite_each(sums)
    ends = np.append(starts[1:], len(right))
    for at in np.flatnonzero(~good).tolist():
        part = slice(starts[at], ends[at])
        found[at] = least_squares(design[part], right[part])
    return found


def _definite_each(rows: FloatArray) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Solve small systems (R, N, N + 1) as `_definite` does; (R, N), and (R,) of which of them that holds."""
    size = rows.shape[1]
    least = _LEAST_PIVOT * rows[:, np.arange(size), np.arange(size)]
    good, found = np.ones(len(rows), dtype=bool), np.empty(rows.shape[:2])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for k in range(size):
            good &= rows[:, k, k] > least[:, k]
            factor = rows[:, k + 1 :, k] / rows[:, k, None, k]
            rows[:, k + 1 :, k:] -= factor[:, :, None] * rows[:, k, None, k:]
        for k in reversed(range(size)):
            known = np.add.reduce(rows[:, k, k + 1 : size] * found[:, k + 1 :], axis=1)
            found[:, k] = (rows[:, k, size] - known) / rows[:, k, k]
    return found, good


def inverse_of_squares(design: FloatArray) -> FloatArray:
    """Inverse (N, N) of ``design.T @ design`` for a few columns of many places (M, N), or its pseudo-inverse."""
    rows = np.ascontiguousarray(design.T)
    squares = np.einsum("am,bm->ab", rows, rows)
    found = _definite(np.concatenate([squares, np.eye(len(squares))], axis=1).tolist())
    return pseudo_inverse(squares) if found is None else found


def _definite(rows: list[list[float]]) -> FloatArray | None:
    """Solve a small positive definite system, (N, N + K) with its right sides, by elimination; (N, K).

    None where of a column next to nothing is left beside those before it.
    """
    size, least = len(rows), [_LEAST_PIVOT * row[k] for k, row in enumerate(rows)]
    for k, first in enumerate(rows):
        if not first[k] > least[k]:
            return None
        for below in rows[k + 1 :]:
            factor = below[k] / first[k]
            for j in range(k, len(first)):
                below[j] -= factor * first[j]
    for k in reversed(range(size)):
        row = rows[k]
        for j in range(size, len(row)):
            row[j] = (row[j] - sum(row[m] * rows[m][j] for m in range(k + 1, size))) / row[k]
    return np.array([row[size:] for row in rows])


def _orthogonal(columns: FloatArray, least: float) -> tuple[FloatArray, FloatArray, npt.NDArray[np.intp]]:
    """Orthonormal columns (M, R) and triangle (R, N) whose product is the columns in the order (N,) returned."""
    rest = columns.T.copy()  # a row each: sums run along the memory
    count = min(rest.shape)
    order = np.arange(len(rest))
    basis, upper = np.zeros((count, rest.shape[1])), np.zeros((count, len(rest)))
    first = 0.0
    for k in range(count):
        size = np.add.reduce(rest[k:] ** 2, axis=1)
        at = k + int(size.argmax())
        long = float(np.sqrt(size[at - k]))
        first = first or long
        if not long > least * first:
            return basis[:k].T, upper[:k], order
        if at != k:
            rest[[k, at]], upper[:, [k, at]], order[[k, at]] = rest[[at, k]], upper[:, [at, k]], order[[at, k]]
        unit = rest[k] / long
        if k:
            again = np.add.reduce(basis[:k] * unit, axis=1)  # what rounding left of the earlier ones
            unit = unit - np.add.reduce(again[:, None] * basis[:k], axis=0)
            upper[:k, k] += again * long
        unit = unit / np.sqrt(np.add.reduce(unit**2))
        basis[k] = unit
        upper[k, k:] = np.add.reduce(rest[k:] * unit, axis=1)
        if k + 1 < count or count < len(rest):
            rest[k:] -= upper[k, k:, None] * unit
    return basis.T, upper, order


def _back(upper: FloatArray, right: FloatArray) -> FloatArray:
    """Solve an upper triangle from below."""
    found = right.copy()
    for k in reversed(range(len(upper))):
        found[k] /= upper[k, k]
        found[:k] -= upper[:k, k, None] * found[k]
    return found


def _forward(lower: FloatArray, right: FloatArray) -> FloatArray:
    """Solve a lower triangle from above."""
    return _back(lower[::-1, ::-1], right[::-1])[::-1]


def pseudo_inverse(matrix: FloatArray, *, least: float = 1e-15) -> FloatArray:
    """Moore and Penrose's inverse (N, M) of a matrix (M, N); what is below `least` counts as none."""
    return least_squares(matrix, np.eye(len(matrix)), least=least)


def polynomial(at: FloatArray, values: FloatArray, order: int) -> FloatArray:
    """Coefficients (order + 1,), the constant first, of the polynomial nearest to values (N,) at places (N,)."""
    return least_squares(np.vander(at, order + 1, increasing=True), values)


def orthonormal(bases: FloatArray) -> FloatArray:
    """Orthonormal columns (..., K, S) that span the columns of each basis; a column that adds nothing becomes zero."""
    found = np.array(np.moveaxis(bases, -1, 0), dtype=np.float64)
    for k, column in enumerate(found):
        size = np.sqrt(np.add.reduce(column**2, axis=-1, keepdims=True))
        for _ in range(2):
            for other in found[:k]:
                column -= np.add.reduce(column * other, axis=-1, keepdims=True) * other
        left = np.sqrt(np.add.reduce(column**2, axis=-1, keepdims=True))
        there = left > 1e-12 * size
        column[:] = np.where(there, column / np.where(there, left, 1.0), 0.0)
    return np.moveaxis(found, 0, -1)


def nearest_turn(columns: FloatArray) -> FloatArray:
    """Nearest orthonormal columns (M, 2): A (A'A)^-1/2, the root of a 2 x 2 matrix by its trace and determinant."""
    square = product(columns.T, columns)
    area = np.sqrt(square[0, 0] * square[1, 1] - square[0, 1] ** 2)
    root = (square + area * np.eye(2)) / np.sqrt(square[0, 0] + square[1, 1] + 2.0 * area)
    return np.asarray(product(columns, inverse(root)))


def eigen(symmetric: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Eigenvalues (n,), the least first, and unit eigenvectors (n, n), a column each, of a small symmetric matrix.

    Jacobi's rotations until nothing is left beside the diagonal (Golub and Van Loan, 8.5, from memory).
    """
    size = len(symmetric)
    left, vectors = np.array(symmetric, dtype=np.float64), np.eye(size)
    for _ in range(30):
        beside = np.abs(left - np.diag(np.diag(left))).max(initial=0.0)
        if beside <= 1e-18 * np.abs(left).max(initial=0.0):
            break
        for p in range(size - 1):
            for q in range(p + 1, size):
                _turn_out(left, vectors, p, q)
    order = np.argsort(np.diag(left), kind="stable")
    return np.diag(left)[order], vectors[:, order]


def _turn_out(left: FloatArray, vectors: FloatArray, p: int, q: int) -> None:
    """Turn rows and columns p and q of a symmetric matrix so that its element (p, q) vanishes."""
    if left[p, q] == 0.0:
        return
    ratio = (left[q, q] - left[p, p]) / (2.0 * left[p, q])
    tangent = (1.0 if ratio >= 0 else -1.0) / (abs(ratio) + np.sqrt(1.0 + ratio**2))
    cosine = 1.0 / np.sqrt(1.0 + tangent**2)
    sine = tangent * cosine
    for rows in (left, left.T, vectors.T):
        rows[p], rows[q] = cosine * rows[p] - sine * rows[q], sine * rows[p] + cosine * rows[q]
    left[p, q] = left[q, p] = 0.0
