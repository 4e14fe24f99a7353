"""One ring laid on another without changing its size: turned, moved, and if asked turned over."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.rings import area_and_centroid
from ..records import FloatArray
from ..steady import as_complex, least_squares, product

ComplexArray = npt.NDArray[np.complex128]
_POINTS = 1024  # evenly along each ring
_FEW = 96  # of them for a first look
_WORTH = 2.0  # times the least deviation of a first look: what is looked at again
_LIKELY = 0.97  # of the best match, for a closer look
_MOST_TRIED = 12  # turns, the likeliest first
_SETTLING = 12  # rounds at most
_SETTLED_MM = 1e-6  # below anything that is told
_SAME = 1.05  # of the least deviation: turns that fit no worse are equal, and the least one is taken


@dataclass(frozen=True, slots=True)
class Placement:
    """How a ring is moved onto another: p -> turn by `turn_rad` (after mirroring x if turned over) and shift."""

    turn_rad: float  # counter-clockwise, -pi to pi
    shift_mm: tuple[float, float]
    over: bool = False
    rms_mm: float = 0.0  # distance of the moved ring from the other

    def moved(self, points_mm: FloatArray) -> FloatArray:
        """Return points (N, 2) where they come to lie."""
        w = as_complex(points_mm)
        w = (-np.conj(w) if self.over else w) * np.exp(1j * self.turn_rad) + complex(*self.shift_mm)
        return np.column_stack([w.real, w.imag])


def align(fixed: FloatArray, moving: FloatArray, *, over: bool = False, near: Placement | None = None) -> Placement:
    """Lay a ring on another of about its shape: least squares of the distances, without scale.

    Points evenly spaced along both rings are complex numbers; their cyclic correlation has a peak where the one fits
    the other, and its phase is the turn. Each likely turn is refined on few points by Gauss-Newton steps on the
    distances to the nearest side, those that fit best on all of them, and the least deviation wins; of turns that fit
    alike, as of a symmetric shape, the least turn.

    Parameters
    ----------
    fixed, moving
        (N, 2), mm, closed, both counter-clockwise.
    over
        Whether the moving one is turned over first.
    near
        A placement that is already nearly right: nothing else is tried then, and `over` is as in it.
    """
    over = over if near is None else near.over
    held = moving[::-1] * (-1.0, 1.0) if over else moving
    start = area_and_centroid(held)[1]
    onto = _Onto(fixed)
    if near is None:
        centre = area_and_centroid(fixed)[1]
        few = evenly(held, _FEW) - start
        turns = _likely_turns(_even(fixed - centre), _even(held - start))
        tried = [_refined(onto, few, _Pose(turn, centre)) for turn in turns]
        least = min(one.rms_mm for one in tried)
        begin = [one for one in tried if one.rms_mm <= _WORTH * least + _SETTLED_MM]
    else:
        begin = [_Pose(near.turn_rad, _turned(start[None, :], near.turn_rad)[0] + near.shift_mm)]
    points = evenly(held, _POINTS) - start
    found = [_refined(onto, points, one) for one in begin]
    least = min(one.rms_mm for one in found)
    best = min((one for one in found if one.rms_mm <= _SAME * least + 1e-9), key=lambda one: abs(_wrapped(one.turn)))
    shift = best.at - _turned(start[None, :], best.turn)[0]
    return Placement(_wrapped(best.turn), (float(shift[0]), float(shift[1])), over, best.rms_mm)


@dataclass(frozen=True, slots=True)
class _Pose:
    """A turn about the moving ring's middle, and where that middle comes to lie."""

    turn: float
    at: FloatArray  # (2,)
    rms_mm: float = 0.0


def signed_distances(ring: FloatArray, points: FloatArray) -> FloatArray:
    """Return how far points (M, 2) lie outside a ring (N, 2), inside negative; exact to its sides."""
    import shapely

    away = shapely.distance(shapely.linearrings(ring), shapely.points(points))
    inside = shapely.contains_xy(shapely.polygons(ring), points)
    return np.where(inside, -away, away)


def evenly(ring: FloatArray, count: int) -> FloatArray:
    """Return `count` points (count, 2) evenly spaced along a closed ring, the first one its first."""
    w = _even_w(as_complex(ring), count)
    return np.column_stack([w.real, w.imag])


def _likely_turns(one: ComplexArray, other: ComplexArray) -> list[float]:
    match = np.fft.ifft(np.fft.fft(one) * np.conj(np.fft.fft(other)))
    size = np.abs(match)
    peaks = np.flatnonzero((size >= np.roll(size, 1)) & (size > np.roll(size, -1)) & (size >= _LIKELY * size.max()))
    best = (
        peaks[np.argsort(-size[peaks], kind="stable")][:_MOST_TRIED] if len(peaks) else np.array([int(np.argmax(size))])
    )
    return [float(np.angle(match[k])) for k in best]


def _refined(onto: _Onto, points: FloatArray, pose: _Pose) -> _Pose:
    """Return the pose near one at which points (M, 2) about the middle lie closest, by Gauss-Newton steps."""
    turn, at = pose.turn, pose.at
    for _ in range(_SETTLING):
        placed = _turned(points, turn) + at
        feet, normals = onto.feet(placed)
        off = np.sum((placed - feet) * normals, axis=1)
        arm = placed - at
        slopes = np.column_stack([normals, arm[:, 0] * normals[:, 1] - arm[:, 1] * normals[:, 0]])
        step = least_squares(slopes, -off)
        at, turn = at + step[:2], turn + float(step[2])
        if np.abs(step[:2]).max() < _SETTLED_MM:
            break
    placed = _turned(points, turn) + at
    return _Pose(turn, at, float(np.sqrt(np.mean(np.sum((placed - onto.feet(placed)[0]) ** 2, axis=1)))))


class _Onto:
    """A ring and how to find the nearest places on it."""

    def __init__(self, ring: FloatArray) -> None:
        import shapely

        ends = np.roll(ring, -1, axis=0)
        self._tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([ring, ends], axis=1))))
        self._start, self._side = ring, ends - ring
        self._length2 = np.maximum(np.sum(self._side**2, axis=1), 1e-30)

    def feet(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the nearest places (M, 2) of the ring and the unit normals of the sides they are on."""
        import shapely

        asked, found = self._tree.query_nearest(shapely.points(points), all_matches=False)
        which = np.empty(len(points), dtype=np.intp)
        which[asked] = found
        start, side, length2 = self._start[which], self._side[which], self._length2[which]
        share = np.clip(np.sum((points - start) * side, axis=1) / length2, 0, 1)
        normals = np.column_stack([side[:, 1], -side[:, 0]]) / np.sqrt(length2)[:, None]
        return start + share[:, None] * side, normals


def _turned(points: FloatArray, turn: float) -> FloatArray:
    cos, sin = math.cos(turn), math.sin(turn)
    return np.asarray(product(points, np.array([[cos, sin], [-sin, cos]])))


def _even(ring: FloatArray) -> ComplexArray:
    return _even_w(as_complex(ring), _POINTS)


def _even_w(w: ComplexArray, count: int) -> ComplexArray:
    closed = np.append(w, w[0])
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(closed)))])
    places = np.arange(count) * along[-1] / count
    return np.asarray(np.interp(places, along, closed.real) + 1j * np.interp(places, along, closed.imag))


def _wrapped(turn: float) -> float:
    return (turn + math.pi) % math.tau - math.pi
