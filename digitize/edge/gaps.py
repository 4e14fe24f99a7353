"""Gaps between two stretches of an edge bridged: by an arc, by the corner that both sides meet in, by a circle."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..records import FloatArray
from ..steady import least_squares, norm, polynomial, product, solve

_NEAR = 4  # points that tell the direction at the end of a stretch
_WINDOW = 16  # points that tell direction and curvature beside a gap
CORNER_TURN = np.radians(18.0)  # a crossing of both rings that turns less is none
_LEAST_GAP = 1.5  # of the points' spacing: a shorter one needs no points
_CLEARLY = 1.5  # times nearer: a parabola than a straight line
_BEGIN = 0.7  # of the chord: where sides that meet in a right angle do
_PARALLEL = 0.05  # sine between sides that meet nowhere near
_ROUND = 0.015  # of the radius, RMS: two sides so near to one circle are of a round hole
_EXACT_PX = 1e-4  # a bend smaller than this is none: rounding
_ROUNDS = 20  # of Newton's method at the most; chosen, no source
_SETTLED_PX = 1e-9  # a step of it

Circle = tuple[FloatArray, float]  # centre (2,) mm, radius mm


def circle_through(points: FloatArray) -> Circle | None:
    """The circle through both sides of a hole, by Kasa's least squares; None where they are of another shape."""
    middle = points.mean(axis=0)
    x, y = (points - middle).T
    a, b, c = least_squares(np.column_stack([x, y, np.ones(len(x))]), (x**2 + y**2)[:, None])[:, 0].tolist()
    centre, radius = np.array([a / 2, b / 2]), float(np.sqrt(max(c + (a * a + b * b) / 4, 0.0)))
    off = np.hypot(x - centre[0], y - centre[1]) - radius
    return (middle + centre, radius) if np.sqrt((off**2).mean()) < _ROUND * radius else None


def bridge(before: FloatArray, after: FloatArray, spacing: float) -> tuple[FloatArray, int | None]:
    """Points between two stretches, ends not repeated, and the index of a corner among them.

    Where the direction changes by about what the curvatures on both sides explain, an arc-like cubic; where it
    changes by more, the corner in which both sides meet.
    """
    before, after = before[-_WINDOW:], after[:_WINDOW]
    start, end = before[-1], after[0]
    chord = norm(end - start)
    if chord < _LEAST_GAP * spacing:
        return np.empty((0, 2)), None
    t0, k0 = _end_slope(before[::-1])
    t1, k1 = _end_slope(after)
    t0 = -t0
    k0 = -k0
    turn = float(np.arctan2(t0[0] * t1[1] - t0[1] * t1[0], product(t0, t1)))
    near = (-_end_slope(before[::-1][: _WINDOW // 2])[1], _end_slope(after[: _WINDOW // 2])[1], k0, k1)
    explained = chord * max(np.sign(turn) * k for k in near)  # a rounding may end just beside the gap
    count = max(2, round(chord / spacing))
    if explained < 0.5 * abs(turn) and abs(turn) > CORNER_TURN:
        legs = _corner_legs((start, t0, k0), (end, -t1, -k1), chord, spacing)
        if legs is not None:
            return np.vstack([legs[0], legs[1][-2::-1]]), len(legs[0]) - 1
    handle = chord / (3.0 * np.cos(min(abs(turn), 2.0) / 4.0) ** 2)
    s = (np.arange(1, count) / count)[:, None]
    a, b = start + handle * t0, end - handle * t1
    cubic = (1 - s) ** 3 * start + 3 * (1 - s) ** 2 * s * a + 3 * (1 - s) * s**2 * b + s**3 * end
    return cubic, None


def round_bridge(start: FloatArray, end: FloatArray, circle: Circle, spacing: float) -> FloatArray:
    """Points from start to end along a circle, ends not repeated: a hole's ring runs clockwise."""
    centre, radius = circle
    first, last = (float(np.arctan2(*(place - centre)[::-1])) for place in (start, end))
    turn = (first - last) % (2 * np.pi)
    count = max(2, round(radius * turn / spacing))
    angle = first - turn * np.arange(1, count) / count
    return np.asarray(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]))


def leading_to(stretches: Sequence[FloatArray], i: int, step: int) -> FloatArray:
    """Points of stretch `i` of a ring, which ends (step -1) or begins (1) at a gap; of a short one those beyond it too.

    Only where the next gap hides no corner, or another side would be taken for this one.
    """
    points = stretches[i]
    for k in range(1, len(stretches)):
        beyond = stretches[(i + step * k) % len(stretches)]
        one, other = (points, beyond) if step > 0 else (beyond, points)
        if len(points) >= _WINDOW or min(len(one), len(other)) < 2 or _hides_corner(one, other, beyond[::step]):
            break
        points = np.vstack([one, other])
    return points


def _hides_corner(one: FloatArray, other: FloatArray, leading_away: FloatArray) -> bool:
    """Whether two stretches differ in direction by more than the curvature beyond the gap explains."""
    back, ahead = one[-1] - one[-min(len(one), _NEAR)], other[min(len(other), _NEAR) - 1] - other[0]
    turn = abs(float(np.arctan2(back[0] * ahead[1] - back[1] * ahead[0], product(back, ahead))))
    _, curvature = _end_slope(leading_away[:_WINDOW])
    return bool(turn > max(CORNER_TURN, 2.0 * abs(curvature) * norm(other[0] - one[-1])))


def _end_slope(points: FloatArray) -> tuple[FloatArray, float]:
    """Unit direction and curvature (positive to the left) at the first of some points, by a parabola."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    order = 2 if len(points) >= 8 and _is_bent(along, points) else 1
    x, y = polynomial(along, points - points[0], order).T
    d = np.array([x[1], y[1]])
    size = max(norm(d), 1e-12)
    curvature = 2 * (x[1] * y[2] - y[1] * x[2]) / size**3 if order == 2 else 0.0
    return d / size, float(curvature)


def _is_bent(along: FloatArray, points: FloatArray) -> bool:
    """Whether a parabola through the points is clearly nearer to them than a straight line."""
    rest = []
    for order in (1, 2):
        design = np.vander(along, order + 1)
        rest.append(points - product(design, least_squares(design, points)))
    straight, bent = (float(np.sqrt((r**2).mean())) for r in rest)
    return straight > _CLEARLY * bent + _EXACT_PX


_End = tuple[FloatArray, FloatArray, float]  # place, direction into the gap, curvature to the left


def _corner_legs(one: _End, two: _End, chord: float, spacing: float) -> tuple[FloatArray, FloatArray] | None:
    """Both sides carried on as parabolas to where they meet: places of each without its start, the corner last.

    None when they do not meet ahead of both, near by.
    """
    reach = np.array([_BEGIN * chord, _BEGIN * chord])
    for _ in range(_ROUNDS):
        gap = _carried_on(one, reach[0]) - _carried_on(two, reach[1])
        slopes = np.column_stack([_direction_after(one, reach[0]), -_direction_after(two, reach[1])])
        if abs(slopes[0, 0] * slopes[1, 1] - slopes[0, 1] * slopes[1, 0]) < _PARALLEL:
            return None
        step = solve(slopes, gap[:, None])[:, 0]
        reach = reach - step
        if np.abs(step).max() < _SETTLED_PX:
            break
    if not (np.all(reach > 0) and np.all(reach < 4 * chord)):
        return None
    legs = [
        np.array([_carried_on(end, r * (i + 1) / n) for i in range(n)])
        for end, r in zip((one, two), reach, strict=True)
        for n in (max(1, round(float(r) / spacing)),)
    ]
    return legs[0], legs[1]


def _carried_on(end: _End, s: float) -> FloatArray:
    place, along, curvature = end
    return np.asarray(place + s * along + 0.5 * curvature * s**2 * np.array([-along[1], along[0]]))


def _direction_after(end: _End, s: float) -> FloatArray:
    _, along, curvature = end
    return np.asarray(along + curvature * s * np.array([-along[1], along[0]]))
