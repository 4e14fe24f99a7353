"""What a person decided of a picture: accepted or rejected, and what they changed; until something else does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from ..hand.steps import Corrections
from ..settings import Settings
from ..spoken import Word, spoken
from .task import Wanted

Said = Literal["accepted", "rejected"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a person asks for of one picture beside what the batch asks of all."""

    words: Mapping[str, Word] = field(default_factory=dict)  # of options, by keyword, where they differ
    by_hand: Mapping[str, Any] | None = None  # all corrections by hand, as the document has them, where they differ

    def of(self, settings: Settings) -> Settings:
        """Return what is asked for with the change.

        Raises
        ------
        UsageError
            If both together cannot be meant.
        """
        if self.words:
            said = spoken(settings)
            settings = replace(said.settings({**said.words, **self.words}), by_hand=settings.by_hand)
        if self.by_hand is None:
            return settings
        corrections = Corrections.of(self.by_hand)
        return replace(settings, by_hand=corrections if corrections.steps else None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A decision on what came of one picture by certain options: of another it says nothing."""

    said: Said
    sha256: str  # of the picture; "" where it could not be read
    wanted: str  # hash of what it was to become, the change included
    change: Change = field(default_factory=Change)

    def changed(self, wanted: Wanted) -> Wanted:
        """Return what a picture is to become, with what the person changed."""
        return replace(wanted, settings=self.change.of(wanted.settings))
