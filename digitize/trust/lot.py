"""Several blanks of one kind laid on one another: their mean outline, the largest, the smallest, and the spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import UsageError
from ..records import FloatArray
from .align import Placement, align, evenly, signed_distances

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_STEP_MM = 0.1  # between places along the mean outline
_FEWEST, _MOST = 400, 6000  # places
_ROUNDS = 3  # of laying all on their mean
_TURNED_OVER = 0.5  # of the deviation as it lay: only then a blank is taken to lie on its other face
_ODD = 3.5  # modified z-score of Iglewicz and Hoaglin (1993): beyond it a sample is odd
_MAD = 0.6745  # median absolute deviation of a normal distribution, in standard deviations
_LEAST_ODD_MM = 0.02  # a deviation below that is none, however alike the others are
_LIKE_PART = 0.1  # of the size: samples that differ by more are of another kind


@dataclass(frozen=True, slots=True)
class Sample:
    """One blank of a lot, laid on the mean."""

    name: str
    placement: Placement
    larger_mm: float  # by how much a side it is larger than the mean, on the whole
    form_mm: float  # root mean square of what its form differs by besides
    most_mm: float  # the largest distance from the mean
    is_odd: bool

    def carried(self, ring: FloatArray) -> FloatArray:
        """Return a ring of the sample where it lies on the mean, in its own direction."""
        return _carried(self.placement, ring)


@dataclass(frozen=True, slots=True)
class Combined:
    """Rings in one frame, of one thing."""

    mean_mm: FloatArray  # (N, 2), counter-clockwise
    largest_mm: FloatArray  # (L, 2) the edge of all together
    smallest_mm: FloatArray  # (S, 2) the edge of what all have in common


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot's outlines, all in the frame of its first sample."""

    samples: tuple[Sample, ...]
    mean_mm: FloatArray  # (N, 2), counter-clockwise
    off_mm: FloatArray  # (samples, N) how far each lies outside the mean there
    largest_mm: FloatArray  # (L, 2) the edge of all together
    smallest_mm: FloatArray  # (S, 2) the edge of what all have in common

    @property
    def spread_mm(self) -> FloatArray:
        """Standard deviation between the samples (N,) along the mean; 0 of a single one."""
        if len(self.samples) < 2:
            return np.zeros(len(self.mean_mm))
        return np.asarray(self.off_mm.std(axis=0, ddof=1))

    @property
    def range_mm(self) -> FloatArray:
        """From the smallest to the largest sample (N,) along the mean."""
        return np.asarray(np.ptp(self.off_mm, axis=0))

    def factor(self, part: float = 0.95, confidence: float = 0.95) -> float:
        """Return how many standard deviations either side of the mean hold a part of all blanks; inf of one sample."""
        return howe_factor(len(self.samples), part, confidence) if len(self.samples) > 1 else math.inf


def make_lot(names: Sequence[str], rings: Sequence[FloatArray], *, either_face: bool = True) -> Lot:
    """Lay a lot's outlines on one another, without scale, and say how they differ.

    All are laid on the first, then on their mean, and again: a generalised alignment without scaling (Gower 1975).
    The mean runs the mean of the signed distances away from the first outline, along its normals.

    Parameters
    ----------
    names
        Of the samples.
    rings
        Each (N, 2), mm, counter-clockwise, in a frame of its own.
    either_face
        Whether a blank may have lain on its other face: then it is turned over where that fits clearly better.

    Raises
    ------
    UsageError
        If there is none, or one is of clearly another size than the first.
    """
    if not rings:
        raise UsageError("No outline was given. Say which documents make the lot: digitize lot tag-a.json tag-b.json.")
    _check_alike(names, rings)
    mean = evenly(rings[0], _places(rings[0]))
    placements = [_placed(mean, ring, either_face) for ring in rings]
    for _ in range(_ROUNDS):
        placements = [align(mean, ring, near=one) for ring, one in zip(rings, placements, strict=True)]
        moved = [_carried(one, ring) for one, ring in zip(placements, rings, strict=True)]
        off = np.stack([-signed_distances(ring, mean) for ring in moved])
        mean = _shifted(mean, off.mean(axis=0))
    off = np.stack([-signed_distances(ring, mean) for ring in moved])
    return Lot(_samples(names, placements, off), mean, off, _edge(moved, all_of=False), _edge(moved, all_of=True))


def combined(rings: Sequence[FloatArray]) -> Combined:
    """Return mean, largest and smallest of rings that lie on one another already, each counter-clockwise."""
    mean = evenly(rings[0], _places(rings[0]))
    for _ in range(_ROUNDS):
        mean = _shifted(mean, np.mean([-signed_distances(ring, mean) for ring in rings], axis=0))
    return Combined(mean, _edge(rings, all_of=False), _edge(rings, all_of=True))


def _places(ring: FloatArray) -> int:
    return int(np.clip(_length(ring) / _STEP_MM, _FEWEST, _MOST))


def howe_factor(count: int, part: float = 0.95, confidence: float = 0.95) -> float:
    """Return the factor of a two-sided tolerance interval of a normal distribution.

    k = z sqrt(v (1 + 1/N) / chi2), v = N - 1, chi2 the lower quantile at 1 - confidence (W. G. Howe, Two-sided
    tolerance limits for normal populations, JASA 64 (1969); NIST/SEMATECH e-Handbook, 7.2.6.3).

    Examples
    --------
    The handbook's own example: 43 samples, 90 % of all with 99 % confidence.

    >>> round(howe_factor(43, 0.90, 0.99), 3)
    2.217
    """
    from statistics import NormalDist

    z = NormalDist().inv_cdf((1 + part) / 2)
    free = count - 1
    return z * math.sqrt(free * (1 + 1 / count) / chi_square_quantile(1 - confidence, free))


def chi_square_quantile(probability: float, free: int) -> float:
    """Return the quantile of the chi-square distribution, by halving: its distribution function is exact to 1e-12."""
    low, high = 0.0, free + 20 * math.sqrt(2 * free) + 50
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if _lower_gamma(free / 2, middle / 2) < probability else (low, middle)
    return (low + high) / 2


def _lower_gamma(a: float, x: float) -> float:
    """The regularised lower incomplete gamma function by its series (Abramowitz and Stegun, 6.5.29)."""
    if x <= 0:
        return 0.0
    term = total = 1 / a
    for n in range(1, 2000):
        term *= x / (a + n)
        total += term
        if term < total * 1e-15:
            break
    return total * math.exp(-x + a * math.log(x) - math.lgamma(a))


def _check_alike(names: Sequence[str], rings: Sequence[FloatArray]) -> None:
    sizes = [_length(ring) for ring in rings]
    for name, size in zip(names, sizes, strict=True):
        if abs(size / sizes[0] - 1) > _LIKE_PART:
            raise UsageError(
                f"{name} is {size:.0f} mm round, {names[0]} {sizes[0]:.0f} mm: they are no blanks of one kind. "
                "Give only those that belong together, or name the items with --item."
            )


def _placed(fixed: FloatArray, ring: FloatArray, either_face: bool) -> Placement:
    as_it_lay = align(fixed, ring)
    if not either_face:
        return as_it_lay
    turned = align(fixed, ring, over=True)
    return turned if turned.rms_mm < _TURNED_OVER * as_it_lay.rms_mm else as_it_lay


def _carried(placement: Placement, ring: FloatArray) -> FloatArray:
    moved = placement.moved(ring)
    return moved[::-1] if placement.over else moved


def _samples(names: Sequence[str], placements: Sequence[Placement], off: FloatArray) -> tuple[Sample, ...]:
    larger = off.mean(axis=1)
    form = np.sqrt(np.mean((off - larger[:, None]) ** 2, axis=1))
    odd = _odd(larger) | _odd(form)
    return tuple(
        Sample(name, placement, float(size), float(shape), float(np.abs(apart).max()), bool(is_odd))
        for name, placement, size, shape, apart, is_odd in zip(names, placements, larger, form, off, odd, strict=True)
    )


def _odd(values: FloatArray) -> Any:
    """Which of several values lie far from the others; none of fewer than four."""
    away = np.abs(values - np.median(values))
    typical = float(np.median(away))
    return (away > _LEAST_ODD_MM) & (_MAD * away > _ODD * typical) & (len(values) >= 4)


def _shifted(ring: FloatArray, by_mm: FloatArray) -> FloatArray:
    along = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    normals = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    return evenly(np.asarray(ring + by_mm[:, None] * normals), len(ring))


def _edge(rings: Sequence[FloatArray], *, all_of: bool) -> FloatArray:
    """Return the outer edge of what lies in all rings, or in any of them."""
    import shapely

    polygons = [shapely.make_valid(shapely.Polygon(ring)) for ring in rings]
    joined: Geometry = shapely.intersection_all(polygons) if all_of else shapely.union_all(polygons)
    parts = [part for part in shapely.get_parts(joined) if part.geom_type == "Polygon"]
    largest = max(parts, key=lambda part: float(part.area))
    return np.asarray(shapely.get_coordinates(shapely.geometry.polygon.orient(largest).exterior)[:-1])


def _length(ring: FloatArray) -> float:
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())
