"""What calipers said, as options declare it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..errors import UsageError
from ..kinds import Number, refusal
from ..parameters import Declared, option
from .readings import CALIPER_K2_MM

CALIPER_ERROR = Number(0.001, 1.0, "mm")
_SIZE = Number(0.1, 5000.0, "mm")


def caliper_error() -> Any:
    """Declare how far off one reading of calipers may be."""
    return option(CALIPER_K2_MM, CALIPER_ERROR, "How far off one reading of your calipers may be, mm (k = 2).")


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings(Declared):
    """Caliper readings of one item."""

    length_mm: float | None = option(None, _SIZE, "Length along the item, mm, as calipers read it.")
    width_mm: float | None = option(None, _SIZE, "Least width of the item, mm, jaws turned until they read least.")
    box_width_mm: float | None = option(None, _SIZE, "Width of its box as it lay in the picture, mm.")
    box_height_mm: float | None = option(None, _SIZE, "Height of its box as it lay in the picture, mm.")
    caliper_error_mm: float = caliper_error()

    def by_name(self, holes: Sequence[str] = ()) -> dict[str, float]:
        """Return the readings by the names of `digitize.trust.readings.sizes_of`, those of holes among them.

        Parameters
        ----------
        holes
            Of each its number and its diameter: "1=4.02".

        Raises
        ------
        UsageError
            If a hole's number or diameter cannot be meant, or stands twice.
        """
        said = {
            "length": self.length_mm,
            "width": self.width_mm,
            "box width": self.box_width_mm,
            "box height": self.box_height_mm,
        }
        found = {name: mm for name, mm in said.items() if mm is not None}
        for word in holes:
            name, mm = _hole(word)
            if name in found:
                raise UsageError(f"--hole {word}: {name} is given twice.")
            found[name] = mm
        return found


def read_size(word: str, name: str) -> float:
    """Return what calipers read of one size, mm; `name` is what a refusal calls it. `UsageError` if it is none."""
    return _SIZE.checked(_SIZE.read(word, name), name)


def _hole(word: str) -> tuple[str, float]:
    number, _, diameter = word.partition("=")
    if not re.fullmatch("[1-9][0-9]{0,5}", number.strip()) or not diameter:
        raise refusal(
            "--hole", word, "expected a hole's number, as on the check picture, and its diameter, such as 1=4.02"
        )
    return f"hole {int(number)}", read_size(diameter, "--hole")
