"""What differs from the background, and what of that is only its shade."""

from __future__ import annotations

import numpy as np

from .background import Background, BoolArray, Float32Array
from .opencv import cv

_ROWS = 64  # rows worked at a time, so that they stay in the processor's cache


def differs_from(light: Float32Array, background: Background, *, faint: bool = False) -> BoolArray:
    """Pixels whose colour leaves the background by more than its noise and a floor.

    With `faint` the mean of 5 x 5 pixels is looked at and a lower floor taken: that finds pale items in
    noise, but on a lid that is not clean its stains as well.
    """
    if not faint:
        return _beyond(light, background.light, background.noise, (0.006, 0.022))
    smooth = cv().blur(light, (5, 5)).reshape(light.shape)
    # paper's texture and compression are not white noise: a mean of 25 pixels has a third of it, not a fifth
    return _beyond(smooth, background.light, background.noise / 3.0, (0.004, 0.018))


def _beyond(light: Float32Array, level: Float32Array, noise: Float32Array, floor: tuple[float, float]) -> BoolArray:
    """Whether a pixel's colour lies farther from the background than the least difference that counts; (h, w)."""
    found = np.empty(light.shape[:2], bool)
    ones = np.ones((1, light.shape[2]), np.float32)
    least = np.asarray(6.0 * noise, dtype=np.float32)
    for top in range(0, len(light), _ROWS):
        rows = slice(top, top + _ROWS)
        limit = np.clip(level[rows], 0, 1)
        limit *= floor[1]
        limit += floor[0]
        np.maximum(limit, least, out=limit)
        part = light[rows] - level[rows]
        part /= limit
        part *= part
        found[rows] = cv().transform(part, ones).reshape(found[rows].shape) > 1.0
    return found


def _mean_channel(light: Float32Array) -> Float32Array:
    """Mean over the channels; (h, w)."""
    channels = light.shape[2]
    weights = np.full((1, channels), 1.0 / channels, np.float32)
    return np.asarray(cv().transform(light, weights), dtype=np.float32).reshape(light.shape[:2])


def let_shade_go(light: Float32Array, background: Background, differs: BoolArray, field: BoolArray) -> BoolArray:
    """Take out shade: the same part of the light lost in all channels, and softly, from the background inward.

    Shade is soft, so every second pixel is looked at.
    """
    few = (slice(None, None, 2), slice(None, None, 2))
    shade = _soft_shade(light[few], background.light[few], differs[few])
    if not shade.any():
        return differs
    clear = ~differs[few] & field[few]
    count, labels = cv().connectedComponents((shade | clear).astype(np.uint8), connectivity=4)
    from_outside = np.zeros(count, bool)
    from_outside[labels[clear]] = True
    reached = from_outside[labels] & shade
    if not reached.any():
        return differs
    size = (differs.shape[1], differs.shape[0])
    gone = np.repeat(np.repeat(reached, 2, axis=0), 2, axis=1)[: size[1], : size[0]]
    rest = differs & ~gone
    # a part that would lose most of itself is a soft-edged grey item, not shade
    count, parts = cv().connectedComponents(differs.astype(np.uint8))
    before = np.bincount(parts[differs], minlength=count)
    lost = np.bincount(parts[rest], minlength=count) < 0.4 * before
    return np.asarray(rest | (differs & lost[parts]))


def _soft_shade(light: Float32Array, behind: Float32Array, differs: BoolArray) -> BoolArray:
    """Pixels darkened alike in all channels, without an edge."""
    light, behind = np.ascontiguousarray(light), np.ascontiguousarray(behind)
    ratio = _mean_channel(light) / np.maximum(_mean_channel(behind), 0.02)
    smooth = cv().GaussianBlur(ratio, (3, 3), 0.7)
    gx, gy = cv().Sobel(smooth, cv().CV_32F, 1, 0, scale=0.125), cv().Sobel(smooth, cv().CV_32F, 0, 1, scale=0.125)
    shade = differs & (ratio < 1.0) & (ratio > 0.3) & (cv().magnitude(gx, gy) < 0.04)
    if light.shape[2] > 1 and shade.any():
        part = light[shade] / np.maximum(behind[shade], 0.02)
        shade[shade] = (part.max(axis=1) < 1.0) & (np.ptp(part, axis=1) < 0.05)
    return np.asarray(shade)
