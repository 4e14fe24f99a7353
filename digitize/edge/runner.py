"""A second plausible border beside the one taken: rim, bevel, shadow, print at the edge, glare.

Light is averaged along the normals over stretches of the outline, each a twenty-fourth of it, so that a step much
fainter than the border's own shows out of the noise. Near the border, where two steps melt into one, a border of two
steps of the picture's own blur is held against a single one of any blur, stretch by stretch; all round at once, too,
where it is softer than the reference's. Farther off, up to 3 mm both ways, a second step counts where the band between
both differs little from the ground: what differs much from it is the item's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..measure.ragged import IntArray, medians
from ..measure.rings import rolled
from ..records import BoolArray, Contour, FloatArray
from .beyond import changing_sides, far_steps
from .steps import Against, Two, melted_steps, near_steps, singly_explained
from .stretches import SAMPLING_PX, STRETCHES, Stretch

LEAST_SHARE = 0.2  # of the outline, by the users' wishes
_OWN_SHARE = 0.95  # of the stretches
_FARTHEST = 0.95  # quantile of the places: how far is said
_LEAST_MITRE = 0.3  # of one plus the cosine at a corner: at sharper ones the bisector is cut short
_AT_ONCE = 32  # contours whose stretches are held against steps together
_SOFTER = 1.02  # of a border's blur to the picture's: from here on it may be two steps all round
_ABOUT_AS_FAR = (2.0, 0.25)  # px, and part of the farther one, by which neighbours may differ; chosen, no source


@dataclass(frozen=True, slots=True)
class RunnerUp:
    """Two borders along an outline, by how far each lies from the one taken, along the outward normal."""

    inner_px: FloatArray  # (N,) for each point of the contour, at most 0 but for noise; 0 where there is one only
    outer_px: FloatArray  # (N,)
    doubtful: BoolArray  # (N,) where there are two
    share: float  # of the outline

    def apart_px(self) -> float:
        """How far apart the two are, where they are: the median."""
        return float(np.median((self.outer_px - self.inner_px)[self.doubtful]))

    def farthest_px(self) -> float:
        """How far the taken border lies from the other one, at the worst 5 % of the way."""
        away = np.maximum(np.abs(self.inner_px), np.abs(self.outer_px))[self.doubtful]
        return float(np.quantile(away, _FARTHEST))

    @classmethod
    def of_rim(cls, width_px: FloatArray, *, is_outside: bool, share: float = 1.0) -> RunnerUp:
        """A rim of this width (N,) within the border taken, or outside of it."""
        none = np.zeros(len(width_px))
        inner, outer = (none, width_px) if is_outside else (-width_px, none)
        return cls(inner, outer, np.ones(len(width_px), bool), share)

    def from_outer(self) -> RunnerUp:
        """The same as seen from the outer border, once that is taken."""
        return replace(self, inner_px=self.inner_px - self.outer_px, outer_px=np.zeros(len(self.outer_px)))

    def moved(self, contour: Contour, *, outer: bool) -> FloatArray:
        """(N, 2) px: the points of the outer or the inner border."""
        return moved_by(contour.points_px, self.outer_px if outer else self.inner_px)


def find_runner_ups(
    contours: Sequence[Contour], lights: Sequence[Sequence[Stretch | None]], *, blur_px: float | None
) -> list[RunnerUp | None]:
    """Look for a second border along each contour.

    Parameters
    ----------
    contours
        Exteriors.
    lights
        What was seen along the stretches of each.
    blur_px
        Of the picture, by its reference; None where it is not known, and each contour's own is the best guess.
    """
    found: list[RunnerUp | None] = [None] * len(contours)
    enough = [k for k, one in enumerate(lights) if len(one) - one.count(None) >= 0.5 * STRETCHES]
    if blur_px is None:
        together = [[k] for k in enough]
    else:
        together = [enough[k : k + _AT_ONCE] for k in range(0, len(enough), _AT_ONCE)]
    for some in together:
        sigma = float(np.hypot(blur_px or contours[some[0]].blur_px, SAMPLING_PX))
        for k, one in zip(some, _seen_along([lights[k] for k in some], sigma, sure=blur_px is not None), strict=True):
            found[k] = _runner_up(contours[k], one, sigma, blur_px)
    return found


@dataclass(frozen=True, slots=True)
class _Along:
    """Second borders along the stretches of one contour."""

    light: Sequence[Stretch | None]
    ground: FloatArray  # (C,)
    item: FloatArray
    two: FloatArray  # (S, 2), where the inner and the outer lie at each stretch, NaN where there is one


def _seen_along(lights: Sequence[Sequence[Stretch | None]], sigma: float, *, sure: bool) -> list[_Along]:
    """Look for a second border at every stretch of contours, (S, 2) of each."""
    known = [[one for one in light if one is not None] for light in lights]
    counts = [len(one) for one in known]
    ground = np.array([medians([one.outside for one in stretches]) for stretches in known])
    item = np.array([medians([one.inside for one in stretches]) for stretches in known])
    stretches = [one for some in known for one in some]
    of = Against(stretches, np.repeat(ground, counts, axis=0), np.repeat(item, counts, axis=0))
    two = np.full((len(stretches), 2), np.nan)
    rest = np.flatnonzero(~singly_explained(of, sigma))
    _put(two, rest, near_steps(of.picked(rest), sigma, sure=sure))
    sides = changing_sides(stretches, sigma)
    rest = np.array([k for k, own in enumerate(sides) if own and np.isnan(two[k, 0])], dtype=np.int64)
    _put(two, rest, far_steps(of.picked(rest), sigma, [sides[k] for k in rest.tolist()]))
    made, first = [], 0
    for k, (light, count) in enumerate(zip(lights, counts, strict=True)):
        own = np.full((len(light), 2), np.nan)
        own[[one is not None for one in light]] = two[first : first + count]
        made.append(_Along(light, ground[k], item[k], own))
        first += count
    return made


def _put(two: FloatArray, numbers: IntArray, found: Sequence[Two | None]) -> None:
    for k, one in zip(numbers.tolist(), found, strict=True):
        if one is not None:
            two[k] = one


def _runner_up(contour: Contour, along: _Along, sigma: float, blur_px: float | None) -> RunnerUp | None:
    """What the second borders along a contour's stretches make of it."""
    count, found = len(contour.points_px), along.two
    if np.isfinite(found[:, 0]).any():
        found[~_in_company(found)] = np.nan
    if blur_px is not None and contour.blur_px >= _SOFTER * blur_px:
        known = [one for one in along.light if one is not None]
        _all_round(found, melted_steps(known, along.ground, along.item, sigma))
    doubtful = np.isfinite(found[:, 0])
    if not doubtful.any():
        return None
    owner = (np.arange(count) * len(found)) // count
    share = float(doubtful[owner].mean())
    if share < LEAST_SHARE:
        return None
    filled = np.where(doubtful[:, None], found, 0.0)
    inner, outer = (_between(filled[:, k], doubtful, count) for k in (0, 1))
    return RunnerUp(inner, outer, doubtful[owner], share)


def _all_round(found: FloatArray, two: tuple[float, float] | None) -> None:
    """Set two borders at all stretches, unless nearly all show their own or some show one farther off."""
    if two is None:
        return
    own = found[np.isfinite(found[:, 0])]
    if len(own) > _OWN_SHARE * len(found) or (len(own) and np.ptp(own, axis=1).max() > 2.0 * (two[1] - two[0])):
        return
    found[:] = two


def moved_by(points: FloatArray, by: FloatArray) -> FloatArray:
    """Points moved outward by so much, corners along their bisector so that their sides move in parallel."""
    after = rolled(points, -1) - points
    after /= np.maximum(np.linalg.norm(after, axis=1), 1e-9)[:, None]
    ahead = np.column_stack([after[:, 1], -after[:, 0]]) * -1.0
    behind = rolled(ahead, 1)
    bisector = (ahead + behind) / np.maximum(1.0 + (ahead * behind).sum(axis=1), _LEAST_MITRE)[:, None]
    return np.asarray(points + by[:, None] * bisector)


def _in_company(found: FloatArray) -> BoolArray:
    """Which stretches have a neighbour with a second border about as far off: one alone is the item's own pattern."""
    apart = found[:, 1] - found[:, 0]
    like = np.zeros(len(found), bool)
    for shift in (1, -1):
        other = rolled(apart, shift)
        with np.errstate(invalid="ignore"):
            like |= np.abs(apart - other) < _ABOUT_AS_FAR[0] + _ABOUT_AS_FAR[1] * np.maximum(apart, other)
    return like


def _between(values: FloatArray, doubtful: BoolArray, count: int) -> FloatArray:
    """Carry values at the stretches' middles on to every point: straight between two doubtful ones, else flat."""
    size = count / len(values)
    middle = (np.arange(len(values)) + 0.5) * size
    place = np.arange(count) + 0.5
    owner = np.minimum((place / size).astype(int), len(values) - 1)
    around = np.concatenate([middle - count, middle, middle + count])
    smooth = np.interp(place, around, np.tile(values, 3))
    other = np.where(place < middle[owner], owner - 1, owner + 1) % len(values)
    return np.asarray(np.where(doubtful[owner] & doubtful[other], smooth, values[owner]))
