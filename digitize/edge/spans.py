"""What the best of many cases leaves of a profile, by least squares: cases that share the rows that span them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.ragged import IntArray
from ..records import FloatArray
from ..steady import orthonormal

_AT_ONCE = 32  # profiles held against all cases


@dataclass(frozen=True, slots=True)
class Spans:
    """Orthonormal rows that span each of M cases, S a case; alike ones are kept once."""

    rows: tuple[FloatArray, ...]  # S of them: each (U, K)
    which: tuple[IntArray, ...]  # of each the row (M,) of every case

    @classmethod
    def of(cls, spanned: FloatArray) -> Spans:
        """Of the rows of each case, (M, S, K)."""
        alike = [_once_each(spanned[:, s]) for s in range(spanned.shape[1])]
        return cls(tuple(rows for rows, _ in alike), tuple(which for _, which in alike))

    def rests(self, values: FloatArray) -> FloatArray:
        """RMS of what each case leaves of values (N, K); (N, M)."""
        part = np.zeros((len(values), len(self.which[0])))
        for rows, which in zip(self.rows, self.which, strict=True):
            part += np.take(np.einsum("nk,uk->nu", values, rows) ** 2, which, axis=1)
        left = np.einsum("nk,nk->n", values, values)[:, None] - part
        return np.asarray(np.sqrt(np.maximum(left, 0.0) / values.shape[1]))

    def least(self, values: FloatArray) -> tuple[FloatArray, IntArray]:
        """What the best case leaves of values (N, K), RMS, and which that is; (N,) each."""
        rests, best = np.empty(len(values)), np.empty(len(values), np.int64)
        for first in range(0, len(values), _AT_ONCE):
            some = self.rests(values[first : first + _AT_ONCE])
            best[first : first + _AT_ONCE] = k = some.argmin(axis=1)
            rests[first : first + _AT_ONCE] = some[np.arange(len(some)), k]
        return rests, best

    def rests_of(self, values: FloatArray, cases: IntArray) -> FloatArray:
        """As `rests`, of some cases (N, J) alone, others of each of the values; (N, J)."""
        part = np.zeros(cases.shape)
        for rows, which in zip(self.rows, self.which, strict=True):
            part += np.einsum("nk,njk->nj", values, rows[which[cases]]) ** 2
        left = np.einsum("nk,nk->n", values, values)[:, None] - part
        return np.asarray(np.sqrt(np.maximum(left, 0.0) / values.shape[1]))

    def picked(self, cases: IntArray) -> Spans:
        """Some of the cases."""
        kept = [np.unique(which[cases], return_inverse=True) for which in self.which]
        rows = tuple(np.ascontiguousarray(rows[used]) for rows, (used, _) in zip(self.rows, kept, strict=True))
        return Spans(rows, tuple(np.asarray(which, dtype=np.int64).ravel() for _, which in kept))


def _once_each(rows: FloatArray) -> tuple[FloatArray, IntArray]:
    """Rows (M, K) that differ, and which each was: `numpy.unique` takes ten times as long."""
    whole, size = rows.tobytes(), rows.shape[1] * rows.itemsize
    names = [whole[k : k + size] for k in range(0, len(whole), size)]
    numbers = {name: k for k, name in enumerate(dict.fromkeys(names))}
    which = np.array([numbers[name] for name in names], dtype=np.int64)
    _, first = np.unique(which, return_index=True)
    return np.ascontiguousarray(rows[first]), which


def rests_of_each(values: FloatArray, spanned: FloatArray) -> FloatArray:
    """RMS of what cases of their own leave of values (N, K), by the rows (N, M, S, K) that span them; (N, M)."""
    part = np.zeros(spanned.shape[:2])
    for s in range(spanned.shape[2]):
        part += np.einsum("nk,nmk->nm", values, spanned[:, :, s]) ** 2
    left = np.einsum("nk,nk->n", values, values)[:, None] - part
    return np.asarray(np.sqrt(np.maximum(left, 0.0) / values.shape[1]))


def spanning(bases: FloatArray) -> FloatArray:
    """Orthonormal rows (M, S, K) that span the columns of each basis (M, K, S), laid along the memory."""
    return np.ascontiguousarray(np.swapaxes(orthonormal(bases), 1, 2))
