"""Specks on an item's edge that are of another colour than the item: crumbs, perhaps, that lie against it.

A crumb that touches an item is one with it, as far as its pixels tell: the outline runs round it. It shows by two
things together, a bump or a dent in an edge that runs straight on before and behind it, and another light just within.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..measure.profiles import light_between
from ..measure.ragged import TO_SD, EndToEnd, median, medians_along
from ..records import BoolArray, Contour, FloatArray, Picture
from ..steady import norm, product
from .smoothing import normals_of_rings

_WITHIN_BLURS, _WITHIN_PX = 2.0, 1.0  # how far within the edge its light is its own
_LEAST_PART, _SPREADS = 0.12, 6.0  # of the item's contrast, and of its light's own spread along the edge
_EVERY = 4  # points, of which one tells what is usual about a place
_ABOUT = 5.0  # sizes of dust to either side, within which it is usual
_SHORTEST, _LONGEST = 4, 2.5  # points, and sizes of dust along the edge
_SIDE = 16  # points before and behind that tell how the edge runs on
_STRAIGHT = np.radians(20.0)
_EVEN_PX = 0.6  # from a straight line, before and behind: more is an edge that is uneven anyhow
_LEAST_PX = 1.5  # of a bump or dent
_AT_ONCE = 16  # contours looked at together


@dataclass(frozen=True, slots=True)
class Crumb:
    """A bump or dent of another colour."""

    off_px: float  # by how much the edge is moved
    long_px: float  # along it
    place_px: tuple[float, float]


def crumbs_on(picture: Picture, contours: Sequence[Contour], *, dust_px: float) -> list[list[Crumb]]:
    """Return the specks of another colour that move each edge.

    Parameters
    ----------
    picture
        That the contours were traced in.
    contours
        Their points about 1 px apart.
    dust_px
        Size of what counts as dust.
    """
    found: list[list[Crumb]] = [[] for _ in contours]
    long = [k for k, contour in enumerate(contours) if len(contour.points_px) >= 8 * _SIDE]
    for first in range(0, len(long), _AT_ONCE):
        some = long[first : first + _AT_ONCE]
        odd = _odd(picture, [contours[k] for k in some], half=max(2 * _SIDE, int(_ABOUT * dust_px)))
        for k, own in zip(some, odd, strict=True):
            points, pad = contours[k].points_px, int(np.ceil(2.0 * contours[k].blur_px)) + 2
            runs = [(a, b) for a, b in _runs(own) if _SHORTEST <= b - a < _LONGEST * dust_px]
            found[k] = [one for a, b in runs if (one := _crumb(points, a, b, pad=pad)) is not None]
    return found


def _odd(picture: Picture, contours: Sequence[Contour], *, half: int) -> list[BoolArray]:
    """Where the light within edges is clearly another than is usual about there; (N,) of each."""
    rings, points = EndToEnd.of([one.points_px for one in contours]), np.concatenate([c.points_px for c in contours])
    depth = _WITHIN_BLURS * np.array([one.blur_px for one in contours]) + _WITHIN_PX
    light = light_between(picture, points + rings.rows(depth)[:, None] * normals_of_rings(points, rings, 4))
    off = np.sqrt(((light - _usual(light, rings, half)) ** 2).sum(axis=1))
    spread = TO_SD * rings.each(off, median)
    least = np.maximum(_LEAST_PART * np.array([one.contrast for one in contours]), _SPREADS * spread)
    odd = off > rings.rows(least)
    return [odd[at] for at in rings.slices]


def _usual(light: FloatArray, rings: EndToEnd, half: int) -> FloatArray:
    """The median of the light (N, C) of so many points on either side of each, every few of them; (N, C)."""
    few = rings.within % _EVERY == 0
    some, seen = rings.kept(few), light[few].T
    medians = np.empty_like(seen)
    reaches = np.minimum(half // _EVERY, (some.sizes - 1) // 2)
    for numbers, own, rows in some.alike(reaches):
        reach = int(reaches[numbers[0]])
        windows = np.arange(len(own.owner))[:, None] + own.owner[:, None] * 2 * reach + np.arange(2 * reach + 1)
        medians[:, rows] = medians_along(seen[:, rows][:, own.padded(reach)][:, windows])
    return np.asarray(medians.T[some.starts[rings.owner] + rings.within // _EVERY])


def _runs(odd: BoolArray) -> list[tuple[int, int]]:
    """First and last of each run of points, round the ring; gaps of two points are bridged."""
    if odd.all() or not odd.any():
        return []
    closed = odd | (np.roll(odd, 1) & np.roll(odd, -1)) | (np.roll(odd, 1) & np.roll(odd, -2))
    starts = np.flatnonzero(closed & ~np.roll(closed, 1))
    ends = np.flatnonzero(closed & ~np.roll(closed, -1))
    if not len(starts):
        return []
    ends = ends if ends[0] >= starts[0] else np.roll(ends, -1)
    return [(int(a), int(b) if b >= a else int(b) + len(odd)) for a, b in zip(starts, ends, strict=True)]


def _crumb(points: FloatArray, first: int, last: int, *, pad: int) -> Crumb | None:
    """Measure a run; None where the edge bends there anyhow, or is not moved."""
    count = len(points)
    a, b = first - pad, last + pad
    before, within, after = (points[np.arange(i, j + 1) % count] for i, j in ((a - _SIDE, a), (a, b), (b, b + _SIDE)))
    chord = within[-1] - within[0]
    if max(_between(side[-1] - side[0], chord) for side in (before, after)) > _STRAIGHT:
        return None
    if max(float(_across(side).max()) for side in (before, after)) > _EVEN_PX:
        return None
    off = _across(within)
    if off.max() < _LEAST_PX:
        return None
    x, y = within[int(off.argmax())].tolist()
    return Crumb(float(off.max()), norm(chord), (x, y))


def _across(points: FloatArray) -> FloatArray:
    """Distance of each point from the straight line between the first and the last; (N,)."""
    (x, y), around = points[-1] - points[0], points - points[0]
    return np.asarray(np.abs(x * around[:, 1] - y * around[:, 0]) / max(float(np.hypot(x, y)), 1e-9))


def _between(one: FloatArray, other: FloatArray) -> float:
    """Angle between two directions, radians."""
    return abs(float(np.arctan2(one[0] * other[1] - one[1] * other[0], product(one, other))))
