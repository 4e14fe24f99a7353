"""A card as PDF: one page of exactly the paper's size, vector, at true size, the same bytes each time."""

from __future__ import annotations

from io import BytesIO

from ...card.parts import CardLayout, Fill, TextLine
from ...seal import BLANK, seal
from ..numbers import plain_number

_POINTS_PER_MM = 72 / 25.4  # ISO 32000-1, 8.3.2.3: a unit of default user space is 1/72 inch


def card_pdf(layout: CardLayout) -> bytes:
    """Write a card as a one-page PDF.

    The content is drawn in millimetres under one scaling matrix, so that the numbers in the file are the
    card's own. Text uses the standard fonts Helvetica and Helvetica-Bold (ISO 32000-1, 9.6.2.2).

    Returns
    -------
    bytes
        The file; no date and no random identifier in it.
    """
    import pikepdf

    pdf = pikepdf.new()
    size = (layout.width_mm * _POINTS_PER_MM, layout.height_mm * _POINTS_PER_MM)
    pdf.add_blank_page(page_size=size)
    page = pdf.pages[0]
    box = pikepdf.Array([0, 0, _points(size[0]), _points(size[1])])
    for name in ("/MediaBox", "/CropBox", "/TrimBox"):
        page.obj[name] = box
    page.obj["/Resources"] = pikepdf.Dictionary(
        Font=pikepdf.Dictionary(R=_font("/Helvetica"), B=_font("/Helvetica-Bold"))
    )
    page.obj["/Contents"] = pdf.make_stream(_content(layout))
    pdf.Root["/ViewerPreferences"] = pikepdf.Dictionary(PrintScaling=pikepdf.Name("/None"))  # 12.2: print unscaled
    pdf.Root["/Lang"] = pikepdf.String("en")
    pdf.docinfo["/Title"] = pikepdf.String(_title(layout))
    pdf.docinfo["/Mark"] = pikepdf.String(BLANK)
    out = BytesIO()
    pdf.save(out, deterministic_id=True, compress_streams=True, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return seal(out.getvalue())


def _title(layout: CardLayout) -> str:
    """Words for the reader's title bar."""
    name = "Reference ring" if layout.kind == "single" else "Reference mat"
    return f"{name}, mid-line side {layout.rings[0].side_mm:g} mm, {layout.paper}: print at 100 %"


def _font(name: str) -> object:
    """Describe a standard font with the Latin characters."""
    import pikepdf

    return pikepdf.Dictionary(
        Type=pikepdf.Name("/Font"),
        Subtype=pikepdf.Name("/Type1"),
        BaseFont=pikepdf.Name(name),
        Encoding=pikepdf.Name("/WinAnsiEncoding"),
    )


def _points(value: float) -> object:
    """Make a number of a page box with enough digits for 0.1 um."""
    import pikepdf

    return pikepdf.Object.parse(plain_number(value, 4).encode())


def _content(layout: CardLayout) -> bytes:
    """Page content in mm: areas, then text."""
    parts = ["q", f"{plain_number(_POINTS_PER_MM, 10)} 0 0 {plain_number(_POINTS_PER_MM, 10)} 0 0 cm", "0 g"]
    parts += [_area(fill) for fill in layout.fills]
    parts += [_words(text) for text in layout.texts]
    parts.append("Q")
    return "\n".join(parts).encode("cp1252")


def _area(fill: Fill) -> str:
    """One path with all loops, filled even-odd."""
    loops = []
    for loop in fill.loops:
        points = [f"{_number(x)} {_number(y)}" for x, y in loop]
        loops.append(f"{points[0]} m " + " ".join(f"{point} l" for point in points[1:]) + " h")
    return " ".join(loops) + " f*"


def _words(text: TextLine) -> str:
    """One line of text, stretched by nothing: the fonts' widths are the layout's."""
    turn = "0 1 -1 0" if text.upwards else "1 0 0 1"
    x, y = text.at_mm
    escaped = text.text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
    font = "B" if text.bold else "R"
    return f"BT /{font} {_number(text.size_mm)} Tf {turn} {_number(x)} {_number(y)} Tm ({escaped}) Tj ET"


def _number(value: float) -> str:
    """To 0.01 um."""
    return plain_number(value, 5)
