"""Whether all sides of a plain square are clean steps, or a thin shadow, a rim or another thing lies along one.

A piece of card or plastic that lies on glass or paper throws a shadow along the side away from the light. Where that
is narrower than a few blurs, one step is fitted to both: the side comes out too far by up to the shadow's width, and
nothing but what the step leaves of the light tells it. Whether it is a shadow beside the square or a pale rim of its
own cannot be told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import Contribution, Finding, FloatArray
from ..words.say import finding_of
from .quad import side_lengths

# The sides of clean squares leave 0.006 to 0.015 in renders, each at most 1.14 times the median of the four; beside a
# strip of shadow 1 to 3 px wide one leaves 1.3 to 14 times that, and lies off by 5 to 60 times (rest x blur).
_LEAST_REST, _ALIKE, _OFF_BLURS = 0.007, 0.77, 30.0


@dataclass(frozen=True, slots=True)
class Unclean:
    """What lies along one side of a square."""

    part: float  # standard uncertainty that it leaves in lengths
    said: tuple[Finding, ...]

    @property
    def budget(self) -> tuple[Contribution, ...]:
        """Its line of the uncertainty; none where all sides are alike."""
        if not self.part:
            return ()
        note = "something along one side of the square"
        return (Contribution("x/y scale", length_per_mm=self.part, note=note, acts="with length"),)


def unclean_side(rest: FloatArray, blur_px: float, corners_px: FloatArray) -> Unclean:
    """Tell whether one side is less of a clean step than the others.

    Parameters
    ----------
    rest
        (4,) what a clean step leaves of the light across each side, of its contrast, root mean square.
    blur_px
        Standard deviation of the step.
    corners_px
        (4, 2) corners of the square, each side from one to the next.
    """
    worst = int(np.argmax(rest))
    most, usual = float(rest[worst]), float(np.median(rest))
    if most < _LEAST_REST or usual > _ALIKE * most:
        return Unclean(0.0, ())
    off_px = 0.5 * _OFF_BLURS * most * blur_px
    x, y = (0.5 * (corners_px[worst] + corners_px[(worst + 1) % 4])).tolist()
    said = finding_of("reference-touched", value=usual / most, limit=_ALIKE, place_px=(x, y), x=x, y=y)
    return Unclean(off_px / float(side_lengths(corners_px).mean()), (said,))
