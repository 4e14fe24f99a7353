"""The commands that need no outline: card, typical values, what is remembered of lens and card, demo."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from ..errors import UsageError
from ..options import Said, spread
from ..run import FORMATS, Output
from ..settings import Reading, Settings
from .say import number, say, sentences
from .shared import Force, ForceOne, To


@sentences
def card(
    to: To = Path("."),
    kind: Annotated[str, typer.Option(help="single (one ring) or mat (rings round an open middle).")] = "single",
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    square: Annotated[
        str | None, typer.Option(metavar="<float>", help="Mid-line side of the ring in mm; 50 unless said.")
    ] = None,
    format: Annotated[str, typer.Option(help="pdf, svg, dxf, with commas between.")] = "pdf,svg",
    force: Force = False,
) -> int:
    """Make the printable reference card at true size: print it at 100 %, measure it once."""
    from ..card.kinds import card_layout
    from ..files import write_files
    from ..write.card.files import card_files

    names = tuple(part.strip().lower() for part in format.split(",") if part.strip())
    if not names or any(name not in ("pdf", "svg", "dxf") for name in names):
        raise UsageError(f"--format {format}: choose from pdf, svg, dxf, with commas between.")
    layout = card_layout(kind.lower(), paper.lower(), square_mm=number(square, "--square", unit="mm"))  # type: ignore[arg-type]
    for path in write_files(to, card_files(layout, names), force=force):
        say(f"wrote {path}")
    say("Print at 100 % (no fit to page), let it rest, measure the ring's outer sides in X and Y: --measured XxY.")
    return 0


@sentences
def cutting(
    to: Annotated[
        Path | None, typer.Option(help="File to write, such as cutting.toml; on stdout unless said.", readable=False)
    ] = None,
    force: ForceOne = False,
) -> int:
    """Give the typical values of every way of cutting, as a file to edit for --cutting."""
    from ..cutting.defaults import default_bytes

    if to is None:
        sys.stdout.write(default_bytes().decode())
        return 0
    from ..files import write_files

    for path in write_files(to.parent, {to.name: default_bytes()}, force=force):
        say(f"wrote {path}")
    say("Typical values, test first: put your own in, then --cut laser --cutting FILE.")
    return 0


@sentences
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
    force: ForceOne = False,
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
        say(line)
    return 0


@sentences
def card_reading(
    name: Annotated[
        str | None, typer.Argument(help="Name to keep the reading under; without one, all are listed.")
    ] = None,
    measured: Annotated[
        str | None,
        typer.Option(metavar="<float>x<float>", help="Calipers' readings of the card in mm, X and Y: 53.8x53.9."),
    ] = None,
    caliper_error: Annotated[
        str | None,
        typer.Option(metavar="<float>", help="How far off one reading of these calipers may be, mm (k = 2)."),
    ] = None,
) -> int:
    """Keep what calipers read of the printed card under a name, for --card."""
    import datetime

    from ..kept_cards import keep_card, kept_cards
    from .workshop import reading_doubts

    today = datetime.date.today()
    if name is None and measured is not None:
        raise UsageError("Say a name to keep the reading under: digitize profile card desk --measured 53.90x53.80.")
    if name is None:
        kept = [line for one in kept_cards() for line in one.lines(today)]
        for line in kept or ["No reading is kept yet: digitize profile card desk --measured 53.90x53.80."]:
            say(line)
        return 0
    if measured is None:
        raise UsageError(f"Say what calipers read of the card: digitize profile card {name} --measured 53.90x53.80.")
    reading, path = keep_card(name, measured, today=today, caliper_error=caliper_error)
    doubts = reading_doubts(reading)
    for line in (*reading.lines(today), *doubts, f"wrote {path}", f"From now on: digitize outline ... --card {name}"):
        say(line)
    return 1 if doubts else 0


@sentences
@spread(only=("measured_mm", "caliper_error_mm"))
def scanner(
    *,
    name: Annotated[
        str | None, typer.Argument(help="Name to keep the profile under; without one, all are listed.")
    ] = None,
    pictures: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Scans of the ring card or the mat in other places of the glass, turned by a quarter each time.",
            readable=False,
        ),
    ] = None,
    card: Annotated[
        str | None, typer.Option(help="Name of a kept reading of the card, in place of --measured.")
    ] = None,
    recipe: Said[Settings],
    reading: Said[Reading],
    context: typer.Context,
) -> int:
    """Keep where a scanner's pixels lie on its glass, and how its codes follow the light, for --scanner."""
    import datetime

    from ..scanner.profile import kept_scanners
    from .workshop import keep_scanner, with_usual

    today = datetime.date.today()
    if name is None and (card is not None or recipe.said()):
        raise UsageError(
            "Say a name to keep the profile under, then the scans: digitize profile scanner desk SCANS --measured "
            "53.90x53.80."
        )
    if name is None:
        kept = [line for one in kept_scanners() for line in one.lines(today)]
        for line in kept or ["No profile is kept yet: digitize profile scanner desk SCANS --measured 53.90x53.80."]:
            say(line)
        return 0
    spoken = with_usual(context, (recipe, reading, Said(Output, {})), card, today=today)
    for line in spoken.lines:
        say(line)
    said, limits, _ = spoken.groups
    for line in keep_scanner(name, pictures or [], said.made(), max_mpx=limits.made().max_mpx, today=today):
        say(line)
    return 0


@sentences
def demo(
    to: To = Path("."),
    format: Annotated[str, typer.Option(help="Files to write.")] = ",".join(FORMATS),
    force: Force = False,
) -> int:
    """Outline a sample scan that is inside the package, lay a plate of it, and say what to look at."""
    from .demo import demo_plate, run_demo, what_to_look_at
    from .table import report_lines

    output = Output.of({"format": format, "force": force}).into(to)
    report = run_demo(output)
    plate = demo_plate(report, to, output.formats, force=force)
    for line in (*report_lines(report), *plate.lines, *what_to_look_at(report)):
        say(line)
    return 1 if report.needs_person or plate.needs_person else 0
