"""The template's files: guides on layers that do not print, artwork under them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...errors import UsageError
from ...plate.artwork import Fit, art_place
from ...plate.plate import Plate, placed_curve
from ...plate.printer import Printer
from ...plate.raised import bands
from ...records import Finding
from ..artwork.art import Art
from ..artwork.place import Placed, Spot, pdf_under, svg_under
from ..dxf import sheet_dxf
from ..paths import Moved
from ..pdf import sheet_pdf
from ..sheet import Sheet
from ..svg import sheet_svg
from .compose import template_drawing
from .files import FORMATS
from .frame import bed_box
from .words import art_words, heading, printer_words, raised_words


@dataclass(frozen=True, slots=True)
class Template:
    """What was made of a template."""

    files: dict[str, bytes]
    left_out: tuple[str, ...]  # formats that cannot hold the artwork as it is
    findings: tuple[Finding, ...]


def template_files(
    plate: Plate,
    mark: str,
    *,
    only: Sequence[int],
    arts: Mapping[str, Art] | None = None,
    fit: Fit = "size",
    guides: bool = True,
    formats: Collection[str] = FORMATS,
    printer: Printer | None = None,
) -> Template:
    """Return the template of the pockets of some numbers.

    Parameters
    ----------
    plate, mark
        The plate, and what its drawings are marked with.
    only
        Numbers of pockets, from 1.
    arts
        Artwork by kind; without any, the guides alone.
    fit
        How artwork lies in a print area, see `digitize.plate.artwork.art_place`.
    guides
        Whether guides and notes are drawn at all.
    formats
        Drawings to make; those that cannot hold the artwork as it is are left out.

    printer
        Whose errors the drawing is to undo; a DXF, in which arcs stay arcs, is left out then.

    Raises
    ------
    UsageError
        If no drawing can hold the artwork, or the printer was measured on another bed or from another corner.
    """
    placed, findings = _placed(plate, only, arts or {}, fit)
    moved = None if printer is None else _undone(printer, plate)
    able = [kind for kind in formats if all(kind in one.art.formats for one in placed)]
    if moved is not None:
        able = [kind for kind in able if kind != "dxf"]
    if moved is not None and not able and not placed:
        raise UsageError("--printer is for SVG and PDF: say --format svg,pdf.")
    if not able and placed:
        names = " and ".join(dict.fromkeys(one.art.name for one in placed))
        can = sorted(set.intersection(*(set(one.art.formats) for one in placed)))
        how = f"Say --format {','.join(can)}." if can else "Give all artwork in one format, or make one at a time."
        raise UsageError(f"No drawing of {', '.join(formats)} can hold {names} as it is. {how}")
    more = [*([] if printer is None else [printer_words(printer)]), *art_words(placed, fit)]
    drawing = template_drawing(plate, mark, only=only, more=more)
    sheet, page = drawing.sheet if guides else _without_lines(drawing.sheet), drawing.page
    makers: dict[str, Callable[[], bytes]] = {
        "dxf": lambda: sheet_dxf(sheet),
        "svg": lambda: sheet_svg(
            sheet, page, printed=False, under=svg_under(placed, page) if placed else (), moved=moved
        ),
        "pdf": lambda: sheet_pdf(
            sheet,
            page,
            cut=False,
            printed=False,
            under=(lambda pdf: pdf_under(placed, pdf)) if placed else None,
            moved=moved,
        ),
    }
    name = "template" if printer is None else f"template-{printer.name}"  # beside the one that measures true
    files = {f"{name}.{kind}": makers[kind]() for kind in able}
    return Template(files, tuple(kind for kind in formats if kind not in able), findings)


def raised_files(
    plate: Plate, mark: str, only: Sequence[int], wide_mm: float, gap_mm: float, formats: Collection[str] = FORMATS
) -> dict[str, bytes]:
    """Return the raised edges of the pockets of some numbers: areas alone, which print, on the page that is the bed.

    In a DXF they are the areas' edges. What there is to say stands in the description: text would print.
    """
    x, y = plate.zero_mm
    shift = (np.eye(2), np.array([-x, -y]))
    pairs = bands(plate, only, wide_mm=wide_mm, gap_mm=gap_mm)
    edges = [tuple(placed_curve(one, shift) for one in pair) for pair in pairs]
    bed = bed_box(plate.bed_mm, plate.zero)
    words = tuple(raised_words(plate, mark, wide_mm, gap_mm))
    areas = tuple(("PRINT", pair) for pair in edges)
    sheet = Sheet(heading(plate, "Raised edge"), (), (), (), words, bed, areas)  # type: ignore[arg-type]
    lines = replace(sheet, curves=tuple(("PRINT", one) for pair in edges for one in pair), areas=())
    makers: dict[str, Callable[[], bytes]] = {
        "dxf": lambda: sheet_dxf(lines),
        "svg": lambda: sheet_svg(sheet, bed),
        "pdf": lambda: sheet_pdf(sheet, bed, cut=False),
    }
    return {f"raised.{kind}": makers[kind]() for kind in formats}


def _undone(printer: Printer, plate: Plate) -> Moved:
    if (printer.bed_mm, printer.zero) != (plate.bed_mm, plate.zero):
        name, (here, there) = printer.name, (one.replace("-", " ") for one in (plate.zero, printer.zero))
        raise UsageError(
            f"The printer {name} was measured on a bed of {printer.bed_mm[0]:g} x {printer.bed_mm[1]:g} mm from "
            f"the {there} corner, the plate lies on {plate.bed_mm[0]:g} x {plate.bed_mm[1]:g} mm "
            f"from the {here} one. Lay the plate on that bed, or measure the printer anew."
        )
    return printer.undone()


def _without_lines(sheet: Sheet) -> Sheet:
    return replace(sheet, curves=(), lines=(), texts=())


def _placed(
    plate: Plate, only: Sequence[int], arts: Mapping[str, Art], fit: Fit
) -> tuple[list[Placed], tuple[Finding, ...]]:
    found, said = [], list[Finding]()
    for kind in plate.kinds:
        spots = _spots(plate, kind.name, only)
        art = arts.get(kind.name)
        if art is None or not spots:
            continue
        if fit == "size" and art.size_mm is None:
            raise UsageError(
                f"{art.name} does not tell how large it is in mm. Save it with its density (dpi), or say --fit cover."
            )
        width, height = art.size_mm or art.proportions
        on_item, findings = art_place(kind, width, height, fit, artwork=art.name)
        said += findings
        found.append(Placed(art, on_item, spots))
    return found, tuple(said)


def _spots(plate: Plate, kind: str, only: Sequence[int]) -> tuple[Spot, ...]:
    x, y = plate.zero_mm
    return tuple(
        (place.x_mm - x, place.y_mm - y, place.turn_deg)
        for number, place in enumerate(plate.places, 1)
        if place.kind == kind and number in only
    )
