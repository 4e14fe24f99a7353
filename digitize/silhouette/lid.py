"""Where the lid goes on beyond what a smooth surface follows: told by what it lacks, an edge or another hue."""

from __future__ import annotations

import numpy as np

from ..opencv import cv
from ..records import BoolArray, Float32Array

# Square root of linear light, about even to the eye. Of the limits below each leaves real scans (lids from 205 to 255
# codes, dark rims, specks) and renders of pale items on their right side by a factor of 1.5 at least.
_SLOPE = 0.006  # a pixel: a lid's light changes more slowly, an edge faster
_CALM = 3.0  # times the typical slope of what is known to be lid
_OTHER_HUE = 0.03
_LIGHT = 0.45, 1.4  # of the starting colour's light, within which a lid may fall off or brighten
_WORTH = 0.05  # of the known lid: less is no reason to leave the smooth surface
_WIDTHS = 24.0, 10.0, 4.0, 2.0  # of the means that follow it, pixels
PER_PX = 0.125  # of a Sobel kernel of 3 x 3: the change a pixel
FAINT = 0.05  # weight of what is known far off, which a mean falls back to


def grown_lid(small: Float32Array, where: BoolArray, chosen: BoolArray, start: Float32Array) -> BoolArray:
    """Give the stretch of even hue that is reached from known lid without crossing an edge.

    Parameters
    ----------
    small
        (h, w, C) linear light, some 200 pixels long.
    where
        (h, w) where the lid may be looked for.
    chosen
        (h, w) what is known to be lid.
    start
        (C,) its typical light.

    Returns
    -------
    (h, w) bool
        `chosen` itself where there is hardly more.
    """
    if not chosen.any():
        return chosen
    shown = np.sqrt(np.clip(small, 0, 1))
    shown = np.asarray(cv().medianBlur(shown, 5), dtype=np.float32).reshape(small.shape)  # specks have edges, too
    slope = _slope(shown)
    steep = max(_SLOPE, _CALM * float(np.median(slope[chosen])))
    part = small.sum(axis=2) / max(float(start.sum()), 1e-3)
    even = np.sqrt(np.clip(part, 0, None))[..., None] * np.sqrt(start)
    free = where & (slope < steep) & (np.abs(shown - even).max(axis=2) < _OTHER_HUE)
    free &= (part > _LIGHT[0]) & (part < _LIGHT[1])
    # an edge has gaps of a pixel where it is faint
    opened = cv().morphologyEx(free.astype(np.uint8), cv().MORPH_OPEN, np.ones((3, 3), np.uint8)) > 0
    opened |= chosen
    count, labels = cv().connectedComponents(opened.astype(np.uint8), connectivity=4)
    reached = np.zeros(count, bool)
    reached[labels[chosen]] = True
    reached[0] = False
    grown = chosen | (reached[labels] & _open_to_border(chosen, where))
    return grown if np.count_nonzero(grown) > (1 + _WORTH) * np.count_nonzero(chosen) else chosen


def alike_in_hue(here: Float32Array, there: Float32Array) -> bool:
    """Whether two colours, linear light (C,), may be of one lid: of one hue, and not far in light."""
    part = float(there.sum()) / max(float(here.sum()), 1e-3)
    even = np.sqrt(max(part, 0.0)) * np.sqrt(np.clip(here, 0, 1))
    apart = float(np.abs(np.sqrt(np.clip(there, 0, 1)) - even).max())
    return apart < _OTHER_HUE and _LIGHT[0] < part < 1 / _LIGHT[0]


def _open_to_border(chosen: BoolArray, where: BoolArray) -> BoolArray:
    """What known lid does not enclose: amid it a stretch that goes on without an edge may be a pale item."""
    rest = (where & ~chosen).astype(np.uint8)
    count, labels = cv().connectedComponents(rest, connectivity=8)
    whole = np.pad(where, 1).astype(np.uint8)
    border = where & ~(cv().erode(whole, np.ones((5, 5), np.uint8))[1:-1, 1:-1] > 0)
    reaches = np.zeros(count, bool)
    reaches[labels[border]] = True
    reaches[0] = False
    return np.asarray(reaches[labels])


def _slope(shown: Float32Array) -> Float32Array:
    """Change of (h, w, C) from pixel to pixel, all channels; (h, w)."""
    across = cv().Sobel(shown, cv().CV_32F, 1, 0, scale=PER_PX).reshape(shown.shape)
    down = cv().Sobel(shown, cv().CV_32F, 0, 1, scale=PER_PX).reshape(shown.shape)
    return np.asarray(np.sqrt((across * across + down * down).sum(axis=2)), dtype=np.float32)


def followed(small: Float32Array, surface: Float32Array, lid: BoolArray) -> Float32Array:
    """Surface plus what the lid differs from it, as means of ever nearer lid; far from any the wider ones remain.

    Parameters
    ----------
    small
        (h, w, C) linear light.
    surface
        (h, w, C) a first guess.
    lid
        (h, w) what is lid.
    """
    share = lid.astype(np.float32)
    for width in _WIDTHS:
        rest = np.ascontiguousarray((small - surface) * share[..., None])
        total = cv().GaussianBlur(rest, (0, 0), width).reshape(small.shape)
        weight = cv().GaussianBlur(share, (0, 0), width)
        surface = surface + total / (weight + FAINT)[..., None]
    return np.asarray(surface, dtype=np.float32)
