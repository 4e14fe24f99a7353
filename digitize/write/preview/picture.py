"""The check picture (PNG): what was found, drawn on the picture, for a person to judge."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from ...opencv import cv
from ...records import FloatArray, Picture, Result, Scale
from ...seal import BLANK, __version__, seal
from ...words.gather import said_of
from ..words import plain
from .labels import Pen
from .marks import (
    HOLE,
    LEFT_OUT,
    Drawn,
    PocketMarks,
    axes_marks,
    draw_by_hand,
    draw_edges,
    draw_failed,
    draw_others,
    draw_pockets,
    outline_marks,
    pocket_marks,
)
from .overview import draw_overview, with_margins
from .page import TIMES, Layout, blank, inner_width, layout_for, paste, plan_at, window_x
from .places import Place, worst_places
from .plan import MOST as MOST_PLANS
from .plan import plans
from .view import Pixels, View, whole, window
from .words import (
    key_rows,
    warning_lines,
    write_heading,
    write_key,
    write_labels,
    write_numbers,
    write_plans,
    write_windows,
)


def check_png_bytes(picture: Picture, result: Result, scale: Scale) -> bytes:
    """Return the check picture as PNG.

    The whole picture at most 1600 px wide and 1500 high with the outlines and holes as they are
    written, pockets and reference drawn on it, what failed struck out, a margin where paths leave
    it, sizes beside the items, numbers at the holes where there are several, a bar in mm, a
    rectified plan of each item of a photo (up to six), and up to three places, up to eight times as
    large, where findings point or the edge is least sure.
    The lowest two bits of the colours are dropped: nobody sees them, and the file is written several
    times quicker.

    Parameters
    ----------
    picture : Picture
        What was measured.
    result : Result
        What was found. Drawn is what the files hold, not what was measured on the way to it.
    scale : Scale
        The mapping that was used, to draw the pockets.
    """
    marks, outlines = pocket_marks(result, scale), outline_marks(result, scale)
    view, beyond = with_margins(whole(picture), marks)
    places = worst_places(result)
    warnings = warning_lines(_warnings(result), inner_width(view))
    key_lines = len(key_rows(result, view, beyond))
    page = layout_for(view, len(places), len(warnings), _plan_count(result, scale), key_lines=key_lines)
    labels, hole_numbers, left_out_numbers = draw_overview(
        view, result, outlines, marks, places, axes_marks(result, scale)
    )
    sheet = blank(page)
    paste(sheet, view.pixels, page.picture)
    windows = [_window(picture, result, outlines, marks, place, page) for place in places]
    for number, shown in enumerate(windows):
        paste(sheet, shown.pixels, (window_x(page, number), page.windows_y))
    shown_plans = plans(picture, result, scale, page.plan_size) if _plan_count(result, scale) else []
    for number, plan in enumerate(shown_plans):
        paste(sheet, plan.view.pixels, plan_at(page, number))
    pen = Pen(sheet)
    write_heading(pen, page, result, warnings)
    write_numbers(pen, page, left_out_numbers, LEFT_OUT)
    write_numbers(pen, page, hole_numbers, HOLE)
    write_labels(pen, page, labels)
    write_key(pen, page, result, view, beyond)
    write_plans(pen, page, result, shown_plans)
    write_windows(pen, page, result, places, windows)
    return png_bytes(pen.pixels())


def _plan_count(result: Result, scale: Scale) -> int:
    """How many items are shown in plan: a scan is one already."""
    return min(len(result.items), MOST_PLANS) if scale.kind == "camera" else 0


def _warnings(result: Result) -> list[str]:
    """Return what a person should look at, the worst first, each with what to do."""
    return [plain(said.sentence) for said in said_of(result) if said.attention]


def _window(
    picture: Picture, result: Result, outlines: list[Drawn], marks: PocketMarks, place: Place, page: Layout
) -> View:
    """Return the place enlarged; what is about an item, only so much that something of it is seen."""
    times = _times(place, [*marks.every(), *(ring for outline in outlines for ring in outline.every())], page)
    view = window(picture, place.at_px, times=times, size=page.window_size)
    draw_pockets(view, marks)
    draw_edges(view, outlines)
    draw_by_hand(view, result.items)
    draw_others(view, result.items)
    draw_failed(view, result.failed)
    return view


def _times(place: Place, lines_px: list[FloatArray], page: Layout) -> int:
    if not (place.of_item and lines_px):
        return TIMES
    share = np.abs(np.concatenate(lines_px) - place.at_px) / (0.4 * np.array(page.window_size))
    nearest = float(share.max(axis=1).min())
    return next((times for times in (TIMES, TIMES // 2, TIMES // 4) if nearest * times <= 1), 1)


def png_bytes(pixels: Pixels) -> bytes:
    """Return pixels as a PNG sealed as ours, colours kept to 64 levels."""
    kept = cv().cvtColor(pixels, cv().COLOR_RGB2BGR)
    np.bitwise_or(np.bitwise_and(kept, 0xFC, out=kept), 2, out=kept)
    # Quick and small enough: no search among filters, only runs are looked for; older OpenCV has no choice of filters.
    options = [cv().IMWRITE_PNG_COMPRESSION, 1, cv().IMWRITE_PNG_STRATEGY, cv().IMWRITE_PNG_STRATEGY_RLE]
    if hasattr(cv(), "IMWRITE_PNG_FILTER"):
        options += [cv().IMWRITE_PNG_FILTER, cv().IMWRITE_PNG_FILTER_UP]
    done, encoded = cv().imencode(".png", kept, options)
    if not done:
        raise RuntimeError("OpenCV could not write a PNG")
    return seal(_with_text(encoded.tobytes()))


def _with_text(png: bytes) -> bytes:
    """Put a tEXt chunk (keyword Software, PNG specification, 11.3.3) before IEND."""
    chunk = b"tEXtSoftware\0digitize " + __version__.encode() + b" " + BLANK.encode()
    framed = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    return png[:-12] + framed + png[-12:]
