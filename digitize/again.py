"""The same outline again, from its document alone: its picture, its options, the same bytes; or what differs."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .document.document import document_bytes, document_line, read_document
from .document.outline import WRITTEN_BY
from .errors import DocumentError, PictureError, UsageError
from .files import read_regular, unread
from .records import Result
from .run import Output, Report, make, write_made
from .seal import is_sealed
from .settings import Settings

_SHOWN = 60  # characters of a value that differs
_MOST_BYTES = 1_000_000_000  # of a document; one of 100 items has some 10 MB


@dataclass(frozen=True, slots=True)
class Told:
    """What a document tells of how it was made."""

    place: Path
    data: bytes
    result: Result
    named: str  # what every sentence about it begins with
    written_by: str


@dataclass(frozen=True, slots=True)
class GoneOn:
    """What is gone on from where a document ended."""

    picture: Path
    settings: Settings
    items: tuple[str, ...]  # names of those that it holds, perhaps not all of the picture's
    remark: str = ""  # what is to be said first


def outline_again(document: Path, output: Output, *, max_mpx: float = 400.0) -> Report:
    """Outline a document's picture with the document's options; write the files if the same document comes out.

    The picture of the document's name is looked for beside the document and in the working folder.

    Parameters
    ----------
    document
        An outline document that this version of digitize wrote.
    output
        Where and how to write. Of a document that holds only some of the picture's items, each item gets files of its
        own.
    max_mpx
        As for `digitize.run.outline_file`.

    Raises
    ------
    DigitizeError
        Nothing is written then. `UsageError`: the document cannot be opened, or has options that are not known.
        `DocumentError`: it is none, was changed, is of another version of digitize, or comes out otherwise.
        `PictureError`: the picture is not there, or is another one.
    """
    told = read_told(document, named=f"--again {document}")
    if told.written_by != WRITTEN_BY:
        raise DocumentError(
            f"{told.named}: the document was written by {told.written_by}, this is {WRITTEN_BY}, and another version "
            "may give other numbers. Use that version, or outline the picture anew."
        )
    picture = _found(told, told.result.source_name, told.result.source_sha256, what="picture")
    made = make(picture, _settings(told), output, max_mpx=max_mpx)
    some = check_same(told, made.result)
    return write_made(made, replace(output, separate=output.separate or some))


def go_on(document: Path) -> GoneOn:
    """Return what a document was made of, so that the work goes on from there; its version may be another.

    Raises
    ------
    DigitizeError
        As `outline_again`.
    """
    told = read_told(document, named=str(document))
    picture = _found(told, told.result.source_name, told.result.source_sha256, what="picture")
    other = f"{document} was written by {told.written_by}, this is {WRITTEN_BY}: its numbers may come out otherwise."
    names = tuple(item.name for item in told.result.items)
    return GoneOn(picture, _settings(told), names, "" if told.written_by == WRITTEN_BY else other)


def read_told(document: Path, *, named: str) -> Told:
    """Read a document that says how it was made; sentences about it begin with how it was `named`.

    Raises
    ------
    UsageError, DocumentError
        See `outline_again`.
    """
    try:
        data = read_regular(document, named, most_bytes=_MOST_BYTES)
    except (OSError, ValueError) as error:  # a NUL in a path
        raise UsageError(f"{named}: {unread(error)}") from error
    try:
        read = read_document(data)
    except DocumentError as error:
        raise DocumentError(f"{named}: {error}") from error
    if not is_sealed(data):
        raise DocumentError(
            f"{named}: the document was changed since digitize wrote it (its mark does not agree), so that nobody "
            "knows whether it can come out again. Take the file as it was written."
        )
    return Told(document, data, read.result, named, read.written_by)


def check_same(told: Told, made: Result) -> bool:
    """Compare what was made with what the document tells; return whether the document holds only some of the items.

    Raises
    ------
    DocumentError
        If the bytes differ: names the first place.
    """
    names = {item.name for item in told.result.items}
    items = tuple(item for item in made.items if item.name in names)
    alike = (document_bytes(made, items=items), document_line(replace(made, items=items)))
    if told.data in alike:
        return len(items) < len(made.items)
    where, was, now = next(_differences(json.loads(told.data), json.loads(alike[0])), ("its layout", "", ""))
    raise DocumentError(
        f"{told.named}: the outline does not come out again. The first that differs is {where}: {was} in the "
        f"document, {now} now. Perhaps other versions of the libraries, or another computer. Nothing was written."
    )


def _settings(told: Told) -> Settings:
    """Return the settings of the document's options, files looked for as the picture is."""
    options: dict[str, Any] = {**told.result.options, "usual": told.result.usual}
    photo = options.get("background_photo")
    try:
        if photo is not None:
            if not isinstance(photo, Mapping) or {type(photo.get(key)) for key in ("file", "sha256")} != {str}:
                raise UsageError("background_photo should tell a file and its SHA-256.")
            options["background_photo"] = str(_found(told, photo["file"], photo["sha256"], what="photo without items"))
        return Settings.of(options)
    except UsageError as error:
        raise UsageError(f"{told.named}: the document's options cannot be used: {error}") from error


def _found(told: Told, name: str, sha256: str, *, what: str) -> Path:
    """Return the file of a name and a hash, from beside the document or the working folder."""
    place, folders = told.named, (told.place.parent, Path())
    places = (folder / path for path in (name, Path(name).name) for folder in folders)
    there = [path for path in dict.fromkeys(places) if _is_file(path)]
    for path in there:
        if _sha256(path) == sha256:
            return path
    if there:
        raise PictureError(
            f"{place}: {there[0]} is not the {what} that the document was made of, but another or a changed one: its "
            f"SHA-256 begins with {_sha256(there[0])[:12]}, that of the document's with {sha256[:12]}. Put the right "
            "file there."
        )
    raise PictureError(
        f"{place}: the document's {what} {name} is neither beside it nor in the working folder. Put it there."
    )


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _sha256(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise PictureError(f"{path} cannot be read: {error.strerror or error}.") from error


def _differences(was: Any, now: Any, where: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield place and both values of what differs between two documents, the mark aside."""
    if isinstance(was, dict) and isinstance(now, dict):
        keys = [(f"{where}.{key}".lstrip("."), key) for key in {**was, **now} if where or key != "mark"]
        pairs = [(place, was.get(key), now.get(key)) for place, key in keys]
    elif isinstance(was, list) and isinstance(now, list) and len(was) == len(now):
        pairs = [(f"{where}[{n}]", *both) for n, both in enumerate(zip(was, now, strict=True))]
    else:
        if was != now:
            yield where, json.dumps(was)[:_SHOWN], json.dumps(now)[:_SHOWN]
        return
    for place, one, other in pairs:
        yield from _differences(one, other, place)
