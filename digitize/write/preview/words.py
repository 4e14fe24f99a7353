"""The words on the check picture: heading, sizes, key and captions."""

from __future__ import annotations

import numpy as np

from ...records import Result
from ..words import plain, size
from .labels import Pen, shortened, width_of, wrapped
from .marks import (
    AXES,
    BY_HAND,
    EDGE,
    FAILED,
    HOLE,
    LEFT_OUT,
    LOST,
    OTHER,
    PIN,
    POCKET,
    PRINT,
    REFERENCE,
    UNCUT,
    WALL,
    has_own_wall,
    shows_axes,
)
from .overview import marked_left_out
from .page import (
    ALERT,
    BEYOND,
    FAINT,
    INK,
    KEY_LINE,
    LABEL,
    LINE,
    MOST_LINES,
    MOST_WARNINGS,
    PAD,
    WHITE,
    Colour,
    Layout,
    inner_width,
    plan_at,
    window_x,
)
from .places import Place
from .plan import Plan
from .room import Label
from .view import View

DASHED = (POCKET, PRINT, OTHER, LOST)


def write_labels(pen: Pen, page: Layout, labels: list[Label]) -> None:
    """Write a badge and a size on every label's place in the view."""
    dx, dy = page.picture
    for (left, top, right, bottom), badge, words in labels:
        x, y = left + dx, top + dy
        pen.rounded((x, y, right + dx, bottom + dy), fill=LABEL, radius=6)
        middle = 15.0 if words else (right - left) / 2
        pen.write((x + middle, y + 13), badge, size=15, colour=EDGE if badge.isdigit() else WHITE, anchor="mm")
        for row, line in enumerate(words.split("\n")):
            pen.write((x + 30, y + 18 + 18 * row), line, size=15, colour=WHITE)


def write_numbers(pen: Pen, page: Layout, labels: list[Label], colour: Colour) -> None:
    """Write the small numbers of holes, or of what was left out, on their places in the view."""
    dx, dy = page.picture
    for (left, top, right, bottom), badge, _ in labels:
        pen.rounded((left + dx, top + dy, right + dx, bottom + dy), fill=LABEL, radius=5)
        middle = (left + right) / 2 + dx, (top + bottom) / 2 + dy
        pen.write(middle, badge, size=13, colour=colour, anchor="mm")


def warning_lines(warnings: list[str], room: int) -> list[tuple[bool, str]]:
    """Return the first warnings in lines of at most `room` px, and whether each line begins one."""
    lines: list[tuple[bool, str]] = []
    for words in warnings[:MOST_WARNINGS]:
        parts = wrapped(words, 16, room - 20)
        if len(parts) > MOST_LINES:
            parts = [*parts[: MOST_LINES - 1], "... the rest in the JSON"]
        lines += [(number == 0, part) for number, part in enumerate(parts)]
    if len(warnings) > MOST_WARNINGS:
        lines.append((False, f"and {len(warnings) - MOST_WARNINGS} more in the JSON"))
    return lines


def write_heading(pen: Pen, page: Layout, result: Result, warnings: list[tuple[bool, str]]) -> None:
    """Write the file's name, the facts of the scale and the lines of the warnings."""
    room = page.width - 2 * PAD
    pen.write((PAD, PAD + 26), shortened(plain(result.source_name), 28, room), size=28, colour=INK)
    pen.write((PAD, PAD + 54), shortened(_facts(result), 16, room), size=16, colour=FAINT)
    y = PAD + 82
    for is_first, words in warnings:
        if is_first:
            pen.dot((PAD + 6, y - 5), 5, ALERT)
        pen.write((PAD + 20, y), words, size=16, colour=ALERT)
        y += LINE
    if not warnings:
        pen.write((PAD, y), "No warnings. Look at the places below all the same.", size=16, colour=FAINT)


def _facts(result: Result) -> str:
    facts = result.scale
    sure = max((item.uncertainty.profile_k2_mm for item in result.items), default=None)
    parts = [
        f"{len(result.items)} item{'' if len(result.items) == 1 else 's'}",
        *(() if sure is None else (f"edge ±{sure:.3f} mm (k = 2)",)),  # never in what a narrow picture has no room for
        f"{facts.kind} scale from {plain(facts.reference)}",
        f"{facts.mm_per_px[0]:.5f} x {facts.mm_per_px[1]:.5f} mm a pixel",
    ]
    if any(item.rotation_deg for item in result.items):
        parts.append("set upright")
    if result.mirrored:
        parts.insert(1, "files: left and right exchanged")  # nor this
    return "  ·  ".join(parts)


def write_key(pen: Pen, page: Layout, result: Result, view: View, beyond: str) -> None:
    """Write the bar in mm, what the colours mean, and what the margin about the picture is, if there is one."""
    y = page.key_y + 16
    right = PAD + _key_bar(result, view)[0]
    _bar(pen, (PAD, right), y)
    pen.write((right + 12, y + 6), _key_bar(result, view)[1], size=16, colour=INK)
    for row, entries in enumerate(key_rows(result, view, beyond)):
        for x, words, colour in entries:
            _write_meaning(pen, (x, y + row * KEY_LINE), words, colour)


def key_rows(result: Result, view: View, beyond: str) -> list[list[tuple[int, str, Colour | None]]]:
    """Return the lines of the key: each meaning's place from the left, words and colour (None: the margin's)."""
    length, words = _key_bar(result, view)
    begin = int(PAD + length + 12 + width_of(words, 16) + 40)
    meanings: list[tuple[str, Colour | None]] = [*_meanings(result)]
    if beyond:
        meanings.append((beyond, None))
    rows: list[list[tuple[int, str, Colour | None]]] = [[]]
    x, room = begin, PAD + inner_width(view)
    for words, colour in meanings:
        wide = 40 + width_of(words, 16)
        if rows[-1] and x + wide > room:
            rows.append([])
            x = begin
        rows[-1].append((x, words, colour))
        x += wide + 28
    return rows


def _key_bar(result: Result, view: View) -> tuple[float, str]:
    """Return the length of the key's bar, px, and what is written beside it."""
    px_per_mm = 1 / (result.scale.mm_per_px[0] * view.step)
    length = _round_length(220 / px_per_mm)
    return length * px_per_mm, f"{length:g} mm" + (" at the reference" if result.scale.kind == "camera" else "")


def _write_meaning(pen: Pen, place: tuple[int, int], words: str, colour: Colour | None) -> None:
    x, y = place
    pen.rounded((x, y - 7, x + 30, y + 7), fill=BEYOND if colour is None else LABEL, radius=4)
    if colour is not None:
        for start, end in ((4, 13), (18, 27)) if colour in DASHED else ((5, 25),):
            pen.line((x + start, y), (x + end, y), colour=colour, width=3)
    pen.write((x + 40, y + 6), words, size=16, colour=INK)


def _meanings(result: Result) -> list[tuple[str, Colour]]:
    found = [("outline", EDGE)]
    if any(item.holes_mm for item in result.items):
        found.append(("hole", HOLE))
    if any(item.by_hand_px for item in result.items):
        found.append(("set by hand", BY_HAND))
    if any(item.pocket is not None for item in result.items):
        found.append(("path to cut", POCKET))
    if any(item.pocket is not None and has_own_wall(item.pocket) for item in result.items):
        found.append(("wall it leaves", WALL))
    if any(item.print_area for item in result.items):
        found.append(("print area", PRINT))
    if any(item.pocket is not None and item.pocket.uncut for item in result.items):
        found.append(("left uncut", UNCUT))
    if any(item.pocket is not None and item.pocket.pins for item in result.items):
        found.append(("pin", PIN))
    if result.scale.corners_px is not None:
        found.append(("reference", REFERENCE))
    if marked_left_out(result):
        found.append(("left out, no item", LEFT_OUT))
    if shows_axes(result):
        found.append(("X (short) and Y of the files", AXES))
    if any(item.other_px for item in result.items):
        found.append(("another border", OTHER))
    if result.failed:
        found.append(("failed, nothing written", FAILED))
    if any(one.lost_px for one in result.failed):
        found.append(("edge not measured", LOST))
    return found


def _bar(pen: Pen, ends: tuple[float, float], y: float, *, colour: Colour = INK) -> None:
    pen.line((ends[0], y), (ends[1], y), colour=colour)
    for x in ends:
        pen.line((x, y - 6), (x, y + 6), colour=colour)


def _round_length(mm: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... that is not above `mm`."""
    power = 10.0 ** np.floor(np.log10(mm))
    return float(max(power * step for step in (1, 2, 5) if power * step <= mm * (1 + 1e-9)))


def write_plans(pen: Pen, page: Layout, result: Result, shown: list[Plan]) -> None:
    """Write above each plan which item it shows and where from, and a bar in mm into it."""
    wide, high = page.plan_size
    for index, plan in enumerate(shown):
        x, y = plan_at(page, index)
        item = result.items[plan.number - 1]
        where = f", {plan.height_mm:g} mm above the card" if plan.height_mm else ""
        caption = f"{plan.number}   {size(item)}, rectified: from straight above{where}"
        pen.write((x, y - 9), shortened(caption, 16, wide), size=16, colour=INK)
        _bar_within(pen, (x, y + high), _round_length(0.25 * wide / plan.px_per_mm), plan.px_per_mm)


def write_windows(pen: Pen, page: Layout, result: Result, places: list[Place], windows: list[View]) -> None:
    """Write above each window why it is shown, and a bar in mm into it."""
    wide, high = page.window_size
    for number, (place, view) in enumerate(zip(places, windows, strict=True)):
        view_px_per_mm = 1 / (result.scale.mm_per_px[0] * view.step)
        x, bottom = window_x(page, number), page.windows_y + high
        caption = shortened(f"{'ABC'[number]}   {plain(place.why)}", 16, wide)
        pen.write((x, page.windows_y - 9), caption, size=16, colour=INK)
        _bar_within(pen, (x, bottom), _round_length(0.3 * wide / view_px_per_mm), view_px_per_mm)


def _bar_within(pen: Pen, corner: tuple[int, int], length_mm: float, px_per_mm: float) -> None:
    """Write a bar in mm into a panel's left lower corner."""
    x, bottom = corner
    words = f"{length_mm:g} mm"
    right = x + 18 + length_mm * px_per_mm
    pen.rounded((x + 8, bottom - 34, int(right) + width_of(words, 14) + 18, bottom - 8), fill=LABEL, radius=6)
    _bar(pen, (x + 18, right), bottom - 21, colour=WHITE)
    pen.write((right + 10, bottom - 16), words, size=14, colour=WHITE)
