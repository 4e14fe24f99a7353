"""What a workshop says once: its usual options in one file, and what calipers read of its printed card, by name."""

from __future__ import annotations

import datetime
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_toml, write_files
from ..kinds import TwoNumbers, shown
from ..options import Said
from ..parameters import declared
from ..seal import BLANK, seal
from ..trust.asked import CALIPER_ERROR

FILE = "digitize.toml"
FORM, CARD_FORM = "digitize-workshop", "digitize-card-reading"
OLD_DAYS = 180  # paper moves with the seasons' humidity; common practice, no source
_MEASURED = TwoNumbers(2, 1000, "mm")
_OFF = "--caliper-error"
_NAME = re.compile(r"[\w-][\w .-]{0,60}")
_EXPECTED = f'expected usual options: format = "{FORM}", version = 1, then lines such as clearance = 0.2.'


def settings_folder() -> Path:
    """Return the folder of what is remembered for this user; the variable DIGITIZE_SETTINGS names another."""
    named = os.environ.get("DIGITIZE_SETTINGS")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_config_dir("digitize", appauthor=False))


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
    open_ = {name for name, key in {**keys, "card": "card"}.items() if not _was_said(context, key)}
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
    return Spoken(tuple(group.with_words(cells) for group in groups), lines)


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


# --- readings of the card --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CardReading:
    """What calipers read of a printed card."""

    name: str
    measured: str  # "53.9x53.8", as --measured takes it
    on: datetime.date
    caliper_error_mm: float | None = None  # k = 2, of the calipers it was read with, where that was said

    def lines(self, today: datetime.date) -> list[str]:
        """Return the lines that say what was taken, and that it is old where it is."""
        days = (today - self.on).days
        error = "" if self.caliper_error_mm is None else f" ±{self.caliper_error_mm:g}"
        lines = [f"card {self.name}: measured {self.measured}{error} mm on {self.on.isoformat()}"]
        if days > OLD_DAYS:
            lines.append(
                f"  LOOK  That is {days} days ago, and paper moves with the seasons. Measure the card again: digitize "
                f"profile card {self.name} --measured XxY."
            )
        return lines


def checked_name(name: str, what: str) -> str:
    """Return a name that something is kept under; `UsageError` if it would not do for a file."""
    if not _NAME.fullmatch(name):
        raise UsageError(f"{name!r} is no name for a {what}: use letters, digits, spaces and - only, such as desk.")
    return name


def keep_card(
    name: str, measured: str, *, today: datetime.date, caliper_error: str | None = None
) -> tuple[CardReading, Path]:
    """Remember what calipers read of a card under a name, and how far off they may be; an older reading of it goes.

    Raises
    ------
    UsageError, WriteError
        If the name or the reading cannot be meant, or it cannot be written.
    """
    checked_name(name, "card")
    x, y = _MEASURED.checked(_MEASURED.read(measured, "--measured"), "--measured")
    error = None if caliper_error is None else CALIPER_ERROR.checked(CALIPER_ERROR.read(caliper_error, _OFF), _OFF)
    reading = CardReading(name, f"{x:g}x{y:g}", today, error)
    path = _card_path(name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"{path.parent} cannot be made: {error.strerror or error}. Name another in DIGITIZE_SETTINGS."
        ) from error
    (written,) = write_files(path.parent, {path.name: _card_bytes(reading)}, force=False)
    return reading, written


def read_card(name: str) -> CardReading:
    """Return a reading by its name, or of the file of that name.

    Raises
    ------
    UsageError
        If there is none, or it cannot be meant.
    """
    path = Path(name) if name.endswith(".toml") else _card_path(name)
    if not path.is_file():
        kept = ", ".join(one.name for one in kept_cards()) or "none yet"
        raise UsageError(
            f"--card {name}: no reading is kept under that name (there are: {kept}). Measure the card and keep it: "
            f"digitize profile card {name} --measured 53.90x53.80."
        )
    expected = f"expected a card's reading (format {CARD_FORM}, version 1). Make one: digitize profile card."
    data = read_toml(path, option="--card", form=CARD_FORM, expected=expected)
    try:
        x, y = _MEASURED.checked(tuple(data["measured_mm"]), "measured_mm")
        on = data["on"]
        if not isinstance(on, datetime.date):
            raise TypeError("on is no date")
        error = data.get("caliper_error_mm")
        off = None if error is None else CALIPER_ERROR.checked(error, "caliper_error_mm")
        return CardReading(str(data["name"]), f"{x:g}x{y:g}", datetime.date(on.year, on.month, on.day), off)
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(f"--card {path}: a value is missing or cannot be meant: {error}.") from error


def kept_cards() -> list[CardReading]:
    """Return all readings that are kept, by name; damaged ones are passed over."""
    found = []
    for path in sorted((settings_folder() / "cards").glob("*.toml")):
        try:
            found.append(read_card(str(path)))
        except UsageError:
            continue
    return found


def _card_path(name: str) -> Path:
    return settings_folder() / "cards" / f"{name}.toml"


def _card_bytes(reading: CardReading) -> bytes:
    x, y = reading.measured.split("x")
    lines = [
        "# What calipers read of a printed card, black edge to black edge, for --card.",
        f"# {BLANK}",
        f'format = "{CARD_FORM}"',
        "version = 1",
        f'name = "{reading.name}"',
        f"measured_mm = [{float(x)}, {float(y)}]",
        f"on = {reading.on.isoformat()}",
        *([] if reading.caliper_error_mm is None else [f"caliper_error_mm = {reading.caliper_error_mm}"]),
        "",
    ]
    return seal("\n".join(lines).encode())
