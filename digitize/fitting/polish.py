"""All pieces of a closed path fitted at once, by least squares of the distances across them.

Unknowns are the vertices and the bulges, so the path is closed whatever the solution; joints move freely.
Tangent joints are exact side conditions of each Gauss-Newton step (Lagrange multipliers).

For a point w = p - start and a chord d = end - start of length L, with bulge b:
H = 2 b (w.w - w.d) - (1 - b^2) (d x w) vanishes on the circle (and on the line, b = 0), and with
m = 1 + b^2 the distance to the right of the piece is 2 H / (L (m + sqrt(m^2 + 8 b H / L^2))).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from digitize.fitting.bulge import make_path, path_kinks, path_points
from digitize.fitting.pieces import IntArray
from digitize.records import FloatArray, Path

BoolArray = npt.NDArray[np.bool_]

_STEPS = 12
_DONE_MM = 2e-6


@dataclass(frozen=True, slots=True)
class Draft:
    """A path under way, with the points of the ring each piece answers for."""

    vertices: FloatArray  # (K, 2)
    bulges: FloatArray  # (K,)
    breaks: IntArray  # (K,) ascending indices into the ring; piece k answers for breaks[k] ... breaks[k + 1] - 1
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


def piece_of(draft: Draft, points: int) -> IntArray:
    """Return (N,) the piece that answers for each point of the ring."""
    index = np.searchsorted(draft.breaks, np.arange(points), side="right") - 1
    return np.asarray(index % len(draft.breaks), dtype=np.intp)


def offsets(draft: Draft, ring: FloatArray) -> FloatArray:
    """Return (N,) the distance of each point across its piece in mm, positive to the right of the path."""
    return _offsets_and_slopes(draft, ring, piece_of(draft, len(ring)))[0]


def polish(draft: Draft, ring: FloatArray, *, weights: FloatArray | None = None, steps: int = _STEPS) -> Draft:
    """Return the draft with vertices and bulges at the (weighted) least sum of squares, breaks following."""
    damping = 1e-6
    for _ in range(steps):
        owner = piece_of(draft, len(ring))
        off, slopes = _offsets_and_slopes(draft, ring, owner)
        step = _solve(draft, off, slopes, owner, weights, damping)
        draft = _moved(draft, step)
        draft = _rebroken(draft, ring)
        if np.abs(step).max() < _DONE_MM:
            break
    return draft


def _chords(draft: Draft) -> FloatArray:
    return np.asarray(np.roll(draft.vertices, -1, axis=0) - draft.vertices)


def _offsets_and_slopes(draft: Draft, ring: FloatArray, owner: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return distances (N,) and their slopes (N, 5) in start x, y, end x, y and sagitta."""
    d, w = _chords(draft)[owner], ring - draft.vertices[owner]
    b = draft.bulges[owner]
    length2 = np.maximum(np.sum(d * d, axis=1), 1e-12)
    length = np.sqrt(length2)
    ww_wd = np.sum(w * (w - d), axis=1)
    cross = d[:, 0] * w[:, 1] - d[:, 1] * w[:, 0]
    m, k = 1 + b * b, 1 - b * b
    value = 2 * b * ww_wd - k * cross
    off = 2 * value / (length * (m + np.sqrt(np.maximum(m * m + 8 * b * value / length2, 0.0))))
    slopes = np.empty((len(ring), 5))
    slopes[:, 0] = 2 * b * (d[:, 0] - w[:, 0]) - k * (d[:, 1] - w[:, 1])
    slopes[:, 1] = 2 * b * (d[:, 1] - w[:, 1]) - k * (w[:, 0] - d[:, 0])
    slopes[:, 2] = -2 * b * w[:, 0] - k * w[:, 1]
    slopes[:, 3] = -2 * b * w[:, 1] + k * w[:, 0]
    slopes[:, 4] = (2 * ww_wd + 2 * b * cross) * 2 / length
    slopes /= (length * m)[:, None]
    return off, slopes


def _solve(
    draft: Draft, off: FloatArray, slopes: FloatArray, owner: IntArray, weights: FloatArray | None, damping: float
) -> FloatArray:
    """Return the Gauss-Newton step (3 K,): x, y of each vertex and the sagitta of each piece."""
    count = len(draft.bulges)
    following = (np.arange(count) + 1) % count
    places = np.column_stack(
        [3 * np.arange(count), 3 * np.arange(count) + 1, 3 * following, 3 * following + 1, 3 * np.arange(count) + 2]
    )
    loads = slopes if weights is None else slopes * weights[:, None]
    order = np.argsort(owner, kind="stable")
    bounds = np.searchsorted(owner[order], np.arange(count))
    products = np.concatenate([loads[:, :, None] * slopes[:, None, :], (loads * -off[:, None])[:, :, None]], axis=2)
    filled = np.bincount(owner, minlength=count) > 0
    sums = np.zeros((count, 5, 6))
    sums[filled] = np.add.reduceat(products[order], bounds[filled], axis=0)
    matrix, right = np.zeros((3 * count, 3 * count)), np.zeros(3 * count)
    np.add.at(matrix, (places[:, :, None], places[:, None, :]), sums[:, :, :5])
    np.add.at(right, places, sums[:, :, 5])
    # vertices may slide along a smooth path at no cost: a little inertia keeps them where they are
    matrix[np.diag_indices(3 * count)] += damping * np.trace(matrix) / (3 * count) + 1e-9
    return _solve_with_conditions(draft, matrix, right)


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
    return Draft(draft.vertices + shift, bulges, draft.breaks, draft.straight, draft.smooth, draft.fixed)


def _rebroken(draft: Draft, ring: FloatArray) -> Draft:
    """Move each break to the point of the ring nearest its vertex, within the two pieces it parts."""
    size, count = len(ring), len(draft.breaks)
    lengths = np.diff(np.append(draft.breaks, draft.breaks[0] + size))
    breaks = draft.breaks.copy()
    for k in np.flatnonzero(~draft.fixed):
        low, high = int(lengths[k - 1] // 2), int(lengths[k] // 2)
        window = np.arange(draft.breaks[k] - max(low - 1, 0), draft.breaks[k] + max(high, 1))
        gap = ring[window % size] - draft.vertices[k]
        breaks[k] = window[np.argmin(gap[:, 0] ** 2 + gap[:, 1] ** 2)]
    if breaks[0] < 0 or breaks[-1] >= size:
        return _rolled(draft, breaks % size)
    return Draft(draft.vertices, draft.bulges, breaks, draft.straight, draft.smooth, draft.fixed)


def _rolled(draft: Draft, breaks: IntArray) -> Draft:
    """Return the draft with its pieces renumbered so that the breaks ascend."""
    turn = -int(np.argmin(breaks))
    parts = (draft.vertices, draft.bulges, breaks, draft.straight, draft.smooth, draft.fixed)
    rolled = [np.roll(part, turn, axis=0) for part in parts]
    return Draft(*rolled)


def sampled_reach(draft: Draft, ring: FloatArray) -> FloatArray:
    """Return (K,) how far the middle of each piece lies from the ring's points it answers for, in mm."""
    count = len(draft.bulges)
    middles = path_points(draft.path(), np.arange(count), np.full(count, 0.5))
    owner = piece_of(draft, len(ring))
    gaps = np.hypot(*(ring - middles[owner]).T)
    nearest = np.full(count, np.inf)
    np.minimum.at(nearest, owner, gaps)
    return nearest
