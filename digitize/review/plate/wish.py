"""What is asked of a plate on the page: which items, options, and where pockets were put by hand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ...errors import UsageError
from ...kinds import Json
from ...plate.layout import MOST
from ...plate.plate import Place
from ...spoken import Words
from .form import start_words, words_from

_MOST_MM, _LONGEST = 1e5, 200
_MOST_ITEMS = 200  # kinds on a plate
_UNREADABLE = "The page sent what is no plate. Load it again."


@dataclass(frozen=True, slots=True)
class Spot:
    """Where one pocket lies on the bed, and whether it stays there."""

    place: Place
    locked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateWish:
    """All that is asked of a plate."""

    items: tuple[tuple[str, str], ...] = ()  # key of a picture, name of one of its items
    words: Words = field(default_factory=start_words)
    counts: Mapping[str, int] = field(default_factory=dict)  # at most so many pockets of a kind
    by_hand: bool = False  # whether the spots are all there is; else those that are locked stay among the rows
    spots: tuple[Spot, ...] = ()
    arts: Mapping[str, str] = field(default_factory=dict)  # key of the artwork of a kind

    @property
    def stay(self) -> tuple[Place, ...]:
        """The places that are locked."""
        return tuple(spot.place for spot in self.spots if spot.locked)

    def plain(self) -> dict[str, Json]:
        """Return it as JSON has it."""
        return {
            "items": [list(one) for one in self.items],
            "words": dict(self.words),
            "counts": dict(self.counts),
            "by_hand": self.by_hand,
            "spots": [plain_spot(one) for one in self.spots],
            "arts": dict(self.arts),
        }


def plain_spot(spot: Spot) -> list[Json]:
    """Return a spot as JSON has it: kind, x, y, turn, locked."""
    at = spot.place
    return [at.kind, at.x_mm, at.y_mm, at.turn_deg, spot.locked]


def wish_of(told: Mapping[str, Any], start: Words | None = None) -> PlateWish:
    """Return what a page asks for; what it does not say, `start` does.

    Raises
    ------
    UsageError
        If it is no such thing.
    """
    return PlateWish(
        items=_items(told.get("items", [])),
        words=words_from(told.get("words", {}), start_words() if start is None else start),
        counts=_counts(told.get("counts", {})),
        by_hand=told.get("by_hand") is True,
        spots=spots_of(told.get("spots", [])),
        arts=_arts(told.get("arts", {})),
    )


def spots_of(told: object) -> tuple[Spot, ...]:
    """Return the spots that a page sent.

    Raises
    ------
    UsageError
        If one is none, or there are too many.
    """
    if not isinstance(told, list) or len(told) > MOST:
        raise UsageError(_UNREADABLE)
    return tuple(map(_spot, told))


def _spot(told: object) -> Spot:
    if not isinstance(told, list) or len(told) != 5 or not _is_word(told[0]) or not isinstance(told[4], bool):
        raise UsageError(_UNREADABLE)
    kind, *numbers, locked = told
    if not all(isinstance(one, int | float) and not isinstance(one, bool) and _is_near(one) for one in numbers):
        raise UsageError("A place is three numbers: x and y in mm, and a turn in degrees.")
    x, y, turn = map(float, numbers)
    return Spot(Place(kind, x, y, turn), locked)


def _is_near(value: float) -> bool:
    return abs(value) < _MOST_MM and math.isfinite(value)


def _is_word(word: object) -> bool:
    return isinstance(word, str) and len(word) <= _LONGEST


def _items(told: object) -> tuple[tuple[str, str], ...]:
    if not isinstance(told, list) or len(told) > _MOST_ITEMS:
        raise UsageError(_UNREADABLE)
    if not all(isinstance(one, list) and len(one) == 2 and all(map(_is_word, one)) for one in told):
        raise UsageError(_UNREADABLE)
    return tuple(dict.fromkeys((one[0], one[1]) for one in told))


def _counts(told: object) -> dict[str, int]:
    if not isinstance(told, dict) or not all(_is_word(kind) for kind in told):
        raise UsageError(_UNREADABLE)
    if not all(isinstance(one, int) and not isinstance(one, bool) and 0 <= one <= MOST for one in told.values()):
        raise UsageError(f"How many pockets: expected a whole number from 0 to {MOST}.")
    return dict(told)


def _arts(told: object) -> dict[str, str]:
    if not isinstance(told, dict) or not all(_is_word(one) for pair in told.items() for one in pair):
        raise UsageError(_UNREADABLE)
    return dict(told)
