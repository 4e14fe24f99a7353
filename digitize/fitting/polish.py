"""All pieces of a closed path fitted at once, by least squares of the distances across them.

Unknowns are the vertices and the bulges, so the path is closed whatever the solution; joints move freely.
Tangent joints are exact side conditions of each Gauss-Newton step (Lagrange multipliers).

For a point w = p - start and a chord d = end - start of length L, with bulge b:
H = 2 b (w.w - w.d) - (1 - b^2) (d x w) vanishes on the circle (and on the line, b = 0), and with
m = 1 + b^2 the distance to the right of the piece is 2 H / (L (m + sqrt(m^2 + 8 b H / L^2))).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from digitize.fitting.bulge import make_path, path_kinks
from digitize.fitting.pieces import IntArray
from digitize.records import FloatArray, Path

BoolArray = npt.NDArray[np.bool_]

_STEPS = 12
_TRIALS = 5
_GAIN = 1e-4  # stop when the sum of squares falls by less than this share


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


def offsets(draft: Draft, ring: FloatArray) -> FloatArray:
    """Return (N,) the distance of each point across its piece in mm, positive to the right, as the path meets them."""
    index, owner = order_of(draft, len(ring))
    return _distance(_frame(draft, ring[index], owner))


def polish(draft: Draft, ring: FloatArray, *, power: int = 2, scale_mm: float = 1.0, enough_mm: float = 0.0) -> Draft:
    """Return the draft with vertices and bulges at the least sum of powers of the offsets, breaks following.

    Power 2 is least squares (Levenberg-Marquardt); a high even power comes near the least largest offset
    (Newton steps). `scale_mm` is the offset that counts as 1: the tolerance, for high powers.
    The work stops early once no offset is larger than `enough_mm`.
    """
    damping = 1e-4
    merit = _merit(draft, ring, power, scale_mm)
    for _ in range(_STEPS):
        matrix, right = _normal_equations(draft, ring, power, scale_mm)
        for _ in range(_TRIALS):
            step = _solve(draft, matrix, right, damping)
            trial = _rebroken(_moved(draft, step), ring)
            better = _merit(trial, ring, power, scale_mm)
            if better <= merit:
                break
            damping = damping * 10 + 1e-6
        else:
            break
        gain, draft, merit = merit - better, trial, better
        damping = max(damping / 5, 1e-9)
        if gain < _GAIN * merit + 1e-12 or (enough_mm and np.abs(offsets(draft, ring)).max() <= enough_mm):
            break
    return draft


def _merit(draft: Draft, ring: FloatArray, power: int, scale: float) -> float:
    """Return the sum of powers, with a price on kinks that should be none."""
    index, owner = order_of(draft, len(ring))
    total = float(np.sum((_distance(_frame(draft, ring[index], owner)) / scale) ** power))
    if draft.smooth.any():
        length = np.hypot(*_chords(draft).T)
        arm = np.minimum(length, np.roll(length, 1)) / 4 / scale
        price = 10 * len(ring) / len(draft.bulges)
        total += price * float(np.sum((path_kinks(draft.path()) * arm)[draft.smooth] ** 2))
    return total


def _chords(draft: Draft) -> FloatArray:
    return np.asarray(np.roll(draft.vertices, -1, axis=0) - draft.vertices)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Points seen from the start of their piece: the quantities of the module's docstring, each (N,) or (N, 2)."""

    d: FloatArray
    w: FloatArray
    b: FloatArray
    length2: FloatArray
    reach: FloatArray  # w.w - w.d
    cross: FloatArray  # d x w


def _frame(draft: Draft, points: FloatArray, owner: IntArray) -> _Frame:
    d, w = _chords(draft)[owner], points - draft.vertices[owner]
    length2 = np.maximum(np.sum(d * d, axis=1), 1e-12)
    cross = d[:, 0] * w[:, 1] - d[:, 1] * w[:, 0]
    return _Frame(d, w, draft.bulges[owner], length2, np.sum(w * (w - d), axis=1), cross)


def _distance(f: _Frame) -> FloatArray:
    m = 1 + f.b**2
    value = 2 * f.b * f.reach - (1 - f.b**2) * f.cross
    root = np.sqrt(np.maximum(m * m + 8 * f.b * value / f.length2, 0.0))
    return np.asarray(2 * value / (np.sqrt(f.length2) * (m + root)))


def _slopes(f: _Frame) -> FloatArray:
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


def _normal_equations(draft: Draft, ring: FloatArray, power: int, scale: float) -> tuple[FloatArray, FloatArray]:
    """Return the matrix (3 K, 3 K) and right side (3 K,): x, y of each vertex and the sagitta of each piece."""
    index, owner = order_of(draft, len(ring))
    frame = _frame(draft, ring[index], owner)
    off = _distance(frame)
    slopes = np.column_stack([_slopes(frame), -off / (power - 1)])
    loads = slopes[:, :5] if power == 2 else slopes[:, :5] * ((off / scale) ** (power - 2))[:, None]
    count = len(draft.bulges)
    filled, first = np.unique(owner, return_index=True)
    sums = np.zeros((count, 5, 6))
    sums[filled] = np.add.reduceat(loads[:, :, None] * slopes[:, None, :], first, axis=0)
    at = 3 * np.arange(count)
    following = np.roll(at, -1)
    places = np.column_stack([at, at + 1, following, following + 1, at + 2])
    matrix, right = np.zeros((3 * count, 3 * count)), np.zeros(3 * count)
    np.add.at(matrix, (places[:, :, None], places[:, None, :]), sums[:, :, :5])
    np.add.at(right, places, sums[:, :, 5])
    return matrix, right


def _solve(draft: Draft, matrix: FloatArray, right: FloatArray, damping: float) -> FloatArray:
    """Return the damped step (3 K,). Vertices can slide along a smooth path at no cost: inertia in all directions."""
    inertia = matrix.diagonal().copy()
    inertia[0::3] = inertia[1::3] = inertia[0::3] + inertia[1::3]
    floor = 1e-9 * max(float(inertia.mean()), 1e-12)
    matrix = matrix + np.diag(damping * inertia + floor)
    return _solve_with_conditions(draft, matrix, right.copy())


def _solve_with_conditions(draft: Draft, matrix: FloatArray, right: FloatArray) -> FloatArray:
    held = 3 * np.flatnonzero(draft.straight) + 2
    matrix[held, :] = 0.0
    matrix[:, held] = 0.0
    matrix[held, held] = 1.0
    right[held] = 0.0
    at = np.flatnonzero(draft.smooth)
    if not len(at):
        return np.asarray(np.linalg.solve(matrix, right))
    rows, gap = _tangency(draft, at)
    rows[:, held] = 0.0
    size = len(right)
    full = np.zeros((size + len(at), size + len(at)))
    # side conditions scaled like the matrix, or pivoting suffers
    weight = np.trace(matrix) / size
    full[:size, :size] = matrix
    full[size:, :size] = rows * weight
    full[:size, size:] = rows.T * weight
    full[size:, size:] = -1e-12 * weight * np.eye(len(at))
    return np.asarray(np.linalg.solve(full, np.concatenate([right, -gap * weight]))[:size])


def _tangency(draft: Draft, at: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return slopes (m, 3 K) of the kinks at the vertices `at`, and the kinks (m,) themselves, radians."""
    count = len(draft.bulges)
    chords = _chords(draft)
    square = np.maximum(np.sum(chords**2, axis=1), 1e-12)
    turn = np.column_stack([-chords[:, 1], chords[:, 0]]) / square[:, None]  # slope of a chord's angle in its end
    half = 2 / (1 + draft.bulges**2) * 2 / np.sqrt(square)  # slope of half the sweep in the sagitta
    before, after = (at - 1) % count, (at + 1) % count
    row = np.arange(len(at))
    rows = np.zeros((len(at), 3 * count))
    for axis in (0, 1):
        np.add.at(rows, (row, 3 * after + axis), turn[at, axis])
        np.add.at(rows, (row, 3 * at + axis), -turn[at, axis] - turn[before, axis])
        np.add.at(rows, (row, 3 * before + axis), turn[before, axis])
    np.add.at(rows, (row, 3 * at + 2), -half[at])
    np.add.at(rows, (row, 3 * before + 2), -half[before])
    return rows, path_kinks(draft.path())[at]


def _moved(draft: Draft, step: FloatArray) -> Draft:
    length = np.hypot(*_chords(draft).T)
    bend = np.clip(step[2::3] * 2 / np.maximum(length, 1e-9), -0.5, 0.5)
    shift = np.column_stack([step[0::3], step[1::3]])
    far = np.hypot(*shift.T)
    limit = 0.3 * np.minimum(length, np.roll(length, 1))
    shift *= np.minimum(1.0, limit / np.maximum(far, 1e-12))[:, None]
    bulges = np.where(draft.straight, 0.0, np.clip(draft.bulges + bend, -12.0, 12.0))
    return replace(draft, vertices=draft.vertices + shift, bulges=bulges)


def _rebroken(draft: Draft, ring: FloatArray) -> Draft:
    """Move each break to the point of the ring nearest its vertex, within the two pieces it parts."""
    size = len(ring)
    lengths = np.diff(np.append(draft.breaks, draft.breaks[0] + size))
    breaks = draft.breaks.copy()
    for k in np.flatnonzero(~draft.fixed):
        low, high = max(int(lengths[k - 1] // 2) - 1, 0), max(int(lengths[k] // 2), 1)
        window = np.arange(draft.breaks[k] - low, draft.breaks[k] + high)
        gap = ring[window % size] - draft.vertices[k]
        breaks[k] = window[np.argmin(gap[:, 0] ** 2 + gap[:, 1] ** 2)]
    return replace(draft, breaks=breaks)
