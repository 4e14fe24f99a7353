"""Profiles across an edge: where along a pixel row or column the light crosses from inside to outside.

Pixels are taken as they are (no interpolation): each profile runs along the row or the column nearest to
the edge's normal, through whole pixels, so that neither phase nor interpolation shifts the edge. The
position is the least-squares shift of a blurred step between the local inside and outside levels, in
linear light; for a symmetric blur it has no bias at any phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from ..reading.reduced import linear_light
from ..records import Float32Array, FloatArray, Picture
from ..steady import product
from .ragged import EndToEnd, IntArray, fill_gaps, median, moving_mean

SHADE_PX = 12.0  # px an edge lies off (k = 1) for a trend of the light beside it of one contrast a px; from renders
USUAL_BLUR_PX = 0.9  # of scans and photos (standard deviation, pixel aperture included), to begin with
CLEAR_BLURS = 2.6  # off an edge (and half a pixel) the light is that of one side: 99.5 % of it
ALONG = 1.41  # px along a row or column for one along the normal, at most
_LEAST_COSINE = 0.01  # a line that doubles back has no normal there
_WEIGHT_BLURS = 3.0  # and 1 px: samples farther from a step carry no weight
_NARROWER, _WIDER_PX = 0.4, 0.8  # the most that a blur is changed by in a step: part of it, and px
_LEAST_BLUR_PX = 0.29  # of a pixel's own aperture: 1 / sqrt(12)
_SETTLED_BLUR_PX, _SETTLED_PX = 2e-3, 2e-4  # a step that changes less was the last: of a blur, and of a place
_PLACES_AT_ONCE = 8192  # between pixels: the arrays of more leave the processor's caches
_JUST_WITHIN = 1.001  # before the last row or column: the next pixel is still one
_MOST_PROFILES, _LEAST_PROFILES = 500, 8  # of one edge, that its blur is estimated from

Real = TypeVar("Real", np.float32, np.float64)

SQRT_2PI = float(np.sqrt(2 * np.pi))


def normal_cdf_and_bell(z: npt.NDArray[Real]) -> tuple[npt.NDArray[Real], npt.NDArray[Real]]:
    """Cumulative standard normal distribution of `z`, and exp(-z^2 / 2).

    Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.26: error below 1e-7.
    """
    bell = -0.5 * z
    bell *= z
    np.exp(bell, out=bell)
    t = np.abs(z)
    t *= 0.23164190  # 0.3275911 / sqrt(2)
    t += 1.0
    np.divide(1.0, t, out=t)
    tail = t * 1.061405429
    for coefficient in (-1.453152027, 1.421413741, -0.284496736, 0.254829592):
        tail += coefficient
        tail *= t
    tail *= 0.5
    tail *= bell
    return np.where(z >= 0, 1 - tail, tail), bell


def normal_cdf(z: FloatArray) -> FloatArray:
    """Cumulative standard normal distribution (see `normal_cdf_and_bell`)."""
    return normal_cdf_and_bell(z)[0]


@dataclass(frozen=True, slots=True)
class Profiles:
    """Pixels along rows or columns across an edge: N profiles of K = 2 `reach` + 1 pixels.

    Profile i, sample k lies at ``base_px[i] + (k - reach) * step[i]``; the step is one whole pixel
    along x or y and points from inside to outside.
    """

    base_px: npt.NDArray[np.int64]  # (N, 2), the whole pixel in the middle
    step: npt.NDArray[np.int64]  # (N, 2), unit vector along an axis
    cosine: FloatArray  # (N,), cosine between step and outward normal, >= 0.7 on clean edges
    light: npt.NDArray[np.float32]  # (N, K, C), linear light; NaN-free
    inside_picture: npt.NDArray[np.bool_]  # (N, K), False where the profile leaves the picture

    @property
    def reach(self) -> int:
        """Pixels on either side of the middle one."""
        return int(self.light.shape[1] // 2)

    def picked(self, rows: IntArray | slice) -> Profiles:
        """Some of them."""
        light, known = self.light[rows], self.inside_picture[rows]
        return Profiles(self.base_px[rows], self.step[rows], self.cosine[rows], light, known)


def pure_margin_px(reach: int, blur_px: float | None) -> float:
    """How far off an assumed edge pixels show the pure inside and outside: half the reach while the blur is unknown."""
    return max(2.5, 0.5 * reach) if blur_px is None else 3.0 * blur_px + 0.5


def linear_pixels(picture: Picture, x: npt.NDArray[np.int64], y: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
    """Linear light of whole pixels; `x`, `y` of one shape S inside the picture; returns S + (C,) float32."""
    codes = _codes_at(picture.pixels, y * picture.width_px + x)
    return linear_light(codes.reshape(-1, 1, codes.shape[-1]), picture.to_linear).reshape(codes.shape)


def _codes_at(pixels: npt.NDArray[Any], place: npt.NDArray[np.int64]) -> npt.NDArray[Any]:
    """Codes of pixels by their numbers, row after row: in a sixth of the time of ``pixels[y, x]``."""
    return pixels.reshape(-1, pixels.shape[2]).take(place, axis=0, mode="clip")


def light_between(picture: Picture, places: FloatArray) -> FloatArray:
    """Linear light at (M, 2) places between pixels, bilinear, clamped to the picture; (M, C)."""
    found = np.empty((len(places), picture.pixels.shape[2]))
    for first in range(0, len(places), _PLACES_AT_ONCE):
        some = slice(first, first + _PLACES_AT_ONCE)
        found[some] = _between(picture, places[some]).reshape(-1, found.shape[1])
    return found


def _between(picture: Picture, places: FloatArray) -> FloatArray:
    """As `light_between`, channel by channel in one row: factors that channels share are repeated; (M x C,)."""
    wide, channels = picture.width_px, picture.pixels.shape[2]
    x = np.clip(places[:, 0], 0, wide - _JUST_WITHIN)
    y = np.clip(places[:, 1], 0, picture.height_px - _JUST_WITHIN)
    x0, y0 = x.astype(np.int64), y.astype(np.int64)  # not below 0
    fx, fy = np.repeat(x - x0, channels), np.repeat(y - y0, channels)
    around = y0 * wide + x0 + np.array([[0], [1], [wide], [wide + 1]])
    four = linear_light(_codes_at(picture.pixels, around), picture.to_linear).reshape(4, -1)
    rest = 1 - fx
    above, below = rest * four[0], rest * four[2]
    above += fx * four[1]
    below += fx * four[3]
    above *= 1 - fy
    below *= fy
    above += below
    return np.asarray(above)


def take_profiles(picture: Picture, points_px: FloatArray, normals: FloatArray, *, reach: int) -> Profiles:
    """Take the pixel profiles across an edge.

    Parameters
    ----------
    picture
        The picture.
    points_px
        (N, 2) places near the edge, px.
    normals
        (N, 2) unit normals pointing from inside to outside.
    reach
        Pixels taken on either side.
    """
    base = np.rint(points_px).astype(np.int64)
    along_x = np.abs(normals[:, 0]) >= np.abs(normals[:, 1])
    step = np.zeros_like(base)
    step[along_x, 0] = np.where(normals[along_x, 0] >= 0, 1, -1)
    step[~along_x, 1] = np.where(normals[~along_x, 1] >= 0, 1, -1)
    # a line that doubles back on itself has no normal there, and a cosine of 0
    cosine = np.maximum(np.abs(np.where(along_x, normals[:, 0], normals[:, 1])), _LEAST_COSINE)
    offsets = np.arange(-reach, reach + 1)
    x = base[:, 0, None] + offsets * step[:, 0, None]
    y = base[:, 1, None] + offsets * step[:, 1, None]
    known = (x >= 0) & (x < picture.width_px) & (y >= 0) & (y < picture.height_px)
    np.clip(x, 0, picture.width_px - 1, out=x)
    np.clip(y, 0, picture.height_px - 1, out=y)
    return Profiles(base, step, cosine, linear_pixels(picture, x, y), known)


@dataclass(frozen=True, slots=True)
class Steps:
    """Profiles as a scalar that is 1 inside and 0 outside, with the contrast they had."""

    value: FloatArray  # (N, K), about 1 inside to 0 outside
    usable: npt.NDArray[np.bool_]  # (N,), False where levels or contrast are missing
    contrast: FloatArray  # (N,), linear-light distance of the two levels
    inside: FloatArray  # (N, C), linear light of the item along the edge
    outside: FloatArray  # (N, C), linear light beyond it

    def picked(self, rows: IntArray | slice) -> Steps:
        """Some of them."""
        value, usable, contrast = self.value[rows], self.usable[rows], self.contrast[rows]
        return Steps(value, usable, contrast, self.inside[rows], self.outside[rows])


def normalise(
    profiles: Profiles,
    inside_weight: npt.NDArray[np.bool_],
    outside_weight: npt.NDArray[np.bool_],
    *,
    half: int,
    closed: bool,
    rings: EndToEnd | None = None,
) -> Steps:
    """Project the profiles onto the local colour difference: 1 inside, 0 outside.

    Parameters
    ----------
    profiles
        N profiles of K pixels.
    inside_weight, outside_weight
        (N, K), True for the pixels that show the pure inside and outside.
    half
        Levels are averaged over this many neighbours on either side.
    closed
        Whether the last profile is a neighbour of the first.
    rings
        Of profiles round several rings: where those of each are.
    """
    light, known = profiles.light, profiles.inside_picture
    inside = _level(light, inside_weight & known, half, closed=closed, rings=rings)
    outside = _level(light, outside_weight & known, half, closed=closed, rings=rings)
    direction = inside - outside
    power = (direction**2).sum(axis=1)
    usable = np.isfinite(power) & (power > 1e-8)
    safe = np.where(usable, power, 1.0)
    gain = direction / safe[:, None]
    value = -(outside * gain).sum(axis=1)[:, None]
    for channel in range(light.shape[2]):
        value = value + light[..., channel] * gain[:, channel, None]
    value = np.where(np.isfinite(value), value, 0.0)
    return Steps(value, usable, np.sqrt(np.where(usable, power, 0.0)), inside, outside)


def _level(
    light: Float32Array, weight: npt.NDArray[np.bool_], half: int, *, closed: bool, rings: EndToEnd | None
) -> FloatArray:
    """Mean light of the weighted pixels of each profile and its neighbours, gaps filled; (N, C)."""
    part = weight.astype(np.float32)
    count = part.sum(axis=1).astype(np.float64)
    total = product(part[:, None, :], light)[:, 0].astype(np.float64)
    mean = total / np.maximum(count, 1.0)[:, None]
    smooth, _ = moving_mean(mean, count, half, closed=closed, rings=rings)
    return fill_gaps(smooth, rings)


def typical_light(light: FloatArray) -> float:
    """Mean of the channels' medians along an edge; light (N, C), NaN where it is not known."""
    known = light[np.isfinite(light).all(axis=1)]
    return float(np.mean([median(known[:, k]) for k in range(light.shape[1])]))


def mid_crossing(value: FloatArray) -> FloatArray:
    """Offset (px along the step, from the middle pixel) where each profile crosses 0.5 nearest the middle.

    `value` (N, K) falls from 1 to 0. NaN where it does not cross.
    """
    reach = value.shape[1] // 2
    falls = (value[:, :-1] >= 0.5) & (value[:, 1:] < 0.5)
    middle = np.arange(value.shape[1] - 1) + 0.5 - reach
    distance = np.where(falls, np.abs(middle), np.inf)
    best = distance.argmin(axis=1)
    row = np.arange(len(value))
    upper, lower = value[row, best], value[row, best + 1]
    drop = upper - lower
    place = best - reach + np.where(drop > 1e-9, (upper - 0.5) / np.where(drop > 1e-9, drop, 1.0), 0.5)
    return np.where(np.isfinite(distance[row, best]), place, np.nan)


@dataclass(frozen=True, slots=True)
class StepFit:
    """Edge places along the profiles and how well they fitted."""

    offset_px: FloatArray  # (N,), along the step from the middle pixel; NaN where no edge
    sd_px: FloatArray  # (N,), across the edge (along the normal), from the residuals
    residual: FloatArray  # (N,), RMS of profile minus model, as a part of the contrast


def fit_steps(
    value: npt.NDArray[Real],
    cosine: npt.NDArray[Real],
    sigma_px: float | FloatArray,
    start: FloatArray,
    *,
    rounds: int = 4,
    rings: EndToEnd | None = None,
) -> StepFit:
    """Shift a blurred step onto each profile by least squares with fixed levels 1 and 0.

    Gauss-Newton on the shift alone: matched filtering with the derivative of the step, whose variance is the
    Cramer-Rao bound for white noise. Samples beyond 3 sigma + 1 px carry no weight.

    Parameters
    ----------
    value
        (N, K) profiles, 1 inside to 0 outside.
    cosine
        (N,) cosine between profile and normal.
    sigma_px
        Blur along the normal, pixel aperture included; of each ring (R,) where there are several.
    start
        (N,) first guess of the offset; NaN is skipped.
    rounds
        Newton steps.
    rings
        Of the profiles of several edges: where those of each are, one at least.
    """
    rings, reach = rings or EndToEnd([len(value)]), value.shape[1] // 2
    sigma = np.broadcast_to(np.asarray(sigma_px, dtype=np.float64), len(rings))
    offset = np.where(np.isfinite(start), start, 0.0)
    sd, residual = np.empty(len(value)), np.empty(len(value))
    # samples that any profile of a ring can give weight to
    farthest = rings.each(np.abs(offset), lambda one: float(one.max(initial=0.0)))
    spans = np.ceil(1.45 * (_WEIGHT_BLURS * sigma + 1.0) + np.minimum(farthest + 1.0, reach)).astype(np.int64)
    for numbers, some, rows in rings.alike(spans):
        span = int(spans[numbers[0]])
        # single precision moves a place by a millionth of a pixel
        small = np.ascontiguousarray(value[rows, max(0, reach - span) : reach + span + 1], dtype=np.float32)
        one = _Stepped(small, cosine[rows].astype(np.float32), some.rows(sigma[numbers]))
        offset[rows], sd[rows], residual[rows] = one.fitted(offset[rows], rounds)
    lost = ~np.isfinite(start) | (np.abs(offset) > reach)
    return StepFit(np.where(lost, np.nan, offset), sd, residual)


@dataclass(frozen=True, slots=True)
class _Stepped:
    """Profiles to be held against blurred steps."""

    value: Float32Array  # (N, K)
    cosine: Float32Array  # (N,)
    sigma: FloatArray  # (N,)

    def fitted(self, offset: FloatArray, rounds: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The offsets (N,) that fit best from those given, their standard deviations, and what they leave."""
        offset, moving = np.array(offset), np.arange(len(offset))
        left = self
        for _ in range(rounds):
            rest, gain, _ = left.against(offset[moving])
            shift = (gain * rest).sum(axis=1) / np.maximum((gain**2).sum(axis=1), 1e-9) / left.cosine
            offset[moving] += np.clip(shift, -1.0, 1.0)
            on = np.abs(shift) >= _SETTLED_PX
            moving = moving[on]
            if not len(moving):
                break
            left = left.picked(on)
        rest, gain, near = self.against(offset)
        count = np.maximum(near.sum(axis=1) - 1, 1)
        residual = np.sqrt((rest**2 * near).sum(axis=1) / count)
        sd = residual / np.sqrt(np.maximum((gain**2).sum(axis=1), 1e-9))
        return offset, sd.astype(np.float64), residual.astype(np.float64)

    def picked(self, flags: npt.NDArray[np.bool_]) -> _Stepped:
        """Those with a flag (N,)."""
        return self if flags.all() else _Stepped(self.value[flags], self.cosine[flags], self.sigma[flags])

    def against(self, offset: FloatArray) -> tuple[Float32Array, Float32Array, npt.NDArray[np.bool_]]:
        """Profiles minus the blurred step, its derivative by the shift, and where it has weight; each (N, K)."""
        across = np.divide(self.cosine, self.sigma.astype(np.float32), dtype=np.float32)[:, None]
        z: Float32Array = (self.index - offset.astype(np.float32)[:, None]) * across
        near = np.abs(z) <= (3.0 + 1.0 / self.sigma).astype(np.float32)[:, None]
        cdf, bell = normal_cdf_and_bell(z)
        gain = np.asarray(bell * near, dtype=np.float32) / (SQRT_2PI * self.sigma).astype(np.float32)[:, None]
        return self.value - 1 + cdf, gain, near

    @property
    def index(self) -> Float32Array:
        """(K,) px of the samples along the step from the middle pixel."""
        count = self.value.shape[1]
        return np.arange(-(count // 2), count - count // 2).astype(np.float32)


def estimate_blur(value: FloatArray, cosine: FloatArray, *, start_px: float = USUAL_BLUR_PX) -> float:
    """As `estimate_blurs`, of one edge."""
    return float(estimate_blurs(value, cosine, EndToEnd([len(value)]), np.array([start_px]))[0])


def estimate_blurs(value: FloatArray, cosine: FloatArray, rings: EndToEnd, start_px: FloatArray) -> FloatArray:
    """Blur (standard deviation along the normal, px, aperture included) common to all profiles of an edge; (R,).

    Alternates the shift of each profile with Newton steps on the common sigma. Uses at most 500 profiles of each.

    Returns
    -------
    (R,)
        Between 0.29 (aperture alone) and a third of the reach; where too few profiles cross, what it started from.
    """
    found, reach = np.array(start_px, dtype=np.float64), value.shape[1] // 2
    some, rows = rings.thinned(_MOST_PROFILES)
    start = mid_crossing(value[rows])
    crossing = np.isfinite(start)
    some, rows, start = some.kept(crossing), rows[crossing], start[crossing]
    left = np.flatnonzero(some.sizes >= _LEAST_PROFILES)
    some, at = some.picked(left)
    light, turned, start = value[rows[at]].astype(np.float32), cosine[rows[at]].astype(np.float32), start[at]
    for _ in range(6):
        if not len(left):
            break
        sigma = found[left]
        fit = fit_steps(light, turned, sigma, start, rounds=2, rings=some)
        known = np.isfinite(fit.offset_px)
        keep = known & (fit.residual <= some.rows(2.0 * some.each(fit.residual, median) + 1e-9))
        start = np.where(known, fit.offset_px, start)
        change, sound = _wider(
            _Stepped(light[keep], turned[keep], some.rows(sigma)[keep]), start[keep], some.kept(keep)
        )
        moved = np.clip(
            sigma + np.clip(change, -_NARROWER * sigma, _WIDER_PX), _LEAST_BLUR_PX, max(reach / 3.0, USUAL_BLUR_PX)
        )
        found[left] = np.where(sound, moved, sigma)
        on = sound & (np.abs(change) >= _SETTLED_BLUR_PX)
        some, at = some.picked(np.flatnonzero(on))
        light, turned, start, left = light[at], turned[at], start[at], left[on]
    return found


def _wider(steps: _Stepped, offset: FloatArray, rings: EndToEnd) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """How much wider the blur of each ring is than the steps' (R,), and whether that can be told."""
    rest, gain, _ = steps.against(offset)
    along = (steps.cosine / steps.sigma.astype(np.float32))[:, None]
    slope = gain * (steps.index - offset[:, None]) * along
    power = rings.each(slope**2, np.sum)
    sound = power >= 1e-9
    return rings.each(slope * rest, np.sum) / np.where(sound, power, 1.0), sound
