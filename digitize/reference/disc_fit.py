"""The edge of a reference disc fitted at full resolution: the ellipse that a flatbed makes of a circle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.profiles import (
    LEVELS_HALF,
    Profiles,
    Steps,
    mid_crossing,
    normal_cdf,
    normalise,
    pure_margin_px,
    take_profiles,
    typical_light,
)
from ..measure.ragged import TO_SD
from ..measure.response import sharpened_share
from ..measure.slopes import side_slopes, take_out_slopes
from ..measure.step_fits import estimate_blur, fit_steps
from ..records import BoolArray, FloatArray, Picture, frozen_array
from ..steady import inverse, least_squares, product

EIGHTHS = 8  # of the edge, whose steps are held against one another
SECTORS = 72  # of the edge, whose means are what a circle's form shows in
_FEW = 240  # places on the edge in the passes that only come near
_ROUNDS = 6  # at most
_HALF = 40  # neighbours on either side whose light makes a trend
_BESIDE_PX = 0.5, 8.0  # outside the edge, where a chamfer or a shade would show
_NEAR_PX = 0.02  # a place this near lies on it, however even the others are
_LEAST_GOOD = 0.3  # part of the places round the disc that must show an edge
_OFF = 4.0  # standard deviations at which a place counts as dust
_LEAST_PROFILES = 24  # round a disc: an ellipse has 5 unknowns


@dataclass(frozen=True, slots=True)
class FittedDisc:
    """A disc whose edge was fitted at full resolution."""

    centre_px: FloatArray  # (2,)
    shape: FloatArray  # (2, 2), upper triangular: |shape @ (px - centre)| is 1 on the edge
    off: FloatArray  # (SECTORS,) mean of what the edge strays by, parts of the radius; NaN where nothing is seen
    sd_px: float  # of single places about the ellipse
    places: int  # that were fitted
    support: float  # part of the way round that lies on the ellipse
    blur_px: float
    contrast: float
    shade: float  # root mean square of the light's trend just outside, parts of the contrast per px
    beside: float  # how far the light just outside keeps from the ground's, parts of the contrast: a chamfer, a shade
    evenness: float  # contrast of the weakest eighth of the edge over that of the strongest
    light: tuple[float, float]  # inside and outside, of full light
    sharpened: float  # how much a driver has sharpened, 0 to 1
    rest: FloatArray  # (EIGHTHS,) what a clean step leaves of the light across them, of its contrast; medians

    @property
    def radii_px(self) -> tuple[float, float]:
        """Half of what it measures along the picture's rows and along its columns."""
        spread = product(inverse(self.shape), inverse(self.shape).T)
        return float(np.sqrt(spread[0, 0])), float(np.sqrt(spread[1, 1]))

    @property
    def form_part(self) -> float:
        """How far its edge strays from the ellipse, root mean square of the sectors, parts of the radius."""
        return float(np.sqrt(np.nanmean(self.off**2)))

    def edge_px(self, turns: FloatArray) -> FloatArray:
        """Return where the ellipse lies at turns (N,) of the circle, radians; (N, 2)."""
        circle = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        return np.asarray(self.centre_px + product(circle, inverse(self.shape).T))


def fit_disc(picture: Picture, centre_px: FloatArray, radius_px: float, *, reach: int) -> FittedDisc:
    """Fit the edge of a disc at full resolution.

    Parameters
    ----------
    picture
        The picture.
    centre_px, radius_px
        Where it lies, about.
    reach
        How far (px) the edge may be from there.

    Raises
    ------
    ValueError
        If it shows no edge.
    """
    centre, shape = np.asarray(centre_px, dtype=np.float64), np.eye(2) / radius_px
    taken = _edge(picture, centre, shape, reach=reach, sigma=None, most=_FEW)
    for most in (_FEW, None):
        centre, shape, _ = _through(taken, centre, shape)
        taken = _edge(picture, centre, shape, reach=int(np.ceil(3 * taken.blur + 1)) + 6, sigma=taken.blur, most=most)
    centre, shape, on = _through(taken, centre, shape)
    return _described(taken, centre, shape, on)


@dataclass(frozen=True, slots=True)
class _Edge:
    """The profiles across the edge, and where the light crosses half-way."""

    profiles: Profiles
    steps: Steps
    offset_px: FloatArray  # (N,), along the step
    residual: FloatArray  # (N,), what the step leaves of each profile
    good: BoolArray  # (N,)
    blur: float
    shade: float  # root mean square of the light's trend just outside, parts of the contrast per px

    @property
    def places(self) -> FloatArray:
        """The edge's places, (M, 2) px, of the good ones."""
        off = self.offset_px[self.good, None] * self.profiles.step[self.good]
        return np.asarray(self.profiles.base_px[self.good] + off)


def _edge(
    picture: Picture, centre: FloatArray, shape: FloatArray, *, reach: int, sigma: float | None, most: int | None
) -> _Edge:
    """Take profiles across the ellipse, one a px or `most` in all."""
    back = inverse(shape)
    round_px = 2 * np.pi / float(np.sqrt(abs(shape[0, 0] * shape[1, 1])))
    count = max(int(round_px) if most is None else min(int(round_px), most), _LEAST_PROFILES)
    turns = 2 * np.pi * np.arange(count) / count
    circle = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    places = centre + product(circle, back.T)
    normals = product(circle, shape)
    normals = normals / np.hypot(*normals.T)[:, None]
    profiles = take_profiles(picture, places, normals, reach=reach)
    base_off = ((profiles.base_px - places) * normals).sum(axis=1)
    distance = base_off[:, None] + np.arange(-reach, reach + 1) * profiles.cosine[:, None]
    margin = pure_margin_px(reach, sigma)
    steps = normalise(profiles, distance < -margin, distance > margin, half=LEVELS_HALF, closed=True)
    blur = estimate_blur(steps.value, profiles.cosine)
    start = mid_crossing(steps.value)
    fit = fit_steps(steps.value, profiles.cosine, blur, start)
    distance = (np.arange(-reach, reach + 1) - np.nan_to_num(fit.offset_px)[:, None]) * profiles.cosine[:, None]
    rest = steps.value - normal_cdf(-distance / blur)
    within, beyond = (side_slopes(rest, distance, side > margin, half=_HALF) for side in (-distance, distance))
    if within.slope.any() or beyond.slope.any():
        level = take_out_slopes(steps.value, distance, blur, within, beyond)
        fit = fit_steps(level, profiles.cosine, blur, start)
    good = steps.usable & np.isfinite(fit.offset_px)
    if good.sum() < max(16, _LEAST_GOOD * count):
        raise ValueError("it shows no edge")
    shade = float(np.sqrt(np.mean(beyond.slope**2)))
    return _Edge(profiles, steps, fit.offset_px, fit.residual, good, blur, shade)


def _through(edge: _Edge, centre: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return middle and shape of the ellipse nearest to the edge's places, and which of them lie on it (M,).

    Least squares of the distances in parts of the radius, by Gauss and Newton; what strays far is left out.
    """
    places = edge.places
    on = np.ones(len(places), dtype=bool)
    for _ in range(_ROUNDS):
        away = places - centre
        laid = product(away, shape.T)
        reach = np.hypot(*laid.T)
        unit = laid / reach[:, None]
        rest = reach - 1.0
        strays = np.abs(rest - np.median(rest))
        on = strays < _OFF * TO_SD * np.median(strays) + _NEAR_PX * shape[0, 0]
        slopes = np.column_stack(
            [*(-product(unit, shape)).T, unit[:, 0] * away[:, 0], unit[:, 0] * away[:, 1], unit[:, 1] * away[:, 1]]
        )
        size = np.array([1.0, 1.0, *[shape[0, 0] ** 2] * 3])  # steps of centre and shape alike in size
        step = least_squares(slopes[on] * size, -rest[on]) * size
        centre = centre + step[:2]
        shape = shape + np.array([[step[2], step[3]], [0.0, step[4]]])
    return centre, shape, on


def _described(edge: _Edge, centre: FloatArray, shape: FloatArray, on: BoolArray) -> FittedDisc:
    places, steps, good = edge.places, edge.steps, edge.good
    laid = product(places - centre, shape.T)
    rest = np.hypot(*laid.T) - 1.0
    sector = np.floor((np.arctan2(laid[:, 1], laid[:, 0]) / (2 * np.pi) + 1.0) * SECTORS).astype(int) % SECTORS
    held = np.bincount(sector[on], minlength=SECTORS)
    means = np.bincount(sector[on], rest[on], minlength=SECTORS) / np.where(held, held, 1)
    contrast = [float(np.median(part)) for part in np.array_split(steps.contrast[good], EIGHTHS)]
    distance = (
        np.arange(-edge.profiles.reach, edge.profiles.reach + 1) - edge.offset_px[good, None]
    ) * edge.profiles.cosine[good, None]
    left = steps.value[good] - normal_cdf(-distance / edge.blur)
    bent = 1.0 + 0.5 * (edge.blur * shape[0, 0]) ** 2  # half-way light of a blurred disc lies this much further in
    return FittedDisc(
        centre_px=frozen_array(centre),
        shape=frozen_array(shape / bent),
        off=np.where(held > 0, means, np.nan),
        sd_px=float(np.std(rest[on])) / float(shape[0, 0]),
        places=int(on.sum()),
        support=float(on.sum() / len(good)) * float((held > 0).mean()),
        blur_px=edge.blur,
        contrast=float(np.median(contrast)),
        shade=edge.shade,
        beside=_beside(left, distance),
        evenness=min(contrast) / max(max(contrast), 1e-9),
        light=(typical_light(steps.inside), typical_light(steps.outside)),
        sharpened=sharpened_share(left[on], distance[on], edge.blur),
        rest=np.array([np.median(part) for part in np.array_split(edge.residual[good], EIGHTHS)]),
    )


def _beside(left: FloatArray, distance: FloatArray) -> float:
    """Return how much more of the disc's light there is outside it than a blurred step has: the most at any distance.

    Mean over all profiles, so that noise does not count; a driver's sharpening leaves less there, not more.
    """
    outside = (distance > _BESIDE_PX[0]) & (distance < _BESIDE_PX[1])
    at = np.floor(2 * distance[outside]).astype(int)
    count = np.bincount(at)
    means = np.bincount(at, left[outside]) / np.maximum(count, 1)
    return float(means[4 * count >= len(left)].max(initial=0.0))
