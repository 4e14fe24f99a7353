"""A closed path under way: its pieces, the points each answers for, and how far they lie off.

For a point u along the chord from its start and v to its left, with chord length L and bulge b:
H = 2 b (u^2 + v^2 - L u) - (1 - b^2) L v vanishes on the circle (and on the line, b = 0), and with
m = 1 + b^2 the distance to the right of the piece is 2 H / (L (m + sqrt(m^2 + 8 b H / L^2))).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self, TypeVar

import numpy as np
import numpy.typing as npt

from ..measure.rings import rolled
from ..records import BoolArray, FloatArray, Path
from .bulge import make_path
from .pieces import IntArray

Scalar = TypeVar("Scalar", bound=np.generic)
AnyDraft = TypeVar("AnyDraft", bound="Draft")

_MOST_STEP = 0.3  # of the shorter piece beside it, that a vertex moves at a time
_MOST_BULGE = 12.0  # an arc of 341 degrees
_OFFSETS = "offsets"  # where those of a draft are kept, with the ring that they are of
KNOWN = ("chords", "lengths", "directions", "kinks")  # of a path, once it was asked for


@dataclass(frozen=True)
class Draft:
    """A path under way, with the points of the ring each piece answers for.

    What follows from its vertices and bulges is worked out once.
    """

    vertices: FloatArray  # (K, 2)
    bulges: FloatArray  # (K,)
    breaks: IntArray  # (K,) ascending, modulo N; piece k answers for the points breaks[k] ... breaks[k + 1] - 1
    straight: BoolArray  # (K,) bulge held at 0
    smooth: BoolArray  # (K,) vertex k held tangent
    fixed: BoolArray  # (K,) break k is a corner of the ring and stays

    def path(self) -> Path:
        """Return the path as it stands."""
        return make_path(self.vertices, self.bulges)

    @cached_property
    def chords(self) -> FloatArray:
        """The way from each vertex to the next, (K, 2)."""
        return np.asarray(self.after(self.vertices) - self.vertices)

    @cached_property
    def lengths(self) -> FloatArray:
        """Of the chords, (K,) mm."""
        return np.asarray(np.hypot(self.chords[:, 0], self.chords[:, 1]))

    @cached_property
    def directions(self) -> tuple[FloatArray, FloatArray]:
        """In which the path reaches each vertex and leaves it, (K,) radians each."""
        half = 2.0 * np.arctan(self.bulges)
        angle = np.arctan2(self.chords[:, 1], self.chords[:, 0])
        return self.before(angle + half), angle - half

    @cached_property
    def kinks(self) -> FloatArray:
        """The turn at each vertex, (K,), radians in (-pi, pi]."""
        arrive, leave = self.directions
        return np.asarray(np.pi - np.mod(np.pi - (leave - arrive), 2 * np.pi))

    def after(self, values: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
        """Return the values (K, ...) of pieces or vertices each replaced by the next one around."""
        return following(values)

    def before(self, values: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
        """Return the values (K, ...) of pieces or vertices each replaced by the one before."""
        return preceding(values)

    def with_breaks(self, breaks: IntArray) -> Self:
        """Return the same path with other breaks; what is known of it stays known."""
        made = replace(self, breaks=breaks)
        for name in KNOWN:
            if name in self.__dict__:
                made.__dict__[name] = self.__dict__[name]
        return made


def first_draft(ring: FloatArray, breaks: IntArray, corners: tuple[int, ...]) -> Draft:
    """Return a draft through the ring's points at the breaks and half-way between."""
    count = len(breaks)
    lengths = np.diff(np.append(breaks, breaks[0] + len(ring)))
    middles = ring[(breaks + lengths // 2) % len(ring)]
    ends = rolled(ring[breaks], -1)
    chords, to_middle = ends - ring[breaks], middles - (ring[breaks] + ends) / 2
    square = np.maximum(np.sum(chords**2, axis=1), 1e-12)
    bulges = 2 * (chords[:, 1] * to_middle[:, 0] - chords[:, 0] * to_middle[:, 1]) / square
    straight = lengths < 4
    none = np.zeros(count, dtype=bool)
    return Draft(
        ring[breaks].copy(), np.where(straight, 0.0, bulges), breaks, straight, none, np.isin(breaks, np.array(corners))
    )


def shares_of(draft: Draft, points: int) -> tuple[IntArray, IntArray]:
    """Return the ring's indices (N,) as the path meets them, and how many of them each piece answers for (K,)."""
    first = int(draft.breaks[0]) % points
    index = np.concatenate((np.arange(first, points), np.arange(first)))
    return index, counts_of(draft, points)


def counts_of(draft: Draft, points: int) -> IntArray:
    """Return (K,) how many of a ring's points each piece answers for."""
    counts = following(draft.breaks)
    counts[-1] += points
    counts -= draft.breaks
    return counts


def in_sequence(draft: Draft, points: int) -> Draft:
    """Return the draft, no break of it before the one before: where a spike was cut off, neighbours' may have crossed.

    A piece that is passed over answers for no point.
    """
    if (counts_of(draft, points) >= 0).all():
        return draft
    return replace(draft, breaks=np.minimum(np.maximum.accumulate(draft.breaks), draft.breaks[0] + points))


def in_order(draft: Draft, values: FloatArray) -> FloatArray:
    """Return what belongs to the points of the ring (N,) or (N, 2) as the path meets them."""
    first = int(draft.breaks[0]) % len(values)
    return np.concatenate((values[first:], values[:first]))


def offsets(draft: Draft, ring: FloatArray) -> FloatArray:
    """Return (N,) the distance in mm of each point across its piece, positive to the right, as the path meets them."""
    known: tuple[FloatArray, FloatArray] | None = draft.__dict__.get(_OFFSETS)
    if known is not None and known[0] is ring:  # a draft is judged several times over
        return known[1]
    points = in_order(draft, ring)
    off = distance_of(local_of(draft, points[:, 0], points[:, 1], counts_of(draft, len(ring))))
    off.setflags(write=False)
    draft.__dict__[_OFFSETS] = (ring, off)
    return off


def following(values: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
    """Return the values (K, ...) each replaced by the next one around."""
    return np.concatenate((values[1:], values[:1]))


def preceding(values: npt.NDArray[Scalar]) -> npt.NDArray[Scalar]:
    """Return the values (K, ...) each replaced by the one before."""
    return np.concatenate((values[-1:], values[:-1]))


def chords_of(draft: Draft) -> FloatArray:
    """Return (K, 2) the way from each vertex to the next."""
    return draft.chords


def directions_of(draft: Draft) -> tuple[FloatArray, FloatArray]:
    """Return the directions (K,), radians, in which the path reaches each vertex and leaves it."""
    return draft.directions


def kinks_of(draft: Draft) -> FloatArray:
    """Return the turn (K,), radians in (-pi, pi], at each vertex."""
    return draft.kinks


@dataclass(frozen=True, slots=True)
class Local:
    """Points in the frames of their pieces, along the chord and to its left, and those pieces' figures.

    Each (N,), or with as many points of each piece (K, M) and (K, 1).
    """

    along: FloatArray
    across: FloatArray
    bulge: FloatArray
    length: FloatArray  # of the chord


def local_of(draft: Draft, x: FloatArray, y: FloatArray, counts: IntArray) -> Local:
    """Return points, in the order of the path, seen from the pieces that answer for `counts` (K,) of them in turn."""
    chords, length = draft.chords, np.maximum(draft.lengths, 1e-6)
    table = np.stack((*draft.vertices.T, *(chords / length[:, None]).T, draft.bulges, length))
    start_x, start_y, to_x, to_y, bulge, each = np.repeat(table, counts, axis=1)
    x, y = x - start_x, y - start_y
    return Local(x * to_x + y * to_y, y * to_x - x * to_y, bulge, each)


def local_each(draft: Draft, x: FloatArray, y: FloatArray) -> Local:
    """Return points (K, M), as many of each piece, seen from their pieces; the pieces' figures are (K, 1)."""
    chords, length = draft.chords, np.maximum(draft.lengths, 1e-6)
    to_x, to_y = (chords / length[:, None]).T[:, :, None]
    x, y = x - draft.vertices[:, :1], y - draft.vertices[:, 1:]
    return Local(x * to_x + y * to_y, y * to_x - x * to_y, draft.bulges[:, None], length[:, None])


def distance_of(seen: Local) -> FloatArray:
    """Return the distances of points across their pieces in mm, positive to the right."""
    b, length = seen.bulge, seen.length
    m = 1 + b * b
    value = seen.along - length  # step by step in place: of many points, arrays made anew take longer than sums
    value *= seen.along
    value += seen.across * seen.across
    value *= 2 * b
    value -= (1 - b * b) * length * seen.across
    root = 8 * b * value
    root /= length * length
    root += m * m
    np.maximum(root, 0.0, out=root)
    np.sqrt(root, out=root)
    root += m
    root *= length
    value *= 2
    value /= root
    return np.asarray(value)


def slopes_of(draft: Draft) -> FloatArray:
    """Return (K, 4, 5) the slopes of distances in start x, y, end x, y and sagitta, good near the curve.

    For a point at u along the chord and v to its left the slopes are (1, u, v, u^2 + v^2) times this matrix: the
    derivatives of H over L m, turned from the frame of the chord to that of the ring.
    """
    length = np.maximum(draft.lengths, 1e-6)
    ex, ey = draft.chords.T / length
    b = draft.bulges
    twice, k = 2 * b, 1 - b * b
    bx, by, kx, ky = twice * ex, twice * ey, k * ex, k * ey
    far, wide = twice * length, k * length
    slopes = np.zeros((len(b), 4, 5))
    slopes[:, 0, 0], slopes[:, 1, 0], slopes[:, 2, 0] = far * ex - wide * ey, ky - bx, kx + by  # start x
    slopes[:, 0, 1], slopes[:, 1, 1], slopes[:, 2, 1] = far * ey + wide * ex, -by - kx, ky - bx  # start y
    slopes[:, 1, 2], slopes[:, 2, 2] = -bx - ky, by - kx  # end x
    slopes[:, 1, 3], slopes[:, 2, 3] = kx - by, -ky - bx  # end y
    slopes[:, 1, 4], slopes[:, 2, 4], slopes[:, 3, 4] = -4.0, 4 * b, 4 / length  # sagitta
    slopes /= (length * (1 + b * b))[:, None, None]
    return slopes


def moved(draft: AnyDraft, step: FloatArray) -> AnyDraft:
    """Return the draft after a step (K, 3) in x, y and sagitta, cut short where it would turn a piece over."""
    length = draft.lengths
    bend = np.clip(step[:, 2] * 2 / np.maximum(length, 1e-9), -0.5, 0.5)
    far = np.hypot(step[:, 0], step[:, 1])
    limit = _MOST_STEP * np.minimum(length, draft.before(length))
    shift = step[:, :2] * np.minimum(1.0, limit / np.maximum(far, 1e-12))[:, None]
    bulges = np.where(draft.straight, 0.0, np.clip(draft.bulges + bend, -_MOST_BULGE, _MOST_BULGE))
    return replace(draft, vertices=draft.vertices + shift, bulges=bulges)
