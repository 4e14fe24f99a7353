"""The pages of a proof: the drawing at 1:1 between two bars of 100 mm, what is said of it, on sheets of paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import repeat

from ...card.parts import Paper
from ...records import Item, Result
from ...seal import __version__
from ..look import PLAIN
from ..paths import Box, Point, Stroke, around, box_of, moved
from ..pdf import Page, pages_pdf
from ..sheet import (
    BAR_MM,
    NOTE_HEIGHT_MM,
    TITLE_HEIGHT_MM,
    LayerName,
    Line,
    Sheet,
    Text,
    bar,
    item_curves,
    name_text,
    upright_bar,
    zero_of,
)
from ..words import plain
from .blocks import Block, paged, paragraph, writing_line
from .tiles import MARGIN_MM, ROUND_MM, STRIP_MM, PaperSheet, Tile, Tiling, sheet_of, tiling
from .words import legend, sections

DASHED: frozenset[LayerName] = frozenset(("POCKET", "PRINT"))
_BESIDE = 0.6  # of a page's field: a drawing up to this high has the words below it on one page
_ARM_MM = 4.0  # of a mark by which sheets are laid together
_AFTER_BAR_MM = 6.0


def proof_bytes(result: Result, items: Sequence[Item] | None = None, *, name: str = "", paper: Paper = "a4") -> bytes:
    """Return the proof of a result's items as a PDF to print at 100 %.

    First the outline at 1:1 and what is said of it, each page with a bar of exactly 100 mm along x and one along y. A
    drawing that leaves no room for words has sheets of its own, after those of the words; one larger than a sheet is
    cut into several that overlap by 12 mm, with marks that cover each other when they are laid together.

    Parameters
    ----------
    result, items
        What to prove, all of the result's items if None.
    name
        Of the files beside it, without ending; the picture's if empty.
    paper
        a4 or letter.

    Raises
    ------
    ValueError
        If there is no item.
    """
    chosen = tuple(result.items if items is None else items)
    drawing = _drawing(chosen)
    cut = tiling(drawing.box, paper)
    upright = sheet_of(paper)
    beside = len(cut.tiles) == 1 and drawing.box.height <= _BESIDE * upright.field.height
    beside = beside and drawing.box.width + 2 * ROUND_MM <= upright.field.width
    opening = [block for words in (_HOW, legend(drawing.layers)) for block in paragraph(words, upright.field.width)]
    said = [*opening, *sections(result, chosen, name or plain(result.source_name), upright.field.width)]
    title = f"Proof of {plain(result.source_name)}"
    made = _beside(said, drawing, upright) if beside else _apart(said, drawing, cut, upright)
    pages = [_headed(page, title, number, len(made)) for number, page in enumerate(made, 1)]
    return pages_pdf(title, pages, cut=False)


_HOW = (
    'Print at 100 % ("actual size", no fit to page). Measure both bars: each must read 100.0 mm, else print again. '
    "Then lay the blank on the drawing: its edge must cover the blue line all round."
)


@dataclass(frozen=True, slots=True)
class _Drawn:
    """The items' curves and names, zero at the lower-left of their box."""

    curves: tuple[tuple[LayerName, Stroke, Box], ...]
    names: tuple[Text, ...]
    box: Box

    @property
    def layers(self) -> tuple[LayerName, ...]:
        return tuple(dict.fromkeys(layer for layer, _, _ in self.curves))

    def within(self, window: Box, to: Point) -> tuple[list[tuple[LayerName, Stroke]], list[Text]]:
        """What of it lies in a window, at least in part (of names: wholly), its lower-left corner moved to a place."""
        by = to[0] - window.left, to[1] - window.bottom
        curves = [(layer, moved(curve, by)) for layer, curve, box in self.curves if _meet(box, window)]
        names = [one for one in self.names if _holds(window, one.box)]
        return curves, [
            Text(one.layer, one.words, (one.at[0] + by[0], one.at[1] + by[1]), one.height_mm) for one in names
        ]


def _drawing(items: Sequence[Item]) -> _Drawn:
    zero, _ = zero_of(items)
    placed = [one for item in items for one in item_curves(item, zero, PLAIN)]
    curves = tuple((layer, one, box_of([one])) for layer, curves in placed for one in curves if layer != "WALL")
    names = tuple(text for item in items for text in name_text(item, zero))
    return _Drawn(curves, names, around([box for _, _, box in curves]))


def _meet(box: Box, other: Box) -> bool:
    across = box.left <= other.right and other.left <= box.right
    return across and box.bottom <= other.top and other.bottom <= box.top


def _holds(outer: Box, box: Box) -> bool:
    across = outer.left <= box.left and box.right <= outer.right
    return across and outer.bottom <= box.bottom and box.top <= outer.top


# --- pages -----------------------------------------------------------------------------------------------------


def _beside(said: Sequence[Block], drawing: _Drawn, paper: PaperSheet) -> list[Page]:
    """The drawing at the top of the first page, the words below it and on further pages."""
    field, high = paper.field, drawing.box.height + 2 * ROUND_MM
    window = Box(drawing.box.left - ROUND_MM, drawing.box.bottom - ROUND_MM, 0.0, 0.0)
    window = Box(window.left, window.bottom, window.left + field.width, window.bottom + high)
    curves, names = drawing.within(window, (field.left, field.top - high))
    rest = Box(field.left, field.bottom, field.right, field.top - high - NOTE_HEIGHT_MM)
    first, *more = _worded(said, paper, rest)
    sheet = Sheet("", tuple(curves), first.sheet.lines, (*names, *first.sheet.texts), (), paper.page)
    return [Page(sheet, paper.page, dashed=DASHED), *more]


def _apart(said: Sequence[Block], drawing: _Drawn, cut: Tiling, paper: PaperSheet) -> list[Page]:
    """The words, then the drawing's own sheets."""
    return [*_worded(said, paper, paper.field), *(_tile(one, drawing, cut) for one in cut.tiles)]


def _worded(said: Sequence[Block], paper: PaperSheet, first: Box) -> list[Page]:
    placed = paged(said, _fields(first, paper.field))
    lines, texts = _bars(paper)
    return [
        Page(Sheet("", (), (*lines, *_lines(blocks)), (*texts, *_texts(blocks)), (), paper.page), paper.page)
        for blocks in placed
    ]


def _fields(first: Box, then: Box) -> Iterator[Box]:
    yield first
    yield from repeat(then)


def _lines(blocks: Sequence[Block]) -> list[Line]:
    return [line for one in blocks for line in one.lines]


def _texts(blocks: Sequence[Block]) -> list[Text]:
    return [text for one in blocks for text in one.texts]


def _tile(tile: Tile, drawing: _Drawn, cut: Tiling) -> Page:
    """One sheet of a drawing: its window with its edge, and the marks in it."""
    field = cut.sheet.field
    curves, names = drawing.within(tile.window, (field.left, field.bottom))
    by = field.left - tile.window.left, field.bottom - tile.window.bottom
    lines, texts = _bars(cut.sheet)
    if len(cut.tiles) > 1:
        lines += _edge(field)
        texts.append(_place_words(tile, cut))
    for mark, (x, y) in cut.marks:
        if _holds(tile.window, Box(x, y, x, y)):
            lines += _cross(x + by[0], y + by[1])
            texts.append(Text("TEXT", mark, (x + by[0] + 1.0, y + by[1] + 1.0), NOTE_HEIGHT_MM))
    sheet = Sheet("", tuple(curves), tuple(lines), (*names, *texts), (), cut.sheet.page)
    return Page(sheet, cut.sheet.page, window=field, dashed=DASHED)


def _place_words(tile: Tile, cut: Tiling) -> Text:
    words = (
        f"Column {tile.column + 1} of {cut.columns} from the left, row {tile.row + 1} of {cut.rows} from the top: lay "
        "it over its neighbours until marks of one name cover each other."
    )
    field = cut.sheet.field
    return Text("TEXT", words, (field.left, field.top + 1.5), NOTE_HEIGHT_MM)


def _edge(field: Box) -> list[Line]:
    corners = [
        (field.left, field.bottom),
        (field.right, field.bottom),
        (field.right, field.top),
        (field.left, field.top),
    ]
    return [("NOTE", a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]


def _cross(x: float, y: float) -> list[Line]:
    return [("CHECK", (x - _ARM_MM, y), (x + _ARM_MM, y)), ("CHECK", (x, y - _ARM_MM), (x, y + _ARM_MM))]


def _bars(paper: PaperSheet) -> tuple[list[Line], list[Text]]:
    """The bars along x and y in the margin's strips, and lines to write down what they read."""
    low, begin = MARGIN_MM + 2.0, MARGIN_MM + STRIP_MM
    lines, texts = [*bar(begin, low), *upright_bar(low, begin)], list[Text]()
    x = begin + BAR_MM + _AFTER_BAR_MM
    for number, axis in enumerate(("y (left edge)", "x")):
        words, rule = writing_line(f"bar {axis}: 100.0, reads", x, paper.width_mm - MARGIN_MM, low + 5.5 * number)
        texts, lines = [*texts, *words], [*lines, *rule]
    return lines, texts


def _headed(page: Page, title: str, number: int, count: int) -> Page:
    """Put the title and which page it is above a page's field."""
    top = page.box.top - MARGIN_MM - TITLE_HEIGHT_MM
    left = MARGIN_MM + STRIP_MM
    words = f"page {number} of {count}, at 100 %, digitize {__version__}"
    texts = [Text("TEXT", title[:60], (left, top), TITLE_HEIGHT_MM)]
    texts += [Text("TEXT", words, (left, top - 2.0 - NOTE_HEIGHT_MM), NOTE_HEIGHT_MM)]
    old = page.sheet
    sheet = Sheet(title, old.curves, old.lines, (*texts, *old.texts), (), old.box)
    return Page(sheet, page.box, page.window, page.dashed)
