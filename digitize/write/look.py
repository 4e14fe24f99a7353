"""What is asked of the drawings: how they are drawn, and where their zero lies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..kinds import Choice, Json, Kind, Number, Switch, refusal
from ..parameters import Declared, given, option

HAIRLINE_MM = 0.025  # just below 0.001 inch, up to which many programs take a line for one to cut (no source)
DXF_VERSIONS = ("r12", "r2000", "r2010")
ORIGINS = {
    "lower-left": (0.0, 0.0),
    "lower-right": (1.0, 0.0),
    "upper-left": (0.0, 1.0),
    "upper-right": (1.0, 1.0),
    "centre": (0.5, 0.5),
}


@dataclass(frozen=True, slots=True)
class Stroke(Number):
    """A width of lines: hairline, or mm."""

    hint = 'float | Literal["hairline"]'
    metavar = "<float>"

    def read(self, word: str | bool, name: str) -> Any:
        """Return the word hairline, or the number."""
        return "hairline" if str(word).strip().lower() == "hairline" else Number.read(self, word, name)

    def checked(self, value: object, name: str) -> float:
        """Return the width in mm."""
        return HAIRLINE_MM if isinstance(value, str) and value == "hairline" else Number.checked(self, value, name)


@dataclass(frozen=True, slots=True)
class Look(Declared):
    """How drawings are drawn."""

    stroke_mm: float | None = option(
        None,
        Stroke(0.01, 5, "mm"),
        "SVG, PDF: width of item, cut and print lines: hairline (0.025) or mm; 0.18 unless said.",
    )
    filled: bool = option(False, Switch(), "SVG, PDF: closed curves as filled areas without lines, holes left open.")
    notes: str = option("on", Choice(("on", "off")), "DXF, SVG: off leaves all text out; SVG keeps it as description.")
    dxf_entities: str = option(
        "polylines",
        Choice(("polylines", "lines-and-arcs")),
        "DXF: polylines, or lines-and-arcs: every line and arc by itself.",
    )
    leads: str = option(
        "joined",
        Choice(("joined", "apart")),
        "Laser: each lead-in and its path joined as one line, or apart, the path closed.",
    )
    origin: str = option(
        "lower-left",
        Choice(tuple(ORIGINS)),
        "Zero of the drawings, of the items' box: lower-left, lower-right, upper-left, upper-right or centre.",
    )


class OfLook(Kind):
    """How drawings are drawn."""

    def checked(self, value: object, name: str) -> Look:
        """Return it."""
        if not isinstance(value, Look):
            raise refusal("look", value, "expected how drawings are drawn (Look, or Output.of)")
        return value

    def plain(self, value: Look) -> Json:
        """Return its values by field."""
        return given(value)


PLAIN = Look()
