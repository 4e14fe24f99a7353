"""The check picture (PNG): what was found, drawn on the picture, for a person to judge."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from digitize import __version__
from digitize.opencv import cv
from digitize.records import Picture, Result, Scale
from digitize.seal import BLANK, seal
from digitize.write.preview_labels import Label, Pen, Rect, Room, label_items
from digitize.write.preview_marks import PocketMarks, draw_edges, draw_frame, draw_pockets, draw_reference, pocket_marks
from digitize.write.preview_page import TIMES, WHITE, Layout, blank, layout_for, paste, plan_at, window_x
from digitize.write.preview_places import Place, worst_places
from digitize.write.preview_plan import MOST as MOST_PLANS
from digitize.write.preview_plan import plans
from digitize.write.preview_view import Pixels, View, whole, window
from digitize.write.preview_words import write_heading, write_key, write_labels, write_plans, write_windows
from digitize.write.words import plain, size


def check_png_bytes(picture: Picture, result: Result, scale: Scale) -> bytes:
    """Return the check picture as PNG.

    The whole picture at most 1600 px wide and 1500 high with outlines, holes, pockets and reference
    drawn on it, sizes beside the items, a bar in mm, a rectified plan of each item of a photo (up to
    six), and up to three places, eight times as large, where findings point or the edge is least sure.
    The lowest two bits of the colours are dropped: nobody sees them, and the file is written several
    times quicker.

    Parameters
    ----------
    picture : Picture
        What was measured.
    result : Result
        What was found, items with their contours.
    scale : Scale
        The mapping that was used, to draw the pockets.
    """
    view = whole(picture)
    places = worst_places(result)
    warnings = _warnings(result)
    page = layout_for(view, len(places), len(warnings), _plan_count(result, scale))
    marks = pocket_marks(result, scale)
    labels = _draw_overview(view, result, marks, places)
    sheet = blank(page)
    paste(sheet, view.pixels, page.picture)
    windows = [_window(picture, result, marks, place, page) for place in places]
    for number, shown in enumerate(windows):
        paste(sheet, shown.pixels, (window_x(page, number), page.windows_y))
    shown_plans = plans(picture, result, scale, page.plan_size) if _plan_count(result, scale) else []
    for number, plan in enumerate(shown_plans):
        paste(sheet, plan.view.pixels, plan_at(page, number))
    pen = Pen(sheet)
    write_heading(pen, page, result, warnings)
    write_labels(pen, page, labels)
    write_key(pen, page, result, view)
    write_plans(pen, page, result, shown_plans)
    write_windows(pen, page, result, places)
    return _png(pen.pixels())


def _plan_count(result: Result, scale: Scale) -> int:
    """How many items are shown in plan: a scan is one already."""
    return min(len(result.items), MOST_PLANS) if scale.kind == "camera" else 0


def _warnings(result: Result) -> list[str]:
    """Return what a person should look at, with the number of the item it is about."""
    found = [f.message for f in result.findings if f.attention]
    for number, item in enumerate(result.items, 1):
        about = (*item.findings, *(item.pocket.findings if item.pocket is not None else ()))
        found += [f"Item {number}: {f.message}" for f in about if f.attention]
    return [plain(words) for words in found]


def _draw_overview(view: View, result: Result, marks: PocketMarks, places: list[Place]) -> list[Label]:
    """Draw on the view; return the labels to be written: where, badge, words."""
    before = view.pixels.copy()
    draw_reference(view, result)
    draw_pockets(view, marks)
    draw_edges(view, result.items)
    for place in places:
        draw_frame(view.pixels, view.placed([place.at_px])[0], 13.0, WHITE)
    changed = view.pixels != before
    room = Room((changed[:, :, 0] | changed[:, :, 2]).view(np.uint8))
    found = [_letter(room, view, place, "ABC"[n]) for n, place in enumerate(places)]
    shown = [(number, item) for number, item in enumerate(result.items, 1) if item.contours]
    boxes = [_box(view, item.contours[0].points_px) for _, item in shown]
    return found + label_items(room, boxes, [str(number) for number, _ in shown], [size(item) for _, item in shown])


def _letter(room: Room, view: View, place: Place, letter: str) -> Label:
    x, y = (int(v) for v in view.placed([place.at_px])[0])
    return room.place((x - 13, y - 13, x + 13, y + 13), (22, 24)), letter, ""


def _box(view: View, points_px: np.ndarray) -> Rect:
    places = view.placed(points_px)
    (left, top), (right, bottom) = places.min(axis=0).astype(int), places.max(axis=0).astype(int)
    return int(left), int(top), int(right), int(bottom)


def _window(picture: Picture, result: Result, marks: PocketMarks, place: Place, page: Layout) -> View:
    view = window(picture, place.at_px, times=TIMES, size=page.window_size)
    draw_pockets(view, marks)
    draw_edges(view, result.items)
    return view


def _png(pixels: Pixels) -> bytes:
    kept = cv().cvtColor((pixels & 0xFC) | 2, cv().COLOR_RGB2BGR)
    # Quick and small enough: no search among filters; older OpenCV has only the compression level.
    options = [cv().IMWRITE_PNG_COMPRESSION, 1]
    if hasattr(cv(), "IMWRITE_PNG_FILTER"):
        options += [cv().IMWRITE_PNG_FILTER, cv().IMWRITE_PNG_FILTER_SUB]
    done, encoded = cv().imencode(".png", kept, options)
    if not done:
        raise RuntimeError("OpenCV could not write a PNG")
    return seal(_with_text(encoded.tobytes()))


def _with_text(png: bytes) -> bytes:
    """Put a tEXt chunk (keyword Software, PNG specification, 11.3.3) before IEND."""
    chunk = b"tEXtSoftware\0digitize " + __version__.encode() + b" " + BLANK.encode()
    framed = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    return png[:-12] + framed + png[-12:]
