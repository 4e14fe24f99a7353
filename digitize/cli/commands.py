"""The command line: every command under its name, in the order of the work."""

from __future__ import annotations

from typing import Annotated

import typer

from ..seal import __version__
from .from_documents import check, lot, plate, printer, template
from .from_pictures import batch, outline, review
from .misread import Command
from .to_begin_with import card, card_reading, cutting, demo, lens, scanner

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


for one in (outline, batch, card, cutting, check, lot, plate, template, review, demo):
    app.command(cls=Command)(one)

profile_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Remember what a device is like.")
app.add_typer(profile_app, name="profile")
profile_app.command(cls=Command)(lens)
profile_app.command("card", cls=Command)(card_reading)
profile_app.command(cls=Command)(scanner)
profile_app.command(cls=Command)(printer)
