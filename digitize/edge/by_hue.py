"""In deep shade an edge of an item of a hue is told by that hue: shade darkens the ground along its own colour only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..measure.profiles import Profiles, Steps
from ..measure.ragged import EndToEnd, moving_mean
from ..records import BoolArray, FloatArray
from ..steady import product

# Of scans of leaves that curl and of rendered tags with shades; below the first nothing changes, beyond the second
# only the hue counts.
_FALL = 0.05, 0.12  # of the contrast: the ground's light lost from the far third of what is seen of it to the near one
_HUE = 3.0, 6.0  # what of the contrast is square to the ground's colour, spreads of the ground's own light that way
_LEAST_HUE = 0.03  # of the ground's light
_TINT = 0.05  # of the ground's light: shade of more tint than this is none


def told_by_hue(profiles: Profiles, steps: Steps, outside: BoolArray, *, half: int, rings: EndToEnd) -> Steps:
    """Project the profiles, where the ground darkens toward the item, onto what no shade changes.

    Parameters
    ----------
    profiles
        N profiles of K pixels, from inside to outside.
    steps
        The same, projected onto the whole difference of colours.
    outside
        (N, K) what shows the pure ground.
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
    if not (hue > _LEAST_HUE * np.sqrt(power)).any():
        return steps
    spread = _spread(profiles, outside, ground, square / np.maximum(hue, 1e-9)[:, None], half=half, rings=rings)
    told = np.where(hue > _LEAST_HUE * np.sqrt(power), _between(hue / np.maximum(spread, 1e-9), _HUE), 0.0)
    fall = _fall(profiles, outside, ground / power[:, None]) * np.sqrt(power) / np.maximum(steps.contrast, 1e-6)
    share = told * _between(fall, _FALL)
    share = moving_mean(np.nan_to_num(share)[:, None], np.ones(len(share)), half, closed=True, rings=rings)[0][:, 0]
    where = np.flatnonzero((share > 0.01) & steps.usable)
    if not len(where):
        return steps
    gain = square[where] / np.maximum((square[where] ** 2).sum(axis=1), 1e-12)[:, None]
    by_hue = product(profiles.light[where].astype(np.float64), gain[:, :, None])[..., 0]
    by_hue -= (ground[where] * gain).sum(axis=1)[:, None]
    value = steps.value.copy()
    value[where] += share[where, None] * (by_hue - value[where])
    return replace(steps, value=value)


def _between(value: FloatArray, limits: tuple[float, float]) -> FloatArray:
    low, high = limits
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def _spread(
    profiles: Profiles, outside: BoolArray, ground: FloatArray, way: FloatArray, *, half: int, rings: EndToEnd
) -> FloatArray:
    """Spread of the ground's own light along a colour (N, C), pooled over neighbours; (N,)."""
    seen = (outside & profiles.inside_picture).astype(np.float64)
    along = product(profiles.light.astype(np.float64), way[:, :, None])[..., 0] - (ground * way).sum(axis=1)[:, None]
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
