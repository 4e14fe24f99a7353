"""What stands on a proof besides its drawing, as blocks that are set below one another, page by page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..paths import Box, Point
from ..sheet import ADVANCE, LINE_SPACING, NOTE_HEIGHT_MM, TITLE_HEIGHT_MM, Line, Text
from ..words import columns, plain, wrapped

STEP_MM = LINE_SPACING * NOTE_HEIGHT_MM  # from line to line
ROW_MM = 6.5  # of what is written by hand
HEADING_MM = 2.0 + TITLE_HEIGHT_MM + 1.5


@dataclass(frozen=True, slots=True)
class Block:
    """Lines and texts that stay together; zero is the block's upper-left corner."""

    height_mm: float
    texts: tuple[Text, ...] = ()
    lines: tuple[Line, ...] = ()

    def at(self, x: float, top: float) -> Block:
        """Return it with its upper-left corner there."""

        def moved(point: Point) -> Point:
            return point[0] + x, point[1] + top

        texts = tuple(Text(text.layer, text.words, moved(text.at), text.height_mm) for text in self.texts)
        return Block(self.height_mm, texts, tuple((layer, moved(a), moved(b)) for layer, a, b in self.lines))


def width_of(words: str, height_mm: float = NOTE_HEIGHT_MM) -> float:
    """Return about how wide words are, mm."""
    return ADVANCE * height_mm * columns(words)


def paragraph(words: str, width_mm: float) -> list[Block]:
    """Return a sentence as lines of at most that width."""
    letters = max(10, int(width_mm / (ADVANCE * NOTE_HEIGHT_MM)))
    return [cells([(0.0, line)]) for line in wrapped(plain(words), letters)]


def cells(words: Iterable[tuple[float, str]]) -> Block:
    """Return one line of words at places from the left."""
    texts = tuple(Text("TEXT", one, (x, -NOTE_HEIGHT_MM - 0.6), NOTE_HEIGHT_MM) for x, one in words)
    return Block(STEP_MM, texts)


def heading(words: str) -> Block:
    """Return a heading."""
    return Block(HEADING_MM, (Text("TEXT", words, (0.0, -2.0 - TITLE_HEIGHT_MM), TITLE_HEIGHT_MM),))


def writing_line(label: str, x: float, right: float, y: float = 0.0) -> tuple[list[Text], list[Line]]:
    """Return a label on a base line and a line to write on, up to `right`, where its unit stands."""
    begin, end = x + width_of(label) + 1.5, right - width_of("mm") - 1.0
    texts = [Text("TEXT", label, (x, y), NOTE_HEIGHT_MM), Text("TEXT", "mm", (end + 1.0, y), NOTE_HEIGHT_MM)]
    return texts, [("TEXT", (begin, y - 0.6), (end, y - 0.6))]


def together(blocks: Sequence[Block]) -> Block:
    """Return blocks below one another as one."""
    found, top = [], 0.0
    for block in blocks:
        found.append(block.at(0.0, -top))
        top += block.height_mm
    return Block(top, *(tuple(one for block in found for one in getattr(block, part)) for part in ("texts", "lines")))


def section(title: str, blocks: Sequence[Block]) -> list[Block]:
    """Return blocks below a heading, which keeps to the first."""
    return [together([heading(title), *blocks[:1]]), *blocks[1:]] if blocks else []


def paged(blocks: Sequence[Block], fields: Iterable[Box]) -> list[list[Block]]:
    """Return blocks by page, placed: each below the one before, on the next field where one is full.

    `fields` does not end before the blocks do, and none is lower than a block is high.
    """
    places = iter(fields)
    field = next(places)
    pages: list[list[Block]] = [[]]
    top = field.top
    for block in blocks:
        if top - block.height_mm < field.bottom:
            field = next(places)
            pages.append([])
            top = field.top
        pages[-1].append(block.at(field.left, top))
        top -= block.height_mm
    return pages
