"""SVG: true size in mm, one group a layer, arcs as arcs, no script and nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

from ..records import Circle, Curve, OpenPath
from ..seal import BLANK, __version__, seal
from .look import PLAIN, Look
from .numbers import plain_number
from .paths import Box, Moved, Piece, Point, Stroke, halved, pieces
from .sheet import Drawings, Layer, LayerName, Sheet, Text, line_mm

MARGIN_MM = 5.0
LARGEST_ARC = 1.75  # radians, 100 degrees: a fitted quarter turn, 90 give or take, stays one arc like its likes
# Height of a capital over the font size: Helvetica's is 718 / 1000.
CAPITAL = 0.718
_REFERENCES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#x27;"})


def drawn_svg(drawings: Drawings, look: Look) -> bytes:
    """Return drawings as an SVG file, UTF-8.

    ``width`` and ``height`` are in mm and the viewBox counts in mm, y down from the page's top
    edge, so that a point (x, y) of the sheet stands at (x - left, top - y); the description says
    where the sheet's zero lies. Lengths are written to 1e-6 mm. Arcs are cut to at most 100
    degrees: nearer a half turn, the rounding of a radius would move the centre an SVG reader computes.
    """
    sheet = drawings.sheet(look)
    return sheet_svg(sheet, sheet.box.grown(MARGIN_MM), look)


def sheet_svg(
    sheet: Sheet,
    page: Box,
    look: Look = PLAIN,
    *,
    printed: bool = True,
    under: Sequence[str] = (),
    moved: Moved | None = None,
) -> bytes:
    """Return a composed drawing as an SVG file whose page is a box of the sheet.

    Parameters
    ----------
    sheet, page, look
        What is drawn, which part of the sheet the page is, and how lines look.
    printed
        Whether the layers are there on paper too; else style sheets for print leave them out (CSS 2, "print" media).
    under
        Elements that lie under all layers.
    moved
        Matrix (2, 2) and shift (2,) by which all but the page is moved: p @ matrix + shift, mm.
    """
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f"<!-- digitize {__version__} {BLANK} -->",
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(page.width)}mm" '
        f'height="{_n(page.height)}mm" viewBox="0 0 {_n(page.width)} {_n(page.height)}">',
        f"<title>{_escaped(sheet.name)}</title>",
        f"<desc>{_escaped(_description(sheet, page))}</desc>",
    ]
    if not printed:
        parts.append("<style>@media print { .digitize-guide { display: none } }</style>")
    parts += [f'<g transform="{_matrix(moved, page)}">', *under] if moved is not None else under
    more = "" if printed else ' class="digitize-guide"'
    for layer in sheet.used_layers():
        parts += _group(sheet, layer, page, line_mm(layer, look), more)
    parts += ["</g>"] if moved is not None else []
    parts.append("</svg>\n")
    return seal("\n".join(parts).encode())


def _matrix(moved: Moved, page: Box) -> str:
    """Return what moves places of the page, y down, as `moved` does those of the sheet."""
    (a, b), (c, d) = moved[0].tolist()
    left, top = page.left, page.top
    x = left * a + top * c + float(moved[1][0]) - left
    y = top - left * b - top * d - float(moved[1][1])
    return "matrix(" + " ".join(plain_number(one, 9) for one in (a, -b, -c, d, x, y)) + ")"


def _description(sheet: Sheet, page: Box) -> str:
    zero = f"Zero of the sheet at x = {_n(-page.left)}, y = {_n(page.top)} of this page (mm, y down)."
    return " ".join([zero, *sheet.notes])


def _group(sheet: Sheet, layer: Layer, page: Box, wide_mm: float, more: str) -> list[str]:
    look = f'fill="none" stroke="{layer.hex}" stroke-width="{_n(wide_mm)}"'
    hidden = "" if layer.shown else ' display="none"'
    found = [f'<g id="{layer.name}"{more}{hidden} {look} stroke-linejoin="round">']
    found += [f"<title>{layer.name}: {layer.says}</title>"]
    found += [_area(curves, layer, page) for name, curves in sheet.areas if name == layer.name]
    found += [_shape(curve, page) for name, curve in sheet.curves if name == layer.name]
    found += _lines(sheet, layer.name, page)
    found += [_text(text, layer, page) for text in sheet.texts if text.layer == layer.name]
    return [*found, "</g>"]


def _shape(curve: Stroke, page: Box) -> str:
    if isinstance(curve, Circle):
        x, y = _placed(curve.centre_mm, page)
        return f'<circle cx="{x}" cy="{y}" r="{_n(curve.radius_mm)}"/>'
    return f'<path d="{path_data(curve, page)}"/>'


def _area(curves: Sequence[Curve], layer: Layer, page: Box) -> str:
    data = "".join(path_data(curve, page) for curve in curves)
    return f'<path d="{data}" fill="{layer.hex}" fill-rule="evenodd" stroke="none"/>'


def path_data(curve: Stroke, page: Box) -> str:
    """Return the commands that draw a curve on a page."""
    path = halved(curve) if isinstance(curve, Circle) else curve
    runs = [part for piece in pieces(path) for part in piece.split(LARGEST_ARC)]
    start = _placed(runs[0].start, page)
    end = "" if isinstance(curve, OpenPath) else "Z"
    return f"M{start[0]} {start[1]}{''.join(_run(run, page) for run in runs)}{end}"


def _run(run: Piece, page: Box) -> str:
    x, y = _placed(run.end, page)
    if run.bulge == 0.0:
        return f"L{x} {y}"
    # SVG's sweep flag 1 turns from +x to +y, which with y down is clockwise to the eye.
    radius = f"{run.radius:.12g}"
    return f"A{radius} {radius} 0 0 {0 if run.bulge > 0 else 1} {x} {y}"


def _lines(sheet: Sheet, name: LayerName, page: Box) -> list[str]:
    found = []
    for layer, start, end in sheet.lines:
        if layer == name:
            (x1, y1), (x2, y2) = _placed(start, page), _placed(end, page)
            found.append(f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>')
    return found


def _text(text: Text, layer: Layer, page: Box) -> str:
    x, y = _placed(text.at, page)
    look = f'fill="{layer.hex}" stroke="none" font-family="sans-serif" font-size="{_n(text.height_mm / CAPITAL)}"'
    return f'<text x="{x}" y="{y}" {look}>{_escaped(text.words)}</text>'


def _placed(point: Point, page: Box) -> tuple[str, str]:
    return _n(point[0] - page.left), _n(page.top - point[1])


def _n(value: float) -> str:
    return plain_number(value, 6)


def _escaped(words: str) -> str:
    """Words as text of XML, as `html.escape` gives them; it would import all entities of HTML first."""
    return words.translate(_REFERENCES)
