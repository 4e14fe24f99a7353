"""Reference squares: every candidate seen in a reduced picture.

A border that encloses most of its hull is tried as a square from a few first guesses of its corners; each guess is
refined on the border and judged. Limits without a source were chosen on rendered pictures (tests/test_square.py holds
what they must let through and what not); px are of the reduced picture.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..measure.rings import rolled
from ..opencv import cv
from ..records import BoolArray, FloatArray, frozen_array
from ..steady import norm
from .guesses import (
    LEAST_SEEN,
    Asked,
    in_order_round,
    is_near,
    is_seen_enough,
    is_square_like,
    may_be_seen,
    may_be_square_like,
    part_seen,
)
from .quad import Quad, intersect_lines, order_corners, robust_line, side_lengths

_COARSE_SIDE_PX = 1000  # a picture larger than this is looked through at half its size first
_LEVELS = (0.12, 0.25, 0.4, 0.55, 0.7, 0.82, 0.92)  # between dark and light end: where a picture is cut in two
_ENDS_PERCENT = 0.5, 99.5  # of the codes: dark and light end, specks left out
_LEAST_RANGE = 8  # codes between the ends: less is noise
_COLOURLESS, _NEARLY_ALL_PERCENT = 12, 99.8  # codes between the channels, of places: less, and one channel says it all
_LEAST_BORDER_PX = 48  # a square 12 px a side: of smaller ones the corners cannot be told
_LEAST_HULL_PX2 = 144.0  # the same as an area
_LEAST_FILLED = 0.75  # of a border's hull: what encloses less is bent, or a line drawn twice
_BOX_RATIO, _BOX_RATIO_OBLIQUE, _BOX_PX = 1.2, 2.2, 6  # sides of the upright box: of one another, and px
_BOX_FILLED = 0.3  # of the box at least, over the ratio allowed: a square turned by 45 degrees fills 0.5
_SAME_BOX_PX = 3  # boxes of one square cut at two levels differ by its blur
_WHOLE_SIDE = 0.95  # support of a side that is seen from corner to corner
_CHORD_PARTS = (0.02, 0.035, 0.05)  # of the hull's length: how far its polygon may stray for four corners to be left
_MOST_ROUNDED = 2  # corners that the border may stay away from: a worn or covered print
_LEAST_ON_SIDE = 6  # border points that make a line
_LINE_FLOOR_PX = 0.75  # deviation of a border of whole px from its line
_LINE_ROUNDS = 4  # of reweighting
_ON_LINE_PX = 1.6  # from the line: a border point that still backs it
_ROUNDED_PX, _ROUNDED_PART = 2.2, 0.006  # and part of a side: a border farther from a corner stays away from it
_INSIDE, _OUTSIDE = 0.85, 1.12  # of the way from the centre to a side: clear of its blur, near enough to be its own
_PLACES_ALONG = 24  # a side, where its light is looked at
_SAME_PX = 0.5  # one square, seen alike at two levels
_NEAR_PX, _NEAR_PART = 3.0, 0.06  # and part of a side: squares nearer to one another are one, seen at two levels

Box = tuple[int, int, int, int]  # x, y, width, height
_Line = tuple[FloatArray, FloatArray]  # a point and the direction, (2,) each


@dataclass(frozen=True, slots=True)
class _Border:
    """A closed border in one of the two-level pictures."""

    points: npt.NDArray[np.int32]  # (N, 1, 2) as OpenCV gives it
    box: Box
    shape: tuple[int, ...]  # of the picture

    def rim_touched(self) -> tuple[bool, bool, bool, bool]:
        """Which sides of the picture the border touches."""
        x, y, w, h = self.box
        return x <= 0, y <= 0, x + w >= self.shape[1], y + h >= self.shape[0]


@dataclass(frozen=True, slots=True)
class _Corners:
    """Corners of a square, and the part of each side that the border backs."""

    places: FloatArray  # (4, 2)
    support: tuple[float, ...]


def find_quads(
    reduced: npt.NDArray[np.uint8], factor: int, *, aspect: float = 1.0, oblique: bool = False, every: bool = False
) -> tuple[Quad, ...]:
    """Find everything that looks like a reference square.

    Parameters
    ----------
    reduced
        (h, w, C) uint8, area-averaged by `factor` (any codes; used to find, not to measure).
    factor
        Full-resolution pixels per reduced pixel.
    aspect
        Width over height of the reference.
    oblique
        Also accept the quadrilaterals that a square becomes when photographed at up to 45 degrees.
    every
        Give a place as often as it looks another size at another level: with a shadow along a side, and without it.

    Returns
    -------
    tuple of Quad
        Largest first, each place once.
    """
    asked = Asked(aspect, oblique, every)
    if max(reduced.shape[:2]) > _COARSE_SIDE_PX:  # squares are large as a rule; look finer only when none is found
        half = cv().resize(reduced, None, fx=0.5, fy=0.5, interpolation=cv().INTER_AREA)
        coarse = _search(np.ascontiguousarray(half.reshape(*half.shape[:2], -1)), 2 * factor, asked)
        if coarse:
            return coarse
    return _search(reduced, factor, asked)


def binary_images(image: npt.NDArray[np.uint8]) -> list[npt.NDArray[np.uint8]]:
    """The darkest and the lightest channel, each cut at several levels between its dark and light ends."""
    binaries = []
    for plane in _planes(image):
        low, high = np.percentile(plane[::4, ::4], _ENDS_PERCENT)
        if high - low >= _LEAST_RANGE:
            binaries += [cv().threshold(plane, low + part * (high - low), 1, cv().THRESH_BINARY)[1] for part in _LEVELS]
    return binaries


def _planes(image: npt.NDArray[np.uint8]) -> list[npt.NDArray[np.uint8]]:
    if image.shape[2] == 1:
        return [np.ascontiguousarray(image[:, :, 0])]
    channels = [np.ascontiguousarray(image[:, :, c]) for c in range(image.shape[2])]
    darkest, lightest = (functools.reduce(pick, channels) for pick in (cv().min, cv().max))
    alike = np.percentile(cv().subtract(lightest, darkest)[::4, ::4], _NEARLY_ALL_PERCENT) < _COLOURLESS
    return [darkest] if alike else [darkest, lightest]


def _search(image: npt.NDArray[np.uint8], factor: int, asked: Asked) -> tuple[Quad, ...]:
    """Look for squares at one size; most levels show a square again, one seen whole is not looked at twice."""
    found: list[Quad] = []
    whole: list[Box] = []
    alike = 0 if asked.every else _SAME_BOX_PX
    for borders in _borders(image):
        some = [one for one in borders if _fills_square_box(one, asked) and not _is_one_of(one.box, whole, alike)]
        for border, points, starts in _guessed(some, asked):
            if _is_one_of(border.box, whole, alike) or all(
                border.rim_touched()
            ):  # the latter is darker than the level, or all
                continue
            corners = next((c for start in starts if (c := _judged(start, points, asked)) is not None), None)
            if corners is not None:
                found.append(_measured(corners, any(border.rim_touched()), image, factor))
                whole += [border.box] if min(corners.support) > _WHOLE_SIDE else []
    return _distinct(found, asked.every)


def _borders(image: npt.NDArray[np.uint8]) -> Iterator[list[_Border]]:
    """Every border long enough to be a square's, level by level."""
    for binary in binary_images(image):
        borders = cv().findContours(binary, cv().RETR_LIST, cv().CHAIN_APPROX_NONE)[0]
        long = [points for points in borders if len(points) >= _LEAST_BORDER_PX]
        yield [_Border(points, cv().boundingRect(points), binary.shape) for points in long]


def _is_one_of(box: Box, others: list[Box], alike_px: int) -> bool:
    """Whether a box is, but for blur, one of the others."""
    return any(max(abs(a - b) for a, b in zip(box, other, strict=True)) <= alike_px for other in others)


def _fills_square_box(border: _Border, asked: Asked) -> bool:
    """Cheap first look: the upright box of a square at any angle is nearly square and at least half filled."""
    _, _, w, h = border.box
    slack = max(asked.aspect, 1 / asked.aspect) * (_BOX_RATIO_OBLIQUE if asked.oblique else _BOX_RATIO)
    return bool(
        max(w, h) < slack * min(w, h) + _BOX_PX and cv().contourArea(border.points) > _BOX_FILLED * w * h / slack
    )


def _guessed(borders: list[_Border], asked: Asked) -> Iterator[tuple[_Border, FloatArray, list[FloatArray]]]:
    """Borders that may be squares, their places (N, 2), and the guesses of corners that are worth a closer look."""
    guesses: list[tuple[int, FloatArray]] = []
    for k, border in enumerate(borders):
        hull = _well_filled_hull(border)
        if hull is not None:
            guesses += [(k, start) for start in _starts(hull)]
    if not guesses:
        return
    rings = in_order_round(np.array([start for _, start in guesses]))
    like = np.flatnonzero(may_be_square_like(rings, asked))
    owners = [guesses[n][0] for n in like.tolist()]
    places = {k: borders[k].points[:, 0, :].astype(np.float64) for k in set(owners)}
    left: dict[int, list[FloatArray]] = {}
    for n in like[may_be_seen(rings[like], [places[k] for k in owners])].tolist():
        k, start = guesses[n]
        left.setdefault(k, []).append(order_corners(start))
    yield from ((borders[k], places[k], own) for k, own in left.items())


def _well_filled_hull(border: _Border) -> npt.NDArray[Any] | None:
    points = border.points.astype(np.float32)
    hull = cv().convexHull(points)
    hull_area = float(cv().contourArea(hull))
    filled = float(cv().contourArea(points)) >= _LEAST_FILLED * hull_area
    return hull if hull_area >= _LEAST_HULL_PX2 and filled else None


def _starts(hull: npt.NDArray[Any]) -> Iterator[FloatArray]:
    """Four corners of a hull: its own where it has four, and those of the smallest rectangle that it nearly fills."""
    length = float(cv().arcLength(hull, True))
    polygons = (cv().approxPolyDP(hull, part * length, True) for part in _CHORD_PARTS)
    four = next((polygon for polygon in polygons if len(polygon) == 4), None)
    if four is not None:
        yield four[:, 0, :].astype(np.float64)
    rectangle = cv().minAreaRect(hull)
    if float(cv().contourArea(hull)) >= _LEAST_FILLED * rectangle[1][0] * rectangle[1][1]:
        yield cv().boxPoints(rectangle).astype(np.float64)


def _judged(start: FloatArray, points: FloatArray, asked: Asked) -> _Corners | None:
    """The corners guessed, refined on the border, if they are then a square's."""
    if not is_square_like(start, asked, is_guess=True):
        return None
    corners = _refined(start, points)
    if corners is None or not is_square_like(corners.places, asked, is_guess=False):
        return None
    if not is_seen_enough(corners.support) or _rounded_corners(corners.places, points) > _MOST_ROUNDED:
        return None
    return _Corners(order_corners(corners.places), corners.support)


@dataclass(frozen=True, slots=True)
class _Beside:
    """The places of a border as the sides of four guessed corners see them."""

    start: FloatArray  # (4, 2), where each side begins
    along: FloatArray  # (4, 2), its direction
    length: FloatArray  # (4,)
    t: FloatArray  # (4, N), how far on along the side each place lies, parts of its length
    d: FloatArray  # (4, N), and how far off it, px
    near: BoolArray  # (4, N), which are near its middle

    @classmethod
    def of(cls, start: FloatArray, points: FloatArray) -> _Beside:
        """Of corners (4, 2) and places (N, 2)."""
        way = rolled(start, -1) - start
        length = np.sqrt((way**2).sum(axis=1))
        along = way / length[:, None]
        x, y = points[:, 0] - start[:, 0, None], points[:, 1] - start[:, 1, None]
        cosine, sine = along[:, 0, None], along[:, 1, None]
        t, d = (x * cosine + y * sine) / length[:, None], y * cosine - x * sine
        return cls(start, along, length, t, d, is_near(t, d, length[:, None]))

    def fitted(self, k: int) -> tuple[_Line, float] | None:
        """Point and direction of the line along a side, and the part of the side that backs it."""
        near, length, along = self.near[k], self.length[k], self.along[k]
        t, d = self.t[k], self.d[k]
        if near.sum() < _LEAST_ON_SIDE:
            return None
        slope, level = robust_line(t[near] * length, d[near], _LINE_FLOOR_PX, rounds=_LINE_ROUNDS)
        on = near & (np.abs(d - level - slope * t * length) < _ON_LINE_PX)
        seen = part_seen(t[on])
        normal = np.array([-along[1], along[0]])
        return (self.start[k] + level * normal, along + slope * normal), seen


def _refined(start: FloatArray, points: FloatArray) -> _Corners | None:
    """Lines fitted to the border along each side, and where they meet; None when the sides are not seen well enough."""
    beside = _Beside.of(start, points)
    lines, support = [], []
    for k in range(4):
        side = beside.fitted(k)
        if side is None or side[1] < LEAST_SEEN:
            return None
        lines.append(side[0])
        support.append(min(1.0, side[1]))
    try:
        places = [intersect_lines(*lines[i - 1], *lines[i]) for i in range(4)]
    except ValueError:
        return None
    return _Corners(np.array(places), tuple(support))


def _rounded_corners(corners: FloatArray, points: FloatArray) -> int:
    """How many corners the border stays away from."""
    gap = np.linalg.norm(corners[:, None, :] - points[None, :, :], axis=2).min(axis=1)
    return int((gap > _ROUNDED_PX + _ROUNDED_PART * side_lengths(corners).mean()).sum())


def _measured(corners: _Corners, touches: bool, reduced: npt.NDArray[np.uint8], factor: int) -> Quad:
    """The candidate in full-resolution px, told whether it is dark."""
    centre = corners.places.mean(axis=0)
    inner = _mean_along(reduced, centre + _INSIDE * (corners.places - centre))
    outer = _mean_along(reduced, centre + _OUTSIDE * (corners.places - centre))
    full = factor * corners.places + (factor - 1) / 2.0
    return Quad(frozen_array(full), corners.support, touches, bool(inner < outer))


def _mean_along(reduced: npt.NDArray[np.uint8], corners: FloatArray) -> float:
    """Mean code along the sides of a quadrilateral (places outside the picture left out)."""
    t = np.linspace(0, 1, _PLACES_ALONG, endpoint=False)[:, None]
    places = np.concatenate([corners[i] + t * (corners[(i + 1) % 4] - corners[i]) for i in range(4)])
    x, y = np.rint(places).astype(int).T
    known = (x >= 0) & (y >= 0) & (x < reduced.shape[1]) & (y < reduced.shape[0])
    return float(reduced[y[known], x[known]].mean()) if known.any() else 255.0


def _distinct(found: list[Quad], every: bool) -> tuple[Quad, ...]:
    """One of each group of nearly equal quads (the best supported), or only of those as large, largest first."""
    kept: list[Quad] = []
    part, least = (0.0, _SAME_PX) if every else (_NEAR_PART, _NEAR_PX)
    for quad in sorted(found, key=lambda q: (not q.touches_border, round(sum(q.support), 2), q.side_px), reverse=True):
        near = part * quad.side_px + least
        if not any(
            norm(quad.centre_px - other.centre_px) < near and abs(quad.side_px - other.side_px) < near for other in kept
        ):
            kept.append(quad)
    return tuple(sorted(kept, key=lambda q: -q.side_px))
