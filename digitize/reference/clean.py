"""Whether the edge of a plain square or disc is a clean step all round, or a thin shadow lies along one side of it.

A piece of card or plastic that lies on glass or paper throws a shadow along the side away from the light. Where that
is narrower than a few blurs, one step is fitted to both: the side comes out too far by up to the shadow's width, and
nothing but what the step leaves of the light tells it. Whether it is a shadow beside the reference or a pale rim of
its own cannot be told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import Contribution, Finding, FloatArray
from ..words.say import finding_of
from .quad import side_lengths

# The parts of clean edges leave 0.005 to 0.015 in renders, each at most 1.14 times the median; beside a strip of shadow
# 1 to 3 px wide one leaves 1.3 to 40 times that, and lies off by 5 to 60 times (rest x blur).
_LEAST_REST, _ALIKE, _OFF_BLURS = 0.007, 0.77, 30.0


@dataclass(frozen=True, slots=True)
class Unclean:
    """What lies along one side of a reference."""

    part: float  # standard uncertainty that it leaves in lengths
    said: tuple[Finding, ...]

    @property
    def budget(self) -> tuple[Contribution, ...]:
        """Its line of the uncertainty; none where all sides are alike."""
        if not self.part:
            return ()
        note = "something along one side of the reference"
        return (Contribution("x/y scale", length_per_mm=self.part, note=note, acts="with length"),)


def unclean_side(rest: FloatArray, blur_px: float, places_px: FloatArray, *, across_px: float) -> Unclean:
    """Tell whether one part of an edge is less of a clean step than the others.

    Parameters
    ----------
    rest
        (K,) what a clean step leaves of the light across each part, of its contrast, root mean square.
    blur_px
        Standard deviation of the step.
    places_px
        (K, 2) middles of the parts.
    across_px
        Side of the square, or diameter of the disc.
    """
    worst = int(np.argmax(rest))
    most, usual = float(rest[worst]), float(np.median(rest))
    if most < _LEAST_REST or usual > _ALIKE * most:
        return Unclean(0.0, ())
    off_px = 0.5 * _OFF_BLURS * most * blur_px
    x, y = places_px[worst].tolist()
    said = finding_of("reference-touched", value=usual / most, limit=_ALIKE, place_px=(x, y), x=x, y=y)
    return Unclean(off_px / across_px, (said,))


def unclean_square(rest: FloatArray, blur_px: float, corners_px: FloatArray) -> Unclean:
    """Tell it of a square's sides, each from one of its corners (4, 2) to the next."""
    middles = 0.5 * (corners_px + np.roll(corners_px, -1, axis=0))
    return unclean_side(rest, blur_px, middles, across_px=float(side_lengths(corners_px).mean()))
