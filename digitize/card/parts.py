"""What a printed card consists of: rings, check bars, inked areas, lines of text, and the whole layout.

The card frame is in mm, x right, y up, origin at the lower-left corner of the sheet it is printed on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..records import FloatArray, frozen_array

Kind = Literal["single", "mat"]
Paper = Literal["a4", "letter"]
Point = tuple[float, float]
Loop = tuple[Point, ...]
Box = tuple[float, float, float, float]  # x0, y0, x1, y1

OUTER_TO_SIDE = 1.08  # outer and inner side of a ring over its mid-line side
INNER_TO_SIDE = 0.92  # of a ring's inner opening to the middle of its frame
MARKER_TO_SIDE = 0.6  # the coded marker, its own black border included
MARK_MARGIN_MM = 0.5  # toner spread, another font in place of ours, paper's movement
MARKER_CELLS = 6  # 4 x 4 code cells and the black border


@dataclass(frozen=True, slots=True)
class Ring:
    """A black square frame on white with a coded marker in its middle; sides parallel to the card's axes."""

    code: int  # of the marker: which card and which ring
    centre_mm: Point  # card frame
    outer_mm: float = 54.0
    inner_mm: float = 46.0

    @property
    def side_mm(self) -> float:
        """Mid-line side, the mean of outer and inner: spread of the ink does not change it."""
        return (self.outer_mm + self.inner_mm) / 2

    @property
    def marker_mm(self) -> float:
        """Side of the coded marker."""
        return self.side_mm * MARKER_TO_SIDE

    @property
    def outer_corners_mm(self) -> FloatArray:
        """(4, 2) card frame: top-left, top-right, bottom-right, bottom-left."""
        return square_corners(self.centre_mm, self.outer_mm)

    @property
    def inner_corners_mm(self) -> FloatArray:
        """(4, 2) card frame: top-left, top-right, bottom-right, bottom-left."""
        return square_corners(self.centre_mm, self.inner_mm)


def square_corners(centre: Point, side: float) -> FloatArray:
    """(4, 2) corners of an upright square in a y-up frame: top-left, top-right, bottom-right, bottom-left."""
    x, y, h = centre[0], centre[1], side / 2
    return frozen_array([(x - h, y + h), (x + h, y + h), (x + h, y - h), (x - h, y - h)], columns=2)


@dataclass(frozen=True, slots=True)
class Bar:
    """A check bar; its length runs from end tick to end tick, centre to centre."""

    axis: Literal["x", "y"]
    start_mm: Point
    length_mm: float = 100.0

    @property
    def end_mm(self) -> Point:
        """The other end, to the right or above."""
        x, y = self.start_mm
        return (x + self.length_mm, y) if self.axis == "x" else (x, y + self.length_mm)


@dataclass(frozen=True, slots=True)
class Fill:
    """An inked area bounded by closed loops (even-odd: a loop inside another is a hole)."""

    role: Literal["ring", "code", "bar", "tick", "sign", "rule"]
    loops: tuple[Loop, ...]

    @property
    def box_mm(self) -> Box:
        """Box around all loops."""
        xs = [x for loop in self.loops for x, _ in loop]
        ys = [y for loop in self.loops for _, y in loop]
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line of text; `at_mm` is the left end of its base line, the direction is +x, or +y if `upwards`."""

    text: str
    at_mm: Point
    size_mm: float  # of the em square
    width_mm: float
    bold: bool = False
    upwards: bool = False
    of_bar: bool = False  # the label of a check bar

    @property
    def box_mm(self) -> Box:
        """Box from the deepest descender to the highest accent of the line."""
        x, y = self.at_mm
        up, down = 0.95 * self.size_mm, 0.25 * self.size_mm
        if self.upwards:
            return x - up, y, x + down, y + self.width_mm
        return x, y - down, x + self.width_mm, y + up


@dataclass(frozen=True, slots=True)
class CardLayout:
    """Everything on one printed sheet."""

    kind: Kind
    paper: Paper
    width_mm: float  # of the sheet
    height_mm: float
    rings: tuple[Ring, ...]
    bars: tuple[Bar, ...]  # X first, then Y
    fills: tuple[Fill, ...]
    texts: tuple[TextLine, ...]
    card_box_mm: Box  # what remains after cutting out: a single's cut line, a mat's whole sheet
    open_box_mm: Box | None = None  # a mat's place for the item

    @property
    def codes(self) -> tuple[int, ...]:
        """Codes of the rings, in the order of the rings."""
        return tuple(ring.code for ring in self.rings)

    def ring(self, code: int) -> Ring:
        """Return the ring with that code; KeyError if this card has none."""
        for ring in self.rings:
            if ring.code == code:
                return ring
        raise KeyError(code)

    @property
    def marks_mm(self) -> FloatArray:
        """(N, 4) boxes x0, y0, x1, y1 that cover all ink on the card itself, `MARK_MARGIN_MM` included."""
        return _grown([box for box in self._ink_boxes() if lies_in(box, self.card_box_mm)])

    @property
    def sheet_marks_mm(self) -> FloatArray:
        """(N, 4) likewise for the ink beside a single's cut line; there only while the card is not cut out."""
        return _grown([box for box in self._ink_boxes() if not lies_in(box, self.card_box_mm)])

    def _ink_boxes(self) -> list[Box]:
        """Boxes of everything printed; a ring's marker is covered by its ring."""
        return [fill.box_mm for fill in self.fills if fill.role != "code"] + [text.box_mm for text in self.texts]


def lies_in(box: Box, outer: Box) -> bool:
    """Tell whether the middle of `box` lies in `outer`."""
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    return outer[0] <= x <= outer[2] and outer[1] <= y <= outer[3]


def _grown(boxes: list[Box]) -> FloatArray:
    """(N, 4) boxes grown by the margin on all sides."""
    grown = np.array(boxes, np.float64).reshape(-1, 4) + MARK_MARGIN_MM * np.array([-1.0, -1.0, 1.0, 1.0])
    return frozen_array(grown, columns=4)
