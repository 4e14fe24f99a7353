"""The commands that begin with outline documents: check, lot, plate, template."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import UsageError
from ..options import Said, spread
from ..plate.asked import PlateAsked, TemplateAsked
from ..plate.unrolled import Wall
from ..run import Output
from ..settings import DRAWN, Reading, Settings
from ..trust.asked import Readings
from ..write.solid.asked import Solid
from .say import say, sentences, usual
from .shared import Drawings, Force, ForceOne, To
from .tables import usual_of

if TYPE_CHECKING:
    from .lot import LotReport
    from .plate import PlateReport

_Items = Annotated[
    list[str] | None, typer.Option(help="Only items of this name or number; repeatable. All unless said.")
]


@sentences
@spread
def check(
    *,
    document: Annotated[Path, typer.Argument(help="Outline document (.json) of digitize.", readable=False)],
    other: Annotated[
        Path | None, typer.Argument(help="Another one, to be laid on it, in place of readings.", readable=False)
    ] = None,
    item: Annotated[str | None, typer.Option(help="Name or number of the item; needless if there is one.")] = None,
    readings: Said[Readings],
    hole: Annotated[
        list[str] | None,
        typer.Option(metavar="<int>=<float>", help="Number of a round hole and its diameter, mm; repeatable."),
    ] = None,
    other_item: Annotated[str | None, typer.Option(help="The same for the other document.")] = None,
    turned_over: Annotated[
        bool, typer.Option("--turned-over", help="The other one lay with its other face up.")
    ] = False,
    to: Annotated[
        Path | None, typer.Option(help="SVG file to draw the differences into, coloured.", readable=False)
    ] = None,
    force: ForceOne = False,
    json: Annotated[bool, typer.Option("--json", help="Print the comparison as JSON on stdout.")] = False,
) -> int:
    """Hold an outline against caliper readings, with the likely cause where they disagree, or against another."""
    from .check import check_readings, check_two, chosen, read_outline

    result = read_outline(document)
    one = chosen(result, item, document)
    if other is None:
        for said, name in ((other_item, "--other-item"), (turned_over, "--turned-over"), (to, "--to")):
            if said:
                raise UsageError(f"{name} is for a second document: digitize check {document} OTHER.json.")
        lines, text, code = check_readings(result, one, readings.made(), hole or [], as_json=json)
    else:
        if hole or readings.said():
            raise UsageError("Give readings or a second document, not both.")
        second = chosen(read_outline(other), other_item, other)
        lines, text, code = check_two(one, second, over=turned_over, to=to, force=force, as_json=json)
    for line in lines:
        say(line)
    if text:
        print(text)
    return code


@sentences
@spread(only=DRAWN)
def lot(
    *,
    documents: Annotated[
        list[Path] | None, typer.Argument(help="Outline documents (.json) of blanks of one kind.", readable=False)
    ] = None,
    item: _Items = None,
    name: Annotated[
        str | None, typer.Option(help="Of the lot and its files; the first document's unless said.")
    ] = None,
    one_face: Annotated[
        bool, typer.Option("--one-face", help="All lay on the same face: none is turned over.")
    ] = False,
    to: To = Path("."),
    recipe: Said[Settings],
    files: Said[Output],
    context: typer.Context,
    json: Annotated[bool, typer.Option("--json", help="Print the lot's document on stdout.")] = False,
) -> int:
    """One outline of several blanks: their mean, a pocket that fits the largest, a print area within the smallest."""
    from .lot import make_lot_files

    recipe, files, _ = usual(context, (recipe, files, Said(Reading, {})))
    report = make_lot_files(
        documents or [],
        recipe.made(),
        files.made().into(to),
        only=tuple(item or ()),
        name=name,
        either_face=not one_face,
    )
    return _told(report, json=json)


@sentences
@spread
def plate(
    *,
    documents: Annotated[
        list[Path] | None, typer.Argument(help="Outline documents (.json) with pockets.", readable=False)
    ] = None,
    asked: Said[PlateAsked],
    item: _Items = None,
    lay: Annotated[
        Path | None,
        typer.Option(help="CSV in place of rows: kind, x and y from the zero corner, turn.", readable=False),
    ] = None,
    plate_hole: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,D", help="Hole for a pin or screw: x, y from the zero corner, diameter; repeatable."),
    ] = None,
    item_thickness: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KIND=MM", help="How thick items are, mm, or of one kind KIND=MM: heights, packing; repeatable."
        ),
    ] = None,
    solid: Said[Solid],
    grid: Annotated[bool, typer.Option("--grid", help="A measurement grid of the bed in place of a plate.")] = False,
    again: Annotated[
        Path | None,
        typer.Option(help="A plate's document: its files again, the same bytes, nothing else needed.", readable=False),
    ] = None,
    name: Annotated[str, typer.Option(help="Of the plate and its files.")] = "plate",
    label: Annotated[
        list[str] | None, typer.Option(help="Revision, date or other words for the drawings; repeatable.")
    ] = None,
    to: To = Path("."),
    format: Drawings = "dxf,svg,pdf",
    force: Force = False,
    context: typer.Context,
    json: Annotated[bool, typer.Option("--json", help="Print the plate's document on stdout.")] = False,
) -> int:
    """Pockets in straight rows on a plate: what to cut, a draft sheet, and the page for the artwork."""
    from .plate import PlateFiles, formats_of, make_grid, make_plate, plate_again

    files = PlateFiles(to, name, tuple(label or ()), formats_of(format), force)
    if grid:
        if documents or lay or plate_hole:
            raise UsageError("--grid makes a grid in place of a plate: leave documents, --lay and holes out.")
        for line in make_grid(asked.made(), files):
            say(line)
        return 0
    body = solid.made() if solid.said() else None
    if again is not None:
        if documents or lay or plate_hole or item or item_thickness or label or asked.said():
            raise UsageError("--again takes everything from the plate's document: leave documents and options out.")
        report = plate_again(again, files, solid=body)
    else:
        report = make_plate(
            documents or [],
            asked.made(),
            files,
            only=tuple(item or ()),
            lay=lay,
            holes=tuple(plate_hole or ()),
            thick=tuple(item_thickness or ()),
            solid=body,
            usual=usual_of(context),
        )
    return _told(report, json=json)


@sentences
@spread
def template(
    *,
    document: Annotated[Path, typer.Argument(help="Plate document (.json) of digitize plate.", readable=False)],
    artwork: Annotated[
        list[str] | None,
        typer.Option(metavar="FILE", help="SVG, PDF, PNG or JPEG; for one kind KIND=FILE; repeatable."),
    ] = None,
    asked: Said[TemplateAsked],
    insert: Annotated[
        list[str] | None,
        typer.Option(metavar="FILE", help="Of a base plate: the insert in its windows, or in one N=FILE; repeatable."),
    ] = None,
    printer: Annotated[
        str | None, typer.Option(help="Printer to correct for, by the name digitize profile printer keeps it under.")
    ] = None,
    to: To = Path("."),
    format: Drawings = "dxf,svg,pdf",
    force: Force = False,
) -> int:
    """The page the size of the bed for a plate: artwork in every print area, guides that do not print."""
    from .plate import PlateFiles, formats_of
    from .printer import read_printer
    from .template import make_template

    files = PlateFiles(to, formats=formats_of(format), force=force)
    kept = None if printer is None else read_printer(printer)
    arts, filled = tuple(artwork or ()), tuple(insert or ())
    report = make_template(document, asked.made(), files, artwork=arts, inserts=filled, printer=kept)
    for line in report.lines:
        say(line)
    return 1 if report.needs_person else 0


@sentences
@spread(only=("bed_mm", "zero"))
def printer(
    *,
    name: Annotated[str | None, typer.Argument(help="Name to keep it under; without one, all are listed.")] = None,
    asked: Said[PlateAsked],
    shift: Annotated[
        list[str] | None,
        typer.Option(
            metavar="N=X,Y",
            help="Cross, and how far it lies right and up of its place, mm; repeatable. Without, the sheet is made.",
        ),
    ] = None,
    to: Annotated[Path, typer.Option(help="Folder for the sheet.", readable=False)] = Path("."),
    format: Drawings = "svg,pdf",
    force: Force = False,
) -> int:
    """A printer's shift, turn and scales: its test sheet of five crosses, and what they show, kept for templates."""
    import datetime

    from .plate import formats_of
    from .printer import keep_printer, kept_printers, write_crosses

    if name is None and shift:
        raise UsageError("Say a name to keep the printer under: digitize profile printer shelf --bed 305x458.")
    if name is None:
        kept = [one.line() for one in kept_printers()]
        lines = kept or ["No printer is kept yet: digitize profile printer shelf --bed 305x458 makes its test sheet."]
        person = False
    elif shift:
        lines, person = keep_printer(name, asked.made(), shift, today=datetime.date.today())
    else:
        lines, person = write_crosses(name, asked.made(), to, formats_of(format), force=force), False
    for line in lines:
        say(line)
    return 1 if person else 0


@sentences
@spread
def unroll(
    *,
    wall: Said[Wall],
    name: Annotated[str, typer.Option(help="Of the files.")] = "wall",
    to: To = Path("."),
    format: Drawings = "dxf,svg,pdf",
    force: Force = False,
) -> int:
    """The flat shape that goes round a cylinder or a cone, for artwork: its wall, the seam and the overlap."""
    from ..files import safe_stem, write_files
    from ..write.plate.files import unrolled_files
    from ..write.plate.words import wall_words
    from .plate import formats_of

    made = wall.made()
    files = unrolled_files(made, name, formats_of(format))
    written = write_files(to, {f"{safe_stem(name)}.{key}": data for key, data in files.items()}, force=force)
    for line in (*(f"wrote {path}" for path in written), *wall_words(made)[:-1]):
        say(line)
    return 0


def _told(report: LotReport | PlateReport, *, json: bool) -> int:
    """Say what was made, write its document where it is asked for, and return the exit code."""
    for line in report.lines:
        say(line)
    if json:
        sys.stdout.buffer.write(report.document)
        sys.stdout.buffer.flush()
    return 1 if report.needs_person else 0
