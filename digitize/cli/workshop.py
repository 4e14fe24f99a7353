"""What a workshop says once: its usual options in one file; what is kept by name is taken and made here."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_toml
from ..kept import keep, place_of, settings_folder
from ..kept_cards import read_card
from ..kinds import shown
from ..options import Said
from ..parameters import declared
from ..settings import Settings

FILE = "digitize.toml"
FORM = "digitize-workshop"
_EXPECTED = f'expected usual options: format = "{FORM}", version = 1, then lines such as clearance = 0.2.'


@dataclass(frozen=True, slots=True)
class Spoken:
    """What was said on the command line, with what the workshop says once in the places where nothing was."""

    groups: tuple[Said[Any], ...]
    lines: list[str]  # what that set, for the screen


def with_usual(context: Any, groups: Sequence[Said[Any]], card: str | None, *, today: datetime.date) -> Spoken:
    """Put the workshop's usual options, and the card's kept reading, where the command line says nothing.

    Parameters
    ----------
    context
        Of the command-line library: tells what was said.
    groups
        What was said, as the command has it.
    card
        The name of a kept reading, where one was said.
    today
        To tell whether the reading is old.

    Raises
    ------
    UsageError
        If the file or the reading cannot be used, or both --card and --measured were said.
    """
    keys = {one.option: key for group in groups for key, one in declared(group.group).items()}
    usual = usual_options({**keys, "card": "card"})
    takes = {"card", *(key for group in groups for key in group.words)}  # not every command has all options
    open_ = {name for name, key in {**keys, "card": "card"}.items() if key in takes and not _was_said(context, key)}
    if "measured" not in open_:
        if card is not None:
            raise UsageError("--card and --measured both say what calipers read: give one of them.")
        open_ -= {"card"}
    taken = {name: word for name, word in (usual.words.items() if usual else ()) if name in open_}
    lines = [usual.line(taken)] if usual and taken else []
    card = card or str(taken.pop("card", "")) or None
    if card is not None:
        reading = read_card(card)
        lines += reading.lines(today)
        taken["measured"] = reading.measured
        if reading.caliper_error_mm is not None and "caliper-error" in open_:
            taken["caliper-error"] = f"{reading.caliper_error_mm:g}"
    cells = {keys[name]: word for name, word in taken.items()}
    spoken = tuple(group.with_words(cells) for group in groups)
    return Spoken(spoken, [*lines, *_scanner_lines(spoken, today)])


def _scanner_lines(groups: Sequence[Said[Any]], today: datetime.date) -> list[str]:
    """Return what is said of the scanner's profile that is taken, its age among it."""
    name = next((word for group in groups if (word := group.words.get("scanner"))), None)
    if not isinstance(name, str):
        return []
    from ..scanner.profile import read_scanner

    return read_scanner(name).lines(today)


def _was_said(context: Any, key: str) -> bool:
    source = context.get_parameter_source(key)
    return source is not None and source.name == "COMMANDLINE"


# --- usual options ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Usual:
    """The options of a workshop's file."""

    place: Path
    words: Mapping[str, str | bool]  # by option, as on the command line

    def line(self, taken: Mapping[str, str | bool]) -> str:
        """Return the line that says which of them were taken."""
        said = ", ".join(
            name if word is True else f"{name} {word}" for name, word in taken.items() if word is not False
        )
        return f"from {self.place}: {said}"


def usual_options(known: Mapping[str, Any]) -> Usual | None:
    """Return the usual options: of the file in the working folder, else of the user's own; None if there is neither.

    Parameters
    ----------
    known
        The options there are, by name.

    Raises
    ------
    UsageError
        If the file cannot be read, or names what is no option.
    """
    for place in (Path(FILE), settings_folder() / FILE):
        if place.is_file():
            return _read(place, known)
    return None


def _read(place: Path, known: Mapping[str, Any]) -> Usual:
    data = read_toml(place, option="usual options,", form=FORM, expected=_EXPECTED)
    words: dict[str, str | bool] = {}
    for name, value in data.items():
        if name in ("format", "version"):
            continue
        if name not in known:
            raise UsageError(f"{place}: {name} is no option. There are {', '.join(known)}.")
        words[name] = _word(place, name, value)
    return Usual(place, words)


def _word(place: Path, name: str, value: object) -> str | bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float | str):
        return str(value)
    if isinstance(value, list) and value and all(isinstance(one, int | float) for one in value):
        return "x".join(f"{one:g}" for one in value)
    raise UsageError(f"{place}: {name} = {shown(value)}: expected a number, a text in quotes, true or false.")


# --- scanners --------------------------------------------------------------------------------------------------


def keep_scanner(
    name: str, pictures: Sequence[Path], settings: Settings, *, max_mpx: float, today: datetime.date
) -> list[str]:
    """Make a scanner's profile from scans of the card and remember it under a name; return what is said of it.

    Raises
    ------
    DigitizeError
        If the name is none, a scan cannot be read, or they do not fit together.
    """
    from ..reading.picture import read_picture
    from ..recipe.scanner import make_scanner_profile
    from ..scanner.profile import ROOM, details, scanner_bytes

    place_of(ROOM, name)  # a name that is none is said before anything is read
    if not pictures:
        raise UsageError(f"Say which scans: digitize profile scanner {name} SCANS --measured 53.90x53.80.")
    scans = [read_picture(path, max_mpx=max_mpx) for path in pictures]
    made = make_scanner_profile(
        scans, name, today=today, measured_mm=settings.measured_mm, caliper_sd_mm=settings.caliper_sd_mm
    )
    written = keep(ROOM, name, scanner_bytes(made))
    return [
        *made.lines(today),
        *details(made),
        f"wrote {written}",
        f"From now on: digitize outline ... --scanner {name}",
    ]
