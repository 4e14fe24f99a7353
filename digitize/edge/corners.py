"""Sharp corners of a blurred outline: told from round ones, and put back where two clean edges meet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from ..measure.profiles import CLEAR_BLURS
from ..measure.ragged import EndToEnd, IntArray
from ..measure.rings import rolled
from ..records import BoolArray, FloatArray
from .sides import Places, Sides, directions, evaluate, lead_in, meetings, run_beyond, side_curves
from .smoothing import correlate_rings, quadratic_weights

_MOST_CORNERS = 250  # of a ring; more are teeth, and each is tried many ways
_TIP_DEG = 110.0  # of turn: where a corner is a tip
MIN_TURN_DEG = 25.0  # the half level of a shallower corner is within 0.17 sigma of its apex
_TURN_BLURS = 1.5  # and 2 px: within this way a sharp corner turns
_STARTS = (CLEAR_BLURS, 1), (3.5, 3), (5, 5), (7, 8)  # blurs, and px, off a corner from where its sides are tried
_ACUTE = 1.4  # times as far, beside an acute tip
_PROBE_PX = 0.25  # between places along a corner's bisector
_LEAST_RUN = (12, 7)  # points of a side, and of half a one: fewer tell no direction; chosen, no source
_RUN_BLURS = 10  # points of a side, times the blur; chosen, no source
_MOST_TURN_DEG = 165.0  # a corner that turns more is left as a needle's tip; chosen, no source
_LEAST_SINE = 0.25  # of a turn by which sides are kept farther away: no more than four times as far
_GAP_PART, _GAP_PX, _GAP_NOISES = 0.15, 0.22, 1.5  # how far the half level may lie from where blur alone puts it


@dataclass(frozen=True, slots=True)
class Corner:
    """A restored corner."""

    first: int  # index of the last point kept before it
    last: int  # index of the first point kept after it (may be less than `first` across the seam)
    points_px: FloatArray  # (M, 2), what replaces the points between
    apex: int  # index of the apex in `points_px`


@cache
def _gap_table() -> tuple[FloatArray, FloatArray]:
    """Distance from apex to half level along the bisector, in sigmas, against the wedge's full angle (radians)."""
    angles = np.radians(np.arange(10.0, 180.1, 2.5))
    u = np.linspace(0.0, 7.0, 141)
    x = np.linspace(0.0, 12.0, 241)
    gaps = []
    for angle in angles:
        share = _wedge_share(u, x, float(angle))
        gaps.append(float(np.interp(0.5, share, u)))
    return angles, np.array(gaps)


def _wedge_share(u: FloatArray, x: FloatArray, angle: float) -> FloatArray:
    """Share of a unit Gaussian at depth u on the bisector that lies in a wedge with its apex at 0."""
    from ..measure.profiles import normal_cdf

    if angle > np.pi - 1e-6:
        return np.asarray(normal_cdf(u))
    across = 2.0 * normal_cdf(x * np.tan(angle / 2)) - 1.0
    density = np.exp(-0.5 * (x[None, :] - u[:, None]) ** 2) / np.sqrt(2 * np.pi)
    return np.asarray((density * across).sum(axis=1) * (x[1] - x[0]))


def wedge_gap(turn: npt.ArrayLike) -> FloatArray:
    """How far (in sigmas) the half level of a blurred sharp corner stays from its apex; of each.

    `turn` is the change of direction at the corner in radians, 0..pi; the wedge's angle is pi - turn. Convex and
    reentrant corners are mirror images, so the same holds for both.
    """
    return np.interp(np.pi - np.abs(turn), *_gap_table())


Probe = Callable[[IntArray, FloatArray, FloatArray], FloatArray]
"""Rings (Q,), places (Q, M, 2) in each and a place (Q, 2) whose levels to use -> light (Q, M): 1 item, 0 beyond it."""


@dataclass(frozen=True, slots=True)
class Edges:
    """What corners are looked for on: R closed contours of about 1 px spacing, end to end."""

    rings: EndToEnd
    points: FloatArray  # (N, 2) px, evenly spaced, smoothed: where corners are looked for
    places: FloatArray  # (N, 2) px, the same before smoothing: what the sides are fitted to
    sigma: FloatArray  # (R,) blur, px, aperture included
    noise: FloatArray  # (R,) standard deviation of the raw places along the normal, px

    @property
    def gap(self) -> IntArray:
        """(R,) points beside a corner that its blur moves."""
        return np.ceil(CLEAR_BLURS * self.sigma).astype(np.int64) + 1

    @property
    def run(self) -> IntArray:
        """(R,) points of a side."""
        return np.maximum(_LEAST_RUN[0], (_RUN_BLURS * self.sigma).astype(np.int64))

    def picked(self, numbers: IntArray) -> Edges:
        """Some of them."""
        rings, rows = self.rings.picked(numbers)
        return Edges(rings, self.points[rows], self.places[rows], self.sigma[numbers], self.noise[numbers])


def find_corners(edges: Edges, probe: Probe, among: IntArray | None = None) -> list[list[Corner]]:
    """Find the sharp corners of closed contours, a list of each of R.

    A corner is where the directions a little before and after differ by more than 25 degrees, where both
    neighbouring stretches are clean curves, and where the half level along the bisector keeps the distance
    from their meeting point that blur of `sigma` alone gives a sharp corner: a rounded corner keeps more.

    Parameters
    ----------
    edges
        The contours.
    probe
        Looks at the picture.
    among
        The numbers of the contours that are searched, if not all.
    """
    found: list[list[Corner]] = [[] for _ in range(len(edges.rings))]
    peaks = _sharp_turns(edges, np.arange(len(found)) if among is None else among)
    owner = np.repeat(np.arange(len(peaks)), [len(one) for one in peaks])
    restored = _restore(edges, owner, np.array([k for one in peaks for k in one], dtype=np.int64), probe)
    for ring, corner in zip(owner.tolist(), restored, strict=True):
        if corner is not None:
            found[ring].append(corner)
    return [_apart(one, size) for one, size in zip(found, edges.rings.sizes.tolist(), strict=True)]


def _sharp_turns(edges: Edges, among: IntArray) -> list[list[int]]:
    """Where each contour turns most: the numbers of its points, the strongest turn first."""
    found: list[list[int]] = [[] for _ in range(len(edges.rings))]
    long = among[(edges.rings.sizes >= 2 * (edges.gap + edges.run) + 8)[among]]
    some = edges.picked(long)
    apart, half = some.gap + some.run // 2, some.run // 2
    # a sharp corner turns within the blur, a round one over its whole length
    short = np.ceil(_TURN_BLURS * some.sigma).astype(np.int64) + 2
    for numbers, rings, rows in some.rings.alike((apart << 40) + (half << 20) + short):
        k = numbers[0]
        turn = _turning(some.points[rows], rings, int(apart[k]), int(half[k]))
        turn[np.abs(_turning(some.points[rows], rings, int(short[k]), 2)) < 0.5 * np.abs(turn)] = 0.0
        for number, at in zip(numbers.tolist(), rings.slices, strict=True):
            found[long[number]] = _peaks(np.abs(turn[at]), np.radians(MIN_TURN_DEG), int(apart[k]))
    return found


def _apart(corners: list[Corner], count: int) -> list[Corner]:
    """Drop corners whose replaced stretch overlaps that of a stronger one (the list is strongest first)."""
    taken = np.zeros(count, bool)
    kept = []
    for corner in corners:
        span = (corner.first + 1 + np.arange((corner.last - corner.first - 1) % count)) % count
        if not taken[span].any():
            taken[span] = True
            kept.append(corner)
    return kept


def _turning(points: FloatArray, rings: EndToEnd, apart: int, half: int) -> FloatArray:
    """Change of direction between the stretches centred `apart` before and after each point, radians; (N,)."""
    tangent = correlate_rings(points, rings, quadratic_weights(half, 1))
    angle = np.arctan2(tangent[:, 1], tangent[:, 0])
    change = angle[rings.moved(apart)] - angle[rings.moved(-apart)]
    return np.asarray((change + np.pi) % (2 * np.pi) - np.pi)


def _peaks(value: FloatArray, least: float, apart: int) -> list[int]:
    """Indices of maxima above `least`, the strongest first, none within `apart` of a stronger one (closed)."""
    count = len(value)
    top = (value >= least) & (value >= rolled(value, 1)) & (value >= rolled(value, -1))
    found = np.flatnonzero(top)
    taken: list[int] = []
    for index in found[np.argsort(-value[found], kind="stable")].tolist():
        if all(apart < abs(one - index) < count - apart for one in taken):
            taken.append(index)
        if len(taken) >= _MOST_CORNERS:
            break
    return taken


def _restore(edges: Edges, ring: IntArray, peaks: IntArray, probe: Probe) -> list[Corner | None]:
    """Try to make the corners near peaks (P,) of a ring (P,) each sharp: by long sides first, from close by first."""
    found: list[Corner | None] = [None] * len(peaks)
    sigma, run = edges.sigma[ring], edges.run[ring]
    starts = np.stack([np.ceil(blurs * sigma + px) for blurs, px in _STARTS], axis=1)
    for length in (3 * run, run, np.maximum(_LEAST_RUN[1], run // 2)):
        for gaps in (starts[:, :1], starts[:, 1:]):  # most sharp ones come of the first; the others are tried together
            left = np.array([k for k, corner in enumerate(found) if corner is None], dtype=np.int64)
            if not len(left):
                return found
            tried = np.repeat(left, gaps.shape[1])
            gap = gaps[left].ravel().astype(np.int64)
            for each in np.unique(length[tried]).tolist():
                at = np.flatnonzero(length[tried] == each)
                one = tried[at]
                made = _restore_from(edges, ring[one], peaks[one], gap[at], each, probe)
                for k in sorted(made, reverse=True):  # the nearest start's is what stays
                    found[one[k]] = made[k]
    return found


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Two sides each of Q places, and where they meet."""

    which: IntArray  # (Q,) of the corners that are tried
    first: Sides
    second: Sides
    apex: FloatArray  # (Q, 2)

    def picked(self, flags: BoolArray) -> _Pairs:
        """Those with a flag (Q,)."""
        return _Pairs(self.which[flags], self.first.picked(flags), self.second.picked(flags), self.apex[flags])

    def turns(self) -> FloatArray:
        """By how much the direction changes from the way back along one side to the way on along the other; radians."""
        (ax, ay), (bx, by) = self._ways()
        return np.asarray(np.abs(np.arctan2(bx * ay - by * ax, -ax * bx - ay * by)))

    def into(self) -> FloatArray:
        """Unit directions (Q, 2) from the apex in between both sides."""
        between = np.sum([one.T for one in self._ways()], axis=0)
        return np.asarray(between / np.maximum(np.hypot(between[:, 0], between[:, 1]), 1e-9)[:, None])

    def _ways(self) -> tuple[FloatArray, FloatArray]:
        one, other = (directions(side.curve, side.meeting).T for side in (self.first, self.second))
        return one, other


def _restore_from(
    edges: Edges, ring: IntArray, peaks: IntArray, gaps: IntArray, run: int, probe: Probe
) -> dict[int, Corner]:
    """Fit two sides each from `gaps` (P,) points off, then from where each side rules alone, until that settles.

    Returns the corners of those of the P `peaks` (P,), each of a `ring` (P,), that become sharp so.
    """
    found: dict[int, Corner] = {}
    which, before, after = np.arange(len(peaks)), peaks - gaps, peaks + gaps
    for _ in range(4):
        fits = (after - before + 2 * run + 4 < edges.rings.sizes[ring[which]]) & (after - before >= -2)
        which, before, after = which[fits], before[fits], after[fits]
        if not len(which):
            break
        pairs = _pairs(edges, which, ring[which], before, after, run, gaps[which])
        turn, sigma = pairs.turns(), edges.sigma[pairs.first.ring]
        bent = (np.radians(MIN_TURN_DEG) < turn) & (turn < np.radians(_MOST_TURN_DEG))
        pairs, turn, clear = pairs.picked(bent), turn[bent], _clear_px(turn, sigma)[bent]
        back, on = (_outward_steps(-side.meeting, clear) for side in (pairs.first, pairs.second))
        still = (back == 0) & (on == 0)
        for k, corner in _made(edges, pairs.picked(still), turn[still], clear[still], probe):
            found[k] = corner
        pairs, away = pairs.picked(~still), ~still
        which, before, after = pairs.which, pairs.first.start - back[away], pairs.second.start + on[away]
    return found


def _pairs(
    edges: Edges, which: IntArray, ring: IntArray, before: IntArray, after: IntArray, run: int, gaps: IntArray
) -> _Pairs:
    """Of sides (P,) that end `before` and begin `after` a place, `gaps` (P,) off it, those clean ones that meet."""
    places, back, count = Places(edges.rings, edges.places), np.arange(run + 1), len(which)
    stretches = np.concatenate([places.at(ring, before[:, None] - back), places.at(ring, after[:, None] + back)])
    curves, good = side_curves(stretches, np.tile(edges.noise[ring], 2))
    clean = good[:count] & good[count:]
    first, second = curves[:count][clean], curves[count:][clean]
    steps, apex, meet = meetings(first, second, np.asarray(2.0 * (gaps[clean] + 4)))
    own = ring[clean]
    return _Pairs(
        which[clean],
        Sides(own, first, steps[:, 0], before[clean], 1),
        Sides(own, second, steps[:, 1], after[clean], -1),
        apex,
    ).picked(meet)


def _made(
    edges: Edges, pairs: _Pairs, turn: FloatArray, clear: FloatArray, probe: Probe
) -> Iterator[tuple[int, Corner]]:
    """Of pairs whose sides begin where each rules alone the corners that are sharp, and which they are."""
    places = Places(edges.rings, edges.places)
    # near an acute tip the chain's own normals are askew a while longer
    plain = np.where(turn < np.pi / 2, clear, _ACUTE * clear)
    for which in (0, 1):
        side = (pairs.first, pairs.second)[which]
        good = lead_in(places, side, plain, edges.noise[side.ring])
        pairs, turn, plain = pairs.picked(good), turn[good], plain[good]
    if not len(turn):
        return
    pairs = pairs.picked(_are_sharp(edges, pairs, turn, probe))
    noise = edges.noise[pairs.first.ring]
    beyond = run_beyond(places, pairs.first, pairs.second.curve, noise)
    beyond |= run_beyond(places, pairs.second, pairs.first.curve, noise)
    for k in np.flatnonzero(~beyond).tolist():
        size = int(edges.rings.sizes[pairs.first.ring[k]])
        yield int(pairs.which[k]), _corner(pairs, k, size)


def _outward_steps(distance: FloatArray, clear: FloatArray) -> IntArray:
    """Points to move sides' starts outward (or, negative, inward) so that they lie `clear` to `clear` + 16 px off."""
    out = np.maximum(1, np.rint(clear - distance))
    back = -np.rint(distance - clear - 10)
    moved = np.where(distance < clear - 0.5, out, np.where(distance > clear + 16, back, 0.0))
    return np.asarray(moved, dtype=np.int64)


def _clear_px(turn: FloatArray, sigma: FloatArray) -> FloatArray:
    """Distance from the apex beyond which a side's profile does not see the other side.

    Within a tip the light that counts as the item's own is not quite pure, as it is near both sides: places lie 0.02 to
    0.05 px outward there, the apex ten times as far. From 110 degrees of turn on, sides begin farther away for that.
    """
    own = 3.0 * sigma + 1.0
    farther = _ACUTE + np.clip((turn - 0.5 * np.pi) / np.radians(_TIP_DEG - 90.0), 0.0, 1.0)
    return np.where(turn < np.pi / 2, own + 0.5, farther * own / np.maximum(np.sin(turn), _LEAST_SINE))


def _corner(pairs: _Pairs, k: int, size: int) -> Corner:
    """Points along both sides' curves up to the apex, about 1 px apart."""
    first, second = pairs.first, pairs.second
    s1, s2 = float(first.meeting[k]), float(second.meeting[k])
    t1 = np.linspace(0.0, s1, max(2, round(abs(s1)) + 1))[:-1]
    t2 = np.linspace(s2, 0.0, max(2, round(abs(s2)) + 1))[1:]
    new = np.vstack([evaluate(first.curve[k], t1), pairs.apex[k : k + 1], evaluate(second.curve[k], t2)])
    return Corner(int(first.start[k]) % size - 1, int(second.start[k]) % size + 1, new, len(t1))


def _are_sharp(edges: Edges, pairs: _Pairs, turn: FloatArray, probe: Probe) -> BoolArray:
    """Whether the half level along the bisector lies where blur alone puts it for a sharp corner; (Q,)."""
    ring = pairs.first.ring
    sigma, noise = edges.sigma[ring], edges.noise[ring]
    expected = np.sqrt(sigma**2 + 1 / 6) * wedge_gap(turn)  # the probe interpolates between pixels
    count = np.ceil((3.0 * expected + 5.0) / _PROBE_PX).astype(np.int64)
    number = np.arange(int(count.max()))
    depth = -1.0 + _PROBE_PX * number
    value = probe(ring, pairs.apex[:, None] + depth[:, None] * pairs.into()[:, None], pairs.apex)
    every = np.arange(len(ring))
    rising = np.where((value[every, count - 1] > value[:, 0])[:, None], value, 1.0 - value)
    crossing = (rising[:, :-1] < 0.5) & (rising[:, 1:] >= 0.5) & (number[1:] < count[:, None])
    i = crossing.argmax(axis=1)
    low, high = rising[every, i], rising[every, i + 1]
    measured = depth[i] + _PROBE_PX * (0.5 - low) / np.maximum(high - low, 1e-6)
    near = np.abs(measured - expected) < _GAP_PART * expected + _GAP_PX + _GAP_NOISES * noise
    return np.asarray((crossing.sum(axis=1) == 1) & near)
