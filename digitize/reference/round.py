"""Round things that may be a reference disc: every candidate seen in a reduced picture.

Limits without a source were chosen on rendered pictures (tests/test_disc.py holds what they must let through and what
not); px are of the reduced picture.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..records import FloatArray, frozen_array
from ..steady import least_squares, norm
from .square import binary_images

_LEAST_RADIUS_PX = 8.0  # smaller ones are dust and dots
_LEAST_FILLED = 0.7  # of the upright box: a circle fills 0.785
_ROUND_PART, _ROUND_PX = 0.035, 1.2  # of the radius, and px, that a border may stray: a flatbed's axes differ by 0.035
_BORDER_PX = 2.0  # what is this near to the picture's border is cut by it
_LEAST_SEEN = 0.4  # of a circle's way round: less of one that is cut may be anything
_WHOLE = 0.9  # of a circle's way round must be seen of one that is not cut
_SAME = 0.1  # of the radius: one thing seen at two levels
_INSIDE, _OUTSIDE = 0.85, 1.15  # of the way from the middle to the edge, where light is looked at
_PLACES = 64  # round a circle
_EVERY = 7  # pixel that the ground is told from; thinned for the work


_Circle = tuple[FloatArray, float, bool]  # middle, radius, whether the picture's border cuts it


@dataclass(frozen=True, slots=True)
class Round:
    """A round thing seen in the reduced picture, in full-resolution px."""

    centre_px: FloatArray  # (2,)
    radius_px: float
    is_cut: bool  # by the picture's border


def find_rounds(codes: npt.NDArray[np.uint8], factor: int) -> tuple[Round, ...]:
    """Find everything that may be a disc: round, unlike what lies behind it, within no other.

    Parameters
    ----------
    codes
        (h, w, C) uint8, area-averaged by `factor` (any codes; used to find, not to measure).
    factor
        Full-resolution pixels per reduced pixel.

    Returns
    -------
    tuple of Round
        Largest first, each place once. A round hole in something, which shows the ground, is none.
    """
    found: list[_Circle] = []
    ground = np.median(codes.reshape(-1, codes.shape[2])[::_EVERY].astype(np.float64), axis=0)
    for one in sorted(_seen(codes), key=lambda one: -one[1]):
        if not any(_holds(other, one) for other in found) and not _is_hole(codes, one[0], one[1], ground):
            found.append(one)
    middle = (factor - 1) / 2.0
    return tuple(Round(frozen_array(factor * c + middle), factor * r, is_cut) for c, r, is_cut in found)


def _holds(one: _Circle, other: _Circle) -> bool:
    """Whether one circle holds another, or is it, seen at another level; what lies within a cut one may be a disc."""
    radius, away = one[1], norm(other[0] - one[0])
    if one[2]:
        return away < _SAME * radius and abs(other[1] - radius) < _SAME * radius
    return away < (1 + _SAME) * radius


def _seen(codes: npt.NDArray[np.uint8]) -> Iterator[_Circle]:
    """Yield middle and radius of every round border, level by level, and whether the picture's border cuts it."""
    for binary in binary_images(codes):
        for border in cv().findContours(binary, cv().RETR_LIST, cv().CHAIN_APPROX_NONE)[0]:
            if len(border) >= 6 * _LEAST_RADIUS_PX * _LEAST_SEEN:
                found = _round_of(border[:, 0, :].astype(np.float64), binary.shape)
                if found is not None:
                    yield found


def _round_of(points: FloatArray, shape: tuple[int, ...]) -> _Circle | None:
    height, width = shape[:2]
    x, y = points.T
    free = np.minimum.reduce([x, y, width - 1 - x, height - 1 - y]) > _BORDER_PX
    is_cut = not bool(free.all())
    if not is_cut:
        wide, high = np.ptp(points, axis=0).tolist()
        short, long = min(wide, high), max(wide, high)
        if short < 2 * _LEAST_RADIUS_PX or long > (1 + 2 * _ROUND_PART) * short + 2 * _ROUND_PX:
            return None
        if cv().contourArea(points.astype(np.float32)) < _LEAST_FILLED * wide * high:
            return None
    elif free.sum() < 6 * _LEAST_RADIUS_PX * _LEAST_SEEN:
        return None
    centre, radius = _circle(points[free])
    if not _LEAST_RADIUS_PX <= radius < max(shape):
        return None
    away = np.hypot(*(points[free] - centre).T)
    angles = np.arctan2(*(points[free] - centre).T)
    seen = len(set(np.floor(angles * _PLACES / (2 * np.pi)).astype(int).tolist())) / _PLACES
    strays = float(np.abs(away - radius).max()) > _ROUND_PART * radius + _ROUND_PX
    return None if strays or seen < (_LEAST_SEEN if is_cut else _WHOLE) else (centre, radius, is_cut)


def _circle(points: FloatArray) -> tuple[FloatArray, float]:
    """Return the circle through points by least squares of the squares' distances (Kasa, 1976)."""
    middle = points.mean(axis=0)
    x, y = (points - middle).T
    a, b, c = least_squares(np.column_stack([x, y, np.ones_like(x)]), x**2 + y**2).tolist()
    return middle + np.array([a, b]) / 2, float(np.sqrt(max(c + (a**2 + b**2) / 4, 0.0)))


def _is_hole(codes: npt.NDArray[np.uint8], centre: FloatArray, radius: float, ground: FloatArray) -> bool:
    """Whether the inside is liker to the picture's ground than what lies about it is."""
    inside, outside = (_light(codes, centre, part * radius) for part in (_INSIDE, _OUTSIDE))
    if inside is None or outside is None:
        return False
    return bool(np.abs(inside - ground).max() < np.abs(outside - ground).max())


def _light(codes: npt.NDArray[np.uint8], centre: FloatArray, radius: float) -> FloatArray | None:
    """Median code round a circle, (C,); None outside the picture."""
    turn = 2 * np.pi * np.arange(_PLACES) / _PLACES
    x, y = np.rint(centre[:, None] + radius * np.stack([np.cos(turn), np.sin(turn)])).astype(int)
    known = (x >= 0) & (y >= 0) & (x < codes.shape[1]) & (y < codes.shape[0])
    return np.asarray(np.median(codes[y[known], x[known]], axis=0)) if known.any() else None
