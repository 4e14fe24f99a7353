"""A dense ring to the fewest lines and arcs within a tolerance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from digitize.fitting.bulge import make_path, path_kinks
from digitize.fitting.circle import fit_circle
from digitize.fitting.pieces import IntArray, Limits
from digitize.fitting.polish import BoolArray, Draft, first_draft, offsets, order_of, polish
from digitize.fitting.ring import checked_ring, dense_ring, noise_sd
from digitize.fitting.search import best_breaks, count_pieces, find_candidates, find_reach
from digitize.records import Curve, FloatArray

_SAMPLES = 96
_MOST_CANDIDATES = 2400
_PEAK = 4.5  # standard deviations: the largest of 20,000 white-noise values is 4.1 on average
_KINK = np.radians(20)  # joints that turn more are corners
_ROUNDS = 6
_LEVELS = 10


def fit_curve(
    ring_mm: FloatArray, *, tolerance_mm: float = 0.02, corners: tuple[int, ...] = (), sd_mm: float | None = None
) -> Curve:
    """Describe a closed dense ring by as few straight lines and circular arcs as the tolerance allows.

    Parameters
    ----------
    ring_mm : (N, 2)
        Points of a simple closed ring, either direction.
    tolerance_mm
        The largest distance permitted, from the curve to the ring and from the ring to the curve.
    corners
        Indices of points known to be sharp corners: each becomes a joint and is never smoothed.
    sd_mm
        Standard deviation of the ring's noise across the edge; estimated from the ring if not given.

    Returns
    -------
    Path or Circle
        In the direction of the ring, closed, without self-crossing. Where 4.5 sd exceeds the tolerance
        no smooth curve can meet every single point: points may then stray by 4.5 sd, and the tolerance
        holds for the mean of neighbouring points.

    Raises
    ------
    UsageError
        If the ring is no ring, or the tolerance is not positive.
    """
    ring = checked_ring(ring_mm)
    middle = ring.mean(axis=0)
    dense, known = dense_ring(ring - middle, corners)
    limits = _limits(tolerance_mm, noise_sd(dense) if sd_mm is None else sd_mm)
    circle = fit_circle(dense)
    if not known and circle.worst_mm <= limits.point_mm and circle.worst_mean_mm <= limits.mean_mm:
        return circle.moved(middle)
    draft = _fitted(dense, known, limits)
    return make_path(draft.vertices + middle, draft.bulges)


def _limits(tolerance: float, sd: float) -> Limits:
    return Limits(point_mm=max(tolerance, _PEAK * sd), mean_mm=tolerance, slip_mm=2 * tolerance + _PEAK * sd)


def _fitted(ring: FloatArray, corners: tuple[int, ...], limits: Limits) -> Draft:
    breaks = _find_breaks(ring, corners, limits)
    draft = polish(first_draft(ring, breaks, corners), ring)
    draft = _straightened(draft, ring, limits)
    return _smoothed(_repaired(draft, ring, limits), ring, limits)


def _find_breaks(ring: FloatArray, corners: tuple[int, ...], limits: Limits) -> IntArray:
    spread = max(limits.mean_mm / 6, (limits.point_mm if limits.point_mm > limits.mean_mm else 0) / 2)
    found = find_candidates(ring, corners, spread_mm=spread, most=_MOST_CANDIDATES)
    reach = find_reach(ring, found, limits=limits, samples=_SAMPLES)
    start = int(np.argmin(count_pieces(reach)))
    return best_breaks(ring, found, reach, start, samples=_SAMPLES // 2)


def _straightened(draft: Draft, ring: FloatArray, limits: Limits) -> Draft:
    """Make pieces straight whose sagitta the data cannot tell from 0."""
    chord = np.hypot(*(np.roll(draft.vertices, -1, axis=0) - draft.vertices).T)
    sagitta = np.abs(draft.bulges) * chord / 2
    rms, _, count = _spread(draft, ring)
    unsure = 12 * rms / np.sqrt(np.maximum(count, 1))
    flat = sagitta < np.minimum(np.maximum(limits.mean_mm / 20, unsure), limits.mean_mm / 2)
    draft = replace(draft, straight=draft.straight | flat, bulges=np.where(flat, 0.0, draft.bulges))
    return polish(draft, ring)


def _spread(draft: Draft, ring: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return RMS and largest offset in mm, and the number of points, of each piece."""
    off = offsets(draft, ring)
    _, owner = order_of(draft, len(ring))
    count = np.bincount(owner, minlength=len(draft.bulges))
    rms = np.sqrt(np.bincount(owner, off**2, minlength=len(count)) / np.maximum(count, 1))
    worst = np.zeros(len(count))
    np.maximum.at(worst, owner, np.abs(off))
    return rms, worst, count


def _repaired(draft: Draft, ring: FloatArray, limits: Limits) -> Draft:
    """Bring every piece within the limits: level the offsets, and where that is not enough, split."""
    for _ in range(_ROUNDS):
        draft = _levelled(draft, ring, limits)
        bad = _spread(draft, ring)[1] > limits.point_mm
        if not bad.any():
            break
        draft = polish(_split(draft, ring, bad), ring)
    return draft


def _levelled(draft: Draft, ring: FloatArray, limits: Limits) -> Draft:
    """Trade the least sum of squares for the least largest offset (Lawson's weights), only as far as needed."""
    weights = np.ones(len(ring))
    best, least = draft, float(np.abs(offsets(draft, ring)).max())
    for _ in range(_LEVELS):
        if least <= limits.point_mm:
            break
        off = np.abs(offsets(draft, ring))
        index, _ = order_of(draft, len(ring))
        weights[index] *= 0.05 + off / off.max()
        weights /= weights.mean()
        draft = polish(draft, ring, weights=weights, steps=3)
        worst = float(np.abs(offsets(draft, ring)).max())
        if worst < least:
            best, least = draft, worst
    return best


def _split(draft: Draft, ring: FloatArray, bad: BoolArray) -> Draft:
    """Break bad pieces in the middle; neighbours of a bad piece that is itself whole are left alone."""
    lengths = np.diff(np.append(draft.breaks, draft.breaks[0] + len(ring)))
    cut = np.flatnonzero(bad & (lengths > 3))
    worst = _spread(draft, ring)[1]
    cut = cut[worst[cut] >= 0.5 * worst.max()]
    breaks = np.union1d(draft.breaks, draft.breaks[cut] + lengths[cut] // 2)
    corners = tuple(int(k) for k in draft.breaks[draft.fixed])
    fresh = first_draft(ring, breaks, corners)
    return fresh


def _smoothed(draft: Draft, ring: FloatArray, limits: Limits) -> Draft:
    """Hold joints tangent where the data allow it: within the limits, and hardly farther from the points."""
    kinks = np.abs(path_kinks(draft.path()))
    lines = draft.straight & np.roll(draft.straight, 1)
    smooth = (kinks < _KINK) & ~lines & ~draft.fixed
    rms, worst, _ = _spread(draft, ring)
    for _ in range(_ROUNDS):
        if not smooth.any():
            break
        trial = _levelled(polish(replace(draft, smooth=smooth), ring), ring, limits)
        trial_rms, trial_worst, _ = _spread(trial, ring)
        bad = (trial_rms > 1.5 * rms + 0.0005) | (trial_worst > np.maximum(limits.point_mm, worst))
        if not bad.any():
            return trial
        smooth = _released(smooth, kinks, bad)
    return draft


def _released(smooth: BoolArray, kinks: FloatArray, bad: BoolArray) -> BoolArray:
    """Let go of the sharper tangent joint of each bad piece."""
    smooth = smooth.copy()
    for piece in np.flatnonzero(bad):
        ends = [k for k in (piece, (piece + 1) % len(smooth)) if smooth[k]]
        if ends:
            smooth[max(ends, key=lambda k: kinks[k])] = False
    return smooth
