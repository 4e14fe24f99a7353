"""Find the pictures of a folder."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fnmatch import fnmatch
from pathlib import Path

from ..errors import PictureError
from ..files import written_by_digitize

ENDINGS = ("png", "jpg", "jpeg", "jpe", "jfif", "tif", "tiff", "bmp", "webp", "gif", "heic", "heif", "avif", "pdf")
_MAY_BE_OURS = (".check.png", ".pdf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A picture to outline, with its own options if a manifest gives any."""

    key: str  # path below the batch's folder with /, or the whole path or address if it is elsewhere
    source: str
    options: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Where pictures are looked for, and which."""

    root: Path
    recursive: bool = False
    patterns: tuple[str, ...] = ()  # against the name, or against the path below the folder if there is a / in it
    leave_out: Path | None = None  # a folder that is not entered: the results' own


def find_pictures(search: Search) -> tuple[list[Found], list[str]]:
    """Return the pictures in order of their paths, and a sentence for every folder that cannot be read.

    Without patterns, what counts is the name's ending; what the file really is shows when it is read. Names that
    begin with a dot and files that digitize wrote are passed over. Links to folders are followed, each folder is
    entered once.

    Raises
    ------
    PictureError
        If the folder itself cannot be read.
    """
    if not search.root.is_dir():
        what = "is not a folder" if search.root.exists() else "is not there: check its name"
        raise PictureError(f"{search.root} {what}. Give a folder of pictures, or --list or --manifest.")
    troubles: list[str] = []
    leave_out = None if search.leave_out is None else os.path.realpath(search.leave_out)
    names = sorted(_names(search, leave_out, troubles))
    if troubles and not names and len(troubles) == 1 and not search.recursive:
        raise PictureError(troubles[0])
    found = [Found(key=name, source=str(search.root / name)) for name in names if is_wanted(name, search.patterns)]
    return [one for one in found if not _is_ours(Path(one.source))], troubles


def _names(search: Search, leave_out: str | None, troubles: list[str]) -> Iterator[str]:
    """Yield the paths of all files below the folder, relative to it."""
    waiting, entered = [""], set[tuple[int, int]]()
    while waiting:
        below = waiting.pop()
        try:
            place = os.path.join(search.root, below)
            status = os.stat(place)
            if (status.st_dev, status.st_ino) in entered:
                continue
            entered.add((status.st_dev, status.st_ino))
            with os.scandir(place) as entries:
                listed = [entry for entry in entries if not entry.name.startswith(".")]
        except OSError as error:
            troubles.append(f"the folder {place} cannot be read: {error.strerror}. Change its permissions.")
            continue
        for entry in listed:
            if not _is_folder(entry):
                yield below + entry.name
            elif search.recursive and os.path.realpath(entry.path) != leave_out:
                waiting.append(f"{below}{entry.name}/")


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link that leads to itself
        return False


def is_wanted(name: str, patterns: Iterable[str]) -> bool:
    """Tell by its path below the folder whether a file is to be taken for a picture."""
    last = name.rsplit("/", 1)[-1]
    if patterns := tuple(patterns):
        return any(fnmatch(name if "/" in pattern else last, pattern) for pattern in patterns)
    return last.lower().rpartition(".")[2] in ENDINGS and "." in last


def _is_ours(path: Path) -> bool:
    return path.name.endswith(_MAY_BE_OURS) and written_by_digitize(path)
