"""The local page: which pictures it begins with, and what is said on the screen."""

from __future__ import annotations

import contextlib
import os
import sys
import webbrowser
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from ..again import GoneOn, go_on
from ..batch.desk import batch_in, desk, is_batch
from ..batch.drive import Batch
from ..batch.find import Search, find_pictures
from ..batch.store import digest
from ..batch.task import Wanted
from ..errors import PictureError, UsageError
from ..review.asked import Asked
from ..review.begin import begun
from ..review.folder import Folder
from ..review.serve import check_packages, serving
from ..review.shelf import Shelf
from ..review.work import Work
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
    with contextlib.ExitStack() as stack:
        folder = None
        if document is not None:
            shelf.add([document.picture], begin=begun(document.settings, items=document.items))
            say(document.remark) if document.remark else None
        elif given is not None and given.is_dir() and (batch := _batch(given, asked)) is not None:
            folder = Folder(stack.enter_context(desk(batch)), shelf)
            asked = replace(asked, to=folder.results, output=asked.output.into(folder.results))
        else:
            shelf.add(_pictures(given))
        _serve(Work(asked, shelf, folder), open_browser=open_browser, say=say)
    say("The page has ended.")
    return 0


def _serve(work: Work, *, open_browser: bool, say: Callable[[str], None]) -> None:
    def unexpected(error: BaseException) -> str:
        say(unexpected_sentence(error))
        return "Something went wrong that digitize did not expect: its terminal says more. Try again."

    with serving(work, unexpected=unexpected) as page:
        say(f"The page, for this machine's browser: {page.address}")
        say("It opens once. Ctrl-C here ends it; pictures dropped on it are removed then.")
        if open_browser and _has_screen():
            webbrowser.open(page.address)
        page.wait()


def batch_folder(given: Path | None, to: Path | None, said: Sequence[str]) -> bool:
    """Tell whether a folder holds a batch's results, which bring the options they were made by.

    Raises
    ------
    UsageError
        If options or another folder are said beside it.
    """
    if given is None or not is_batch(given):
        return False
    beside = [*said, *(["--to"] if to is not None and not _is_same(to, given) else [])]
    if beside:
        raise UsageError(
            f"{given} holds the results of a batch: its options hold, and what is accepted is written there. Given "
            f"beside it: {', '.join(beside)}."
        )
    return True


def _batch(folder: Path, asked: Asked) -> Batch | None:
    """Return the batch that a folder holds, or that it becomes as its pictures are accepted; None of no --to."""
    if is_batch(folder):
        return batch_in(folder)
    if asked.to is None:
        return None
    found, troubles = find_pictures(Search(root=folder, leave_out=asked.to))
    if not found:
        raise PictureError(f"{folder} holds no picture. Give a picture or a folder of pictures.")
    settings, to = asked.recipe.made(), asked.to.absolute()
    photo = settings.background_photo
    wanted = Wanted(settings=settings, output=asked.output, beside=digest(photo) if photo else "")
    return Batch(
        root=str(folder.absolute()),
        found=found,
        wanted=lambda _: wanted,
        results=str(to),
        home=to,
        output=asked.files.words,
        max_mpx=asked.max_mpx,
        force=asked.output.force,
        troubles=tuple(troubles),
    )


def _is_same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


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
