"""All pieces of a closed path fitted at once, by least squares of the distances across them.

Unknowns are the vertices and the bulges, so the path is closed whatever the solution; joints move freely.
Tangent joints are exact side conditions of each Gauss-Newton step (Lagrange multipliers). Many paths are fitted in
step, each as it would be by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..records import FloatArray
from .draft import Draft, moved, offsets, shares_of
from .goal import SQUARES, Goal
from .joined import Joined, Rings, rebroken
from .normal import Normal, damped_steps, normal_equations
from .seen import OfOne, Points, Samples, SeenPoints, SeenSamples
from .together import Wish

_STEPS = 12  # at most
_MEAN_SHARE = 0.02  # of the limit: the mean offset that is small enough
_TRIALS = 7  # of a step, ever shorter
_GAIN = 1e-3  # stop when the sum of squares falls by less than this share: 0.05 % of their root
_GAIN_OF_ALL = 1e-4  # the same where every point counts, as in the last fit
_ROUGH_GAIN = 1e-2  # the same for a path that is fitted again
_NO_GAIN = 1e-7  # the share that a step of squares must promise to be tried at all: 0.000005 % of their root
_DAMPING = 1e-4  # to begin with
_GAIN_OF_POWER = 2e-3  # times the power: 0.2 % of the largest offset


async def polish(draft: Draft, ring: FloatArray, goal: Goal = SQUARES) -> Draft:
    """Return the draft with vertices and bulges at the least cost, breaks following.

    Levenberg-Marquardt for squares; Newton steps, damped alike, for high powers. Squares are taken at
    48 places of each piece unless the goal says `every_point`.
    """
    begin, go_on = (_begun_at_samples, _tried_at_samples) if goal.sampled else (_begun_at_points, _tried_at_points)
    fit = await Wish(begin, _Asked(draft, ring, goal, Rings.of(ring), None if goal.sampled else OfOne(ring, goal)))
    while _is_promising(fit) and await Wish(go_on, fit):
        pass
    return fit.seen_in.part(fit.at)


@dataclass(frozen=True, slots=True)
class _Asked:
    """A draft that is to be polished."""

    draft: Draft
    ring: FloatArray
    goal: Goal
    rings: Rings  # of the one
    points: OfOne | None  # that count; None where samples do


@dataclass(slots=True)
class _Fit:
    """A draft under way."""

    asked: _Asked
    seen_in: Joined  # the drafts that this one was last seen among
    at: int  # which of those it is
    merit: float
    price: float
    normal: Normal
    step: FloatArray  # that is to be tried
    damping: float
    tries: int = 0  # of the present step
    steps: int = 0


def _is_promising(fit: _Fit) -> bool:
    """Tell whether the next step is worth a trial."""
    if fit.tries or fit.asked.goal.power != 2:
        return True
    return fit.normal.promised(fit.step) + fit.price >= _NO_GAIN * fit.merit


def _begun_at_samples(asked: Sequence[_Asked]) -> list[_Fit]:
    return _begun(asked, Samples(Rings.together([one.rings for one in asked])))


def _begun_at_points(asked: Sequence[_Asked]) -> list[_Fit]:
    return _begun(asked, _points(asked))


def _tried_at_samples(fits: Sequence[_Fit]) -> list[bool]:
    rings = Rings.together([fit.asked.rings for fit in fits])
    return _tried(fits, rings, Samples(rings))


def _tried_at_points(fits: Sequence[_Fit]) -> list[bool]:
    asked = [fit.asked for fit in fits]
    return _tried(fits, Rings.together([one.rings for one in asked]), _points(asked))


def _points(asked: Sequence[_Asked]) -> Points:
    return Points([one.points for one in asked if one.points is not None])


def _begun(asked: Sequence[_Asked], points: Points | Samples) -> list[_Fit]:
    joined = Joined.of([one.draft for one in asked])
    seen = points.seen(joined)
    normals = normal_equations(joined, seen.sums(range(len(asked))), seen.means)
    steps = damped_steps(normals, [_DAMPING] * len(normals))
    each = enumerate(zip(asked, seen.merits, seen.prices, normals, steps, strict=True))
    return [
        _Fit(one, joined, at, merit, price, normal, step, _DAMPING) for at, (one, merit, price, normal, step) in each
    ]


def _joined(fits: Sequence[_Fit]) -> Joined:
    """Join the drafts of fits; they are joined already where all of them, and no others, were last seen together."""
    first = fits[0].seen_in
    if len(first.sizes) == len(fits) and all(fit.seen_in is first and fit.at == at for at, fit in enumerate(fits)):
        return first
    return Joined.of_parts([(fit.seen_in, fit.at) for fit in fits])


def _tried(fits: Sequence[_Fit], rings: Rings, points: Points | Samples) -> list[bool]:
    """Try a step of each fit and take it if it costs less; tell which go on."""
    trial = rebroken(moved(_joined(fits), np.concatenate([fit.step for fit in fits])), rings)
    seen = points.seen(trial)
    on, again = [], []
    for at, fit in enumerate(fits):
        if not seen.merits[at] <= fit.merit:
            fit.tries, fit.damping = fit.tries + 1, fit.damping * 4 + 1e-5
            again += [fit] * (fit.tries < _TRIALS)
            continue
        gain, enough = fit.merit - seen.merits[at], _enough(fit.asked.goal) * fit.merit + 1e-12
        fit.seen_in, fit.at, fit.merit, fit.price = trial, at, seen.merits[at], seen.prices[at]
        fit.tries, fit.damping, fit.steps = 0, fit.damping if fit.tries else fit.damping / 5, fit.steps + 1
        if not (gain < enough or fit.steps == _STEPS or _reached(fit, seen, at)):
            on.append(at)
    if on:
        normals = normal_equations(trial.kept(on), seen.sums(on), [seen.means[at] for at in on])
        for at, normal in zip(on, normals, strict=True):
            fits[at].normal = normal
    going = [*(fits[at] for at in on), *again]
    steps = damped_steps([fit.normal for fit in going], [fit.damping for fit in going])
    for fit, step in zip(going, steps, strict=True):
        fit.step = step
    numbers = {id(fit) for fit in going}
    return [id(fit) in numbers for fit in fits]


def _enough(goal: Goal) -> float:
    """Return the share of its cost that a step must save to be followed by another."""
    if goal.power > 2:
        return _GAIN_OF_POWER * goal.power
    if goal.rough:
        return _ROUGH_GAIN
    return _GAIN_OF_ALL if goal.every_point else _GAIN


def _reached(fit: _Fit, seen: SeenPoints | SeenSamples, at: int) -> bool:
    """Tell whether the work may stop early: no point is farther off than its limit, and the mean is small enough."""
    goal, ring = fit.asked.goal, fit.asked.ring
    if goal.limit_mm is None or isinstance(seen, SeenSamples) or seen.farthest(at) > 1:
        return False
    draft = fit.seen_in.part(fit.at)
    off = offsets(draft, ring)
    mean = off.mean() / goal.limit_mm.min()
    index, _ = shares_of(draft, len(ring))
    return bool(np.abs(off / goal.limit_mm[index]).max() <= 1 and abs(mean) <= _MEAN_SHARE)
