"""In deep shade an edge of an item of a hue is told by that hue: shade darkens the ground along its own colour only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..measure.profiles import Profiles, Steps
from ..measure.ragged import EndToEnd, moving_mean
from ..records import BoolArray, FloatArray
from ..steady import product

# Of scans of leaves that curl and of rendered tags with shades.
_FALL = 0.03, 0.06  # of the contrast: the ground's light lost from the far third of what is seen of it to the near one
_LEAST_HUE = 0.03  # of the ground's light: what of the contrast is square to the ground's colour
_COUNTS = 0.01  # weight of the hue from which it is looked at
_TINT = 0.05  # of the ground's light: shade of more tint than this is none
# A hue is known less well than the light: shade takes on some, and JPEG as a rule keeps that of every second pixel.
_LEAST_SPREAD = 0.2  # of the hue; with less, leaves in pressed scans and pressed renders come out larger
_NOISE = 0.6  # how much spread of the hue counts beside light lost in shade, of which a straight trend is taken out


def told_by_hue(
    profiles: Profiles, steps: Steps, inside: BoolArray, outside: BoolArray, *, half: int, rings: EndToEnd
) -> Steps:
    """Project the profiles, where the ground darkens toward the item, onto what no shade changes.

    Parameters
    ----------
    profiles
        N profiles of K pixels, from inside to outside.
    steps
        The same, projected onto the whole difference of colours.
    inside, outside
        (N, K) what shows the pure item, and the pure ground.
    half
        Neighbours on either side over which the choice is made.
    rings
        Whose profiles they are.

    Returns
    -------
    Steps
        With other values where an item of a hue lies in deep shade; else as they were.
    """
    if profiles.light.shape[2] != 3:
        return steps
    ground = steps.outside
    power = np.maximum((ground**2).sum(axis=1), 1e-9)
    contrast = steps.inside - ground
    square = contrast - ((contrast * ground).sum(axis=1) / power)[:, None] * ground
    hue = np.sqrt((square**2).sum(axis=1))
    has_hue = hue > _LEAST_HUE * np.sqrt(power)
    if not has_hue.any():
        return steps
    fall = _fall(profiles, outside, ground / power[:, None]) * np.sqrt(power) / np.maximum(steps.contrast, 1e-6)
    fall = _evened(np.maximum(np.nan_to_num(fall), 0.0), half, rings)
    if not (has_hue & (fall > _FALL[0])).any():
        return steps
    way = square / np.maximum(hue, 1e-9)[:, None]
    spread = np.hypot(
        _spread(profiles, outside, ground, way, half=half, rings=rings),
        _spread(profiles, inside, steps.inside, way, half=half, rings=rings),
    ) / np.maximum(hue, 1e-9)
    spread = np.hypot(spread, _LEAST_SPREAD)
    # what errs less counts more: the whole light by what shade takes of it, the hue by its own spread
    share = fall**2 / (fall**2 + (_NOISE * spread) ** 2 + 1e-12) * _between(fall, _FALL)
    share = _evened(share * has_hue, half, rings)
    where = np.flatnonzero((share > _COUNTS) & steps.usable)
    if not len(where):
        return steps
    gain = square[where] / np.maximum((square[where] ** 2).sum(axis=1), 1e-12)[:, None]
    by_hue = product(profiles.light[where].astype(np.float64), gain[:, :, None])[..., 0]
    by_hue -= (ground[where] * gain).sum(axis=1)[:, None]
    value = steps.value.copy()
    value[where] += share[where, None] * (by_hue - value[where])
    return replace(steps, value=value)


def _evened(values: FloatArray, half: int, rings: EndToEnd) -> FloatArray:
    return moving_mean(np.nan_to_num(values)[:, None], np.ones(len(values)), half, closed=True, rings=rings)[0][:, 0]


def _between(value: FloatArray, limits: tuple[float, float]) -> FloatArray:
    low, high = limits
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def _spread(
    profiles: Profiles, where: BoolArray, level: FloatArray, way: FloatArray, *, half: int, rings: EndToEnd
) -> FloatArray:
    """Spread of the light about its level along a colour (N, C), pooled over neighbours; (N,)."""
    seen = (where & profiles.inside_picture).astype(np.float64)
    along = product(profiles.light.astype(np.float64), way[:, :, None])[..., 0] - (level * way).sum(axis=1)[:, None]
    count = seen.sum(axis=1)
    square = (seen * np.nan_to_num(along) ** 2).sum(axis=1) / np.maximum(count, 1.0)
    pooled, _ = moving_mean(square[:, None], count, half, closed=True, rings=rings)
    return np.asarray(np.sqrt(np.nan_to_num(pooled[:, 0])))


def _fall(profiles: Profiles, outside: BoolArray, along: FloatArray) -> FloatArray:
    """Part of the ground's light that is lost toward the item, where that is without a tint; (N,)."""
    seen = outside & profiles.inside_picture
    count = seen.sum(axis=1)
    order = np.cumsum(seen, axis=1)
    third = np.maximum(count / 3.0, 1.0)[:, None]
    near, far = (_mean(profiles, seen & which) for which in (order <= third, order > count[:, None] - third))
    kept = (near * along).sum(axis=1) / np.maximum((far * along).sum(axis=1), 1e-6)
    tint = np.ptp(near / np.maximum(far, 1e-6), axis=1)
    return np.where((count >= 3) & (tint < _TINT), 1.0 - kept, 0.0)


def _mean(profiles: Profiles, weight: BoolArray) -> FloatArray:
    part = weight.astype(np.float64)
    total = product(part[:, None, :], profiles.light.astype(np.float64))[:, 0]
    return np.asarray(total / np.maximum(part.sum(axis=1), 1.0)[:, None])
