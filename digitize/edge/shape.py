"""How far an edge is from one clean step: what a single step leaves of its profiles.

A bevel, a rounded or see-through edge, a shadow nearer than the blur: the light then crosses from item to ground in
another way than a blurred step does, and the step that fits best lies off the edge by some part of the blur. How far
cannot be told from the profile alone, as a bright bevel and a shadow look the same; how much is left unexplained can.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..measure.ragged import IntArray, medians
from ..records import Contour, FloatArray, Picture
from .spans import spanning
from .stretches import SAMPLING_PX, Stretch, means_along, stretches_of

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
_AT_ONCE = 16  # contours whose light is held at a time


@dataclass(frozen=True, slots=True)
class Unclean:
    """An edge that is no clean step."""

    off_px: float  # how far it may be off for that, k = 2
    place_px: tuple[float, float]  # where it is least clean


def unclean_steps(
    picture: Picture,
    contours: Sequence[Contour],
    *,
    blur_px: float | None,
    mm_per_px: float,
    lights: Sequence[Sequence[Stretch | None]] = (),
) -> list[Unclean | None]:
    """How far edges may be off for their being no clean steps; None of those that are.

    Parameters
    ----------
    picture
        That the contours were traced in.
    contours
        Exterior or holes.
    blur_px
        Of the picture, by its reference; None where it is not known, and each contour's own is the best guess.
    mm_per_px
        Size of a pixel.
    lights
        What was seen along the stretches of the first of them, or of all: nothing of one that was not looked at.
    """
    found: list[Unclean | None] = [None] * len(contours)
    alike: dict[tuple[bool, float, int, tuple[int, ...]], list[int]] = {}
    stretches = [[one for one in stretches_of(c, mm_per_px) if len(one) >= _LEAST_PROFILES] for c in contours]
    for k, contour in enumerate(contours):
        blurs = [float(np.hypot(one, SAMPLING_PX)) for one in sorted({blur_px or contour.blur_px, contour.blur_px})]
        reach = min(_MOST_REACH_PX, float(np.ceil(4.0 * blurs[-1] + 4.0)))
        if len(stretches[k]) >= _LEAST_KNOWN:
            is_seen = k < len(lights) and len(lights[k]) == len(stretches[k])
            key = is_seen, reach, len(stretches[k]), tuple(round(one / _BLUR_STEP_PX) for one in blurs)
            alike.setdefault(key, []).append(k)
    for (is_seen, reach, count, blurs_), numbers in alike.items():
        at = np.arange(-reach, reach + _STEP_PX / 2, _STEP_PX)
        for first in range(0, len(numbers), _AT_ONCE):
            some = numbers[first : first + _AT_ONCE]
            light = {k: one for k in some if is_seen and (one := _seen(lights[k], at)) is not None}
            left = [k for k in some if k not in light]
            if left:
                means, _ = means_along(picture, [contours[k] for k in left], [stretches[k] for k in left], at)
                light |= zip(left, means.reshape(len(left), count, *means.shape[1:]), strict=True)
            rests = _rests_round(np.stack([light[k] for k in some]), at, blurs_)
            for k in np.flatnonzero(rests.max(axis=1) > _LEAST_REST).tolist():
                number = some[k]
                found[number] = _unclean(contours[number], stretches[number], rests[k], blur_px)
    return found


def _rests_round(light: FloatArray, at: FloatArray, blurs: Sequence[int]) -> FloatArray:
    """What the best single step of any of these blurs leaves of mean light (R, S, K, C) round R contours; (R, S)."""
    axis = medians(np.moveaxis(light[:, :, :2].mean(axis=2) - light[:, :, -2:].mean(axis=2), 1, 0))
    value = np.einsum("rskc,rc->rsk", light, axis)
    value /= np.maximum(np.einsum("rc,rc->r", axis, axis), 1e-9)[:, None, None]
    # an edge that is only softer is no worse a step: how far it may lie above the glass is another matter
    flat = value.reshape(-1, len(at))
    rests = np.min([_rests(flat, at, one) for one in blurs], axis=0).reshape(value.shape[:2])
    # a speck or a hair spoils one or two stretches of a small hole, a bevel all along a side
    return np.asarray(np.min([np.roll(rests, k, axis=1) for k in (-1, 0, 1)], axis=0))


def _unclean(
    contour: Contour, stretches: Sequence[IntArray], rests: FloatArray, blur_px: float | None
) -> Unclean | None:
    """What the rests of the stretches (S,) make of an edge; None of a clean one."""
    rest = float(np.quantile(np.minimum(rests, _MOST_REST), _HELD))
    if rest <= _LEAST_REST:
        return None
    worst = stretches[int(rests.argmax())]
    x, y = contour.points_px[worst[len(worst) // 2]].tolist()
    return Unclean(_OFF_BLURS * rest * min(blur_px or contour.blur_px, contour.blur_px), (x, y))


def _seen(light: Sequence[Stretch | None], at: FloatArray) -> FloatArray | None:
    """The mean light (S, K, C) at places (K,) along stretches; None if it was not looked at, there, of all."""
    known = [one for one in light if one is not None]
    if len(known) < len(light) or any(one.at_px is not known[0].at_px for one in known):
        return None  # some end in the picture
    first = int(np.searchsorted(known[0].at_px, at[0]))
    part = slice(first, first + len(at))
    return np.stack([one.light[part] for one in known]) if np.array_equal(known[0].at_px[part], at) else None


def _rests(value: FloatArray, at: FloatArray, blur: int) -> FloatArray:
    """RMS of what a single step of this blur, in steps of it, leaves of profiles (N, K) by least squares; (N,)."""
    rows = _shifted(tuple(at.tolist()), blur)
    parts = np.einsum("sk,mck->smc", value, rows)
    left = (value**2).sum(axis=1)[:, None] - (parts**2).sum(axis=2)
    return np.asarray(np.sqrt(np.maximum(left.min(axis=1), 0.0) / len(at)))


@lru_cache(maxsize=64)
def _shifted(at: tuple[float, ...], sigma: int) -> FloatArray:
    """Orthonormal rows (M, 2, K) that span a level and a step of this blur, in steps of it, at each of the shifts."""
    steps = normal_cdf((_SHIFTS_PX[:, None] - np.array(at)[None, :]) / (sigma * _BLUR_STEP_PX))
    return spanning(np.stack([np.ones_like(steps), steps], axis=2))
