"""How much farther a sharp tip moves than the edges that meet in it: what a length from tip to tip owes to them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..records import Contribution, FloatArray

_NEAR = 3  # points from a corner: what lies as near is its tip
_ARM = 12  # points along each side, of about a pixel
_MOST = 6.0  # of a needle; its tip is not measured anyhow


def tip_gain(ring: FloatArray, corners: tuple[int, ...]) -> float:
    """Return how much longer width and height of a ring become, over twice the way that all its edges move outward.

    1 where the box is touched by smooth stretches; at a sharp corner the tip moves until both its sides have: 1 over
    the sine of half its angle, along its middle.

    Parameters
    ----------
    ring
        (N, 2) counter-clockwise, about evenly spaced.
    corners
        Indices of its sharp corners.
    """
    gains = [
        0.5 * sum(_gain(ring, corners, int(end), axis) for end in (ring[:, axis].argmin(), ring[:, axis].argmax()))
        for axis in (0, 1)
    ]
    return math.hypot(*gains) / math.sqrt(2.0)


def _gain(ring: FloatArray, corners: tuple[int, ...], at: int, axis: int) -> float:
    count = len(ring)
    away = (np.asarray(corners, dtype=np.int64) - at + count // 2) % count - count // 2
    if not len(away) or np.abs(away).min() > _NEAR or count < 3 * _ARM:
        return 1.0
    tip = at + int(away[np.abs(away).argmin()])
    before, here, after = ring[(tip - _ARM) % count], ring[tip % count], ring[(tip + _ARM) % count]
    along = np.array([here - before, after - here])
    normals = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    if abs(np.linalg.det(normals)) < 1e-6:
        return 1.0
    return float(np.clip(abs(np.linalg.solve(normals, np.ones(2))[axis]), 1.0, _MOST))


def with_tips(budget: tuple[Contribution, ...], gain: float) -> tuple[Contribution, ...]:
    """Return the budget with the constant part of lengths as the item's tips make it."""
    return tuple(one if one.acts == "with length" else replace(one, length_mm=gain * one.length_mm) for one in budget)
