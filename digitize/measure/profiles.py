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
LEVELS_HALF = 12  # profiles of a reference on either side that levels are averaged over; chosen, no source
CLEAR_BLURS = 2.6  # off an edge (and half a pixel) the light is that of one side: 99.5 % of it
ALONG = 1.41  # px along a row or column for one along the normal, at most
_LEAST_COSINE = 0.01  # a line that doubles back has no normal there
_PLACES_AT_ONCE = 8192  # between pixels: the arrays of more leave the processor's caches
_JUST_WITHIN = 1.001  # before the last row or column: the next pixel is still one

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
