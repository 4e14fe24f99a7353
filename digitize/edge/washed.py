"""Where an edge is washed out: its step far fainter, or come about over a longer way, than on the rest of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..measure.profiles import light_between
from ..measure.ragged import EndToEnd, median
from ..records import BoolArray, Contour, FloatArray, Picture
from .smoothing import correlate_rings
from .stretches import outward_normals

_WASHED = 0.3  # of the border's usual step: a fainter one is no edge that can be followed
_STEP_BLURS = 1.5  # either way from the edge, between which its step is taken
_FAR_BLURS = 5.0  # the same, where an edge has come to its end; chosen, no source
# Steps near and far, over the usual ones, below which an edge is soft, and points that are. Of 67 rendered photos and
# mats one point of all is under 0.8; of glare as wide as three pixels and more 7 and more are under 0.7.
_SOFT, _LEAST_SOFT = 0.7, 5
_WASHED_MM = 0.5  # along the edge, over which it is taken; half as much counts
_AT_ONCE = 16  # contours whose light is held at a time


@dataclass(frozen=True, slots=True)
class Washed:
    """Stretches of an edge whose step is far fainter than elsewhere on it."""

    long_mm: float  # of the edge, all together
    place_px: tuple[float, float]  # where it is faintest


def washed_outs(picture: Picture, contours: Sequence[Contour], *, mm_per_px: float) -> list[Washed | None]:
    """Stretches where an edge's mean step over half a millimetre is far fainter than elsewhere; None of those without.

    Parameters
    ----------
    picture
        That the contours were traced in.
    contours
        Exterior or holes.
    mm_per_px
        Size of a pixel.
    """
    half = max(1, round(0.5 * _WASHED_MM / mm_per_px))
    found: list[Washed | None] = [None] * len(contours)
    long = [k for k, contour in enumerate(contours) if len(contour.points_px) >= 4 * half]
    for first in range(0, len(long), _AT_ONCE):
        numbers = long[first : first + _AT_ONCE]
        along = _Along.of([contours[k] for k in numbers])
        size = along.steps(picture, _STEP_BLURS, half)
        faint = size < _WASHED * along.medians(size)
        for k, one in along.longest(faint, size, half, mm_per_px).items():
            found[numbers[k]] = one
    return found


def soft_stretches(picture: Picture, contours: Sequence[Contour], *, mm_per_px: float) -> list[Washed | None]:
    """Stretches where an edge's step comes about over a longer way than elsewhere: glare that runs out over the edge.

    Near the edge the step is fainter there than it is on most of the way, and than it is farther off, where print that
    is only like the ground is as faint. As `washed_outs`.
    """
    half = max(1, round(0.5 * _WASHED_MM / mm_per_px))
    found: list[Washed | None] = [None] * len(contours)
    long = [k for k, contour in enumerate(contours) if len(contour.points_px) >= 4 * half]
    for first in range(0, len(long), _AT_ONCE):
        numbers = long[first : first + _AT_ONCE]
        along = _Along.of([contours[k] for k in numbers])
        near, far = (along.steps(picture, blurs, half) for blurs in (_STEP_BLURS, _FAR_BLURS))
        share = near / np.maximum(far, 1e-9)
        soft = (near < _SOFT * along.medians(near)) & (share < _SOFT * along.medians(share))
        for k, one in along.longest(soft, near, max(half, _LEAST_SOFT - 1), mm_per_px).items():
            found[numbers[k]] = one
    return found


@dataclass(frozen=True, slots=True)
class _Along:
    """Points of contours, end to end."""

    points: FloatArray  # (N, 2)
    rings: EndToEnd
    normals: FloatArray  # (N, 2)
    blurs: FloatArray  # of each contour

    @classmethod
    def of(cls, contours: Sequence[Contour]) -> _Along:
        points = np.concatenate([one.points_px for one in contours])
        rings = EndToEnd.of([one.points_px for one in contours])
        return cls(points, rings, outward_normals(points, rings), np.array([one.blur_px for one in contours]))

    def steps(self, picture: Picture, blurs: float, half: int) -> FloatArray:
        """How large the step across the edge is between so many blurs either way, a mean over neighbours; (N,)."""
        across = self.rings.rows(np.maximum(1.0, blurs * self.blurs))[:, None] * self.normals
        step = light_between(picture, self.points - across) - light_between(picture, self.points + across)
        box = np.full(2 * half + 1, 1.0 / (2 * half + 1))
        return np.asarray(np.linalg.norm(correlate_rings(step, self.rings, box), axis=1))

    def medians(self, values: FloatArray) -> FloatArray:
        """That of its own contour at each point; (N,)."""
        return self.rings.rows(self.rings.each(values, median))

    def longest(self, marked: BoolArray, size: FloatArray, least: int, mm_per_px: float) -> dict[int, Washed]:
        """Of which contours more than so many points are marked, and where the step is least."""
        counts, found = self.rings.summed(marked), {}
        for k in np.flatnonzero(counts > least).tolist():
            own = self.rings.slices[k]
            x, y = self.points[own][int(size[own].argmin())].tolist()
            found[k] = Washed(float(counts[k]) * mm_per_px, (x, y))
        return found
