"""Trends of the light beside an edge, which would move it, and profiles without them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from .profiles import SQRT_2PI, normal_cdf_and_bell
from .ragged import EndToEnd, median, moving_mean

_LEAST_SLOPE = 0.0012  # of the contrast per px; less would be the blur's own tail as often as shade
_LEAST_ODD, _ODD = 0.03, 6.0  # of the contrast, and times the usual rest: farther off is another edge, no trend
_SEEN = 0.2  # samples a profile, near by, that tell where this side's level was taken
_LEAST_STEP = 0.2  # of the contrast, left between both levels at the edge
_SURE_SDS = 4.0  # a slope counts that is so many of its deviations: by chance one in 16,000
_LEAST_SAMPLES = 30  # a slope is told from; common practice, no source
_OWN_HALF = 10  # profiles on either side that a profile's own middle is told from; chosen, no source


@dataclass(frozen=True, slots=True)
class Slopes:
    """Straight trend of one side's light near the edge, in parts of the contrast per px along the normal."""

    slope: FloatArray  # (N,), 0 where it is not significant
    centre: FloatArray  # (N,), signed distance (px) at which the flat level was taken


def side_slopes(
    rest: FloatArray,
    distance: FloatArray,
    weight: npt.NDArray[np.bool_],
    *,
    half: int,
    rings: EndToEnd | None = None,
) -> Slopes:
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
    rings
        Of several contours: where the profiles of each are.
    """
    rings = rings or EndToEnd([len(rest)])
    # where another edge is near, its blur is no trend of this side
    shown = rings.summed(np.count_nonzero(weight, axis=1))
    typical = np.nan_to_num(EndToEnd(shown).each(np.abs(rest[weight]), median))
    w = (weight & (np.abs(rest) < rings.rows(_LEAST_ODD + _ODD * typical)[:, None])).astype(np.float64)
    sums = np.column_stack(
        [
            np.einsum("nk,nk->n", w, term)
            for term in (np.ones_like(rest), distance, distance**2, rest, rest * distance, rest**2)
        ]
    )
    every = np.ones(len(sums))
    mean, _ = moving_mean(sums, every, half, closed=True, rings=rings)
    pooled: FloatArray = mean * rings.rows(2 * np.minimum(half, (rings.sizes - 1) // 2) + 1)[:, None]
    n, u, uu, y, uy, yy = np.maximum(pooled[:, 0], 1.0), *pooled[:, 1:].T
    centre, spread = u / n, np.maximum(uu - u**2 / n, 1e-9)
    slope = (uy - u * y / n) / spread
    variance = np.maximum(yy - y**2 / n - slope**2 * spread, 0.0) / np.maximum(n - 2, 1.0)
    surely = np.maximum(_SURE_SDS * np.sqrt(variance / spread), _LEAST_SLOPE)
    significant = (np.abs(slope) > surely) & (n >= _LEAST_SAMPLES)
    own, _ = moving_mean(sums[:, :2], every, _OWN_HALF, closed=True, rings=rings)
    near = np.where(own[:, 0] > _SEEN, own[:, 1] / np.maximum(own[:, 0], _SEEN), centre)
    return Slopes(np.where(significant, slope, 0.0), near)


def take_out_slopes(
    value: FloatArray, distance: FloatArray, sigma_px: float | FloatArray, inside: Slopes, outside: Slopes
) -> FloatArray:
    """Make both sides flat, with the levels they have at the edge itself; `sigma_px` one, or of each profile (N, 1).

    A ramp a u that begins at the edge, blurred by a Gaussian, is a (u Phi(u/s) + s phi(u/s)).
    """
    if not (inside.slope.any() or outside.slope.any()):
        return value
    z = distance / sigma_px
    cdf, bell = normal_cdf_and_bell(z)
    tail = sigma_px * bell / SQRT_2PI
    beyond = outside.slope[:, None] * (distance * cdf + tail)
    within = inside.slope[:, None] * (distance * (1.0 - cdf) - tail)
    low = -outside.slope * outside.centre
    high = 1.0 - inside.slope * inside.centre
    span = np.where(np.abs(high - low) > _LEAST_STEP, high - low, 1.0)
    return np.asarray((value - beyond - within - low[:, None]) / span[:, None])
