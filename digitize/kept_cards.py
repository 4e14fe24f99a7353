"""What calipers read of a workshop's printed cards: kept under a name with its date, so that it is said once."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from .card.which import card_read
from .files import read_toml, values_of
from .kept import all_kept, keep, path_of, place_of
from .kinds import TwoNumbers
from .seal import BLANK, seal
from .trust.asked import CALIPER_ERROR

CARD_FORM = "digitize-card-reading"
OLD_DAYS = 180  # paper moves with the seasons' humidity; common practice, no source
_MEASURED = TwoNumbers(2, 1000, "mm")
_ROOM = "cards"
_OFF = "--caliper-error"


@dataclass(frozen=True, slots=True)
class CardReading:
    """What calipers read of a printed card."""

    name: str
    measured: str  # "53.9x53.8", as --measured takes it
    on: datetime.date
    caliper_error_mm: float | None = None  # k = 2, of the calipers it was read with, where that was said

    @property
    def measured_mm(self) -> tuple[float, float]:
        """The two readings, X and Y."""
        x, y = self.measured.split("x")
        return float(x), float(y)

    def days(self, today: datetime.date) -> int:
        """Return how many days ago it was read."""
        return (today - self.on).days

    def lines(self, today: datetime.date) -> list[str]:
        """Return the lines that say what was taken, and that it is old where it is."""
        days = self.days(today)
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
    card_read((x, y))  # which refuses what is no card's
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
    return _reading_of(path_of(_ROOM, name, what="reading", how=how))


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
    x, y = reading.measured_mm
    lines = [
        "# What calipers read of a printed card, black edge to black edge, for --card.",
        f"# {BLANK}",
        f'format = "{CARD_FORM}"',
        "version = 1",
        f'name = "{reading.name}"',
        f"measured_mm = [{x}, {y}]",
        f"on = {reading.on.isoformat()}",
        *([] if reading.caliper_error_mm is None else [f"caliper_error_mm = {reading.caliper_error_mm}"]),
        "",
    ]
    return seal("\n".join(lines).encode())
