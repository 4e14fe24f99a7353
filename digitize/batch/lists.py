"""Pictures named in a list file or a manifest."""

from __future__ import annotations

import csv
import difflib
import io
import os
from collections.abc import Collection
from pathlib import Path

from ..errors import PictureError, UsageError
from ..files import folded
from .find import Found
from .store import below, is_address, local

NOTE = "note"  # a column for people
_MOST_BYTES = 100_000_000  # a million long paths


def read_list(path: Path, root: str, *, anywhere: bool = False) -> list[Found]:
    """Read a list file: UTF-8, one path or address a line, relative to `root`; empty lines and ``#`` lines skipped.

    What it names lies in `root`, unless `anywhere` allows more.

    Raises
    ------
    PictureError
        If the file cannot be read.
    UsageError
        If a picture stands in it twice, or elsewhere.
    """
    lines = [line for line in _text(path).splitlines() if line.strip() and not line.startswith("#")]
    return _once([located(line, root, path, anywhere=anywhere) for line in lines], path)


def read_manifest(
    path: Path, root: str, options: Collection[str], *, files: Collection[str] = (), anywhere: bool = False
) -> list[Found]:
    """Read a manifest: CSV with a head line; ``file`` and any of `options`; an empty cell leaves the option alone.

    The separator is the comma, or the semicolon if the head line has one. A column ``note`` is for people. The
    pictures, and what cells of the columns `files` name, lie in `root`, unless `anywhere` allows more.

    Raises
    ------
    PictureError
        If the file cannot be read.
    UsageError
        If a column is not known, a row does not fit the head line, or a picture stands in it twice or elsewhere.
    """
    text = _text(path)
    head_line = text.partition("\n")[0]
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=";" if ";" in head_line else ",", strict=True))
    except csv.Error as error:
        raise UsageError(f"--manifest {path}: no proper CSV ({error}).") from error
    head = [cell.strip().lower().removeprefix("--") for cell in rows[0]] if rows else []
    _check_head(head, options, path)
    found = []
    for number, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(head):
            raise UsageError(f"--manifest {path}, row {number}: {len(row)} cells under {len(head)} columns.")
        cells = dict(zip(head, row, strict=True))
        name = cells.pop("file")
        if not name:
            raise UsageError(f"--manifest {path}, row {number}: the column file is empty.")
        given = {key: cell.strip() for key, cell in cells.items() if key != NOTE and cell.strip()}
        for column in files if not anywhere else ():
            if column in given:
                _check_place(given[column], os.path.abspath(given[column]), root, path)
        found.append(located(name, root, path, given, anywhere=anywhere))
    return _once(found, path)


def located(
    name: str, root: str, path: Path, options: dict[str, str] | None = None, *, anywhere: bool = False
) -> Found:
    """Return a picture that the file `path` names by an address, or by a path absolute or relative to `root`.

    Raises
    ------
    UsageError
        If it lies outside `root` and that is not allowed.
    """
    name = local(name)
    if is_address(name) or is_address(root):
        source = name if is_address(name) else below(root, name)
        if not anywhere:
            _check_place(name, source, root, path)
        return Found(key=name, source=source, options=options or {})
    source = os.path.join(root, name)
    if not anywhere:
        _check_place(name, os.path.abspath(source), root, path)
    key = os.path.relpath(source, root)
    if key.split(os.sep)[0] == "..":
        key = os.path.abspath(source)
    return Found(key=key.replace(os.sep, "/"), source=source, options=options or {})


def _check_place(name: str, source: str, root: str, path: Path) -> None:
    """Refuse what a list or manifest, perhaps somebody else's, names outside the folder."""
    home = root if is_address(root) else os.path.abspath(root)
    between = "/" if is_address(home) else os.sep
    inside = source.startswith(home.rstrip("/\\") + between) and ".." not in source.split("/")
    chained = is_address(home) and "::" in source.removeprefix(home)  # of file systems, each of which may lead anywhere
    if not inside or chained or is_address(source) != is_address(home):
        raise UsageError(
            f"{path}: {name} lies outside {home}. A list names only what is in the folder; if more is meant, say "
            "--anywhere."
        )


def _check_head(head: list[str], options: Collection[str], path: Path) -> None:
    if head.count("file") != 1:
        raise UsageError(f"--manifest {path}: the head line needs a column named file.")
    unknown = [name for name in head if name not in ("file", NOTE, *options)]
    if unknown or len(set(head)) != len(head):
        twice = next((name for name in head if head.count(name) > 1), "")
        near = difflib.get_close_matches(unknown[0], ["file", NOTE, *options], n=1) if unknown else []
        what = f"unknown column {unknown[0]!r}" if unknown else f"the column {twice} stands in it twice"
        question = f" Is {near[0]} meant?" if near else ""
        raise UsageError(f"--manifest {path}: {what}.{question} Columns: file, note, {', '.join(options)}.")


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:  # also a pipe, which another program fills
            data = file.read(_MOST_BYTES + 1)
        if len(data) > _MOST_BYTES:
            raise PictureError(f"{path} has more than {_MOST_BYTES / 1e6:g} MB, and is no list of pictures.")
        return data.decode("utf-8-sig")
    except OSError as error:
        raise PictureError(f"{path} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise PictureError(f"{path} is not UTF-8 text (byte {error.start}). Save it as UTF-8.") from error


def _once(found: list[Found], path: Path) -> list[Found]:
    seen: dict[str, Found] = {}
    for one in found:
        other = seen.setdefault(folded(one.key), one)
        if other is not one and (other.key == one.key or _is_same_file(other, one)):
            raise UsageError(f"{path}: {one.key} stands in it twice. Name every picture once.")
    return found


def _is_same_file(one: Found, other: Found) -> bool:
    """Tell whether two names that differ in capitals or accents only are one file here."""
    try:
        return os.path.samefile(one.source, other.source)
    except (OSError, ValueError):
        return False
