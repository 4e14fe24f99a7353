"""Where items may lie and what lies behind them: the ways to look at a picture, the likelier first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, FloatArray, Picture
from .background import ONE_COLOUR, Fitted, background_apart, border_colours, estimate_background
from .card_place import CardPlace, polygons_mask
from .sheet import colour_of, rim_of, sheet_around
from .straightened import shown_part

_PAPER_PART = 0.35  # of the picture: a larger sheet around the reference is the background itself


@dataclass(frozen=True, slots=True)
class Ask:
    """What the user says about where to look."""

    background: tuple[float, ...] | str | None = None  # linear-light colour, "light", "dark" or None
    item_at_px: tuple[float, float] | None = None
    dust_mm: float = 1.0
    mm_per_px: float = 25.4 / 600
    within_px: FloatArray | None = None  # (N, 2) polygon that items lie in, where it is known (a mat's sheet)
    of_photo: bool = False  # what runs out of the picture is clutter then


@dataclass(frozen=True, slots=True)
class Way:
    """One way to look for items."""

    faint: bool  # whether faint ones count
    field: BoolArray  # (h, w) where items may lie
    background: Fitted
    is_apart: bool = False  # told from the things by one level: worth a look where the lid falls off far


def ways_to_look(picture: Picture, reduced: Reduced, card_at: CardPlace, ask: Ask) -> Iterator[Way]:
    """Give the ways to look for items, to be tried until one finds some; what is faint comes last."""
    seen = []
    for way in _ways(picture, reduced, card_at.whole, card_at.squares, ask):
        seen.append(way)
        yield way
    for way in seen:
        yield replace(way, faint=True)


def _ways(picture: Picture, reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask) -> Iterator[Way]:
    """The sheet around the reference if it is large, all of the picture, and that with other backgrounds."""
    if ask.within_px is not None:
        yield Way(False, *_on_sheet(reduced, printed, squares, ask))
        return
    field = np.ones(printed.shape, bool) if ask.of_photo else shown_part(picture, reduced)
    clear = field & ~printed
    lid = estimate_background(reduced.light, clear, seed=ask.background)
    sheet = None if ask.background is not None else _large_sheet(reduced, squares, printed, lid)
    if sheet is not None:
        yield Way(False, *sheet)
    yield Way(False, field, lid)
    if ask.background is not None:
        return
    if not ask.of_photo and (apart := background_apart(reduced.light, clear)) is not None:
        yield Way(False, field, apart, is_apart=True)
    tried = lid.typical
    for colour in border_colours(reduced.light, clear):
        if np.abs(np.sqrt(colour) - np.sqrt(np.clip(tried, 0, 1))).max() > ONE_COLOUR:
            yield Way(False, field, estimate_background(reduced.light, clear, seed=colour))


def _large_sheet(
    reduced: Reduced, squares: BoolArray, printed: BoolArray, lid: Fitted
) -> tuple[BoolArray, Fitted] | None:
    """The sheet around the reference and its colour, where it is large and no continuation of the lid."""
    rim = rim_of(squares) & ~printed
    if not rim.any():
        return None
    paper = colour_of(reduced.light, rim)
    behind = lid.typical
    if (np.abs(np.sqrt(paper) - np.sqrt(np.clip(behind, 0, 1))) < ONE_COLOUR).all():
        return None
    sheet = sheet_around(reduced, squares, printed, behind)
    if sheet is None or sheet.mean() < _PAPER_PART:
        return None
    return sheet, estimate_background(reduced.light, sheet & ~printed, seed=tuple(float(v) for v in paper))


def _on_sheet(reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask) -> tuple[BoolArray, Fitted]:
    """Field and background on the sheet whose place is known."""
    assert ask.within_px is not None
    sheet = polygons_mask(printed.shape, [reduced.to_reduced(ask.within_px)])
    kernel = np.ones((9, 9), np.uint8)
    sheet = np.asarray(cv().erode(sheet.astype(np.uint8), kernel, borderType=cv().BORDER_REPLICATE) > 0)
    rim = rim_of(squares) & ~printed & sheet
    seed = ask.background
    if seed is None and rim.any():
        seed = tuple(float(v) for v in colour_of(reduced.light, rim))
    return sheet, estimate_background(reduced.light, sheet & ~printed, seed=seed)
