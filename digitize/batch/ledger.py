"""The ledger: what is known of every picture, in one SQLite file that survives being killed at any moment."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from ..errors import WriteError
from ..seal import __version__
from .decided import Decision
from .names import Place
from .row import COLUMNS, DECISION, LAYOUT, Row, read_decision, read_row
from .salvage import Sound, fault, salvaged, sentence, set_aside
from .task import Outcome, Thumb

HOUSE = ".digitize"  # the ledger's folder inside the results' folder
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
CREATE TABLE IF NOT EXISTS asked (
    key BLOB PRIMARY KEY,
    options TEXT NOT NULL         -- of the recipe, as the batch asks them, without what a person changed: JSON
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS decision (
    key BLOB PRIMARY KEY,
    said TEXT NOT NULL,           -- accepted, rejected
    sha256 TEXT NOT NULL,         -- of the picture, and
    wanted TEXT NOT NULL,         -- what it was to become, that it was said of
    change TEXT NOT NULL          -- what the person changed for this picture: JSON
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS note (name TEXT PRIMARY KEY, value BLOB) WITHOUT ROWID;
"""


class Ledger:
    """The ledger of one folder of results; to be used inside `digitize.batch.lock.only_run`."""

    def __init__(self, house: Path) -> None:
        """Open or begin the ledger in the folder `house`.

        One that is damaged, or of another version, is set aside; what is sound of it stays known.

        Raises
        ------
        WriteError
            If it cannot be opened or written.
        """
        self.path = house / "ledger.sqlite"
        self.said = ""  # what was wrong with it, and what was done
        with _said(self.path):
            self._db = _connected(self.path)
            why = fault(self._db)
            sound = salvaged(self._db) if why else None
            if sound is not None:
                self._db.close()
                aside = set_aside(self.path)
                self._db = _connected(self.path)
                self.said = sentence(self.path, why, aside, len(sound.pictures))
            self._db.executescript(f"BEGIN; {_TABLES} PRAGMA user_version = {LAYOUT}; COMMIT;")
            if sound is not None:
                with self._transaction():
                    self._refill(sound)

    def _refill(self, sound: Sound) -> None:
        """Put in what was sound."""
        for table, lines in sound.tables.items():
            for line in lines:
                self._db.execute(f"REPLACE INTO {table} VALUES ({','.join('?' * len(line))})", line)

    def close(self) -> None:
        """Close the file; nothing is pending."""
        with contextlib.suppress(sqlite3.Error):
            self._db.close()

    def row(self, key: str) -> Row | None:
        """Return what is known of a picture."""
        with _said(self.path):
            found = self._db.execute(f"SELECT {COLUMNS} FROM picture WHERE key = ?", (os.fsencode(key),)).fetchone()
        return None if found is None else _decided(read_row(found), self.decision(key))

    def rows(self) -> Iterator[Row]:
        """Yield all pictures in the order of their keys, without thumbnails."""
        with _said(self.path):
            decisions = dict(self._decisions())
            for found in self._db.execute(f"SELECT {COLUMNS} FROM picture ORDER BY key"):
                yield _decided(row := read_row(found), decisions.get(row.key))

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

    def asked(self, key: str) -> dict[str, Any] | None:
        """Return the options that the batch asked of a picture; None where they are not known."""
        with _said(self.path):
            found = self._db.execute("SELECT options FROM asked WHERE key = ?", (os.fsencode(key),)).fetchone()
        return None if found is None else json.loads(found[0])

    def set_asked(self, key: str, options: Mapping[str, Any]) -> None:
        """Put down the options that the batch asks of a picture, where they are others."""
        text = json.dumps(options, sort_keys=True)
        with _said(self.path):
            if self.asked(key) != json.loads(text):
                self._db.execute("REPLACE INTO asked VALUES (?, ?)", (os.fsencode(key), text))

    def decision(self, key: str) -> Decision | None:
        """Return what a person decided of a picture."""
        return dict(self._decisions("WHERE key = ?", os.fsencode(key))).get(key)

    def _decisions(self, where: str = "", *values: object) -> Iterator[tuple[str, Decision]]:
        with _said(self.path):
            for key, *values_of in self._db.execute(f"SELECT {DECISION} FROM decision {where}", values):
                yield os.fsdecode(key), read_decision(values_of)

    def decide(self, key: str, decision: Decision) -> None:
        """Put down what a person decided of a picture, at once."""
        change = json.dumps(asdict(decision.change))
        values = (os.fsencode(key), decision.said, decision.sha256, decision.wanted, change)
        with _said(self.path):
            self._db.execute("REPLACE INTO decision VALUES (?, ?, ?, ?, ?)", values)

    def undecide(self, key: str) -> None:
        """Forget what was decided of a picture."""
        with _said(self.path):
            self._db.execute("DELETE FROM decision WHERE key = ?", (os.fsencode(key),))

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
            self._db.execute(f"REPLACE INTO picture ({COLUMNS}) VALUES ({','.join('?' * 13)})", values)
            self._db.execute("DELETE FROM thumb WHERE key = ?", (key,))
            if (thumb := outcome.thumb) is not None:
                self._db.execute("INSERT INTO thumb VALUES (?, ?, ?, ?)", (key, thumb.width, thumb.height, thumb.jpeg))

    def touch(self, key: str, stat: str) -> None:
        """Put down that a file is the same although the system says otherwise of it."""
        with _said(self.path):
            self._db.execute("UPDATE picture SET stat = ? WHERE key = ?", (stat, os.fsencode(key)))

    def rename(self, key: str, now: str) -> None:
        """Know a picture, and its thumbnail, by another key from now on."""
        with _said(self.path), self._transaction():
            for table in ("picture", "thumb", "asked", "decision"):
                self._db.execute(f"UPDATE {table} SET key = ? WHERE key = ?", (os.fsencode(now), os.fsencode(key)))

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


def _decided(row: Row, decision: Decision | None) -> Row:
    """Return what is known of a picture with what was decided of just that."""
    holds = decision is not None and (decision.sha256, decision.wanted) == (row.outcome.sha256, row.wanted)
    return replace(row, decided=decision.said) if holds and decision is not None else row


def _text(outcome: Outcome) -> str:
    values = asdict(outcome)
    del values["thumb"], values["adopted"], values["worked"], values["peak_mb"]
    return json.dumps(values)


def _connected(path: Path) -> sqlite3.Connection:
    database = sqlite3.connect(path, isolation_level=None)
    with contextlib.suppress(sqlite3.DatabaseError):  # what is wrong shows at the first look into it
        # An exclusive lock needs no shared memory, which folders on a server do not have.
        database.execute("PRAGMA locking_mode = EXCLUSIVE")
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = FULL")
    return database


@contextlib.contextmanager
def _said(path: Path) -> Iterator[None]:
    """Turn what SQLite says into a sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise WriteError(
            f"the ledger {path} cannot be used: {error}. What was written stays; make room or mend what is named, "
            "then run the same command again."
        ) from error
