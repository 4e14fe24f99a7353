"""Whether one item's pixels are perhaps those of two items in touch: two clearly different colours, side by side."""

from __future__ import annotations

import numpy as np

from ..opencv import cv
from ..records import BoolArray, Finding, Float32Array
from ..steady import eigen, product
from ..words.say import finding_of
from .numbered import AREA, numbered

_LOOK_PX = 120  # long side of the crop it is looked for in
_LEAST_PART = 0.08  # of the area
_LEAST_STEP = 0.05  # between the two, square root of linear light: about 13 codes of 255
_ROUNDING = 1e-4  # of it
_CLEAR = 5.0  # the step over the spread within either of them
_DECILES = 2.56  # standard deviations between the first and the ninth decile of normal errors
_WHOLE = 0.95  # of a colour's pixels that lie in one piece
_OPEN = 0.3  # of a piece's border, at least, that is the item's own: prints and inlays are surrounded
_LEAST_INSIDE = 200  # pixels of an item that two colours are told from; chosen, no source
_BINS = 128  # of the histogram that the level is sought in; common practice, no source


def perhaps_two_colours(light: Float32Array, own: BoolArray, pixel_mm: float) -> tuple[Finding, ...]:
    """Say that an item falls into two pieces of clearly different colour that lie side by side.

    Parameters
    ----------
    light
        (h, w, C) linear light of a crop.
    own
        (h, w) the item.
    pixel_mm
        Size of these pixels.
    """
    step = max(1, -(-max(own.shape) // _LOOK_PX))
    few = (slice(None, None, step), slice(None, None, step))
    inside = cv().erode(own[few].astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) > 0
    if np.count_nonzero(inside) < _LEAST_INSIDE:
        return ()
    shown = np.sqrt(np.clip(light[few][inside], 0, 1))
    if not _may_be_apart(shown):
        return ()
    value = _along_the_widest(shown)
    if np.ptp(value) < _LEAST_STEP:
        return ()
    level = _parting(value)
    upper = value > level
    if not _LEAST_PART < upper.mean() < 1 - _LEAST_PART:
        return ()
    apart = np.abs(np.median(shown[upper], axis=0) - np.median(shown[~upper], axis=0)).max()
    # a blurred border between the two and a few specks are allowed: quartiles
    spread = max(float(np.subtract(*np.percentile(value[side], (90, 10)))) for side in (upper, ~upper)) / _DECILES
    if apart < max(_LEAST_STEP, _CLEAR * spread):
        return ()
    pieces = [piece for side in (upper, ~upper) if (piece := _piece(inside, side)) is not None]
    if len(pieces) < 2:
        return ()
    areas = [float(np.count_nonzero(piece)) * (step * pixel_mm) ** 2 for piece in pieces]
    return (finding_of("perhaps-two-items", value=float(apart), case="colours", first=areas[0], second=areas[1]),)


def _may_be_apart(shown: Float32Array) -> bool:
    """Whether two parts of these colours (N, C) can lie a clear step apart: both hold so many of them at least.

    As many as half of a part lie on either side of its median, which therefore lies between those ranks.
    """
    rank = max(int(0.5 * _LEAST_PART * len(shown)) - 1, 0)
    top = len(shown) - 1 - rank
    ordered = (np.partition(shown[:, k], (rank, top)) for k in range(shown.shape[1]))
    return any(one[top] - one[rank] > (1.0 - _ROUNDING) * _LEAST_STEP for one in ordered)


def _along_the_widest(shown: Float32Array) -> Float32Array:
    """(N,) places of (N, C) colours along the direction in which they differ most."""
    rest = shown - shown.mean(axis=0)
    _, directions = eigen(product(rest.T.astype(np.float64), rest))
    return np.asarray(product(rest, directions[:, -1]), dtype=np.float32)


def _parting(value: Float32Array) -> float:
    """Level that parts values into two groups of the least variance within (N. Otsu, 1979, from memory)."""
    counts, edges = np.histogram(value, _BINS)
    below = np.cumsum(counts)[:-1]
    total = np.cumsum(counts * 0.5 * (edges[1:] + edges[:-1]))
    above = below[-1] + counts[-1] - below
    with np.errstate(divide="ignore", invalid="ignore"):
        between = below * above * (total[:-1] / below - (total[-1] - total[:-1]) / above) ** 2
    best = np.nanmax(between)
    # far apart, all levels between the groups are as good: the middle one
    return float(edges[1:-1][between >= (1 - 1e-6) * best].mean())


def _piece(inside: BoolArray, side: BoolArray) -> BoolArray | None:
    """The pixels of one colour where they are one piece with a border of its own to the outside, else None."""
    mask = np.zeros(inside.shape, np.uint8)
    mask[inside] = side
    # the blurred line around a piece takes on the other's colour: it is no piece
    kernel = np.ones((3, 3), np.uint8)
    mask = cv().morphologyEx(mask, cv().MORPH_OPEN, kernel)
    labels, stats = numbered(mask, 4)
    if len(stats) < 2:
        return None
    largest = 1 + int(stats[1:, AREA].argmax())
    piece = labels == largest
    if stats[largest, AREA] < max(_WHOLE * np.count_nonzero(side), _LEAST_PART * len(side)):
        return None
    rim = piece & ~(cv().erode(piece.astype(np.uint8), kernel, borderValue=0) > 0)
    edge = cv().dilate(_outside(inside), np.ones((5, 5), np.uint8)) > 0
    return piece if np.count_nonzero(rim & edge) > _OPEN * np.count_nonzero(rim) else None


def _outside(inside: BoolArray) -> BoolArray:
    """What lies round the item; holes in it are none of it."""
    ring = np.pad(~inside, 1, constant_values=True).astype(np.uint8)
    _, labels = cv().connectedComponents(ring, connectivity=4)
    return np.asarray((labels == labels[0, 0])[1:-1, 1:-1]).astype(np.uint8)
