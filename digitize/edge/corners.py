"""Sharp corners of a blurred outline: told from round ones, and put back where two clean edges meet."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from ..measure.rings import rolled
from ..records import BoolArray, FloatArray
from ..steady import product, pseudo_inverse
from .smoothing import correlate_closed, quadratic_weights

_MOST_CORNERS = 250
_LEADS_IN_PX = 0.15  # how far a measured place may lie off a side run on from farther away
_BEYOND_PX, _BEYOND = 0.5, 2  # how far places may lie outside of a corner put back; so many farther: it is none
_TIP_DEG = 110.0  # of turn: where a corner is a tip
MIN_TURN_DEG = 25.0  # the half level of a shallower corner is within 0.17 sigma of its apex


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


def wedge_gap(turn: float) -> float:
    """How far (in sigmas) the half level of a blurred sharp corner stays from its apex.

    `turn` is the change of direction at the corner in radians, 0..pi; the wedge's angle is pi - turn. Convex and
    reentrant corners are mirror images, so the same holds for both.
    """
    angles, gaps = _gap_table()
    return float(np.interp(np.pi - abs(turn), angles, gaps))


IntArray = npt.NDArray[np.int64]

Probe = Callable[[FloatArray, FloatArray], FloatArray]
"""(M, 2) places, (2,) a place whose levels to use -> (M,) light, 1 on the item and 0 beyond it."""


def find_corners(points: FloatArray, places: FloatArray, sigma: float, noise: float, probe: Probe) -> list[Corner]:
    """Find the sharp corners of a closed contour of about 1 px spacing.

    A corner is where the directions a little before and after differ by more than 25 degrees, where both
    neighbouring stretches are clean curves, and where the half level along the bisector keeps the distance
    from their meeting point that blur of `sigma` alone gives a sharp corner: a rounded corner keeps more.

    Parameters
    ----------
    points
        (N, 2) px, evenly spaced, smoothed: where corners are looked for.
    places
        (N, 2) px, the same before smoothing: what the sides are fitted to.
    sigma
        Blur, px, aperture included.
    noise
        Standard deviation of the raw places along the normal, px.
    probe
        Looks at the picture.
    """
    gap = int(np.ceil(2.6 * sigma)) + 1
    run = max(12, int(10 * sigma))
    if len(points) < 2 * (gap + run) + 8:
        return []
    turn = _turning(points, gap + run // 2, run // 2)
    # a sharp corner turns within the blur, a round one over its whole length
    short = _turning(points, int(np.ceil(1.5 * sigma)) + 2, 2)
    turn[np.abs(short) < 0.5 * np.abs(turn)] = 0.0
    peaks = _peaks(np.abs(turn), np.radians(MIN_TURN_DEG), gap + run // 2)
    restored = _restore(places, peaks, sigma, noise, run, probe)
    return _apart([corner for corner in restored if corner is not None], len(points))


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


def _turning(points: FloatArray, apart: int, half: int) -> FloatArray:
    """Change of direction between the stretches centred `apart` before and after each point, radians; (N,)."""
    tangent = correlate_closed(points, quadratic_weights(half, 1))
    angle = np.arctan2(tangent[:, 1], tangent[:, 0])
    change = rolled(angle, -apart) - rolled(angle, apart)
    return np.asarray((change + np.pi) % (2 * np.pi) - np.pi)


def _peaks(value: FloatArray, least: float, apart: int) -> list[int]:
    """Indices of maxima above `least`, the strongest first, none within `apart` of a stronger one (closed)."""
    count = len(value)
    top = (value >= least) & (value >= rolled(value, 1)) & (value >= rolled(value, -1))
    found = np.flatnonzero(top)
    taken: list[int] = []
    for index in found[np.argsort(-value[found], kind="stable")]:
        apart_from = np.abs(np.array(taken, dtype=np.int64) - index)
        if not taken or int(np.minimum(apart_from, count - apart_from).min()) > apart:
            taken.append(int(index))
        if len(taken) >= _MOST_CORNERS:
            break
    return taken


def _restore(
    places: FloatArray, indices: list[int], sigma: float, noise: float, run: int, probe: Probe
) -> list[Corner | None]:
    """Try to make the corner near each index sharp: by long sides before short ones, from close by before far off."""
    found: list[Corner | None] = [None] * len(indices)
    starts = [math.ceil(one) for one in (2.6 * sigma + 1, 3.5 * sigma + 3, 5 * sigma + 5, 7 * sigma + 8)]
    for length in (3 * run, run, max(7, run // 2)):
        for gaps in (starts[:1], starts[1:]):  # most sharp ones come of the first; the others are tried together
            left = [k for k, corner in enumerate(found) if corner is None]
            if not left:
                return found
            peaks = np.array([indices[k] for k in left for _ in gaps], dtype=np.int64)
            made = _restore_from(places, peaks, sigma, noise, np.tile(gaps, len(left)), length, probe)
            for k in sorted(made, reverse=True):  # the nearest start's is what stays
                found[left[k // len(gaps)]] = made[k]
    return found


def _restore_from(
    places: FloatArray, indices: IntArray, sigma: float, noise: float, gaps: IntArray, run: int, probe: Probe
) -> dict[int, Corner]:
    """Fit two sides each from `gaps` (P,) points off, then from where each side rules alone, until that settles.

    Returns the corners of those of the P `indices` (P,) that become sharp so.
    """
    count, back, found = len(places), np.arange(run + 1), dict[int, Corner]()
    which, before, after = np.arange(len(indices)), indices - gaps, indices + gaps
    for _ in range(4):
        fits = (after - before + 2 * run + 4 < count) & (after - before >= -2)
        which, before, after = which[fits], before[fits], after[fits]
        if not len(which):
            break
        both = np.concatenate([before[:, None] - back, after[:, None] + back]) % count
        curves, good = _side_curves(places[both], noise)
        clean = good[: len(which)] & good[len(which) :]
        first, second = curves[: len(which)][clean], curves[len(which) :][clean]
        which, before, after = which[clean], before[clean], after[clean]
        moved = []
        for k, sides in enumerate(zip(first, second, before.tolist(), after.tolist(), strict=True)):
            came = _judged(places, *sides, sigma, noise, int(gaps[which[k]]), probe)
            if isinstance(came, Corner):
                found[int(which[k])] = came
            elif came is not None:
                moved.append((k, *came))
        if not moved:
            break
        ways = np.array(moved, dtype=np.int64)
        which, before, after = which[ways[:, 0]], ways[:, 1], ways[:, 2]
    return found


def _judged(
    places: FloatArray,
    first: FloatArray,
    second: FloatArray,
    before: int,
    after: int,
    sigma: float,
    noise: float,
    gap: int,
    probe: Probe,
) -> Corner | tuple[int, int] | None:
    """What comes of two clean sides from `before` and `after` on: a corner, other starts, or nothing."""
    met = _meet(first, second, 2.0 * (gap + 4))
    if met is None:
        return None
    turn = _turn(_direction(first, met[0]), _direction(second, met[1]))
    if not np.radians(MIN_TURN_DEG) < turn < np.radians(165):
        return None
    clear = _clear_px(turn, sigma)
    steps = [_outward_steps(-s, clear) for s in met[:2]]
    if steps != [0, 0]:
        return before - steps[0], after + steps[1]
    both = ((first, met[0], before, 1), (second, met[1], after, -1))
    # near an acute tip the chain's own normals are askew a while longer
    plain = clear if turn < np.pi / 2 else 1.4 * clear
    if not all(_leads_in(places, *side, plain, noise) for side in both):
        return None
    if not _is_sharp(met[2], first, second, met, turn, sigma, noise, probe):
        return None
    if any(_runs_beyond(places, *side, other, noise) for side, other in zip(both, (second, first), strict=True)):
        return None
    return _corner(first, second, met, before % len(places), after % len(places))


def _leads_in(
    places: FloatArray, curve: FloatArray, meeting: float, start: int, toward: int, clear: float, noise: float
) -> bool:
    """Whether the places between a side's start and where the other side comes into sight lie on the side run on."""
    last, most = int(-meeting - clear), _LEADS_IN_PX + 2.0 * noise
    if last < 1:
        return True
    x, y = _direction(curve, 0.5 * meeting)
    # a round corner leaves its sides most at the last place: without the others it is told
    (ax, ay), (bx, by), (cx, cy) = curve.tolist()
    px, py = places[(start + toward * last) % len(places)].tolist()
    if abs((py - ay + last * (by - last * cy)) * x - (px - ax + last * (bx - last * cx)) * y) >= most:
        return False
    between = np.arange(1, last + 1)
    off = places[(start + toward * between) % len(places)] - _evaluate(curve, -between.astype(np.float64))
    return bool(np.abs(off[:, 1] * x - off[:, 0] * y).max() < most)


def _runs_beyond(
    places: FloatArray, curve: FloatArray, meeting: float, start: int, toward: int, other: FloatArray, noise: float
) -> bool:
    """Whether places between a side's start and the corner lie beyond it: a blurred corner's half level never does."""
    between = np.arange(1, int(-meeting) + 1)
    seen = places[(start + toward * between) % len(places)]
    x, y = _direction(curve, meeting)
    off = seen - _evaluate(curve, -between.astype(np.float64))
    across = off[:, 1] * x - off[:, 0] * y
    ox, oy = other[1].tolist()
    inward = across if x * oy - y * ox > 0 else -across
    return bool(np.count_nonzero(inward < -(_BEYOND_PX + 2.0 * noise)) >= _BEYOND)


def _outward_steps(distance: float, clear: float) -> int:
    """Points to move a side's start outward (or, negative, inward) so that it lies `clear` to `clear` + 16 px off."""
    if distance < clear - 0.5:
        return max(1, round(clear - distance))
    if distance > clear + 16:
        return -round(distance - clear - 10)
    return 0


def _clear_px(turn: float, sigma: float) -> float:
    """Distance from the apex beyond which a side's profile does not see the other side.

    Within a tip the light that counts as the item's own is not quite pure, as it is near both sides: places lie 0.02 to
    0.05 px outward there, the apex ten times as far. From 110 degrees of turn on, sides begin farther away for that.
    """
    own = 3.0 * sigma + 1.0
    if turn < np.pi / 2:
        return own + 0.5
    farther = 1.4 + float(np.clip((turn - 0.5 * np.pi) / np.radians(_TIP_DEG - 90.0), 0.0, 1.0))
    return farther * own / max(float(np.sin(turn)), 0.25)


def _corner(
    first: FloatArray, second: FloatArray, met: tuple[float, float, FloatArray], before: int, after: int
) -> Corner:
    """Points along both side curves up to the apex, about 1 px apart."""
    s1, s2, apex = met
    t1 = np.linspace(0.0, s1, max(2, round(abs(s1)) + 1))[:-1]
    t2 = np.linspace(s2, 0.0, max(2, round(abs(s2)) + 1))[1:]
    new = np.vstack([_evaluate(first, t1), apex[None, :], _evaluate(second, t2)])
    return Corner(before - 1, after + 1, new, len(t1))


def _turn(back: tuple[float, float], on: tuple[float, float]) -> float:
    """By how much the direction changes from the way back along one side to the way on along the other; radians."""
    (ax, ay), (bx, by) = back, on
    return abs(math.atan2(bx * ay - by * ax, -ax * bx - ay * by))


def _is_sharp(
    apex: FloatArray,
    first: FloatArray,
    second: FloatArray,
    met: tuple[float, float, FloatArray],
    turn: float,
    sigma: float,
    noise: float,
    probe: Probe,
) -> bool:
    """Whether the half level along the bisector lies where blur alone puts it for a sharp corner."""
    into = np.add(_direction(first, met[0]), _direction(second, met[1]))
    into = into / max(math.hypot(*into.tolist()), 1e-9)
    seen_sigma = float(np.sqrt(sigma**2 + 1 / 6))  # the probe interpolates between pixels
    expected = seen_sigma * wedge_gap(turn)
    depth = np.arange(-1.0, 3.0 * expected + 4.0, 0.25)
    value = probe(apex + depth[:, None] * into, apex)
    rising = value if value[-1] > value[0] else 1.0 - value
    crossings = np.flatnonzero((rising[:-1] < 0.5) & (rising[1:] >= 0.5))
    if len(crossings) != 1:
        return False
    i = int(crossings[0])
    measured = depth[i] + 0.25 * (0.5 - rising[i]) / max(float(rising[i + 1] - rising[i]), 1e-6)
    return bool(abs(measured - expected) < 0.15 * expected + 0.22 + 1.5 * noise)


@cache
def _designs(count: int) -> tuple[FloatArray, FloatArray]:
    """Design matrix (N, 3) of a quadratic on 0..N-1; pseudo-inverses of its straight part and of all of it, (5, N)."""
    t = np.arange(count, dtype=np.float64)
    design = np.column_stack([np.ones_like(t), t, t**2])
    return design, np.concatenate([pseudo_inverse(design[:, :2]), pseudo_inverse(design)])


def _side_curves(points: FloatArray, noise: float) -> tuple[FloatArray, BoolArray]:
    """Quadratics (P, 3, 2) of P stretches (P, N, 2), in steps from each first point; straight where that serves.

    t = 0 there, and grows away from the corner. Also tells which of the stretches are clean, (P,).
    """
    limit = max(0.06, 1.2 * noise)
    design, inverses = _designs(points.shape[1])
    line, curve = np.split(product(inverses, points), [2], axis=1)
    rms_line = _rms_across(points - product(design[:, :2], line), line[:, 1])
    rms_curve = _rms_across(points - product(design, curve), curve[:, 1])
    straight = rms_line <= np.maximum(1.25 * rms_curve, 0.02)
    clean = np.where(straight, rms_line, rms_curve) < limit
    curve[straight, :2] = line[straight]
    curve[straight, 2] = 0.0
    return curve, clean


def _rms_across(rest: FloatArray, along: FloatArray) -> FloatArray:
    """Root mean square of (P, N, 2) offsets across P directions (P, 2); (P,)."""
    unit = along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None]
    across = rest[..., 0] * -unit[:, None, 1] + rest[..., 1] * unit[:, None, 0]
    return np.asarray(np.sqrt(np.einsum("pn,pn->p", across, across) / rest.shape[1]))


def _evaluate(curve: FloatArray, t: FloatArray) -> FloatArray:
    at = t[:, None]
    return np.asarray(curve[0] + at * curve[1] + at * at * curve[2])


def _direction(curve: FloatArray, t: float) -> tuple[float, float]:
    """Unit direction of growing t."""
    (bx, by), (cx, cy) = curve[1:].tolist()
    x, y = bx + 2 * t * cx, by + 2 * t * cy
    size = max(math.hypot(x, y), 1e-12)
    return x / size, y / size


def _meet(first: FloatArray, second: FloatArray, farthest: float) -> tuple[float, float, FloatArray] | None:
    """Parameters and place where two side curves, run on beyond their starts, meet; Newton from their ends."""
    (ax, ay), (bx, by), (cx, cy) = first.tolist()
    (dx, dy), (ex, ey), (fx, fy) = second.tolist()
    s = t = -0.25 * farthest
    settled = False
    for _ in range(20):
        px = ax + s * (bx + s * cx) - dx - t * (ex + t * fx)
        py = ay + s * (by + s * cy) - dy - t * (ey + t * fy)
        j11, j12, j21, j22 = bx + 2 * s * cx, -ex - 2 * t * fx, by + 2 * s * cy, -ey - 2 * t * fy
        determinant = j11 * j22 - j12 * j21
        if abs(determinant) < 1e-4:
            return None
        step_s = (px * j22 - py * j12) / determinant
        step_t = (j11 * py - j21 * px) / determinant
        s -= min(max(step_s, -farthest), farthest)
        t -= min(max(step_t, -farthest), farthest)
        settled = abs(step_s) + abs(step_t) < 1e-9
        if settled:
            break
    if not settled or max(s, t) > 8.0 or min(s, t) < -4 * farthest - 8:
        return None
    return s, t, np.array([ax + s * (bx + s * cx), ay + s * (by + s * cy)])
