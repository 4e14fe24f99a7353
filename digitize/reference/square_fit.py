"""The four sides of a reference square fitted at full resolution, and what the fit shows.

Corners come from lines fitted to 80 % of each side in linear light; corner refiners are biased on
printed corners by half a pixel and more, intersections of fitted lines are not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.profiles import (
    Profiles,
    Steps,
    estimate_blur,
    fit_steps,
    linear_pixels,
    mid_crossing,
    normal_cdf,
    normalise,
    take_profiles,
    typical_light,
)
from ..measure.response import sharpened_share
from ..records import FloatArray, Picture, frozen_array
from ..steady import norm, polynomial, product
from .quad import Quad, intersect_lines, robust_line

SIDE_PART = 0.8  # of each side takes part in its line fit, centred
LEAST_SUPPORT = 0.5  # part of a side that must lie on its line
_LEAST_MARGIN_PX = 1.5  # between a side and the pixels its levels are taken from
_FEW = 200  # places a side in the passes that only come near


@dataclass(frozen=True, slots=True)
class SideFit:
    """A straight line fitted to one side."""

    point_px: FloatArray  # (2,), on the line, middle of the side
    direction: FloatArray  # (2,), unit
    sd_px: float  # of the line's position at the side's ends (k = 1)
    rms_px: float  # of the points about the line
    bend_px: float  # sagitta of the side, positive outward
    support: float  # part of the places along the side that lie on the line
    contrast: float  # linear-light difference across the side, median
    light: tuple[float, float]  # inside and outside, of full light, mean of the channels
    sharpened: float  # how much a driver has sharpened, 0 to 1, as this side shows it


@dataclass(frozen=True, slots=True)
class FittedQuad:
    """A quadrilateral whose four sides were fitted at full resolution."""

    corners_px: FloatArray  # (4, 2), order kept from the start values
    sides: tuple[SideFit, SideFit, SideFit, SideFit]
    blur_px: float
    contrast: float
    sharp: tuple[bool, bool, bool, bool]  # whether the colour of the inside reaches into each corner

    @property
    def corner_sd_px(self) -> float:
        """Standard deviation of a corner along either side, px."""
        return float(np.sqrt(np.mean([side.sd_px**2 for side in self.sides])))

    @property
    def sharpened(self) -> float:
        """How much a driver has sharpened, 0 to 1: the median of the sides."""
        return float(np.median([side.sharpened for side in self.sides]))

    @property
    def light(self) -> tuple[float, float]:
        """Light inside and outside, of full light."""
        inside, outside = np.median([side.light for side in self.sides], axis=0).tolist()
        return inside, outside


@dataclass(frozen=True, slots=True)
class Candidate:
    """A square seen in the reduced picture, and its sides as fitted."""

    quad: Quad
    fit: FittedQuad


def fit_quad(picture: Picture, start_px: FloatArray, *, reach: int) -> FittedQuad:
    """Fit the four sides of a quadrilateral at full resolution.

    Parameters
    ----------
    picture
        The picture.
    start_px
        (4, 2) approximate corners in order around, px.
    reach
        How far (px) the sides may be from the start.

    Raises
    ------
    ValueError
        If a side shows no edge.
    """
    corners = np.asarray(start_px, dtype=np.float64)
    corners, _, sigma, _ = _fit_sides(picture, corners, reach=reach, sigma=None, most=_FEW)
    for most in (_FEW, None):
        near = int(np.ceil(3 * sigma + 1)) + 6
        corners, sides, sigma, contrast = _fit_sides(picture, corners, reach=near, sigma=sigma, most=most)
    sharp = _sharp_corners(picture, corners, sigma)
    return FittedQuad(frozen_array(corners), sides, sigma, contrast, sharp)


@dataclass(frozen=True, slots=True)
class _Side:
    """The profiles across one side, and the frame they are fitted in."""

    profiles: Profiles
    steps: Steps
    middle: FloatArray
    along: FloatArray
    normal: FloatArray  # outward


def _side(
    picture: Picture,
    a: FloatArray,
    b: FloatArray,
    centre: FloatArray,
    *,
    reach: int,
    margin: float,
    ends: float,
    most: int | None,
) -> _Side:
    """Profiles across the side from a to b, one a px or `most` in all.

    They stay `ends` px off its ends; levels are taken `margin` px and more from the edge.
    """
    length = norm(b - a)
    along = (b - a) / length
    normal = np.array([-along[1], along[0]])
    middle = 0.5 * (a + b)
    if product(normal, middle - centre) < 0:
        normal = -normal
    kept = max(min(SIDE_PART * length, length - 2 * ends), 0.4 * length)
    count = max(int(kept) if most is None else min(int(kept), most), 8)
    t = (np.linspace(0, 1, count) - 0.5) * kept
    places = middle + t[:, None] * along
    inside = (places[:, 0] > -0.5) & (places[:, 0] < picture.width_px - 0.5)
    inside &= (places[:, 1] > -0.5) & (places[:, 1] < picture.height_px - 0.5)
    if inside.sum() < 8:
        raise ValueError("a side lies outside the picture")
    places = places[inside]
    profiles = take_profiles(picture, places, np.broadcast_to(normal, places.shape), reach=reach)
    # distance of each sample from the assumed side, along the normal
    base_off = product(profiles.base_px - middle, normal)
    offsets = np.arange(-reach, reach + 1)
    distance = base_off[:, None] + offsets * profiles.cosine[:, None]
    steps = normalise(profiles, distance < -margin, distance > margin, half=12, closed=False)
    return _Side(profiles, steps, middle, along, normal)


def _within(picture: Picture, a: FloatArray, b: FloatArray, margin: float) -> float:
    """The margin, less where the picture's border is so near that no pixel beyond it would be left."""
    x, y = (0.5 * (a + b)).tolist()
    room = min(x, y, picture.width_px - 1 - x, picture.height_px - 1 - y)
    return float(max(min(margin, room - 1.0), _LEAST_MARGIN_PX))


def _fit_sides(
    picture: Picture, corners: FloatArray, *, reach: int, sigma: float | None, most: int | None
) -> tuple[FloatArray, tuple[SideFit, SideFit, SideFit, SideFit], float, float]:
    """One pass over the four sides: new corners, side fits, blur, contrast."""
    centre = corners.mean(axis=0)
    margin = max(2.5, 0.5 * reach) if sigma is None else 3.0 * sigma + 0.5
    # nearer to a corner, profiles and their levels see the neighbouring side
    ends = max(1.5 * (3.0 * (0.9 if sigma is None else sigma) + 1.0), 0.75 * reach + 1.0)
    taken = [
        _side(picture, a, b, centre, reach=reach, margin=_within(picture, a, b, margin), ends=ends, most=most)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    blur = float(np.median([estimate_blur(side.steps.value, side.profiles.cosine) for side in taken]))
    fits = [_line_through(side, blur) for side in taken]
    new = np.array(
        [
            intersect_lines(fits[i - 1].point_px, fits[i - 1].direction, fits[i].point_px, fits[i].direction)
            for i in range(4)
        ]
    )
    contrast = float(np.median([side.contrast for side in fits]))
    return new, (fits[0], fits[1], fits[2], fits[3]), blur, contrast


def _line_through(side: _Side, blur_px: float) -> SideFit:
    """Robust line through the edge places of one side."""
    profiles, steps = side.profiles, side.steps
    fit = fit_steps(steps.value, profiles.cosine, blur_px, mid_crossing(steps.value))
    good = steps.usable & np.isfinite(fit.offset_px)
    if good.sum() < max(6, 0.2 * len(good)):
        raise ValueError("a side shows no edge")
    places = profiles.base_px[good] + fit.offset_px[good, None] * profiles.step[good]
    t = product(places - side.middle, side.along)
    d = product(places - side.middle, side.normal)
    slope, level = robust_line(t, d, 0.1)
    rest = d - level - slope * t
    scale = max(1.4826 * float(np.median(np.abs(rest))), 0.01)
    on = np.abs(rest) < 4 * scale + 0.02
    slope, level = _least_squares_line(t[on], d[on])
    rest = d[on] - level - slope * t[on]
    rms = float(np.sqrt(np.mean(rest**2)))
    independent = max(on.sum() / 2.0, 3.0)  # neighbouring profiles share pixels' blur and the levels
    half = 0.5 * (t.max() - t.min())
    bend = float(-polynomial(t[on] / half, rest, 2)[2]) if on.sum() > 6 else 0.0
    direction = side.along + slope * side.normal
    distance = (np.arange(-profiles.reach, profiles.reach + 1) - fit.offset_px[good, None]) * profiles.cosine[
        good, None
    ]
    left = steps.value[good] - normal_cdf(-distance / blur_px)
    return SideFit(
        point_px=frozen_array(side.middle + level * side.normal),
        direction=frozen_array(direction / norm(direction)),
        sd_px=2.5 * rms / float(np.sqrt(independent)),  # at the ends, 1/0.8 of the fitted half-length away
        rms_px=rms,
        bend_px=bend,
        support=float(on.sum() / len(good)),
        contrast=float(np.median(steps.contrast)),
        light=(typical_light(steps.inside), typical_light(steps.outside)),
        sharpened=sharpened_share(left[on], distance[on], blur_px),
    )


def _least_squares_line(t: FloatArray, d: FloatArray) -> tuple[float, float]:
    """Slope and level of d against t; t centred first, for it runs to thousands of px."""
    tm, dm = t.mean(), d.mean()
    slope = float(((t - tm) * (d - dm)).sum() / max(float(((t - tm) ** 2).sum()), 1e-12))
    return slope, float(dm - slope * tm)


def _sharp_corners(picture: Picture, corners: FloatArray, sigma: float) -> tuple[bool, bool, bool, bool]:
    """Whether the inside colour reaches into each corner: looked at 2.5 sigma + 1 px inside both sides.

    The light there is compared with places further in and further out along the diagonal.
    """
    centre = corners.mean(axis=0)
    sharp = []
    for corner in corners:
        inward = (centre - corner) / norm(centre - corner)
        depth = (2.5 * sigma + 1.0) * np.sqrt(2)
        near = _patch_light(picture, corner + depth * inward)
        inside = _patch_light(picture, corner + (depth + 0.12 * norm(centre - corner)) * inward)
        outside = _patch_light(picture, corner - depth * inward)
        power = float(((inside - outside) ** 2).sum())
        part = float(((near - outside) * (inside - outside)).sum()) / power if power > 1e-8 else 0.0
        sharp.append(bool(part > 0.7))
    return sharp[0], sharp[1], sharp[2], sharp[3]


def _patch_light(picture: Picture, place: FloatArray) -> FloatArray:
    """Mean linear light of the 3 x 3 pixels about a place, clamped to the picture; (C,)."""
    x, y = np.rint(place).astype(np.int64)
    xs = np.clip(np.arange(x - 1, x + 2), 0, picture.width_px - 1)
    ys = np.clip(np.arange(y - 1, y + 2), 0, picture.height_px - 1)
    grid_x, grid_y = np.meshgrid(xs, ys)
    return np.asarray(linear_pixels(picture, grid_x, grid_y).reshape(9, -1).mean(axis=0), dtype=np.float64)
