"""The local page: which pictures it begins with, and what is said on the screen."""

from __future__ import annotations

import os
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path

from ..batch.find import Search, find_pictures
from ..errors import PictureError
from ..review.serve import check_packages, serving
from ..review.shelf import Shelf
from ..review.work import Asked, Work
from .failures import unexpected_sentence


def run_review(given: Path | None, asked: Asked, *, open_browser: bool, say: Callable[[str], None]) -> int:
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
    shelf.add(_pictures(given))

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
        raise PictureError(f"{given} is no picture and no folder. Say which: digitize review scan.png.")
    return [given]


def _has_screen() -> bool:
    """Whether a browser would have a window: one that takes the terminal is of no use."""
    return sys.platform in ("darwin", "win32") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
