"""PDF: a page of the drawing's own size at 1:1, layers as optional content."""

from __future__ import annotations

import io
from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from ..errors import WriteError
from ..records import Circle, Item, OpenPath, Result
from ..seal import BLANK, __version__, seal
from .paths import Box, Piece, Point, Stroke, bezier_angle, pieces
from .sheet import Layer, Sheet, Text, compose

if TYPE_CHECKING:
    from pikepdf import Pdf

POINTS_PER_MM = 72 / 25.4  # ISO 32000: a user-space unit is 1/72 inch
MARGIN_MM = 10.0
LARGEST_MM = 14400 / POINTS_PER_MM  # what common readers accept (ISO 32000-1, annex C)
LARGEST_BEZIER_MM = 1e-4
# Layers that are no artwork, after ISO 19593-1; see `pdf_bytes`.
_STEPS = {
    "POCKET": {"/GTS_ProcStepsGroup": "Structural", "/GTS_ProcStepsType": "Cutting"},
    "NOTE": {"/GTS_ProcStepsGroup": "Legend"},
}
_NOT_CUT = {"print3d", "former"}  # ways for which POCKET is no path to cut
CAPITAL = 0.718  # height of a Helvetica capital over the font size


def pdf_bytes(result: Result, *, items: Sequence[Item] | None = None) -> bytes:
    """Return the result as a PDF of one page, to print or to cut at 100 %.

    The page is the drawing with a margin of 10 mm. Arcs become cubic Bézier curves within 1e-4 mm.
    Text is set in Helvetica, which every reader has, in the Western European letters; others
    become ``?``.

    The layers that are no artwork say so after ISO 19593-1 (processing steps), as far as its key names stand in open
    sources, the PDF Association's Arlington PDF model (GTS_ProcStepsGroup) and CIP4's XJDF specification (OCGControl):
    POCKET is Structural, Cutting, where it is a path to cut; NOTE is Legend. The standard itself was not at hand.

    Raises
    ------
    WriteError
        If the page would be larger than 5080 mm, the most that readers accept.
    """
    import pikepdf

    sheet = compose(result, items)
    formed = {item.pocket.way for item in items or result.items if item.pocket is not None} & _NOT_CUT
    page = sheet.box.grown(MARGIN_MM)
    if max(page.width, page.height) > LARGEST_MM:
        raise WriteError(
            f"a PDF page holds at most {LARGEST_MM:.0f} mm, the drawing has {max(page.width, page.height):.0f} mm: "
            "write one file an item with --separate"
        )
    stream = io.BytesIO()
    with pikepdf.new() as pdf:
        _fill(pdf, sheet, page, cut=not formed)
        pdf.docinfo["/Title"] = pikepdf.String(sheet.name)
        pdf.docinfo["/Producer"] = pikepdf.String(f"digitize {__version__}")
        pdf.docinfo["/Keywords"] = pikepdf.String(BLANK)
        pdf.save(
            stream,
            deterministic_id=True,
            min_version="1.6",  # optional content came with 1.5, PrintScaling with 1.6
            object_stream_mode=pikepdf.ObjectStreamMode.disable,  # the mark must stand uncompressed
        )
    return seal(stream.getvalue())


def _fill(pdf: Pdf, sheet: Sheet, page: Box, *, cut: bool) -> None:
    from pikepdf import Array, Dictionary, Name

    layers = sheet.used_layers()
    groups = [pdf.make_indirect(Dictionary(Type=Name.OCG, Name=layer.name)) for layer in layers]
    for layer, group in zip(layers, groups, strict=True):
        if layer.name in _STEPS and (cut or layer.name != "POCKET"):
            names = {key: Name(f"/{value}") for key, value in _STEPS[layer.name].items()}
            group.GTS_Metadata = Dictionary(names)
    pdf.Root.OCProperties = Dictionary(
        OCGs=Array(groups), D=Dictionary(Name="Layers", Order=Array(groups), ON=Array(groups))
    )
    # ISO 32000, viewer preferences: the print dialogue then starts without scaling.
    pdf.Root.ViewerPreferences = Dictionary(PrintScaling=Name("/None"))
    font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica, Encoding=Name.WinAnsiEncoding)
    properties = Dictionary({f"/{layer.name}": group for layer, group in zip(layers, groups, strict=True)})
    pdf.add_blank_page(page_size=(72, 72))
    pdf.pages[0].MediaBox = Array([0, 0, _points(page.width), _points(page.height)])
    pdf.pages[0].Resources = Dictionary(Font=Dictionary(F1=pdf.make_indirect(font)), Properties=properties)
    pdf.pages[0].Contents = pdf.make_stream(_content(sheet, layers, page))


def _points(mm: float) -> Decimal:
    return round(Decimal(mm * POINTS_PER_MM), 6)


def _content(sheet: Sheet, layers: Sequence[Layer], page: Box) -> bytes:
    """Return the drawing's operators; the first one makes a unit a millimetre of the sheet."""
    shift = (-page.left * POINTS_PER_MM, -page.bottom * POINTS_PER_MM)
    lines = [f"{POINTS_PER_MM:.10f} 0 0 {POINTS_PER_MM:.10f} {shift[0]:.6f} {shift[1]:.6f} cm 1 J 1 j"]
    for layer in layers:
        lines.append(f"/OC /{layer.name} BDC {_colour(layer)} {layer.line_mm} w")
        lines += [_shape(curve) for name, curve in sheet.curves if name == layer.name]
        lines += [f"{_at(a)} m {_at(b)} l S" for name, a, b in sheet.lines if name == layer.name]
        lines += [_text(text) for text in sheet.texts if text.layer == layer.name]
        lines.append("EMC")
    return "\n".join(lines).encode("cp1252", "replace")


def _colour(layer: Layer) -> str:
    shares = " ".join(f"{value / 255:.4f}" for value in layer.rgb)
    return f"{shares} RG {shares} rg"


def _shape(curve: Stroke) -> str:
    if isinstance(curve, Circle):
        (x, y), r = curve.centre_mm, curve.radius_mm
        runs = [Piece((x + r, y), (x - r, y), 1.0), Piece((x - r, y), (x + r, y), 1.0)]
    else:
        runs = list(pieces(curve))
    end = "S" if isinstance(curve, OpenPath) else "h S"
    return " ".join([f"{_at(runs[0].start)} m", *(_run(run) for run in runs), end])


def _run(run: Piece) -> str:
    if run.bulge == 0.0:
        return f"{_at(run.end)} l"
    parts = run.split(bezier_angle(run.radius, within_mm=LARGEST_BEZIER_MM))
    return " ".join(
        f"{_at(first)} {_at(second)} {_at(part.end)} c" for part in parts for first, second in [part.bezier()]
    )


def _text(text: Text) -> str:
    words = text.words.replace("\\", "\\\\").replace("(", "\\(").replace(")", "\\)")
    return f"BT /F1 {text.height_mm / CAPITAL:.4f} Tf {_at(text.at)} Td ({words}) Tj ET"


def _at(point: Point) -> str:
    return f"{round(point[0], 6) + 0.0:.6f} {round(point[1], 6) + 0.0:.6f}"
