"""The fewest arcs and lines, each tangent to the next, along places in a row: a shortest way.

An arc is given by its start, its direction there and its end, and so is the direction at its end. A way is therefore
looked for not from place to place but from place and direction to place and direction: of all ways that reach a place
in about one direction, the one of the fewest pieces is kept, with its direction as it is. What is found is tangent
without any fit, and passes through some of the places; a fit to all points starts from there. Ways along several rows
are looked for in step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from .draft import Local, distance_of
from .pieces import IntArray
from .together import Wish

BoolArray = npt.NDArray[np.bool_]
Places = npt.NDArray[np.complex128]

_DIRECTIONS = 13  # looked at in each place, about the one that the places have there
_BINS = np.arange(_DIRECTIONS) - _DIRECTIONS // 2
_REACH = 15.0  # limits over a piece's length: the largest angle between such a direction and theirs
_WIDEST = 0.5  # radians: the largest such angle in any case
_FAR = 1.5  # of the places of a piece: how far a piece may go
_STEEPEST = np.radians(75)  # half of what an arc may turn
_STUB = 2.5  # pieces that a line costs which cuts a corner off
_BLUNT = np.radians(20)  # at least, between that line and the arc beside it
_EVEN = 0.02  # pieces that the square of an offset of one limit costs: of ways of as many pieces, the nearest


@dataclass(frozen=True, slots=True)
class Row:
    """Places in a row, and what pieces along them must keep to."""

    places: Places  # (M,) mm
    limit_mm: FloatArray  # (M,)
    size_mm: FloatArray  # (M,) about the length of a piece there
    a_piece: int  # about how many places a piece has
    lines: tuple[tuple[int, int], ...]  # first and last place of stretches that are straight
    least_mm: float  # length of an arc
    least_radius_mm: float


@dataclass(frozen=True, slots=True)
class Way:
    """Pieces along places in a row."""

    at: IntArray  # (K + 1,) the places where they begin and end
    bulges: FloatArray  # (K,) 0 of lines
    straight: BoolArray  # (K,)
    smooth: BoolArray  # (K,) tangent to the piece before; not the first one

    def lined(self, which: BoolArray, *, tangent: bool) -> Way:
        """Return the way with some pieces as lines, their ends tangent as before or corners."""
        after = np.concatenate([[False], which[:-1]])
        return replace(
            self,
            bulges=np.where(which, 0.0, self.bulges),
            straight=self.straight | which,
            smooth=self.smooth if tangent else self.smooth & ~which & ~after,
        )


async def fewest_tangent(row: Row, slack: float) -> Way | None:
    """Return the way of the fewest pieces from the first place to the last within so many limits, or None.

    Stretches that are straight stay lines, for half their length at least. A corner at either end may be blunt: cut off
    by a line too short for an arc.
    """
    found: Way | None = await Wish(_fewest_tangent, (row, slack))
    return found


def _fewest_tangent(asked: Sequence[tuple[Row, float]]) -> list[Way | None]:
    """Return the ways along several rows."""
    search = _Search([row for row, _ in asked], np.array([slack for _, slack in asked]))
    every = range(len(asked))
    for number in every:
        search.begin(number)
    for at in range(int(search.sizes.max()) - 1):
        search.go_on(at)
    for number in every:
        search.end(number)
    return [search.way(number) for number in every]


class _Search:
    """What is known of the ways so far: for each place of R rows, end to end, and direction the cheapest there."""

    def __init__(self, rows: Sequence[Row], slack: FloatArray) -> None:
        self.rows, self.slack = rows, slack
        self.sizes = np.array([len(row.places) for row in rows])
        self.firsts = np.cumsum(self.sizes) - self.sizes
        self.places = np.concatenate([row.places for row in rows])
        self.limit_mm = np.concatenate([row.limit_mm for row in rows])
        self.least_mm = np.array([row.least_mm for row in rows])
        self.least_radius_mm = np.array([row.least_radius_mm for row in rows])
        size_mm = np.concatenate([row.size_mm for row in rows])
        self.width = np.minimum(_REACH * self.limit_mm / size_mm, _WIDEST) * 2 / (_DIRECTIONS - 1)
        self.ahead = np.concatenate([np.angle(np.gradient(row.places)) for row in rows])
        self.arcs_to, self.lines_to = (np.concatenate(ends) for ends in zip(*map(_ends, rows), strict=True))
        count = len(self.places)
        self.cost = np.full((count, _DIRECTIONS), np.inf)
        self.angle = np.zeros((count, _DIRECTIONS))
        self.before = np.zeros((count, _DIRECTIONS), dtype=np.intp)  # place and direction, as one number
        self.bulge = np.zeros((count, _DIRECTIONS))
        self.line = np.zeros((count, _DIRECTIONS), dtype=bool)
        self.stub = np.zeros((count, _DIRECTIONS), dtype=bool)
        self.cost[self.firsts] = 0.0
        self.angle[self.firsts] = self.ahead[self.firsts, None] + _BINS * self.width[self.firsts, None]
        self.best = np.zeros(count * _DIRECTIONS, dtype=np.intp)

    def begin(self, number: int) -> None:
        """Go from the first place of a row to others so near that there is no arc, in any direction from there."""
        places, first = self.rows[number].places, int(self.firsts[number])
        near = 1 + np.flatnonzero(np.cumsum(np.abs(np.diff(places))) < self.rows[number].least_mm)
        for to in (first + near[near < len(places) - 1]).tolist():
            angle = self.ahead[to] + _BINS * self.width[to]
            if self._stub_fits(number, first, to):
                self.cost[to] = np.where(self._turns(first, to, angle), _STUB, np.inf)
                self.angle[to] = angle
                self.before[to] = first * _DIRECTIONS
                self.line[to] = self.stub[to] = True

    def _stub_fits(self, number: int, at: int, to: int) -> bool:
        places, index = self.places, np.arange(at + 1, to + 1)
        chord = places[to] - places[at]
        offsets = np.abs(((places[index] - places[at]) * chord.conjugate()).imag) / max(abs(chord), 1e-9)
        return bool((offsets <= self.slack[number] * self.limit_mm[index]).all())

    def _turns(self, at: int, to: int, angle: FloatArray) -> BoolArray:
        """Tell which directions a line from one place to another parts from as sharply as a corner does."""
        heading = float(np.angle(self.places[to] - self.places[at]))
        return np.asarray(np.abs(np.pi - np.mod(np.pi - (angle - heading), 2 * np.pi)) > _BLUNT)

    def end(self, number: int) -> None:
        """Go from places so near to the last one of a row that there is no arc to it, whatever the direction there."""
        places, first = self.rows[number].places, int(self.firsts[number])
        last = first + len(places) - 1
        left = np.abs(np.diff(places))[::-1].cumsum()[::-1]
        for at in (first + np.flatnonzero(left < self.rows[number].least_mm)).tolist():
            able = np.where(self._turns(at, last, self.angle[at]), self.cost[at], np.inf)
            step = int(np.argmin(able))
            cost = able[step] + _STUB
            if at > first and cost < self.cost[last].min() and self._stub_fits(number, at, last):
                self.cost[last, 0], self.before[last, 0] = cost, at * _DIRECTIONS + step
                self.bulge[last, 0], self.line[last, 0], self.stub[last, 0] = 0.0, True, True

    def go_on(self, at: int) -> None:
        """Go on from that place of every row that has one by arcs and lines, as far as the limit allows."""
        numbers = np.flatnonzero(self.sizes - 1 > at)
        numbers = numbers[np.isfinite(self.cost[self.firsts[numbers] + at]).any(axis=1)]
        if not len(numbers):
            return
        self._try(numbers, at, self.arcs_to, straight=False)
        lined = numbers[self.lines_to[self.firsts[numbers] + at] > 0]
        if len(lined):
            self._try(lined, at, self.lines_to, straight=True)

    def _try(self, numbers: IntArray, at: int, ends: IntArray, *, straight: bool) -> None:
        """Try arcs, or lines, from a place of some rows to the next ones of the same row, up to `ends` (N,)."""
        first = self.firsts[numbers] + at
        reach = self.firsts[numbers] + ends[first] - first
        to = first[:, None] + np.arange(1, int(reach.max()) + 1)
        there = to <= (first + reach)[:, None]
        to = np.minimum(to, len(self.places) - 1)
        chords = self.places[to] - self.places[first, None]
        length, heading = np.abs(chords), np.angle(chords)
        turn = np.pi - np.mod(np.pi - (heading[:, None] - self.angle[first, :, None]), 2 * np.pi)
        good = (there & (length >= self.least_mm[numbers, None]))[:, None] & np.isfinite(self.cost[first])[:, :, None]
        good &= np.abs(turn) < _STEEPEST
        if straight:
            good &= np.abs(turn) <= (np.inf if at == 0 else self.width[first, None, None])
            turn = np.zeros_like(turn)
        good &= length[:, None] >= 2 * np.abs(np.sin(turn)) * self.least_radius_mm[numbers, None, None]
        row, way, end = np.nonzero(good)
        turns = turn[row, way, end]
        run = _Run(chords, length, self.limit_mm[to])
        slack = self.slack[numbers]
        fits, squares = run.fitting(row, end, np.tan(turns / 2), slack)
        row, way, end, turns = row[fits], way[fits], end[fits], turns[fits]
        start, target = first[row], to[row, end]
        cost = self.cost[start, way] + 1 + _EVEN * squares
        leaving = heading[row, end] + turns
        self._keep(target, leaving, cost, start * _DIRECTIONS + way, np.tan(turns / 2), straight=straight)

    def _keep(
        self, to: IntArray, angle: FloatArray, cost: FloatArray, before: IntArray, bulges: FloatArray, *, straight: bool
    ) -> None:
        """Keep the cheapest piece to each place and direction."""
        off = np.pi - np.mod(np.pi - (angle - self.ahead[to]), 2 * np.pi)
        step = np.rint(off / self.width[to]).astype(np.intp) + _DIRECTIONS // 2
        order = np.lexsort((before, -cost))  # the cheapest is written last
        order = order[(step[order] >= 0) & (step[order] < _DIRECTIONS)]
        key = to[order] * _DIRECTIONS + step[order]
        self.best[key] = order
        chosen = order[self.best[key] == order]
        place, step = to[chosen], step[chosen]
        better = cost[chosen] < self.cost[place, step]
        place, step, chosen = place[better], step[better], chosen[better]
        self.cost[place, step], self.angle[place, step] = cost[chosen], angle[chosen]
        self.before[place, step], self.bulge[place, step] = before[chosen], bulges[chosen]
        self.line[place, step], self.stub[place, step] = straight, False

    def way(self, number: int) -> Way | None:
        """Return the cheapest way to the last place of a row."""
        first = int(self.firsts[number])
        last = first + int(self.sizes[number]) - 1
        step = int(np.argmin(self.cost[last]))
        if not np.isfinite(self.cost[last, step]):
            return None
        way = [(last, step)]
        while way[-1][0] > first:
            place, step = divmod(int(self.before[way[-1]]), _DIRECTIONS)
            way.append((place, step))
        way.reverse()
        place, step = np.array(way[1:]).T
        stub = self.stub[place, step]
        smooth = ~(stub | np.concatenate([[True], stub[:-1]]))
        return Way(np.array([at - first for at, _ in way]), self.bulge[place, step], self.line[place, step], smooth)


def _ends(row: Row) -> tuple[IntArray, IntArray]:
    """Return (M,) how far arcs may go from each place, and how far lines may; 0 where there is none."""
    count = len(row.places)
    arcs, lines = np.minimum(np.arange(count) + int(_FAR * row.a_piece), count - 1), np.zeros(count, dtype=np.intp)
    for first, end in row.lines:
        middle = (first + end) // 2
        arcs[:middle] = np.minimum(arcs[:middle], middle)
        lines[first:end] = end
    return arcs, lines


@dataclass(frozen=True, slots=True)
class _Run:
    """The next W places from one place of each of R rows."""

    chords: Places  # (R, W)
    length_mm: FloatArray
    limit_mm: FloatArray

    def fitting(
        self, row: IntArray, end: IntArray, bulges: FloatArray, slack: FloatArray
    ) -> tuple[IntArray, FloatArray]:
        """Return which of some pieces keep to the places between, and the mean square of their offsets in limits.

        The place half-way is looked at first: most that do not fit are too far off there.
        """
        near = np.abs(self._offsets(row, end, bulges, end[None] // 2)[0]) <= slack[row]
        at = np.flatnonzero(near)
        row, end, bulges = row[at], end[at], bulges[at]
        places = np.arange(self.chords.shape[1])[:, None]
        off = np.where(places < end, self._offsets(row, end, bulges, places), 0.0)
        fits = np.abs(off).max(axis=0, initial=0.0) <= slack[row]
        # rows are added one after the other: however many there are, they add up alike
        return at[fits], np.add.reduce(off[:, fits] ** 2, axis=0) / np.maximum(end[fits], 1)

    def _offsets(self, row: IntArray, end: IntArray, bulges: FloatArray, places: IntArray) -> FloatArray:
        """Return (..., P) the offsets, in limits, of places between a piece's ends."""
        length = self.length_mm[row, end]
        away = self.chords[row, places] * (self.chords[row, end].conj() / length)
        return np.asarray(distance_of(Local(away.real, away.imag, bulges, length)) / self.limit_mm[row, places])
