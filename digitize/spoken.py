"""Settings in the words that a form or a command line has for them, and back; what has none is held as it is."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from .cutting.ways import Cutting
from .errors import UsageError
from .kinds import Either, FileName, Json, Place, Switch, TwoNumbers
from .parameters import Parameter, declared
from .settings import ScannerName, Settings

Word = str | bool | None
Words = Mapping[str, Word]
_CUTTING = "cutting"


def sayable() -> tuple[str, ...]:
    """Return the keywords of the options that a word says all of: those that name no file and nothing kept."""
    return tuple(key for key, one in declared(Settings).items() if not isinstance(one.kind, FileName | ScannerName))


@dataclass(frozen=True, slots=True)
class Spoken:
    """Settings without corrections by hand: the words of the options that have any, the others as they are."""

    words: Words
    held: Mapping[str, Json] = field(default_factory=dict)  # by keyword, as `Settings.of` takes them

    def settings(self, words: Words) -> Settings:
        """Return what is asked for where these words are said in the place of its own.

        Raises
        ------
        UsageError
            If a word cannot be meant.
        """
        known = declared(Settings)
        said = {key: known[key].kind.read(word, known[key].name) for key, word in words.items() if word is not None}
        held = dict(self.held)
        of_cutting: Any = held.get(_CUTTING, {})
        if of_cutting and any(known[key].is_said(value) for key, value in said.items() if key in declared(Cutting)):
            del held[_CUTTING]  # a value of it is another now: the others are said beside it
            fields = {known[key].field: key for key in declared(Cutting)}
            said = {fields[name]: value for name, value in of_cutting.items() if name in fields} | {
                key: value for key, value in said.items() if known[key].is_said(value)
            }
        return Settings.of({**held, **said})


def spoken(settings: Settings) -> Spoken:
    """Return settings in words: ``spoken(s).settings(spoken(s).words) == s``, corrections by hand aside."""
    given = dict(settings.given())
    given.pop("by_hand", None)
    cutting: Any = given.pop(_CUTTING, {})
    typical = cutting.get("typical", ())
    known, keys = declared(Settings), sayable()
    fields = {known[key].field: key for key in keys}
    said = {key: value for key, value in given.items() if key in fields}
    said |= {name: value for name, value in cutting.items() if name in fields and name not in typical}
    words: dict[str, Word] = {key: _word(known[key], None) for key in keys}
    words |= {fields[name]: _word(known[fields[name]], value) for name, value in said.items()}
    words = _shortest(words, [fields[name] for name in said if name in cutting], settings)
    held = {key: value for key, value in given.items() if key not in fields}
    if cutting and _cutting_of(words) != settings.cutting:  # values of a table of the user's own
        unsaid = {key: _word(known[key], None) for key in keys if known[key].field in cutting}
        return Spoken({**words, **unsaid}, {**held, _CUTTING: cutting})
    return Spoken(words, held)


def _cutting_of(words: Words) -> object:
    """Return the way of cutting that words alone ask for; None where they ask for none that there is."""
    with contextlib.suppress(UsageError):
        return Spoken(words).settings(words).cutting
    return None


def _shortest(words: dict[str, Word], of_cutting: list[str], settings: Settings) -> dict[str, Word]:
    """Leave out what holds of the way of cutting without being said."""
    for key in of_cutting:
        less = {**words, key: None}
        words = less if _cutting_of(less) == settings.cutting else words
    return words


def _word(one: Parameter, value: Any) -> Word:
    """Return the word for a value as JSON has it; of None that of what holds where nothing is said."""
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
