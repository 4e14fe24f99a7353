"""The geometry of closed rings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from ..records import FloatArray

Array = TypeVar("Array", bound=npt.NDArray[Any])


def rolled(values: Array, by: int) -> Array:
    """Values moved on by so many places along the first axis, the last ones first.

    As `numpy.roll`, which takes three times as long: rings are short, and this is done a hundred times for each.
    """
    cut = -by % max(len(values), 1)
    return np.concatenate([values[cut:], values[:cut]])  # type: ignore[return-value]


def signed_area(ring: FloatArray) -> float:
    """Shoelace area of a closed ring (N, 2), positive counter-clockwise in a y-up frame; coordinates centred first."""
    x, y, x1, y1 = _sides(ring - ring.mean(axis=0))
    return 0.5 * float((x * y1 - x1 * y).sum())


def area_and_centroid(ring: FloatArray) -> tuple[float, FloatArray]:
    """Signed area as `signed_area`, and the centroid (2,) of what the ring encloses."""
    middle = ring.mean(axis=0)
    x, y, x1, y1 = _sides(ring - middle)
    cross = x * y1 - x1 * y
    area = 0.5 * float(cross.sum())
    centroid = middle + np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (6 * area)
    return area, centroid


def reading_order(boxes: Sequence[tuple[float, float, float, float]]) -> list[int]:
    """Return the numbers of boxes (x0, y0, x1, y1; y down) in reading order.

    Rows from the top, each from the left; a row is what lies across the height of its first box with half of itself.
    """
    rest = sorted(range(len(boxes)), key=lambda k: (boxes[k][1], boxes[k][0]))
    ordered: list[int] = []
    while rest:
        _, top, _, bottom = boxes[rest[0]]
        row = {k for k in rest if 0.5 * (boxes[k][1] + boxes[k][3]) < bottom and boxes[k][3] > top}
        ordered += sorted((k for k in rest if k in row), key=lambda k: boxes[k][0])
        rest = [k for k in rest if k not in row]
    return ordered


def _sides(ring: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The coordinates x, y of every point and x, y of the one after it."""
    x, y = ring.T
    return x, y, rolled(x, -1), rolled(y, -1)
