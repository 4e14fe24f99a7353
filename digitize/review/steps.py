"""What was asked for, step by step: undone and done again without limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Self

Word = str | bool | None
Words = Mapping[str, Word]


@dataclass(frozen=True, slots=True)
class Steps:
    """The options of one picture as they were set one after another; the last is not always the one that holds.

    Examples
    --------
    >>> steps = Steps(({"ideal": False},)).with_next({"ideal": True})
    >>> steps.moved(-1).now, steps.moved(-1).moved(1).now, steps.moved(-9).at
    ({'ideal': False}, {'ideal': True}, 0)
    >>> steps.moved(-1).with_next({"ideal": None}).count
    2
    """

    all: tuple[Words, ...]
    at: int = 0

    @property
    def now(self) -> Words:
        """The options that hold."""
        return self.all[self.at]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.all)

    def with_next(self, words: Words) -> Self:
        """Return the steps with one more, in place of those that were undone; none if nothing changes."""
        if words == self.now:
            return self
        return replace(self, all=(*self.all[: self.at + 1], words), at=self.at + 1)

    def moved(self, by: int) -> Self:
        """Return the steps so many on or back, as far as there are any."""
        return replace(self, at=min(max(self.at + by, 0), self.count - 1))
