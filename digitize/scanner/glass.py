"""Where a scanner's pixels lie on its glass: scales along both axes, skew, and a smooth bend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import FloatArray
from ..steady import product

DEGREE = 4  # of the bend's polynomials: what lens and carriage do over a glass is smooth
TERMS = tuple((i, j) for i in range(DEGREE + 1) for j in range(DEGREE + 1) if 2 <= i + j <= DEGREE)
_ROUNDS = 30  # at most
_NEAR_MM = 1e-9  # where the way back is found

Pairs = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Glass:
    """The map from pixels to places on the glass, mm, y up, zero at the picture's lower-left corner."""

    width_px: int
    height_px: int
    mm_per_px: tuple[float, float]
    skew: float  # mm to the right for each mm up
    bend_mm: Pairs  # of each of `TERMS` what it adds to x and y, Legendre polynomials over the glass

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) mm on the glass."""
        flat = (np.asarray(points_px) + 0.5) * (1.0, -1.0) + (0.0, float(self.height_px))
        x, y = (flat * self.mm_per_px).T
        return np.column_stack([x + self.skew * y, y]) + self.bend(points_px)

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm on the glass to (N, 2) px; the inverse of `to_mm`, by turns."""
        points = np.asarray(points_mm, dtype=np.float64)
        found = self._flat_px(points)
        for _ in range(_ROUNDS):
            off = points - self.to_mm(found)
            found = found + off / self.mm_per_px * (1.0, -1.0)
            if len(off) == 0 or np.abs(off).max() < _NEAR_MM:
                break
        return found

    def bend(self, points_px: FloatArray) -> FloatArray:
        """What (N, 2) places are shifted by beside scale and skew, (N, 2) mm."""
        terms = basis(points_px, (self.width_px, self.height_px))
        return np.asarray(product(terms, np.array(self.bend_mm, dtype=np.float64).reshape(-1, 2)))

    def _flat_px(self, points_mm: FloatArray) -> FloatArray:
        y = points_mm[:, 1]
        flat = np.column_stack([points_mm[:, 0] - self.skew * y, y]) / self.mm_per_px
        return (flat - (0.0, float(self.height_px))) * (1.0, -1.0) - 0.5


def basis(points_px: FloatArray, size_px: tuple[int, int]) -> FloatArray:
    """Return the terms of a bend at (N, 2) places, (N, M); beyond the glass those of its border."""
    u, v = np.clip(2.0 * (np.asarray(points_px) + 0.5) / size_px - 1.0, -1.0, 1.0).T
    if len(u) == 0:
        return np.zeros((0, len(TERMS)))
    from numpy.polynomial.legendre import legvander2d

    every = legvander2d(u, v, (DEGREE, DEGREE))
    return np.stack([every[:, i * (DEGREE + 1) + j] for i, j in TERMS], axis=1)
