"""A sheet, or a lid in its frame, that fills most of a scan: the things that lie on it are meant, not the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Finding
from ..words.say import finding_of
from .background import Fitted
from .regions import Region

_PART, _CUT_PART = 0.4, 0.35  # of the picture, at least; of one that the border cuts, which is no whole item anyway
_RECTANGULAR = 0.93  # of the least rectangle around it
_LEAST_SHEET_MM = 90.0  # shorter side: A6 (ISO 216) has 105, less what a frame covers; what is smaller may be a blank
_FILLS = 0.85  # of the picture's width and height: a smaller page that is no sheet is an item, print and all
_EDGE_PX = 9  # of the reduced picture: its blurred edge, in which nothing is looked for
_OTHER = 0.06  # of the root of linear light, by which colours differ to the eye


@dataclass(frozen=True, slots=True)
class Page:
    """What may be a sheet with things on it."""

    inside: BoolArray  # (h, w) of the reduced picture, without its blurred edge
    short_px: float  # shorter side, with its edge
    is_cut: bool  # by the picture's border

    @property
    def fills(self) -> bool:
        """Whether it leaves hardly more than a frame of the picture."""
        high, wide = (np.count_nonzero(self.inside.any(axis=axis)) + _EDGE_PX for axis in (1, 0))
        return bool(high > _FILLS * self.inside.shape[0] and wide > _FILLS * self.inside.shape[1])


def page_of(regions: Sequence[Region], reduced: Reduced) -> Page | None:
    """Return the one region that may be a sheet with things on it, None without.

    Parameters
    ----------
    regions
        That were taken for items.
    reduced
        The picture they were seen in.
    """
    shape = reduced.light.shape[:2]
    for region in regions:
        outline = (region.chains[0] // reduced.factor).astype(np.int32)[:, None, :]
        area = float(cv().contourArea(outline))
        (_, size, _) = cv().minAreaRect(outline)
        cut = any(finding.code == "cut-by-border" for finding in region.findings)
        if area < (_CUT_PART if cut else _PART) * shape[0] * shape[1] or area < _RECTANGULAR * size[0] * size[1]:
            continue
        page = np.zeros(shape, np.uint8)
        cv().drawContours(page, [outline], -1, 1, cv().FILLED)
        inside = cv().erode(page, np.ones((_EDGE_PX, _EDGE_PX), np.uint8)) > 0
        return Page(np.asarray(inside), float(min(size)), cut)
    return None


def is_sheet(page: Page, things: Sequence[Region], reduced: Reduced, ground: Fitted, pixel_mm: float) -> bool:
    """Whether a page is a sheet by its size, and one of the things on it is no hole through which the ground shows.

    One that the border cuts is no whole item, and holes in it are of no use: a lit table, things on it, is.

    Parameters
    ----------
    page
        From `page_of`.
    things
        That lie on it.
    reduced, ground
        The picture, and what lies behind the page.
    pixel_mm
        Size of the reduced picture's pixels.
    """
    if page.short_px * pixel_mm < _LEAST_SHEET_MM:
        return False
    return page.is_cut or any(_differs(thing, reduced, ground) for thing in things)


def _differs(thing: Region, reduced: Reduced, ground: Fitted) -> bool:
    """Whether a thing has another colour than what lies behind the page."""
    (x, y), factor, (height, width) = thing.mask_origin, reduced.factor, reduced.light.shape[:2]
    rows, columns = np.nonzero(thing.mask[::factor, ::factor])
    at = np.minimum(rows + y // factor, height - 1), np.minimum(columns + x // factor, width - 1)
    own, behind = (np.median(light[at], axis=0) for light in (reduced.light, ground.light))
    return bool(np.abs(np.sqrt(np.clip(own, 0, 1)) - np.sqrt(np.clip(behind, 0, 1))).max() > _OTHER)


def said_of_page(things: Sequence[Region], *, is_taken: bool) -> Finding:
    """What to say of a page with things on it: that they were taken, or that they may be meant."""
    (x0, y0, x1, y1) = things[0].box_px
    middle, count = ((x0 + x1) / 2, (y0 + y1) / 2), float(len(things))
    case = "one" if len(things) == 1 else None
    if is_taken:
        return finding_of("things-on-sheet", case=case, value=count, place_px=middle)
    return finding_of("perhaps-sheet", case=case, value=count, place_px=middle)
