"""The two sides of corners: curves fitted to stretches of edges, many at once, run on to where they meet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from ..measure.ragged import EndToEnd, IntArray
from ..records import BoolArray, FloatArray
from ..steady import product, pseudo_inverse

_LEADS_IN_PX = 0.15  # how far a measured place may lie off a side run on from farther away
_CLEAN_PX, _CLEAN_NOISES = 0.06, 1.2  # RMS of a side's places about it, up to which it is one
_AS_STRAIGHT, _STRAIGHT_PX = 1.25, 0.02  # times the bent line's RMS, or px: a straight line that is no worse serves
_BEYOND_PX, _BEYOND = 0.5, 2  # how far places may lie outside of a corner put back; so many farther: it is none
_LEAST_DETERMINANT, _ROUNDS, _SETTLED = 1e-4, 20, 1e-9


@dataclass(frozen=True, slots=True)
class Places:
    """The measured places of many closed edges."""

    rings: EndToEnd
    px: FloatArray  # (N, 2)

    def at(self, ring: IntArray, number: IntArray) -> FloatArray:
        """Places of those numbers, of any shape (Q, ...), in Q rings (Q,), counted on round each; (Q, ..., 2)."""
        shape = (len(ring),) + (1,) * (number.ndim - 1)
        start, size = self.rings.starts[ring].reshape(shape), self.rings.sizes[ring].reshape(shape)
        return self.px[start + number % size]


@dataclass(frozen=True, slots=True)
class Sides:
    """One side each of Q corners: a curve from a place of its ring on, in steps from there away from the corner."""

    ring: IntArray  # (Q,)
    curve: FloatArray  # (Q, 3, 2), coefficients of a quadratic in steps
    meeting: FloatArray  # (Q,) where the other side is met: below 0
    start: IntArray  # (Q,) the number of its first place
    toward: int  # 1 where the corner lies farther on round the ring, else -1

    def picked(self, which: IntArray | BoolArray) -> Sides:
        """Some of them."""
        return Sides(self.ring[which], self.curve[which], self.meeting[which], self.start[which], self.toward)


@cache
def _inverses(count: int) -> FloatArray:
    """Pseudo-inverses of a straight line's and of a quadratic's design on 0..N-1, (5, N)."""
    t = np.arange(count, dtype=np.float64)
    design = np.column_stack([np.ones_like(t), t, t**2])
    return np.concatenate([pseudo_inverse(design[:, :2]), pseudo_inverse(design)])


def side_curves(points: FloatArray, noise: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Quadratics (P, 3, 2) of P stretches (P, N, 2), in steps from each first point; straight where that serves.

    t = 0 there, and grows away from the corner. Also tells which of the stretches are clean, (P,), by the noise (P,).
    """
    limit = np.maximum(_CLEAN_PX, _CLEAN_NOISES * noise)
    line, curve = np.split(product(_inverses(points.shape[1]), points), [2], axis=1)
    x, y = (np.ascontiguousarray(points[..., k]) for k in (0, 1))
    rms_line, rms_curve = _rms_across(x, y, line), _rms_across(x, y, curve)
    straight = rms_line <= np.maximum(_AS_STRAIGHT * rms_curve, _STRAIGHT_PX)
    clean = np.where(straight, rms_line, rms_curve) < limit
    curve[straight, :2] = line[straight]
    curve[straight, 2] = 0.0
    return curve, clean


def _rms_across(x: FloatArray, y: FloatArray, curve: FloatArray) -> FloatArray:
    """How far places (P, N) lie off curves (P, 2 or 3, 2) across the directions at their starts, RMS; (P,)."""
    along = curve[:, 1]
    unit = along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None]
    normal = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    # seen across its direction at the start a quadratic is its bend alone
    start, *bend = ((curve[:, k] * normal).sum(axis=1)[:, None] for k in (0, 2)[: curve.shape[1] - 1])
    across = x * normal[:, :1] + y * normal[:, 1:] - start
    for one in bend:
        across -= one * np.arange(x.shape[1]) ** 2
    return np.asarray(np.sqrt(np.einsum("pn,pn->p", across, across) / x.shape[1]))


def evaluate(curve: FloatArray, t: FloatArray) -> FloatArray:
    """Places (..., T, 2) on curves (..., 3, 2) at steps (..., T)."""
    at = t[..., None]
    return np.asarray(curve[..., None, 0, :] + at * curve[..., None, 1, :] + at * at * curve[..., None, 2, :])


def directions(curve: FloatArray, t: FloatArray) -> FloatArray:
    """Unit directions (Q, 2) of growing t."""
    along = curve[:, 1] + 2 * t[:, None] * curve[:, 2]
    return np.asarray(along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None])


def meetings(first: FloatArray, second: FloatArray, farthest: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Steps (Q, 2) at which two curves each (Q, 3, 2), run on beyond their starts, meet; where (Q, 2); and whether.

    Newton's method from their ends; (Q,) `farthest` is about how far off that may be.
    """
    count = len(first)
    steps, there, least = np.zeros((count, 2)), np.zeros(count, bool), -4 * farthest - 8
    left, s, t = np.arange(count), -0.25 * farthest, -0.25 * farthest
    (ax, ay), (bx, by), (cx, cy) = first.transpose(1, 2, 0)
    (dx, dy), (ex, ey), (fx, fy) = second.transpose(1, 2, 0)
    for _ in range(_ROUNDS):
        px = ax + s * (bx + s * cx) - dx - t * (ex + t * fx)
        py = ay + s * (by + s * cy) - dy - t * (ey + t * fy)
        j11, j12, j21, j22 = bx + 2 * s * cx, -ex - 2 * t * fx, by + 2 * s * cy, -ey - 2 * t * fy
        determinant = j11 * j22 - j12 * j21
        sound = np.abs(determinant) >= _LEAST_DETERMINANT
        safe = np.where(sound, determinant, 1.0)
        step_s, step_t = (px * j22 - py * j12) / safe, (j11 * py - j21 * px) / safe
        s = s - np.minimum(np.maximum(step_s, -farthest), farthest)
        t = t - np.minimum(np.maximum(step_t, -farthest), farthest)
        settled = sound & (np.abs(step_s) + np.abs(step_t) < _SETTLED)
        steps[left[settled], 0], steps[left[settled], 1], there[left[settled]] = s[settled], t[settled], True
        on = sound & ~settled
        if not on.any():
            break
        if not on.all():
            left, s, t, farthest = left[on], s[on], t[on], farthest[on]
            ax, ay, bx, by, cx, cy = (one[on] for one in (ax, ay, bx, by, cx, cy))
            dx, dy, ex, ey, fx, fy = (one[on] for one in (dx, dy, ex, ey, fx, fy))
    there &= (steps.max(axis=1) <= 8.0) & (steps.min(axis=1) >= least)
    s = steps[:, 0]
    where = first[:, 0] + s[:, None] * (first[:, 1] + s[:, None] * first[:, 2])
    return steps, where, there


def lead_in(places: Places, sides: Sides, clear: FloatArray, noise: FloatArray) -> BoolArray:
    """Whether the places between a side's start and where the other side comes into sight lie on the side run on; (Q,).

    `clear` (Q,) is from where on, before the meeting, that is; `noise` (Q,) that of a place.
    """
    last = (-sides.meeting - clear).astype(np.int64)
    most = _LEADS_IN_PX + 2.0 * noise
    way = directions(sides.curve, 0.5 * sides.meeting)
    found = last < 1
    # a round corner leaves its sides most at the last place: without the others it is told
    left = np.flatnonzero(~found)
    left = left[np.abs(_across(places, sides.picked(left), last[left, None], way[left]))[:, 0] < most[left]]
    between, is_one = _numbers(last[left])
    off = np.abs(_across(places, sides.picked(left), between, way[left]))
    found[left] = np.where(is_one, off, 0.0).max(axis=1, initial=0.0) < most[left]
    return found


def run_beyond(places: Places, sides: Sides, other: FloatArray, noise: FloatArray) -> BoolArray:
    """Whether places between a side's start and the corner lie beyond it: a blurred corner's half level never does.

    `other` (Q, 3, 2) are the curves of the other sides.
    """
    between, is_one = _numbers((-sides.meeting).astype(np.int64))
    way = directions(sides.curve, sides.meeting)
    across = _across(places, sides, between, way)
    is_left = way[:, 0] * other[:, 1, 1] - way[:, 1] * other[:, 1, 0] > 0
    inward = np.where(is_left[:, None], across, -across)
    far = (inward < -(_BEYOND_PX + 2.0 * noise)[:, None]) & is_one
    return np.asarray(np.count_nonzero(far, axis=1) >= _BEYOND)


def _numbers(last: IntArray) -> tuple[IntArray, BoolArray]:
    """1 up to each last (Q,) in rows of one length, (Q, T), and which of them are not beyond it."""
    between = np.tile(np.arange(1, int(last.max(initial=0)) + 1), (len(last), 1))
    return between, between <= last[:, None]


def _across(places: Places, sides: Sides, between: IntArray, way: FloatArray) -> FloatArray:
    """How far so many places on from each start lie to the left of the side run on, (Q, T)."""
    seen = places.at(sides.ring, sides.start[:, None] + sides.toward * between)
    off = seen - evaluate(sides.curve, -between.astype(np.float64))
    return np.asarray(off[..., 1] * way[:, None, 0] - off[..., 0] * way[:, None, 1])
