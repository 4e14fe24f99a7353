"""The four sides of a reference square fitted at full resolution, and what the fit shows.

Corners come from lines fitted to 80 % of each side in linear light; corner refiners are biased on
printed corners by half a pixel and more, intersections of fitted lines are not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.profiles import (
    LEVELS_HALF,
    USUAL_BLUR_PX,
    Profiles,
    Steps,
    linear_pixels,
    mid_crossing,
    normal_cdf,
    normalise,
    pure_margin_px,
    take_profiles,
    typical_light,
)
from ..measure.ragged import TO_SD, EndToEnd
from ..measure.response import sharpened_share
from ..measure.step_fits import estimate_blurs, fit_steps
from ..records import BoolArray, FloatArray, Picture, frozen_array
from ..steady import norm, polynomial, product
from .quad import Quad, intersect_lines, robust_line

SIDE_PART = 0.8  # of each side takes part in its line fit, centred
LEAST_SUPPORT = 0.5  # part of a side that must lie on its line
_LEAST_MARGIN_PX = 1.5  # between a side and the pixels its levels are taken from
_FEW = 200  # places a side in the passes that only come near
_LEAST_PART = 0.4  # of a side takes part, however near its ends come
_LEAST_GOOD = 0.2  # part of the places along a side that must show an edge
_FLOOR_PX = 0.1  # places of a line do not scatter less when outliers are looked for
_NEAR_PX = 0.02  # a place this near lies on its line, however even the others are
_AT_ENDS = 2.5  # deviation of a line at its side's ends, 1 / 0.8 of the fitted half-length away, over that of its mean
_CLEAR_BLURS = 2.5  # this far inside both sides the light is the inside's
_FURTHER_IN = 0.12  # of the way from there to the middle: what a corner's light is compared with
_SHARP = 0.7  # part of the way from outside to inside that the light in a sharp corner comes at least
_LEAST_SCALE = 0.1  # of the floor: residuals so small are all alike


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
    rest: float  # what a clean step leaves of the light across the side, of its contrast, root mean square; the median


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
    corners, sigma = np.asarray(start_px, dtype=np.float64), None
    for _ in range(2):
        corners, sigma, _ = _pass(picture, corners, reach=_near(sigma) or reach, sigma=sigma, most=_FEW)
    corners, sigma, lines = _pass(picture, corners, reach=_near(sigma) or reach, sigma=sigma, most=None)
    sides = [_seen(line, sigma) for line in lines]
    contrast = float(np.median([side.contrast for side in sides]))
    sharp = _sharp_corners(picture, corners, sigma)
    return FittedQuad(frozen_array(corners), (sides[0], sides[1], sides[2], sides[3]), sigma, contrast, sharp)


def _near(sigma: float | None) -> int | None:
    """How far sides may be from where a pass has put them, px, at its blur."""
    return None if sigma is None else int(np.ceil(3 * sigma + 1)) + 6


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where one side is taken to run."""

    middle: FloatArray
    along: FloatArray
    normal: FloatArray  # outward
    places: FloatArray  # (N, 2) along it, where profiles are taken


def _frame(
    picture: Picture, a: FloatArray, b: FloatArray, centre: FloatArray, *, ends: float, most: int | None
) -> _Frame:
    """The side from a to b, with places one a px or `most` in all that stay `ends` px off its ends."""
    length = norm(b - a)
    along = (b - a) / length
    normal = np.array([-along[1], along[0]])
    middle = 0.5 * (a + b)
    if product(normal, middle - centre) < 0:
        normal = -normal
    kept = max(min(SIDE_PART * length, length - 2 * ends), _LEAST_PART * length)
    count = max(int(kept) if most is None else min(int(kept), most), 8)
    t = (np.linspace(0, 1, count) - 0.5) * kept
    places = middle + t[:, None] * along
    inside = (places[:, 0] > -0.5) & (places[:, 0] < picture.width_px - 0.5)
    inside &= (places[:, 1] > -0.5) & (places[:, 1] < picture.height_px - 0.5)
    if inside.sum() < 8:
        raise ValueError("a side lies outside the picture")
    return _Frame(middle, along, normal, places[inside])


def _steps_across(
    picture: Picture, frames: list[_Frame], margins: list[float], rings: EndToEnd, reach: int
) -> tuple[Profiles, Steps]:
    """Profiles across all sides, levels taken from pixels so many px (of each side) and more from the edge."""
    normals = np.array([frame.normal for frame in frames])[rings.owner]
    middles = np.array([frame.middle for frame in frames])[rings.owner]
    profiles = take_profiles(picture, np.concatenate([frame.places for frame in frames]), normals, reach=reach)
    # distance of each sample from the assumed side, along the normal
    base_off = ((profiles.base_px - middles) * normals).sum(axis=1)
    distance = base_off[:, None] + np.arange(-reach, reach + 1) * profiles.cosine[:, None]
    margin = rings.rows(np.array(margins))[:, None]
    return profiles, normalise(
        profiles, distance < -margin, distance > margin, half=LEVELS_HALF, closed=False, rings=rings
    )


def _within(picture: Picture, a: FloatArray, b: FloatArray, margin: float) -> float:
    """The margin, less where the picture's border is so near that no pixel beyond it would be left."""
    x, y = (0.5 * (a + b)).tolist()
    room = min(x, y, picture.width_px - 1 - x, picture.height_px - 1 - y)
    return float(max(min(margin, room - 1.0), _LEAST_MARGIN_PX))


@dataclass(frozen=True, slots=True)
class _Line:
    """A straight line through the places of one side's edge."""

    profiles: Profiles  # across the side, N
    steps: Steps
    offset_px: FloatArray  # (N,), of each profile's edge along its step, NaN where it shows none
    residual: FloatArray  # (N,), what the step leaves of each profile
    good: BoolArray  # (N,), the profiles that show one
    t: FloatArray  # (M,), of the good ones' edges along the side, px from its middle
    rest: FloatArray  # (M,), outward of the line
    on: BoolArray  # (M,), those that lie on the line
    point_px: FloatArray  # (2,), amid the side
    direction: FloatArray  # (2,), unit


def _pass(
    picture: Picture, corners: FloatArray, *, reach: int, sigma: float | None, most: int | None
) -> tuple[FloatArray, float, list[_Line]]:
    """Fit the four sides once: new corners, blur, and the lines."""
    centre = corners.mean(axis=0)
    margin = pure_margin_px(reach, sigma)
    # nearer to a corner, profiles and their levels see the neighbouring side
    ends = max(1.5 * (3.0 * (sigma or USUAL_BLUR_PX) + 1.0), 0.75 * reach + 1.0)
    sides = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    frames = [_frame(picture, a, b, centre, ends=ends, most=most) for a, b in sides]
    rings = EndToEnd.of([frame.places for frame in frames])
    margins = [_within(picture, a, b, margin) for a, b in sides]
    profiles, steps = _steps_across(picture, frames, margins, rings, reach)
    start = np.full(len(frames), USUAL_BLUR_PX)
    blur = float(np.median(estimate_blurs(steps.value, profiles.cosine, rings, start)))
    fit = fit_steps(steps.value, profiles.cosine, blur, mid_crossing(steps.value), rings=rings)
    lines = [
        _line_through(frame, profiles.picked(at), steps.picked(at), fit.offset_px[at], fit.residual[at])
        for frame, at in zip(frames, rings.slices, strict=True)
    ]
    met = [
        intersect_lines(before.point_px, before.direction, line.point_px, line.direction)
        for before, line in zip((lines[-1], *lines[:-1]), lines, strict=True)
    ]
    return np.array(met), blur, lines


def _line_through(
    frame: _Frame, profiles: Profiles, steps: Steps, offset_px: FloatArray, residual: FloatArray
) -> _Line:
    """Robust line through the edge places of one side."""
    good = steps.usable & np.isfinite(offset_px)
    if good.sum() < max(6, _LEAST_GOOD * len(good)):
        raise ValueError("a side shows no edge")
    places = profiles.base_px[good] + offset_px[good, None] * profiles.step[good]
    t = product(places - frame.middle, frame.along)
    d = product(places - frame.middle, frame.normal)
    slope, level = robust_line(t, d, _FLOOR_PX)
    rest = d - level - slope * t
    scale = max(TO_SD * float(np.median(np.abs(rest))), _LEAST_SCALE * _FLOOR_PX)
    on = np.abs(rest) < 4 * scale + _NEAR_PX
    slope, level = _least_squares_line(t[on], d[on])
    direction = frame.along + slope * frame.normal
    return _Line(
        profiles,
        steps,
        offset_px,
        residual,
        good,
        t,
        d - level - slope * t,
        on,
        frozen_array(frame.middle + level * frame.normal),
        frozen_array(direction / norm(direction)),
    )


def _seen(line: _Line, blur_px: float) -> SideFit:
    """What a side shows about its line."""
    profiles, steps, good, t, on, rest = line.profiles, line.steps, line.good, line.t, line.on, line.rest[line.on]
    rms = float(np.sqrt(np.mean(rest**2)))
    independent = max(on.sum() / 2.0, 3.0)  # neighbouring profiles share pixels' blur and the levels
    half = 0.5 * (t.max() - t.min())
    bend = float(-polynomial(t[on] / half, rest, 2)[2]) if on.sum() > 6 else 0.0
    offsets = np.arange(-profiles.reach, profiles.reach + 1)
    distance = (offsets - line.offset_px[good, None]) * profiles.cosine[good, None]
    left = steps.value[good] - normal_cdf(-distance / blur_px)
    return SideFit(
        point_px=line.point_px,
        direction=line.direction,
        sd_px=_AT_ENDS * rms / float(np.sqrt(independent)),
        rms_px=rms,
        bend_px=bend,
        support=float(on.sum() / len(good)),
        contrast=float(np.median(steps.contrast)),
        light=(typical_light(steps.inside), typical_light(steps.outside)),
        sharpened=sharpened_share(left[on], distance[on], blur_px),
        rest=float(np.median(line.residual[good])),
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
        depth = (_CLEAR_BLURS * sigma + 1.0) * np.sqrt(2)
        near = _patch_light(picture, corner + depth * inward)
        inside = _patch_light(picture, corner + (depth + _FURTHER_IN * norm(centre - corner)) * inward)
        outside = _patch_light(picture, corner - depth * inward)
        power = float(((inside - outside) ** 2).sum())
        part = float(((near - outside) * (inside - outside)).sum()) / power if power > 1e-8 else 0.0
        sharp.append(bool(part > _SHARP))
    return sharp[0], sharp[1], sharp[2], sharp[3]


def _patch_light(picture: Picture, place: FloatArray) -> FloatArray:
    """Mean linear light of the 3 x 3 pixels about a place, clamped to the picture; (C,)."""
    x, y = np.rint(place).astype(np.int64)
    xs = np.clip(np.arange(x - 1, x + 2), 0, picture.width_px - 1)
    ys = np.clip(np.arange(y - 1, y + 2), 0, picture.height_px - 1)
    grid_x, grid_y = np.meshgrid(xs, ys)
    return np.asarray(linear_pixels(picture, grid_x, grid_y).reshape(9, -1).mean(axis=0), dtype=np.float64)
