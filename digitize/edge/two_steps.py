"""An edge of two steps, item to rim and rim to ground, placed profile by profile: each step between its own levels.

The rim's level is taken between both steps and nowhere else, the item's and the ground's within the blur's reach of
them, all three over neighbouring profiles: neither the item's own pattern nor what lies farther out tells on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.profiles import Profiles, normal_cdf_and_bell, take_profiles
from ..measure.ragged import moving_mean
from ..records import BoolArray, Float32Array, FloatArray, Picture
from ..steady import product, solve

# Blurs. Of rendered rims, a twelfth as strong as the item's own step, 2.6 wide, outer edges came out 0.26 px small,
# of those 3.5 wide 0.04, of those 4 wide and of stronger ones 0.01.
LEAST_WIDTH = 2.7
_ROUNDS = 30
_MOST_SHIFT_PX = 0.6  # of a place, in one round
_MOST_BLUR_PX = 0.1  # that the blur is changed by in one round
_SETTLED_PX = 5e-4  # half of the places move less in the last round
_LEAST_DETERMINANT = 1e-3  # of what both places tell apart: below, they are one to the eye
ODD, LEAST_ODD = 4.0, 0.05  # times the usual rest, and of the contrast: a profile that leaves more shows no edge
FAINT = 0.2  # of the usual contrast: a profile with less shows none
_NEAR = 12  # neighbours either side for levels
_REACH = 3.2  # blurs that a step reaches
_LEAST_BLUR_PX = 0.29  # the pixel's own
_SQRT_2PI = float(np.sqrt(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class TwoSteps:
    """The outer of both steps along each profile, and what lies on either side of it."""

    profiles: Profiles
    outer_px: FloatArray  # (N,) along the profile from its middle pixel; NaN where no edge of two steps was found
    sd_px: FloatArray  # (N,) across the edge
    width_px: FloatArray  # (N,) of the rim, across it
    blur_px: float
    ground: FloatArray  # (N, C) linear light just outside
    rim: FloatArray  # (N, C) between both

    @property
    def contrast(self) -> FloatArray:
        """Linear-light distance of rim and ground; (N,)."""
        return np.asarray(np.linalg.norm(self.rim - self.ground, axis=1))


def fit_two_steps(
    picture: Picture, base: FloatArray, normals: FloatArray, width_px: float, blur_px: float
) -> TwoSteps | None:
    """Place both steps of an edge; None where the rim is too narrow for the blur.

    Least squares: the places by Gauss-Newton with the levels held, and the levels by the places, in turn; the blur is
    one for all profiles.

    Parameters
    ----------
    picture
        The picture.
    base
        (N, 2) px, closed, within 2 px of the outer step.
    normals
        (N, 2) unit normals outward.
    width_px
        Of the rim, across it, within 2 px.
    blur_px
        Of the picture, along the normal, pixel aperture included: a first guess.
    """
    if width_px < LEAST_WIDTH * blur_px:
        return None
    reach = int(np.ceil(1.42 * (width_px + _REACH * blur_px + 3.0)))
    profiles = take_profiles(picture, base, normals, reach=reach)
    away = np.arange(-reach, reach + 1)[None, :] * profiles.cosine[:, None]  # of the samples, along the normal
    outer = ((base - profiles.base_px) * profiles.step).sum(axis=1) * profiles.cosine
    inner = outer - width_px
    for _ in range(_ROUNDS):
        held = _held(profiles, away, outer, inner, blur_px)
        by_outer, by_inner = (np.clip(by, -_MOST_SHIFT_PX, _MOST_SHIFT_PX) for by in held.shifts())
        outer = outer + by_outer
        inner = np.minimum(inner + by_inner, outer - blur_px)
        blur_px = max(blur_px + held.blur_shift(), _LEAST_BLUR_PX)
        if max(float(np.median(np.abs(by_outer))), float(np.median(np.abs(by_inner)))) < _SETTLED_PX:
            break
    held = _held(profiles, away, outer, inner, blur_px)
    width = outer - inner
    if float(np.median(width)) < LEAST_WIDTH * blur_px:
        return None
    odd = held.odd() | (np.abs(outer) > 4.0 + 2.0 * blur_px)
    along = np.where(odd, np.nan, outer / profiles.cosine)
    return TwoSteps(profiles, along, held.deviation(), width, blur_px, held.levels[:, 0], held.levels[:, 1])


@dataclass(frozen=True, slots=True)
class _Held:
    """Profiles against two blurred steps at the places held now; 0 where a sample has no weight."""

    rest: FloatArray  # (N, K, C)
    by_outer: FloatArray  # (N, K, C), derivative of the model by the outer place
    by_inner: FloatArray
    by_blur: FloatArray
    count: FloatArray  # (N,) samples with weight
    levels: FloatArray  # (N, 3, C): ground, rim, item

    def _sum(self, one: FloatArray, other: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("nkc,nkc->n", one, other))

    def shifts(self) -> tuple[FloatArray, FloatArray]:
        """How far each place is to go outward."""
        oo, ii = self._sum(self.by_outer, self.by_outer), self._sum(self.by_inner, self.by_inner)
        oi = self._sum(self.by_outer, self.by_inner)
        ro, ri = self._sum(self.by_outer, self.rest), self._sum(self.by_inner, self.rest)
        determinant = np.maximum(oo * ii - oi**2, _LEAST_DETERMINANT * oo * ii + 1e-14)
        return np.asarray((ro * ii - ri * oi) / determinant), np.asarray((ri * oo - ro * oi) / determinant)

    def blur_shift(self) -> float:
        """How much wider the blur is; profiles that two steps do not explain have no say."""
        good = ~self.odd()
        power = float((self.by_blur[good] ** 2).sum())
        wider = (self.by_blur[good] * self.rest[good]).sum() / max(power, 1e-12)
        return float(np.clip(wider, -_MOST_BLUR_PX, _MOST_BLUR_PX))

    def residual(self) -> FloatArray:
        """RMS of profile less model, linear light; (N,)."""
        values = np.maximum(self.count - 2, 1) * self.rest.shape[2]
        return np.asarray(np.sqrt((self.rest**2).sum(axis=(1, 2)) / values))

    def deviation(self) -> FloatArray:
        """Standard deviation of the outer place across the edge, from the residuals; (N,)."""
        return np.asarray(self.residual() / np.sqrt(np.maximum(self._sum(self.by_outer, self.by_outer), 1e-12)))

    def odd(self) -> BoolArray:
        """Profiles that two steps do not explain; (N,)."""
        residual = self.residual()
        step = np.linalg.norm(self.levels[:, 1] - self.levels[:, 0], axis=1)
        typical = float(np.median(step))
        return np.asarray((residual > ODD * np.median(residual) + LEAST_ODD * typical) | (step < FAINT * typical))


def _held(profiles: Profiles, away: FloatArray, outer: FloatArray, inner: FloatArray, blur_px: float) -> _Held:
    """Hold the profiles against steps at these places, px along the normal; the levels follow by least squares."""
    z_outer, z_inner = (away - outer[:, None]) / blur_px, (away - inner[:, None]) / blur_px
    beyond, bell_outer = normal_cdf_and_bell(z_outer)
    past, bell_inner = normal_cdf_and_bell(z_inner)
    weight = ((z_outer < _REACH + 1.0) & (z_inner > -_REACH - 1.0) & profiles.inside_picture).astype(np.float64)
    parts = np.stack([beyond, past - beyond, 1.0 - past], axis=2) * weight[..., None]  # of ground, rim and item
    levels = _levels(parts, profiles.light)
    rest = (profiles.light - product(parts, levels)) * weight[..., None]
    # the model falls from rim to ground past the outer place: moving that outward adds rim less ground
    steep = weight[..., None] / (_SQRT_2PI * blur_px)
    by_outer = bell_outer[..., None] * steep * (levels[:, 1] - levels[:, 0])[:, None, :]
    by_inner = bell_inner[..., None] * steep * (levels[:, 2] - levels[:, 1])[:, None, :]
    by_blur = by_outer * z_outer[..., None] + by_inner * z_inner[..., None]
    return _Held(rest, by_outer, by_inner, by_blur, weight.sum(axis=1), levels)


def _levels(parts: FloatArray, light: Float32Array) -> FloatArray:
    """Ground, rim and item by least squares over neighbouring profiles; (N, 3, C)."""
    count, channels = len(parts), light.shape[2]
    squares = product(parts.transpose(0, 2, 1), parts).reshape(count, 9)
    seen = product(parts.transpose(0, 2, 1), light).reshape(count, 3 * channels)
    pooled = moving_mean(np.column_stack([squares, seen]), np.ones(count), _NEAR, closed=True)[0]
    system = pooled[:, :9].reshape(count, 3, 3) + 1e-6 * np.eye(3)
    return solve(system, pooled[:, 9:].reshape(count, 3, channels))


def carried(values: FloatArray, base: FloatArray, points: FloatArray) -> FloatArray:
    """Values (N,) at base points as they are at the nearest ones of others; (M,)."""
    import shapely

    nearest = shapely.STRtree(np.asarray(shapely.points(base))).nearest(np.asarray(shapely.points(points)))
    return np.asarray(moving_mean(values[:, None], np.ones(len(values)), 8, closed=True)[0][nearest, 0])
