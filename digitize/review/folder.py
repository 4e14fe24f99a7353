"""A folder gone through picture by picture: what is accepted or rejected is put down with the batch's own records."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from ..batch.decided import Change
from ..batch.desk import Case, Desk
from ..errors import DigitizeError, PictureError, UsageError
from ..hand.steps import Corrections
from ..run import Lying, Made
from ..spoken import Spoken, spoken
from .begin import Begin
from .on_page import words_on_page
from .shelf import Entry, Shelf
from .steps import Wish

Shown = dict[str, Any]
_OPEN = "open"


class Outlining(Protocol):
    """What is asked for of pictures, and what is made of them (`digitize.review.work.Work`)."""

    def as_it_stands(self, entry: Entry, seen: object) -> tuple[Wish, str]:
        """Return what is asked for of a picture, and its SHA-256."""
        ...

    def made_of(self, entry: Entry, wish: Wish) -> Made:
        """Return the result of what is asked for."""
        ...


class Folder:
    """The pictures of a desk as entries of the page, in the order in which they are gone through."""

    def __init__(self, desk: Desk, shelf: Shelf) -> None:
        self._desk, self._deciding = desk, threading.Lock()
        self._cases: dict[str, Case] = {}
        said: dict[str, Spoken] = {}
        for case in desk.cases():
            options = json.dumps(case.settings.given(), sort_keys=True)
            if options not in said:
                said[options] = spoken(case.settings)
            begin = Begin(said[options], case.settings.by_hand)
            if case.decision is not None:
                begin = replace(begin, then=_wish(begin, case.decision.change))
            entry = shelf.add_one(case.source, begin=begin, name=case.key)
            self._cases[entry.key] = case

    @property
    def results(self) -> Path:
        """The folder that accepted pictures' files lie in."""
        return self._desk.results

    def told(self, entry: Entry) -> Shown:
        """Return what a list says of a picture."""
        case = self._cases.get(entry.key)
        if case is None:  # dropped on the page
            return {}
        return {"said": case.said, "why": words_on_page(case.why), "known": case.row is not None}

    def lying(self, entry: Entry, wish: Wish, sha256: str) -> Lying | None:
        """Return what the files tell that lie there of a picture, if they are what is asked for; None: outline it."""
        case = self._cases.get(entry.key)
        return None if case is None else self._desk.lying(case, sha256, _change(entry, wish))

    def state(self, entry: Entry, wish: Wish) -> Shown:
        """Return what was decided of a picture, and whether of just this."""
        case = self._cases.get(entry.key)
        if case is None or case.decision is None:
            return {"decided": None}
        return {"decided": {"said": case.said, "same": self._desk.is_of(case, _change(entry, wish))}}

    def decide(self, work: Outlining, entry: Entry, said: object, seen: object) -> Shown:
        """Accept a picture as it stands, reject it, or leave it open again; return what the list says of it then.

        Raises
        ------
        UsageError
            If it is none of this folder, or there is nothing to accept.
        DigitizeError
            As `Desk.accept`.
        """
        case = self._cases.get(entry.key)
        if case is None:
            raise UsageError("This picture is none of the folder's: take its files as a zip.")
        if said not in ("accepted", "rejected", _OPEN):
            raise UsageError("A picture is accepted, rejected, or left open.")
        wish, sha256 = work.as_it_stands(entry, seen)
        change = _change(entry, wish)
        with self._deciding:
            if said == _OPEN:
                self._cases[entry.key] = self._desk.reopen(case)
            elif said == "rejected":
                make = partial(work.made_of, entry, wish)
                self._cases[entry.key] = self._desk.reject(case, sha256, make, change)
            else:
                make = partial(_made_to_accept, work, entry, wish)
                self._cases[entry.key] = self._desk.accept(case, sha256, make, change)
        return self.told(entry)


def _made_to_accept(work: Outlining, entry: Entry, wish: Wish) -> Made:
    try:
        return work.made_of(entry, wish)
    except DigitizeError as error:
        raise PictureError("There is no outline to accept. Mend what is named, or reject the picture.") from error


def _change(entry: Entry, wish: Wish) -> Change:
    """Return what a page asks for beside what it began with."""
    begin = entry.begin
    assert begin is not None
    words = {key: word for key, word in wish.words.items() if word != begin.spoken.words.get(key)}
    if wish.by_hand == begin.by_hand:
        return Change(words=words)
    return Change(words=words, by_hand={"step": [step.plain() for step in wish.by_hand]})


def _wish(begin: Begin, change: Change) -> Wish | None:
    """Return what a change asks for; None of none."""
    if not change.words and change.by_hand is None:
        return None
    by_hand = begin.by_hand if change.by_hand is None else Corrections.of(change.by_hand).steps
    return Wish({**begin.spoken.words, **change.words}, by_hand)
