"""The files of a plate by name: its document, its table, and its drawings as DXF, SVG and PDF."""

from __future__ import annotations

from collections.abc import Callable, Collection

from ...plate.plate import Plate, Zero
from ...plate.unrolled import Wall
from ..dxf import sheet_dxf
from ..pdf import NOT_CUT, sheet_pdf
from ..svg import sheet_svg
from .compose import corner_drawing, cut_drawing, draft_drawing
from .crosses import cross_drawing
from .frame import Drawing
from .grid import grid_drawing
from .unrolled import unrolled_drawing

FORMATS = ("dxf", "svg", "pdf")


def plate_files(plate: Plate, mark: str, formats: Collection[str] = FORMATS) -> dict[str, bytes]:
    """Return cut drawing, draft sheet and, where there is one, the corner piece."""
    ways = {kind.item.pocket.way for kind in plate.kinds if kind.item.pocket is not None}
    drawings = {"cut": cut_drawing(plate, mark), "draft": draft_drawing(plate, mark)}
    if plate.corner is not None:
        drawings["corner"] = corner_drawing(plate, mark)
    found: dict[str, bytes] = {}
    for name, drawing in drawings.items():
        found |= drawn_files(name, drawing, formats, cut=name != "draft" and not ways & NOT_CUT)
    return found


def grid_files(bed_mm: tuple[float, float], zero: Zero, formats: Collection[str] = FORMATS) -> dict[str, bytes]:
    """Return the measurement grid."""
    return drawn_files("grid", grid_drawing(bed_mm, zero), formats, cut=False)


def cross_files(bed_mm: tuple[float, float], zero: Zero, formats: Collection[str] = FORMATS) -> dict[str, bytes]:
    """Return the test sheet of a printer."""
    return drawn_files("crosses", cross_drawing(bed_mm, zero), formats, cut=False)


def unrolled_files(wall: Wall, name: str, formats: Collection[str] = FORMATS) -> dict[str, bytes]:
    """Return a round wall, flat."""
    return drawn_files("unrolled", unrolled_drawing(wall, name), formats, cut=False)


def drawn_files(name: str, drawing: Drawing, formats: Collection[str], *, cut: bool) -> dict[str, bytes]:
    """Return a drawing in several formats."""
    makers: dict[str, Callable[[], bytes]] = {
        "dxf": lambda: sheet_dxf(drawing.sheet),
        "svg": lambda: sheet_svg(drawing.sheet, drawing.page),
        "pdf": lambda: sheet_pdf(drawing.sheet, drawing.page, cut=cut),
    }
    return {f"{name}.{kind}": make() for kind, make in makers.items() if kind in formats}
