"""What an item took with it of the paper it lies across: a bay in which the paper's edge was taken for its own."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Light
from ..records import BoolArray, Float32Array
from ..words.say import finding_of
from .parts import Labels, Part
from .pieces import ITEM_AREA, ITEM_THICKNESS
from .regions import Region

_PALE = 0.5  # of an item's typical departure from the lid: paper under it departs by less
_ALIKE = 0.03  # of the light: so near lies what is seen of one paper on either side of an item
_EVEN = 0.08  # of the light, between its tenths: a shade varies by more
_FAR_MM = 12.0  # from the item, where the paper is looked at
_ALONG_MM = 10.0  # of the picture's border: a sheet that ends within the picture is an item, or what items lie on
_SEEN = 0.25  # of a piece's area, of the paper beside it
_EDGE_PX = 3  # beside an edge, where its blur is
_SOME = 5000  # pixels beside a piece that its ground is told from; thinned for the work


def without_paper(
    differs: BoolArray, light: Light, departure: Float32Array, *, pixel_mm: float, dust_mm: float
) -> BoolArray:
    """Take off items what is as light as the paper beside them, which runs out of the picture and is no item.

    Parameters
    ----------
    differs
        (h, w) what is left to be item.
    light
        (h, w, C) linear light.
    departure
        (h, w) distance from the lid, 1 where it counts.
    pixel_mm
        Size of these pixels.
    dust_mm
        What counts as dust.
    """
    sides = zip(_border(departure), _border(differs), strict=True)
    if sum(np.count_nonzero((off >= 1.0) & ~item) for off, item in sides) * pixel_mm < _ALONG_MM:
        return differs
    gone = (departure >= 1.0) & ~differs
    paper = _running_out(_shrunk(gone, 2 * _EDGE_PX + 1), pixel_mm)
    if not paper.any():
        return differs
    _, labels, stats, _ = cv().connectedComponentsWithStats(differs.astype(np.uint8), connectivity=8)
    found = differs.copy()
    for label in np.flatnonzero(stats[1:, cv().CC_STAT_AREA] * pixel_mm**2 >= ITEM_AREA * dust_mm**2) + 1:
        x, y, w, h = (int(v) for v in stats[label, :4])
        reach = round(_FAR_MM / pixel_mm)
        at = slice(max(0, y - reach), y + h + reach), slice(max(0, x - reach), x + w + reach)
        if not paper[at].any():
            continue
        own = labels[at] == label
        found[at] &= ~(own & _of_paper(own, paper[at], light[at], departure[at], pixel_mm, dust_mm))
    return found


def with_paper_said(
    regions: list[Region], part: Part, labels: Labels, taken: BoolArray, pixel_mm: float
) -> list[Region]:
    """Return the regions of a part with what is to be said where paper was `taken` (h, w) off it."""
    x, y, w, h = part.box
    at = slice(max(0, y - _EDGE_PX), y + h + _EDGE_PX), slice(max(0, x - _EDGE_PX), x + w + _EDGE_PX)
    if not taken[at].any():
        return regions
    beside = cv().dilate((labels[at] == part.label).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    _, pieces = cv().connectedComponents(taken[at].astype(np.uint8), connectivity=8)
    own = np.unique(pieces[beside & taken[at]])
    area = float(np.count_nonzero(np.isin(pieces, own))) * pixel_mm**2
    if not area:
        return regions
    said = finding_of("paper-at-edge", value=area)
    return [replace(region, findings=(*region.findings, said)) for region in regions]


def _border(values: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], ...]:
    return values[0], values[-1], values[1:-1, 0], values[1:-1, -1]


def _running_out(mask: BoolArray, pixel_mm: float) -> BoolArray:
    """The patches of a mask that lie along some of the picture's border."""
    count, labels = cv().connectedComponents(mask.astype(np.uint8), connectivity=4)
    along = np.bincount(np.concatenate(_border(labels)), minlength=count) * pixel_mm >= _ALONG_MM
    along[0] = False
    return np.asarray(along[labels])


def _of_paper(
    own: BoolArray, paper: BoolArray, light: Float32Array, departure: Float32Array, pixel_mm: float, dust_mm: float
) -> BoolArray:
    """Which pixels of an item are of the paper beside it, with the edges of those."""
    pale = own & (departure < _PALE * np.median(departure[own]))
    if np.count_nonzero(pale) * pixel_mm**2 < ITEM_AREA * dust_mm**2:
        return np.zeros_like(own)
    wide = max(2 * _EDGE_PX + 1, round(ITEM_THICKNESS * dust_mm / pixel_mm)) | 1
    broad = cv().morphologyEx(pale.astype(np.uint8), cv().MORPH_OPEN, np.ones((wide, wide), np.uint8))
    count, pieces = cv().connectedComponents(broad, connectivity=4)
    found = np.zeros_like(own)
    for number in range(1, count):
        piece = pieces == number
        if _is_of(_shrunk(piece, 2 * _EDGE_PX + 1), paper, light, pixel_mm):
            found |= cv().dilate(piece.astype(np.uint8), np.ones((2 * _EDGE_PX + 1,) * 2, np.uint8)) > 0
    return found & pale


def _is_of(piece: BoolArray, rest: BoolArray, light: Float32Array, pixel_mm: float) -> bool:
    """Whether a piece is as light, in each channel, as what lies near of a paper that is evenly so."""
    if not piece.any():
        return False
    reach = round(_FAR_MM / pixel_mm)
    x, y, w, h = cv().boundingRect(piece.astype(np.uint8))
    near = slice(max(0, y - reach), y + h + reach), slice(max(0, x - reach), x + w + reach)
    beside = light[near][rest[near]]
    if len(beside) < _SEEN * np.count_nonzero(piece):
        return False
    low, middle, high = np.percentile(beside[:: max(1, len(beside) // _SOME)], (10, 50, 90), axis=0)
    here = np.median(light[piece], axis=0)
    return bool((np.abs(here - middle) < _ALIKE * middle).all() and (high - low < _EVEN * middle).all())


def _shrunk(mask: BoolArray, size: int) -> BoolArray:
    return np.asarray(cv().erode(mask.astype(np.uint8), np.ones((size, size), np.uint8), borderValue=1) > 0)
