"""PDF: a page of the drawing's own size at 1:1, layers as optional content."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ..errors import WriteError
from ..records import Circle, Curve, OpenPath
from ..seal import BLANK, __version__, seal
from .look import PLAIN, Look
from .numbers import plain_number
from .paths import Box, Moved, Piece, Point, Stroke, halved, pieces
from .pdf_file import Indirect, Name, pdf_file
from .pdf_text import TextSet
from .sheet import Drawings, Layer, LayerName, Sheet, line_mm

if TYPE_CHECKING:
    from pikepdf import Dictionary, Pdf

POINTS_PER_MM = 72 / 25.4  # ISO 32000: a user-space unit is 1/72 inch
MARGIN_MM = 10.0
LARGEST_MM = 14400 / POINTS_PER_MM  # what common readers accept (ISO 32000-1, annex C)
LARGEST_BEZIER_MM = 1e-4  # that a curve may leave its arc by
# Layers that are no artwork, after ISO 19593-1; see `drawn_pdf`.
_STEPS = {
    "POCKET": {"/GTS_ProcStepsGroup": "Structural", "/GTS_ProcStepsType": "Cutting"},
    "NOTE": {"/GTS_ProcStepsGroup": "Legend"},
    "TEXT": {"/GTS_ProcStepsGroup": "Legend"},
}
_ZERO, _LESS = "0.000000", "-0.000000"  # the second is written as the first
DASH_MM = "[2 1.2] 0"  # lines and gaps of a dashed layer
NOT_CUT = {"print3d", "former"}  # ways for which POCKET is no path to cut


def drawn_pdf(drawings: Drawings, look: Look) -> bytes:
    """Return drawings as a PDF of one page, to print or to cut at 100 %.

    The page is the drawing with a margin of 10 mm. Arcs become cubic Bézier curves within 1e-4 mm.
    Text is set in fonts that are embedded, of each the glyphs used (`font.FONTS`); what they lack is
    spelled as its code. It is there whatever the look says: a page is for people to read.

    The layers that are no artwork say so after ISO 19593-1 (processing steps), as far as its key names stand in open
    sources, the PDF Association's Arlington PDF model (GTS_ProcStepsGroup) and CIP4's XJDF specification (OCGControl):
    POCKET is Structural, Cutting, where it is a path to cut; NOTE and TEXT are Legend. The standard itself was
    not at hand.

    Raises
    ------
    WriteError
        If the page would be larger than 5080 mm, the most that readers accept.
    """
    sheet = drawings.sheet(replace(look, notes="on"))
    items = drawings.result.items if drawings.items is None else drawings.items
    formed = {item.pocket.way for item in items if item.pocket is not None} & NOT_CUT
    return sheet_pdf(sheet, sheet.box.grown(MARGIN_MM), look, cut=not formed)


Under = Callable[["Pdf"], tuple[bytes, "Dictionary"]]


def sheet_pdf(
    sheet: Sheet,
    page: Box,
    look: Look = PLAIN,
    *,
    cut: bool,
    printed: bool = True,
    under: Under | None = None,
    moved: Moved | None = None,
) -> bytes:
    """Return a composed drawing as a PDF of one page, which is a box of the sheet.

    Parameters
    ----------
    sheet, page, look
        What is drawn, which part of the sheet the page is, and how lines look.
    cut
        Whether POCKET is a path to cut.
    printed
        Whether the layers are there on paper too; else their usage dictionaries turn them off for the event Print (ISO
        32000-1, 8.11.4).
    under
        What makes, in a file, the operators of what lies under all layers (in a frame of the sheet's mm) and the
        XObjects that they name.
    moved
        Matrix (2, 2) and shift (2,) by which all but the page is moved: p @ matrix + shift, mm.

    Raises
    ------
    WriteError
        If the page is larger than 5080 mm, the most that readers accept.
    """
    return pages_pdf(sheet.name, [Page(sheet, page)], look, cut=cut, printed=printed, under=under, moved=moved)


@dataclass(frozen=True, slots=True)
class Page:
    """A page: a box of a composed drawing."""

    sheet: Sheet
    box: Box
    window: Box | None = None  # beyond it nothing is drawn of the items
    dashed: frozenset[LayerName] = frozenset()


def pages_pdf(
    name: str,
    pages: Sequence[Page],
    look: Look = PLAIN,
    *,
    cut: bool,
    printed: bool = True,
    under: Under | None = None,
    moved: Moved | None = None,
) -> bytes:
    """Return several pages as one PDF, their layers shared; as `sheet_pdf`.

    Raises
    ------
    WriteError
        If a page is larger than 5080 mm, the most that readers accept.
    """
    largest = max(max(page.box.width, page.box.height) for page in pages)
    if largest > LARGEST_MM:
        raise WriteError(
            f"a PDF page holds at most {LARGEST_MM:.0f} mm, the drawing has {largest:.0f} mm: "
            "write one file an item with --separate"
        )
    text = TextSet()
    contents = [_content(page, look, text, moved) for page in pages]  # before the fonts, which hold what was set
    root = _root(pages, contents, text, cut=cut, printed=printed)
    data = pdf_file(root, {"/Title": name, "/Producer": f"digitize {__version__}", "/Keywords": BLANK})
    if under is not None:
        data = _with_under(data, under, lambda drawn: _content(pages[0], look, text, moved, drawn))
    return seal(data)


def _with_under(data: bytes, under: Under, content: Callable[[bytes], bytes]) -> bytes:
    """Return the file of one page with something under all layers."""
    import pikepdf

    stream = io.BytesIO()
    with pikepdf.open(io.BytesIO(data)) as pdf:
        drawn, objects = under(pdf)
        pdf.pages[0].Contents = pdf.make_stream(content(drawn))
        pdf.pages[0].Resources.XObject = objects
        # the mark must stand uncompressed
        pdf.save(stream, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return stream.getvalue()


def _root(pages: Sequence[Page], contents: Sequence[bytes], text: TextSet, *, cut: bool, printed: bool) -> Indirect:
    """Return the catalogue with layers and pages (ISO 32000-1, 7.7 and 8.11)."""
    layers = list(dict.fromkeys(layer for page in pages for layer in page.sheet.used_layers()))
    groups = {layer.name: _group(layer, cut=cut, printed=printed) for layer in layers}
    every = list(groups.values())
    shown, hidden = ([groups[layer.name] for layer in layers if layer.shown is on] for on in (True, False))
    usual: dict[str, Any] = {"/Name": "Layers", "/Order": every, "/ON": shown, **({"/OFF": hidden} if hidden else {})}
    if not printed:  # the usage of each layer is applied on printing
        usual["/AS"] = [{"/Event": Name("/Print"), "/OCGs": every, "/Category": [Name("/Print")]}]
    fonts = {"/Font": text.resources(), "/Properties": {f"/{name}": group for name, group in groups.items()}}
    shared = fonts if len(pages) == 1 else Indirect(fonts)
    tree = Indirect({"/Type": Name("/Pages"), "/Count": len(pages)})
    tree.entries["/Kids"] = [
        Indirect(
            {
                "/Type": Name("/Page"),
                "/Parent": tree,
                "/MediaBox": [0, 0, _points(page.box.width), _points(page.box.height)],
                "/Resources": shared,
                "/Contents": Indirect({}, content),
            }
        )
        for page, content in zip(pages, contents, strict=True)
    ]
    # viewer preferences (12.2): the print dialogue then starts without scaling
    scaling = {"/PrintScaling": Name("/None")}
    layered = {"/OCGs": every, "/D": usual}
    return Indirect(
        {"/Type": Name("/Catalog"), "/Pages": tree, "/OCProperties": layered, "/ViewerPreferences": scaling}
    )


def _group(layer: Layer, *, cut: bool, printed: bool) -> Indirect:
    """Return a layer; one that is shown and not printed says so in its usage."""
    group = Indirect({"/Type": Name("/OCG"), "/Name": layer.name})
    if layer.name in _STEPS and (cut or layer.name != "POCKET"):
        group.entries["/GTS_Metadata"] = {key: Name(f"/{value}") for key, value in _STEPS[layer.name].items()}
    if not printed:
        group.entries["/Usage"] = {
            "/Print": {"/PrintState": Name("/OFF")},
            "/View": {"/ViewState": Name("/ON")},
            "/Export": {"/ExportState": Name("/ON")},
        }
    return group


def _points(mm: float) -> Decimal:
    return round(Decimal(mm * POINTS_PER_MM), 6)


def _content(page: Page, look: Look, text: TextSet, moved: Moved | None, under: bytes = b"") -> bytes:
    """Return the drawing's operators; the first one makes a unit a millimetre of the sheet."""
    sheet, box = page.sheet, page.box
    shift = (-box.left * POINTS_PER_MM, -box.bottom * POINTS_PER_MM)
    lines = [f"{POINTS_PER_MM:.10f} 0 0 {POINTS_PER_MM:.10f} {shift[0]:.6f} {shift[1]:.6f} cm 1 J 1 j"]
    if moved is not None:
        lines.append(" ".join(plain_number(one, 9) for one in (*moved[0].ravel(), *moved[1])) + " cm")
    if under:
        lines.append(f"q {under.decode('ascii')} Q")
    for layer in sheet.used_layers():
        lines.append(f"/OC /{layer.name} BDC {_colour(layer)} {line_mm(layer, look)} w")
        curves = [_area(curves) for name, curves in sheet.areas if name == layer.name]
        curves += [_shape(curve) for name, curve in sheet.curves if name == layer.name]
        lines += _within(page, layer.name, curves)
        lines += [f"{_at(a)} m {_at(b)} l S" for name, a, b in sheet.lines if name == layer.name]
        lines += [text.operators(t.words, _at(t.at), t.height_mm) for t in sheet.texts if t.layer == layer.name]
        lines.append("EMC")
    return "\n".join(lines).encode("ascii")


def _within(page: Page, layer: LayerName, curves: list[str]) -> list[str]:
    """Return the operators of curves, dashed or cut off at the page's window where it says so."""
    if not curves or (page.window is None and layer not in page.dashed):
        return curves
    window, dashes = page.window, f"{DASH_MM} d" if layer in page.dashed else ""
    clip = (
        "" if window is None else f"{_at((window.left, window.bottom))} {window.width:.6f} {window.height:.6f} re W n"
    )
    return [f"q {clip} {dashes}".rstrip(), *curves, "Q"]


def _colour(layer: Layer) -> str:
    shares = " ".join(f"{value / 255:.4f}" for value in layer.rgb)
    return f"{shares} RG {shares} rg"


def _shape(curve: Stroke) -> str:
    return _drawn(curve) + (" S" if isinstance(curve, OpenPath) else " h S")


def _area(curves: Sequence[Curve]) -> str:
    return f"{closed_path(curves)} f*"


def closed_path(curves: Sequence[Curve]) -> str:
    """Return the operators that make closed curves the current path."""
    return " ".join(f"{_drawn(curve)} h" for curve in curves)


def _drawn(curve: Stroke) -> str:
    runs = list(pieces(halved(curve) if isinstance(curve, Circle) else curve))
    return " ".join([f"{_at(runs[0].start)} m", *(_run(run) for run in runs)])


def _run(run: Piece) -> str:
    if run.bulge == 0.0:
        return f"{_at(run.end)} l"
    cubics = run.beziers(within_mm=LARGEST_BEZIER_MM)
    return " ".join(f"{_at(first)} {_at(second)} {_at(end)} c" for first, second, end in cubics)


def _at(point: Point) -> str:
    x, y = f"{point[0]:.6f}", f"{point[1]:.6f}"
    return f"{_ZERO if x == _LESS else x} {_ZERO if y == _LESS else y}"
