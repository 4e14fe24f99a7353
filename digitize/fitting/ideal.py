"""Ideal shapes as curves and as signed distances of points from them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..records import Circle, Curve, FloatArray, ShapeKind
from ..steady import product
from .bulge import make_path, moved_circle

Number = float | np.float64 | FloatArray
Pair = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Model:
    """A kind of shape; its parameters are centre x, y, angle (unless it does not turn) and its sizes.

    Distances and slopes take them as (P,), of one shape, or as (P, N), those of the shape that each point is of.
    """

    kind: ShapeKind
    names: tuple[str, ...]  # of the sizes among the parameters, after centre and angle
    distance: Callable[[FloatArray, FloatArray], FloatArray]  # (parameters, points) -> (N,), positive outside
    slopes: Callable[[FloatArray, FloatArray], FloatArray]  # its derivatives by the P parameters, (N, P)
    curve: Callable[[FloatArray], Curve]  # parameters, centre at 0 and unturned
    turns: bool = True
    sides: int = 0


def turned(curve: Curve, angle: float, centre: FloatArray) -> Curve:
    """Return a curve turned about 0 by an angle in radians, then moved to a centre."""
    if isinstance(curve, Circle):
        return moved_circle(curve, *centre)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return make_path(product(curve.points_mm, turn) + centre, curve.bulges)


def _local(parameters: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the points' x and y seen from the shape: centre at 0, angle 0."""
    cos, sin = np.cos(parameters[2]), np.sin(parameters[2])
    x, y = points[:, 0] - parameters[0], points[:, 1] - parameters[1]
    return x * cos + y * sin, y * cos - x * sin


def _over(parameters: FloatArray, points: FloatArray, radius: Number) -> tuple[FloatArray, ...]:
    """Return the points' x and y seen from a box, and how far they are beyond the sides of its core."""
    x, y = _local(parameters, points)
    return x, y, np.abs(x) - (parameters[3] / 2 - radius), np.abs(y) - (parameters[4] / 2 - radius)


def _box_distance(parameters: FloatArray, points: FloatArray, radius: Number) -> FloatArray:
    _, _, over_x, over_y = _over(parameters, points, radius)
    outside = np.hypot(np.maximum(over_x, 0), np.maximum(over_y, 0))
    return np.asarray(outside + np.minimum(np.maximum(over_x, over_y), 0) - radius)


def _box_slopes(parameters: FloatArray, points: FloatArray, radius: Number) -> tuple[list[FloatArray], Pair]:
    """Derivatives of the distance from a box by centre and angle, and by the half sizes of its core."""
    x, y, over_x, over_y = _over(parameters, points, radius)
    beyond_x, beyond_y = np.maximum(over_x, 0.0), np.maximum(over_y, 0.0)
    far = np.hypot(beyond_x, beyond_y)
    outside, by, first = far > 0, np.maximum(far, 1e-300), over_x >= over_y  # within, the nearer side
    away_x, away_y = np.where(outside, beyond_x / by, first), np.where(outside, beyond_y / by, ~first)
    return _placed_slopes(parameters, (x, y), (away_x * np.sign(x), away_y * np.sign(y))), (-away_x, -away_y)


def _placed_slopes(parameters: FloatArray, local: Pair, along: Pair) -> list[FloatArray]:
    """Derivatives by centre and angle of what changes by `along` with the points `local` to a shape."""
    cos, sin = np.cos(parameters[2]), np.sin(parameters[2])
    (u, v), (x, y) = along, local
    return [v * sin - u * cos, -u * sin - v * cos, u * y - v * x]


def _columns(slopes: list[FloatArray]) -> FloatArray:
    """Derivatives by one parameter after the other as (N, P), each column in one piece."""
    return np.stack(slopes).T


def _slot_slopes(parameters: FloatArray, points: FloatArray) -> FloatArray:
    placed, half = _box_slopes(parameters, points, parameters[4] / 2)
    return _columns([*placed, half[0] / 2, -(1.0 + half[0]) / 2])


def _rectangle_slopes(parameters: FloatArray, points: FloatArray) -> FloatArray:
    placed, half = _box_slopes(parameters, points, 0.0)
    return _columns([*placed, half[0] / 2, half[1] / 2])


def _rounded_slopes(parameters: FloatArray, points: FloatArray) -> FloatArray:
    placed, half = _box_slopes(parameters, points, parameters[5])
    return _columns([*placed, half[0] / 2, half[1] / 2, -(half[0] + half[1]) - 1.0])


def _circle_slopes(parameters: FloatArray, points: FloatArray) -> FloatArray:
    x, y = points[:, 0] - parameters[0], points[:, 1] - parameters[1]
    far = np.maximum(np.hypot(x, y), 1e-300)
    return _columns([-(x / far), -(y / far), np.full(len(x), -0.5)])


def box_curve(length: float, width: float, radius: float) -> Curve:
    """Return a rectangle with rounded corners (sharp at radius 0), counter-clockwise."""
    x, y = length / 2, width / 2
    if radius <= 0:
        return make_path(np.array([[-x, -y], [x, -y], [x, y], [-x, y]]), np.zeros(4))
    r, bend = radius, np.tan(np.pi / 8)
    ends = [(-x + r, -y), (x - r, -y), (x, -y + r), (x, y - r), (x - r, y), (-x + r, y), (-x, y - r), (-x, -y + r)]
    return make_path(np.array(ends), np.tile([0.0, bend], 4))


def slot_curve(length: float, width: float) -> Curve:
    """Return a slot of the given overall length, counter-clockwise."""
    x, y = (length - width) / 2, width / 2
    return make_path(np.array([[-x, -y], [x, -y], [x, y], [-x, y]]), np.array([0.0, 1.0, 0.0, 1.0]))


def polygon_curve(sides: int, inscribed: float, radius: float) -> Curve:
    """Return a regular polygon with rounded corners, counter-clockwise, a side across the x axis."""
    step = 2 * np.pi / sides
    middle = np.arange(sides) * step
    across = np.column_stack([np.cos(middle), np.sin(middle)]) * inscribed / 2
    half = (inscribed / 2 - radius) * np.tan(step / 2)  # of the straight part of a side
    along = np.column_stack([-np.sin(middle), np.cos(middle)]) * half
    if radius <= 0:
        return make_path(across - along, np.zeros(sides))
    points = np.stack([across - along, across + along], axis=1).reshape(-1, 2)
    return make_path(points, np.tile([0.0, np.tan(step / 4)], sides))


def polygon(sides: int) -> Model:
    """Return the model of a regular polygon; its angle points from the centre to the middle of a side."""
    step = 2 * np.pi / sides

    def distance(parameters: FloatArray, points: FloatArray) -> FloatArray:
        x, y = _local(parameters, points)
        angle = np.arctan2(y, x)
        folded = angle - np.rint(angle / step) * step
        return np.asarray(np.hypot(x, y) * np.cos(folded) - parameters[3] / 2)

    def slopes(parameters: FloatArray, points: FloatArray) -> FloatArray:
        x, y = _local(parameters, points)
        middle = np.rint(np.arctan2(y, x) / step) * step
        placed = _placed_slopes(parameters, (x, y), (np.cos(middle), np.sin(middle)))
        return _columns([*placed, np.full(len(x), -0.5)])

    def curve(sizes: FloatArray) -> Curve:
        return polygon_curve(sides, float(sizes[0]), 0.0)

    return Model("regular polygon", ("inscribed_diameter",), distance, slopes, curve, sides=sides)


CIRCLE = Model(
    "circle",
    ("diameter",),
    lambda p, points: np.asarray(np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2] / 2),
    _circle_slopes,
    lambda sizes: Circle((0.0, 0.0), float(sizes[0]) / 2),
    turns=False,
)
SLOT = Model(
    "slot",
    ("length", "width"),
    lambda p, points: _box_distance(p, points, p[4] / 2),
    _slot_slopes,
    lambda sizes: slot_curve(float(sizes[0]), float(sizes[1])),
)
RECTANGLE = Model(
    "rectangle",
    ("length", "width"),
    lambda p, points: _box_distance(p, points, 0.0),
    _rectangle_slopes,
    lambda sizes: box_curve(float(sizes[0]), float(sizes[1]), 0.0),
)
ROUNDED = Model(
    "rounded rectangle",
    ("length", "width", "corner_radius"),
    lambda p, points: _box_distance(p, points, p[5]),
    _rounded_slopes,
    lambda sizes: box_curve(float(sizes[0]), float(sizes[1]), float(sizes[2])),
)
