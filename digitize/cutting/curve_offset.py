"""Offsets by the curve: where an outline's lines and arcs are known, its offset is made of theirs.

The dense offset says what is left, in which order, and where about it meets; the places themselves are those where the
moved lines and arcs cross. What comes out is for `pocket.curve_of` to judge by the dense offset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..fitting.bulge import make_path
from ..fitting.distance import sampled_ring
from ..fitting.pieces import IntArray
from ..fitting.track import Track, crossings
from ..fitting.vast import vast_pieces
from ..records import Circle, Curve, FloatArray, Notch, Path
from .sources import Sources

_FLAT = np.radians(1)  # a joint that turns less is where the two pieces' offsets part by less than is worth a crossing
_BLUNT = np.radians(45)  # up to here the offsets of two pieces in turn cross near the bisector of their corner
_SHARP = (0.25, 0.5)  # tolerances: a corner sharp instead of round stands out by this, where it may be either
_SHORT = 5.0  # tolerances: a longer arc is never made a sharp corner
_FLICKER = 3.0  # tolerances: shorter than this, what lies within one piece belongs to it
_NEAR = 20.0  # tolerances: how far tracks may cross from where the dense offset turns, as at acute corners
_FAR = 4.0  # tolerances: places farther from the distance belong to nothing known
_PLACES = 4000  # of a ring, at least, unless they come nearer than two tolerances
_ROUNDS = 6  # of leaving out what would run backwards
_ONE_MM = 1e-6  # circles that are one


def offset_paths(
    sources: Sequence[Path],
    distance_mm: float,
    rings_mm: Sequence[FloatArray],
    *,
    tolerance_mm: float,
    notches: Sequence[Notch] = (),
    less_mm: float = 0.0,
) -> tuple[Path, ...]:
    """Return the lines and arcs at a distance to the right of known ones, as far as they follow dense rings.

    Each piece moves by the distance, arcs keeping their centres; corners that open become arcs, corners that close
    are where the pieces cross, as round joins have it. A corner whose arc would be within half the tolerance of a
    sharp one, and all alike, is sharp.

    Parameters
    ----------
    sources
        From `digitize.cutting.sources.directed`: exteriors counter-clockwise, holes clockwise.
    distance_mm
        Positive outward.
    rings_mm
        Rings of the dense offset, notches in it.
    tolerance_mm
        Sets what is short, near and sharp.
    notches, less_mm
        Round notches that are in the rings too, and by how much smaller all round.

    Returns
    -------
    tuple of Path
        One for each ring that could be made of what is known, in the rings' order; rings that could not are left out.
    """
    if not sources:
        return ()
    scene = _Scene(Sources(tuple(sources)), distance_mm, tuple(notches), less_mm, tolerance_mm)
    found = (scene.path_along(ring) for ring in rings_mm)
    return tuple(path for path in found if path is not None)


def as_curve(path: Path) -> Curve:
    """Return a path, or the circle that all its arcs are of."""
    ends = np.roll(path.points_mm, -1, axis=0)
    if not (path.bulges != 0).all() or len({*np.sign(path.bulges).tolist()}) > 1:
        return path
    start, end = (one[:, 0] + 1j * one[:, 1] for one in (path.points_mm, ends))
    centres = (start + end) / 2 + 1j * (end - start) * (1 - path.bulges**2) / (4 * path.bulges)
    radii = np.abs(start - centres)
    if np.abs(centres - centres[0]).max() > _ONE_MM or np.ptp(radii) > _ONE_MM:
        return path
    return Circle((float(centres[0].real), float(centres[0].imag)), float(radii[0]))


@dataclass(frozen=True, slots=True)
class _Run:
    """A stretch of a dense ring that belongs to one track."""

    owner: int  # 2 j vertex j, 2 j + 1 piece j, -1 - k notch k
    first: complex
    last: complex
    length: float  # mm


@dataclass(frozen=True, slots=True)
class _Scene:
    """Known paths, and how they are moved."""

    sources: Sources
    distance: float
    notches: tuple[Notch, ...]
    less: float
    tolerance: float

    def path_along(self, ring: FloatArray) -> Path | None:
        """Return the path of moved pieces that follows a dense ring."""
        length = float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())
        step = max(length / _PLACES, 2 * self.tolerance)
        dense = _thinned(sampled_ring(ring, step), self.tolerance)
        places = dense[:, 0] + 1j * dense[:, 1]
        owners = self._owners(places)
        if owners is None:
            return None
        sharp = self._sharp()
        for left_out in (sharp, frozenset[int]()) if sharp else (sharp,):
            path = self._joined(_runs(places, owners), set(left_out))
            if path is not None:
                return path
        return None

    def _owners(self, places: FloatArray) -> IntArray | None:
        """Return what each place of a ring belongs to; None where some belong to nothing known."""
        owner, away = self.sources.owners(places)
        off = np.abs(away - abs(self.distance))
        for number, notch in enumerate(self.notches):
            from_notch = np.abs(np.abs(places - complex(*notch.centre_mm)) - notch.width_mm / 2 + self.less)
            owner = np.where(from_notch < off, -1 - number, owner)
            off = np.minimum(off, from_notch)
        return owner if off.max() <= _FAR * self.tolerance else None

    def _track(self, owner: int) -> Track | None:
        if owner < 0:
            notch = self.notches[-1 - owner]
            return Track(complex(*notch.centre_mm), 0j, notch.width_mm / 2 - self.less, 1)
        number, is_piece = divmod(owner, 2)
        if is_piece:
            return self.sources.track(number, self.distance)
        if self.distance == 0 or self.sources.kink[number] * self.distance <= 0:
            return None
        return self.sources.around(number, self.distance)

    def _sharp(self) -> frozenset[int]:
        """Return the owners whose arcs give way to a sharp corner: short, and hardly off it."""
        one = self.sources
        turn = np.concatenate([one.kink, 4 * np.arctan(one.bulge)])
        middle = np.where(one.bulge == 0, 1.0, one.bulge)
        own = np.abs(one.end - one.start) * (1 + middle**2) / (4 * np.abs(middle))
        moved = np.where(one.bulge == 0, 0.0, own + np.sign(one.bulge) * self.distance)
        radius = np.concatenate([np.full(len(one.kink), abs(self.distance)), np.maximum(moved, 0.0)])
        short = radius * np.abs(turn) <= _SHORT * self.tolerance
        out = radius * (1 / np.cos(np.minimum(np.abs(turn), 3.0) / 2) - 1)
        low, high = _SHARP[0] * self.tolerance, _SHARP[1] * self.tolerance
        between = np.sort(np.concatenate([[low], out[short & (out > low) & (out < high)], [high]]))
        limit = between[int(np.argmax(np.diff(between)))]  # like corners are not parted
        chosen = np.flatnonzero(short & (out <= limit) & (radius > 0) & (turn != 0))
        count = len(one.kink)
        return frozenset(int(2 * k if k < count else 2 * (k - count) + 1) for k in chosen)

    def _joined(self, runs: list[_Run], left_out: set[int]) -> Path | None:
        """Return the tracks of runs joined where they cross, without those that would run backwards."""
        for _ in range(_ROUNDS):
            kept = _merged(runs, left_out, _FLICKER * self.tolerance)
            known = [self._track(run.owner) for run in kept]
            lost = {run.owner for run, track in zip(kept, known, strict=True) if track is None}
            if lost:
                left_out |= lost
                continue
            tracks = [track for track in known if track is not None]
            if len(tracks) < 2:
                return None
            joints = [self._joint(kept[k - 1], tracks[k - 1], kept[k], tracks[k]) for k in range(len(kept))]
            starts = [joint for joint in joints if joint is not None]
            if len(starts) < len(joints):
                return None
            ends = [*starts[1:], starts[0]]
            back = {
                run.owner
                for run, track, start, end in zip(kept, tracks, starts, ends, strict=True)
                if not self._forward(run, track.length(start, end))
            }
            if not back:
                return _path(tracks, starts, ends)
            left_out |= back
        return None

    def _forward(self, run: _Run, length: float) -> bool:
        return 0 < length <= 3 * run.length + 2 * _NEAR * self.tolerance

    def _joint(self, before: _Run, one: Track, after: _Run, other: Track) -> complex | None:
        """Return where the path passes from one track to the next."""
        here, d = self.sources, self.distance
        turned = (before.last + after.first) / 2
        near = _NEAR * self.tolerance
        piece, vertex = before.owner // 2, after.owner // 2
        if before.owner >= 0 and before.owner % 2 and after.owner == 2 * int(here.following[piece]):
            return complex(here.start[vertex] - 1j * d * here.arriving[piece])
        if before.owner >= 0 and before.owner % 2 == 0 and after.owner == before.owner + 1:
            return complex(here.start[piece] - 1j * d * here.leaving[piece])
        apex = self._apex(before.owner, after.owner)
        if apex is not None and abs(apex[1]) < _FLAT:
            return apex[0]
        aim = turned if apex is None else apex[0]
        places = [place for place in crossings(one, other) if abs(place - aim) <= near]
        if places:
            return min(places, key=lambda place: abs(place - aim))
        return None if apex is None else apex[0]

    def _apex(self, before: int, after: int) -> tuple[complex, float] | None:
        """Return where the tangents of two pieces in turn cross once moved, and the turn there; None if they do not."""
        if before < 0 or after < 0 or not before % 2 or not after % 2:
            return None
        here, vertex = self.sources, after // 2
        if int(here.following[before // 2]) != vertex or abs(here.kink[vertex]) > _BLUNT:
            return None
        one, other = here.arriving[before // 2], here.leaving[vertex]
        across = -1j * (one + other) / (1 + (one.conjugate() * other).real)
        return complex(here.start[vertex] + self.distance * across), float(here.kink[vertex])


def _thinned(ring: FloatArray, step: float) -> FloatArray:
    """Return the first of a ring's points in each step along it."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    return ring[np.unique(np.floor(along / step), return_index=True)[1]]


def _path(tracks: list[Track], starts: list[complex], ends: list[complex]) -> Path | None:
    bulges = np.array([track.bulge(*ways) for track, *ways in zip(tracks, starts, ends, strict=True)])
    points = np.array([[place.real, place.imag] for place in starts])
    chords = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    return None if vast_pieces(chords, bulges).any() else make_path(points, bulges)


def _runs(places: FloatArray, owners: IntArray) -> list[_Run]:
    """Return the stretches of a ring, around it, each of one owner."""
    first = np.flatnonzero(owners != np.roll(owners, 1))
    if not len(first):
        first = np.zeros(1, dtype=np.intp)
    sides = np.concatenate([[0.0], np.cumsum(np.abs(np.roll(places, -1) - places))])
    ends = [*(first[1:] - 1).tolist(), first[0] - 1]
    found = []
    for low, high in zip(first.tolist(), ends, strict=True):
        length = sides[high] - sides[low] + (sides[-1] if high < low else 0.0)
        found.append(_Run(int(owners[low]), complex(places[low]), complex(places[high]), float(length)))
    return found


def _merged(runs: list[_Run], left_out: set[int], flicker: float) -> list[_Run]:
    """Return the runs without those left out, neighbours of one owner as one, what flickers within one given to it."""
    kept = _united([run for run in runs if run.owner not in left_out])
    while len(kept) > 3:
        stray = next((k for k, run in enumerate(kept) if _strays(kept, k, flicker) and run.length < flicker), None)
        if stray is None:
            break
        kept = _united([*kept[:stray], *kept[stray + 1 :]])
    return kept


def _strays(runs: list[_Run], at: int, flicker: float) -> bool:
    return runs[at].length < flicker and runs[at - 1].owner == runs[(at + 1) % len(runs)].owner


def _united(runs: list[_Run]) -> list[_Run]:
    """Return runs with neighbours of one owner joined, also the last and the first."""
    found: list[_Run] = []
    for run in runs:
        if found and found[-1].owner == run.owner:
            found[-1] = _both(found[-1], run)
        else:
            found.append(run)
    if len(found) > 1 and found[0].owner == found[-1].owner:
        found[0] = _both(found.pop(), found[0])
    return found


def _both(before: _Run, after: _Run) -> _Run:
    between = abs(after.first - before.last)
    return _Run(before.owner, before.first, after.last, before.length + between + after.length)
