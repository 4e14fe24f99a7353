"""What the least of is wanted where pieces are fitted, and what offsets cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import FloatArray
from .pieces import IntArray

_STEADY = 0.05  # share of the plain square, that keeps a high power from having no slope


@dataclass(frozen=True, slots=True)
class Goal:
    """What the least of is wanted.

    Power 2 is least squares. A high even power comes near the least largest offset; the mean offset is then
    held near 0 by a price of its own, as high powers do not care for it.
    """

    power: int = 2
    limit_mm: FloatArray | None = None  # (N,) the offset that counts as 1; the work stops once none is larger
    use: IntArray | None = None  # ascending indices of the points that count; all if not given
    every: int = 1  # points with an index divisible by this stand for all in the mean
    every_point: bool = False
    rough: bool = False  # what comes is fitted again: a few steps do

    @property
    def sampled(self) -> bool:
        """Whether as many points of each piece stand for all."""
        return self.power == 2 and self.use is None and not self.every_point


SQUARES = Goal()
ROUGH = Goal(rough=True)


def cost_of(off: FloatArray, power: int) -> FloatArray:
    """Return what offsets cost.

    High powers keep a little of the square: all points steady the path, not only the few farthest.
    """
    square = off * off
    return square if power == 2 else (_high(square, power) + _STEADY) * square


def slope_and_curvature(off: FloatArray, power: int) -> tuple[FloatArray, FloatArray]:
    """Return by how much the cost grows with offsets, and by how much that does."""
    if power == 2:
        return 2 * off, np.full_like(off, 2.0)
    high = _high(off * off, power)
    return (power * high + 2 * _STEADY) * off, power * (power - 1) * high + 2 * _STEADY


def _high(square: FloatArray, power: int) -> FloatArray:
    """Return the power less 2 of offsets, from their squares; a product is ten times faster than a power."""
    high = square
    for _ in range(power // 2 - 2):
        high = high * square
    return high
