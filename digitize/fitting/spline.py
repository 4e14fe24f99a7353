"""The fewest arcs and lines, each tangent to the next, along places in a row: a shortest way.

An arc is given by its start, its direction there and its end, and so is the direction at its end. A way is therefore
looked for not from place to place but from place and direction to place and direction: of all ways that reach a place
in about one direction, the one of the fewest pieces is kept, with its direction as it is. What is found is tangent
without any fit, and passes through some of the places; a fit to all points starts from there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from .draft import Local, distance_of
from .pieces import IntArray

Places = npt.NDArray[np.complex128]

_DIRECTIONS = 13  # looked at in each place, about the one that the places have there
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
    straight: npt.NDArray[np.bool_]  # (K,)
    smooth: npt.NDArray[np.bool_]  # (K,) tangent to the piece before; not the first one

    def lined(self, which: npt.NDArray[np.bool_], *, tangent: bool) -> Way:
        """Return the way with some pieces as lines, their ends tangent as before or corners."""
        after = np.concatenate([[False], which[:-1]])
        return replace(
            self,
            bulges=np.where(which, 0.0, self.bulges),
            straight=self.straight | which,
            smooth=self.smooth if tangent else self.smooth & ~which & ~after,
        )


def fewest_tangent(row: Row, slack: float) -> Way | None:
    """Return the way of the fewest pieces from the first place to the last within so many limits, or None.

    Stretches that are straight stay lines, for half their length at least. A corner at either end may be blunt: cut off
    by a line too short for an arc.
    """
    search = _Search(row, slack)
    search.begin()
    for at in range(len(row.places) - 1):
        search.go_on(at)
    search.end()
    return search.way()


class _Search:
    """What is known of the ways so far: for each place and direction the cheapest that ends there."""

    def __init__(self, row: Row, slack: float) -> None:
        count = len(row.places)
        self.row, self.slack = row, slack
        ahead = np.angle(np.gradient(row.places))
        self.width = np.minimum(_REACH * row.limit_mm / row.size_mm, _WIDEST) * 2 / (_DIRECTIONS - 1)
        self.ahead = ahead
        self.cost = np.full((count, _DIRECTIONS), np.inf)
        self.angle = np.zeros((count, _DIRECTIONS))
        self.before = np.zeros((count, _DIRECTIONS), dtype=np.intp)  # place and direction, as one number
        self.bulge = np.zeros((count, _DIRECTIONS))
        self.line = np.zeros((count, _DIRECTIONS), dtype=bool)
        self.stub = np.zeros((count, _DIRECTIONS), dtype=bool)
        self.cost[0] = 0.0
        self.angle[0] = ahead[0] + (np.arange(_DIRECTIONS) - _DIRECTIONS // 2) * self.width[0]

    def begin(self) -> None:
        """Go from the first place to others so near that there is no arc, in any direction from there."""
        places = self.row.places
        near = 1 + np.flatnonzero(np.cumsum(np.abs(np.diff(places))) < self.row.least_mm)
        near = near[near < len(places) - 1]
        bins = np.arange(_DIRECTIONS) - _DIRECTIONS // 2
        for to in near.tolist():
            angle = self.ahead[to] + bins * self.width[to]
            if self._stub_fits(0, to):
                self.cost[to] = np.where(self._turns(0, to, angle), _STUB, np.inf)
                self.angle[to] = angle
                self.before[to] = 0
                self.line[to] = self.stub[to] = True

    def _stub_fits(self, at: int, to: int) -> bool:
        places, index = self.row.places, np.arange(at + 1, to + 1)
        chord = places[to] - places[at]
        offsets = np.abs(((places[index] - places[at]) * chord.conjugate()).imag) / max(abs(chord), 1e-9)
        return bool((offsets <= self.slack * self.row.limit_mm[index]).all())

    def _turns(self, at: int, to: int, angle: FloatArray) -> npt.NDArray[np.bool_]:
        """Tell which directions a line from one place to another parts from as sharply as a corner does."""
        heading = float(np.angle(self.row.places[to] - self.row.places[at]))
        return np.asarray(np.abs(np.pi - np.mod(np.pi - (angle - heading), 2 * np.pi)) > _BLUNT)

    def end(self) -> None:
        """Go from places so near to the last one that there is no arc to it, whatever the direction there."""
        places, last = self.row.places, len(self.row.places) - 1
        left = np.abs(np.diff(places))[::-1].cumsum()[::-1]
        for at in np.flatnonzero(left < self.row.least_mm).tolist():
            able = np.where(self._turns(at, last, self.angle[at]), self.cost[at], np.inf)
            step = int(np.argmin(able))
            cost = able[step] + _STUB
            if at > 0 and cost < self.cost[last].min() and self._stub_fits(at, last):
                self.cost[last, 0], self.before[last, 0] = cost, at * _DIRECTIONS + step
                self.bulge[last, 0], self.line[last, 0], self.stub[last, 0] = 0.0, True, True

    def go_on(self, at: int) -> None:
        """Go on from a place by arcs and lines, as far as the limit allows."""
        known = np.flatnonzero(np.isfinite(self.cost[at]))
        if not len(known):
            return
        last = min(at + int(_FAR * self.row.a_piece), len(self.row.places) - 1)
        middles = [(first + end) // 2 for first, end in self.row.lines]
        last = min([last, *(middle for middle in middles if middle > at)])
        self._try(at, known, np.arange(at + 1, last + 1), straight=False)
        for first, end in self.row.lines:
            if first <= at < end:
                self._try(at, known, np.arange(at + 1, end + 1), straight=True)

    def _try(self, at: int, known: IntArray, to: IntArray, *, straight: bool) -> None:
        row = self.row
        chords = row.places[to] - row.places[at]
        length, heading = np.abs(chords), np.angle(chords)
        turn = np.pi - np.mod(np.pi - (heading - self.angle[at, known, None]), 2 * np.pi)
        good = (np.abs(turn) < _STEEPEST) & (length >= row.least_mm)
        if straight:
            good &= np.abs(turn) <= (np.inf if at == 0 else self.width[at])
            turn = np.zeros_like(turn)
        good &= length >= 2 * np.abs(np.sin(turn)) * row.least_radius_mm
        which, end = np.nonzero(good)
        bulges = np.tan(turn[which, end] / 2)
        worst, squares = self._offsets(at, to, chords[end], length[end], bulges, end)
        fits = worst <= self.slack
        which, end, bulges = which[fits], end[fits], bulges[fits]
        leaving = heading[end] + turn[which, end]
        cost = self.cost[at, known[which]] + 1 + _EVEN * squares[fits]
        self._keep(to[end], leaving, cost, at * _DIRECTIONS + known[which], bulges, straight=straight)

    def _offsets(
        self, at: int, to: IntArray, chords: Places, length: FloatArray, bulges: FloatArray, end: IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the largest offset of the places between in limits, and the mean of their squares, of each piece."""
        row = self.row
        away = (row.places[to] - row.places[at])[None] * (chords.conj() / length)[:, None]
        local = Local(away.real, away.imag, bulges[:, None], length[:, None])
        off = np.where(np.arange(len(to)) < end[:, None], distance_of(local) / row.limit_mm[to], 0.0)
        return np.abs(off).max(axis=1, initial=0.0), np.sum(off**2, axis=1) / np.maximum(end, 1)

    def _keep(
        self, to: IntArray, angle: FloatArray, cost: FloatArray, before: IntArray, bulges: FloatArray, *, straight: bool
    ) -> None:
        """Keep the cheapest piece to each place and direction."""
        off = np.pi - np.mod(np.pi - (angle - self.ahead[to]), 2 * np.pi)
        step = np.rint(off / self.width[to]).astype(np.intp) + _DIRECTIONS // 2
        order = np.lexsort((before, -cost))  # the cheapest is written last
        order = order[(step[order] >= 0) & (step[order] < _DIRECTIONS)]
        place, step = to[order], step[order]
        best = np.full(self.cost.shape, -1)
        best[place, step] = order
        place, step = np.nonzero(best >= 0)
        chosen = best[place, step]
        better = cost[chosen] < self.cost[place, step]
        place, step, chosen = place[better], step[better], chosen[better]
        self.cost[place, step], self.angle[place, step] = cost[chosen], angle[chosen]
        self.before[place, step], self.bulge[place, step] = before[chosen], bulges[chosen]
        self.line[place, step], self.stub[place, step] = straight, False

    def way(self) -> Way | None:
        """Return the cheapest way to the last place."""
        step = int(np.argmin(self.cost[-1]))
        if not np.isfinite(self.cost[-1, step]):
            return None
        way = [(len(self.cost) - 1, step)]
        while way[-1][0] > 0:
            place, step = divmod(int(self.before[way[-1]]), _DIRECTIONS)
            way.append((place, step))
        way.reverse()
        place, step = np.array(way[1:]).T
        stub = self.stub[place, step]
        smooth = ~(stub | np.concatenate([[True], stub[:-1]]))
        return Way(np.array([at for at, _ in way]), self.bulge[place, step], self.line[place, step], smooth)
