"""The reference cards: where their rings lie, which codes they carry, and which card a set of codes belongs to.

Geometry only: nothing is drawn or read here. All places are in the card frame (see `card_parts`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from ..errors import ScaleError, UsageError
from .page import mat_layout, single_layout
from .parts import INNER_TO_SIDE, OUTER_TO_SIDE, Bar, CardLayout, Fill, Kind, Paper, Point, Ring, TextLine

__all__ = [
    "OWN_SIZE_CODE",
    "PAPERS_MM",
    "Bar",
    "CardLayout",
    "Fill",
    "Paper",
    "Reading",
    "Ring",
    "TextLine",
    "card_layout",
    "layout_for_codes",
    "take_readings",
]

# ISO 216:2007 A4; US Letter is 8.5 x 11 inch of 25.4 mm.
PAPERS_MM: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
SINGLE_SIDE_MM = 50.0  # of the middle of its frame, where no other size is asked for
MAT_SIDE_MM = 30.0  # ten of them leave the middle of an A4 or Letter sheet free
OWN_SIDES_MM = (30.0, 70.0)  # what a single of another size may have: its sheet holds no more
SINGLE_CODES: dict[Paper, int] = {"a4": 4, "letter": 5}
OWN_SIZE_CODE = 2  # a single of another size: the code cannot tell its side
MAT_CODES: dict[Paper, tuple[int, ...]] = {
    "a4": (0, 6, 18, 19, 20, 21, 27, 32, 33, 39),
    "letter": (13, 23, 24, 25, 29, 31, 35, 36, 43, 46),
}
_MAT_COLUMNS_MM: dict[Paper, tuple[float, float, float]] = {
    "a4": (27.0, 105.0, 183.0),
    "letter": (26.95, 107.95, 188.95),
}
_MAT_ROWS_MM: dict[Paper, tuple[float, ...]] = {
    "a4": (270.0, 189.0, 108.0, 27.0),
    "letter": (252.2, 177.2, 102.2, 27.2),
}
_READING_BAND = 0.09  # a reading further than this from a nominal length is no reading of it


def card_layout(kind: Kind, paper: Paper, *, square_mm: float | None = None) -> CardLayout:
    """Lay out a card.

    Parameters
    ----------
    kind
        ``"single"``: one ring to cut out; ``"mat"``: ten rings round an open middle.
    paper
        ``"a4"`` or ``"letter"``, upright.
    square_mm
        Mid-line side of a ring; None takes the card's own: 50 for a single, 30 for a mat. A single of
        another side carries a code of its own, since the code cannot tell the side.

    Raises
    ------
    UsageError
        If kind, paper or side is not one that exists.
    """
    if paper not in PAPERS_MM:
        raise UsageError(f"no paper {paper!r}: choose one of {', '.join(PAPERS_MM)}")
    if kind == "single":
        return _single(paper, SINGLE_SIDE_MM if square_mm is None else float(square_mm))
    if kind != "mat":
        raise UsageError(f"no card {kind!r}: choose single or mat")
    if square_mm is not None and square_mm != MAT_SIDE_MM:
        raise UsageError(
            f"the rings of a mat have a mid-line side of {MAT_SIDE_MM:g} mm, not {square_mm:g}: "
            "leave the side out, or make a single"
        )
    return _mat(paper)


def layout_for_codes(codes: Iterable[int], *, square_mm: float | None = None) -> CardLayout:
    """Return the card that a set of codes belongs to.

    Parameters
    ----------
    codes
        Codes of the rings seen, in any order; one is enough.
    square_mm
        Mid-line side, needed only for a single of a size of its own.

    Raises
    ------
    ScaleError
        If no card carries the codes, if they are from several cards, or if the side is not known.
    """
    seen = sorted(set(codes))
    cards = sorted({_CARD_OF_CODE[code] for code in seen if code in _CARD_OF_CODE})
    if not cards:
        raise ScaleError(
            f"codes seen: {seen or 'none'}; no reference card carries one of them: lay a card beside the item"
        )
    if len(cards) > 1:
        names = ", ".join(f"{kind} {paper}".strip() for kind, paper in cards)
        raise ScaleError(f"rings of several cards seen ({names}): leave one card in the picture")
    kind, paper = cards[0]
    if kind == "single" and not paper:
        if square_mm is None:
            raise ScaleError("the ring seen was made with a side its code cannot tell: say the side with --square")
        return _single("a4", float(square_mm), code=OWN_SIZE_CODE)
    if kind == "single":
        return _single(paper, SINGLE_SIDE_MM)  # type: ignore[arg-type]
    return _mat(paper)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Reading:
    """What calipers said of one direction, and of which length of the card they said it."""

    length_mm: float
    nominal_mm: float
    of: Literal["ring", "bar"]  # the outer side of a ring, or a check bar

    @property
    def scale(self) -> float:
        """Measured over nominal; of a ring it still holds the spread of the ink, of a bar it does not."""
        return self.length_mm / self.nominal_mm


def take_readings(layout: CardLayout, measured_mm: tuple[float, float]) -> tuple[Reading, Reading]:
    """Tell which length of the card each reading (X, Y) belongs to: the one it is within 9 % of.

    A bar is read from an edge of one end tick to the same edge of the other, so that spread of the ink
    cancels: its scale is that of the ring's mid-line. A ring is read across its outer edges, ink spread
    included: it is the length of what the picture shows between the same outer edges, and the mid-line
    side follows as reading x (mid-line / outer side, both as seen in the picture).

    Raises
    ------
    UsageError
        If a reading belongs to neither.
    """
    x, y = measured_mm
    return _reading(layout, "X", x), _reading(layout, "Y", y)


def _reading(layout: CardLayout, axis: str, length: float) -> Reading:
    """Match one reading with a length of the card."""
    ring, bar = layout.rings[0].outer_mm, layout.bars[0].length_mm
    if abs(length / ring - 1) <= _READING_BAND:
        return Reading(length, ring, "ring")
    if abs(length / bar - 1) <= _READING_BAND:
        return Reading(length, bar, "bar")
    raise UsageError(
        f"--measured says {length:g} mm in {axis}: on this card the ring is drawn {ring:g} mm from outer edge to outer "
        f"edge and the check bar {bar:g} mm long, and no printer is {_READING_BAND:.0%} off. Measure one of the two "
        "again, or print the card again at 100 %."
    )


def _ring(code: int, centre: Point, side: float) -> Ring:
    """Ring of a mid-line side; rounded, so that 50 gives 54 and 46 and not a binary neighbour."""
    return Ring(code, centre, outer_mm=round(side * OUTER_TO_SIDE, 6), inner_mm=round(side * INNER_TO_SIDE, 6))


def _single(paper: Paper, side: float, *, code: int | None = None) -> CardLayout:
    """Lay out a single; its code follows from its side unless given."""
    low, high = OWN_SIDES_MM
    if not low <= side <= high:
        raise UsageError(f"a ring's mid-line side of {side:g} mm does not go on the sheet: choose {low:g} to {high:g}")
    if code is None:
        code = SINGLE_CODES[paper] if side == SINGLE_SIDE_MM else OWN_SIZE_CODE
    return single_layout(paper, PAPERS_MM[paper], _ring(code, (0.0, 0.0), side))


def _mat(paper: Paper) -> CardLayout:
    """Lay out a mat: four rings down each side, one between them above and below."""
    left, middle, right = _MAT_COLUMNS_MM[paper]
    rows = _MAT_ROWS_MM[paper]
    top = [(left, rows[0]), (middle, rows[0]), (right, rows[0])]
    between = [(x, y) for y in rows[1:-1] for x in (left, right)]
    bottom = [(left, rows[-1]), (middle, rows[-1]), (right, rows[-1])]
    centres = top + between + bottom
    rings = tuple(_ring(code, c, MAT_SIDE_MM) for code, c in zip(MAT_CODES[paper], centres, strict=True))
    return mat_layout(paper, PAPERS_MM[paper], rings)


_CARD_OF_CODE: dict[int, tuple[str, str]] = {
    **{code: ("single", paper) for paper, code in SINGLE_CODES.items()},
    OWN_SIZE_CODE: ("single", ""),
    **{code: ("mat", paper) for paper, codes in MAT_CODES.items() for code in codes},
}
