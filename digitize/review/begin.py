"""What the page begins with where nobody typed options: those of an outline document or of a batch."""

from __future__ import annotations

from dataclasses import dataclass

from ..hand.steps import Corrections, Step
from ..settings import Settings
from ..spoken import Spoken, spoken
from .steps import Wish


@dataclass(frozen=True, slots=True)
class Begin:
    """Options of a picture in the page's words, the steps by hand, and what was wanted of it before."""

    spoken: Spoken
    corrections: Corrections | None = None
    items: tuple[str, ...] | None = None  # names of those that are wanted; None: all
    then: Wish | None = None  # what a person made of it

    @property
    def first(self) -> Wish:
        """What is asked for at first."""
        return Wish(self.spoken.words, self.by_hand)

    @property
    def by_hand(self) -> tuple[Step, ...]:
        """The steps by hand."""
        return () if self.corrections is None else self.corrections.steps


def begun(settings: Settings, *, items: tuple[str, ...] | None = None) -> Begin:
    """Return what a page begins with that is to ask for these settings."""
    return Begin(spoken(settings), settings.by_hand, items)
