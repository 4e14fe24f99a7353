"""Usual options that a workshop's file set, and which of them still hold where a person says otherwise later."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any, get_args, get_type_hints

from .kinds import Json, Kind, refusal
from .parameters import declared
from .records import Usual

_Word = str | bool | None
CARD = "card"  # the name of a reading, which sets what calipers read
_FOLDERS = get_args(get_type_hints(Usual)["folder"])


class OfUsual(Kind):
    """What a workshop's file set."""

    def checked(self, value: object, name: str) -> Usual:
        """Return it, also of its members as JSON has them."""
        if isinstance(value, Mapping) and set(value) == {"file", "folder", "options"}:
            value = Usual(**value)
        if (
            isinstance(value, Usual)
            and isinstance(value.file, str)
            and isinstance(value.options, dict)
            and value.folder in _FOLDERS
        ):
            return value
        raise refusal(name, value, "expected which options a workshop's file set")

    def plain(self, value: Usual) -> Json:
        """Return its members."""
        return {"file": value.file, "folder": value.folder, "options": dict(value.options)}


def less(usual: Usual | None, names: Collection[str]) -> Usual | None:
    """Return what a file set without some options; a card's name goes with its reading. None if nothing is left."""
    if usual is None:
        return None
    gone = {*names, *((CARD,) if "measured" in names else ())}
    left = {name: word for name, word in usual.options.items() if name not in gone}
    return replace(usual, options=left) if left else None


def changed(group: Any, before: Mapping[str, _Word], now: Mapping[str, _Word]) -> frozenset[str]:
    """Return the names of a group's options that say another value now than before; both are words by keyword.

    Raises
    ------
    UsageError
        If a word cannot be meant.
    """
    known = declared(group)

    def value(key: str, word: _Word) -> object:
        return word if word is None else known[key].kind.read(word, known[key].name)

    pairs = [(key, before[key], word) for key, word in now.items() if key in before and key in known]
    return frozenset(
        known[key].option for key, was, word in pairs if was != word and value(key, was) != value(key, word)
    )


def usual_words(usual: Usual) -> str:
    """Return what a file set, in a line: ``square 25, clearance 0.2, ideal``."""
    said = ((name, word) for name, word in usual.options.items() if word is not False)
    return ", ".join(name if word is True else f"{name} {word}" for name, word in said)
