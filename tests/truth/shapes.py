"""Exact closed outlines of straight lines and circular arcs, in millimetres, y up.

A `Ring` is made from corner points and *bulges* (tan of a quarter of the arc's angle, positive when the
arc turns counter-clockwise, 0 for a straight line). A `Shape` is an outer ring with holes. Everything asked of
them (points, distance, area, perimeter) comes from the lines and arcs themselves, not from a polygon.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

SHARP_DEG = 3.0  # a joint that turns more than this is a corner


@dataclass(frozen=True)
class Line:
    """The straight line from `p` to `q`."""

    p: tuple[float, float]
    q: tuple[float, float]

    @property
    def length(self) -> float:
        return math.dist(self.p, self.q)

    @property
    def area_term(self) -> float:
        """Half the cross product: summed over a closed ring it is the enclosed area."""
        return 0.5 * (self.p[0] * self.q[1] - self.q[0] * self.p[1])

    def at(self, t):
        """Return points (N, 2) and unit tangents (N, 2) at the parameters `t` in 0..1."""
        p, d = np.array(self.p), np.subtract(self.q, self.p)
        return p + np.outer(t, d), np.broadcast_to(d / self.length, (len(t), 2))

    def distance(self, points):
        """Return the distance of each point to this line, (N,)."""
        d = np.subtract(self.q, self.p)
        t = np.clip((points - self.p) @ d / (d @ d), 0, 1)
        return np.linalg.norm(points - (self.p + t[:, None] * d), axis=1)

    def winding(self, points):
        """Return signed crossings of the ray from each point to the right, (N,): +1 upwards, -1 downwards."""
        (x0, y0), (x1, y1) = self.p, self.q
        x, y = points.T
        up, down = (y0 <= y) & (y < y1), (y1 <= y) & (y < y0)
        right = x < x0 + (y - y0) * ((x1 - x0) / (y1 - y0)) if y0 != y1 else False
        return ((up & right).astype(int)) - (down & right)


@dataclass(frozen=True)
class Arc:
    """The circular arc from `p` to `q` whose bulge is tan(angle / 4)."""

    p: tuple[float, float]
    q: tuple[float, float]
    bulge: float

    @property
    def sweep(self) -> float:
        return 4 * math.atan(self.bulge)

    @cached_property
    def radius(self) -> float:
        return math.dist(self.p, self.q) * (1 + self.bulge**2) / (4 * abs(self.bulge))

    @cached_property
    def centre(self) -> tuple[float, float]:
        k = (1 - self.bulge**2) / (4 * self.bulge)
        (x0, y0), (x1, y1) = self.p, self.q
        return (x0 + x1) / 2 - (y1 - y0) * k, (y0 + y1) / 2 + (x1 - x0) * k

    @cached_property
    def start(self) -> float:
        return math.atan2(self.p[1] - self.centre[1], self.p[0] - self.centre[0])

    @property
    def length(self) -> float:
        return self.radius * abs(self.sweep)

    @property
    def area_term(self) -> float:
        return Line(self.p, self.q).area_term + 0.5 * self.radius**2 * (self.sweep - math.sin(self.sweep))

    def at(self, t):
        angle = self.start + np.asarray(t) * self.sweep
        unit = np.stack([np.cos(angle), np.sin(angle)], 1)
        tangent = np.stack([-unit[:, 1], unit[:, 0]], 1) * math.copysign(1, self.sweep)
        return self.centre + self.radius * unit, tangent

    def distance(self, points):
        v = points - np.array(self.centre)
        turned = (np.arctan2(v[:, 1], v[:, 0]) - self.start) * math.copysign(1, self.sweep) % (2 * math.pi)
        ends = np.minimum(*(np.linalg.norm(points - np.array(end), axis=1) for end in (self.p, self.q)))
        return np.where(turned <= abs(self.sweep), np.abs(np.hypot(*v.T) - self.radius), ends)

    def winding(self, points):
        """As for a line; the arc is cut where it runs level so that each piece only rises or only falls."""
        x, y = points.T
        total = np.zeros(len(points), int)
        for (y0, y1), side in self._rising_pieces():
            up, down = (y0 <= y) & (y < y1), (y1 <= y) & (y < y0)
            reach = np.sqrt(np.clip(self.radius**2 - (y - self.centre[1]) ** 2, 0, None))
            right = x < self.centre[0] + side * reach
            total += (up & right).astype(int) - (down & right)
        return total

    def _rising_pieces(self):
        """Yield ((y at start, y at end), +1 on the right half of the circle or -1 on the left)."""
        end = self.start + self.sweep
        low, high = sorted((self.start, end))
        level = [a for a in math.pi * (np.arange(-4, 5) + 0.5) if low + 1e-12 < a < high - 1e-12]
        angles = [self.start, *(level if self.sweep > 0 else level[::-1]), end]
        heights = [self.p[1], *(self.centre[1] + self.radius * math.sin(a) for a in angles[1:-1]), self.q[1]]
        for i in range(len(angles) - 1):
            side = math.copysign(1, math.cos((angles[i] + angles[i + 1]) / 2))
            yield (heights[i], heights[i + 1]), side


@dataclass(frozen=True, eq=False)
class Ring:
    """A closed ring of lines and arcs, counter-clockwise as made by the functions below."""

    points: np.ndarray  # (N, 2) mm
    bulges: np.ndarray  # (N,)

    @cached_property
    def pieces(self) -> list[Line | Arc]:
        ends = np.roll(self.points, -1, axis=0)
        rows = zip(self.points.tolist(), ends.tolist(), self.bulges.tolist(), strict=True)
        return [Arc(tuple(p), tuple(q), b) if b else Line(tuple(p), tuple(q)) for p, q, b in rows]

    @property
    def area(self) -> float:
        return sum(piece.area_term for piece in self.pieces)

    @property
    def perimeter(self) -> float:
        return sum(piece.length for piece in self.pieces)

    def sample(self, spacing: float):
        """Return points (N, 2) on the ring at most `spacing` apart, every joint among them, and outward normals."""
        points, tangents = [], []
        for piece in self.pieces:
            n = max(1, math.ceil(piece.length / spacing))
            at, along = piece.at(np.arange(n) / n)
            points.append(at)
            tangents.append(along)
        along = np.concatenate(tangents) * math.copysign(1, self.area)
        return np.concatenate(points), np.stack([along[:, 1], -along[:, 0]], 1)

    def polygon(self, sagitta: float, longest: float = math.inf):
        """Return a polygon (N, 2) inscribed in the ring, its chords at most `sagitta` off the arcs."""
        if longest == math.inf and not self.bulges.any():
            return self.points
        parts = []
        for piece in self.pieces:
            step = longest
            if isinstance(piece, Arc):
                step = min(step, math.sqrt(8 * sagitta * piece.radius))
            n = max(1, math.ceil(piece.length / step))
            parts.append(piece.at(np.arange(n) / n)[0])
        return np.concatenate(parts)

    def signed_distance(self, points):
        """Return the distance of (N, 2) points to the ring, positive outside, (N,)."""
        points = np.asarray(points, float)
        distance = np.min([piece.distance(points) for piece in self.pieces], axis=0)
        inside = sum(piece.winding(points) for piece in self.pieces) != 0
        return np.where(inside, -distance, distance)

    def corners(self):
        """Return the joints (K, 2) where the direction jumps by more than `SHARP_DEG`."""
        out = np.array([piece.at([0.0])[1][0] for piece in self.pieces])
        into = np.array([piece.at([1.0])[1][0] for piece in self.pieces])
        cosine = np.clip((out * np.roll(into, 1, axis=0)).sum(1), -1, 1)
        return self.points[np.degrees(np.arccos(cosine)) > SHARP_DEG]

    def placed(self, centre, angle_deg: float) -> Ring:
        """Return the ring turned about the origin, then moved by `centre`."""
        a = math.radians(angle_deg)
        turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        return Ring(self.points @ turn + np.asarray(centre, float), self.bulges)

    def mirrored(self) -> Ring:
        """Return the ring mirrored at the y axis, still counter-clockwise."""
        points = (self.points * (-1, 1))[::-1]
        return Ring(points, np.roll(self.bulges[::-1], -1))


@dataclass(frozen=True, eq=False)
class Shape:
    """An outer ring and its holes."""

    outer: Ring
    holes: tuple[Ring, ...] = ()
    name: str = "shape"

    @property
    def rings(self) -> tuple[Ring, ...]:
        return (self.outer, *self.holes)

    @property
    def area(self) -> float:
        return self.outer.area - sum(hole.area for hole in self.holes)

    @property
    def perimeter(self) -> float:
        """Length of the outer ring only."""
        return self.outer.perimeter

    def bounds(self):
        """Return (x0, y0, x1, y1) of the outer ring, exact to 1e-9 of an arc's radius."""
        points = self.outer.polygon(1e-7)
        return (*points.min(0), *points.max(0))

    def signed_distance(self, points):
        """Return the distance to the nearest edge, positive outside the material (so also within a hole)."""
        values = [self.outer.signed_distance(points)]
        values += [-hole.signed_distance(points) for hole in self.holes]
        return np.max(values, axis=0)

    def placed(self, centre, angle_deg: float = 0.0) -> Shape:
        return Shape(
            self.outer.placed(centre, angle_deg), tuple(h.placed(centre, angle_deg) for h in self.holes), self.name
        )


def ring(points, bulges=None) -> Ring:
    """Return a ring through `points` (N, 2) with `bulges` (N,), 0 where left out."""
    points = np.asarray(points, float)
    return Ring(points, np.zeros(len(points)) if bulges is None else np.asarray(bulges, float))


def circle(diameter: float, centre=(0.0, 0.0)) -> Ring:
    r = diameter / 2
    x, y = centre
    return ring([(x + r, y), (x - r, y)], [1, 1])


def rounded(points, radii) -> Ring:
    """Return the counter-clockwise polygon `points` with each corner rounded by its radius (0 leaves it sharp)."""
    points = np.asarray(points, float)
    radii = np.broadcast_to(np.asarray(radii, float), len(points))
    out, bulges = [], []
    for before, here, after, radius in zip(np.roll(points, 1, 0), points, np.roll(points, -1, 0), radii, strict=True):
        u, v = (here - before) / math.dist(here, before), (after - here) / math.dist(after, here)
        if not radius:
            out.append(here)
            bulges.append(0.0)
            continue
        turn = math.atan2(u[0] * v[1] - u[1] * v[0], u @ v)
        reach = radius * math.tan(abs(turn) / 2)
        out += [here - reach * u, here + reach * v]
        bulges += [math.tan(turn / 4), 0.0]
    return ring(*_without_nothings(np.array(out), np.array(bulges)))


def _without_nothings(points, bulges):
    """Drop straight pieces of no length, left where two roundings meet."""
    gap = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    keep = (gap > 1e-9) | (bulges != 0)
    return points[keep], bulges[keep]


def rectangle(width: float, height: float, radius=0.0, centre=(0.0, 0.0)) -> Ring:
    x, y = width / 2, height / 2
    return rounded(np.array([(-x, -y), (x, -y), (x, y), (-x, y)]) + centre, radius)


def slot(length: float, width: float, centre=(0.0, 0.0)) -> Ring:
    """Return a slot with round ends, `length` over all."""
    x, y = (length - width) / 2, width / 2
    points = np.array([(-x, -y), (x, -y), (x, y), (-x, y)]) + centre
    return ring(points, [0, 1, 0, 1])
