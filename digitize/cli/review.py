"""The local page: which pictures it begins with, and what is said on the screen."""

from __future__ import annotations

import os
import sys
import webbrowser
from collections.abc import Callable, Sequence
from pathlib import Path

from ..again import GoneOn, go_on
from ..batch.find import Search, find_pictures
from ..errors import PictureError, UsageError
from ..review.begin import begun
from ..review.serve import check_packages, serving
from ..review.shelf import Shelf
from ..review.work import Asked, Work
from .failures import unexpected_sentence


def document_of(given: Path | None, said: Sequence[str]) -> GoneOn | None:
    """Return what is gone on from if an outline document was given; None if none was.

    Raises
    ------
    DigitizeError
        If it is none, its picture is not there or another one, or options were said beside those it holds.
    """
    if given is None or not _is_document(given):
        return None
    if said:
        raise UsageError(
            f"{given} holds its own options, and the page changes them; give none beside it. Given: {', '.join(said)}."
        )
    return go_on(given)


def run_review(
    given: Path | None, document: GoneOn | None, asked: Asked, *, open_browser: bool, say: Callable[[str], None]
) -> int:
    """Serve the page until it is asked to end; return the exit code.

    Raises
    ------
    UsageError
        If the packages that serve it are not installed.
    PictureError
        If there is no such picture or folder.
    """
    check_packages()
    shelf = Shelf(asked.max_mpx)
    if document is None:
        shelf.add(_pictures(given))
    else:
        shelf.add([document.picture], begin=begun(document.settings, items=document.items))
        if document.remark:
            say(document.remark)

    def unexpected(error: BaseException) -> str:
        say(unexpected_sentence(error))
        return "Something went wrong that digitize did not expect: its terminal says more. Try again."

    with serving(Work(asked, shelf), unexpected=unexpected) as page:
        say(f"The page, for this machine's browser: {page.address}")
        say("It opens once. Ctrl-C here ends it; pictures dropped on it are removed then.")
        if open_browser and _has_screen():
            webbrowser.open(page.address)
        page.wait()
    say("The page has ended.")
    return 0


def _pictures(given: Path | None) -> list[Path]:
    """Return the pictures named: one, or all of a folder."""
    if given is None:
        return []
    if given.is_dir():
        found, _ = find_pictures(Search(root=given))
        if not found:
            raise PictureError(f"{given} holds no picture. Give a picture or a folder of pictures.")
        return [Path(one.source) for one in found]
    if not given.is_file():
        raise PictureError(
            f"{given} is no picture, no outline document and no folder. Say which: digitize review scan.png."
        )
    return [given]


def _is_document(path: Path) -> bool:
    """Whether a file is JSON by its name or its first letter: no picture begins so."""
    try:
        with path.open("rb") as file:
            return path.suffix.lower() == ".json" or file.read(1) == b"{"
    except (OSError, ValueError):
        return False


def _has_screen() -> bool:
    """Whether a browser would have a window: one that takes the terminal is of no use."""
    return sys.platform in ("darwin", "win32") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
