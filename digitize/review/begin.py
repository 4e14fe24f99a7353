"""What the page begins with where nobody typed options: those of an outline document or a batch, in its own words."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..errors import UsageError
from ..hand.steps import Step
from ..kinds import Either, Json, Place, Switch, TwoNumbers
from ..parameters import Parameter, declared
from ..settings import Settings
from .form import OFFERED
from .steps import Word, Words

_CUTTING = "cutting"


@dataclass(frozen=True, slots=True)
class Begin:
    """Options of a picture: the words of those the page offers, the others as they are, and the steps by hand."""

    words: Words
    held: Mapping[str, Json] = field(default_factory=dict)  # by keyword, as `Settings.of` takes them
    by_hand: tuple[Step, ...] = ()
    items: tuple[str, ...] | None = None  # names of those that are wanted; None: all

    def settings(self, words: Words) -> Settings:
        """Return what is asked for where the page says these words.

        Raises
        ------
        UsageError
            If a word cannot be meant.
        """
        known = declared(Settings)
        said = {key: known[key].kind.read(word, known[key].name) for key, word in words.items() if word is not None}
        return Settings.of({**self.held, **said})


def begun(settings: Settings, *, items: tuple[str, ...] | None = None) -> Begin:
    """Return what a page begins with that is to ask for these settings."""
    given = dict(settings.given())
    by_hand = () if settings.by_hand is None else settings.by_hand.steps
    given.pop("by_hand", None)
    cutting: Any = given.get(_CUTTING, {})
    typical = cutting.get("typical", ())
    known = declared(Settings)
    fields = {known[key].field: key for key in OFFERED}
    said = {key: value for key, value in given.items() if key in fields}
    said |= {name: value for name, value in cutting.items() if name in fields and name not in typical}
    words: dict[str, Word] = {key: _word(known[key], None) for key in OFFERED}
    words |= {fields[name]: _word(known[fields[name]], value) for name, value in said.items()}
    words = _shortest(words, [fields[name] for name in said if name in cutting], settings)
    held = {key: value for key, value in given.items() if key not in fields and key != _CUTTING}
    begin = Begin(words, held, by_hand, items)
    if cutting and _cutting_of(begin) != settings.cutting:  # values of a table of the user's own
        begin = Begin(words, {**held, _CUTTING: cutting}, by_hand, items)
    return begin


def _cutting_of(begin: Begin) -> object:
    """Return the way of cutting that its words alone ask for; None where they ask for none that there is."""
    with contextlib.suppress(UsageError):
        return begin.settings(begin.words).cutting
    return None


def _shortest(words: dict[str, Word], of_cutting: list[str], settings: Settings) -> dict[str, Word]:
    """Leave out what holds of the way of cutting without being said."""
    for key in of_cutting:
        less = {**words, key: None}
        words = less if _cutting_of(Begin(less)) == settings.cutting else words
    return words


def _word(one: Parameter, value: Any) -> Word:
    """Return what the page's field has for a value as JSON has it; None for none."""
    if value is None:
        value = one.unsaid
        return value if isinstance(one.kind, Switch) or value is None else one.kind.word(value)
    if isinstance(one.kind, Either):
        return "yes" if value == one.kind.choices[0] else "no"
    if isinstance(one.kind, TwoNumbers):
        return _plain(value[0]) if value[0] == value[1] else "x".join(map(_plain, value))
    if isinstance(one.kind, Place):
        return ",".join(map(_plain, value))
    return value if isinstance(value, bool | str) else _plain(value)


def _plain(number: float) -> str:
    """Return a number in as many digits as it has."""
    return repr(float(number)).removesuffix(".0")
