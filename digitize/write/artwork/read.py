"""Which kind of artwork a file is, by its first bytes."""

from __future__ import annotations

from ...errors import UsageError
from .art import Art
from .of_pdf import read_pdf
from .of_picture import read_picture
from .of_svg import read_svg


def read_art(name: str, data: bytes) -> Art:
    """Return the artwork that a file is.

    Raises
    ------
    UsageError
        If it is none that can be placed, saying why.
    """
    if data.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")):
        return read_picture(name, data)
    if b"%PDF-" in data[:1024]:
        return read_pdf(name, data)
    if b"<svg" in data[:65536] or b":svg" in data[:65536]:
        return read_svg(name, data)
    raise UsageError(f"{name} is no artwork that can be placed. Give an SVG, a PDF, a PNG or a JPEG file.")
