"""What stands on a drawing and where: composed once, then written by every vector format."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ..records import Curve, Item, OpenPath, Path, Pocket, Result
from .inside import roomiest
from .look import HAIRLINE_MM, ORIGINS, PLAIN, Look
from .paths import Box, Point, Stroke, begin_of, box_of, led, moved, scaled
from .words import columns, notes, plain, title

LayerName = Literal["OUTLINE", "POCKET", "WALL", "PIN", "PRINT", "CHECK", "NOTE", "TEXT"]
LINES: frozenset[LayerName] = frozenset(("NOTE", "WALL"))  # never filled
Line = tuple[LayerName, Point, Point]
DRAWN: frozenset[LayerName] = frozenset(("OUTLINE", "POCKET", "PIN", "PRINT"))  # `Look.stroke_mm` is theirs

BAR_MM = 100.0
GAP_MM = 8.0
_SAME_MM = 1e-3  # ends nearer than this are one
CLEAR_MM = 0.6  # about an item's name
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
    shown: bool = True  # False: there, and switched off

    @property
    def hex(self) -> str:
        """``#rrggbb``."""
        return "#{:02x}{:02x}{:02x}".format(*self.rgb)


# Every colour keeps a contrast of at least 3:1 to white and to black, and any two differ by more
# than 24 in CIELAB also for the three dichromacies (tests/test_write_sheet.py), but for NOTE and its TEXT.
LAYERS: dict[LayerName, Layer] = {
    "OUTLINE": Layer("OUTLINE", (51, 87, 240), 160, 0.18, "the item's own edge"),
    "POCKET": Layer("POCKET", (168, 52, 0), 22, 0.18, "the path to cut"),
    "WALL": Layer(
        "WALL", (183, 119, 236), 191, HAIRLINE_MM, "where the finished pocket ends: not to be cut", shown=False
    ),
    "PIN": Layer("PIN", (204, 132, 0), 42, 0.18, "pins to make and to set under the item's holes"),
    "PRINT": Layer("PRINT", (173, 30, 159), 212, 0.18, "the area for artwork"),
    "CHECK": Layer("CHECK", (5, 164, 90), 112, 0.18, "100 mm bar to measure, orientation mark"),
    "NOTE": Layer("NOTE", (111, 111, 111), 252, 0.13, "what is left uncut, the top of a plug"),
    "TEXT": Layer("TEXT", (111, 111, 111), 252, 0.13, "all text: names, what to know before cutting"),
}


def line_mm(layer: Layer, look: Look) -> float:
    """Return how wide a layer's lines are."""
    return look.stroke_mm if look.stroke_mm is not None and layer.name in DRAWN else layer.line_mm


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
        wide = ADVANCE * self.height_mm * columns(self.words)
        return Box(x, y - 0.3 * self.height_mm, x + wide, y + self.height_mm)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything on one drawing, mm, y up, zero at the lower-left of the items' box."""

    name: str
    curves: tuple[tuple[LayerName, Stroke], ...]  # holes before the edge around them, leads before their paths
    lines: tuple[Line, ...]
    texts: tuple[Text, ...]
    notes: tuple[str, ...]  # the notes' lines, which are among the texts
    box: Box
    areas: tuple[tuple[LayerName, tuple[Curve, ...]], ...] = ()  # to be filled, even-odd, in place of their curves

    def used_layers(self) -> tuple[Layer, ...]:
        """Return the layers that hold anything, in their fixed order; filled ones the largest first, to hide none."""
        used = {layer for layer, _ in self.curves} | {line[0] for line in self.lines} | {t.layer for t in self.texts}
        filled: dict[LayerName, Box] = {
            name: box_of(curve for layer, curves in self.areas for curve in curves if layer == name)
            for name in dict.fromkeys(layer for layer, _ in self.areas)
        }
        first = sorted(filled, key=lambda name: -filled[name].width)
        order = [*first, *(name for name in LAYERS if name not in filled)]
        return tuple(LAYERS[name] for name in order if name in used | filled.keys())


def compose(
    result: Result, items: Sequence[Item] | None = None, look: Look = PLAIN, *, in_inches: bool = False
) -> Sheet:
    """Compose the drawing of `items` (all of the result's if None), as they lay in the picture.

    Below the items stand the 100 mm bar, the orientation mark and the notes, clear of every curve.

    Parameters
    ----------
    result, items
        What to draw.
    look
        How.
    in_inches
        Whether the file's unit will be the inch (`scaled_sheet`); the sheet is in mm all the same.

    Raises
    ------
    ValueError
        If there is no item.
    """
    chosen = tuple(result.items if items is None else items)
    if not chosen:
        raise ValueError("a drawing needs at least one item")
    zero, left = zero_of(chosen, look.origin)
    placed = [one for item in chosen for one in item_curves(item, zero, look)]
    drawn = box_of(curve for _, curves in placed for curve in curves)
    areas = tuple((layer, _closed(curves)) for layer, curves in placed if look.filled and layer not in LINES)
    lines = [(layer, one) for layer, curves in placed for one in curves if layer in LINES or not look.filled]
    lines += [(layer, one) for layer, curves in placed for one in curves if look.filled and isinstance(one, OpenPath)]
    bar_y = drawn.bottom - GAP_MM - MARK_LEGS_MM[1]
    checks = (*bar(left, bar_y), *mark(left + BAR_MM + GAP_MM, bar_y))
    wide = max(min(drawn.width, LARGEST_NOTES_MM), BAR_MM + GAP_MM + 14.0)
    letters = int(wide / (ADVANCE * NOTE_HEIGHT_MM))
    words = tuple(notes(result, chosen, width=letters, origin=look.origin, in_inches=in_inches))
    names = (label for item in chosen for label in name_text(item, zero))
    beside = bar_texts(left, bar_y, in_inches=in_inches)
    texts = (*names, *beside, *note_texts(title(result), words, left, bar_y - GAP_MM))
    shown = texts if look.notes == "on" else ()
    box = _box(drawn, checks, shown)
    return Sheet(title(result), tuple(lines), checks, shown, words, box, tuple(one for one in areas if one[1]))


@dataclass(frozen=True, slots=True)
class Drawings:
    """The drawings of one result's items: each way of looking is composed once, whatever formats ask for it."""

    result: Result
    items: Sequence[Item] | None = None
    composed: dict[tuple[Look, bool], Sheet] = field(default_factory=dict)

    def sheet(self, look: Look, *, in_inches: bool = False) -> Sheet:
        """Return the drawing; see `compose`."""
        if (look, in_inches) not in self.composed:
            self.composed[look, in_inches] = compose(self.result, self.items, look, in_inches=in_inches)
        return self.composed[look, in_inches]


def scaled_sheet(sheet: Sheet, by: float) -> Sheet:
    """Return a sheet in another unit, `by` of which are a millimetre."""

    def place(point: Point) -> Point:
        return point[0] * by, point[1] * by

    box = sheet.box
    return replace(
        sheet,
        curves=tuple((layer, scaled(curve, by)) for layer, curve in sheet.curves),
        lines=tuple((layer, place(start), place(end)) for layer, start, end in sheet.lines),
        texts=tuple(replace(text, at=place(text.at), height_mm=text.height_mm * by) for text in sheet.texts),
        box=Box(box.left * by, box.bottom * by, box.right * by, box.top * by),
    )


def zero_of(items: Sequence[Item], origin: str = "lower-left") -> tuple[Point, float]:
    """Return where a drawing's zero lies in the sheet frame, and where the items' box then begins from the left."""
    boxes = [(*i.sheet_mm, i.sheet_mm[0] + i.width_mm, i.sheet_mm[1] + i.height_mm) for i in items]
    low = min(b[0] for b in boxes), min(b[1] for b in boxes)
    high = max(b[2] for b in boxes), max(b[3] for b in boxes)
    across, up = ORIGINS[origin]
    x, y = low[0] + across * (high[0] - low[0]), low[1] + up * (high[1] - low[1])
    return (x, y), low[0] - x


def _closed(curves: Sequence[Stroke]) -> tuple[Curve, ...]:
    return tuple(curve for curve in curves if not isinstance(curve, OpenPath))


def item_curves(item: Item, zero: Point, look: Look) -> list[tuple[LayerName, list[Stroke]]]:
    """Return an item's curves, those together that bound one area."""
    by = (item.sheet_mm[0] - zero[0], item.sheet_mm[1] - zero[1])
    found: list[tuple[LayerName, list[Stroke]]] = [("OUTLINE", [*item.hole_paths, item.path])]
    if item.pocket is not None:
        found += pocket_strokes(item.pocket, joined=look.leads == "joined" and not look.filled)
    found.append(("PRINT", [*item.print_area]))
    return [(layer, [moved(curve, by) for curve in curves]) for layer, curves in found]


def pocket_strokes(pocket: Pocket, *, joined: bool = True) -> list[tuple[LayerName, list[Stroke]]]:
    """Return all that is drawn of a pocket, layer by layer; `joined`: each lead and its path as one open line."""
    uncut = [Path(one.ring_mm, np.zeros(len(one.ring_mm))) for one in pocket.uncut]
    strokes = _in_order(pocket, joined=joined)
    return [
        ("POCKET", strokes),
        ("WALL", [*pocket.wall]),
        ("PIN", [*pocket.pins]),
        ("NOTE", [*uncut, *pocket.plug_top]),
    ]


def _in_order(pocket: Pocket, *, joined: bool) -> list[Stroke]:
    """Return leads and paths, each lead before its path or joined to it: a machine cuts it first."""
    left, found = list(pocket.leads), list[Stroke]()
    for curve in pocket.curves:
        begin = begin_of(curve)
        mine = [lead for lead in left if math.dist(lead.points_mm[-1], begin) < _SAME_MM]
        left = [lead for lead in left if all(lead is not one for one in mine)]
        found += [led(mine[0], curve)] if joined and len(mine) == 1 else [*mine, curve]
    return [*left, *found]


def name_text(item: Item, zero: Point) -> list[Text]:
    """Return the item's name where it is clear of the item's edge and holes, if there is such a place."""
    words = plain(item.name)
    wide = ADVANCE * TITLE_HEIGHT_MM * columns(words)
    (x, y), fits = roomiest(item.exterior_mm, item.holes_mm, (wide + 2 * CLEAR_MM, TITLE_HEIGHT_MM + 2 * CLEAR_MM))
    at = item.sheet_mm[0] - zero[0] + x - wide / 2, item.sheet_mm[1] - zero[1] + y - TITLE_HEIGHT_MM / 2
    return [Text("TEXT", words, at, TITLE_HEIGHT_MM)] if fits else []


def bar(left: float, y: float) -> list[Line]:
    """Return a bar of exactly 100 mm between its end ticks, with a tick every 10 mm."""
    found: list[Line] = [("CHECK", (left, y), (left + BAR_MM, y))]
    for centimetre in range(11):
        height = 5.0 if centimetre in (0, 10) else 3.0 if centimetre == 5 else 1.5
        x = left + 10.0 * centimetre
        found.append(("CHECK", (x, y), (x, y + height)))
    return found


def upright_bar(x: float, bottom: float) -> list[Line]:
    """Return the same bar along y, its ticks to the right."""
    return [(layer, a[::-1], b[::-1]) for layer, a, b in bar(bottom, x)]


def mark(x: float, y: float) -> list[Line]:
    """Return two arrows from one corner, the short one along x, the long one along y.

    Unequal legs tell a turned drawing and a mirrored one from a right one.
    """
    right, up = x + MARK_LEGS_MM[0], y + MARK_LEGS_MM[1]
    strokes: list[tuple[Point, Point]] = [((x, y), (right, y)), ((x, y), (x, up))]
    strokes += [((right, y), (right - 1.5, y + 0.8)), ((right, y), (right - 1.5, y - 0.8))]
    strokes += [((x, up), (x - 0.8, up - 1.5)), ((x, up), (x + 0.8, up - 1.5))]
    return [("CHECK", a, b) for a, b in strokes]


def bar_texts(left: float, y: float, *, in_inches: bool) -> list[Text]:
    """Return the words beside the bar and the orientation mark."""
    x = left + BAR_MM + GAP_MM
    also = " (3.937 in)" if in_inches else ""
    return [
        Text(
            "TEXT", f"Measure before cutting: this bar must be 100.0 mm{also}", (left + 4.0, y + 6.5), TITLE_HEIGHT_MM
        ),
        Text("TEXT", "X", (x + MARK_LEGS_MM[0] + 1.0, y - 0.9), NOTE_HEIGHT_MM),
        Text("TEXT", "Y", (x + 1.6, y + MARK_LEGS_MM[1] - NOTE_HEIGHT_MM), NOTE_HEIGHT_MM),
    ]


def note_texts(heading: str, words: Sequence[str], left: float, top: float) -> list[Text]:
    """Return title and notes below `top`."""
    step = LINE_SPACING * NOTE_HEIGHT_MM
    first = top - TITLE_HEIGHT_MM - step - 1.0
    title_line = Text("TEXT", heading[:LONGEST_TITLE], (left, top - TITLE_HEIGHT_MM), TITLE_HEIGHT_MM)
    return [title_line, *(Text("TEXT", line, (left, first - step * n), NOTE_HEIGHT_MM) for n, line in enumerate(words))]


def _box(drawn: Box, lines: Sequence[Line], texts: Sequence[Text]) -> Box:
    boxes = [drawn, *(text.box for text in texts)]
    ends = [end for _, a, b in lines for end in (a, b)]
    return Box(
        min([b.left for b in boxes] + [x for x, _ in ends]),
        min([b.bottom for b in boxes] + [y for _, y in ends]),
        max([b.right for b in boxes] + [x for x, _ in ends]),
        max([b.top for b in boxes] + [y for _, y in ends]),
    )
