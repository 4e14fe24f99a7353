"""One ring laid on another without changing its size: turned, moved, and if asked turned over."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.rings import area_and_centroid
from ..records import FloatArray

ComplexArray = npt.NDArray[np.complex128]
_POINTS = 1024  # evenly along each ring
_LIKELY = 0.97  # of the best match, for a closer look
_MOST_TRIED = 12
_SETTLING = 12
_SETTLED_MM = 1e-7
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
        w = points_mm @ np.array([1, 1j])
        w = (-np.conj(w) if self.over else w) * np.exp(1j * self.turn_rad) + complex(*self.shift_mm)
        return np.column_stack([w.real, w.imag])


def align(fixed: FloatArray, moving: FloatArray, *, over: bool = False) -> Placement:
    """Lay a ring on another of about its shape: least squares of the distances, without scale.

    Points evenly spaced along both rings are complex numbers; their cyclic correlation has a peak where the one fits
    the other, and its phase is the turn. Each likely turn is refined by Gauss-Newton steps on the distances to the
    nearest side, and the least deviation wins; of turns that fit alike, as of a symmetric shape, the least turn.

    Parameters
    ----------
    fixed, moving
        (N, 2), mm, closed, both counter-clockwise.
    over
        Whether the moving one is turned over first.
    """
    held = moving[::-1] * (-1.0, 1.0) if over else moving
    centre, start = area_and_centroid(fixed)[1], area_and_centroid(held)[1]
    one, other = _even(fixed - centre), _even(held - start)
    found = [_refined(fixed, held, centre, start, turn) for turn in _likely_turns(one, other)]
    least = min(rms for _, _, rms in found)
    turn, shift, rms = min((f for f in found if f[2] <= _SAME * least + 1e-9), key=lambda f: abs(_wrapped(f[0])))
    return Placement(_wrapped(turn), (float(shift[0]), float(shift[1])), over, rms)


def signed_distances(ring: FloatArray, points: FloatArray) -> FloatArray:
    """Return how far points (M, 2) lie outside a ring (N, 2), inside negative; exact to its sides."""
    import shapely

    away = shapely.distance(shapely.linearrings(ring), shapely.points(points))
    inside = shapely.contains_xy(shapely.polygons(ring), points)
    return np.where(inside, -away, away)


def evenly(ring: FloatArray, count: int) -> FloatArray:
    """Return `count` points (count, 2) evenly spaced along a closed ring, the first one its first."""
    w = _even_w(ring @ np.array([1, 1j]), count)
    return np.column_stack([w.real, w.imag])


def _likely_turns(one: ComplexArray, other: ComplexArray) -> list[float]:
    match = np.fft.ifft(np.fft.fft(one) * np.conj(np.fft.fft(other)))
    size = np.abs(match)
    peaks = np.flatnonzero((size >= np.roll(size, 1)) & (size > np.roll(size, -1)) & (size >= _LIKELY * size.max()))
    best = peaks[np.argsort(-size[peaks])][:_MOST_TRIED] if len(peaks) else np.array([int(np.argmax(size))])
    return [float(np.angle(match[k])) for k in best]


def _refined(
    fixed: FloatArray, moving: FloatArray, centre: FloatArray, start: FloatArray, turn: float
) -> tuple[float, FloatArray, float]:
    """Return turn, shift (2,) and root mean square distance after Gauss-Newton steps from a turn about the middles."""
    points = evenly(moving, _POINTS) - start
    at = centre
    for _ in range(_SETTLING):
        placed = _turned(points, turn) + at
        feet, normals = _feet(fixed, placed)
        off = np.sum((placed - feet) * normals, axis=1)
        arm = placed - at
        slopes = np.column_stack([normals, arm[:, 0] * normals[:, 1] - arm[:, 1] * normals[:, 0]])
        step = np.linalg.lstsq(slopes, -off, rcond=None)[0]
        at, turn = at + step[:2], turn + float(step[2])
        if np.abs(step[:2]).max() < _SETTLED_MM:
            break
    placed = _turned(points, turn) + at
    feet, _ = _feet(fixed, placed)
    rms = float(np.sqrt(np.mean(np.sum((placed - feet) ** 2, axis=1))))
    return turn, at - _turned(start[None, :], turn)[0], rms


def _feet(ring: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the nearest places (M, 2) of a ring and the unit normals of the sides they are on."""
    import shapely

    ends = np.roll(ring, -1, axis=0)
    tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([ring, ends], axis=1))))
    asked, found = tree.query_nearest(shapely.points(points), all_matches=False)
    which = np.empty(len(points), dtype=np.intp)
    which[asked] = found
    side = (ends - ring)[which]
    length2 = np.maximum(np.sum(side**2, axis=1), 1e-30)
    share = np.clip(np.sum((points - ring[which]) * side, axis=1) / length2, 0, 1)
    normals = np.column_stack([side[:, 1], -side[:, 0]]) / np.sqrt(length2)[:, None]
    return ring[which] + share[:, None] * side, normals


def _turned(points: FloatArray, turn: float) -> FloatArray:
    cos, sin = math.cos(turn), math.sin(turn)
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _even(ring: FloatArray) -> ComplexArray:
    return _even_w(ring @ np.array([1, 1j]), _POINTS)


def _even_w(w: ComplexArray, count: int) -> ComplexArray:
    closed = np.append(w, w[0])
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(closed)))])
    places = np.arange(count) * along[-1] / count
    return np.asarray(np.interp(places, along, closed.real) + 1j * np.interp(places, along, closed.imag))


def _wrapped(turn: float) -> float:
    return (turn + math.pi) % math.tau - math.pi
