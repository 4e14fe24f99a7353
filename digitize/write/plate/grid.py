"""A measurement grid the size of the bed: lines every 10 mm, numbered from the zero corner."""

from __future__ import annotations

import math

from ...plate.plate import Zero
from ..sheet import ADVANCE, NOTE_HEIGHT_MM, LayerName, Text
from .frame import Drawing, Laid, bed_box, on_bed, rectangle, zero_mark
from .words import grid_words

STEP_MM = 10.0
_BOLD = 10  # every so many lines one stands out
_BESIDE_MM = 0.6
MARGIN_MM = 1.0


def grid_drawing(bed_mm: tuple[float, float], zero: Zero) -> Drawing:
    """Return the grid; every tenth line stands on the layer CHECK."""
    bed = bed_box(bed_mm, zero)
    right, up = 1.0 if zero.endswith("left") else -1.0, 1.0 if zero.startswith("bottom") else -1.0
    lines, texts = zero_mark(bed, zero)
    for number, layer in _numbered(bed_mm[0]):
        x = right * number * STEP_MM
        lines.append((layer, (x, bed.bottom), (x, bed.top)))
        texts.append(_number(number, x, up * (MARGIN_MM if up > 0 else MARGIN_MM + NOTE_HEIGHT_MM), right))
    for number, layer in _numbered(bed_mm[1]):
        y = up * number * STEP_MM
        lines.append((layer, (bed.left, y), (bed.right, y)))
        texts.append(_number(number, right * MARGIN_MM, y + _BESIDE_MM, right, along_y=True))
    edge: list[Laid] = [("NOTE", rectangle(bed))]
    return on_bed("Measurement grid", edge, lines, texts, grid_words(bed_mm, zero, STEP_MM), bed)


def _numbered(length_mm: float) -> list[tuple[int, LayerName]]:
    last = math.floor(length_mm / STEP_MM + 1e-9)
    return [(number, "CHECK" if number % _BOLD == 0 else "NOTE") for number in range(1, last + 1)]


def _number(number: int, x: float, y: float, right: float, *, along_y: bool = False) -> Text:
    """Return a line's number in mm beside it, within the bed."""
    words = f"{number * STEP_MM:g}"
    wide = ADVANCE * NOTE_HEIGHT_MM * len(words)
    inward = right > 0 if along_y else right < 0
    at = x + _BESIDE_MM if inward else x - _BESIDE_MM - wide
    return Text("TEXT", words, (at, y), NOTE_HEIGHT_MM)
