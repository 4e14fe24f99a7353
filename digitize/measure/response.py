"""What the way from light to codes does to the place of an edge: another tone curve, a driver's sharpening.

Both act on codes, after the blur. The light half-way between both sides is then no longer half-way in what is measured:
all edges of an item move outward or inward alike, those of the reference as well, each by its own levels.
"""

from __future__ import annotations

import numpy as np

from ..reading.curve import srgb
from ..records import FloatArray
from .profiles import normal_cdf

MASK_PX = 1.2  # standard deviation of the blur whose difference a driver adds; common practice, no source
_GAMMA = 2.2  # of sRGB, nearly
_LEAST = 1e-3  # of full light


def srgb_codes(light: FloatArray) -> FloatArray:
    """Return codes 0..1 of linear light (IEC 61966-2-1)."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055)


def code_step(light: float, codes: int = 255) -> float:
    """Return how much of full light one code is at a level."""
    code = srgb_codes(np.array(light))
    return float(srgb(code + 1.0 / codes) - srgb(code))


def curve_shift_px(light: tuple[float, float], blur_px: float, gamma_off: float) -> float:
    """Return how far outward a traced edge lies where the true curve's power is larger than was taken.

    Parameters
    ----------
    light
        Inside and outside, of full light, as taken by the curve of sRGB.
    blur_px
        Of the edge.
    gamma_off
        True power less the one taken.
    """
    power = _GAMMA + gamma_off
    code = (0.5 * (srgb_codes(np.array(light)) ** power).sum()) ** (1.0 / power)  # where the edge is
    share = (float(srgb(np.array(code))) - light[1]) / _unlike(light)
    return blur_px * _normal_quantile(share)


def sharpened_shift_px(light: tuple[float, float], blur_px: float, share: float) -> float:
    """Return how far outward a traced edge lies where a driver has added a `share` of what a blur takes from codes."""
    if share <= 0.0:
        return 0.0
    at = np.arange(-6.0, 6.01, 0.1)
    inside, outside = light
    codes = srgb_codes(outside + (inside - outside) * normal_cdf(-at / blur_px))
    middle = float(codes[len(at) // 2])
    weight = np.exp(-0.5 * (at / MASK_PX) ** 2)
    moved = middle + share * (middle - float((codes * weight).sum() / weight.sum()))  # the code where the edge is
    more = srgb(np.array(max(moved, 0.0))) - srgb(np.array(middle))
    return float(more) / _unlike(light) * blur_px * float(np.sqrt(2.0 * np.pi))


def sharpened_share(rest: FloatArray, distance: FloatArray, blur_px: float) -> float:
    """Return how much a driver has sharpened, told by how profiles overshoot the blurred step that fits them best.

    To first order a step of blur b gains `share` times F(-x/b) - F(-x/c), c^2 = b^2 + mask^2; what a narrower blur
    would explain of that is taken out. What is left is held against the mean of what the profiles leave.

    Parameters
    ----------
    rest
        (N, K), profiles (1 inside, 0 outside) less the step.
    distance
        (N, K) of each sample from its edge, px, positive outside.
    blur_px
        Of the step.

    Returns
    -------
    float
        0 to 1; 0 where profiles rather lack what sharpening adds.
    """
    z = distance / blur_px
    near = np.abs(distance) < 2.5 * blur_px + 2.0
    added = normal_cdf(-z) - normal_cdf(-distance / np.hypot(blur_px, MASK_PX))
    narrower = z * np.exp(-0.5 * z * z)
    added = (added - (added * narrower)[near].sum() / max((narrower**2)[near].sum(), 1e-12) * narrower)[near]
    return float(np.clip((rest[near] @ added) / max(float(added @ added), 1e-12), 0.0, 1.0))


def _unlike(light: tuple[float, float]) -> float:
    """The difference of both sides, never nothing."""
    inside, outside = light
    return float(np.copysign(max(abs(inside - outside), _LEAST), inside - outside))


def _normal_quantile(share: float) -> float:
    """Return where the cumulative normal distribution reaches a share."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(min(max(share, 1e-6), 1.0 - 1e-6))
