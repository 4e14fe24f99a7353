"""A part's edge decided at full resolution, and its borders followed: the regions that are items."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, ByteArray, Float32Array, Picture
from .background import Fitted
from .band import (
    IntArray,
    decide_band,
    fill_specks,
    follow_borders,
    local_levels,
    open_shaded_holes,
    rim_levels,
    trim_pale,
)
from .holes import perhaps_holes, perhaps_print
from .parts import Labels, Part
from .pieces import ITEM_AREA
from .regions import Region
from .rims import Rim, pale_rims
from .two_colours import perhaps_two_colours
from .ways import Ask

Window = tuple[slice, slice]
_MARGIN = 14  # reduced pixels about a part
_AT_ONCE = 32  # parts looked at together


def _dust_px(reduced: Reduced, ask: Ask) -> float:
    """Size of dust, reduced px."""
    return ask.dust_mm / (ask.mm_per_px * reduced.factor)


@dataclass(frozen=True, slots=True)
class Ground:
    """The picture, what would be seen of it without items, and what differs from that."""

    picture: Picture
    reduced: Reduced
    background: Fitted
    labels: Labels  # (h, w) numbers of parts
    clear: BoolArray  # (h, w) where nothing is but background


@dataclass(frozen=True, slots=True)
class _Cut:
    """A part cut out at full resolution."""

    window: Window  # of the reduced picture
    behind: Float32Array  # (h, w, C), linear light of the background there
    own: BoolArray  # (h, w)
    start: tuple[int, int]  # x, y of the first of these pixels
    mask: ByteArray  # full pixels
    borders: list[tuple[IntArray, ...]]  # of each item it falls into


def regions_of(
    ground: Ground, parts: Sequence[Part], ask: Ask, *, least_px2: float | None = None
) -> Iterator[tuple[Part, list[Region]]]:
    """Decide parts' edges at full resolution and follow their borders; each may fall into several items.

    Parameters
    ----------
    ground
        What is looked at.
    parts
        Some of its parts.
    ask
        What the user said.
    least_px2
        Least area of an item, if not that by the size of dust.
    """
    least = ITEM_AREA * (ask.dust_mm / ask.mm_per_px) ** 2 if least_px2 is None else least_px2
    for first in range(0, len(parts), _AT_ONCE):
        some = parts[first : first + _AT_ONCE]
        cuts = [
            _cut_out(ground, part, at, behind, ask, least)
            for part, (at, behind) in zip(some, _behind(ground, some), strict=True)
        ]
        alone = [None if ask.of_photo or len(cut.borders) != 1 else cut.borders[0][0] for cut in cuts]
        rims = pale_rims(ground.picture, alone, ask.mm_per_px)
        for part, cut, rim in zip(some, cuts, rims, strict=True):
            yield part, _with_rim(ground, part, cut, rim, ask, least)


def _behind(ground: Ground, parts: Sequence[Part]) -> list[tuple[Window, Float32Array]]:
    """A window about each part, and the background's light there: all of it is held for no longer than this takes."""
    (height, width), light, found = ground.labels.shape, ground.background.light, []
    for x, y, w, h in (part.box for part in parts):
        x0, y0 = max(0, x - _MARGIN), max(0, y - _MARGIN)
        window = slice(y0, min(height, y + h + _MARGIN)), slice(x0, min(width, x + w + _MARGIN))
        found.append((window, light[window].copy()))
    return found


def _cut_out(ground: Ground, part: Part, window: Window, behind: Float32Array, ask: Ask, least_px2: float) -> _Cut:
    """Decide a part's edge and follow its borders."""
    labels, reduced = ground.labels, ground.reduced
    y0, x0 = window[0].start, window[1].start
    light = reduced.light[window]
    dust = _dust_px(reduced, ask)
    own = labels[window] == part.label
    own = fill_specks(open_shaded_holes(light, behind, own, dust), dust)
    levels = local_levels(light, behind, own, ground.clear[window])
    own = trim_pale(light, own, levels)
    mask = decide_band(ground.picture, reduced.factor, own, (x0, y0), levels)
    borders = _borders(mask, (x0, y0), reduced.factor, ask, least_px2)
    return _Cut(window, behind, own, (x0, y0), mask, borders)


def _borders(
    mask: ByteArray, start: tuple[int, int], factor: int, ask: Ask, least_px2: float
) -> list[tuple[IntArray, ...]]:
    origin = (start[0] * factor, start[1] * factor)
    return follow_borders(mask, origin, dust_px=ask.dust_mm / ask.mm_per_px, least_px2=least_px2)


def _with_rim(ground: Ground, part: Part, cut: _Cut, rim: Rim | None, ask: Ask, least_px2: float) -> list[Region]:
    """The regions of a part, out to a rim's outer border where there surely is one, with what is to be said of them."""
    factor, pixel_mm = ground.reduced.factor, ask.mm_per_px * ground.reduced.factor
    light = ground.reduced.light[cut.window]
    if rim is not None and rim.is_sure:
        wide = 2 * max(1, round(rim.width_px / factor)) + 1
        kernel = cv().getStructuringElement(cv().MORPH_ELLIPSE, (wide, wide))
        own = cv().dilate(cut.own.astype(np.uint8), kernel) > 0
        levels = rim_levels(light, cut.behind, own, rim.light)
        mask = cut.mask | decide_band(ground.picture, factor, own, cut.start, levels)
        cut = replace(cut, own=own, mask=mask, borders=_borders(mask, cut.start, factor, ask, least_px2))
        rim = replace(rim, is_outside=False)  # the outer border is taken
    behind, own, found = cut.behind, cut.own, cut.borders
    origin = (cut.start[0] * factor, cut.start[1] * factor)
    findings = part.findings
    if len(found) == 1:
        findings += perhaps_holes(
            light, behind, own, pixel_mm=pixel_mm, dust_mm=ask.dust_mm, place_px=origin, factor=factor
        )
    if len(found) == 1 and not ask.of_photo:  # a photo shows the sides of what is thick, in another shade
        findings += perhaps_two_colours(light, own, pixel_mm)
        findings += perhaps_print(light, behind, found[0][1:], pixel_mm=pixel_mm, origin=cut.start, factor=factor)
    return [Region(chains, cut.mask, origin, box_of(chains[0]), findings, rim) for chains in found]


def box_of(chain: IntArray) -> tuple[int, int, int, int]:
    """Return the box about a chain of pixels: left, top, right, bottom."""
    low, high = chain.min(axis=0), chain.max(axis=0)
    return int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1
