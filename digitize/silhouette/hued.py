"""Things of a hue of their own in a photo, amid shade, glare and ink: those have none.

What a photo shows beside its items is mostly darker or lighter ground: a shadow that runs out of the picture, the
clear walls of a dish, writing. Told by how far they lie from the ground, things in it are one with it. Told by how far
the channels lie apart once the ground's own hue is taken off, they stand alone.
"""

from __future__ import annotations

import numpy as np

from ..opencv import cv
from ..reading.reduced import Light, Reduced
from ..records import BoolArray, Float32Array
from .background import Background, Fitted
from .numbered import AREA, numbered
from .pieces import ITEM_AREA
from .shade import LEAST_BEHIND

# Spread of the roots of the channels' light over their mean, the ground's own hue taken off, as in `clutter`. Limits
# from two real photos of plants in a dish, in the forms of tests/bench/real_photos.py.
_HUE = 0.6  # median of a thing: leaves on real photos have 0.63 to 1.0, ink and glare 0.2 to 0.47
_PALEST = 0.25  # of that: stems, rims, what is nearly black; shade is tinted by 0.02 to 0.1
_RIM, _MOST = 0.5, 0.5  # of that a thing shows over half of it; its rim is blurred
_FLOOR = 0.02  # of full light's root, five codes: noise is within it
_PALE_GROUND = 0.2  # of full light: on a darker one a hue is lost in its noise
_LOOK = 3  # one pixel in so many, each way, is looked at first: most photos hold no such thing
_ROWS = 64  # worked at a time, so that they stay in the processor's cache
_BESIDE_PX = 5  # from an item: a part of it
_NEARLY = 0.8  # of the way from the light around to that of the thing: deep shade lies half-way
_AROUND_PX = 14  # of a thing: where the light of the ground beside it is seen


def patches_of_hue(
    reduced: Reduced, fitted: Fitted, free: BoolArray, taken: BoolArray, *, pixel_mm: float, dust_mm: float
) -> BoolArray:
    """Return what has a hue that the ground has not, is as large as an item and joins none that was found; (h, w).

    Parameters
    ----------
    reduced
        The picture.
    fitted
        What would be seen without things.
    free
        (h, w) where things may lie.
    taken
        (h, w) what was found.
    pixel_mm
        Size of the reduced picture's pixels.
    dust_mm
        What counts as dust.
    """
    found = np.zeros_like(free)
    if reduced.light.shape[2] != 3 or float(fitted.typical.mean()) < _PALE_GROUND:
        return found
    clear = _FLOOR if reduced.blocks is None else max(_FLOOR, float(reduced.blocks.off.max()) / 255)
    least_px2 = ITEM_AREA * (dust_mm / pixel_mm) ** 2
    lid = Background(fitted).light
    few = np.s_[::_LOOK, ::_LOOK]
    hued = (_spread(reduced.light[few], lid[few], clear) > _RIM * _HUE) & (free & ~taken)[few]
    if np.count_nonzero(hued) * _LOOK**2 < 0.5 * _MOST * least_px2:
        return found
    spread = _spread(reduced.light, lid, clear)
    spread[~free] = 0.0
    labels, stats = numbered(_joined(spread > _PALEST * _HUE), 8)
    beside = np.unique(labels[cv().dilate(taken.astype(np.uint8), np.ones((_BESIDE_PX, _BESIDE_PX), np.uint8)) > 0])
    for label in np.setdiff1d(np.flatnonzero(stats[:, AREA] >= least_px2), [0, *beside]):
        x, y, w, h = (int(v) for v in stats[label, :4])
        at = slice(y, y + h), slice(x, x + w)
        own = labels[at] == label
        shown = spread[at][own & (spread[at] > _RIM * _HUE)]
        if len(shown) >= _MOST * np.count_nonzero(own) and float(np.median(shown)) >= _HUE:
            around = tuple(slice(max(0, v - _AROUND_PX), v + n + _AROUND_PX) for v, n in ((y, h), (x, w)))
            found[around] |= _whole(labels[around] == label, reduced.light[around], free[around])
    return found


def _whole(own: BoolArray, light: Float32Array, free: BoolArray) -> BoolArray:
    """A thing with its own parts that are too dark or pale to show a hue: nearer to its light than to that around."""
    wide = cv().dilate(own.astype(np.uint8), np.ones((_BESIDE_PX, _BESIDE_PX), np.uint8)) > 0
    ground = np.median(light[free & ~wide], axis=0) if (free & ~wide).any() else np.zeros(3, np.float32)
    gain = np.median(light[own], axis=0) - ground
    hull = np.zeros(own.shape, np.uint8)
    cv().fillConvexPoly(hull, cv().convexHull(cv().findNonZero(own.astype(np.uint8))), 1)
    near = free & (hull > 0) & (((light - ground) * gain).sum(axis=2) >= _NEARLY * float((gain * gain).sum()))
    _, labels = cv().connectedComponents((own | near).astype(np.uint8), connectivity=8)
    held = np.zeros(int(labels.max()) + 1, bool)
    held[labels[own]] = True
    return np.asarray(held[labels] & (own | near))


def _joined(mask: BoolArray) -> BoolArray:
    """What is broad, over gaps of 6 px: a dark vein, a fold."""
    small = _opened(mask).astype(np.uint8)
    return np.asarray(cv().morphologyEx(small, cv().MORPH_CLOSE, np.ones((7, 7), np.uint8)) > 0)


def _opened(mask: BoolArray) -> BoolArray:
    """Without what is narrower than 3 px: fringes of colour lie along every edge of a lens's picture."""
    return np.asarray(cv().morphologyEx(mask.astype(np.uint8), cv().MORPH_OPEN, np.ones((3, 3), np.uint8)) > 0)


def _spread(light: Light | Float32Array, lid: Float32Array, least: float) -> Float32Array:
    """How far the channels' roots lie apart, over their mean, the ground's hue taken off; 0 below the least; (h, w)."""
    found = np.zeros(light.shape[:2], np.float32)
    for top in range(0, len(found), _ROWS):
        rows = slice(top, top + _ROWS)
        behind = np.maximum(lid[rows], LEAST_BEHIND)
        root = np.sqrt(light[rows] / behind)
        first, second, third = root[..., 0], root[..., 1], root[..., 2]
        apart = np.maximum(np.maximum(first, second), third) - np.minimum(np.minimum(first, second), third)
        clear = apart * np.sqrt(behind.mean(axis=2)) > least
        np.divide(apart, root.mean(axis=2), out=found[rows], where=clear)
    return found
