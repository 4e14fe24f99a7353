"""A card as DXF, for engraving or cutting one in film or metal: closed polylines in millimetres."""

from __future__ import annotations

from typing import Any

from ...card.parts import Bar, CardLayout, Fill, TextLine, lies_in
from ..dxf_steady import fixed_meta_data, sealed_bytes

_LAYERS = {
    "OUTLINE": (5, "edge of the card"),
    "PRINT": (7, "what is black: rings and codes"),
    "CHECK": (3, "100 mm bars and directions"),
    "NOTE": (8, "words and writing lines"),
}
_LAYER_OF_ROLE = {"ring": "PRINT", "code": "PRINT", "sign": "CHECK", "rule": "NOTE"}
_CAP_HEIGHT = 0.72  # of the em, for the same height of capitals as on paper


def card_dxf(layout: CardLayout) -> bytes:
    """Write a card as DXF R2010 in mm, origin at the sheet's lower-left corner.

    Rings are two closed polylines each, codes the closed outlines of their black areas, bars lines with
    ticks; the cut line of a single card is one closed polyline on OUTLINE. What a single's sheet says
    beside the card about printing on paper is left out.
    """
    with fixed_meta_data():
        import ezdxf

        document = ezdxf.new("R2010", units=4)  # type: ignore[attr-defined]
        document.header["$MEASUREMENT"] = 1
        for name, (colour, words) in _LAYERS.items():
            document.layers.add(name, color=colour).description = words
        document.styles.add("CARD", font="arial.ttf")
        _draw(document.modelspace(), layout)
        document.header["$EXTMIN"] = (0.0, 0.0, 0.0)
        document.header["$EXTMAX"] = (layout.width_mm, layout.height_mm, 0.0)
        return sealed_bytes(document)


def _draw(space: Any, layout: CardLayout) -> None:
    """Put everything into the model space."""
    x0, y0, x1, y1 = layout.card_box_mm
    _polyline(space, [(x0, y0), (x1, y0), (x1, y1), (x0, y1)], "OUTLINE")
    for fill in layout.fills:
        if lies_in(fill.box_mm, layout.card_box_mm):
            _area(space, fill)
    for bar in layout.bars:
        _bar(space, bar)
    for text in layout.texts:
        if text.of_bar or lies_in(text.box_mm, layout.card_box_mm):
            _words(space, text)


def _area(space: Any, fill: Fill) -> None:
    """Draw each loop as a closed polyline; bars are lines instead, and ticks are the cut line itself."""
    if fill.role in _LAYER_OF_ROLE:
        for loop in fill.loops:
            _polyline(space, list(loop), _LAYER_OF_ROLE[fill.role])


def _bar(space: Any, bar: Bar, *, tick_mm: float = 3.0) -> None:
    """Draw a line of the bar's length and a tick at each end, exactly the length apart."""
    (x0, y0), (x1, y1) = bar.start_mm, bar.end_mm
    across = (0.0, tick_mm) if bar.axis == "x" else (tick_mm, 0.0)
    lines = [((x0, y0), (x1, y1))] + [((x, y), (x + across[0], y + across[1])) for x, y in ((x0, y0), (x1, y1))]
    for start, end in lines:
        space.add_line(start, end, dxfattribs={"layer": "CHECK"})


def _words(space: Any, text: TextLine) -> None:
    """Put a line of text; its look depends on the program's font, its place does not."""
    attributes = {"layer": "NOTE", "style": "CARD", "rotation": 90.0 if text.upwards else 0.0}
    words = space.add_text(text.text, height=_CAP_HEIGHT * text.size_mm, dxfattribs=attributes)
    words.dxf.insert = (*text.at_mm, 0.0)


def _polyline(space: Any, points: list[tuple[float, float]], layer: str) -> None:
    """Draw a closed polyline."""
    space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
