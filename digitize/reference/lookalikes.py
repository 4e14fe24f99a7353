"""What may have been meant as the reference square and is none: looked for only to say why there is no scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..records import FloatArray
from ..steady import norm, product
from .quad import Quad, corner_angles_deg, side_lengths
from .square import binary_images, find_quads

_RIGHT_DEG = 6.0  # an angle this near 90 degrees is a right one
_LEAST_SIDE = 12.0  # reduced px
_SHORT, _LONG = 0.25, 1.2  # of the whole side, for the two beside it
_BORDER = 2.5  # reduced px: what ends this near the border runs out of the picture
_WHOLE = 0.9  # part of each side that a border must back for it to be whole
_STRAY_PX, _STRAY_PART = (
    1.5,
    0.015,
)  # reduced px, and of a thing's size: how far its border may stray from straight sides
_BACK = 0.3  # cosine to the way back, from which a border turns back


@dataclass(frozen=True, slots=True)
class Lookalike:
    """A thing with the corners of a square."""

    kind: Literal["cut", "touched", "oblong"]  # by the border; by another thing; whole, with sides that differ
    centre_px: tuple[float, float]
    sides_px: tuple[float, float]  # seen along the first side and along the second; of a cut one what is left


def find_lookalike(codes: npt.NDArray[np.uint8], factor: int, *, aspect: float) -> Lookalike | None:
    """Find the largest thing with corners like a square's that is cut, touched by another thing, or oblong.

    Parameters
    ----------
    codes
        (h, w, C) uint8, the picture made smaller by `factor`.
    factor
        Full-resolution px per reduced px.
    aspect
        Width over height of the reference.
    """
    parts = [part for binary in binary_images(codes) for part in _parts(binary)]
    for kind in ("cut", "touched"):
        of_kind = [part for part in parts if part.kind == kind]
        if of_kind:
            best = max(of_kind, key=lambda part: part.sides_px[0])
            x, y = best.centre_px
            full = (factor * x + (factor - 1) / 2, factor * y + (factor - 1) / 2)
            return Lookalike(best.kind, full, (factor * best.sides_px[0], factor * best.sides_px[1]))
    for wanted in (aspect, 2 * aspect):
        for quad in find_quads(codes, factor, aspect=wanted, oblique=True):
            if _is_upright(quad):
                a, b, c, d = side_lengths(quad.corners_px).tolist()
                return Lookalike("oblong", _place(quad.corners_px), (0.5 * (a + c), 0.5 * (b + d)))
    return None


def _is_upright(quad: Quad) -> bool:
    """Whether a whole quadrilateral has right angles."""
    off = np.abs(corner_angles_deg(quad.corners_px) - 90).max()
    return not quad.touches_border and min(quad.support) > _WHOLE and bool(off < _RIGHT_DEG)


def _parts(binary: npt.NDArray[np.uint8]) -> list[Lookalike]:
    """Sides with a right angle at either end whose neighbours run into the border or something else; reduced px."""
    found = []
    contours, _ = cv().findContours(binary, cv().RETR_LIST, cv().CHAIN_APPROX_NONE)
    for contour in contours:
        area = cv().contourArea(contour)
        if area < _LEAST_SIDE**2:
            continue
        stray = _STRAY_PX + _STRAY_PART * float(np.sqrt(area))
        ring = cv().approxPolyDP(contour, stray, True)[:, 0, :].astype(np.float64)
        if len(ring) >= 4:
            found += [part for i in range(len(ring)) if (part := _part(np.roll(ring, -i, axis=0), binary.shape))]
    return found


def _part(ring: FloatArray, shape: tuple[int, ...]) -> Lookalike | None:
    """What the side from the first to the second point of a polygon is one whole side of, if anything."""
    before, a, b, after = ring[-1], ring[0], ring[1], ring[2]
    side, left, right = a - b, before - a, after - b
    length = norm(side)
    beside = [norm(left), norm(right)]
    if length < _LEAST_SIDE or min(beside) < _SHORT * length or max(beside) > _LONG * length:
        return None
    if any(_at_border(p, shape) for p in (a, b)) or not _is_right(-side, left) or not _is_right(side, right):
        return None
    if product(left, right) <= 0:
        return None  # a step, not two corners to the same side
    out = [_at_border(p, shape) for p in (before, after)]
    inward = [_turns_back(ring[-2], before, a, b), _turns_back(ring[3 % len(ring)], after, b, a)]
    kind: Literal["cut", "touched"]
    if all(out):
        kind = "cut"
    elif len(ring) > 4 and any(inward) and not any(out):
        kind = "touched"
    else:
        return None
    middle = 0.5 * (a + b) + 0.25 * (left + right)
    return Lookalike(kind, (float(middle[0]), float(middle[1])), (length, float(np.mean(beside))))


def _is_right(one: FloatArray, other: FloatArray) -> bool:
    cosine = abs(float(product(one, other))) / float(norm(one) * norm(other))
    return bool(cosine < np.sin(np.radians(_RIGHT_DEG)))


def _turns_back(beyond: FloatArray, end: FloatArray, corner: FloatArray, other: FloatArray) -> bool:
    """Whether the contour turns away from the square at the end of a neighbouring side, as where a thing lies at it."""
    return bool(product(beyond - end, corner - other) > _BACK * norm(beyond - end) * norm(corner - other))


def _at_border(place: FloatArray, shape: tuple[int, ...]) -> bool:
    x, y = place
    return bool(min(x, y, shape[1] - 1 - x, shape[0] - 1 - y) <= _BORDER)


def _place(corners: npt.NDArray[Any]) -> tuple[float, float]:
    x, y = corners.mean(axis=0).tolist()
    return x, y
