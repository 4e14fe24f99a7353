"""PDF artwork: its page as it is, as a form."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .art import UNIT, unreadable

if TYPE_CHECKING:
    from pikepdf import Object, Page, Pdf


@dataclass(frozen=True, slots=True)
class PdfArt:
    """A PDF file of one page; its size is that of its trim box."""

    name: str
    data: bytes
    size_mm: tuple[float, float]

    @property
    def proportions(self) -> tuple[float, float]:
        """Width and height."""
        return self.size_mm

    @property
    def formats(self) -> tuple[str, ...]:
        """Drawings that can hold it as it is."""
        return ("pdf",)

    def symbol(self, key: str) -> str:
        """Refuse: a PDF would have to be drawn anew."""
        raise unreadable(self.name, "an SVG cannot hold a PDF as it is", "Take the template's PDF.")

    def pdf_object(self, pdf: Pdf) -> tuple[Object, tuple[float, float, float, float, float, float]]:
        """Return its page as a form, and the matrix that brings the trim box to the unit square."""
        import pikepdf

        with pikepdf.open(io.BytesIO(self.data)) as source:
            form = pdf.copy_foreign(source.pages[0].as_form_xobject())
        left, bottom, right, top = _box(form)
        width, height = right - left, top - bottom
        return form, (1 / width, 0.0, 0.0, 1 / height, -left / width, -bottom / height)


def read_pdf(name: str, data: bytes) -> PdfArt:
    """Return the artwork of a PDF file.

    Raises
    ------
    UsageError
        If it cannot be read, is locked, or has several pages.
    """
    import pikepdf

    try:
        with pikepdf.open(io.BytesIO(data)) as pdf:
            if len(pdf.pages) != 1:
                raise unreadable(name, f"it has {len(pdf.pages)} pages", "Give one page.")
            if _hides_layers(pdf):
                raise unreadable(name, "it has hidden layers, which would show", "Save it without them.")
            size = _size(pdf.pages[0])
    except pikepdf.PasswordError as error:
        raise unreadable(name, "it is locked with a password", "Save it without.") from error
    except pikepdf.PdfError as error:
        raise unreadable(name, f"the PDF cannot be read ({error})", "Save it again.") from error
    if not all(0 < side < 1e5 for side in size):
        raise unreadable(name, "its page has no size", "Save it again.")
    return PdfArt(name, data, size)


def _hides_layers(pdf: Pdf) -> bool:
    """Tell whether layers are off (ISO 32000-1, 8.11.4.3): which they are stands in the file, not in its page."""
    if "/OCProperties" not in pdf.Root or "/D" not in pdf.Root.OCProperties:
        return False
    shown = pdf.Root.OCProperties.D
    return ("/OFF" in shown and len(shown.OFF) > 0) or shown.get("/BaseState") == "/OFF"


def _size(page: Page) -> tuple[float, float]:
    left, bottom, right, top = _box(page.as_form_xobject())
    return (right - left) * UNIT.point, (top - bottom) * UNIT.point


def _box(form: Object) -> tuple[float, float, float, float]:
    """Return what a form covers: its box after its matrix, which holds the page's turn and unit."""
    x0, y0, x1, y1 = (float(value) for value in form.BBox)
    a, b, c, d, e, f = (float(value) for value in form.get("/Matrix", [1, 0, 0, 1, 0, 0]))
    xs, ys = zip(*((a * x + c * y + e, b * x + d * y + f) for x in (x0, x1) for y in (y0, y1)), strict=True)
    return min(xs), min(ys), max(xs), max(ys)
