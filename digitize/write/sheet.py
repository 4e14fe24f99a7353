"""What stands on a drawing and where: composed once, then written by every vector format."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..records import Item, Path, Pocket, Result
from .paths import Box, Point, Stroke, begin_of, box_of, moved
from .words import notes, plain, title

LayerName = Literal["OUTLINE", "POCKET", "PIN", "PRINT", "CHECK", "NOTE"]

BAR_MM = 100.0
GAP_MM = 8.0
_SAME_MM = 1e-3
LARGEST_NOTES_MM = 250.0
LONGEST_TITLE = 64  # letters, about as long as the bar and the mark
MARK_LEGS_MM = (8.0, 12.0)
# Nominal letter heights of ISO 3098-1 (1.8, 2.5, 3.5 ... mm), from memory.
NOTE_HEIGHT_MM = 1.8
TITLE_HEIGHT_MM = 2.5
LINE_SPACING = 1.9  # baseline to baseline, in letter heights
# Mean advance of a letter over the height of a capital, somewhat above Helvetica's 0.5 / 0.718.
ADVANCE = 0.76


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer's look: true colour and the nearest of the 255 colour indices of DXF."""

    name: LayerName
    rgb: tuple[int, int, int]
    aci: int
    line_mm: float
    says: str

    @property
    def hex(self) -> str:
        """``#rrggbb``."""
        return "#{:02x}{:02x}{:02x}".format(*self.rgb)


# Every colour keeps a contrast of at least 3:1 to white and to black, and any two differ by more
# than 25 in CIELAB also for the three dichromacies (tests/test_write_sheet.py).
LAYERS: dict[LayerName, Layer] = {
    "OUTLINE": Layer("OUTLINE", (51, 87, 240), 160, 0.18, "the item's own edge"),
    "POCKET": Layer("POCKET", (168, 52, 0), 22, 0.18, "the path to cut"),
    "PIN": Layer("PIN", (204, 132, 0), 42, 0.18, "pins to make and to set under the item's holes"),
    "PRINT": Layer("PRINT", (173, 30, 159), 212, 0.18, "the area for artwork"),
    "CHECK": Layer("CHECK", (5, 164, 90), 112, 0.18, "100 mm bar to measure, orientation mark"),
    "NOTE": Layer("NOTE", (111, 111, 111), 252, 0.13, "what to know before cutting"),
}


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text: lower-left end of its baseline, height of a capital, mm."""

    layer: LayerName
    words: str
    at: Point
    height_mm: float

    @property
    def box(self) -> Box:
        """Estimated extent, descenders included."""
        x, y = self.at
        return Box(x, y - 0.3 * self.height_mm, x + ADVANCE * self.height_mm * len(self.words), y + self.height_mm)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything on one drawing, mm, y up, zero at the lower-left of the items' box."""

    name: str
    curves: tuple[tuple[LayerName, Stroke], ...]  # holes before the edge around them, leads before their paths
    lines: tuple[tuple[LayerName, Point, Point], ...]
    texts: tuple[Text, ...]
    notes: tuple[str, ...]  # the notes' lines, which are among the texts
    box: Box

    def used_layers(self) -> tuple[Layer, ...]:
        """Return the layers that hold anything, in their fixed order."""
        used = {layer for layer, _ in self.curves} | {line[0] for line in self.lines} | {t.layer for t in self.texts}
        return tuple(layer for name, layer in LAYERS.items() if name in used)


def compose(result: Result, items: Sequence[Item] | None = None) -> Sheet:
    """Compose the drawing of `items` (all of the result's if None), as they lay in the picture.

    Below the items stand the 100 mm bar, the orientation mark and the notes, clear of every curve.

    Raises
    ------
    ValueError
        If there is no item.
    """
    chosen = tuple(result.items if items is None else items)
    if not chosen:
        raise ValueError("a drawing needs at least one item")
    zero = (min(i.sheet_mm[0] for i in chosen), min(i.sheet_mm[1] for i in chosen))
    curves = tuple(placed for item in chosen for placed in _item_curves(item, zero))
    drawn = box_of(curve for _, curve in curves)
    bar_y = drawn.bottom - GAP_MM - MARK_LEGS_MM[1]
    lines = (*_bar(bar_y), *_mark(BAR_MM + GAP_MM, bar_y))
    wide = max(min(drawn.width, LARGEST_NOTES_MM), BAR_MM + GAP_MM + 14.0)
    words = tuple(notes(result, chosen, width=int(wide / (ADVANCE * NOTE_HEIGHT_MM))))
    names = (label for item in chosen for label in _name(item, zero))
    texts = (*names, *_bar_texts(bar_y), *_note_texts(title(result), words, bar_y - GAP_MM))
    return Sheet(title(result), curves, lines, texts, words, _box(drawn, lines, texts))


def _item_curves(item: Item, zero: Point) -> list[tuple[LayerName, Stroke]]:
    by = (item.sheet_mm[0] - zero[0], item.sheet_mm[1] - zero[1])
    found: list[tuple[LayerName, Stroke]] = [("OUTLINE", curve) for curve in (*item.hole_paths, item.path)]
    if item.pocket is not None:
        found += _pocket_curves(item.pocket)
    found += [("PRINT", curve) for curve in item.print_area]
    return [(layer, moved(curve, by)) for layer, curve in found]


def _pocket_curves(pocket: Pocket) -> list[tuple[LayerName, Stroke]]:
    found: list[tuple[LayerName, Stroke]] = [("POCKET", one) for one in _in_order(pocket)]
    found += [("PIN", pin) for pin in pocket.pins]
    uncut = [Path(one.ring_mm, np.zeros(len(one.ring_mm))) for one in pocket.uncut]
    return found + [("NOTE", one) for one in (*uncut, *pocket.plug_top)]


def _in_order(pocket: Pocket) -> list[Stroke]:
    """Return leads and paths, each lead before its path: a program that keeps the order cuts it first."""
    left, found = list(pocket.leads), list[Stroke]()
    for curve in pocket.curves:
        begin = begin_of(curve)
        mine = [lead for lead in left if math.dist(lead.points_mm[-1], begin) < _SAME_MM]
        left = [lead for lead in left if all(lead is not one for one in mine)]
        found += [*mine, curve]
    return [*left, *found]


def _name(item: Item, zero: Point) -> list[Text]:
    """Return the item's name on the middle of its box, if there is room."""
    words = plain(item.name)
    wide = ADVANCE * TITLE_HEIGHT_MM * len(words)
    if wide > 0.8 * item.width_mm or item.height_mm < 3 * TITLE_HEIGHT_MM:
        return []
    x = item.sheet_mm[0] - zero[0] + (item.width_mm - wide) / 2
    y = item.sheet_mm[1] - zero[1] + (item.height_mm - TITLE_HEIGHT_MM) / 2
    return [Text("NOTE", words, (x, y), TITLE_HEIGHT_MM)]


def _bar(y: float) -> list[tuple[LayerName, Point, Point]]:
    """Return a bar of exactly 100 mm between its end ticks, with a tick every 10 mm."""
    found: list[tuple[LayerName, Point, Point]] = [("CHECK", (0.0, y), (BAR_MM, y))]
    for centimetre in range(11):
        height = 5.0 if centimetre in (0, 10) else 3.0 if centimetre == 5 else 1.5
        x = 10.0 * centimetre
        found.append(("CHECK", (x, y), (x, y + height)))
    return found


def _mark(x: float, y: float) -> list[tuple[LayerName, Point, Point]]:
    """Return two arrows from one corner, the short one along x, the long one along y.

    Unequal legs tell a turned drawing and a mirrored one from a right one.
    """
    right, up = x + MARK_LEGS_MM[0], y + MARK_LEGS_MM[1]
    strokes: list[tuple[Point, Point]] = [((x, y), (right, y)), ((x, y), (x, up))]
    strokes += [((right, y), (right - 1.5, y + 0.8)), ((right, y), (right - 1.5, y - 0.8))]
    strokes += [((x, up), (x - 0.8, up - 1.5)), ((x, up), (x + 0.8, up - 1.5))]
    return [("CHECK", a, b) for a, b in strokes]


def _bar_texts(y: float) -> list[Text]:
    x = BAR_MM + GAP_MM
    return [
        Text("CHECK", "Measure before cutting: this bar must be 100.0 mm", (4.0, y + 6.5), TITLE_HEIGHT_MM),
        Text("CHECK", "X", (x + MARK_LEGS_MM[0] + 1.0, y - 0.9), NOTE_HEIGHT_MM),
        Text("CHECK", "Y", (x + 1.6, y + MARK_LEGS_MM[1] - NOTE_HEIGHT_MM), NOTE_HEIGHT_MM),
    ]


def _note_texts(heading: str, words: Sequence[str], top: float) -> list[Text]:
    step = LINE_SPACING * NOTE_HEIGHT_MM
    first = top - TITLE_HEIGHT_MM - step - 1.0
    title_line = Text("NOTE", heading[:LONGEST_TITLE], (0.0, top - TITLE_HEIGHT_MM), TITLE_HEIGHT_MM)
    return [title_line, *(Text("NOTE", line, (0.0, first - step * n), NOTE_HEIGHT_MM) for n, line in enumerate(words))]


def _box(drawn: Box, lines: Sequence[tuple[LayerName, Point, Point]], texts: Sequence[Text]) -> Box:
    boxes = [drawn, *(text.box for text in texts)]
    ends = [end for _, a, b in lines for end in (a, b)]
    return Box(
        min([b.left for b in boxes] + [x for x, _ in ends]),
        min([b.bottom for b in boxes] + [y for _, y in ends]),
        max([b.right for b in boxes] + [x for x, _ in ends]),
        max([b.top for b in boxes] + [y for _, y in ends]),
    )
