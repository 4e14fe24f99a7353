"""The commands: parse, call one function, print, set the exit code."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer

from ..errors import DigitizeError, UsageError
from ..kinds import in_mm, number_in, refusal
from ..options import Said, columns, file_columns, spread
from ..plate.asked import PlateAsked, TemplateAsked
from ..run import Output
from ..seal import __version__
from ..settings import DRAWN, Reading, Settings
from ..trust.asked import Readings
from ..write.solid.asked import Solid
from .misread import Command

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _print_version(asked: bool) -> None:
    if asked:
        print(f"digitize {__version__}")
        raise typer.Exit(0)


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """True-size outlines of objects from a scan beside a reference square, ready to cut."""


def _say(line: str) -> None:
    """Print people's text on stderr, whatever the terminal can show."""
    encoding = sys.stderr.encoding or "ascii"
    print(line.encode(encoding, "replace").decode(encoding), file=sys.stderr)


def _number(word: str | None, name: str, *, unit: str = "") -> float | None:
    """Read a number with a point or a comma before its decimals; a length perhaps in inches."""
    if word is None:
        return None
    text, each = in_mm(word, unit)
    value = number_in(text)
    if value is None:
        raise refusal(name, word, "expected a number")
    return value * each


def _sentences(command: Callable[..., int]) -> Callable[..., None]:
    """Turn our errors into a sentence on stderr and the command's return value into the exit code."""

    @functools.wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            code = command(*args, **kwargs)
        except DigitizeError as error:
            _say(f"digitize: {error}")
            code = error.exit_code
        except MemoryError:
            _say("digitize: not enough memory for this picture. Close programs or scan a smaller area.")
            code = 3
        except EOFError as error:  # which the library of the command line takes for a wish to leave
            raise RuntimeError("a process beside this one closed its pipe") from error
        raise typer.Exit(code)

    return run


@app.command(cls=Command)
@_sentences
@spread
def outline(
    *,
    pictures: Annotated[
        list[Path] | None,
        typer.Argument(help="Scans: PNG, JPEG, TIFF, BMP, WebP, HEIC, AVIF, scanner PDF.", readable=False),
    ] = None,
    to: Annotated[Path, typer.Option(help="Folder to write to.", readable=False)] = Path("."),
    card: Annotated[
        str | None,
        typer.Option(help="Name of a kept reading of the card, in place of --measured (digitize profile card)."),
    ] = None,
    recipe: Said[Settings],
    reading: Said[Reading],
    files: Said[Output],
    context: typer.Context,
    json: Annotated[
        bool, typer.Option("--json", help="Print the outline document on stdout; of several pictures, each on a line.")
    ] = False,
    verbose: Annotated[bool, typer.Option("--verbose", help="Also say the figures for experts.")] = False,
    again: Annotated[
        Path | None,
        typer.Option(
            help="A document in place of pictures: made again, the same bytes, from its options and its picture, which "
            "lies beside it or here.",
            readable=False,
        ),
    ] = None,
) -> int:
    """Outline the items of scans: true-size DXF, SVG, PDF, JSON and a check picture."""
    from ..run import check_stems

    if again is None:
        recipe, reading, files = _usual(context, (recipe, reading, files), card)
    settings, output, limit = recipe.made(), files.made().into(to), reading.made().max_mpx
    given = _asked_for(pictures or [], again, recipe.said())
    check_stems(given)
    show = _Show(as_json=json, verbose=verbose, one_of=len(given))
    codes = [_outline_one(path, settings if again is None else None, output, limit, show) for path in given]
    if show.ended:
        from .table import closing_lines

        for line in closing_lines(show.ended):
            _say(line)
    return max(codes)


def _usual(context: Any, groups: tuple[Said[Any], ...], card: str | None) -> tuple[Said[Any], ...]:
    """Return what was said with what the workshop says once, which is told."""
    import datetime

    from .workshop import with_usual

    spoken = with_usual(context, groups, card, today=datetime.date.today())
    for line in spoken.lines:
        _say(line)
    return spoken.groups


def _asked_for(pictures: list[Path], again: Path | None, said: list[str]) -> list[Path]:
    """Return the pictures, or the document to be made again."""
    if again is None:
        if not pictures:
            raise UsageError("No picture was given. Say which: digitize outline scan.png --square 50.")
        return pictures
    if pictures:
        raise UsageError("--again takes the picture that its document names: give no other.")
    if said:
        raise UsageError(
            f"--again takes the options that its document names, none beside them; given: {', '.join(said)}."
        )
    return [again]


@dataclass(slots=True)
class _Show:
    """What is printed, and what is to be said when all pictures are done."""

    as_json: bool
    verbose: bool
    one_of: int
    ended: list[Any] = field(default_factory=list)


def _outline_one(path: Path, settings: Settings | None, output: Output, max_mpx: float, show: _Show) -> int:
    """Outline one picture, or a document's (no settings), print what came of it, return its exit code."""
    from ..again import outline_again
    from ..api import outline_file

    try:
        if settings is None:
            report = outline_again(path, output, max_mpx=max_mpx)
        else:
            report = outline_file(path, settings, output, max_mpx=max_mpx)
    except DigitizeError as error:
        name = "" if show.one_of == 1 or path.name in str(error) else f"{path.name}: "
        _say(f"digitize: {name}{error}")
        return error.exit_code
    from ..document.document import document_bytes, document_line
    from .table import Ended, report_lines

    for line in report_lines(report, verbose=show.verbose):
        _say(line)
    show.ended.append(Ended.of(report))
    if show.as_json:
        one = show.one_of == 1
        sys.stdout.buffer.write(document_bytes(report.result) if one else document_line(report.result))
        sys.stdout.buffer.flush()
    return 1 if report.needs_person else 0


@app.command(cls=Command)
@_sentences
@spread
def batch(
    *,
    folder: Annotated[str | None, typer.Argument(help="Folder of pictures, or its address (s3://...).")] = None,
    to: Annotated[str, typer.Option(help="Folder or address to write to.")],
    recursive: Annotated[bool, typer.Option("--recursive", help="Folders inside the folder too.")] = False,
    pattern: Annotated[list[str] | None, typer.Option(help="Only names like this, such as *.tif; repeatable.")] = None,
    list_file: Annotated[
        Path | None, typer.Option("--list", help="Text file that names a picture a line.", readable=False)
    ] = None,
    manifest: Annotated[
        Path | None, typer.Option(help="CSV: file and, as columns, options of its own.", readable=False)
    ] = None,
    anywhere: Annotated[
        bool, typer.Option("--anywhere", help="List and manifest may name pictures outside the folder, and addresses.")
    ] = False,
    retry: Annotated[bool, typer.Option("--retry", help="Also try again what failed before.")] = False,
    jobs: Annotated[int | None, typer.Option(help="Pictures at a time; as many as cores unless said.")] = None,
    memory: Annotated[
        str | None, typer.Option(metavar="<float>", help="GB for all pictures in work; most of what is free.")
    ] = None,
    dask: Annotated[str | None, typer.Option(help="Address of a Dask scheduler: tcp://host:8786.")] = None,
    ledger: Annotated[
        Path | None, typer.Option(help="Folder of ledger and reports, if --to is an address.", readable=False)
    ] = None,
    card: Annotated[
        str | None,
        typer.Option(help="Name of a kept reading of the card, in place of --measured (digitize profile card)."),
    ] = None,
    recipe: Said[Settings],
    reading: Said[Reading],
    files: Said[Output],
    context: typer.Context,
    json: Annotated[bool, typer.Option("--json", help="Print the counts as JSON on stdout.")] = False,
) -> int:
    """Outline a folder of pictures overnight; what is done already is not done again."""
    from ..batch.request import Request, start

    recipe, reading, files = _usual(context, (recipe, reading, files), card)
    request = Request(
        folder=folder,
        to=to,
        settings=lambda cells: recipe.with_cells(cells).made(),
        columns=columns(Settings),
        output=files.made().into(Path(to)),
        max_mpx=reading.made().max_mpx,
        recursive=recursive,
        patterns=tuple(pattern or ()),
        list_file=list_file,
        manifest=manifest,
        file_columns=file_columns(Settings),
        anywhere=anywhere,
        retry=retry,
        jobs=jobs,
        memory_gb=_number(memory, "--memory"),
        dask=dask,
        ledger=ledger,
    )
    done = start(request)
    for line in done.lines():
        _say(line)
    if json:
        print(done.json())
    return done.exit_code


@app.command(cls=Command)
@_sentences
def card(
    to: Annotated[Path, typer.Option(help="Folder to write to.", readable=False)] = Path("."),
    kind: Annotated[str, typer.Option(help="single (one ring) or mat (rings round an open middle).")] = "single",
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    square: Annotated[
        str | None, typer.Option(metavar="<float>", help="Mid-line side of the ring in mm; 50 unless said.")
    ] = None,
    format: Annotated[str, typer.Option(help="pdf, svg, dxf, with commas between.")] = "pdf,svg",
    force: Annotated[bool, typer.Option("--force", help="Overwrite files that digitize did not write.")] = False,
) -> int:
    """Make the printable reference card at true size: print it at 100 %, measure it once."""
    from ..card.kinds import card_layout
    from ..files import write_files
    from ..write.card.files import card_files

    names = tuple(part.strip().lower() for part in format.split(",") if part.strip())
    if not names or any(name not in ("pdf", "svg", "dxf") for name in names):
        raise UsageError(f"--format {format}: choose from pdf, svg, dxf, with commas between.")
    layout = card_layout(kind, paper, square_mm=_number(square, "--square", unit="mm"))  # type: ignore[arg-type]
    for path in write_files(to, card_files(layout, names), force=force):
        _say(f"wrote {path}")
    _say("Print at 100 % (no fit to page), let it rest, measure the ring's outer sides in X and Y: --measured XxY.")
    return 0


@app.command(cls=Command)
@_sentences
def cutting(
    to: Annotated[
        Path | None, typer.Option(help="File to write, such as cutting.toml; on stdout unless said.", readable=False)
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite a file that digitize did not write.")] = False,
) -> int:
    """Give the typical values of every way of cutting, as a file to edit for --cutting."""
    from ..cutting.defaults import default_bytes

    if to is None:
        sys.stdout.write(default_bytes().decode())
        return 0
    from ..files import write_files

    for path in write_files(to.parent, {to.name: default_bytes()}, force=force):
        _say(f"wrote {path}")
    _say("Typical values, test first: put your own in, then --cut laser --cutting FILE.")
    return 0


@app.command(cls=Command)
@_sentences
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
    force: Annotated[bool, typer.Option("--force", help="Overwrite a file that digitize did not write.")] = False,
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
        _say(line)
    if text:
        print(text)
    return code


@app.command(cls=Command)
@_sentences
@spread(only=DRAWN)
def lot(
    *,
    documents: Annotated[
        list[Path] | None, typer.Argument(help="Outline documents (.json) of blanks of one kind.", readable=False)
    ] = None,
    item: Annotated[
        list[str] | None, typer.Option(help="Only items of this name or number; repeatable. All unless said.")
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="Of the lot and its files; the first document's unless said.")
    ] = None,
    one_face: Annotated[
        bool, typer.Option("--one-face", help="All lay on the same face: none is turned over.")
    ] = False,
    to: Annotated[Path, typer.Option(help="Folder to write to.", readable=False)] = Path("."),
    recipe: Said[Settings],
    files: Said[Output],
    json: Annotated[bool, typer.Option("--json", help="Print the lot's document on stdout.")] = False,
) -> int:
    """One outline of several blanks: their mean, a pocket that fits the largest, a print area within the smallest."""
    from .lot import make_lot_files

    report = make_lot_files(
        documents or [],
        recipe.made(),
        files.made().into(to),
        only=tuple(item or ()),
        name=name,
        either_face=not one_face,
    )
    for line in report.lines:
        _say(line)
    if json:
        sys.stdout.buffer.write(report.document)
        sys.stdout.buffer.flush()
    return 1 if report.needs_person else 0


@app.command(cls=Command)
@_sentences
@spread
def plate(
    *,
    documents: Annotated[
        list[Path] | None, typer.Argument(help="Outline documents (.json) with pockets.", readable=False)
    ] = None,
    asked: Said[PlateAsked],
    item: Annotated[
        list[str] | None, typer.Option(help="Only items of this name or number; repeatable. All unless said.")
    ] = None,
    lay: Annotated[
        Path | None,
        typer.Option(help="CSV in place of rows: kind, x and y from the zero corner, turn.", readable=False),
    ] = None,
    plate_hole: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,D", help="Hole for a pin or screw: x, y from the zero corner, diameter; repeatable."),
    ] = None,
    solid: Said[Solid],
    grid: Annotated[bool, typer.Option("--grid", help="A measurement grid of the bed in place of a plate.")] = False,
    name: Annotated[str, typer.Option(help="Of the plate and its files.")] = "plate",
    label: Annotated[
        list[str] | None, typer.Option(help="Revision, date or other words for the drawings; repeatable.")
    ] = None,
    to: Annotated[Path, typer.Option(help="Folder to write to.", readable=False)] = Path("."),
    format: Annotated[str, typer.Option(help="Drawings to write: dxf, svg, pdf.")] = "dxf,svg,pdf",
    force: Annotated[bool, typer.Option("--force", help="Overwrite files that digitize did not write.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the plate's document on stdout.")] = False,
) -> int:
    """Pockets in straight rows on a plate: what to cut, a draft sheet, and the page for the artwork."""
    from .plate import PlateFiles, formats_of, make_grid, make_plate

    files = PlateFiles(to, name, tuple(label or ()), formats_of(format), force)
    if grid:
        for line in make_grid(asked.made(), files):
            _say(line)
        return 0
    holes = tuple(plate_hole or ())
    body = solid.made() if solid.said() else None
    report = make_plate(documents or [], asked.made(), files, only=tuple(item or ()), lay=lay, holes=holes, solid=body)
    for line in report.lines:
        _say(line)
    if json:
        sys.stdout.buffer.write(report.document)
        sys.stdout.buffer.flush()
    return 1 if report.needs_person else 0


@app.command(cls=Command)
@_sentences
@spread
def template(
    *,
    document: Annotated[Path, typer.Argument(help="Plate document (.json) of digitize plate.", readable=False)],
    artwork: Annotated[
        list[str] | None,
        typer.Option(metavar="FILE", help="SVG, PDF, PNG or JPEG; for one kind KIND=FILE; repeatable."),
    ] = None,
    asked: Said[TemplateAsked],
    to: Annotated[Path, typer.Option(help="Folder to write to.", readable=False)] = Path("."),
    format: Annotated[str, typer.Option(help="Drawings to write: dxf, svg, pdf.")] = "dxf,svg,pdf",
    force: Annotated[bool, typer.Option("--force", help="Overwrite files that digitize did not write.")] = False,
) -> int:
    """The page the size of the bed for a plate: artwork in every print area, guides that do not print."""
    from .plate import PlateFiles, formats_of
    from .template import make_template

    files = PlateFiles(to, formats=formats_of(format), force=force)
    report = make_template(document, asked.made(), files, artwork=tuple(artwork or ()))
    for line in report.lines:
        _say(line)
    return 1 if report.needs_person else 0


profile_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Remember what a device is like.")
app.add_typer(profile_app, name="profile")


@profile_app.command(cls=Command)
@_sentences
@spread
def lens(
    *,
    pictures: Annotated[
        list[Path],
        typer.Argument(
            help="Photos of the mat by one camera, tilted 10 to 30 degrees to different sides.", readable=False
        ),
    ],
    to: Annotated[Path, typer.Option(help="File to write.", readable=False)] = Path("lens.toml"),
    reading: Said[Reading],
    force: Annotated[bool, typer.Option("--force", help="Overwrite a file that digitize did not write.")] = False,
) -> int:
    """Measure a camera's lens by several photos of the mat, for --profile."""
    from ..camera.profile import profile_bytes, profile_lines
    from ..files import write_files
    from ..reading.picture import read_picture
    from ..recipe.lens import make_lens_profile

    limit = reading.made().max_mpx
    photos = [read_picture(path, max_mpx=limit) for path in pictures]
    made = make_lens_profile(photos)
    keep = {photo.sha256 for photo in photos}
    written = write_files(to.parent, {to.name: profile_bytes(made)}, force=force, keep=keep)
    for line in (*profile_lines(made), *(f"wrote {path}" for path in written)):
        _say(line)
    return 0


@profile_app.command("card", cls=Command)
@_sentences
def card_reading(
    name: Annotated[
        str | None, typer.Argument(help="Name to keep the reading under; without one, all are listed.")
    ] = None,
    measured: Annotated[
        str | None,
        typer.Option(metavar="<float>x<float>", help="Calipers' readings of the card in mm, X and Y: 53.8x53.9."),
    ] = None,
) -> int:
    """Keep what calipers read of the printed card under a name, for --card."""
    import datetime

    from .workshop import keep_card, kept_cards

    today = datetime.date.today()
    if name is None:
        kept = [line for one in kept_cards() for line in one.lines(today)]
        for line in kept or ["No reading is kept yet: digitize profile card desk --measured 53.90x53.80."]:
            _say(line)
        return 0
    if measured is None:
        raise UsageError(f"Say what calipers read of the card: digitize profile card {name} --measured 53.90x53.80.")
    reading, path = keep_card(name, measured, today=today)
    for line in (*reading.lines(today), f"wrote {path}", f"From now on: digitize outline ... --card {name}"):
        _say(line)
    return 0


@app.command(cls=Command)
@_sentences
def demo(
    to: Annotated[Path, typer.Option(help="Folder to write to.", readable=False)] = Path("."),
    format: Annotated[str, typer.Option(help="Files to write.")] = "json,dxf,svg,pdf,png",
    force: Annotated[bool, typer.Option("--force", help="Overwrite files that digitize did not write.")] = False,
) -> int:
    """Outline a sample scan that is inside the package, and say what to look at."""
    from .demo import run_demo, what_to_look_at
    from .table import report_lines

    report = run_demo(Output.of({"format": format, "force": force}).into(to))
    for line in (*report_lines(report), *what_to_look_at(report)):
        _say(line)
    return 1 if report.needs_person else 0
