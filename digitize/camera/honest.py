"""What is left over after the fit, owned up to: rings off their places, and sides that are not straight.

A printer sets each ring a little off, and a lens bends more than two terms say. Either moves a whole ring: its hundreds
of places err alike and are worth one, however finely each was measured. So each ring may lie off its place along either
axis of the card, by a deviation that the rings themselves tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from ..steady import inverse, log_determinant, product
from .solve import (
    SHARED,
    Evidence,
    Model,
    Prior,
    Solution,
    all_residuals,
    columns_of,
    covariance_of,
    free_unknowns,
    slopes_of,
    solve,
)

_FITS = 1.3  # residuals over their stated deviations up to which the card is taken as flat and true
_INDEPENDENT_A_SIDE = 4.0  # places of a side that count as independent: a lens and paper bend smoothly
_RINGS = 4  # fewer tell nothing of how far rings lie off: a pose fits three almost as they are
_STEPS = 40  # at most
_SETTLED = 1e-4  # gain of a step, in squared deviations
_OFF_PX = np.concatenate([[0.0], np.geomspace(0.002, 2.0, 31)])  # tried deviations of a ring's place


def solve_honestly(pictures: tuple[Evidence, ...], start: Model, prior: Prior, *, rounds: int = 30) -> Solution:
    """Solve; where the card fits worse than its edges were measured, again with deviations that own up to it.

    What is left over then is the card's shape (curl, print, another lens), not noise: it is alike over a ring, or
    along some quarter of a side, so that neighbouring places do not average it away, and the prior must count for more.
    """
    found = solve(pictures, start, prior, rounds=rounds)
    if found.spread_of_errors > _FITS:
        less_sure = tuple(_owning_up(e, found.spread_of_errors) for e in pictures)
        found = solve(less_sure, found.model, prior, rounds=rounds)
    if all(len(np.unique(e.sides.ring[e.side])) >= _RINGS for e in pictures):
        return _with_rings_off(pictures, found, prior)
    return found


def _owning_up(evidence: Evidence, errors: float) -> Evidence:
    """Larger deviations: `errors` times as large, and more as far as neighbours err alike."""
    alike = max(len(evidence.side) / max(len(np.unique(evidence.side)), 1) / _INDEPENDENT_A_SIDE, 1.0)
    factor = errors * float(np.sqrt(1.0 + (alike - 1.0) * (1.0 - errors**-2.0)))
    return replace(evidence, sd_px=evidence.sd_px * factor)


def _with_rings_off(pictures: tuple[Evidence, ...], found: Solution, prior: Prior) -> Solution:
    """Go on from a fit with rings that may each lie off; what it left out stays out."""
    used = tuple(w > 0 for w in found.weight)
    loose = _loosened(pictures, found, used, prior)
    within = _within_rings(pictures, loose.residual_px, used)
    if within <= _FITS:
        return loose
    return _loosened(tuple(_owning_up(e, within) for e in pictures), loose, used, prior)


def _loosened(
    pictures: tuple[Evidence, ...], found: Solution, used: tuple[npt.NDArray[np.bool_], ...], prior: Prior
) -> Solution:
    """Levenberg's steps from a solution, the rings' deviation estimated anew before each."""
    model, free = found.model, free_unknowns(prior, len(pictures))
    sums, damping = _Sums.of(pictures, model, used, prior), 0.0
    for _ in range(_STEPS):
        off_px = sums.expected(free)
        normal, gradient = sums.equations(off_px)
        damped = normal + damping * np.diag(np.diag(normal))
        tried = model.moved(-product(covariance_of(damped, free), gradient))
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # far off, a lens bends without end
            there = _Sums.of(pictures, tried, used, prior)
        gained = sums.cost_of(off_px) - there.cost_of(off_px)
        if not gained >= 0.0:  # nor where it is not a number
            damping = max(10.0 * damping, 1e-6)
            continue
        model, sums, damping = tried, there, 0.1 * damping
        if gained < _SETTLED:
            break
    normal, _ = sums.equations(sums.expected(free))
    return replace(
        found, model=model, covariance=covariance_of(normal, free), residual_px=tuple(all_residuals(pictures, model))
    )


def _groups(evidence: Evidence) -> npt.NDArray[np.int64]:
    """(M,) which ring and axis each place tells of."""
    return np.asarray((2 * evidence.sides.ring + evidence.sides.axis)[evidence.side])


def _within_rings(
    pictures: tuple[Evidence, ...], rest: tuple[FloatArray, ...], used: tuple[npt.NDArray[np.bool_], ...]
) -> float:
    """Root mean square of residuals over their deviations, each ring put on its own place."""
    total = count = 0.0
    for e, r, u in zip(pictures, rest, used, strict=True):
        _, group = np.unique(_groups(e)[u], return_inverse=True)
        power = e.sd_px[u] ** -2.0
        middle = np.bincount(group, power * r[u]) / np.bincount(group, power)
        total += float((power * (r[u] - middle[group]) ** 2).sum())
        count += len(group) - len(middle)
    return float(np.sqrt(total / max(count, 1.0)))


@dataclass(frozen=True, slots=True)
class _Sums:
    """Normal equations of G rings' axes, from which any deviation of their places follows.

    With a shift of deviation t common to a group, its errors have the covariance D + t^2 1 1^T, whose inverse is
    W - W 1 1^T W k with W = D^-1 and k = t^2 / (1 + t^2 sum W) (Sherman and Morrison).
    """

    normal: FloatArray  # (U, U) without shifts
    gradient: FloatArray  # (U,)
    cost: float
    slope: FloatArray  # (G, U) sums over a group of derivatives over squared deviation
    rest: FloatArray  # (G,) of residuals likewise
    power: FloatArray  # (G,) of one likewise

    @classmethod
    def of(
        cls, pictures: tuple[Evidence, ...], model: Model, used: tuple[npt.NDArray[np.bool_], ...], prior: Prior
    ) -> _Sums:
        """Sum up all places that are used, and the prior."""
        size = SHARED + 6 * len(pictures)
        known = np.flatnonzero((prior.sd > 0) & np.isfinite(prior.sd))
        off, own = (model.shared - prior.mean)[known], prior.sd[known] ** -2.0
        normal, gradient, cost = np.zeros((size, size)), np.zeros(size), float((own * off**2).sum())
        normal[known, known], gradient[known] = own, own * off
        slopes, rests, powers = [], [], []
        for i, (e, r, u) in enumerate(zip(pictures, all_residuals(pictures, model), used, strict=True)):
            columns = columns_of(i)
            slope, r, power = slopes_of(e, model, i, r)[u], r[u], e.sd_px[u] ** -2.0
            normal[np.ix_(columns, columns)] += product((slope * power[:, None]).T, slope)
            gradient[columns] += product(slope.T, power * r)
            cost += float((power * r**2).sum())
            named, group = np.unique(_groups(e)[u], return_inverse=True)
            member = (group == np.arange(len(named))[:, None]) * power
            wide = np.zeros((len(named), size))
            wide[:, columns] = product(member, slope)
            slopes.append(wide)
            rests.append(product(member, r))
            powers.append(member.sum(axis=1))
        return cls(normal, gradient, cost, np.concatenate(slopes), np.concatenate(rests), np.concatenate(powers))

    def equations(self, off_px: float) -> tuple[FloatArray, FloatArray]:
        """Normal matrix and gradient where rings lie off by this deviation."""
        share = off_px**2 / (1.0 + off_px**2 * self.power)
        normal = self.normal - product((self.slope * share[:, None]).T, self.slope)
        return normal, self.gradient - product(self.slope.T, share * self.rest)

    def cost_of(self, off_px: float) -> float:
        """Sum of squares over deviations, the prior's among them, where rings lie off by this deviation."""
        return self.cost - float((off_px**2 / (1.0 + off_px**2 * self.power) * self.rest**2).sum())

    def expected(self, free: npt.NDArray[np.bool_]) -> float:
        """Deviation (px) of the rings' places: root of the mean square over all that may be, as likely as they are.

        By the restricted likelihood, in which what the unknowns take up is counted (Patterson and Thompson, Biometrika
        58 (1971)). Its mean, not its maximum: a few rings may lie well by chance.
        """
        unlikely = self._unlikely(free)
        share = np.exp(-0.5 * (unlikely - unlikely.min())) * np.gradient(_OFF_PX)
        return float(np.sqrt((share * _OFF_PX**2).sum() / share.sum()))

    def _unlikely(self, free: npt.NDArray[np.bool_]) -> FloatArray:
        """Minus twice the logarithm of the restricted likelihood at each of `_OFF_PX`, a constant left out."""
        systems = [self.equations(off_px) for off_px in _OFF_PX.tolist()]
        unit = np.sqrt(np.maximum(np.diag(self.normal)[free], 1e-300))  # of 1e-5 to 1e3; the same for all deviations
        scaled = np.array([normal[np.ix_(free, free)] for normal, _ in systems]) / np.outer(unit, unit)
        slopes = np.array([gradient[free] for _, gradient in systems]) / unit
        found = []
        for off_px, one, undone, slope in zip(_OFF_PX.tolist(), scaled, inverse(scaled), slopes, strict=True):
            left = self.cost_of(off_px) - float(product(slope, product(undone, slope)))
            found.append(float(np.log1p(off_px**2 * self.power).sum()) + log_determinant(one) + left)
        return np.array(found)
