"""What goes where on a card's sheet: rings, bars, axes, writing lines and the few words that matter."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from .marker import marker_loops
from .parts import Bar, Box, CardLayout, Fill, Kind, Loop, Paper, Point, Ring, TextLine
from .text import line, paragraphs, text_width

_NAMES: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}
_SMALL, _BODY, _HEAD, _TITLE = 2.6, 2.9, 3.6, 7.0  # em sizes, mm
_MARGIN = 15.0  # a single's sheet
_QUIET = 10.0  # white round a single's ring, inside the cut line
_CAPTION = 31.0  # height below it
_PEN, _HAIR = 0.3, 0.2  # line widths, mm

_STEPS = (
    '1 Print at 100 % ("actual size"): no fit to page, no shrink to fit, no borderless enlargement.',
    "2 Let the sheet lie for an hour in the room where it will be used.",
    "3 Measure with calipers, X and Y apart, and write both down. Ring: outer side to outer side. "
    "Bar: from an edge of one end tick to the same edge of the other.",
    "4 Cut the card out from tick to tick, leaving the white border.",
    "5 Lay it flat beside the item, 10 mm or more clear of it. Keep it dry, flat and out of the sun.",
)
_PAPER = (
    "Paper is no gauge: it moves 0.1 to 0.4 % with the humidity of the air, and not the same in its two directions. "
    "Measure the card again when the season changes, after a damp day, and when a result looks wrong.",
)
_WRONG = (
    ("97.27", "a Letter page fitted to A4 paper"),
    ("94.07", "an A4 page fitted to Letter paper"),
    ("106.7", "90 dots an inch taken for 96"),
    ("133.3", "72 dots an inch taken for 96"),
    ("X, Y differ", "paper feed, or damp paper"),
)


def single_layout(paper: Paper, size_mm: tuple[float, float], ring: Ring) -> CardLayout:
    """Lay out a single card and its instructions on a sheet; the ring's centre is chosen here."""
    width, height = size_mm
    card_w, card_h = ring.outer_mm + 2 * _QUIET, ring.outer_mm + 2 * _QUIET + _CAPTION
    top = height - 38.0
    box = (_MARGIN, top - card_h, _MARGIN + card_w, top)
    placed = replace(ring, centre_mm=(box[0] + card_w / 2, top - _QUIET - ring.outer_mm / 2))
    sheet = _Sheet()
    sheet.ring(placed)
    sheet.caption(placed, box)
    sheet.ticks(box)
    about = f"{_NAMES[paper]} sheet · print at 100 %, no fit to page"
    sheet.title(f"Reference ring {placed.side_mm:g} mm", about, height)
    bar_top = (top + box[1]) / 2 + 50
    sheet.bar("x", (_MARGIN + 1, box[1] - 16), tick=(-2.5, 2.5))
    sheet.bar("y", (box[2] + 14, bar_top - 100), tick=(-2.5, 2.5))
    column = box[2] + 26
    sheet.head("Steps", (column, top - 3))
    sheet.texts += paragraphs(_STEPS, (column, top - 6.5), width - _MARGIN - column, size_mm=_BODY)
    sheet.form((_MARGIN, box[1] - 36), width - 2 * _MARGIN, ring=placed)
    sheet.wrong_print((column, box[1] + 25))
    sheet.texts += paragraphs(_PAPER, (_MARGIN, box[1] - 72), width - 2 * _MARGIN, size_mm=_BODY)
    return sheet.layout("single", paper, size_mm, (placed,), box)


def mat_layout(paper: Paper, size_mm: tuple[float, float], rings: tuple[Ring, ...]) -> CardLayout:
    """Lay out a mat round rings already placed."""
    half = rings[0].outer_mm / 2
    left, right = min(r.centre_mm[0] for r in rings), max(r.centre_mm[0] for r in rings)
    low, high = min(r.centre_mm[1] for r in rings), max(r.centre_mm[1] for r in rings)
    middle, across = (left + right) / 2, (low + high) / 2
    place = (left + half + 7.8, low + half + 9.8, right - half - 4.8, high - half - 4.8)
    sheet = _Sheet()
    for ring in rings:
        sheet.ring(ring)
    sheet.bar("x", (middle - 50, low + half + 4.2), tick=(0.0, 3.0))
    sheet.bar("y", (left + half + 4.2, across - 50), tick=(0.0, 3.0))
    sheet.corners(place)
    sheet.axes((left - 9, low + half + 12), 16.0)
    room = middle - half - 4 - (left + half + 5)
    _mat_words(sheet, paper, len(rings), (left + half + 5, middle + half + 5), (high + half, low + half - 4), room)
    return sheet.layout("mat", paper, size_mm, rings, (0.0, 0.0, *size_mm), place)


def _mat_words(
    sheet: _Sheet, paper: Paper, count: int, columns: tuple[float, float], tops: tuple[float, float], room: float
) -> None:
    """Four blocks between the rings above and below the open middle."""
    (west, east), (north, south) = columns, tops
    sheet.texts.append(line("Reference mat", (west, north - 4.2), 5.2, bold=True))
    about = f"{_NAMES[paper]} · {count} rings of 30 mm"
    how = 'Print at 100 % ("actual size"): no fit to page, no shrink to fit, no borderless enlargement.'
    sheet.texts += paragraphs((about, how), (west, north - 7), room, size_mm=_SMALL)
    sheet.head("Use", (east, north - 2.7))
    use = (
        "Let the sheet lie in the room for an hour, measure it, write it down. Lay it flat; lay the item "
        "inside the corner marks, clear of every ring. All rings in the picture, camera straight above.",
    )
    sheet.texts += paragraphs(use, (east, north - 6), room, size_mm=_SMALL)
    sheet.head("Calipers said", (west, south - 2.7))
    rows = ("Bar X (100)", "Bar Y (100)", "Ring X (32.4)", "Ring Y (32.4)")
    for i, label in enumerate(rows):
        sheet.blank(label, (west, south - 9 - 6 * i), room, unit="mm")
    sheet.head("This print", (east, south - 2.7))
    for i, label in enumerate(("Date", "Printer", "Paper", "Room, %RH")):
        sheet.blank(label, (east, south - 9 - 6 * i), room)


@dataclass
class _Sheet:
    """What has been put on the sheet so far."""

    fills: list[Fill] = field(default_factory=list)
    texts: list[TextLine] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)

    def layout(
        self, kind: Kind, paper: Paper, size: Point, rings: tuple[Ring, ...], card: Box, place: Box | None = None
    ) -> CardLayout:
        """Freeze what is on the sheet."""
        bars, fills, texts = tuple(self.bars), tuple(self.fills), tuple(self.texts)
        return CardLayout(kind, paper, *size, rings, bars, fills, texts, card, place)

    def ring(self, ring: Ring) -> None:
        """Put a ring and its marker."""
        outer, inner = _loop(ring.outer_corners_mm[::-1].tolist()), _loop(ring.inner_corners_mm.tolist())
        self.fills.append(Fill("ring", (outer, inner)))
        self.fills.append(Fill("code", marker_loops(ring.code, centre_mm=ring.centre_mm, side_mm=ring.marker_mm)))

    def bar(self, axis: Literal["x", "y"], start: Point, *, tick: tuple[float, float], length: float = 100.0) -> None:
        """Put a check bar with end ticks from `tick[0]` to `tick[1]` across it, a short tick each 10 mm, a label."""
        bar = Bar(axis, start, length)
        self.bars.append(bar)
        (x, y), (x1, y1) = bar.start_mm, bar.end_mm
        half = _PEN / 2
        spine = (x, y - half, x1, y + half) if axis == "x" else (x - half, y, x + half, y1)
        self.fills.append(Fill("bar", (_rectangle(spine),)))
        for i in range(11):
            reach = tick if i in (0, 10) else (0.0, 1.5)
            self.fills.append(Fill("bar", (_rectangle(_tick_box(bar, i * length / 10, reach)),)))
        label = f"{axis.upper()}  {length:g} mm, tick to tick"
        if axis == "x":
            words = line(label, (x + 2, y - 3.4), _SMALL)
        else:
            start_at = (y + y1 - text_width(label, _SMALL)) / 2
            words = line(label, (x - 1.3, start_at), _SMALL, upwards=True)
        self.texts.append(replace(words, of_bar=True))

    def caption(self, ring: Ring, box: Box) -> None:
        """Put what stays with a single card: directions, nominal sides, writing lines."""
        x, y = box[0] + 6, box[1] + _CAPTION
        self.axes((x, y - 15), 11.0)
        room = box[2] - 6 - (x + 17)
        self.texts.append(line(f"Ring {ring.side_mm:g} mm", (x + 17, y - 3), _HEAD, bold=True))
        self.texts.append(line(f"outer {ring.outer_mm:g}, inner {ring.inner_mm:g} mm", (x + 17, y - 7.2), _SMALL))
        self.blank("outer X", (x + 17, y - 13.5), room, unit="mm")
        self.blank("outer Y", (x + 17, y - 19.5), room, unit="mm")
        self.blank("Date, printer", (x, y - 26.5), box[2] - 6 - x)

    def form(self, top_left: Point, width: float, *, ring: Ring) -> None:
        """Put the writing lines for the calipers' readings and the print."""
        x, y = top_left
        room = (width - 10) / 2
        right = x + room + 10
        self.head("Calipers said", (x, y))
        self.blank(f"Ring, outer side X ({ring.outer_mm:g})", (x, y - 7.5), room, unit="mm")
        self.blank(f"Ring, outer side Y ({ring.outer_mm:g})", (x, y - 14.5), room, unit="mm")
        self.blank("Bar X (100)", (x, y - 21.5), room, unit="mm")
        self.blank("Bar Y (100)", (x, y - 28.5), room, unit="mm")
        self.head("This print", (right, y))
        for i, label in enumerate(("Date", "Printer, driver setting", "Paper", "Room, temperature and humidity")):
            self.blank(label, (right, y - 7.5 - 7 * i), room)

    def wrong_print(self, top_left: Point) -> None:
        """Put the signatures of a print that is not at 100 %."""
        x, y = top_left
        self.head("If a 100 mm bar reads otherwise", (x, y))
        for i, (reading, cause) in enumerate(_WRONG):
            self.texts.append(line(reading, (x, y - 5.2 - 4.2 * i), _BODY, bold=True))
            self.texts.append(line(cause, (x + 19, y - 5.2 - 4.2 * i), _BODY))

    def title(self, words: str, below: str, height: float) -> None:
        """Put the sheet's title and a line below it."""
        self.texts.append(line(words, (_MARGIN, height - 20.5), _TITLE, bold=True))
        self.texts.append(line(below, (_MARGIN, height - 27), _HEAD))

    def head(self, words: str, at: Point) -> None:
        """Put a small heading."""
        self.texts.append(line(words, at, _HEAD, bold=True))

    def blank(self, label: str, at: Point, width: float, *, unit: str = "") -> None:
        """Put a label and a line to write on, `width` in all."""
        self.texts.append(line(label, at, _SMALL))
        start = at[0] + text_width(label, _SMALL) + 1.5
        end = at[0] + width - (text_width(unit, _SMALL) + 1.2 if unit else 0.0)
        self.fills.append(Fill("rule", (_rectangle((start, at[1] - 0.6, end, at[1] - 0.6 + _HAIR)),)))
        if unit:
            self.texts.append(line(unit, (end + 1.2, at[1]), _SMALL))

    def axes(self, origin: Point, length: float) -> None:
        """Put two arrows that say which direction is X and which Y."""
        (x, y), h = origin, 0.25
        shaft = ((x - h, y - h), (x + length - 2.5, y - h), (x + length - 2.5, y - 1.1), (x + length, y))
        back = ((x + length - 2.5, y + 1.1), (x + length - 2.5, y + h), (x + h, y + h))
        right = shaft + back
        up = tuple((x + (v - y), y + (u - x)) for u, v in reversed(right))  # mirrored on the diagonal
        corner = (*right[:-1], (x + h, y + h), *up[1:-1])
        self.fills.append(Fill("sign", (corner,)))
        self.texts.append(line("X", (x + length + 1, y - 0.35 * _HEAD), _HEAD, bold=True))
        self.texts.append(line("Y", (x - 0.33 * _HEAD, y + length + 1), _HEAD, bold=True))

    def ticks(self, box: Box) -> None:
        """Put cutting ticks outside the corners of `box`."""
        for x, dx in ((box[0], -1), (box[2], 1)):
            for y, dy in ((box[1], -1), (box[3], 1)):
                self.fills.append(Fill("tick", (_rectangle(_span(x + dx, y - _HAIR / 2, x + 5 * dx, y + _HAIR / 2)),)))
                self.fills.append(Fill("tick", (_rectangle(_span(x - _HAIR / 2, y + dy, x + _HAIR / 2, y + 5 * dy)),)))

    def corners(self, box: Box) -> None:
        """Put marks at the corners of the item's place."""
        for x, dx in ((box[0], 1), (box[2], -1)):
            for y, dy in ((box[1], 1), (box[3], -1)):
                self.fills.append(Fill("sign", (_rectangle(_span(x, y, x + 5 * dx, y + _HAIR * dy)),)))
                self.fills.append(Fill("sign", (_rectangle(_span(x, y, x + _HAIR * dx, y + 5 * dy)),)))


def _tick_box(bar: Bar, at: float, reach: tuple[float, float]) -> Box:
    """Box of a tick across a bar, its middle at `at` from the bar's start."""
    x, y = bar.start_mm
    half = _PEN / 2
    if bar.axis == "x":
        return x + at - half, y + reach[0], x + at + half, y + reach[1]
    return x + reach[0], y + at - half, x + reach[1], y + at + half


def _span(x0: float, y0: float, x1: float, y1: float) -> Box:
    """Box with its ends in order."""
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _rectangle(box: Box) -> Loop:
    """Counter-clockwise loop of a box."""
    x0, y0, x1, y1 = box
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)


def _loop(points: list[list[float]]) -> Loop:
    """Points as a loop."""
    return tuple((x, y) for x, y in points)
