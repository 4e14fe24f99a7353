"""Caliper readings of an item held against its outline, and all that is said of it: verdict, cause, next step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..records import Finding, Item, Result
from ..words.say import step_of
from .causes import Setting, likely_cause
from .readings import CALIPER_K2_MM, Compared, Verdict, compare, worst

_AGREE = "Outline and calipers agree within what both are known to."
_DOUBTFUL = "Too close to call: measure again, three times at the same place, and take the middle one."


@dataclass(frozen=True, slots=True)
class Checked:
    """What calipers read of an item beside its sizes, and why they disagree where they do."""

    item: Item
    compared: tuple[Compared, ...]
    cause: Finding | None  # None where nothing disagrees
    of_photo: bool = False

    @property
    def verdict(self) -> Verdict:
        """The worst of all readings."""
        return worst(self.compared)

    @property
    def sentence(self) -> str:
        """What follows from all readings at once; of a cause without its next step."""
        if self.cause is not None:
            return self.cause.message
        return _DOUBTFUL if self.verdict == "doubtful" else _AGREE

    @property
    def step(self) -> str:
        """What to do about the cause; empty where there is none."""
        return "" if self.cause is None else step_of(self.cause.code, of_photo=self.of_photo)

    def plain(self) -> dict[str, Any]:
        """Return it as JSON has it; sizes to 0.1 um."""
        cause = self.cause
        return {
            "item": self.item.name,
            "verdict": self.verdict,
            "readings": [_plain(one) for one in self.compared],
            "cause": None if cause is None else {"code": cause.code, "message": cause.message, "step": self.step},
        }


def checked(result: Result, item: Item, readings: Mapping[str, float], *, read_k2_mm: float = CALIPER_K2_MM) -> Checked:
    """Hold readings in mm, by the names of `readings.sizes_of`, against an item of a result.

    Raises
    ------
    UsageError
        If the item has no such size.
    """
    compared = compare(item, readings, read_k2_mm=read_k2_mm)
    cause = likely_cause(compared, setting_of(result, item))
    return Checked(item, compared, cause, of_photo=result.scale.kind == "camera")


def setting_of(result: Result, item: Item) -> Setting:
    """Return what is known of how an item's outline was made."""
    height = result.options.get("item_height_mm")
    return Setting(
        of_photo=result.scale.kind == "camera",
        item_height_mm=float(height) if isinstance(height, int | float) else None,
        kerf_mm=0.0 if item.pocket is None else item.pocket.kerf_mm,
        measured=result.scale.measured,
    )


def _plain(one: Compared) -> dict[str, Any]:
    return {
        "name": one.name,
        "outline_mm": round(one.size.mm, 4),
        "outline_k2_mm": round(one.size.k2_mm, 4),
        "read_mm": one.read_mm,
        "read_k2_mm": one.read_k2_mm,
        "difference_mm": round(one.difference_mm, 4),
        "verdict": one.verdict,
    }
