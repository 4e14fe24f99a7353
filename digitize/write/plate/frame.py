"""What all drawings of a plate have in common: zero in the zero corner, the bed, its edge, numbers, label and notes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...plate.plate import Zero
from ...records import FloatArray, Path, frozen_array
from ..paths import Box, Point, Stroke
from ..sheet import (
    ADVANCE,
    BAR_MM,
    GAP_MM,
    LINE_SPACING,
    MARK_LEGS_MM,
    NOTE_HEIGHT_MM,
    TITLE_HEIGHT_MM,
    LayerName,
    Line,
    Sheet,
    Text,
    bar,
    bar_texts,
    mark,
    note_texts,
)
from ..words import columns, plain, wrapped

Laid = tuple[LayerName, Stroke]
WIDEST_NOTES_MM = 250.0
_LEAST_MM = BAR_MM + GAP_MM + 20.0  # bar and orientation mark


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing, and which box of it the page is."""

    sheet: Sheet
    page: Box


def bed_box(bed_mm: tuple[float, float], zero: Zero) -> Box:
    """Return the bed in the drawings' frame: x right, y up, zero in the zero corner."""
    width, height = bed_mm
    left = 0.0 if zero.endswith("left") else -width
    bottom = 0.0 if zero.startswith("bottom") else -height
    return Box(left, bottom, left + width, bottom + height)


def rectangle(at: Box) -> Path:
    """Return a box's edge, counter-clockwise."""
    corners = [(at.left, at.bottom), (at.right, at.bottom), (at.right, at.top), (at.left, at.top)]
    flat: FloatArray = frozen_array([0.0] * 4)
    return Path(frozen_array(corners, columns=2), flat)


def signed(path: Path, signs: tuple[float, float]) -> Path:
    """Return a path of inward coordinates, from zero into the bed, in the drawings' frame; it runs as it did."""
    points, bulges = path.points_mm * np.array(signs), path.bulges
    if signs[0] * signs[1] > 0:
        return Path(frozen_array(points, columns=2), bulges)
    # mirrored: run the other way round, each bulge on the side before its point; their sense is exchanged twice
    return Path(frozen_array(points[::-1], columns=2), frozen_array(np.roll(bulges[::-1], -1)))


def cross(at: Point, arm_mm: float) -> list[Line]:
    """Return two strokes that cross at a place."""
    x, y = at
    return [("CHECK", (x - arm_mm, y), (x + arm_mm, y)), ("CHECK", (x, y - arm_mm), (x, y + arm_mm))]


def with_label(
    name: str,
    curves: Sequence[Laid],
    lines: Sequence[Line],
    texts: Sequence[Text],
    words: Sequence[str],
    bed: Box,
    zero: Zero,
) -> Drawing:
    """Return a drawing with bar, orientation mark and notes on a strip beyond the bed, on the side away from zero.

    So the page's corner at zero is the bed's.
    """
    left, right = _widened(bed, zero)
    width = min(right - left, WIDEST_NOTES_MM)
    notes = _wrapped(words, width - 2 * GAP_MM)
    step = LINE_SPACING * NOTE_HEIGHT_MM
    head = GAP_MM + MARK_LEGS_MM[1] + TITLE_HEIGHT_MM
    tall = head + GAP_MM + TITLE_HEIGHT_MM + step * (len(notes) + 1) + GAP_MM
    top = bed.bottom if zero.startswith("top") else bed.top + tall
    x, bar_y = left + GAP_MM, top - head
    drawn = [*lines, *bar(x, bar_y), *mark(x + BAR_MM + GAP_MM, bar_y)]
    written = [*texts, *bar_texts(x, bar_y, in_inches=False), *note_texts(name, notes, x, bar_y - GAP_MM)]
    page = Box(left, min(bed.bottom, top - tall), right, max(bed.top, top))
    return Drawing(Sheet(name, tuple(curves), tuple(drawn), tuple(written), tuple(notes), page), page)


def on_bed(
    name: str,
    curves: Sequence[Laid],
    lines: Sequence[Line],
    texts: Sequence[Text],
    words: Sequence[str],
    bed: Box,
    *,
    above_mm: float = 2.0,
) -> Drawing:
    """Return a drawing whose page is exactly the bed; the notes stand in it, so far above its lower edge."""
    notes = _wrapped(words, min(bed.width, WIDEST_NOTES_MM) - 4.0)
    step = LINE_SPACING * NOTE_HEIGHT_MM
    first = bed.bottom + above_mm + step * (len(notes) - 1)
    written = [
        Text("TEXT", line, (bed.left + 2.0, first - step * number), NOTE_HEIGHT_MM) for number, line in enumerate(notes)
    ]
    return Drawing(Sheet(name, tuple(curves), tuple(lines), (*texts, *written), tuple(notes), bed), bed)


def zero_mark(bed: Box, zero: Zero) -> tuple[list[Line], list[Text]]:
    """Return two strokes along the bed's edges at the zero corner, the short one along x, and the word beside them."""
    right = 1.0 if zero.endswith("left") else -1.0
    up = 1.0 if zero.startswith("bottom") else -1.0
    lines: list[Line] = [
        ("CHECK", (0.0, 0.0), (right * MARK_LEGS_MM[0], 0.0)),
        ("CHECK", (0.0, 0.0), (0.0, up * MARK_LEGS_MM[1])),
    ]
    wide = ADVANCE * NOTE_HEIGHT_MM * 3
    at = (1.0 if right > 0 else -1.0 - wide, 1.0 if up > 0 else -1.0 - NOTE_HEIGHT_MM)
    return lines, [Text("TEXT", "0,0", at, NOTE_HEIGHT_MM)]


def centred(words: str, at: Point) -> Text:
    """Return a text centred on a point."""
    wide = ADVANCE * TITLE_HEIGHT_MM * columns(words)
    return Text("TEXT", words, (at[0] - wide / 2, at[1] - TITLE_HEIGHT_MM / 2), TITLE_HEIGHT_MM)


def _widened(bed: Box, zero: Zero) -> tuple[float, float]:
    """Return left and right of the page: the bed's, or more on the side away from zero where it is too narrow."""
    more = max(_LEAST_MM + 2 * GAP_MM - bed.width, 0.0)
    return (bed.left, bed.right + more) if zero.endswith("left") else (bed.left - more, bed.right)


def _wrapped(words: Sequence[str], width_mm: float) -> list[str]:
    letters = max(20, int(width_mm / (ADVANCE * NOTE_HEIGHT_MM)))
    return [part for line in words for part in wrapped(plain(line), letters)]
