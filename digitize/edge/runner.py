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

from ..measure.rings import rolled
from ..records import BoolArray, Contour, FloatArray
from .steps import changing_sides, far_step, melted_steps, near_steps, singly_explained
from .stretches import SAMPLING_PX, STRETCHES, Stretch

LEAST_SHARE = 0.2  # of the outline, by the users' wishes
_OWN_SHARE = 0.95  # of the stretches
_SOFTER = 1.02  # of a border's blur to the picture's: from here on it may be two steps all round


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
        return float(np.quantile(away, 0.95))

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


def find_runner_up(contour: Contour, light: Sequence[Stretch | None], *, blur_px: float | None) -> RunnerUp | None:
    """Look for a second border along a contour.

    Parameters
    ----------
    contour
        An exterior.
    light
        What was seen along its stretches.
    blur_px
        Of the picture, by its reference; None where it is not known, and the contour's own is the best guess.
    """
    count = len(contour.points_px)
    sigma = float(np.hypot(blur_px or contour.blur_px, SAMPLING_PX))
    found = np.full((len(light), 2), np.nan)
    known = [one for one in light if one is not None]
    if len(known) < 0.5 * STRETCHES:
        return None
    ground = np.median([one.outside for one in known], axis=0)
    item = np.median([one.inside for one in known], axis=0)
    sides, single = iter(changing_sides(known, sigma)), iter(singly_explained(known, ground, item, sigma))
    for k, one in enumerate(light):
        if one is None:
            continue
        two = None if next(single) else near_steps(one, ground, item, sigma, sure=blur_px is not None)
        far = next(sides)
        two = two or far_step(one, ground, item, sigma, far)
        if two is not None:
            found[k] = two
    found[~_in_company(found)] = np.nan
    if blur_px is not None and contour.blur_px >= _SOFTER * blur_px:
        _all_round(found, melted_steps(known, ground, item, sigma))
    doubtful = np.isfinite(found[:, 0])
    owner = (np.arange(count) * len(light)) // count
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
    bisector = (ahead + behind) / np.maximum(1.0 + (ahead * behind).sum(axis=1), 0.3)[:, None]
    return np.asarray(points + by[:, None] * bisector)


def _in_company(found: FloatArray) -> BoolArray:
    """Which stretches have a neighbour with a second border about as far off: one alone is the item's own pattern."""
    apart = found[:, 1] - found[:, 0]
    like = np.zeros(len(found), bool)
    for shift in (1, -1):
        other = rolled(apart, shift)
        with np.errstate(invalid="ignore"):
            like |= np.abs(apart - other) < 2.0 + 0.25 * np.maximum(apart, other)
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
