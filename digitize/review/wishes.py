"""What is asked for of each picture: at first, and then step by step on the page, kept as it is made."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ..hand.steps import Corrections
from ..settings import Settings
from .aside import Aside
from .asked import Asked
from .form import said_with, start_words
from .kept import Before, Keeps, Kept
from .shelf import Entry
from .steps import Steps, Wish, gone_on


class Wishes:
    """The steps of every picture that is open; `sha256` is always the picture's."""

    def __init__(self, asked: Asked) -> None:
        self._recipe = asked.recipe
        self._steps: dict[str, Steps] = {}
        self._kept: Keeps = Aside(asked.aside) if asked.to is None and asked.aside is not None else Kept(asked.to)
        self._before: dict[str, Before] = {}  # steps that were gone on from
        self._by_hand = asked.recipe.made().by_hand if asked.recipe.words.get("by_hand") else None

    @property
    def trouble(self) -> str:
        """Why nothing can be kept, a sentence."""
        return self._kept.trouble

    def steps(self, entry: Entry, sha256: str, *, is_shown: bool = True) -> Steps:
        """Return the steps of a picture: those kept of it, and then what the command line said, if that is new.

        They begin here once it `is_shown`.
        """
        found = self._steps.get(entry.key)
        if found is None:
            found = self._begun(entry, sha256)
            return self._steps.setdefault(entry.key, found) if is_shown else found
        return found

    def keep(self, entry: Entry, sha256: str, steps: Steps) -> None:
        """Take other steps of a picture for those that hold, and keep them.

        Raises
        ------
        WriteError
            If the folder that was named cannot be written to.
        """
        self._steps[entry.key] = steps
        self._kept.keep(sha256, entry.name, steps)

    def told_before(self, entry: Entry) -> dict[str, Any] | None:
        """Return when the steps that were gone on from were made, and how many; None where nobody had done anything."""
        before = self._before.get(entry.key)
        if before is None or before.steps.count < 2:
            return None
        return {"steps": before.steps.count - 1, "when": before.when_s}

    def first(self, entry: Entry, sha256: str) -> Wish:
        """Return what is asked for of a picture before anybody did anything on the page."""
        if entry.begin is not None:
            return entry.begin.first
        given = self._by_hand
        hand = given.steps if given is not None and given.picture in ("", sha256) else ()
        return Wish(start_words(self._recipe), hand)

    def settings(self, entry: Entry, wish: Wish, sha256: str) -> Settings:
        """Return the recipe's settings for what is asked for.

        Raises
        ------
        UsageError
            If it cannot be meant.
        """
        if entry.begin is None:
            recipe = said_with(self._recipe, wish.words)
            settings = replace(recipe, words={**recipe.words, "by_hand": None}).made()
        else:
            settings = entry.begin.spoken.settings(wish.words)
            if wish.by_hand == entry.begin.by_hand:
                return replace(settings, by_hand=entry.begin.corrections)
        return replace(settings, by_hand=Corrections(steps=wish.by_hand, picture=sha256) if wish.by_hand else None)

    def _begun(self, entry: Entry, sha256: str) -> Steps:
        """Return the steps that a picture begins with."""
        first, before = self.first(entry, sha256), self._kept.of(sha256)
        found, is_other = Steps((first,)), True
        if before is not None:
            self._before[entry.key], found = before, gone_on(before.steps, first)
            is_other = found != before.steps
        then = None if entry.begin is None else entry.begin.then
        return found if then is None or not is_other else found.with_next(then)
