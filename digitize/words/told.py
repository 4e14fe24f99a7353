"""Which text of the table a sentence was made from, and the figures in it: for who says it in another language."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from string import Formatter

from .say import MESSAGES

ALONE, TOGETHER = "text", "together"


@dataclass(frozen=True, slots=True)
class Told:
    """What a sentence says, apart from its language."""

    form: str  # "text", "together", or the case of which the table has a text
    fields: dict[str, str]  # in words as they stand in the sentence


def told(code: str, message: str, *, together: bool = False) -> Told | None:
    """Return the form and the fields of a sentence about one thing, or of several `together`; None of any other.

    Examples
    --------
    >>> told("picture-soft", "The photo is soft: edges are 4.2 px wide, good are 2.").fields
    {'value': '4.2', 'limit': '2'}
    """
    for name, pattern in _patterns(code).items():
        if (name == TOGETHER) == together and (found := pattern.fullmatch(message)):
            return Told(name, found.groupdict())
    return None


def texts_of(code: str) -> dict[str, str]:
    """Return the texts that the table has for a code, by form."""
    row = MESSAGES.get(code)
    if row is None:
        return {}
    texts = {**row.cases, ALONE: row.text, TOGETHER: row.together}
    return {name: text for name, text in texts.items() if text}


@cache
def _patterns(code: str) -> dict[str, re.Pattern[str]]:
    return {name: _pattern(text) for name, text in texts_of(code).items()}


def _pattern(text: str) -> re.Pattern[str]:
    """Return what a text matches once it is filled in; its first letter may be a capital one."""
    parts, seen = [], set[str]()
    for before, name, spec, _ in Formatter().parse(text):
        parts.append(re.escape(before))
        if name is not None:
            figure = r"[-+\d.,e]+" if spec else ".+?"
            parts.append(f"(?P={name})" if name in seen else f"(?P<{name}>{figure})")
            seen.add(name)
    whole = "".join(parts)
    return re.compile(f"(?i:{whole[0]}){whole[1:]}" if whole[:1].isalpha() else whole, re.DOTALL)
