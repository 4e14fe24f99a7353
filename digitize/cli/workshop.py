"""What a workshop says once: its usual options in one file; what is kept by name is taken and made here."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..kept import keep, place_of
from ..kept_cards import CardReading, read_card
from ..options import Said
from ..parameters import declared
from ..records import Usual
from ..settings import Settings
from ..usual import CARD, less
from ..words.say import step_of
from .aside import stepping_back
from .usual_file import Found, found_file, meant, word_of

_OWN_SIZE = (
    "  LOOK  That is a card with a ring of a side of its own. Of the cards as they come the ring is drawn 54 mm from "
    "outer edge to outer edge: measure it again, black edge to black edge, if it is one of those."
)


@dataclass(frozen=True, slots=True)
class Spoken:
    """What was said on the command line, with what the workshop says once in the places where nothing was."""

    groups: tuple[Said[Any], ...]  # that of the settings knows what a file set
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
    found = found_file()
    words = {} if found is None else _for_pictures(found, [*keys, CARD])
    takes = {CARD, *(key for group in groups for key in group.words)}  # not every command has all options
    said = {name: key for name, key in {**keys, CARD: CARD}.items() if key in takes and _was_said(context, key)}
    typed = {key: word for group in groups for key, word in group.words.items()}
    open_ = {name for name, key in {**keys, CARD: CARD}.items() if key in takes} - said.keys()
    open_ -= stepping_back({name: typed.get(key) for name, key in said.items()})
    if "measured" not in open_:
        if card is not None:
            raise UsageError("--card and --measured both say what calipers read: give one of them.")
        open_ -= {CARD}
    usual = found.usual({name: word for name, word in words.items() if name in open_}) if found else None
    set_ = dict(usual.options) if usual else {}
    by_name = card or str(set_.get(CARD, "")) or None
    read, told = _of_card(by_name, open_, today) if by_name is not None else ({}, [])
    if card is not None:
        usual = less(usual, read)
    lines = [found.line(usual)] if found and usual else []
    if usual and card is None:
        usual = replace(usual, options=set_ | read)
    cells = {keys[name]: word for name, word in (set_ | read).items() if name != CARD}
    spoken = tuple(_with(group.with_words(cells), usual) for group in groups)
    return Spoken(spoken, [*lines, *told, *_scanner_lines(spoken, today)])


def with_row(said: Said[Any], cells: Mapping[str, str]) -> Said[Any]:
    """Return what holds for a row of a manifest: its cells come first, and the file's step back beside them."""
    gone = stepping_back(cells).intersection(said.usual.options) if said.usual else frozenset()
    unsaid = {key: None for key, one in declared(said.group).items() if one.option in gone}
    return replace(said, words={**said.words, **unsaid}, usual=less(said.usual, gone)).with_cells(cells)


def _with(said: Said[Any], usual: Usual | None) -> Said[Any]:
    """Let the settings know what a workshop's file set, also of files and limits."""
    return replace(said, usual=usual) if said.group is Settings else said


def _of_card(card: str, open_: Collection[str], today: datetime.date) -> tuple[dict[str, str | bool], list[str]]:
    """Return the options that a kept reading sets, and what is said of it."""
    reading = read_card(card)
    sets: dict[str, str | bool] = {"measured": reading.measured}
    if reading.caliper_error_mm is not None and "caliper-error" in open_:
        sets["caliper-error"] = f"{reading.caliper_error_mm:g}"
    return sets, reading.lines(today)


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


def _for_pictures(found: Found, known: Collection[str]) -> dict[str, str | bool]:
    """Return the file's options for pictures as words, by their names."""
    place = found.place
    there = [one for one in known if one != "format"]  # which says what the file is
    for name in found.top:
        if name not in known:
            raise UsageError(
                f"{place}: {name} is no option for pictures. {meant(name, known)}There are {', '.join(there)}. Those "
                "of plates stand below a line [plate], of templates below [template]."
            )
    return {name: word_of(place, name, value) for name, value in found.top.items()}


def reading_doubts(reading: CardReading) -> list[str]:
    """Return what is doubtful of a card's reading: what a picture of that card would be told, told before one is."""
    from ..card.which import card_read, unlikely_readings

    layout = card_read(reading.measured_mm)
    if layout is None:
        return [_OWN_SIZE]
    return [f"  LOOK  {one.message} {step_of(one.code)}" for one in unlikely_readings(layout, reading.measured_mm)]


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
