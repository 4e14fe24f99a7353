"""Bring a drafted path within its limits: level its offsets, add a piece where that is not enough."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..measure.rings import rolled
from ..records import BoolArray, FloatArray
from .draft import Draft, first_draft, following, in_order, kinks_of, offsets, preceding, shares_of
from .goal import SQUARES, Goal
from .pieces import IntArray
from .polish import polish

_KINK = np.radians(20)  # joints that turn more are corners
_POWERS = (8, 32, 32)  # of what strays, ever nearer to counting the largest alone
HOPELESS = 1.8  # times the limit at least squares: more than levelling can bring down
_STILL_HOPELESS = {8: 1.12, 32: 1.03}  # times the limit after each power: more than the next one can bring down
_FAR = 0.6  # of the limit: to the sixth power 0.05
_FEW = 40  # points a piece
_CLOSED = 1e-3  # radians: kinks that count as none
_RELEASES = (3, 7)  # rounds, at least and at most
_WORK = 1000  # pieces, all rounds together
_LEAST_POINTS = 4  # of a piece that can be divided
_BLUNT = 4  # points at a corner that the corner of two pieces may miss
_SPLIT_SHARE = 40  # one piece in so many is broken at a time: each new piece may help its neighbours too
_UNSURE_SDS = 12  # of noise over the root of the points: 3.6 standard deviations of a parabola's sagitta


def spread(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return, for each piece, the RMS offset in mm, the largest in units of the limit, the number of points."""
    _, counts = shares_of(draft, len(ring))
    off = offsets(draft, ring)
    filled = counts > 0
    first = (np.cumsum(counts) - counts)[filled]
    rms, worst = np.zeros(len(counts)), np.zeros(len(counts))
    rms[filled] = np.sqrt(np.add.reduceat(off * off, first) / counts[filled])
    worst[filled] = np.maximum.reduceat(np.abs(off) / in_order(draft, limit_mm), first)
    return rms, worst, counts


@dataclass(frozen=True, slots=True)
class Flat:
    """Sagittas below which a piece is straight."""

    least_mm: float  # in any case
    most_mm: float  # if it cannot be told from 0
    noise_mm: float  # standard deviation of the ring's points before any averaging, which ties neighbours together

    def level(self, rms_mm: FloatArray, count: IntArray) -> FloatArray:
        """Return (K,) the sagittas below which pieces of so many points, so far off, are straight."""
        # a parabola through n points of noise s has a sagitta of standard deviation 3.35 s / sqrt(n); it may be shared
        unsure = _UNSURE_SDS * np.maximum(rms_mm, self.noise_mm) / np.sqrt(np.maximum(count, 1))
        return np.minimum(np.maximum(self.least_mm, unsure), self.most_mm)


async def straightened(draft: Draft, ring: FloatArray, limit_mm: FloatArray, flat: Flat, goal: Goal = SQUARES) -> Draft:
    """Make pieces straight that the points cannot prove to be bent: lines go before arcs."""
    chord = draft.lengths
    sagitta = np.abs(draft.bulges) * chord / 2
    rms, _, count = spread(draft, ring, limit_mm)
    level = sagitta < flat.level(rms, count)
    if not (level & ~draft.straight).any():
        return draft
    draft = replace(draft, straight=draft.straight | level, bulges=np.where(level, 0.0, draft.bulges))
    return await polish(draft, ring, goal)


async def levelled(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Lower the largest offset, at the cost of the sum of squares, only as far as the limit asks."""
    for power in _POWERS:
        off = offsets(draft, ring) / in_order(draft, limit_mm)
        if np.abs(off).max() <= 1:
            break
        every = max(1, len(off) // (_FEW * len(draft.breaks)))
        use = _outermost(draft, off)
        use[::every] = True
        draft = await polish(draft, ring, Goal(power, limit_mm, np.flatnonzero(use), every))
        if spread(draft, ring, limit_mm)[1].max() > _STILL_HOPELESS[power]:
            break
    return draft


def _outermost(draft: Draft, off: FloatArray) -> BoolArray:
    """Return (N,) which points lie farthest to either side among some neighbours: the others follow them."""
    index, counts = shares_of(draft, len(off))
    each = np.maximum(counts // _FEW, 1)  # neighbours
    group = (np.arange(len(off)) - np.repeat(np.cumsum(counts) - counts, counts)) // np.repeat(each, counts)
    first = np.flatnonzero(np.diff(group, prepend=-1))
    size = np.diff(first, append=len(off))
    low, high = np.minimum.reduceat(off, first), np.maximum.reduceat(off, first)
    outer = ((off == np.repeat(low, size)) | (off == np.repeat(high, size))) & (np.abs(off) > _FAR)
    use = np.zeros(len(off), dtype=bool)
    use[index[outer]] = True
    return use


async def repaired(draft: Draft, ring: FloatArray, limit_mm: FloatArray, *, flat: Flat, most: int) -> Draft | None:
    """Return the draft with pieces added where levelling is not enough to keep the limit; None beyond `most` pieces.

    It is not within the limit where pieces beyond it are too short to be divided.
    """
    draft = await levelled(await straightened(draft, ring, limit_mm, flat), ring, limit_mm)
    while (worst := spread(draft, ring, limit_mm)[1]).max() > 1:
        divided = _divided(draft, ring, limit_mm, worst)
        if divided is None:
            break
        if len(divided.breaks) > most:
            return None
        draft = await levelled(await straightened(await polish(divided, ring), ring, limit_mm, flat), ring, limit_mm)
    return draft


def is_stuck(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> bool:
    """Tell whether a piece is far beyond the limit that is too short to be divided, as at the teeth of a leaf."""
    _, worst, counts = spread(draft, ring, limit_mm)
    return bool(((worst > HOPELESS) & (counts < _LEAST_POINTS)).any())


def _divided(draft: Draft, ring: FloatArray, limit_mm: FloatArray, worst: FloatArray) -> Draft | None:
    """Break the worst piece; of many pieces, the worst few of different runs of bad ones."""
    worst = np.where(worst > 1, worst, 0.0)
    lengths = np.diff(np.append(draft.breaks, draft.breaks[0] + len(ring)))
    worst[lengths < _LEAST_POINTS] = 0.0
    peak = np.flatnonzero((worst > 0) & (worst >= rolled(worst, 1)) & (worst >= rolled(worst, -1)))
    if not len(peak):
        return None
    peak = peak[np.argsort(-worst[peak], kind="stable")][: 1 + len(worst) // _SPLIT_SHARE]
    breaks = np.concatenate([draft.breaks, draft.breaks[peak] + cuts_of(draft, ring, limit_mm)[peak]]) % len(ring)
    corners = tuple(int(k) % len(ring) for k in draft.breaks[draft.fixed])
    return first_draft(ring, np.unique(breaks), corners)


def cuts_of(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> IntArray:
    """Return (K,) after how many of its points to break each piece: half of them, or just before its end at a corner.

    The latter where only a few points at that end are beyond the limit: a blunt corner, which halves do not help.
    """
    _, counts = shares_of(draft, len(ring))
    over = np.abs(offsets(draft, ring)) > in_order(draft, limit_mm)
    sharp = np.abs(kinks_of(draft)) > _KINK
    cuts = counts // 2
    for at, (end, count) in enumerate(zip(np.cumsum(counts).tolist(), counts.tolist(), strict=True)):
        beyond = np.flatnonzero(over[end - count : end])
        if not len(beyond) or count < 4 * _BLUNT:
            continue
        if sharp[(at + 1) % len(counts)] and count - beyond[0] <= _BLUNT:
            cuts[at] = beyond[0] - 1
        elif sharp[at] and beyond[-1] < _BLUNT:
            cuts[at] = beyond[-1] + 2
    return cuts


async def smoothed(draft: Draft, ring: FloatArray, limit_mm: FloatArray) -> Draft:
    """Hold joints tangent where the data allow it: within the limit, and hardly farther from the points."""
    kinks = np.abs(kinks_of(draft))
    lines = draft.straight & preceding(draft.straight)
    smooth = (kinks < _KINK) & ~lines & ~draft.fixed
    rms, worst, _ = spread(draft, ring, limit_mm)
    for attempt in range(int(np.clip(_WORK // len(smooth), *_RELEASES))):
        if not smooth.any():
            break
        trial = await polish(replace(draft, smooth=smooth), ring)
        held = smooth | following(smooth)  # pieces with a tangent joint
        if spread(trial, ring, limit_mm)[1][held].max() < HOPELESS:
            trial = await levelled(trial, ring, limit_mm)
        trial_rms, trial_worst, _ = spread(trial, ring, limit_mm)
        bad = (trial_rms > 1.5 * rms + 0.0005) & held | (trial_worst > np.maximum(1.0, worst))
        open_joints = smooth & (np.abs(kinks_of(trial)) > _CLOSED)
        if not bad.any() and not open_joints.any():
            return trial
        bad = _widened(bad, held, 2**attempt if attempt > 1 else 0)
        smooth = _released(smooth, kinks, bad, both=attempt > 1) & ~open_joints
    return draft


def _widened(bad: BoolArray, held: BoolArray, most: int) -> BoolArray:
    """Return bad pieces with `most` neighbours to each side, or with as many as one held piece needs.

    Where a round did not help, the trouble is not where it shows.
    """
    rounds = 0
    while bad.any() and (rounds < most or not (bad & held).any()):
        bad, rounds = bad | preceding(bad) | following(bad), rounds + 1
    return bad


def _released(smooth: BoolArray, kinks: FloatArray, bad: BoolArray, *, both: bool) -> BoolArray:
    """Let go of the sharper tangent joint of each bad piece, or of both."""
    left = smooth.copy()
    for piece in np.flatnonzero(bad):
        ends = [k for k in (piece, (piece + 1) % len(smooth)) if smooth[k]]
        for k in sorted(ends, key=lambda k: -kinks[k])[: 2 if both else 1]:
            left[k] = False
    return left
