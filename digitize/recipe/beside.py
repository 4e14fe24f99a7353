"""What is seen beside the borders of many items at once: second borders, specks, edges that are no clean steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..edge.crumbs import Crumb, crumbs_on
from ..edge.curve import CurveDoubt, curve_doubts
from ..edge.runner import RunnerUp, find_runner_ups
from ..edge.shape import Unclean, unclean_steps
from ..edge.stretches import Stretch, stretches_along
from ..edge.thrown import farther_of, find_thrown
from ..edge.washed import Washed, washed_outs
from ..records import Contour, Picture
from ..reference.locate import Located

_AT_ONCE = 8  # exteriors whose light is held at a time


@dataclass(frozen=True, slots=True)
class Beside:
    """What was seen beside an item's contours."""

    contours: tuple[Contour, ...]  # exterior first
    light: tuple[Stretch | None, ...]  # along the exterior's stretches
    two: RunnerUp | None  # where there are two borders
    doubt: CurveDoubt | None  # of the curve to light, where the file states none
    unclean: tuple[Unclean | None, ...]  # of each contour
    washed: tuple[Washed | None, ...]
    crumbs: tuple[Crumb, ...]

    def is_of(self, contours: Sequence[Contour]) -> bool:
        """Whether these very contours were looked at."""
        return len(contours) == len(self.contours) and all(map(_is, contours, self.contours))

    def begins(self, contours: Sequence[Contour]) -> bool:
        """Whether this very exterior was looked at."""
        return contours[0] is self.contours[0]


def _is(one: Contour, other: Contour) -> bool:
    return one is other


def look_beside(
    picture: Picture, items: Sequence[tuple[Contour, ...]], located: Located, dust_mm: float
) -> list[Beside]:
    """Look at the light beside the contours of a scan's items, exterior first; the same whether of one or of many."""
    blur_px, mm_per_px = located.estimate.blur_px, float(np.mean(located.estimate.facts.mm_per_px))
    exteriors = [one[0] for one in items]
    lights: list[tuple[Stretch | None, ...]] = []
    twos: list[RunnerUp | None] = []
    for first in range(0, len(exteriors), _AT_ONCE):
        some = exteriors[first : first + _AT_ONCE]
        lights += stretches_along(picture, some, mm_per_px)
        found = find_runner_ups(some, lights[first:], blur_px=blur_px)
        for exterior, light, two in zip(some, lights[first:], found, strict=True):
            twos.append(farther_of(two, find_thrown(exterior, light, blur_px=blur_px, mm_per_px=mm_per_px)))
    doubts: list[CurveDoubt | None] = [None] * len(items)
    if not picture.curve_stated:
        doubts = curve_doubts(lights, [one.blur_px for one in exteriors])
    every = [contour for one in items for contour in one]
    of_each = [own if k == 0 else () for one, own in zip(items, lights, strict=True) for k in range(len(one))]
    unclean = unclean_steps(picture, every, blur_px=blur_px, mm_per_px=mm_per_px, lights=of_each)
    washed = washed_outs(picture, every, mm_per_px=mm_per_px)
    crumbs = crumbs_on(picture, every, dust_px=dust_mm / mm_per_px)
    made, first = [], 0
    for one, own, two, doubt in zip(items, lights, twos, doubts, strict=True):
        at = slice(first, first + len(one))
        specks = tuple(speck for specks in crumbs[at] for speck in specks)
        made.append(Beside(one, own, two, doubt, tuple(unclean[at]), tuple(washed[at]), specks))
        first += len(one)
    return made
