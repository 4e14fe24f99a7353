"""Calipers' readings typed on the page, held against an item's outline as `digitize check` holds them."""

from __future__ import annotations

from typing import Any

from ..errors import UsageError
from ..records import Item, Result
from ..trust.asked import read_size
from ..trust.checked import checked
from ..words.say import title_of
from ..words.told import told as told_of
from .on_page import step_on_page, words_on_page

_LONGEST = 40  # characters of a reading
_UNREADABLE = "The page sent no readings of an item. Load it again."


def check_on_page(result: Result, number: object, sent: object, *, read_k2_mm: float) -> dict[str, Any]:
    """Return what is to be shown beside an item's readings.

    Parameters
    ----------
    result
        The result as it is shown.
    number
        Of the item, from 1.
    sent
        What was typed, in words, by the names of `digitize.trust.readings.sizes_of`.
    read_k2_mm
        How far off one reading may be (k = 2).

    Returns
    -------
    "check": as `digitize check --json` says it, with the page's fields in the places of options, and the sentence
    that follows; None while nothing is typed. "faults": of readings that cannot be meant, why, by name.

    Raises
    ------
    UsageError
        If the page sent what it never does, or the item has no such size.
    """
    item, words = _item(result, number), _words(sent)
    readings: dict[str, float] = {}
    faults: dict[str, str] = {}
    for name, word in words.items():
        try:
            readings[name] = read_size(word, name)
        except UsageError as error:
            faults[name] = str(error).removeprefix(f"{name} ")
    if not readings:
        return {"check": None, "faults": faults}
    found = checked(result, item, readings, read_k2_mm=read_k2_mm)
    told = {**found.plain(), "sentence": words_on_page(found.sentence)}
    if found.cause is not None:
        code, step = found.cause.code, told["cause"]["step"]
        text = told_of(code, found.sentence)
        form = None if text is None else {"form": text.form, "fields": text.fields, "items": [], "of": 0}
        told["cause"] = {"code": code, "title": title_of(code), "step": step_on_page(code, step), "told": form}
        told["cause"]["of_photo"] = found.of_photo
    return {"check": told, "faults": faults}


def _item(result: Result, number: object) -> Item:
    if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= len(result.items):
        raise UsageError(_UNREADABLE)
    return result.items[number - 1]


def _words(sent: object) -> dict[str, str]:
    if not isinstance(sent, dict):
        raise UsageError(_UNREADABLE)
    if not all(isinstance(word, str) and len(word) <= _LONGEST for word in sent.values()):
        raise UsageError("A reading is a short number in mm.")
    return {name: word.strip() for name, word in sent.items() if word.strip()}
