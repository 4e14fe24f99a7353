"""A folder gone through picture by picture: what is accepted or rejected is put down with the batch's own records."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..batch.decided import Change
from ..batch.desk import Case, Desk
from ..errors import DigitizeError, PictureError, UsageError
from ..hand.steps import Corrections
from ..run import Made
from ..spoken import Spoken, spoken
from .begin import Begin
from .on_page import words_on_page
from .shelf import Entry, Shelf
from .steps import Wish

if TYPE_CHECKING:
    from .work import Work

Shown = dict[str, Any]
_OPEN = "open"


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

    def state(self, entry: Entry, wish: Wish) -> Shown:
        """Return what was decided of a picture, and whether of just this."""
        case = self._cases.get(entry.key)
        if case is None or case.decision is None:
            return {"decided": None}
        return {"decided": {"said": case.said, "same": self._desk.is_of(case, _change(entry, wish))}}

    def decide(self, work: Work, entry: Entry, said: object, seen: object) -> Shown:
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
        wish, made, sha256 = work.as_it_stands(entry, seen)
        with self._deciding:
            self._cases[entry.key] = self._decided(case, str(said), made, sha256, _change(entry, wish))
        return self.told(entry)

    def _decided(self, case: Case, said: str, made: Made | DigitizeError, sha256: str, change: Change) -> Case:
        if said == _OPEN:
            return self._desk.reopen(case)
        if said == "rejected":
            return self._desk.reject(case, sha256, made, change)
        if isinstance(made, DigitizeError):
            raise PictureError("There is no outline to accept. Mend what is named, or reject the picture.")
        return self._desk.accept(case, made, change)


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
