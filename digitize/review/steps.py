"""What was asked for, step by step: undone and done again without limit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

from ..errors import UsageError
from ..hand.steps import Step
from ..spoken import Words


class UnseenError(UsageError):
    """A page asks for something that has not seen the last step."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for of a picture: its options, and its corrections by hand."""

    words: Words
    by_hand: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class Steps:
    """What was asked for of one picture, one after another; the last is not always the one that holds.

    Examples
    --------
    >>> steps = Steps((Wish({"ideal": False}),)).with_next(Wish({"ideal": True}))
    >>> steps.moved(-1).now.words, steps.moved(-1).moved(1).now.words, steps.moved(-9).at
    ({'ideal': False}, {'ideal': True}, 0)
    >>> steps.moved(-1).with_next(Wish({"ideal": None})).count
    2
    """

    all: tuple[Wish, ...]
    at: int = 0

    @property
    def now(self) -> Wish:
        """What holds."""
        return self.all[self.at]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.all)

    def with_next(self, wish: Wish) -> Self:
        """Return the steps with one more, in place of those that were undone; none if nothing changes."""
        if wish == self.now:
            return self
        return replace(self, all=(*self.all[: self.at + 1], wish), at=self.at + 1)

    def moved(self, by: int) -> Self:
        """Return the steps so many on or back, as far as there are any."""
        return replace(self, at=min(max(self.at + by, 0), self.count - 1))


def gone_on(kept: Steps, first: Wish) -> Steps:
    """Return kept steps as what is asked for first now takes them up: where it began so before, as they are.

    Else what is asked for now is one step more; of what a hand did it leaves what it says nothing of.

    Examples
    --------
    >>> kept = Steps((Wish({"ideal": False}),)).with_next(Wish({"ideal": True}))
    >>> gone_on(kept, Wish({"ideal": False})).at, gone_on(kept, Wish({"ideal": None})).at
    (1, 2)
    """
    if first.words == kept.all[0].words and first.by_hand in ((), kept.all[0].by_hand):
        return kept
    return kept.with_next(Wish(first.words, first.by_hand or kept.now.by_hand))
