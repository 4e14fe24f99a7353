"""What the ledger knows of one picture, and how it is read back: only what is sound."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..errors import UsageError
from ..hand.steps import Corrections
from .decided import Decision, Said
from .names import Place
from .task import Outcome

LAYOUT = 2  # of the ledger's tables
COLUMNS = "key, folder, stem, source, stat, wanted, max_mpx, sha256, version, state, outcome, seconds, ended"

DECISION = "key, said, sha256, wanted, change"


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
    decided: Said | Literal[""] = ""  # by a person, of just this

    @property
    def needs_person(self) -> bool:
        """Whether a person has to look."""
        return self.decided == "rejected" or (self.decided == "" and self.outcome.needs_person)

    @property
    def is_good(self) -> bool:
        """Whether there is a result that nobody rejected."""
        return self.outcome.state == "done" and self.decided != "rejected"

    @property
    def shown(self) -> str:
        """The key, fit for a line of text."""
        return plain(self.key)


class UnsoundRowError(Exception):
    """A line of the ledger that digitize cannot have written."""


def read_row(found: tuple[Any, ...]) -> Row:
    """Return a line of the ledger, its columns in the order of `COLUMNS`; members it does not know are left out.

    Raises
    ------
    UnsoundRowError
        If it is not whole, or names a place outside the folder of results.
    """
    import msgspec

    key, folder, stem, source, stat, wanted, max_mpx = found[:7]
    try:
        outcome = msgspec.convert(json.loads(found[10]), Outcome)
        row = Row(
            key=os.fsdecode(key),
            place=Place(folder, stem),
            source=os.fsdecode(source),
            stat=stat,
            wanted=wanted,
            max_mpx=max_mpx,
            outcome=outcome,
        )
        msgspec.convert(msgspec.to_builtins([folder, stem, stat, wanted]), list[str])
        msgspec.convert(max_mpx, float)
    except (msgspec.ValidationError, ValueError, TypeError, RecursionError) as error:
        raise UnsoundRowError(str(error)) from error
    if not _is_inside(row):
        raise UnsoundRowError(f"{plain(row.key)} has a name that leads out of the folder")
    return row


def read_decision(found: Sequence[Any]) -> Decision:
    """Return a decision, its columns in the order of `DECISION` without the key.

    Raises
    ------
    UnsoundRowError
        If digitize cannot have written it.
    """
    import msgspec

    said, sha256, wanted, change = found
    try:
        told = {"said": said, "sha256": sha256, "wanted": wanted, "change": json.loads(change)}
        decision = msgspec.convert(told, Decision)
        if decision.change.by_hand is not None:
            Corrections.of(decision.change.by_hand)
    except (msgspec.ValidationError, ValueError, TypeError, RecursionError, UsageError) as error:
        raise UnsoundRowError(str(error)) from error
    return decision


def _is_inside(row: Row) -> bool:
    """Tell whether all names stay below the folder of results."""
    parts = [row.place.stem, *(name for name, _ in row.outcome.files), *filter(None, row.place.folder.split("/"))]
    plain_parts = all(part not in ("", ".", "..") and not set(part) & set("/\\\0") for part in parts)
    return plain_parts and not row.place.folder.startswith("/") and ".." not in row.key.split("/")


def plain(text: str) -> str:
    """Return a path fit for a line of text and for UTF-8: control characters and odd bytes escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text)
