"""A part's edge decided at full resolution, and its borders followed: the regions that are items."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Picture
from .background import Background
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
from .parts import Part
from .pieces import ITEM_AREA
from .regions import Region
from .rims import pale_rim
from .two_colours import perhaps_two_colours
from .ways import Ask


def _dust_px(reduced: Reduced, ask: Ask) -> float:
    """Size of dust, reduced px."""
    return ask.dust_mm / (ask.mm_per_px * reduced.factor)


def regions_of(
    picture: Picture,
    reduced: Reduced,
    background: Background,
    labels: npt.NDArray[np.int32],
    part: Part,
    clear: BoolArray,
    ask: Ask,
    *,
    least_px2: float | None = None,
) -> list[Region]:
    """Decide the part's edge at full resolution and follow its borders; it may fall into several items.

    Parameters
    ----------
    picture, reduced, background
        The picture and what would be seen without items.
    labels
        (h, w) numbers of parts.
    part
        One of them.
    clear
        (h, w) where nothing is but background.
    ask
        What the user said.
    least_px2
        Least area of an item, if not that by the size of dust.
    """
    x, y, w, h = part.box
    margin = 14
    x0, y0 = max(0, x - margin), max(0, y - margin)
    x1, y1 = min(labels.shape[1], x + w + margin), min(labels.shape[0], y + h + margin)
    window = (slice(y0, y1), slice(x0, x1))
    light, behind = reduced.light[window], background.light[window]
    dust = _dust_px(reduced, ask)
    own = labels[window] == part.label
    own = fill_specks(open_shaded_holes(light, behind, own, dust), dust)
    levels = local_levels(light, behind, own, clear[window])
    own = trim_pale(light, own, levels)
    mask = decide_band(picture, reduced.factor, own, (x0, y0), levels)
    origin = (x0 * reduced.factor, y0 * reduced.factor)
    least = ITEM_AREA * (ask.dust_mm / ask.mm_per_px) ** 2 if least_px2 is None else least_px2
    found = follow_borders(mask, origin, dust_px=ask.dust_mm / ask.mm_per_px, least_px2=least)
    rim = pale_rim(picture, found[0][0], ask.mm_per_px) if len(found) == 1 and not ask.of_photo else None
    if rim is not None and rim.is_sure:
        wide = 2 * max(1, round(rim.width_px / reduced.factor)) + 1
        own = cv().dilate(own.astype(np.uint8), cv().getStructuringElement(cv().MORPH_ELLIPSE, (wide, wide))) > 0
        mask |= decide_band(picture, reduced.factor, own, (x0, y0), rim_levels(light, behind, own, rim.light))
        found = follow_borders(mask, origin, dust_px=ask.dust_mm / ask.mm_per_px, least_px2=least)
        rim = replace(rim, is_outside=False)  # the outer border is taken
    findings, pixel_mm = part.findings, ask.mm_per_px * reduced.factor
    if len(found) == 1:
        findings += perhaps_holes(
            light, behind, own, pixel_mm=pixel_mm, dust_mm=ask.dust_mm, place_px=origin, factor=reduced.factor
        )
    if len(found) == 1 and not ask.of_photo:  # a photo shows the sides of what is thick, in another shade
        findings += perhaps_two_colours(light, own, pixel_mm)
        findings += perhaps_print(
            light, behind, found[0][1:], pixel_mm=pixel_mm, origin=(x0, y0), factor=reduced.factor
        )
    return [Region(chains, mask, origin, box_of(chains[0]), findings, rim) for chains in found]


def box_of(chain: IntArray) -> tuple[int, int, int, int]:
    """Return the box about a chain of pixels: left, top, right, bottom."""
    low, high = chain.min(axis=0), chain.max(axis=0)
    return int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1
