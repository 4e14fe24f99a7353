"""One adjustment of all scans of a card: the scanner's map, where the card lay in each, and how its print is off.

What is the scanner's stays with the glass when the card is moved and turned, what is the print's goes with the card:
that tells them apart. Least squares with what is known before (JCGM 100, 5.1; the priors are lines of their own).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..records import FloatArray, turning
from ..steady import inverse, least_squares, product
from .glass import TERMS, Glass, basis

# What is known before, standard deviations. Common practice and published flatbeds (affine rest of some 0.03 mm RMS).
AXIS_SD_PART = 0.02
SKEW_SD = 0.01
BEND_SD_MM = 0.1
LEAST_SD_MM = 0.002  # of a corner: what dust and toner leave of a fitted side
_ROUNDS = 8
_GRID = 7  # places along each side of the covered part at which the map's own deviation is worked out


@dataclass(frozen=True, slots=True)
class Seen:
    """A card's corners in one scan."""

    points_px: FloatArray  # (N, 2)
    which: FloatArray  # (N,) whole numbers: which of the card's corners
    sd_mm: float  # of a corner along either axis


@dataclass(frozen=True, slots=True)
class Printed:
    """A card's corners as drawn and as measured."""

    points_mm: FloatArray  # (K, 2), y up
    size_sd_part: tuple[float, float]  # of the print's size along X and Y, which `points_mm` has in it
    corner_sd_mm: float  # of a corner's place in the print besides


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The scanner's map and how sure it is (k = 1)."""

    glass: Glass
    size_sd_part: float  # of all lengths alike
    axes_sd_part: float  # of the ratio of both axes
    bend_sd_mm: float  # of the bend where the card lay, root mean square
    rest_mm: float  # what is left of the corners, root mean square
    covered_px: tuple[float, float, float, float]  # box of where the card lay: left, top, right, bottom


def adjust(
    seen: Sequence[Seen], printed: Printed, size_px: tuple[int, int], mm_per_px: tuple[float, float]
) -> Adjusted:
    """Adjust everything at once; `mm_per_px` is the density that the files claim, near which the scales are looked for.

    Raises
    ------
    ValueError
        If no scan shows three corners.
    """
    if not any(len(one.points_px) >= 3 for one in seen):
        raise ValueError("expected three corners in a scan at least")
    flat = Glass(*size_px, mm_per_px, 0.0, tuple((0.0, 0.0) for _ in TERMS))
    problem = _Problem(seen, printed, flat)
    values = problem.start()
    for _ in range(_ROUNDS):
        rest, slopes = problem.at(values)
        step = least_squares(slopes, -rest)
        values = values + step
    rest, slopes = problem.at(values)
    # what fits worse than its deviations say widens them all (Birge's ratio, never below 1)
    own = rest[: problem.measured]
    ratio = max(1.0, math.sqrt(float(product(own, own)) / max(problem.measured - 3 * len(seen), 1)))
    covariance = inverse(product(slopes.T, slopes)) * ratio**2
    return problem.told(values, covariance, own)


class _Problem:
    """The unknowns in a row: axes and skew (3), bend (2 M), of each scan turn and shift (3), print (2 + 2 K)."""

    def __init__(self, seen: Sequence[Seen], printed: Printed, flat: Glass) -> None:
        self._seen, self._printed, self._flat = seen, printed, flat
        self._places = [flat.to_mm(one.points_px) for one in seen]
        self._terms = [basis(one.points_px, (flat.width_px, flat.height_px)) for one in seen]
        self._poses = 3 + 2 * len(TERMS)
        self._print = self._poses + 3 * len(seen)
        self._count = self._print + 2 + 2 * len(printed.points_mm)
        self.measured = 2 * sum(len(one.points_px) for one in seen)

    def start(self) -> FloatArray:
        values = np.zeros(self._count)
        for number, (one, places) in enumerate(zip(self._seen, self._places, strict=True)):
            card = self._printed.points_mm[one.which.astype(int)]
            a, b = card - card.mean(axis=0), places - places.mean(axis=0)
            turn = math.atan2(float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()), float((a * b).sum()))
            at = self._poses + 3 * number
            values[at] = turn
            values[at + 1 : at + 3] = places.mean(axis=0) - product(card.mean(axis=0), turning(turn))
        return values

    def at(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Weighted rests and their slopes, priors last."""
        rests, slopes = [], []
        for number, one in enumerate(self._seen):
            rest, slope = self._scan(number, values)
            rests.append(rest.ravel() / one.sd_mm)
            slopes.append(slope.reshape(-1, self._count) / one.sd_mm)
        known = self._prior()
        held = np.flatnonzero(np.isfinite(known))
        rows = np.zeros((len(held), self._count))
        rows[np.arange(len(held)), held] = 1 / known[held]
        return np.concatenate([*rests, values[held] / known[held]]), np.concatenate([*slopes, rows])

    def _prior(self) -> FloatArray:
        known = np.full(self._count, np.inf)
        known[:3] = AXIS_SD_PART, AXIS_SD_PART, SKEW_SD
        known[3 : self._poses] = BEND_SD_MM
        known[self._print : self._print + 2] = self._printed.size_sd_part
        known[self._print + 2 :] = self._printed.corner_sd_mm
        return known

    def _scan(self, number: int, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Of one scan what is left, (N, 2) mm, and its slopes, (N, 2, unknowns)."""
        one, q, terms = self._seen[number], self._places[number], self._terms[number]
        which, n = one.which.astype(int), np.arange(len(one.points_px))
        at = self._poses + 3 * number
        turn, off = turning(values[at]), self._print + 2
        drawn = self._printed.points_mm[which]
        larger = values[self._print : off]
        card = drawn * (1.0 + larger) + values[off:].reshape(-1, 2)[which]
        bend = values[3 : self._poses].reshape(-1, 2)
        x_more, y_more, skew = values[:3]
        glass = q + np.column_stack([x_more * q[:, 0] + skew * q[:, 1], y_more * q[:, 1]]) + product(terms, bend)
        slope = np.zeros((len(n), 2, self._count))
        slope[:, 0, 0], slope[:, 1, 1], slope[:, 0, 2] = q[:, 0], q[:, 1], q[:, 1]
        for axis in (0, 1):
            slope[:, axis, 3 + axis : self._poses : 2] = terms
        slope[:, :, at] = -(product(card, turning(values[at] + math.pi / 2)))
        slope[:, 0, at + 1] = slope[:, 1, at + 2] = -1.0
        for axis in (0, 1):
            slope[:, :, self._print + axis] = -drawn[:, axis, None] * turn[axis]
            for k in n:
                slope[k, :, off + 2 * which[k] + axis] = -turn[axis]
        return glass - product(card, turn) - values[at + 1 : at + 3], slope

    def told(self, values: FloatArray, covariance: FloatArray, own: FloatArray) -> Adjusted:
        flat = self._flat
        x_more, y_more, skew = (float(one) for one in values[:3])
        sx, sy = flat.mm_per_px[0] * (1 + x_more), flat.mm_per_px[1] * (1 + y_more)
        bend = tuple((float(x), float(y)) for x, y in values[3 : self._poses].reshape(-1, 2))
        glass = Glass(flat.width_px, flat.height_px, (sx, sy), skew / (1 + y_more), bend)
        points = np.concatenate([one.points_px for one in self._seen])
        (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        mean, differ = np.zeros(self._count), np.zeros(self._count)
        mean[:2], differ[:2] = 0.5, (1.0, -1.0)
        sd = np.concatenate([np.full(2 * len(one.points_px), one.sd_mm) for one in self._seen])
        return Adjusted(
            glass,
            size_sd_part=math.sqrt(float(product(product(mean, covariance), mean))),
            axes_sd_part=math.sqrt(float(product(product(differ, covariance), differ))),
            bend_sd_mm=self._bend_sd(covariance, (left, top, right, bottom)),
            rest_mm=float(np.sqrt(np.mean((own * sd) ** 2))),
            covered_px=(left, top, right, bottom),
        )

    def _bend_sd(self, covariance: FloatArray, box: tuple[float, float, float, float]) -> float:
        left, top, right, bottom = box
        x, y = np.meshgrid(np.linspace(left, right, _GRID), np.linspace(top, bottom, _GRID))
        terms = basis(np.column_stack([x.ravel(), y.ravel()]), (self._flat.width_px, self._flat.height_px))
        of_axis = [covariance[3 + axis : self._poses : 2, 3 + axis : self._poses : 2] for axis in (0, 1)]
        return math.sqrt(float(np.mean([np.einsum("ni,ij,nj->n", terms, one, terms) for one in of_axis])))
