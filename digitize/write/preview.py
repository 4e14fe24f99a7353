"""The check picture (PNG): what was found, drawn on the picture, for a person to judge."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

import numpy as np

from digitize import __version__
from digitize.opencv import cv
from digitize.records import FloatArray, Picture, Result, Scale
from digitize.seal import BLANK, seal
from digitize.write.preview_labels import Pen, Rect, Room, shortened, width_of
from digitize.write.preview_marks import (
    EDGE,
    HOLE,
    POCKET,
    REFERENCE,
    Colour,
    draw_edges,
    draw_frame,
    draw_pockets,
    draw_reference,
    pocket_paths,
)
from digitize.write.preview_places import Place, worst_places
from digitize.write.preview_view import Pixels, View, whole, window
from digitize.write.words import plain, size

PAPER: Colour = (244, 242, 237)
INK: Colour = (28, 36, 48)
FAINT: Colour = (96, 104, 116)
ALERT: Colour = (196, 92, 16)
LABEL: Colour = (24, 31, 43)
WHITE: Colour = (255, 255, 255)

PAD = 24
GAP = 16
LEAST_WIDTH = 960
TIMES = 8
WINDOW_HEIGHT = 264
MOST_WARNINGS = 4
LINE = 24


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts stand on the page, px."""

    width: int
    height: int
    picture: tuple[int, int]  # left, top
    key_y: int
    windows_y: int
    window_size: tuple[int, int]


def check_png_bytes(picture: Picture, result: Result, scale: Scale) -> bytes:
    """Return the check picture as PNG.

    The whole picture at most 1600 px wide and 1500 high with outlines, holes, pockets and reference
    drawn on it, sizes beside the items, a bar in mm, and up to three places, eight times as large,
    where findings point or the edge is least sure. The lowest two bits of the colours are dropped:
    nobody sees them, and the file is written several times quicker.

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
    warnings = [plain(f.message) for f in result.all_findings if f.attention]
    page = _layout(view, len(places), len(warnings))
    paths_px = pocket_paths(result, scale)
    labels = _draw_overview(view, result, paths_px, places)
    sheet = _blank(page)
    _paste(sheet, view.pixels, page.picture)
    windows = [_window(picture, result, paths_px, place, page) for place in places]
    for number, shown in enumerate(windows):
        _paste(sheet, shown.pixels, (_window_x(page, number), page.windows_y))
    pen = Pen(sheet)
    _write_heading(pen, page, result, warnings)
    _write_labels(pen, page, labels)
    _write_key(pen, page, result, view)
    _write_windows(pen, page, result, places)
    return _png(pen.pixels())


def _layout(view: View, windows: int, warnings: int) -> Layout:
    height, width = view.pixels.shape[:2]
    inner = max(width, LEAST_WIDTH)
    top = PAD + 66 + LINE * max(1, min(warnings, MOST_WARNINGS + 1)) + GAP
    key_y = top + height + GAP
    windows_y = key_y + 44 + LINE
    bottom = windows_y + WINDOW_HEIGHT if windows else key_y + 32
    window_width = (inner - 2 * GAP) // 3
    left = PAD + (inner - width) // 2
    return Layout(inner + 2 * PAD, bottom + PAD, (left, top), key_y, windows_y, (window_width, WINDOW_HEIGHT))


def _blank(page: Layout) -> Pixels:
    row = np.tile(np.array(PAPER, dtype=np.uint8), page.width)  # row by row is ten times quicker than pixel by pixel
    return np.tile(row, (page.height, 1)).reshape(page.height, page.width, 3)


def _paste(sheet: Pixels, pixels: Pixels, at: tuple[int, int]) -> None:
    (left, top), (height, width) = at, pixels.shape[:2]
    sheet[top : top + height, left : left + width] = pixels
    cv().rectangle(sheet, (left - 1, top - 1), (left + width, top + height), FAINT)


def _draw_overview(
    view: View, result: Result, paths_px: list[FloatArray], places: list[Place]
) -> list[tuple[Rect, str, str]]:
    """Draw on the view; return the labels to be written: where, badge, words."""
    before = view.pixels.copy()
    draw_reference(view, result)
    draw_pockets(view, paths_px)
    draw_edges(view, result.items)
    for place in places:
        draw_frame(view.pixels, view.placed([place.at_px])[0], 13.0, WHITE)
    changed = view.pixels != before
    room = Room((changed[:, :, 0] | changed[:, :, 2]).view(np.uint8))
    found = [_letter(room, view, place, "ABC"[n]) for n, place in enumerate(places)]
    for number, item in enumerate(result.items, 1):
        if item.contours:
            words = size(item)
            found.append((room.place(_box(view, item.contours[0].points_px), _extent(words)), str(number), words))
    return found


def _letter(room: Room, view: View, place: Place, letter: str) -> tuple[Rect, str, str]:
    x, y = (int(v) for v in view.placed([place.at_px])[0])
    return room.place((x - 13, y - 13, x + 13, y + 13), (22, 24)), letter, ""


def _box(view: View, points_px: np.ndarray) -> Rect:
    places = view.placed(points_px)
    (left, top), (right, bottom) = places.min(axis=0).astype(int), places.max(axis=0).astype(int)
    return int(left), int(top), int(right), int(bottom)


def _extent(words: str) -> tuple[int, int]:
    return 30 + width_of(words, 15) + 12, 26


def _write_labels(pen: Pen, page: Layout, labels: list[tuple[Rect, str, str]]) -> None:
    dx, dy = page.picture
    for (left, top, right, bottom), badge, words in labels:
        x, y = left + dx, top + dy
        pen.rounded((x, y, right + dx, bottom + dy), fill=LABEL, radius=6)
        pen.write((x + (15 if words else 11), y + 13), badge, size=15, colour=EDGE if words else WHITE, anchor="mm")
        pen.write((x + 30, y + 18), words, size=15, colour=WHITE)


def _write_heading(pen: Pen, page: Layout, result: Result, warnings: list[str]) -> None:
    room = page.width - 2 * PAD
    pen.write((PAD, PAD + 26), shortened(plain(result.source_name), 28, room), size=28, colour=INK)
    pen.write((PAD, PAD + 54), shortened(_facts(result), 16, room), size=16, colour=FAINT)
    y = PAD + 82
    for words in warnings[:MOST_WARNINGS]:
        pen.dot((PAD + 6, y - 5), 5, ALERT)
        pen.write((PAD + 20, y), shortened(words, 16, room - 20), size=16, colour=ALERT)
        y += LINE
    if len(warnings) > MOST_WARNINGS:
        pen.write((PAD + 20, y), f"... and {len(warnings) - MOST_WARNINGS} more", size=16, colour=ALERT)
    if not warnings:
        pen.write((PAD, y), "No warnings. Look at the places below all the same.", size=16, colour=FAINT)


def _facts(result: Result) -> str:
    facts = result.scale
    sure = max((item.uncertainty.profile_k2_mm for item in result.items), default=None)
    parts = [
        f"{len(result.items)} item{'' if len(result.items) == 1 else 's'}",
        f"{facts.kind} scale from {plain(facts.reference)}",
        f"{facts.mm_per_px[0]:.5f} x {facts.mm_per_px[1]:.5f} mm a pixel",
    ]
    if sure is not None:
        parts.append(f"edge ±{sure:.3f} mm (k = 2)")
    if result.mirrored:
        parts.append("written mirrored")
    return "  ·  ".join(parts)


def _write_key(pen: Pen, page: Layout, result: Result, view: View) -> None:
    """Write the bar in mm and what the colours mean."""
    y = page.key_y + 16
    px_per_mm = 1 / (result.scale.mm_per_px[0] * view.step)
    length = _round_length(220 / px_per_mm)
    right = PAD + length * px_per_mm
    _bar(pen, (PAD, right), y)
    words = f"{length:g} mm" + (" at the reference" if result.scale.kind == "camera" else "")
    pen.write((right + 12, y + 6), words, size=16, colour=INK)
    x = int(right + 12 + width_of(words, 16) + 40)
    for words, colour in _meanings(result):
        pen.rounded((x, y - 7, x + 30, y + 7), fill=LABEL, radius=4)
        pen.line((x + 5, y), (x + 25, y), colour=colour, width=3)
        pen.write((x + 40, y + 6), words, size=16, colour=INK)
        x += 40 + width_of(words, 16) + 28


def _meanings(result: Result) -> list[tuple[str, Colour]]:
    found = [("outline", EDGE)]
    if any(item.holes_mm for item in result.items):
        found.append(("hole", HOLE))
    if any(item.pocket is not None for item in result.items):
        found.append(("path to cut", POCKET))
    if result.scale.corners_px is not None:
        found.append(("reference", REFERENCE))
    return found


def _bar(pen: Pen, ends: tuple[float, float], y: float, *, colour: Colour = INK) -> None:
    pen.line((ends[0], y), (ends[1], y), colour=colour)
    for x in ends:
        pen.line((x, y - 6), (x, y + 6), colour=colour)


def _round_length(mm: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... that is not above `mm`."""
    power = 10.0 ** np.floor(np.log10(mm))
    return float(max(power * step for step in (1, 2, 5) if power * step <= mm * (1 + 1e-9)))


def _window(picture: Picture, result: Result, paths_px: list[FloatArray], place: Place, page: Layout) -> View:
    view = window(picture, place.at_px, times=TIMES, size=page.window_size)
    draw_pockets(view, paths_px)
    draw_edges(view, result.items)
    return view


def _window_x(page: Layout, number: int) -> int:
    return PAD + number * (page.window_size[0] + GAP)


def _write_windows(pen: Pen, page: Layout, result: Result, places: list[Place]) -> None:
    wide, high = page.window_size
    length = _round_length(0.3 * wide * result.scale.mm_per_px[0] / TIMES)
    for number, place in enumerate(places):
        x, bottom = _window_x(page, number), page.windows_y + high
        caption = shortened(f"{'ABC'[number]}   {plain(place.why)}", 16, wide)
        pen.write((x, page.windows_y - 9), caption, size=16, colour=INK)
        words = f"{length:g} mm"
        right = x + 18 + length / result.scale.mm_per_px[0] * TIMES
        pen.rounded((x + 8, bottom - 34, int(right) + width_of(words, 14) + 18, bottom - 8), fill=LABEL, radius=6)
        _bar(pen, (x + 18, right), bottom - 21, colour=WHITE)
        pen.write((right + 10, bottom - 16), words, size=14, colour=WHITE)


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
