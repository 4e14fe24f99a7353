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
        alike = [np.unique(spanned[:, s], axis=0, return_inverse=True) for s in range(spanned.shape[1])]
        rows = tuple(np.ascontiguousarray(one) for one, _ in alike)
        return cls(rows, tuple(np.asarray(which, dtype=np.int64).ravel() for _, which in alike))

    def rests(self, values: FloatArray) -> FloatArray:
        """RMS of what each case leaves of values (N, K); (N, M)."""
        part = np.zeros((len(values), len(self.which[0])))
        for rows, which in zip(self.rows, self.which, strict=True):
            part += (np.einsum("nk,uk->nu", values, rows) ** 2)[:, which]
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


def spanning(bases: FloatArray) -> FloatArray:
    """Orthonormal rows (M, S, K) that span the columns of each basis (M, K, S), laid along the memory."""
    return np.ascontiguousarray(np.swapaxes(orthonormal(bases), 1, 2))
