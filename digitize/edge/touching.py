"""Whether one outline is perhaps that of two blanks in touch: told by its bays and by its sharp inner corners."""

from __future__ import annotations

import numpy as np

from ..measure.rings import rolled, signed_area
from ..records import Finding, FloatArray
from ..steady import norm, product
from ..words.say import finding_of

_LEAST_PART = 0.08  # of the area: a smaller part is a tab or an ear
_PER_PX = 1000  # whole numbers that OpenCV's hull is made of; it tells depths in 256ths of them
_LEAST_BAY = 0.08  # of the shorter side: two bays that make a waist are as deep
_UNLIKE, _WIDE = 0.08, 0.8  # of the area, from its half, and of the longer side: a waist that parts two alike
_BETWEEN = 0.05, 0.95  # of a way across, which must run inside
_CLEFT_TURN_DEG = 115.0  # a sharper inner corner is a cleft: a T, an arrow and an L turn by about 90
_NECK_TURN_DEG = 20.0  # beside a narrow neck any inner corner counts
_NECK_WIDTH = 0.2  # of the length of the smaller part's side: what is narrower is a neck
_FACING_DEG = 40.0  # how far from the way to each other two inner corners may point
_NECK_FACING_DEG = 75.0  # and how far those beside a neck may
_ARM = 0.035  # of the ring's size: the way along which a corner's two sides are looked at
_STEPS = 6  # places along an arm
_POINTS = (40, 4000)  # even steps of a ring, at least and at most; chosen, no source


def perhaps_two(ring: FloatArray) -> tuple[Finding, ...]:
    """Say that an outline is perhaps that of two blanks in touch.

    Parameters
    ----------
    ring
        (N, 2) dense outline, mm, counter-clockwise.

    Returns
    -------
    tuple of Finding
        One, where two deep bays part the outline into like halves, or where its only two inner corners face each
        other and part it into two pieces: clefts (sharper than a T's or an arrow's corner), or corners of any kind
        beside a narrow neck.
    """
    width, case = _between_bays(ring), "bays"
    if width is None:
        width, case = _between_corners(ring), "corners"
    if width is None:
        return ()
    return (finding_of("perhaps-two-items", value=width, case=case),)


def _between_bays(ring: FloatArray) -> float | None:
    """Width between two deep bays that face each other across two like halves, mm."""
    from ..opencv import cv

    points = np.rint(_PER_PX * (ring - ring.min(axis=0))).astype(np.int32)
    defects = cv().convexityDefects(points, np.sort(cv().convexHull(points, returnPoints=False), axis=0)[::-1])
    if defects is None or defects.size < 8:
        return None
    rows = defects.reshape(-1, 4)
    by_depth = rows[np.argsort(-rows[:, 3], kind="stable")]
    depth = by_depth[:, 3] / (256.0 * _PER_PX)
    least = _LEAST_BAY * float(np.ptp(ring, axis=0).min())
    if depth[1] < least or (len(depth) > 2 and depth[2] > 0.5 * depth[1]):
        return None
    i, j = sorted(int(v) for v in by_depth[:2, 2])
    part = signed_area(ring[i : j + 1]) / signed_area(ring)
    width = norm(ring[i] - ring[j])
    return None if abs(part - 0.5) > _UNLIKE or width > _WIDE * float(np.ptp(ring, axis=0).max()) else width


def _between_corners(ring: FloatArray) -> float | None:
    """Width between the only two inner corners of an outline, mm, where they part it into two bodies."""
    even, arm = _evenly(ring)
    turn, inward = _turns(even, arm)
    for least_deg, facing_deg, narrow in (
        (_CLEFT_TURN_DEG, _FACING_DEG, False),
        (_NECK_TURN_DEG, _NECK_FACING_DEG, True),
    ):
        found = _inner_corners(turn, least_deg, arm)
        if len(found) != 2:
            continue
        i, j = found
        width = norm(even[i] - even[j])
        if not (_face(even, inward, i, j, facing_deg) and _faced(even, i, j)):
            continue
        if not narrow or width < _NECK_WIDTH * _smaller_side(even, i, j):
            return width
    return None


def _evenly(ring: FloatArray) -> tuple[FloatArray, int]:
    """The ring at even steps, and how many of them make an arm."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    size = norm(np.ptp(ring, axis=0))
    count = max(_POINTS[0], min(_POINTS[1], round(along[-1] / (_ARM * size / _STEPS))))
    at = np.linspace(0.0, along[-1], count, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in (0, 1)]), _STEPS


def _turns(even: FloatArray, arm: int) -> tuple[FloatArray, FloatArray]:
    """Turn at every place, degrees, positive outward (counter-clockwise), and the way into the body there, (N, 2)."""
    before = even - rolled(even, arm)
    after = rolled(even, -arm) - even
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.degrees(np.arctan2(cross, (before * after).sum(axis=1)))
    # a cleft's two sides run back on one another: the way on from between them is the way into the body
    way = before / np.linalg.norm(before, axis=1)[:, None] - after / np.linalg.norm(after, axis=1)[:, None]
    return turn, way / np.maximum(np.linalg.norm(way, axis=1), 1e-9)[:, None]


def _inner_corners(turn: FloatArray, least_deg: float, arm: int) -> list[int]:
    """Places where the outline turns inward by more than so much, the sharpest of each stretch of an arm."""
    found: list[int] = []
    for place in np.argsort(turn, kind="stable"):
        if turn[place] > -least_deg or len(found) > 2:
            break
        apart = [min(abs(int(place) - k), len(turn) - abs(int(place) - k)) for k in found]
        if all(gap > 2 * arm for gap in apart):
            found.append(int(place))
    return sorted(found)


def _face(even: FloatArray, inward: FloatArray, i: int, j: int, most_deg: float) -> bool:
    """Whether both corners point at one another."""
    way = (even[j] - even[i]) / max(norm(even[j] - even[i]), 1e-9)
    least = float(np.cos(np.radians(most_deg)))
    return float(product(inward[i], way)) > least and float(product(-inward[j], way)) > least


def _parts(even: FloatArray, i: int, j: int) -> tuple[FloatArray, FloatArray]:
    return even[i : j + 1], np.vstack([even[j:], even[: i + 1]])


def _faced(even: FloatArray, i: int, j: int) -> bool:
    """Whether the way from one to the other runs inside and parts the body into two that both count."""
    import shapely

    whole = signed_area(even)
    if min(signed_area(part) for part in _parts(even, i, j)) < _LEAST_PART * whole:
        return False
    inner = even[i] + np.linspace(*_BETWEEN, 19)[:, None] * (even[j] - even[i])
    return bool(shapely.contains_xy(shapely.Polygon(even), *inner.T).all())


def _smaller_side(even: FloatArray, i: int, j: int) -> float:
    """Size across, along the way from one corner to the other, of the part that is the smaller that way."""
    way = (even[j] - even[i]) / norm(even[j] - even[i])
    return min(float(np.ptp(product(part, way))) for part in _parts(even, i, j))
