"""The command line: every command under its name, in the order of the work."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Annotated, Any

import typer

from ..seal import __version__
from .misread import Command, Group

_Named = Mapping[str, Callable[..., Any]]


def _of_pictures() -> _Named:
    from .from_pictures import batch, outline, review

    return {"outline": outline, "batch": batch, "review": review}


def _of_documents() -> _Named:
    from .from_documents import check, lot, plate, template, unroll

    return {"check": check, "lot": lot, "plate": plate, "template": template, "unroll": unroll}


def _to_begin_with() -> _Named:
    from .to_begin_with import card, cutting, demo

    return {"card": card, "cutting": cutting, "demo": demo}


_PLACES: Mapping[str, Callable[[], _Named]] = {  # of each command; one asked for by its name is imported alone
    "outline": _of_pictures,
    "batch": _of_pictures,
    "card": _to_begin_with,
    "cutting": _to_begin_with,
    "check": _of_documents,
    "lot": _of_documents,
    "plate": _of_documents,
    "template": _of_documents,
    "unroll": _of_documents,
    "review": _of_pictures,
    "demo": _to_begin_with,
}


def _print_version(asked: bool) -> None:
    if asked:
        print(f"digitize {__version__}")
        raise typer.Exit(0)


def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """True-size outlines of objects from a scan beside a reference square, ready to cut."""


def app_for(words: list[str]) -> typer.Typer:
    """Return the command line for the words that follow the program's name: with their command alone, if they name one.

    What is said of that command, right or wrong, does not depend on the others.
    """
    return _app({words[0]} if words and words[0] in _PLACES else _PLACES)


def __getattr__(name: str) -> Any:
    """Give the whole command line to whoever imports `app`."""
    if name == "app":
        return _app(_PLACES)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def _app(names: Collection[str]) -> typer.Typer:
    app = typer.Typer(add_completion=False, no_args_is_help=True, rich_markup_mode=None, pretty_exceptions_enable=False)
    app.callback(cls=Group)(common)
    for name in names:
        app.command(name, cls=Command)(_PLACES[name]()[name])
    if len(names) == len(_PLACES):
        from .from_documents import printer
        from .to_begin_with import card_reading, lens, scanner

        profile = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Remember what a device is like.")
        app.add_typer(profile, name="profile")
        profile.command(cls=Command)(lens)
        profile.command("card", cls=Command)(card_reading)
        profile.command(cls=Command)(scanner)
        profile.command(cls=Command)(printer)
    return app
