"""A second plausible border beside the one taken: rim, bevel, shadow, print at the edge, glare.

Light is averaged along the normals over stretches of the outline, each a twenty-fourth of it, so that a step much
fainter than the border's own shows out of the noise. Near the border, where two steps melt into one, a border of two
steps of the picture's own blur is held against a single one of any blur. Farther off, up to 3 mm both ways, a second
step counts where the band between both differs little from the ground: what differs much from it is the item's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from ..measure.profiles import light_between, normal_cdf
from ..records import BoolArray, Contour, FloatArray, Picture

REACH_MM = 3.0  # as far as a second border is looked for, by the users' wishes
LEAST_SHARE = 0.2  # of the outline, by the users' wishes
_STRETCHES = 24
_SPACING_MM = 0.5
_MOST_A_STRETCH, _LEAST_A_STRETCH = 16, 5  # profiles
_STEP_PX = 0.5  # near the border
_NEAR_PX = 10.0
_FAR_STEP_MM = 0.06  # along a profile beyond, but a pixel at least
_LEAST_STEP = 0.015  # of full light: a fainter second step is not told from a lid's unevenness
_NOISES = 6.0  # standard deviations of the mean that a step must be clear by
_PALE = 0.6  # of the item's contrast to the ground: a band that differs more is the item's own
_BETTER = 0.4  # rest of two steps over that of one, below which there are two
_LEAST_REST = 0.0025  # of the contrast, of a single step's rest: less is the lens's own blur
_LEAST_PART = 0.02  # of the contrast, of either of two steps that have melted into one
_SAMPLING_PX = 0.39  # what sampling between pixels, and along an edge that is known to a tenth of one, adds to its blur
_CLEARLY = 0.5  # of what a straight trend leaves
_SOFT = 2.2  # times the picture's blur: a softer second step is shade


@dataclass(frozen=True, slots=True)
class RunnerUp:
    """Two borders along an outline, by how far each lies from the one taken, along the outward normal."""

    inner_px: FloatArray  # (N,) for each point of the contour, at most 0 but for noise; 0 where there is one only
    outer_px: FloatArray  # (N,)
    doubtful: BoolArray  # (N,) where there are two
    share: float  # of the outline

    def apart_px(self) -> float:
        """How far apart the two are, where they are: the median."""
        return float(np.median((self.outer_px - self.inner_px)[self.doubtful]))

    def farthest_px(self) -> float:
        """How far the taken border lies from the other one, at the worst 5 % of the way."""
        away = np.maximum(np.abs(self.inner_px), np.abs(self.outer_px))[self.doubtful]
        return float(np.quantile(away, 0.95))

    def moved(self, contour: Contour, *, outer: bool) -> FloatArray:
        """(N, 2) px: the points of the outer or the inner border."""
        return moved_by(contour.points_px, self.outer_px if outer else self.inner_px)


def find_runner_up(picture: Picture, contour: Contour, *, blur_px: float | None, mm_per_px: float) -> RunnerUp | None:
    """Look for a second border along a contour.

    Parameters
    ----------
    picture
        That the contour was traced in.
    contour
        An exterior.
    blur_px
        Of the picture, by its reference; None where it is not known, and the contour's own is the best guess.
    mm_per_px
        Size of a pixel.
    """
    count = len(contour.points_px)
    stretches = _stretches(contour, mm_per_px)
    normals = outward_normals(contour.points_px)
    sigma = float(np.hypot(blur_px or contour.blur_px, _SAMPLING_PX))
    found = np.full((len(stretches), 2), np.nan)
    light = [_profiles(picture, contour.points_px[at], normals[at], mm_per_px) for at in stretches]
    known = [one for one in light if one is not None]
    if len(known) < 0.5 * _STRETCHES:
        return None
    ground = np.median([one.outside for one in known], axis=0)
    item = np.median([one.inside for one in known], axis=0)
    for k, one in enumerate(light):
        if one is None:
            continue
        two = _near(one, ground, item, sigma, sure=blur_px is not None) or _far(one, ground, item, sigma)
        if two is not None:
            found[k] = two
    found[~_in_company(found)] = np.nan
    doubtful = np.isfinite(found[:, 0])
    owner = (np.arange(count) * len(stretches)) // count
    share = float(doubtful[owner].mean())
    if share < LEAST_SHARE:
        return None
    filled = np.where(doubtful[:, None], found, 0.0)
    inner, outer = (_between(filled[:, k], doubtful, count) for k in (0, 1))
    return RunnerUp(inner, outer, doubtful[owner], share)


def moved_by(points: FloatArray, by: FloatArray) -> FloatArray:
    """Points moved outward by so much, corners along their bisector so that their sides move in parallel."""
    after = np.roll(points, -1, axis=0) - points
    after /= np.maximum(np.linalg.norm(after, axis=1), 1e-9)[:, None]
    ahead = np.column_stack([after[:, 1], -after[:, 0]]) * -1.0
    behind = np.roll(ahead, 1, axis=0)
    bisector = (ahead + behind) / np.maximum(1.0 + (ahead * behind).sum(axis=1), 0.3)[:, None]
    return np.asarray(points + by[:, None] * bisector)


def outward_normals(points: FloatArray, half: int = 4) -> FloatArray:
    """Unit normals out of the item, for points in a picture (y down) that run counter-clockwise seen y up; (N, 2)."""
    along = np.roll(points, -half, axis=0) - np.roll(points, half, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Mean light along the normals of one stretch."""

    at_px: FloatArray  # (K,) positive outward
    light: FloatArray  # (K, C)
    noise: float  # standard deviation of one value, all channels
    inside: FloatArray  # (C,) some way in
    outside: FloatArray  # (C,) some way out


def _stretches(contour: Contour, mm_per_px: float) -> list[np.ndarray]:
    """Indices of the points whose profiles are taken, for each stretch; none beside corners."""
    count = len(contour.points_px)
    away = int(np.ceil(4 * contour.blur_px)) + 3
    clear = np.ones(count, bool)
    for corner in contour.corners:
        clear[(corner + np.arange(-away, away + 1)) % count] = False
    edges = np.linspace(0, count, _STRETCHES + 1).astype(int)
    found = []
    for first, last in pairwise(edges.tolist()):
        at = np.arange(first, last)[clear[first:last]]
        step = max(1, round(_SPACING_MM / mm_per_px), len(at) // _MOST_A_STRETCH)
        if len(at) // step < _LEAST_A_STRETCH:
            step = max(1, len(at) // _LEAST_A_STRETCH)
        found.append(at[::step])
    return found


def _profiles(picture: Picture, points: FloatArray, normals: FloatArray, mm_per_px: float) -> _Stretch | None:
    if len(points) < _LEAST_A_STRETCH:
        return None
    reach = REACH_MM / mm_per_px
    near = np.arange(-_NEAR_PX, _NEAR_PX + _STEP_PX / 2, _STEP_PX)
    far = np.arange(_NEAR_PX + 1.0, max(reach, _NEAR_PX + 3.0), max(1.0, round(_FAR_STEP_MM / mm_per_px)))
    at = np.concatenate([-far[::-1], near, far])
    places = points[:, None, :] + at[None, :, None] * normals[:, None, :]
    most = np.array([picture.width_px - 1, picture.height_px - 1])
    known = np.asarray(((places >= 0) & (places <= most)).all(axis=(0, 2)), dtype=np.bool_)
    light = light_between(picture, places.reshape(-1, 2)).reshape(len(points), len(at), -1)
    # the middle of what the profiles show: a neighbour or a speck on few of them does not count
    ordered = np.sort(light, axis=0)
    low, high = ordered[len(points) // 4], ordered[(3 * len(points)) // 4]
    kept = (light >= low - (high - low) - 0.01) & (light <= high + (high - low) + 0.01)
    mean = (light * kept).sum(axis=0) / np.maximum(kept.sum(axis=0), 1)
    if not known[np.abs(at) <= _NEAR_PX].all():
        return None
    at, mean = at[known], mean[known]
    steps = mean[1:] - mean[:-1]
    noise = 1.4826 * float(np.median(np.abs(steps - np.median(steps, axis=0)))) / np.sqrt(2.0)
    out, within = at > 0.5 * at.max(), at < 0.5 * at.min()
    return _Stretch(at, mean, max(noise, 2e-4), np.median(mean[within], axis=0), np.median(mean[out], axis=0))


def _near(
    one: _Stretch, ground: FloatArray, item: FloatArray, sigma: float, *, sure: bool
) -> tuple[float, float] | None:
    """Two steps that have melted into one: offsets of the inner and the outer; None if a single one explains it."""
    reach = min(_NEAR_PX, 4.0 * sigma + 5.0)
    near = np.abs(one.at_px) <= reach
    at, axis = one.at_px[near], item - ground
    size = float(np.linalg.norm(axis))
    if size < 4 * _LEAST_STEP:
        return None
    value = (one.light[near] - ground) @ axis / size**2
    around = tuple(at.tolist())
    single = min(
        float(_rest(value, _spanned(around, 1, s)).min()) for s in _times(sigma, 0.85, 1.0, 1.2, 1.5, 1.9, 2.5)
    )
    least = max(_LEAST_REST, 2.0 * one.noise / size)
    if single < least:
        return None
    sizes = (sigma,) if sure else _times(sigma, 0.7, 0.85, 1.0)
    tried = [(_rest(value, _spanned(around, 2, s)), s) for s in sizes]
    rest, best = min(tried, key=lambda pair: float(pair[0].min()))
    k = int(rest.argmin())
    if rest[k] > _BETTER * single or rest[k] > float(_rest(value, _spanned_soft(around, sigma)).min()):
        return None
    parts = np.linalg.lstsq(_basis(at, _DOUBLES[k : k + 1], best)[0], value, rcond=None)[0][1:]
    if min(parts) < max(_LEAST_PART, _LEAST_STEP / size) or parts.sum() > 1.6:
        return None
    inner, outer = _DOUBLES[k].tolist()
    return inner, outer


_SINGLES = np.arange(-3.0, 3.01, 0.2)[:, None]
_DOUBLES = np.array([(a, a + w) for a in np.arange(-4.5, 1.01, 0.125) for w in np.arange(0.8, 6.6, 0.2)])
_SHADED = np.array([(a, a + w) for a in np.arange(-1.5, 1.51, 0.125) for w in np.arange(-2.0, 8.1, 1.0)])


def _basis(at: FloatArray, places: FloatArray, sigma: float) -> FloatArray:
    """(M, K, 1 + S): a level, and a blurred step that falls outward at each of the S places of M cases."""
    steps = normal_cdf((places[:, None, :] - at[None, :, None]) / sigma)
    return np.concatenate([np.ones((len(places), len(at), 1)), steps], axis=2)


def _times(sigma: float, *factors: float) -> tuple[float, ...]:
    return tuple(sigma * factor for factor in factors)


@lru_cache(maxsize=16)
def _spanned(at: tuple[float, ...], steps: int, sigma: float) -> FloatArray:
    """Orthonormal columns that span each case's basis, (M, K, 1 + S): the same for all stretches of a picture."""
    return np.asarray(np.linalg.qr(_basis(np.array(at), _SINGLES if steps == 1 else _DOUBLES, sigma))[0])


@lru_cache(maxsize=16)
def _spanned_soft(at: tuple[float, ...], sigma: float) -> FloatArray:
    """Likewise for a step with a shade about it: a second one that is much softer."""
    found = []
    for times in (2.5, 4.0, 6.5, 10.0):
        steps = [normal_cdf((_SHADED[:, k, None] - np.array(at)) / (sigma * s)) for k, s in ((0, 1.0), (1, times))]
        found.append(np.stack([np.ones_like(steps[0]), *steps], axis=2))
    return np.asarray(np.linalg.qr(np.concatenate(found))[0])


def _rest(value: FloatArray, spanned: FloatArray) -> FloatArray:
    """RMS of what each case leaves of the value by least squares; (M,)."""
    part = value @ spanned
    left = float(value @ value) - (part**2).sum(axis=1)
    return np.asarray(np.sqrt(np.maximum(left, 0.0) / len(value)))


def _far(one: _Stretch, ground: FloatArray, item: FloatArray, sigma: float) -> tuple[float, float] | None:
    """A second step beyond the border's own blur: offsets of the inner and the outer of both."""
    size = float(np.linalg.norm(item - ground))
    best: tuple[float, tuple[float, float]] | None = None
    clear = 2.6 * sigma + 1.0
    for side in (-1.0, 1.0):
        place = _sharp_step(one, sigma, clear, side)
        if place is None:
            continue
        before, after = _level(one, place - clear, sigma), _level(one, place + clear, sigma)
        step = float(np.linalg.norm(after - before))
        if step < max(_LEAST_STEP * np.sqrt(len(ground)), _NOISES * one.noise):
            continue
        band, beyond = (before, after) if side > 0 else (after, before)  # the band lies between both borders
        off = float(np.linalg.norm(band - ground))
        if off > _PALE * size or off < _NOISES * one.noise:
            continue
        if side > 0 and float(np.linalg.norm(beyond - ground)) > 0.5 * off:
            continue  # a neighbour, or a lid that changes
        if side < 0 and float(np.linalg.norm(beyond - item)) > float(np.linalg.norm(band - item)):
            continue
        if best is None or step > best[0]:
            best = step, (place, 0.0) if side < 0 else (0.0, place)
    return None if best is None else best[1]


def _level(one: _Stretch, at: float, sigma: float) -> FloatArray:
    near = np.abs(one.at_px - at) <= max(1.0, 0.6 * sigma)
    if not near.any():
        near = np.abs(one.at_px - at) == np.abs(one.at_px - at).min()
    return np.asarray(one.light[near].mean(axis=0))


def _sharp_step(one: _Stretch, sigma: float, clear: float, side: float) -> float | None:
    """Place of the step that explains best how the light changes beyond the border; None if none as sharp as that does.

    A step of the picture's own blur is held against softer ones, as shades are, and against a straight trend.
    """
    away = side * one.at_px
    beyond = np.flatnonzero(away > clear)
    if side < 0:
        beyond = beyond[::-1]
    if len(beyond) < 12:
        return None
    at, light = away[beyond], one.light[beyond]
    far = np.median(light[-len(light) // 4 :], axis=0)
    toward = light[:3].mean(axis=0) - far
    size = float(np.linalg.norm(toward))
    if size < max(_LEAST_STEP * np.sqrt(len(far)), _NOISES * one.noise):
        return None
    value = (light - far) @ toward / size**2
    trend = np.polyval(np.polyfit(at, value, 1), at)
    cases, spanned = _far_cases(tuple(at.tolist()), sigma)
    rest = _rest(value, spanned)
    k = int(rest.argmin())
    place, blur = cases[k].tolist()
    sharp = (
        blur <= _SOFT * sigma
        and place > at[0] + sigma
        and rest[k] < _CLEARLY * float(np.sqrt(np.mean((value - trend) ** 2)))
    )
    return side * place if sharp else None


@lru_cache(maxsize=32)
def _far_cases(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, FloatArray]:
    """Places and blurs of single steps, (M, 2), and the columns that span each, (M, K, 2)."""
    reach = np.array(at)
    # a soft step may have its middle before the samples, its far half only is seen
    places = np.arange(reach[0] - 8.0 * sigma, reach[-4] - sigma, 0.75)
    blurs = sigma * np.array((1.0, 1.4, 2.0, 3.0, 4.5, 7.0, 10.0))
    cases = np.array([(place, blur) for place in places for blur in blurs])
    steps = normal_cdf((cases[:, None, 0] - reach[None, :]) / cases[:, None, 1])
    basis = np.stack([np.ones_like(steps), steps], axis=2)
    return cases, np.asarray(np.linalg.qr(basis)[0])


def _in_company(found: FloatArray) -> BoolArray:
    """Which stretches have a neighbour with a second border about as far off: one alone is the item's own pattern."""
    apart = found[:, 1] - found[:, 0]
    like = np.zeros(len(found), bool)
    for shift in (1, -1):
        other = np.roll(apart, shift)
        with np.errstate(invalid="ignore"):
            like |= np.abs(apart - other) < 2.0 + 0.25 * np.maximum(apart, other)
    return like


def _between(values: FloatArray, doubtful: BoolArray, count: int) -> FloatArray:
    """Carry values at the stretches' middles on to every point: straight between two doubtful ones, else flat."""
    size = count / len(values)
    middle = (np.arange(len(values)) + 0.5) * size
    place = np.arange(count) + 0.5
    owner = np.minimum((place / size).astype(int), len(values) - 1)
    around = np.concatenate([middle - count, middle, middle + count])
    smooth = np.interp(place, around, np.tile(values, 3))
    other = np.where(place < middle[owner], owner - 1, owner + 1) % len(values)
    return np.asarray(np.where(doubtful[owner] & doubtful[other], smooth, values[owner]))
