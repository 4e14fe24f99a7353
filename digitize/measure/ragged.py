"""Closed rings of many lengths laid end to end in one array: one pass of NumPy's over all of them, not one a ring.

What is added up over a ring is added up ring by ring, in the same order as if it stood alone: results are the same, bit
for bit, whichever rings are looked at together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from ..records import BoolArray, FloatArray

TO_SD = 1.4826  # from the median of absolute deviations to the standard deviation of normal errors

IntArray = npt.NDArray[np.int64]
_MANY = 256  # values
Values = TypeVar("Values", bound=npt.NDArray[Any])


class EndToEnd:
    """Where each of R rings lies in arrays that hold them one after the other, N rows in all."""

    def __init__(self, sizes: npt.ArrayLike) -> None:
        self.sizes: IntArray = np.asarray(sizes, dtype=np.int64)
        self.ends: IntArray = np.cumsum(self.sizes)
        self.starts: IntArray = self.ends - self.sizes
        self._moved: dict[int, IntArray] = {}
        self._padded: dict[int, IntArray] = {}

    @classmethod
    def of(cls, rings: Sequence[npt.NDArray[Any]]) -> EndToEnd:
        """Of rings (n, ...) that are to be concatenated."""
        return cls([len(one) for one in rings])

    def __len__(self) -> int:
        return len(self.sizes)

    @cached_property
    def owner(self) -> IntArray:
        """(N,) whose each row is."""
        return np.repeat(np.arange(len(self)), self.sizes)

    @cached_property
    def within(self) -> IntArray:
        """(N,) the number of each row in its own ring."""
        return np.arange(len(self.owner)) - self.starts[self.owner]

    @cached_property
    def slices(self) -> list[slice]:
        """Where each ring lies."""
        return [slice(a, b) for a, b in zip(self.starts.tolist(), self.ends.tolist(), strict=True)]

    def rows(self, values: Values) -> Values:
        """A value of each ring (R, ...) at each of its rows (N, ...)."""
        return values[self.owner]  # type: ignore[return-value]

    def moved(self, by: int) -> IntArray:
        """(N,) the row so many places on round the same ring: as `measure.rings.rolled` with -`by` of each."""
        if by not in self._moved:
            self._moved[by] = self.starts[self.owner] + (self.within + by) % self.sizes[self.owner]
        return self._moved[by]

    def each(self, values: npt.NDArray[Any], of: Callable[[npt.NDArray[Any]], float]) -> FloatArray:
        """What `of` makes of each ring's rows, (R,)."""
        return np.array([of(values[at]) for at in self.slices], dtype=np.float64)

    def summed(self, values: npt.NDArray[Any]) -> IntArray:
        """The sum over each ring's rows of whole numbers or flags (N,); (R,)."""
        total = np.concatenate([[0], np.cumsum(values, dtype=np.int64)])
        return np.asarray(total[self.ends] - total[self.starts])

    def thinned(self, most: int) -> tuple[EndToEnd, IntArray]:
        """The rings with `most` rows each at most, evenly spread, and which rows those are."""
        if (self.sizes <= most).all():
            return self, np.arange(len(self.owner))
        spread = [
            np.linspace(0, size - 1, most).astype(np.int64) if size > most else np.arange(size)
            for size in self.sizes.tolist()
        ]
        return EndToEnd.of(spread), np.concatenate([a + b for a, b in zip(self.starts, spread, strict=True)])

    def kept(self, flags: BoolArray) -> EndToEnd:
        """The rings once only the rows with a flag (N,) are left; of none of a ring an empty one."""
        return EndToEnd(np.bincount(self.owner[flags], minlength=len(self)))

    def picked(self, numbers: npt.ArrayLike) -> tuple[EndToEnd, IntArray]:
        """Some of the rings, and the rows (M,) that are theirs."""
        at = np.asarray(numbers, dtype=np.int64)
        some = EndToEnd(self.sizes[at])
        return some, self.starts[at][some.owner] + some.within

    def alike(self, keys: npt.NDArray[Any]) -> Iterator[tuple[IntArray, EndToEnd, IntArray | slice]]:
        """Rings of one key (R,) at a time: their numbers, they themselves, and their rows; all if there is one key."""
        if not len(self):
            return
        if (keys == keys[0]).all():
            yield np.arange(len(self)), self, slice(None)
            return
        for key in np.unique(keys):
            numbers = np.flatnonzero(keys == key)
            yield (numbers, *self.picked(numbers))

    def padded(self, half: int) -> IntArray:
        """Which rows make the rings with their last so many rows put before the first and the first after the last."""
        if half not in self._padded:
            wide = EndToEnd(self.sizes + 2 * half)
            self._padded[half] = self.starts[wide.owner] + (wide.within - half) % self.sizes[wide.owner]
        return self._padded[half]

    def unpadded(self, half: int) -> IntArray:
        """(N,) which of the windows of 2 `half` + 1 padded rows is about each row."""
        return np.arange(len(self.owner)) + 2 * half * self.owner


def median(values: npt.NDArray[Any]) -> float:
    """The median of (N,) finite values, as `numpy.median` gives it in a fifth of the time; nan of none."""
    count = len(values)
    if not count:
        return float("nan")
    middle = count // 2
    if count % 2 and count < _MANY:
        return float(np.partition(values, middle)[middle])
    # to ask for two places takes a third of the time of asking for one, of many values
    two = np.partition(values, (max(middle - 1, 0), middle))[max(middle - 1, 0) : middle + 1]
    return float(two[-1] if count % 2 else np.add.reduce(two) / 2)


def medians(rows: Sequence[FloatArray] | FloatArray) -> FloatArray:
    """The medians of few finite rows (N, ...) along the first axis: `numpy.median`, in a fifth of the time."""
    ordered = np.sort(rows, axis=0)
    count = len(ordered)
    return np.asarray((ordered[(count - 1) // 2] + ordered[count // 2]) / 2)


def medians_along(values: FloatArray) -> FloatArray:
    """The medians of finite values (..., N) along the last axis: `numpy.median`, in a fifth of the time."""
    ordered, count = np.sort(values, axis=-1), values.shape[-1]
    return np.asarray((ordered[..., (count - 1) // 2] + ordered[..., count // 2]) / 2)


def moving_mean(
    values: FloatArray, weights: FloatArray, half: int, *, closed: bool, rings: EndToEnd | None = None
) -> tuple[FloatArray, FloatArray]:
    """Weighted mean over 2 `half` + 1 neighbours along the first axis, fewer of a shorter sequence.

    `values` (N, C), `weights` (N,), of one sequence or of those of several `rings`. Returns the mean (N, C), NaN where
    no weight is near, and the summed weight (N,).
    """
    rings = rings or EndToEnd([len(values)])
    halves = np.minimum(half, (rings.sizes - 1) // 2)
    stacked = np.column_stack([values * weights[:, None], weights])
    wide = EndToEnd(rings.sizes + 2 * halves + 1)
    local = wide.within - (halves + 1)[wide.owner]
    total = stacked[rings.starts[wide.owner] + local % rings.sizes[wide.owner]]
    if not closed:
        total[(local < 0) | (local >= rings.sizes[wide.owner])] = 0.0
    for at in wide.slices:
        np.cumsum(total[at], axis=0, out=total[at])
    first = wide.starts[rings.owner] + rings.within
    window = total[first + rings.rows(2 * halves + 1)] - total[first]
    weight = np.maximum(window[:, -1], 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(weight[:, None] > 1e-9, window[:, :-1] / weight[:, None], np.nan)
    return mean, weight


def fill_gaps(values: FloatArray, rings: EndToEnd | None = None) -> FloatArray:
    """Replace NaN rows of (N, C) by interpolation round their ring along the first axis; all-NaN stays NaN."""
    good = np.asarray(np.isfinite(values).all(axis=1))
    if good.all():
        return values
    filled = np.array(values)
    for at in (rings or EndToEnd([len(values)])).slices:
        if not good[at].all() and good[at].any():
            filled[at] = _filled(values[at], good[at])
    return filled


def _filled(values: FloatArray, good: BoolArray) -> FloatArray:
    index = np.arange(len(values))
    known = index[good]
    wrapped = np.concatenate([known - len(values), known, known + len(values)])
    filled = np.empty_like(values)
    for column in range(values.shape[1]):
        filled[:, column] = np.interp(index, wrapped, np.tile(values[good, column], 3))
    return filled
