"""A result as the bytes of each kind of drawing, as a command writes them."""

from __future__ import annotations

from collections.abc import Sequence

from digitize.records import Item, Result
from digitize.write.dxf import drawn_dxf
from digitize.write.look import PLAIN, Look
from digitize.write.pdf import drawn_pdf
from digitize.write.sheet import Drawings
from digitize.write.svg import drawn_svg


def dxf_bytes(
    result: Result, *, items: Sequence[Item] | None = None, version: str = "r2010", look: Look = PLAIN
) -> bytes:
    """Return a result, or only some of its items, as a DXF file."""
    return drawn_dxf(Drawings(result, items), version=version, look=look)


def svg_bytes(result: Result, *, items: Sequence[Item] | None = None, look: Look = PLAIN) -> bytes:
    """Return a result, or only some of its items, as an SVG file."""
    return drawn_svg(Drawings(result, items), look)


def pdf_bytes(result: Result, *, items: Sequence[Item] | None = None, look: Look = PLAIN) -> bytes:
    """Return a result, or only some of its items, as a PDF."""
    return drawn_pdf(Drawings(result, items), look)
