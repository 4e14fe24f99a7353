"""The file of what a workshop says once: found, read, its values as words of a command line."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_toml
from ..kept import settings_folder
from ..kinds import shown
from ..records import Usual
from ..usual import usual_words

FILE = "digitize.toml"
FORM = "digitize-workshop"
_WITH_COMMAS = frozenset(
    {"item-at", "square-at", "plate-hole", "only"}
)  # between their numbers, where others have an x
TABLES = ("plate", "template", "unroll")  # commands whose options stand in a table of their name
_EXPECTED = f'expected usual options: format = "{FORM}", version = 1, then lines such as clearance = 0.2.'


@dataclass(frozen=True, slots=True)
class Found:
    """A workshop's file: what stands in it, as TOML has it."""

    place: Path
    top: Mapping[str, Any]  # options for pictures
    tables: Mapping[str, Mapping[str, Any]]  # of the other commands, by their names
    is_here: bool  # in the working folder

    def usual(self, words: Mapping[str, str | bool]) -> Usual | None:
        """Return words of some of its options as what the file set; None if there are none."""
        return Usual(FILE, "working" if self.is_here else "settings", dict(words)) if words else None

    def line(self, usual: Usual) -> str:
        """Return what is said on the screen of what it set."""
        return f"from {self.place}: {usual_words(usual)}"


def found_file() -> Found | None:
    """Return the workshop's file: the one in the working folder, else the user's own; None if there is neither.

    Raises
    ------
    UsageError
        If it cannot be read, or has a table of no command.
    """
    for folder in (Path(), settings_folder()):
        if (folder / FILE).is_file():
            data = read_toml(folder / FILE, option="usual options,", form=FORM, expected=_EXPECTED)
            tables = {name: value for name, value in data.items() if isinstance(value, dict)}
            _refuse_strange(folder / FILE, tables)
            top = {key: value for key, value in data.items() if key not in (*tables, "format", "version")}
            return Found(folder / FILE, top, tables, is_here=folder == Path())
    return None


def _refuse_strange(place: Path, tables: Mapping[str, object]) -> None:
    """Refuse tables of no command: what stands in them would hold nowhere, and nobody would be told."""
    for name in tables:
        if name not in TABLES:
            raise UsageError(
                f"{place}: [{name}] is no table of options. There are {', '.join(f'[{one}]' for one in TABLES)}; "
                "options for pictures stand above them."
            )


def meant(name: str, known: Collection[str]) -> str:
    """Return the question whether a misspelt name is another one; empty if none is like it."""
    near = difflib.get_close_matches(name, known, n=1)
    return f"Is {near[0]} meant? " if near else ""


def words_of(place: Path, name: str, value: object) -> list[str]:
    """Return what the file says of an option that may be given several times: in a list, or once.

    Raises
    ------
    UsageError
        If it is none.
    """
    if not isinstance(value, list) or (name in _WITH_COMMAS and all(map(_is_number, value))):
        value = [value]
    return [str(word_of(place, name, one)) for one in value]


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def word_of(place: Path, name: str, value: object) -> str | bool:
    """Return a value of the file as a word of the command line, or as a switch.

    Raises
    ------
    UsageError
        If it is none.
    """
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float | str):
        return str(value)
    if isinstance(value, list) and value and all(map(_is_number, value)):
        return ("," if name in _WITH_COMMAS else "x").join(map(str, value))
    raise UsageError(f"{place}: {name} = {shown(value)}: expected a number, a text in quotes, true or false.")
