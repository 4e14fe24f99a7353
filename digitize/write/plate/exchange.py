"""A drawing as seen from the other side: left and right exchanged about x = 0, words kept readable."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...plate.plate import Zero
from ...records import Circle, OpenPath, Path
from ..paths import Stroke
from ..sheet import Line, Text
from .frame import Laid

EXCHANGED: dict[Zero, Zero] = {
    "top-left": "top-right",
    "top-right": "top-left",
    "bottom-left": "bottom-right",
    "bottom-right": "bottom-left",
}
_FLIP = np.array([-1.0, 1.0])


def exchanged_curves(curves: Sequence[Laid]) -> list[Laid]:
    """Return curves with left and right exchanged; each begins where it began, arcs turn the other way."""
    return [(layer, _exchanged(curve)) for layer, curve in curves]


def exchanged_lines(lines: Sequence[Line]) -> list[Line]:
    """Return lines with left and right exchanged."""
    return [(layer, (-a[0], a[1]), (-b[0], b[1])) for layer, a, b in lines]


def exchanged_texts(texts: Sequence[Text]) -> list[Text]:
    """Return texts about the exchanged middles of their places, to be read as before."""
    return [Text(text.layer, text.words, (-text.box.right, text.at[1]), text.height_mm) for text in texts]


def _exchanged(curve: Stroke) -> Stroke:
    if isinstance(curve, Circle):
        return Circle((-curve.centre_mm[0], curve.centre_mm[1]), curve.radius_mm)
    if isinstance(curve, OpenPath):
        return OpenPath(curve.points_mm * _FLIP, -curve.bulges)
    return Path(curve.points_mm * _FLIP, -curve.bulges)
