"""A card as SVG: width, height and viewBox in millimetres, y turned down."""

from __future__ import annotations

from xml.sax.saxutils import escape

from ...card.parts import CardLayout, Fill, TextLine
from ...seal import BLANK, seal
from ..numbers import plain_number


def card_svg(layout: CardLayout) -> bytes:
    """Write a card as an SVG of the paper's size; 1 user unit is 1 mm.

    Each inked area is one path with the role as its class; text has its width fixed, so that another
    sans-serif in place of Helvetica stays within its marks.
    """
    w, h = _number(layout.width_mm), _number(layout.height_mm)
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}">',
        f"<metadata>{BLANK}</metadata>",
        f"<title>Reference {layout.kind}, {layout.paper}: print at 100 %</title>",
        f'<rect class="paper" width="{w}" height="{h}" fill="#ffffff"/>',
        '<g fill="#000000" fill-rule="evenodd">',
        *(_area(fill, layout.height_mm) for fill in layout.fills),
        "</g>",
        '<g fill="#000000" font-family="Helvetica, Arial, \'Liberation Sans\', sans-serif">',
        *(_words(text, layout.height_mm) for text in layout.texts),
        "</g>",
        "</svg>",
    ]
    return seal(("\n".join(parts) + "\n").encode())


def _area(fill: Fill, height: float) -> str:
    """One path with all loops."""
    loops = []
    for loop in fill.loops:
        points = [f"{_number(x)},{_number(height - y)}" for x, y in loop]
        loops.append(f"M{points[0]} L" + " ".join(points[1:]) + " Z")
    return f'<path class="{fill.role}" d="{" ".join(loops)}"/>'


def _words(text: TextLine, height: float) -> str:
    """One line of text of a fixed width."""
    x, y = _number(text.at_mm[0]), _number(height - text.at_mm[1])
    turn = f' transform="rotate(-90 {x} {y})"' if text.upwards else ""
    bold = ' font-weight="bold"' if text.bold else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{_number(text.size_mm)}" textLength="{_number(text.width_mm)}" '
        f'lengthAdjust="spacingAndGlyphs"{bold}{turn}>{escape(text.text)}</text>'
    )


def _number(value: float) -> str:
    """To 0.01 um."""
    return plain_number(value, 5)
