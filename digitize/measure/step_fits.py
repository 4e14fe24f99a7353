"""Steps fitted to profiles across an edge: where each lies, how sure that is, and the blur that they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..records import Float32Array, FloatArray
from .profiles import SQRT_2PI, USUAL_BLUR_PX, Real, mid_crossing, normal_cdf_and_bell
from .ragged import EndToEnd, median

_WEIGHT_BLURS = 3.0  # and 1 px: samples farther from a step carry no weight
_NARROWER, _WIDER_PX = 0.4, 0.8  # the most that a blur is changed by in a step: part of it, and px
_LEAST_BLUR_PX = 0.29  # of a pixel's own aperture: 1 / sqrt(12)
_SETTLED_BLUR_PX, _SETTLED_PX = 2e-3, 2e-4  # a step that changes less was the last: of a blur, and of a place
_MOST_PROFILES, _LEAST_PROFILES = 500, 8  # of one edge, that its blur is estimated from


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
