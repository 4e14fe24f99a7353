"""The ledger: what is known of every picture, in one SQLite file that survives being killed at any moment."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from ..errors import WriteError
from ..seal import __version__
from .names import Place
from .task import ItemFigures, Outcome, Thumb, Warned

HOUSE = ".digitize"  # the ledger's folder inside the results' folder
_LAYOUT = 2
_TABLES = """
CREATE TABLE IF NOT EXISTS picture (
    key BLOB PRIMARY KEY,         -- path below the batch's folder, or whole path or address
    folder TEXT NOT NULL,         -- place of its results
    stem TEXT NOT NULL,
    source BLOB NOT NULL,
    stat TEXT NOT NULL,           -- what the system said of the file; unchanged: it is not read again
    sha256 TEXT NOT NULL,
    wanted TEXT NOT NULL,         -- hash of options and version
    version TEXT NOT NULL,
    max_mpx REAL NOT NULL,
    state TEXT NOT NULL,          -- done, failed, unwritten
    outcome TEXT NOT NULL,        -- figures, warnings, files: JSON
    seconds REAL NOT NULL,
    ended REAL NOT NULL           -- seconds since 1970
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS thumb (key BLOB PRIMARY KEY, width INTEGER, height INTEGER, jpeg BLOB) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS report (name TEXT, sha256 TEXT, PRIMARY KEY (name, sha256)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS note (name TEXT PRIMARY KEY, value BLOB) WITHOUT ROWID;
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What the ledger knows of one picture."""

    key: str
    place: Place
    source: str
    stat: str
    wanted: str
    max_mpx: float
    outcome: Outcome

    @property
    def shown(self) -> str:
        """The key, fit for a line of text."""
        return plain(self.key)


class Ledger:
    """The ledger of one folder of results; to be used inside `digitize.batch.lock.only_run`."""

    def __init__(self, house: Path) -> None:
        """Open or begin the ledger in the folder `house`.

        Raises
        ------
        WriteError
            If it cannot be opened, is damaged, or is of a later version.
        """
        self.path = house / "ledger.sqlite"
        with _said(self.path):
            self._db = sqlite3.connect(self.path, isolation_level=None)
            # An exclusive lock needs no shared memory, which folders on a server do not have.
            self._db.execute("PRAGMA locking_mode = EXCLUSIVE")
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            layout = self._db.execute("PRAGMA user_version").fetchone()[0]
            if layout not in (0, _LAYOUT):
                raise WriteError(f"{self.path} is of another version of digitize. Choose another folder with --to.")
            self._db.executescript(f"BEGIN; {_TABLES} PRAGMA user_version = {_LAYOUT}; COMMIT;")

    def close(self) -> None:
        """Close the file; nothing is pending."""
        with contextlib.suppress(sqlite3.Error):
            self._db.close()

    def row(self, key: str) -> Row | None:
        """Return what is known of a picture."""
        with _said(self.path):
            found = self._db.execute(f"SELECT {_COLUMNS} FROM picture WHERE key = ?", (os.fsencode(key),)).fetchone()
        return None if found is None else _row(found)

    def rows(self) -> Iterator[Row]:
        """Yield all pictures in the order of their keys, without thumbnails."""
        with _said(self.path):
            for found in self._db.execute(f"SELECT {_COLUMNS} FROM picture ORDER BY key"):
                yield _row(found)

    def places(self) -> dict[str, Place]:
        """Return the place of every picture's results."""
        with _said(self.path):
            found = self._db.execute("SELECT key, folder, stem FROM picture")
            return {os.fsdecode(key): Place(folder, stem) for key, folder, stem in found}

    def thumb(self, key: str) -> Thumb | None:
        """Return a picture's thumbnail."""
        with _said(self.path):
            query = "SELECT width, height, jpeg FROM thumb WHERE key = ?"
            found = self._db.execute(query, (os.fsencode(key),)).fetchone()
        return None if found is None else Thumb(width=found[0], height=found[1], jpeg=found[2])

    def record(self, row: Row) -> None:
        """Put down what came of a picture, in the place of what was known, all or nothing."""
        outcome, key = row.outcome, os.fsencode(row.key)
        values = (
            key,
            row.place.folder,
            row.place.stem,
            os.fsencode(row.source),
            row.stat,
            row.wanted,
            row.max_mpx,
            outcome.sha256,
            __version__,
            outcome.state,
            _text(outcome),
            outcome.seconds,
            time.time(),
        )
        with _said(self.path), self._transaction():
            self._db.execute(f"REPLACE INTO picture ({_COLUMNS}) VALUES ({','.join('?' * 13)})", values)
            self._db.execute("DELETE FROM thumb WHERE key = ?", (key,))
            if (thumb := outcome.thumb) is not None:
                self._db.execute("INSERT INTO thumb VALUES (?, ?, ?, ?)", (key, thumb.width, thumb.height, thumb.jpeg))

    def touch(self, key: str, stat: str) -> None:
        """Put down that a file is the same although the system says otherwise of it."""
        with _said(self.path):
            self._db.execute("UPDATE picture SET stat = ? WHERE key = ?", (stat, os.fsencode(key)))

    def reports(self, name: str) -> set[str]:
        """Return the hashes of the reports of this name that may stand in the folder."""
        with _said(self.path):
            return {found[0] for found in self._db.execute("SELECT sha256 FROM report WHERE name = ?", (name,))}

    def add_reports(self, hashes: Mapping[str, str]) -> None:
        """Put down the hashes of reports about to be written, so that the next run knows them as ours."""
        with _said(self.path), self._transaction():
            self._db.executemany("REPLACE INTO report VALUES (?, ?)", list(hashes.items()))

    def keep_reports(self, hashes: Mapping[str, str]) -> None:
        """Forget all but these."""
        with _said(self.path), self._transaction():
            self._db.execute("DELETE FROM report")
            self._db.executemany("INSERT INTO report VALUES (?, ?)", list(hashes.items()))

    def note(self, name: str) -> str | None:
        """Return what was noted under a name."""
        with _said(self.path):
            found = self._db.execute("SELECT value FROM note WHERE name = ?", (name,)).fetchone()
        return None if found is None else os.fsdecode(found[0])

    def set_note(self, name: str, value: str) -> None:
        """Note a value under a name."""
        with _said(self.path):
            self._db.execute("REPLACE INTO note VALUES (?, ?)", (name, os.fsencode(value)))

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")


_COLUMNS = "key, folder, stem, source, stat, wanted, max_mpx, sha256, version, state, outcome, seconds, ended"


def _row(found: tuple[Any, ...]) -> Row:
    key, folder, stem, source, stat, wanted, max_mpx = found[:7]
    return Row(
        key=os.fsdecode(key),
        place=Place(folder, stem),
        source=os.fsdecode(source),
        stat=stat,
        wanted=wanted,
        max_mpx=max_mpx,
        outcome=_outcome(found[10]),
    )


def _text(outcome: Outcome) -> str:
    values = asdict(outcome)
    del values["thumb"], values["worked"], values["peak_mb"]
    return json.dumps(values)


def _outcome(text: str) -> Outcome:
    values = json.loads(text)
    items = [{**item, "rings": tuple(map(tuple, item["rings"]))} for item in values.pop("items")]
    return Outcome(
        items=tuple(ItemFigures(**item) for item in items),
        warned=tuple(Warned(**warned) for warned in values.pop("warned")),
        files=tuple((name, size) for name, size in values.pop("files")),
        **values,
    )


@contextlib.contextmanager
def _said(path: Path) -> Iterator[None]:
    """Turn what SQLite says into a sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise WriteError(
            f"the ledger {path} cannot be used: {error}. What was written stays; make room or mend what is named, "
            "then run the same command again, or choose another folder with --to."
        ) from error


def plain(text: str) -> str:
    """Return a path fit for a line of text and for UTF-8: control characters and odd bytes escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text)
