"""Reference squares: every candidate seen in a reduced picture, and the geometry of four corners."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..records import FloatArray, frozen_array

_LEAST_SEEN = 0.4  # part of a side that must be seen in the reduced picture

Box = tuple[int, int, int, int]  # x, y, width, height


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


def side_lengths(corners: FloatArray) -> FloatArray:
    """Lengths of the sides 0-1, 1-2, 2-3, 3-0 of a (4, 2) quadrilateral; (4,)."""
    return np.asarray(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1))


def corner_angles_deg(corners: FloatArray) -> FloatArray:
    """Inner angles at the corners of a convex (4, 2) quadrilateral, degrees; (4,)."""
    forward = np.roll(corners, -1, axis=0) - corners
    backward = np.roll(corners, 1, axis=0) - corners
    cross = forward[:, 0] * backward[:, 1] - forward[:, 1] * backward[:, 0]
    return np.asarray(np.degrees(np.arctan2(np.abs(cross), (forward * backward).sum(axis=1))))


def order_corners(corners: FloatArray) -> FloatArray:
    """Corners clockwise as seen in the picture (y down), starting with the one nearest the top-left."""
    centre = corners.mean(axis=0)
    angle = np.arctan2(corners[:, 1] - centre[1], corners[:, 0] - centre[0])
    around = corners[np.argsort(angle, kind="stable")]
    return np.roll(around, -int(around.sum(axis=1).argmin()), axis=0)


def intersect_lines(point_a: FloatArray, along_a: FloatArray, point_b: FloatArray, along_b: FloatArray) -> FloatArray:
    """Where two lines (point, direction) meet; (2,).

    Raises
    ------
    ValueError
        If they are parallel.
    """
    cross = along_a[0] * along_b[1] - along_a[1] * along_b[0]
    if abs(cross) < 1e-9:
        raise ValueError("the lines are parallel")
    gap = point_b - point_a
    t = (gap[0] * along_b[1] - gap[1] * along_b[0]) / cross
    return np.asarray(point_a + t * along_a)


def find_quads(
    reduced: npt.NDArray[np.uint8], factor: int, *, aspect: float = 1.0, oblique: bool = False
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

    Returns
    -------
    tuple of Quad
        Largest first, each place once.
    """
    if max(reduced.shape[:2]) > 1000:  # squares are large as a rule; look finer only when none is found
        half = cv().resize(reduced, None, fx=0.5, fy=0.5, interpolation=cv().INTER_AREA)
        coarse = _search(np.ascontiguousarray(half.reshape(*half.shape[:2], -1)), 2 * factor, aspect, oblique=oblique)
        if coarse:
            return coarse
    return _search(reduced, factor, aspect, oblique=oblique)


def _search(image: npt.NDArray[np.uint8], factor: int, aspect: float, *, oblique: bool) -> tuple[Quad, ...]:
    """Look for squares at one size."""
    found: list[Quad] = []
    clear: list[Box] = []  # of squares seen with whole sides: most levels show them again
    for binary in binary_images(image):
        contours, _ = cv().findContours(binary, cv().RETR_LIST, cv().CHAIN_APPROX_NONE)
        for contour in contours:
            if len(contour) < 4 * 12:
                continue
            box = cv().boundingRect(contour)
            if not _fills_square_box(contour, box, aspect, oblique=oblique) or _seen_before(box, clear):
                continue
            quad = _quad_of(contour[:, 0, :].astype(np.float64), binary.shape, aspect, oblique=oblique)
            if quad is not None:
                found.append(_measured(quad, image, factor))
                if min(found[-1].support) > 0.95:
                    clear.append(box)
    return _distinct(found)


def _seen_before(box: Box, others: list[Box]) -> bool:
    """Whether a box is, but for 3 px of blur, one of the others."""
    return any(max(abs(a - b) for a, b in zip(box, other, strict=True)) <= 3 for other in others)


def _fills_square_box(contour: npt.NDArray[Any], box: Box, aspect: float, *, oblique: bool) -> bool:
    """Cheap first look: the upright box of a square at any angle is nearly square and at least 45 % filled."""
    _, _, w, h = box
    slack = max(aspect, 1 / aspect) * (2.2 if oblique else 1.2)
    return bool(max(w, h) < slack * min(w, h) + 6 and cv().contourArea(contour) > 0.3 * w * h / slack)


def binary_images(image: npt.NDArray[np.uint8]) -> list[npt.NDArray[np.uint8]]:
    """The darkest and the lightest channel, each cut at several levels between its dark and light ends."""
    planes = [np.ascontiguousarray(image[:, :, 0])]
    if image.shape[2] > 1:
        channels = [np.ascontiguousarray(image[:, :, c]) for c in range(image.shape[2])]
        darkest, lightest = (functools.reduce(pick, channels) for pick in (cv().min, cv().max))
        alike = np.percentile(cv().subtract(lightest, darkest)[::4, ::4], 99.8) < 12
        planes = [darkest] if alike else [darkest, lightest]
    binaries = []
    for plane in planes:
        low, high = np.percentile(plane[::4, ::4], [0.5, 99.5])
        if high - low >= 8:
            binaries += [
                cv().threshold(plane, low + part * (high - low), 1, cv().THRESH_BINARY)[1]
                for part in (0.12, 0.25, 0.4, 0.55, 0.7, 0.82, 0.92)
            ]
    return binaries


def _quad_of(
    contour: FloatArray, shape: tuple[int, ...], aspect: float, *, oblique: bool
) -> tuple[FloatArray, tuple[float, ...], bool] | None:
    """Corners, support and border contact of a contour (reduced px) that is a square, else None."""
    points = contour.astype(np.float32).reshape(-1, 1, 2)
    hull = cv().convexHull(points)
    area = float(cv().contourArea(points))
    hull_area = float(cv().contourArea(hull))
    if hull_area < 144 or area < 0.75 * hull_area:
        return None
    for start in _starts(hull, hull_area):
        if not _is_square_like(start, aspect, oblique=oblique, slack=2.0):
            continue
        corners, support = _refine_on_contour(start, contour)
        if corners is None or not _is_square_like(corners, aspect, oblique=oblique, slack=1.0):
            continue
        if sum(s >= 0.8 for s in support) < 2 or _rounded_corners(corners, contour) >= 3:
            continue
        low, high = contour.min(axis=0), contour.max(axis=0)
        at_border = (low[0] <= 0, low[1] <= 0, high[0] >= shape[1] - 1, high[1] >= shape[0] - 1)
        if all(at_border):
            return None  # the picture itself, darker or lighter all over than the level
        return order_corners(corners), support, bool(any(at_border))
    return None


def _starts(hull: npt.NDArray[Any], hull_area: float) -> Iterator[FloatArray]:
    """Four corners of a hull: its own where it has four, and those of the smallest rectangle that it nearly fills."""
    length = float(cv().arcLength(hull, True))
    for part in (0.02, 0.035, 0.05):
        polygon = cv().approxPolyDP(hull, part * length, True)
        if len(polygon) == 4:
            yield order_corners(polygon[:, 0, :].astype(np.float64))
            break
    rectangle = cv().minAreaRect(hull)
    if hull_area >= 0.75 * rectangle[1][0] * rectangle[1][1]:
        yield order_corners(cv().boxPoints(rectangle).astype(np.float64))


def _is_square_like(corners: FloatArray, aspect: float, *, oblique: bool, slack: float) -> bool:
    """Whether four corners can be the reference: sides and angles within what a flatbed (or a camera) does."""
    lengths = side_lengths(corners)
    if lengths.min() < 10:
        return False
    ratio = (lengths[0] + lengths[2]) / (lengths[1] + lengths[3])
    off = min(abs(np.log(ratio / aspect)), abs(np.log(ratio * aspect)))
    if oblique:
        return bool(off < 0.5 and np.abs(corner_angles_deg(corners) - 90).max() < 30)
    opposite = max(abs(np.log(lengths[0] / lengths[2])), abs(np.log(lengths[1] / lengths[3])))
    limit = 0.06 + 2.0 / lengths.min()
    return bool(
        off < limit * slack
        and opposite < limit * slack
        and np.abs(corner_angles_deg(corners) - 90).max() < (4.0 + 60.0 / lengths.min()) * slack
    )


def _refine_on_contour(start: FloatArray, contour: FloatArray) -> tuple[FloatArray | None, tuple[float, ...]]:
    """Fit a line to the contour points along each side; corners by intersection, support of each side.

    No corners when a side is not seen well enough.
    """
    lines, support = [], []
    for i in range(4):
        a, b = start[i], start[(i + 1) % 4]
        length = float(np.linalg.norm(b - a))
        along = (b - a) / length
        normal = np.array([-along[1], along[0]])
        t, d = (contour - a) @ along / length, (contour - a) @ normal
        near = (t > 0.08) & (t < 0.92) & (np.abs(d) < max(2.5, 0.06 * length))
        if near.sum() < 6:
            return None, ()
        slope, level = robust_line(t[near] * length, d[near], 0.75, rounds=4)
        on = near & (np.abs(d - level - slope * t * length) < 1.6)
        support.append(len(set((t[on] * 40).astype(np.int64).tolist())) / 35.0)
        if support[-1] < _LEAST_SEEN:
            return None, ()
        lines.append((a + level * normal, along + slope * normal))
    try:
        corners = [intersect_lines(*lines[i - 1], *lines[i]) for i in range(4)]
    except ValueError:
        return None, ()
    return np.array(corners), tuple(min(1.0, s) for s in support)


def _rounded_corners(corners: FloatArray, contour: FloatArray) -> int:
    """How many corners the contour stays away from."""
    gap = np.linalg.norm(corners[:, None, :] - contour[None, :, :], axis=2).min(axis=1)
    return int((gap > 2.2 + 0.006 * side_lengths(corners).mean()).sum())


def _measured(seen: tuple[FloatArray, tuple[float, ...], bool], reduced: npt.NDArray[np.uint8], factor: int) -> Quad:
    corners, support, touches = seen
    centre = corners.mean(axis=0)
    inner = _mean_along(reduced, centre + 0.85 * (corners - centre))
    outer = _mean_along(reduced, centre + 1.12 * (corners - centre))
    full = factor * corners + (factor - 1) / 2.0
    return Quad(frozen_array(full), support, touches, bool(inner < outer))


def _mean_along(reduced: npt.NDArray[np.uint8], corners: FloatArray) -> float:
    """Mean code along the sides of a quadrilateral (places outside the picture left out)."""
    t = np.linspace(0, 1, 24, endpoint=False)[:, None]
    places = np.concatenate([corners[i] + t * (corners[(i + 1) % 4] - corners[i]) for i in range(4)])
    x, y = np.rint(places).astype(int).T
    known = (x >= 0) & (y >= 0) & (x < reduced.shape[1]) & (y < reduced.shape[0])
    return float(reduced[y[known], x[known]].mean()) if known.any() else 255.0


def _distinct(found: list[Quad]) -> tuple[Quad, ...]:
    """One of each group of nearly equal quads (the best supported), largest first."""
    kept: list[Quad] = []
    for quad in sorted(found, key=lambda q: (not q.touches_border, round(sum(q.support), 2), q.side_px), reverse=True):
        near = 0.06 * quad.side_px + 3.0
        if not any(
            np.linalg.norm(quad.centre_px - other.centre_px) < near and abs(quad.side_px - other.side_px) < near
            for other in kept
        ):
            kept.append(quad)
    return tuple(sorted(kept, key=lambda q: -q.side_px))


def robust_line(t: FloatArray, d: FloatArray, floor: float, *, rounds: int = 12) -> tuple[float, float]:
    """Slope and level of d against t by Tukey-weighted least squares, scale from the median deviation."""
    slope, level = 0.0, _median(d)
    centre, spread = t.mean(), max(float(t.std()), 1e-9)  # centred and scaled: t runs to thousands of px
    z = (t - centre) / spread
    for round_ in range(rounds):
        rest = d - level - slope * z
        scale = max(1.4826 * _median(np.abs(rest - _median(rest))), floor * 0.1)
        u = rest / (4.685 * scale) if round_ else rest / (12.0 * scale)
        weight = np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
        total = weight.sum()
        if total < 1e-6:
            break
        zm, dm = (weight * z).sum() / total, (weight * d).sum() / total
        new_slope = (weight * (z - zm) * (d - dm)).sum() / max((weight * (z - zm) ** 2).sum(), 1e-12)
        new_level = dm - new_slope * zm
        moved = abs(new_slope - slope) + abs(new_level - level)
        slope, level = float(new_slope), float(new_level)
        if moved < 1e-7:
            break
    return slope / spread, level - slope * centre / spread


def _median(values: FloatArray) -> float:
    """Upper median: for short arrays several times as fast as numpy's."""
    middle = len(values) // 2
    return float(np.partition(values, middle)[middle])
