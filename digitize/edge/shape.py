"""How far an edge is from one clean step: what a single step leaves of its profiles, and where it is washed out.

A bevel, a rounded or see-through edge, a shadow nearer than the blur: the light then crosses from item to ground in
another way than a blurred step does, and the step that fits best lies off the edge by some part of the blur. How far
cannot be told from the profile alone, as a bright bevel and a shadow look the same; how much is left unexplained can.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..measure.profiles import light_between, normal_cdf
from ..measure.ragged import median, medians
from ..measure.rings import rolled
from ..records import Contour, FloatArray, Picture
from ..steady import product
from .smoothing import correlate_closed
from .spans import spanning
from .stretches import SAMPLING_PX, Stretch, means_along, outward_normals, stretches_of

# Of rendered lids with bevels, frosted things, shades and curled things the worst half millimetre of an edge lay off
# by 5 to 45 times (rest x blur), half of them by less than 15; those of clean things leave a rest of 0.002 to 0.01.
_OFF_BLURS = 20.0
_LEAST_REST = 0.012  # of the contrast: the lens's and the sampling's own
_MOST_REST = 0.15  # more is no edge's shape but a hair, a tip or another thing
_HELD = 0.8  # quantile of the stretches' rests that counts: a tip or a hair on a few of them does not
_LEAST_KNOWN = 8  # stretches
_LEAST_PROFILES = 3
_STEP_PX, _MOST_REACH_PX = 0.5, 10.0
_BLUR_STEP_PX = 0.01  # half of it changes a rest by less than 0.0002
_SHIFTS_PX = np.arange(-1.0, 1.01, 0.125)  # of a stretch's mean profile from the border taken
_WASHED = 0.3  # of the border's usual step: a fainter one is no edge that can be followed
_STEP_BLURS = 1.5  # either way from the edge, between which its step is taken
_WASHED_MM = 0.5  # along the edge, over which it is taken; half as much counts


@dataclass(frozen=True, slots=True)
class Washed:
    """Stretches of an edge whose step is far fainter than elsewhere on it."""

    long_mm: float  # of the edge, all together
    place_px: tuple[float, float]  # where it is faintest


@dataclass(frozen=True, slots=True)
class Unclean:
    """An edge that is no clean step."""

    off_px: float  # how far it may be off for that, k = 2
    place_px: tuple[float, float]  # where it is least clean


def unclean_step(
    picture: Picture,
    contour: Contour,
    *,
    blur_px: float | None,
    mm_per_px: float,
    light: Sequence[Stretch | None] = (),
) -> Unclean | None:
    """How far an edge may be off for its being no clean step; None where it is one.

    Parameters
    ----------
    picture
        That the contour was traced in.
    contour
        Exterior or hole.
    blur_px
        Of the picture, by its reference; None where it is not known, and the contour's own is the best guess.
    mm_per_px
        Size of a pixel.
    light
        What was seen along its stretches, if that was looked at.
    """
    blur = blur_px or contour.blur_px
    blurs = tuple(float(np.hypot(one, SAMPLING_PX)) for one in sorted({blur, contour.blur_px}))
    reach = min(_MOST_REACH_PX, float(np.ceil(4.0 * blurs[-1] + 4.0)))
    at = np.arange(-reach, reach + _STEP_PX / 2, _STEP_PX)
    stretches = [one for one in stretches_of(contour, mm_per_px) if len(one) >= _LEAST_PROFILES]
    if len(stretches) < _LEAST_KNOWN:
        return None
    means = _seen(light, at) if len(light) == len(stretches) else None
    if means is None:
        means, _ = means_along(picture, contour, stretches, at)
    axis = medians(means[:, :2].mean(axis=1) - means[:, -2:].mean(axis=1))
    value = product(means, axis) / max(float(product(axis, axis)), 1e-9)
    # an edge that is only softer is no worse a step: how far it may lie above the glass is another matter
    rests = np.min([_rests(value, at, one) for one in blurs], axis=0)
    # a speck or a hair spoils one or two stretches of a small hole, a bevel all along a side
    rests = np.min([rolled(rests, k) for k in (-1, 0, 1)], axis=0)
    if rests.max() <= _LEAST_REST:
        return None
    rest = float(np.quantile(np.minimum(rests, _MOST_REST), _HELD))
    if rest <= _LEAST_REST:
        return None
    worst = stretches[int(rests.argmax())]
    x, y = contour.points_px[worst[len(worst) // 2]].tolist()
    return Unclean(_OFF_BLURS * rest * min(blur, contour.blur_px), (x, y))


def _seen(light: Sequence[Stretch | None], at: FloatArray) -> FloatArray | None:
    """The mean light (S, K, C) at places (K,) along stretches; None if it was not looked at, there, of all."""
    known = [one for one in light if one is not None]
    if len(known) < len(light) or any(one.at_px is not known[0].at_px for one in known):
        return None  # some end in the picture
    first = int(np.searchsorted(known[0].at_px, at[0]))
    part = slice(first, first + len(at))
    return np.stack([one.light[part] for one in known]) if np.array_equal(known[0].at_px[part], at) else None


def _rests(value: FloatArray, at: FloatArray, sigma: float) -> FloatArray:
    """RMS of what a single step of this blur leaves of each profile (S, K), its levels and place by least squares."""
    rows = _shifted(tuple(at.tolist()), round(sigma / _BLUR_STEP_PX))
    parts = np.einsum("sk,mck->smc", value, rows)
    left = (value**2).sum(axis=1)[:, None] - (parts**2).sum(axis=2)
    return np.asarray(np.sqrt(np.maximum(left.min(axis=1), 0.0) / len(at)))


@lru_cache(maxsize=64)
def _shifted(at: tuple[float, ...], sigma: int) -> FloatArray:
    """Orthonormal rows (M, 2, K) that span a level and a step of this blur, in steps of it, at each of the shifts."""
    steps = normal_cdf((_SHIFTS_PX[:, None] - np.array(at)[None, :]) / (sigma * _BLUR_STEP_PX))
    return spanning(np.stack([np.ones_like(steps), steps], axis=2))


def washed_out(picture: Picture, contour: Contour, *, mm_per_px: float) -> Washed | None:
    """Stretches where the edge's mean step over half a millimetre is far fainter than elsewhere; None without.

    Parameters
    ----------
    picture
        That the contour was traced in.
    contour
        Exterior or hole.
    mm_per_px
        Size of a pixel.
    """
    half = max(1, round(0.5 * _WASHED_MM / mm_per_px))
    points = contour.points_px
    if len(points) < 4 * half:
        return None
    across = max(1.0, _STEP_BLURS * contour.blur_px) * outward_normals(points)
    step = light_between(picture, points - across) - light_between(picture, points + across)
    size = np.linalg.norm(correlate_closed(step, np.full(2 * half + 1, 1.0 / (2 * half + 1))), axis=1)
    faint = size < _WASHED * median(size)
    if faint.sum() <= half:
        return None
    x, y = points[int(size.argmin())].tolist()
    return Washed(float(faint.sum()) * mm_per_px, (x, y))
