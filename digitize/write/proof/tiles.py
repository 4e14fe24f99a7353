"""A drawing larger than a sheet of paper: the sheets it is cut into, and the marks by which they are laid together."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from ...card.kinds import PAPERS_MM
from ...card.parts import Paper
from ..paths import Box, Point

MARGIN_MM = 10.0  # that printers leave blank; common practice, no source
STRIP_MM = 12.0  # beside the margin, left and below: the bars
HEAD_MM = 12.0  # above: what sheet this is
OVERLAP_MM = 12.0
ROUND_MM = 2.0  # about a drawing, for the width of its lines
_AT = (0.2, 0.8)  # where marks stand along an overlap, parts of its length


@dataclass(frozen=True, slots=True)
class PaperSheet:
    """A sheet of paper, mm, and the part of it that a drawing may have; zero in its lower-left corner."""

    width_mm: float
    height_mm: float

    @property
    def page(self) -> Box:
        """All of it."""
        return Box(0.0, 0.0, self.width_mm, self.height_mm)

    @property
    def field(self) -> Box:
        """What the bars, the head and the margins leave."""
        low = MARGIN_MM + STRIP_MM
        return Box(low, low, self.width_mm - MARGIN_MM, self.height_mm - MARGIN_MM - HEAD_MM)


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet's part of a drawing."""

    column: int  # from the left, from 0
    row: int  # from the top, from 0
    window: Box  # in the drawing's frame, as large as the sheet's field


@dataclass(frozen=True, slots=True)
class Tiling:
    """A drawing cut into windows of one size that overlap their neighbours."""

    sheet: PaperSheet
    columns: int
    rows: int
    tiles: tuple[Tile, ...]  # row by row from the top
    marks: tuple[tuple[str, Point], ...]  # in the drawing's frame; each lies in two windows


def sheet_of(paper: Paper) -> PaperSheet:
    """Return a paper upright."""
    return PaperSheet(*PAPERS_MM[paper])


def tiling(drawn: Box, paper: Paper) -> Tiling:
    """Return how a drawing is cut into sheets of a paper, upright or lying, whichever takes fewer; upright if equal.

    Every place of the drawing lies in a window; windows beside one another share a strip of `OVERLAP_MM`.
    """
    upright = sheet_of(paper)
    lying = PaperSheet(upright.height_mm, upright.width_mm)
    found = [_tiling(drawn.grown(ROUND_MM), sheet) for sheet in (upright, lying)]
    return min(found, key=lambda one: len(one.tiles))


def _tiling(drawn: Box, sheet: PaperSheet) -> Tiling:
    wide, high = sheet.field.width, sheet.field.height
    columns, rows = _count(drawn.width, wide), _count(drawn.height, high)
    step_x, step_y = wide - OVERLAP_MM, high - OVERLAP_MM
    left = (drawn.left + drawn.right - columns * step_x - OVERLAP_MM) / 2
    top = (drawn.top + drawn.bottom + rows * step_y + OVERLAP_MM) / 2
    tiles = tuple(
        Tile(
            column,
            row,
            Box(left + column * step_x, top - row * step_y - high, left + column * step_x + wide, top - row * step_y),
        )
        for row in range(rows)
        for column in range(columns)
    )
    marks = tuple((f"m{number}", at) for number, at in enumerate(_marks(tiles, columns, rows), 1))
    return Tiling(sheet, columns, rows, tiles, marks)


def _count(length: float, window: float) -> int:
    return max(1, math.ceil((length - OVERLAP_MM) / (window - OVERLAP_MM) - 1e-9))


def _marks(tiles: tuple[Tile, ...], columns: int, rows: int) -> Iterator[Point]:
    """Yield two places in the middle of each overlap."""
    for tile in tiles:
        box = tile.window
        for part in _AT:
            if tile.column + 1 < columns:
                yield box.right - OVERLAP_MM / 2, box.bottom + part * box.height
            if tile.row + 1 < rows:
                yield box.left + part * box.width, box.bottom + OVERLAP_MM / 2
