"""The geometry of four corners, and lines fitted to their sides."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..measure.ragged import TO_SD
from ..measure.rings import rolled
from ..records import FloatArray

_PARALLEL = 1e-9  # sine of the angle between two unit directions: below it they meet nowhere that counts
_TUKEY = 4.685  # deviations at which a place loses all weight: 95 % efficient for normal errors (Tukey's biweight)
_FIRST_TUKEY = 12.0  # the same in the first round, while the slope is not known yet
_SETTLED = 1e-7  # slope and level together: a round that moves them less was the last
RING_REACH = 2.5  # reduced px, and 4 px: how far a ring's side may be from where its marker tells
BAND_ROOM = 0.8  # of a frame's width: a side is looked for no farther, where the next begins


@dataclass(frozen=True, slots=True)
class Quad:
    """A four-sided candidate seen in the reduced picture."""

    corners_px: FloatArray  # (4, 2) full-resolution px, clockwise as seen, first is the one nearest the top-left
    support: tuple[float, ...]  # part of each side (0-1, 1-2, 2-3, 3-0) backed by the border that was followed
    touches_border: bool
    dark: bool  # darker than what surrounds it

    @property
    def centre_px(self) -> FloatArray:
        """Mean of the corners."""
        return np.asarray(self.corners_px.mean(axis=0))

    @property
    def side_px(self) -> float:
        """Mean side length, px."""
        return float(side_lengths(self.corners_px).mean())


def band_px(outer: FloatArray, inner: FloatArray) -> float:
    """Width of the frame between two squares one in the other, by their corners (4, 2), px."""
    return float(np.linalg.norm(outer - inner, axis=1).min() / np.sqrt(2.0))


def side_lengths(corners: FloatArray) -> FloatArray:
    """Lengths of the sides 0-1, 1-2, 2-3, 3-0 of a (4, 2) quadrilateral; (4,)."""
    return np.asarray(np.linalg.norm(rolled(corners, -1) - corners, axis=1))


def corner_angles_deg(corners: FloatArray) -> FloatArray:
    """Inner angles at the corners of a convex (4, 2) quadrilateral, degrees; (4,)."""
    forward = rolled(corners, -1) - corners
    backward = rolled(corners, 1) - corners
    cross = forward[:, 0] * backward[:, 1] - forward[:, 1] * backward[:, 0]
    return np.asarray(np.degrees(np.arctan2(np.abs(cross), (forward * backward).sum(axis=1))))


def order_corners(corners: FloatArray) -> FloatArray:
    """Corners clockwise as seen in the picture (y down), starting with the one nearest the top-left."""
    places = corners.tolist()  # of four places Python's own sums take a fifth of the time of NumPy's
    x0, y0 = (sum(one) / len(places) for one in zip(*places, strict=True))
    order = sorted(range(len(places)), key=lambda k: math.atan2(places[k][1] - y0, places[k][0] - x0))
    first = min(range(len(order)), key=lambda n: sum(places[order[n]]))
    return np.asarray(corners[order[first:] + order[:first]])


def intersect_lines(point_a: FloatArray, along_a: FloatArray, point_b: FloatArray, along_b: FloatArray) -> FloatArray:
    """Where two lines (point, direction) meet; (2,).

    Raises
    ------
    ValueError
        If they are parallel.
    """
    cross = along_a[0] * along_b[1] - along_a[1] * along_b[0]
    if abs(cross) < _PARALLEL:
        raise ValueError("the lines are parallel")
    gap = point_b - point_a
    t = (gap[0] * along_b[1] - gap[1] * along_b[0]) / cross
    return np.asarray(point_a + t * along_a)


def robust_line(t: FloatArray, d: FloatArray, floor: float, *, rounds: int = 12) -> tuple[float, float]:
    """Slope and level of d against t by Tukey-weighted least squares, scale from the median deviation."""
    slope, level = 0.0, _median(d)
    centre, spread = t.mean(), max(float(t.std()), 1e-9)  # centred and scaled: t runs to thousands of px
    z = (t - centre) / spread
    for round_ in range(rounds):
        rest = d - level - slope * z
        scale = max(TO_SD * _median(np.abs(rest - _median(rest))), 0.1 * floor)
        u = rest / ((_TUKEY if round_ else _FIRST_TUKEY) * scale)
        weight = np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
        total = weight.sum()
        if total < 1e-6:
            break
        zm, dm = (weight * z).sum() / total, (weight * d).sum() / total
        new_slope = (weight * (z - zm) * (d - dm)).sum() / max((weight * (z - zm) ** 2).sum(), 1e-12)
        new_level = dm - new_slope * zm
        moved = abs(new_slope - slope) + abs(new_level - level)
        slope, level = float(new_slope), float(new_level)
        if moved < _SETTLED:
            break
    return slope / spread, level - slope * centre / spread


def _median(values: FloatArray) -> float:
    """Upper median: for short arrays several times as fast as numpy's."""
    middle = len(values) // 2
    return float(np.partition(values, middle)[middle])
