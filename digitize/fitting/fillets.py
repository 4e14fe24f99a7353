"""Arcs that take vertices off, tangent to both pieces: the one nearest to the ring at each of many vertices at once.

Places and directions are complex numbers, x + iy, in mm, as in `track`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..records import BoolArray, FloatArray
from ..steady import as_complex
from .draft import Draft, counts_of
from .pieces import IntArray
from .vast import MOST_RADIUS_MM

ComplexArray = npt.NDArray[np.complex128]

LEAST_RADIUS_MM = 0.2  # of an arc put in: about the least that a beam or a small cutter makes; common practice
DOUBTFUL = np.radians(5)  # a joint that turns less is no corner, unless two lines meet there
_REACH = 0.45  # of the neighbours: how much of each an arc may take
_TRIED = 8  # radii, each half of the one before


@dataclass(frozen=True, slots=True)
class Fillet:
    """An arc tangent to two neighbouring pieces."""

    at: int  # the vertex it takes off
    centre: complex
    start: complex
    end: complex
    bulge: float
    first: int  # index of the ring where it begins, not modulo its size
    last: int


def nearest_fillets(draft: Draft, ring: FloatArray, limit_mm: FloatArray, at: IntArray) -> dict[int, Fillet | None]:
    """Return the arc nearest to the ring at each vertex; None where the vertex itself is nearer, as at a corner."""
    if not len(at):
        return {}
    joints, near = _Joints.of(draft, at), _Near.of(draft, ring, limit_mm, at)
    away = (near.points - joints.vertex[near.joint]) / joints.ahead[near.joint]
    into, out = joints.into.distances(near.points, near.joint), joints.out.distances(near.points, near.joint)
    off = np.where(away.real < 0, into, out)
    square, worst = near.sums(off)
    arcs = _Arcs.of(joints)
    pair, radius = np.nonzero(arcs.valid)
    if not len(pair):
        return dict.fromkeys(at.tolist())
    point, which = near.repeated(pair)
    start, end, centre = (one[pair, radius] for one in (arcs.start, arcs.end, arcs.centre))
    begin, stop = (((one - joints.vertex[pair]) / joints.ahead[pair]).real for one in (start, end))
    own = np.abs(np.abs(near.points[point] - centre[which]) - np.abs(start - centre)[which])
    along = away.real[point]
    off = np.where(along < begin[which], into[point], np.where(along > stop[which], out[point], own))
    first = np.searchsorted(which, np.arange(len(pair)))
    cost = np.add.reduceat(off * off, first)
    far = np.maximum.reduceat(off / near.limits[point], first)
    bound = np.where(np.abs(joints.kink) > DOUBTFUL, square, np.inf)
    cost[(cost > bound[pair]) | (far > np.maximum(1.0, worst)[pair])] = np.inf
    found: dict[int, Fillet | None] = dict.fromkeys(at.tolist())
    for joint in np.unique(pair[np.isfinite(cost)]).tolist():
        mine = np.flatnonzero(pair == joint)
        best = mine[int(np.argmin(cost[mine]))]
        found[int(at[joint])] = near.fillet(
            joint,
            int(at[joint]),
            complex(centre[best]),
            complex(start[best]),
            complex(end[best]),
            float(arcs.bulge[joint, radius[best]]),
        )
    return found


@dataclass(frozen=True, slots=True)
class _Tracks:
    """What lines and arcs run on, (J,) each, as `track.Track` has it."""

    place: ComplexArray
    ahead: ComplexArray
    radius: FloatArray
    turn: FloatArray

    @classmethod
    def of(cls, start: ComplexArray, end: ComplexArray, bulge: FloatArray) -> _Tracks:
        """Return what lines and arcs run on."""
        chord, line = end - start, bulge == 0
        bent = np.where(line, 1.0, bulge)
        centre = (start + end) / 2 + 1j * chord * (1 - bent**2) / (4 * bent)
        place: ComplexArray = np.where(line, start, centre).astype(np.complex128)
        ahead: ComplexArray = (chord / np.abs(chord) * line).astype(np.complex128)
        return cls(place, ahead, np.where(line, 0.0, np.abs(start - centre)), np.sign(bulge))

    def beside(self, distance: FloatArray) -> _Tracks:
        """Return the tracks to the left by distances (J, R); the radius is not positive where a circle vanishes."""
        turn, ahead = self.turn[:, None], self.ahead[:, None]
        radii = np.where(turn == 0, 1.0, self.radius[:, None] - turn * distance)
        place = self.place[:, None] + 1j * distance * ahead
        return _Tracks(place, ahead + 0 * radii, radii, turn + 0 * radii)

    def feet(self, places: ComplexArray) -> ComplexArray:
        """Return the places (J, R) of the tracks that are nearest to other places (J, R)."""
        place, ahead, radius, turn = (one[:, None] for one in (self.place, self.ahead, self.radius, self.turn))
        away = places - place
        on_line = place + (away * ahead.conjugate()).real * ahead
        return np.asarray(np.where(turn == 0, on_line, place + radius * away / np.abs(away)))

    def distances(self, points: ComplexArray, which: IntArray) -> FloatArray:
        """Return the distances of points (N,), each from one of the tracks."""
        away = points - self.place[which]
        on_line = np.abs((away * self.ahead[which].conjugate()).imag)
        return np.asarray(np.where(self.turn[which] == 0, on_line, np.abs(np.abs(away) - self.radius[which])))


def _crossings(one: _Tracks, other: _Tracks) -> ComplexArray:
    """Return the places (2, J, R) where tracks cross; not finite where they do not, one twice where lines do."""
    lines = (one.turn == 0) & (other.turn == 0)
    sine = (one.ahead.conjugate() * other.ahead).imag
    share = ((other.place - one.place).conjugate() * other.ahead).imag / np.where(np.abs(sine) < 1e-9, np.nan, sine)
    of_lines = one.place + share * one.ahead
    found = np.where(lines, of_lines, np.nan)[None].repeat(2, axis=0)
    for line, circle in ((one, other), (other, one)):
        mixed = (line.turn == 0) & (circle.turn != 0)
        away = (circle.place - line.place) * line.ahead.conjugate()
        half = np.sqrt(circle.radius**2 - away.imag**2)
        found = np.where(mixed, [line.place + (away.real + step) * line.ahead for step in (-half, half)], found)
    circles = (one.turn != 0) & (other.turn != 0)
    between = other.place - one.place
    far = np.where(np.abs(between) < 1e-9, np.nan, np.abs(between))
    along = (far**2 + one.radius**2 - other.radius**2) / (2 * far)
    half = np.sqrt(one.radius**2 - along**2)
    crossed = [one.place + (along + 1j * step) * between / far for step in (-half, half)]
    return np.asarray(np.where(circles, crossed, found))


@dataclass(frozen=True, slots=True)
class _Joints:
    """Vertices, and what runs into them and out of them, (J,) each."""

    vertex: ComplexArray
    into: _Tracks
    out: _Tracks
    ahead: ComplexArray  # half-way between the directions in which the path reaches and leaves the vertex
    kink: FloatArray
    room: FloatArray  # how far an arc may reach to either side

    @classmethod
    def of(cls, draft: Draft, at: IntArray) -> _Joints:
        """Look at some vertices of a draft."""
        vertices = as_complex(draft.vertices)
        last, following = at - 1, (at + 1) % len(vertices)
        before, vertex, after = vertices[last], vertices[at], vertices[following]
        reach = np.exp(1j * (np.angle(vertex - before) + 2 * np.arctan(draft.bulges[last])))
        leave = np.exp(1j * (np.angle(after - vertex) - 2 * np.arctan(draft.bulges[at])))
        return cls(
            vertex,
            _Tracks.of(before, vertex, draft.bulges[last]),
            _Tracks.of(vertex, after, draft.bulges[at]),
            (reach + leave) / np.abs(reach + leave),
            draft.kinks[at],
            _REACH * np.minimum(draft.lengths[last], draft.lengths[at]),
        )


@dataclass(frozen=True, slots=True)
class _Arcs:
    """Arcs of several radii that touch both pieces at each vertex, (J, R) each."""

    valid: BoolArray
    centre: ComplexArray
    start: ComplexArray
    end: ComplexArray
    bulge: FloatArray

    @classmethod
    def of(cls, joints: _Joints) -> _Arcs:
        """Return those for which there is room."""
        with np.errstate(divide="ignore", invalid="ignore"):
            most = np.minimum(2 * joints.room / np.abs(joints.kink), MOST_RADIUS_MM)
            radii = most[:, None] / 2.0 ** np.arange(_TRIED)
            side = np.where(joints.kink > 0, 1.0, -1.0)[:, None]
            vertex, ahead, room = joints.vertex[:, None], joints.ahead[:, None], joints.room[:, None]
            one, other = joints.into.beside(side * radii), joints.out.beside(side * radii)
            places = _crossings(one, other)
            inside = ((places - vertex) / ahead).imag * side > 0
            far = np.where(inside, np.abs(places - vertex), np.inf)
            centre = np.where(far[0] <= far[1], places[0], places[1])
            start, end = joints.into.feet(centre), joints.out.feet(centre)
            begin, stop = (((place - vertex) / ahead).real for place in (start, end))
            bulge = side * np.tan(side * np.angle((end - centre) / (start - centre)) % (2 * np.pi) / 4)
        valid = (radii >= LEAST_RADIUS_MM) & (one.radius > 0) & (other.radius > 0) & np.isfinite(far.min(axis=0))
        valid &= (-room <= begin) & (begin < 0) & (stop > 0) & (stop <= room) & (np.abs(bulge) < 1)
        return cls(valid, centre, start, end, bulge)


@dataclass(frozen=True, slots=True)
class _Near:
    """The points of the ring about each vertex: half of either neighbour's."""

    index: IntArray  # (N,) of the points, not modulo the ring's size
    joint: IntArray  # (N,) which vertex each is near
    first: IntArray  # (J,) where those of each begin
    sizes: IntArray  # (J,)
    points: ComplexArray
    limits: FloatArray

    @classmethod
    def of(cls, draft: Draft, ring: FloatArray, limit_mm: FloatArray, at: IntArray) -> _Near:
        """Look at some vertices of a draft."""
        half = counts_of(draft, len(ring)) // 2
        low, sizes = draft.breaks[at] - half[at - 1], half[at - 1] + half[at] + 1
        first = np.cumsum(sizes) - sizes
        index = np.arange(int(sizes.sum())) + np.repeat(low - first, sizes)
        around = index % len(ring)
        joint = np.repeat(np.arange(len(at)), sizes)
        return cls(index, joint, first, sizes, as_complex(ring[around]), limit_mm[around])

    def sums(self, off: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return for each vertex the sum of squares of its points' distances, and the largest in units of the limit."""
        return np.add.reduceat(off * off, self.first), np.maximum.reduceat(off / self.limits, self.first)

    def repeated(self, joints: IntArray) -> tuple[IntArray, IntArray]:
        """Return the points near vertices, some of them several times, and at which place in `joints` each stands."""
        sizes = self.sizes[joints]
        first = np.cumsum(sizes) - sizes
        return np.arange(int(sizes.sum())) + np.repeat(self.first[joints] - first, sizes), np.repeat(
            np.arange(len(joints)), sizes
        )

    def fillet(self, joint: int, at: int, centre: complex, start: complex, end: complex, bulge: float) -> Fillet:
        """Return an arc, with where it begins and ends along the ring."""
        part = slice(self.first[joint], self.first[joint] + self.sizes[joint])
        first, last = (int(self.index[part][np.argmin(np.abs(self.points[part] - place))]) for place in (start, end))
        return Fillet(at, centre, start, end, bulge, first, max(last, first + 1))
