"""Several drafts as one, so that what is worked out for each piece is worked out for the pieces of all at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from .draft import KNOWN, Draft, Scalar
from .pieces import IntArray

_COLUMNS = tuple(column.name for column in fields(Draft))
_WHOLE = slice(None)
_WINDOW = 30  # points a break may move in one step
_STEP = 3  # points looked at first


@dataclass(frozen=True, slots=True)
class Rings:
    """Several rings, one after the other."""

    x: FloatArray  # (N,) of all
    y: FloatArray
    first: IntArray  # (R,) where each begins
    sizes: IntArray  # (R,)

    @classmethod
    def of(cls, ring: FloatArray) -> Rings:
        """Take one ring (N, 2)."""
        x, y = np.ascontiguousarray(ring.T)
        return cls(x, y, np.zeros(1, dtype=np.intp), np.array([len(ring)]))

    @classmethod
    def together(cls, each: Sequence[Rings]) -> Rings:
        """Put rings one after the other."""
        if len(each) == 1:
            return each[0]
        sizes = np.concatenate([one.sizes for one in each])
        x, y = np.concatenate([one.x for one in each]), np.concatenate([one.y for one in each])
        return cls(x, y, np.cumsum(sizes) - sizes, sizes)

    def at(self, owner: IntArray, index: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return points of these rings, as x and y."""
        place = self.first[owner] + index % self.sizes[owner]
        return self.x[place], self.y[place]


@dataclass(frozen=True, slots=True)
class _Order:
    """How the pieces of several drafts follow one another."""

    firsts: IntArray  # (R,) where each draft's pieces begin
    lasts: IntArray  # (R,) the last piece of each
    sizes: IntArray  # (R,)
    owner: IntArray  # (K,) which of the drafts each piece is of
    next_at: IntArray  # (K,) the piece that follows each in its draft
    last_at: IntArray  # (K,) the piece before
    slices: list[slice]


@lru_cache(maxsize=64)
def _order(sizes: tuple[int, ...]) -> _Order:
    counts = np.array(sizes)
    ends = np.cumsum(counts)
    next_at = np.arange(1, ends[-1] + 1)
    next_at[ends - 1] = ends - counts
    last_at = np.empty_like(next_at)
    last_at[next_at] = np.arange(ends[-1])
    slices = [slice(end - size, end) for end, size in zip(ends.tolist(), sizes, strict=True)]
    owner = np.repeat(np.arange(len(sizes)), counts)
    return _Order(ends - counts, ends - 1, counts, owner, next_at, last_at, slices)


@dataclass(frozen=True)
class Joined(Draft):
    """The pieces of several drafts, one draft after the other; breaks are those of each draft's own ring."""

    order: _Order

    @classmethod
    def of(cls, drafts: Sequence[Draft]) -> Joined:
        """Join drafts."""
        return cls._of([(draft, _WHOLE) for draft in drafts], tuple(len(draft.bulges) for draft in drafts))

    @classmethod
    def of_parts(cls, parts: Sequence[tuple[Joined, int]]) -> Joined:
        """Join drafts that are, or were, parts of others."""
        each = [(whole, whole.order.slices[at]) for whole, at in parts]
        return cls._of(each, tuple(part.stop - part.start for _, part in each))

    @classmethod
    def _of(cls, parts: Sequence[tuple[Draft, slice]], sizes: tuple[int, ...]) -> Joined:
        made = cls._with(lambda name: np.concatenate([getattr(whole, name)[part] for whole, part in parts]), sizes)
        for name in KNOWN:
            if all(name in whole.__dict__ for whole, _ in parts):
                made.__dict__[name] = _together([(whole.__dict__[name], part) for whole, part in parts])
        return made

    @classmethod
    def _with(cls, column: Callable[[str], npt.NDArray[Any]], sizes: tuple[int, ...]) -> Joined:
        columns: dict[str, Any] = {name: column(name) for name in _COLUMNS}
        return cls(**columns, order=_order(sizes))

    def kept(self, which: Sequence[int]) -> Joined:
        """Some of the drafts, in their order."""
        if len(which) == len(self.order.slices):
            return self
        wanted = np.zeros(len(self.order.slices), dtype=bool)
        wanted[which] = True
        rows = np.flatnonzero(wanted[self.owner])
        sizes = tuple(self.order.sizes[which].tolist())
        made = self._with(lambda name: getattr(self, name)[rows], sizes)
        for name in KNOWN:
            if name in self.__dict__:
                value = self.__dict__[name]
                made.__dict__[name] = (value[0][rows], value[1][rows]) if isinstance(value, tuple) else value[rows]
        return made

    def after(self, values: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
        """Return the values (K, ...) of pieces or vertices each replaced by the next one around its draft."""
        return np.asarray(values[self.order.next_at])

    def before(self, values: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
        """Return the values (K, ...) of pieces or vertices each replaced by the one before in its draft."""
        return np.asarray(values[self.order.last_at])

    @property
    def owner(self) -> IntArray:
        """Which of the drafts, and so of their rings, each piece is of, (K,)."""
        return self.order.owner

    @property
    def firsts(self) -> IntArray:
        """Where each draft's pieces begin, (R,)."""
        return self.order.firsts

    @property
    def sizes(self) -> IntArray:
        """How many pieces each draft has, (R,)."""
        return self.order.sizes

    def each(self) -> list[slice]:
        """Where each draft's pieces are."""
        return self.order.slices

    def part(self, at: int) -> Draft:
        """One of the drafts, with what is known of it."""
        part = self.order.slices[at]
        made = Draft(
            self.vertices[part],
            self.bulges[part],
            self.breaks[part],
            self.straight[part],
            self.smooth[part],
            self.fixed[part],
        )
        for name in KNOWN:
            if name in self.__dict__:
                value = self.__dict__[name]
                made.__dict__[name] = (value[0][part], value[1][part]) if isinstance(value, tuple) else value[part]
        return made

    def counts(self, rings: Rings) -> IntArray:
        """Return (K,) how many of its ring's points each piece answers for."""
        counts = self.after(self.breaks)
        counts[self.order.lasts] += rings.sizes
        counts -= self.breaks
        return counts


def _together(known: list[tuple[Any, slice]]) -> object:
    if isinstance(known[0][0], tuple):
        return tuple(np.concatenate([value[k][part] for value, part in known]) for k in range(2))
    return np.concatenate([value[part] for value, part in known])


def rebroken(draft: Joined, rings: Rings) -> Joined:
    """Move each break to the first point of its ring that is beyond its vertex, within the two pieces it parts.

    That is the point nearest the vertex or the one after it, as the line that halves the angle there tells.
    """
    half = np.maximum(draft.counts(rings) // 2 - 1, 0)
    low, high = np.minimum(draft.before(half), _WINDOW), np.minimum(half, _WINDOW)
    low[draft.fixed] = high[draft.fixed] = 0
    shift = _nearest(draft, rings, np.arange(len(low)), np.minimum(low, _STEP), np.minimum(high, _STEP), _STEP)
    far = np.flatnonzero((shift == -_STEP) | (shift == _STEP))  # at the end of the near look: look farther
    if len(far):
        shift[far] = _nearest(draft, rings, far, low[far], high[far], _WINDOW)
    x, y = rings.at(draft.owner, draft.breaks + shift)
    x, y = x - draft.vertices[:, 0], y - draft.vertices[:, 1]
    arrive, leave = draft.directions
    along = x * (np.cos(arrive) + np.cos(leave)) + y * (np.sin(arrive) + np.sin(leave))
    shift = np.where((along < 0) & (shift < high), shift + 1, shift)
    return draft.with_breaks(draft.breaks + shift)


def _nearest(draft: Joined, rings: Rings, which: IntArray, low: IntArray, high: IntArray, most: int) -> IntArray:
    """Return how far each of some breaks is from the point nearest its vertex, looking -low to high points on."""
    shift = np.arange(-most, most + 1)
    x, y = rings.at(draft.owner[which, None], draft.breaks[which, None] + shift)
    x, y = x - draft.vertices[which, :1], y - draft.vertices[which, 1:]
    square = x**2 + y**2
    if low.min() < most or high.min() < most:
        square[(shift < -low[:, None]) | (shift > high[:, None])] = np.inf
    return np.asarray(np.argmin(square, axis=1) - most)
