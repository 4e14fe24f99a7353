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

SHADE_PX = 12.0  # px an edge lies off (k = 1) for a trend of the light beside it of one contrast a px; from renders
_LEAST_SLOPE = 0.0012  # of the contrast per px; less would be the blur's own tail as often as shade
_LEAST_COSINE = 0.01

Real = TypeVar("Real", np.float32, np.float64)

_SQRT_2PI = float(np.sqrt(2 * np.pi))


def normal_cdf_and_bell(z: npt.NDArray[Real]) -> tuple[npt.NDArray[Real], npt.NDArray[Real]]:
    """Cumulative standard normal distribution of `z`, and exp(-z^2 / 2).

    Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.26: error below 1e-7.
    """
    bell = np.exp(-0.5 * z * z)
    t = 1.0 / (1.0 + 0.23164190 * np.abs(z))  # 0.3275911 / sqrt(2)
    series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    tail = 0.5 * series * bell
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


def linear_pixels(picture: Picture, x: npt.NDArray[np.int64], y: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
    """Linear light of whole pixels; `x`, `y` of one shape S inside the picture; returns S + (C,) float32."""
    codes = _codes_at(picture.pixels, y * picture.width_px + x)
    return linear_light(codes.reshape(-1, 1, codes.shape[-1]), picture.to_linear).reshape(codes.shape)


def _codes_at(pixels: npt.NDArray[Any], place: npt.NDArray[np.int64]) -> npt.NDArray[Any]:
    """Codes of pixels by their numbers, row after row: in a sixth of the time of ``pixels[y, x]``."""
    return pixels.reshape(-1, pixels.shape[2]).take(place, axis=0, mode="clip")


def light_between(picture: Picture, places: FloatArray) -> FloatArray:
    """Linear light at (M, 2) places between pixels, bilinear, clamped to the picture; (M, C)."""
    wide = picture.width_px
    x = np.clip(places[:, 0], 0, wide - 1.001)
    y = np.clip(places[:, 1], 0, picture.height_px - 1.001)
    x0, y0 = x.astype(np.int64), y.astype(np.int64)  # not below 0
    fx, fy = (x - x0)[:, None], (y - y0)[:, None]
    around = y0 * wide + x0 + np.array([[0], [1], [wide], [wide + 1]])
    four = linear_light(_codes_at(picture.pixels, around), picture.to_linear)
    return np.asarray((1 - fy) * ((1 - fx) * four[0] + fx * four[1]) + fy * ((1 - fx) * four[2] + fx * four[3]))


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


def moving_mean(values: FloatArray, weights: FloatArray, half: int, *, closed: bool) -> tuple[FloatArray, FloatArray]:
    """Weighted mean over 2 `half` + 1 neighbours along the first axis.

    `values` (N, C), `weights` (N,). Returns the mean (N, C), NaN where no weight is near, and the summed
    weight (N,).
    """
    count = len(values)
    half = min(half, (count - 1) // 2)
    stacked = np.column_stack([values * weights[:, None], weights])
    around = stacked if closed else np.zeros_like(stacked)
    total = np.cumsum(np.concatenate([around[count - half - 1 :], stacked, around[:half]]), axis=0)
    window = total[2 * half + 1 :] - total[: -(2 * half + 1)]
    weight = np.maximum(window[:, -1], 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(weight[:, None] > 1e-9, window[:, :-1] / weight[:, None], np.nan)
    return mean, weight


@dataclass(frozen=True, slots=True)
class Steps:
    """Profiles as a scalar that is 1 inside and 0 outside, with the contrast they had."""

    value: FloatArray  # (N, K), about 1 inside to 0 outside
    usable: npt.NDArray[np.bool_]  # (N,), False where levels or contrast are missing
    contrast: FloatArray  # (N,), linear-light distance of the two levels
    inside: FloatArray  # (N, C), linear light of the item along the edge
    outside: FloatArray  # (N, C), linear light beyond it


def fill_gaps(values: FloatArray) -> FloatArray:
    """Replace NaN rows of (N, C) by interpolation along the first axis (wrapping); all-NaN stays NaN."""
    good = np.isfinite(values).all(axis=1)
    if good.all() or not good.any():
        return values
    index = np.arange(len(values))
    known = index[good]
    wrapped = np.concatenate([known - len(values), known, known + len(values)])
    filled = np.empty_like(values)
    for column in range(values.shape[1]):
        filled[:, column] = np.interp(index, wrapped, np.tile(values[good, column], 3))
    return filled


def normalise(
    profiles: Profiles,
    inside_weight: npt.NDArray[np.bool_],
    outside_weight: npt.NDArray[np.bool_],
    *,
    half: int,
    closed: bool,
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
    """
    light = profiles.light
    inside = _level(light, inside_weight & profiles.inside_picture, half, closed=closed)
    outside = _level(light, outside_weight & profiles.inside_picture, half, closed=closed)
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


def _level(light: npt.NDArray[np.float32], weight: npt.NDArray[np.bool_], half: int, *, closed: bool) -> FloatArray:
    """Mean light of the weighted pixels of each profile and its neighbours, gaps filled; (N, C)."""
    part = weight.astype(np.float32)
    count = part.sum(axis=1).astype(np.float64)
    total = product(part[:, None, :], light)[:, 0].astype(np.float64)
    mean = total / np.maximum(count, 1.0)[:, None]
    smooth, _ = moving_mean(mean, count, half, closed=closed)
    return fill_gaps(smooth)


def typical_light(light: FloatArray) -> float:
    """Mean of the channels' medians along an edge; light (N, C), NaN where it is not known."""
    return float(np.median(light[np.isfinite(light).all(axis=1)], axis=0).mean())


@dataclass(frozen=True, slots=True)
class Slopes:
    """Straight trend of one side's light near the edge, in parts of the contrast per px along the normal."""

    slope: FloatArray  # (N,), 0 where it is not significant
    centre: FloatArray  # (N,), signed distance (px) at which the flat level was taken


def side_slopes(rest: FloatArray, distance: FloatArray, weight: npt.NDArray[np.bool_], *, half: int) -> Slopes:
    """Trend of the light on one side of the edge, pooled over neighbours; none where it is lost in the noise.

    Parameters
    ----------
    rest
        (N, K) normalised profiles less the blurred step.
    distance
        (N, K) signed distance of each sample from the edge, px, positive outside.
    weight
        (N, K) samples that show this side alone.
    half
        Neighbours pooled on either side (the contour is closed).
    """
    # where another edge is near, its blur is no trend of this side
    typical = float(np.median(np.abs(rest[weight]))) if weight.any() else 0.0
    w = (weight & (np.abs(rest) < 0.03 + 6.0 * typical)).astype(np.float64)
    sums = np.column_stack(
        [
            np.einsum("nk,nk->n", w, term)
            for term in (np.ones_like(rest), distance, distance**2, rest, rest * distance, rest**2)
        ]
    )
    mean, _ = moving_mean(sums, np.ones(len(sums)), half, closed=True)
    pooled = mean * (2 * min(half, (len(sums) - 1) // 2) + 1)
    n, u, uu, y, uy, yy = np.maximum(pooled[:, 0], 1.0), *pooled[:, 1:].T
    centre, spread = u / n, np.maximum(uu - u**2 / n, 1e-9)
    slope = (uy - u * y / n) / spread
    variance = np.maximum(yy - y**2 / n - slope**2 * spread, 0.0) / np.maximum(n - 2, 1.0)
    significant = (np.abs(slope) > np.maximum(4.0 * np.sqrt(variance / spread), _LEAST_SLOPE)) & (n >= 30)
    own, _ = moving_mean(sums[:, :2], np.ones(len(sums)), 10, closed=True)
    near = np.where(own[:, 0] > 0.2, own[:, 1] / np.maximum(own[:, 0], 0.2), centre)
    return Slopes(np.where(significant, slope, 0.0), near)


def take_out_slopes(
    value: FloatArray, distance: FloatArray, sigma_px: float, inside: Slopes, outside: Slopes
) -> FloatArray:
    """Make both sides flat, with the levels they have at the edge itself.

    A ramp a u that begins at the edge, blurred by a Gaussian, is a (u Phi(u/s) + s phi(u/s)).
    """
    if not (inside.slope.any() or outside.slope.any()):
        return value
    z = distance / sigma_px
    cdf, bell = normal_cdf_and_bell(z)
    tail = sigma_px * bell / _SQRT_2PI
    beyond = outside.slope[:, None] * (distance * cdf + tail)
    within = inside.slope[:, None] * (distance * (1.0 - cdf) - tail)
    low = -outside.slope * outside.centre
    high = 1.0 - inside.slope * inside.centre
    span = np.where(np.abs(high - low) > 0.2, high - low, 1.0)
    return np.asarray((value - beyond - within - low[:, None]) / span[:, None])


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
    sigma_px: float,
    start: FloatArray,
    *,
    rounds: int = 4,
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
        Blur along the normal, pixel aperture included.
    start
        (N,) first guess of the offset; NaN is skipped.
    rounds
        Newton steps.
    """
    reach = value.shape[1] // 2
    offset = np.where(np.isfinite(start), start, 0.0)
    # samples that any profile can give weight to
    span = int(np.ceil(1.45 * (3.0 * sigma_px + 1.0) + min(float(np.abs(offset).max(initial=0.0)) + 1.0, reach)))
    # single precision moves a place by a millionth of a pixel
    small: Float32Array = np.ascontiguousarray(value[:, max(0, reach - span) : reach + span + 1], dtype=np.float32)
    turned = cosine.astype(np.float32)
    index = (np.arange(small.shape[1]) - small.shape[1] // 2).astype(np.float32)
    moving = np.arange(len(small))
    for _ in range(rounds):
        rest, gain, _ = _against_step(small[moving], index, offset[moving], turned[moving], sigma_px)
        shift = (gain * rest).sum(axis=1) / np.maximum((gain**2).sum(axis=1), 1e-9) / turned[moving]
        offset[moving] += np.clip(shift, -1.0, 1.0)
        moving = moving[np.abs(shift) >= 2e-4]
        if not len(moving):
            break
    rest, gain, near = _against_step(small, index, offset, turned, sigma_px)
    count = np.maximum(near.sum(axis=1) - 1, 1)
    residual = np.sqrt((rest**2 * near).sum(axis=1) / count)
    sd = residual / np.sqrt(np.maximum((gain**2).sum(axis=1), 1e-9))
    lost = ~np.isfinite(start) | (np.abs(offset) > reach)
    return StepFit(np.where(lost, np.nan, offset), sd.astype(np.float64), residual.astype(np.float64))


def _against_step(
    value: Float32Array, index: Float32Array, offset: FloatArray, cosine: Float32Array, sigma: float
) -> tuple[Float32Array, Float32Array, npt.NDArray[np.bool_]]:
    """Profiles minus the blurred step, its derivative by the shift, and where it has weight; each (N, K)."""
    z = (index - offset.astype(np.float32)[:, None]) * (cosine / np.float32(sigma))[:, None]
    near = np.abs(z) <= 3.0 + 1.0 / sigma
    cdf, bell = normal_cdf_and_bell(z)
    gain = np.asarray(bell * near, dtype=np.float32) / np.float32(_SQRT_2PI * sigma)
    return value - 1 + cdf, gain, near


def estimate_blur(value: FloatArray, cosine: FloatArray, *, start_px: float = 0.9) -> float:
    """Blur (standard deviation along the normal, px, aperture included) common to all profiles.

    Alternates the shift of each profile with Newton steps on the common sigma. Uses at most 500 profiles.

    Returns
    -------
    float
        Between 0.29 (aperture alone) and a third of the reach.
    """
    if len(value) > 500:
        pick = np.linspace(0, len(value) - 1, 500).astype(np.int64)
        value, cosine = value[pick], cosine[pick]
    start = mid_crossing(value)
    good = np.isfinite(start)
    if good.sum() < 8:
        return start_px
    start = start[good]
    some, turned = value[good].astype(np.float32), cosine[good].astype(np.float32)
    reach = some.shape[1] // 2
    index = (np.arange(some.shape[1]) - reach).astype(np.float32)
    sigma = start_px
    for _ in range(6):
        fit = fit_steps(some, turned, sigma, start, rounds=2)
        keep = np.isfinite(fit.offset_px) & (fit.residual <= 2.0 * np.median(fit.residual) + 1e-9)
        start = np.where(np.isfinite(fit.offset_px), fit.offset_px, start)
        rest, gain, _ = _against_step(some[keep], index, start[keep], turned[keep], sigma)
        slope = gain * (index - start[keep, None]) * (turned[keep] / sigma)[:, None]
        power = float((slope**2).sum())
        if power < 1e-9:
            return sigma
        change = (slope * rest).sum() / power
        sigma = float(np.clip(sigma + np.clip(change, -0.4 * sigma, 0.8), 0.29, max(reach / 3.0, 0.9)))
        if abs(change) < 0.002:
            break
    return sigma
