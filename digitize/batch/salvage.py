"""A ledger that is damaged or of another version: what is sound in it is read, the rest is set aside and never lost."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .row import COLUMNS, DECISION, LAYOUT, UnsoundRowError, read_decision, read_row

_DAMAGED = (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)  # others are the machine's
_KINDS: dict[str, tuple[str, tuple[type, ...]]] = {
    "thumb": ("key, width, height, jpeg", (bytes, int, int, bytes)),
    "report": ("name, sha256", (str, str)),
    "note": ("name, value", (str, bytes)),
    "asked": ("key, options", (bytes, str)),
    "decision": (DECISION, (bytes, str, str, str, str)),
}
_LATER = ("asked", "decision")  # tables that ledgers of this layout may be without
_PICTURE = f"picture ({COLUMNS})"
Line = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Sound:
    """What is sound of a ledger: its tables' lines, by the table's name and its columns."""

    tables: dict[str, list[Line]]

    @property
    def pictures(self) -> list[Line]:
        """The lines of pictures."""
        return self.tables[_PICTURE]


def fault(database: sqlite3.Connection) -> str:
    """Return what is wrong with a ledger; "" where nothing is, or it is not yet begun.

    Raises
    ------
    sqlite3.Error
        If the machine, not the ledger, is in the way.
    """
    try:
        layout = database.execute("PRAGMA user_version").fetchone()[0]
        tables = database.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
        if not tables and layout in (0, LAYOUT):
            return ""
        if layout != LAYOUT:
            return f"it is of another version of digitize (layout {layout}, this one has {LAYOUT})"
        checked = database.execute("PRAGMA quick_check(1)").fetchone()[0]
        if checked != "ok":
            return f"it is damaged ({checked.splitlines()[-1]})"
        for line in database.execute(f"SELECT {COLUMNS} FROM picture"):
            read_row(line)
        there = {name for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
        for table, (columns, _) in _KINDS.items():
            if table in there or table not in _LATER:
                database.execute(f"SELECT {columns} FROM {table} LIMIT 1").fetchone()
        if "decision" in there:
            for _, *values in database.execute(f"SELECT {DECISION} FROM decision"):
                read_decision(values)
    except sqlite3.Error as error:
        return f"it is damaged ({_checked(error)})"
    except UnsoundRowError as error:
        return f"a line of it cannot be meant ({str(error)[:120]})"
    return ""


def salvaged(database: sqlite3.Connection) -> Sound:
    """Return every line that can be read and is sound."""
    pictures: dict[bytes, Line] = {}
    for order in ("ASC", "DESC"):  # from both ends up to what is damaged
        for line in _lines(database, f"SELECT {COLUMNS} FROM picture ORDER BY key {order}"):
            with contextlib.suppress(UnsoundRowError):
                read_row(line)
                pictures.setdefault(line[0], line)
    tables: dict[str, list[Line]] = {_PICTURE: list(pictures.values())}
    for table, (columns, kinds) in _KINDS.items():
        lines = _lines(database, f"SELECT {columns} FROM {table}")
        sound = (line for line in lines if all(map(isinstance, line, kinds)))
        tables[f"{table} ({columns})"] = [line for line in sound if _is_sound(table, line, pictures)]
    return Sound(tables)


def _is_sound(table: str, line: Line, pictures: Collection[bytes]) -> bool:
    """Whether a line of a table beside that of pictures can be meant."""
    with contextlib.suppress(UnsoundRowError, ValueError):
        if table == "decision":
            read_decision(line[1:])
        if table == "asked":
            json.loads(line[1])
        return table != "thumb" or line[0] in pictures
    return False


def set_aside(path: Path) -> Path:
    """Rename a ledger, with what belongs to it; return its new path."""
    number = 1
    while (aside := path.with_name(f"ledger-damaged-{number}.sqlite")).exists():
        number += 1
    for ending in ("", "-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            path.with_name(path.name + ending).replace(aside.with_name(aside.name + ending))
    return aside


def sentence(path: Path, why: str, aside: Path, pictures: int) -> str:
    """Return what is said of it."""
    return (
        f"the ledger {path} could not be used as it was: {why}. It is set aside as {aside.name}; what is known of "
        f"{pictures} picture{'s' if pictures != 1 else ''} is sound, for the others their results are looked at."
    )


def _lines(database: sqlite3.Connection, query: str) -> Iterator[Line]:
    """Yield what can be read."""
    with contextlib.suppress(sqlite3.DatabaseError):
        yield from database.execute(query)


def _checked(error: sqlite3.Error) -> sqlite3.Error:
    """Return an error that tells of damage, raise any other."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)
    if code & 0xFF not in _DAMAGED:
        raise error
    return error
