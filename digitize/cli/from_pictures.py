"""The commands that begin with pictures: outline one or several, or a folder."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer

from ..errors import DigitizeError, UsageError
from ..options import Said, columns, file_columns, spread
from ..parameters import declared
from ..run import Output
from ..settings import Reading, Settings
from .say import number, say, sentences, usual
from .shared import To

_Card = Annotated[
    str | None,
    typer.Option(help="Name of a kept reading of the card, in place of --measured (digitize profile card)."),
]


@sentences
@spread
def outline(
    *,
    pictures: Annotated[
        list[Path] | None,
        typer.Argument(help="Scans: PNG, JPEG, TIFF, BMP, WebP, HEIC, AVIF, scanner PDF.", readable=False),
    ] = None,
    to: To = Path("."),
    card: _Card = None,
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
        recipe, reading, files = usual(context, (recipe, reading, files), card)
    settings, output, limit = recipe.made(), files.made().into(to), reading.made().max_mpx
    given = _asked_for(pictures or [], again, recipe.said())
    check_stems(given)
    show = _Show(as_json=json, verbose=verbose, one_of=len(given))
    codes = [_outline_one(path, settings if again is None else None, output, limit, show) for path in given]
    if show.ended:
        from .table import closing_lines

        for line in closing_lines(show.ended):
            say(line)
    return max(codes)


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
    from ..run import outline_file

    try:
        if settings is None:
            from ..again import outline_again

            report = outline_again(path, output, max_mpx=max_mpx)
        else:
            report = outline_file(path, settings, output, max_mpx=max_mpx)
    except DigitizeError as error:
        name = "" if show.one_of == 1 or path.name in str(error) else f"{path.name}: "
        say(f"digitize: {name}{error}")
        return error.exit_code
    from ..document.document import document_bytes, document_line
    from .table import Ended, report_lines

    for line in report_lines(report, verbose=show.verbose):
        say(line)
    show.ended.append(Ended.of(report))
    if show.as_json:
        one = show.one_of == 1
        sys.stdout.buffer.write(document_bytes(report.result) if one else document_line(report.result))
        sys.stdout.buffer.flush()
    return 1 if report.needs_person else 0


@sentences
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
    card: _Card = None,
    recipe: Said[Settings],
    reading: Said[Reading],
    files: Said[Output],
    context: typer.Context,
    json: Annotated[bool, typer.Option("--json", help="Print the counts as JSON on stdout.")] = False,
) -> int:
    """Outline a folder of pictures overnight; what is done already is not done again."""
    from ..batch.request import Request, start
    from .workshop import with_row

    recipe, reading, files = usual(context, (recipe, reading, files), card)
    request = Request(
        folder=folder,
        to=to,
        settings=lambda cells: with_row(recipe, cells).made(),
        columns=columns(Settings),
        output=files.made().into(Path(to)),
        output_words=files.words,
        max_mpx=reading.made().max_mpx,
        recursive=recursive,
        patterns=tuple(pattern or ()),
        list_file=list_file,
        manifest=manifest,
        file_columns=file_columns(Settings),
        anywhere=anywhere,
        retry=retry,
        jobs=jobs,
        memory_gb=number(memory, "--memory"),
        dask=dask,
        ledger=ledger,
    )
    done = start(request)
    for line in done.lines():
        say(line)
    if json:
        print(done.json())
    return done.exit_code


def _typed(files: Said[Output]) -> list[str]:
    """Return the options of files that were typed: the library hands the others over as their defaults' words."""
    known = declared(Output)
    usual = {key: None if one.unsaid is None else one.kind.word(one.unsaid) for key, one in known.items()}
    return [known[key].name for key, word in files.words.items() if word not in (None, False, usual[key])]


@sentences
@spread
def review(
    *,
    picture: Annotated[
        Path | None,
        typer.Argument(
            help="Picture, outline document or folder of pictures; without one, drop some on the page.", readable=False
        ),
    ] = None,
    to: Annotated[
        Path | None, typer.Option(help="Folder that the page may write to; without one it gives a zip.", readable=False)
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Open no browser: copy the address from the screen.")
    ] = False,
    card: _Card = None,
    recipe: Said[Settings],
    reading: Said[Reading],
    files: Said[Output],
    context: typer.Context,
) -> int:
    """A page in the browser of this machine: look at the outline, set options, take the files."""
    from ..kept import state_folder
    from ..review.asked import Asked
    from .from_documents import plate, template
    from .review import batch_folder, document_of, run_review
    from .tables import table_of

    document = document_of(picture, recipe.said())
    if document is None and not batch_folder(picture, to, [*recipe.said(), *_typed(files)]):
        recipe, reading, files = usual(context, (recipe, reading, files), card)
    recipe.made()
    output, max_mpx = files.made().into(to or Path(".")), reading.made().max_mpx
    aside = state_folder() / "review"
    asked = Asked(
        recipe=recipe,
        files=files,
        output=output,
        max_mpx=max_mpx,
        to=to,
        aside=aside,
        plate=table_of(plate, "plate"),
        template=table_of(template, "template"),
    )
    return run_review(picture, document, asked, open_browser=not no_browser, say=say)
