"""A closed path under way: its pieces, the points each answers for, and how far they lie off.

For a point w = p - start and a chord d = end - start of length L, with bulge b:
H = 2 b (w.w - w.d) - (1 - b^2) (d x w) vanishes on the circle (and on the line, b = 0), and with
m = 1 + b^2 the distance to the right of the piece is 2 H / (L (m + sqrt(m^2 + 8 b H / L^2))).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from digitize.fitting.bulge import make_path
from digitize.fitting.pieces import IntArray
from digitize.records import FloatArray, Path

BoolArray = npt.NDArray[np.bool_]

_WINDOW = 30  # points a break may move in one step


@dataclass(frozen=True, slots=True)
class Draft:
    """A path under way, with the points of the ring each piece answers for."""

    vertices: FloatArray  # (K, 2)
    bulges: FloatArray  # (K,)
    breaks: IntArray  # (K,) ascending, modulo N; piece k answers for the points breaks[k] ... breaks[k + 1] - 1
    straight: BoolArray  # (K,) bulge held at 0
    smooth: BoolArray  # (K,) vertex k held tangent
    fixed: BoolArray  # (K,) break k is a corner of the ring and stays

    def path(self) -> Path:
        """Return the path as it stands."""
        return make_path(self.vertices, self.bulges)


def first_draft(ring: FloatArray, breaks: IntArray, corners: tuple[int, ...]) -> Draft:
    """Return a draft through the ring's points at the breaks and half-way between."""
    count = len(breaks)
    lengths = np.diff(np.append(breaks, breaks[0] + len(ring)))
    middles = ring[(breaks + lengths // 2) % len(ring)]
    ends = np.roll(ring[breaks], -1, axis=0)
    chords, to_middle = ends - ring[breaks], middles - (ring[breaks] + ends) / 2
    square = np.maximum(np.sum(chords**2, axis=1), 1e-12)
    bulges = 2 * (chords[:, 1] * to_middle[:, 0] - chords[:, 0] * to_middle[:, 1]) / square
    straight = lengths < 4
    none = np.zeros(count, dtype=bool)
    return Draft(
        ring[breaks].copy(), np.where(straight, 0.0, bulges), breaks, straight, none, np.isin(breaks, np.array(corners))
    )


def order_of(draft: Draft, points: int) -> tuple[IntArray, IntArray]:
    """Return the ring's indices (N,) as the path meets them, and the piece that answers for each."""
    lengths = np.diff(np.append(draft.breaks, draft.breaks[0] + points))
    index = (draft.breaks[0] + np.arange(points)) % points
    return index, np.repeat(np.arange(len(lengths)), lengths)


def offsets(draft: Draft, ring: FloatArray, limit_mm: FloatArray | float = 1.0) -> FloatArray:
    """Return (N,) the distance of each point across its piece, positive to the right, as the path meets them.

    In units of `limit_mm` (one figure or one for each point of the ring, in the ring's order).
    """
    index, owner = order_of(draft, len(ring))
    unit = limit_mm[index] if isinstance(limit_mm, np.ndarray) else limit_mm
    return np.asarray(distance_of(frame_of(draft, ring[index], owner)) / unit)


def chords_of(draft: Draft) -> FloatArray:
    """Return (K, 2) the way from each vertex to the next."""
    return np.asarray(np.roll(draft.vertices, -1, axis=0) - draft.vertices)


@dataclass(frozen=True, slots=True)
class Frame:
    """Points seen from the start of their piece: the quantities of the module's docstring, each (N,) or (N, 2)."""

    d: FloatArray
    w: FloatArray
    b: FloatArray
    length2: FloatArray
    reach: FloatArray  # w.w - w.d
    cross: FloatArray  # d x w


def frame_of(draft: Draft, points: FloatArray, owner: IntArray) -> Frame:
    """Return points (N, 2), in the order of the path, as seen from the pieces that own them."""
    each = np.bincount(owner, minlength=len(draft.bulges))
    d = np.repeat(chords_of(draft), each, axis=0)
    w = points - np.repeat(draft.vertices, each, axis=0)
    length2 = np.maximum(d[:, 0] ** 2 + d[:, 1] ** 2, 1e-12)
    cross = d[:, 0] * w[:, 1] - d[:, 1] * w[:, 0]
    reach = w[:, 0] * (w[:, 0] - d[:, 0]) + w[:, 1] * (w[:, 1] - d[:, 1])
    return Frame(d, w, np.repeat(draft.bulges, each), length2, reach, cross)


def distance_of(f: Frame) -> FloatArray:
    """Return (N,) the distances across the pieces in mm, positive to the right."""
    m = 1 + f.b**2
    value = 2 * f.b * f.reach - (1 - f.b**2) * f.cross
    root = np.sqrt(np.maximum(m * m + 8 * f.b * value / f.length2, 0.0))
    return np.asarray(2 * value / (np.sqrt(f.length2) * (m + root)))


def slopes_of(f: Frame) -> FloatArray:
    """Return (N, 5) slopes of the distance in start x, y, end x, y and sagitta, good near the curve."""
    b, d, w = f.b, f.d, f.w
    k, length = 1 - b * b, np.sqrt(f.length2)
    slopes = np.empty((len(b), 5))
    slopes[:, 0] = 2 * b * (d[:, 0] - w[:, 0]) - k * (d[:, 1] - w[:, 1])
    slopes[:, 1] = 2 * b * (d[:, 1] - w[:, 1]) - k * (w[:, 0] - d[:, 0])
    slopes[:, 2] = -2 * b * w[:, 0] - k * w[:, 1]
    slopes[:, 3] = -2 * b * w[:, 1] + k * w[:, 0]
    slopes[:, 4] = (2 * f.reach + 2 * b * f.cross) * 2 / length
    return slopes / (length * (1 + b * b))[:, None]


def moved(draft: Draft, step: FloatArray) -> Draft:
    """Return the draft after a step (K, 3) in x, y and sagitta, cut short where it would turn a piece over."""
    length = np.hypot(*chords_of(draft).T)
    bend = np.clip(step[:, 2] * 2 / np.maximum(length, 1e-9), -0.5, 0.5)
    shift = step[:, :2].copy()
    far = np.hypot(*shift.T)
    limit = 0.3 * np.minimum(length, np.roll(length, 1))
    shift *= np.minimum(1.0, limit / np.maximum(far, 1e-12))[:, None]
    bulges = np.where(draft.straight, 0.0, np.clip(draft.bulges + bend, -12.0, 12.0))
    return replace(draft, vertices=draft.vertices + shift, bulges=bulges)


def rebroken(draft: Draft, ring: FloatArray) -> Draft:
    """Move each break to the point of the ring nearest its vertex, within the two pieces it parts."""
    lengths = np.diff(np.append(draft.breaks, draft.breaks[0] + len(ring)))
    low = np.minimum(np.maximum(np.roll(lengths, 1) // 2 - 1, 0), _WINDOW)
    high = np.minimum(np.maximum(lengths // 2 - 1, 0), _WINDOW)
    shift = np.arange(-_WINDOW, _WINDOW + 1)
    place = draft.breaks[:, None] + shift
    gap = ring[place % len(ring)] - draft.vertices[:, None]
    square = gap[..., 0] ** 2 + gap[..., 1] ** 2
    square[(shift < -low[:, None]) | (shift > high[:, None])] = np.inf
    best = np.argmin(square, axis=1)
    return replace(draft, breaks=np.where(draft.fixed, draft.breaks, draft.breaks + shift[best]))
