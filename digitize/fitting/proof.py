"""Bounds on how far a path and a ring lie apart, where it is known roughly which points belong to which piece.

A bound is never below the true distance, however bad that knowledge is: a point's distance from any one piece is at
least its distance from the path. For the way back, each point of the ring has a foot on its piece, and the path between
the feet of two neighbours is compared with the side of the ring between them: the distance from a side is a convex
function, so along the chord between two feet it is at most that of the feet, and the path strays from that chord by its
sagitta. The feet go around the whole path, so nothing of it is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.rings import rolled
from ..records import FloatArray, Path
from .pieces import IntArray

_STRAIGHT = 1e-9  # bulges below this are taken as 0
_POINT_MM = 1e-12  # a shorter piece is but a point
_HANDED = 4  # rounds in which points are handed to a neighbouring piece
_AROUND = 40  # sides looked at on either side


@dataclass(frozen=True, slots=True)
class _Feet:
    """The points of each piece nearest to points of the ring, in the order of the path."""

    place: FloatArray  # (N, 2)
    distance: FloatArray  # (N,)
    turned: FloatArray  # (N,) radians along the piece from its start
    beyond: IntArray  # (N,) 1 where the foot is the piece's end, -1 where it is its start, as the point lies beyond it


def keeps_within(path: Path, breaks: IntArray, ring_mm: FloatArray, limit_mm: FloatArray) -> bool:
    """Tell whether the bounds show that each point of the ring is within its limit, and the path within the largest.

    Points beyond one end of their piece are handed to its neighbour first. False only says that nothing was shown.
    """
    for _ in range(_HANDED):
        counts = np.diff(breaks, append=breaks[0] + len(ring_mm))
        if not (counts > 0).all():
            return False
        feet = _feet(path, counts, _rolled(ring_mm, breaks))
        back = _back(path, counts, _rolled(ring_mm, breaks), feet)
        if np.all(feet.distance <= _rolled(limit_mm, breaks)) and back.max() <= limit_mm.max():
            return True
        moves = _handed_on(feet, counts)
        if not moves.any():
            break
        breaks = breaks + moves
    return False


def bound_near(points_mm: FloatArray, near: IntArray, ring_mm: FloatArray) -> FloatArray:
    """Return (M,) at least the distance of points (M, 2) from the ring: that from its sides about points `near`."""
    places = (near[:, None] + np.arange(-_AROUND, _AROUND + 2)) % len(ring_mm)
    x, y = ring_mm[:, 0][places], ring_mm[:, 1][places]
    return np.asarray(
        _off_sides(points_mm[:, :1] - x[:, :-1], points_mm[:, 1:] - y[:, :-1], np.diff(x), np.diff(y)).min(axis=1)
    )


def _rolled(values: FloatArray, breaks: IntArray) -> FloatArray:
    first = int(breaks[0]) % len(values)
    return np.concatenate((values[first:], values[:first]))


def _handed_on(feet: _Feet, counts: IntArray) -> IntArray:
    """Return how far each break should move, for points beyond one end of their piece to get the piece there."""
    first = np.cumsum(counts) - counts
    places = np.arange(len(feet.beyond))
    late = np.maximum.reduceat(np.where(feet.beyond > 0, -1, places), first)  # the last point not beyond the end
    early = np.minimum.reduceat(np.where(feet.beyond < 0, len(places), places), first)
    tail = np.where(late < 0, 0, first + counts - 1 - late)
    head = np.where(early == len(places), 0, early - first)
    tail = np.concatenate((tail[-1:], tail[:-1]))
    return np.where((tail > 0) & (head > 0), 0, head - tail)


def _feet(path: Path, counts: IntArray, points: FloatArray) -> _Feet:
    chords = np.concatenate((path.points_mm[1:], path.points_mm[:1])) - path.points_mm
    lengths = np.hypot(chords[:, 0], chords[:, 1])
    point = lengths < _POINT_MM  # of no direction: any will do, but it must be one, or distances come out too small
    ahead = np.where(point[:, None], (1.0, 0.0), chords / np.maximum(lengths, _POINT_MM)[:, None])
    straight = np.abs(path.bulges) < _STRAIGHT
    bent = np.where(straight, 0.0, path.bulges)
    table = np.stack((*path.points_mm.T, *ahead.T, bent, np.maximum(lengths, _POINT_MM), 2 * np.arctan(bent)))
    start_x, start_y, to_x, to_y, b, length, half = np.repeat(table, counts, axis=1)
    x, y = points[:, 0] - start_x, points[:, 1] - start_y
    u, v = x * to_x + y * to_y, y * to_x - x * to_y
    foot_u, foot_v = _nearest_of_circle(u, v, b, length)
    on_arc = np.where(b == 0, (foot_u >= 0) & (foot_u <= length), foot_v * b <= 0)  # circles cross chords at the ends
    at_end = ~on_arc & (np.hypot(u - length, v) < np.hypot(u, v))
    foot_u = np.where(on_arc, foot_u, np.where(at_end, length, 0.0))
    foot_v = np.where(on_arc, foot_v, 0.0)
    turned = np.where((foot_u == 0) & (foot_v == 0), 0.0, 2 * (np.arctan2(foot_v, foot_u) + half))  # inscribed angle
    place = np.column_stack((start_x + foot_u * to_x - foot_v * to_y, start_y + foot_u * to_y + foot_v * to_x))
    slip = np.repeat(np.where(straight, np.abs(path.bulges) * lengths / 2, 0.0), counts)
    beyond = np.where(on_arc, 0, np.where(at_end, 1, -1))
    return _Feet(place, np.hypot(u - foot_u, v - foot_v) + slip, np.where(b == 0, 0.0, turned), beyond)


def _nearest_of_circle(
    u: FloatArray, v: FloatArray, b: FloatArray, length: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the feet on the full circles (lines, at bulge 0) through the chord's ends.

    The circle is H = 2 b (u^2 + v^2 - L u) - (1 - b^2) L v = 0, without a singularity at b = 0; a point lies
    2 H / (L m + sqrt((L m)^2 + 8 b H)) off it, m = 1 + b^2, in the direction of the slope of H.
    """
    value = 2 * b * (u * (u - length) + v * v) - (1 - b * b) * length * v
    scale = (1 + b * b) * length
    off = 2 * value / (scale + np.sqrt(np.maximum(scale * scale + 8 * b * value, 0.0)))
    slope_u, slope_v = 2 * b * (2 * u - length), 4 * b * v - (1 - b * b) * length
    size = np.maximum(np.hypot(slope_u, slope_v), 1e-12)
    return u - off * slope_u / size, v - off * slope_v / size


def _back(path: Path, counts: IntArray, points: FloatArray, feet: _Feet) -> FloatArray:
    """Bound the distance from each side of the ring of the path between the feet of the side's ends."""
    sweeps = 4 * np.arctan(path.bulges)
    lengths = np.hypot(*(np.concatenate((path.points_mm[1:], path.points_mm[:1])) - path.points_mm).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        radii = np.where(np.abs(path.bulges) < _STRAIGHT, 0.0, lengths * (1 + path.bulges**2) / 4 / np.abs(path.bulges))
    last = np.cumsum(counts) - 1
    turn = np.diff(feet.turned, append=0.0)
    turn[last] = sweeps - feet.turned[last]  # to the end of the piece
    far = np.maximum(feet.distance, np.concatenate((feet.distance[1:], feet.distance[:1])))
    bound = far + np.repeat(radii, counts) * turn**2 / 8
    following = (last + 1) % len(points)
    opening = far[last] + rolled(radii, -1) * feet.turned[following] ** 2 / 8
    ends = rolled(path.points_mm, -1)
    spike = _from_sides(ends, points[last], points[following])
    sagitta = np.maximum(bound[last], opening) - far[last]
    bound[last] = np.maximum(far[last], spike) + sagitta
    return bound


def _from_sides(points: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Return (N,) the distance of points (N, 2), each from a straight side."""
    return _off_sides(*(points - start).T, *(end - start).T)


def _off_sides(x: FloatArray, y: FloatArray, side_x: FloatArray, side_y: FloatArray) -> FloatArray:
    """Return the distance from straight sides of points (x, y) away from where those start."""
    share = (side_x * x + side_y * y) / np.maximum(side_x * side_x + side_y * side_y, 1e-24)
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    return np.asarray(np.hypot(x - share * side_x, y - share * side_y))
