"""What a workshop says once: its usual options in one file, and what calipers read of its printed card, by name."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_toml, values_of
from ..kept import all_kept, keep, path_of, place_of, settings_folder
from ..kinds import TwoNumbers, shown
from ..options import Said
from ..parameters import declared
from ..seal import BLANK, seal
from ..settings import Settings
from ..trust.asked import CALIPER_ERROR

FILE = "digitize.toml"
FORM, CARD_FORM = "digitize-workshop", "digitize-card-reading"
OLD_DAYS = 180  # paper moves with the seasons' humidity; common practice, no source
_MEASURED = TwoNumbers(2, 1000, "mm")
_ROOM = "cards"
_OFF = "--caliper-error"
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


def keep_card(
    name: str, measured: str, *, today: datetime.date, caliper_error: str | None = None
) -> tuple[CardReading, Path]:
    """Remember what calipers read of a card under a name, and how far off they may be; an older reading of it goes.

    Raises
    ------
    UsageError, WriteError
        If the name or the reading cannot be meant, or it cannot be written.
    """
    place_of(_ROOM, name)  # a name that is none is said first
    x, y = _MEASURED.checked(_MEASURED.read(measured, "--measured"), "--measured")
    error = None if caliper_error is None else CALIPER_ERROR.checked(CALIPER_ERROR.read(caliper_error, _OFF), _OFF)
    reading = CardReading(name, f"{x:g}x{y:g}", today, error)
    return reading, keep(_ROOM, name, _card_bytes(reading))


def read_card(name: str) -> CardReading:
    """Return a reading by its name, or of the file of that name.

    Raises
    ------
    UsageError
        If there is none, or it cannot be meant.
    """
    how = f"Measure the card and keep it: digitize profile card {name} --measured 53.90x53.80."
    return _reading_of(Path(name) if name.endswith(".toml") else path_of(_ROOM, name, what="reading", how=how))


def _reading_of(path: Path) -> CardReading:
    expected = f"expected a card's reading (format {CARD_FORM}, version 1). Make one: digitize profile card."
    data = read_toml(path, option="--card", form=CARD_FORM, expected=expected)
    with values_of(f"--card {path}"):
        x, y = _MEASURED.checked(tuple(data["measured_mm"]), "measured_mm")
        on = data["on"]
        if not isinstance(on, datetime.date):
            raise TypeError("on is no date")
        error = data.get("caliper_error_mm")
        off = None if error is None else CALIPER_ERROR.checked(error, "caliper_error_mm")
        name = str(data["name"])
    return CardReading(name, f"{x:g}x{y:g}", datetime.date(on.year, on.month, on.day), off)


def kept_cards() -> list[CardReading]:
    """Return all readings that are kept, by name; damaged ones are passed over."""
    return all_kept(_ROOM, _reading_of)


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
