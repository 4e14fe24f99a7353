"""Lines and arcs as the writers need them: pieces, centres, boxes, Bézier curves; all in mm, y up."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..records import Circle, Curve, FloatArray, OpenPath, Path

Point = tuple[float, float]
Moved = tuple[FloatArray, FloatArray]  # matrix (2, 2) and shift (2,): p @ matrix + shift
Stroke = Curve | OpenPath  # what is drawn as one line


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, mm."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Right minus left."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Top minus bottom."""
        return self.top - self.bottom

    def grown(self, margin: float) -> Box:
        """Return the box with `margin` added on every side."""
        return Box(self.left - margin, self.bottom - margin, self.right + margin, self.top + margin)


@dataclass(frozen=True, slots=True)
class Piece:
    """One straight line (bulge 0) or circular arc; ``bulge = tan(angle / 4)``, positive counter-clockwise."""

    start: Point
    end: Point
    bulge: float = 0.0

    @property
    def angle(self) -> float:
        """Angle turned along the arc, radians, signed, 0 for a line."""
        return 4.0 * math.atan(self.bulge)

    @property
    def chord(self) -> float:
        """Distance from start to end."""
        return math.dist(self.start, self.end)

    @property
    def radius(self) -> float:
        """Radius of the arc, mm; infinite for a line.

        From chord c and bulge b: r = c (1 + b^2) / (4 |b|), the half-angle formulas of the circle.
        """
        if self.bulge == 0.0:
            return math.inf
        return self.chord * (1.0 + self.bulge**2) / (4.0 * abs(self.bulge))

    @property
    def centre(self) -> Point:
        """Centre of the arc (not of a line)."""
        return _centre(self.start, self.end, self.bulge)

    def split(self, largest_angle: float) -> list[Piece]:
        """Cut an arc into equal arcs of at most `largest_angle` radians; a line stays whole."""
        places, bulge = self.cut(largest_angle)
        return [self] if len(places) == 2 else [Piece(a, b, bulge) for a, b in itertools.pairwise(places)]

    def cut(self, largest_angle: float) -> tuple[list[Point], float]:
        """Return the ends of such equal arcs, and the bulge of each."""
        angle = self.angle
        parts = max(1, math.ceil(abs(angle) / largest_angle - 1e-9))
        if parts == 1:
            return [self.start, self.end], self.bulge
        (cx, cy), step = self.centre, angle / parts
        dx, dy = self.start[0] - cx, self.start[1] - cy
        turns = [(math.cos(step * k), math.sin(step * k)) for k in range(1, parts)]
        between = [(cx + dx * c - dy * s, cy + dx * s + dy * c) for c, s in turns]
        return [self.start, *between, self.end], math.tan(step / 4.0)

    def beziers(self, *, within_mm: float) -> list[tuple[Point, Point, Point]]:
        """Cubics that together stand for the arc, within so much of it: two control points and the end of each.

        Tangents of length 4/3 tan(angle / 4) r at both ends (the usual rule), which meets the arc
        at its ends and its middle; see `bezier_angle` for how far it strays between.
        """
        places, bulge = self.cut(bezier_angle(self.radius, within_mm=within_mm))
        found, k = [], 4.0 / 3.0 * bulge
        for start, end in itertools.pairwise(places):
            (cx, cy), (x0, y0), (x1, y1) = _centre(start, end, bulge), start, end
            first = x0 - k * (y0 - cy), y0 + k * (x0 - cx)
            found.append((first, (x1 + k * (y1 - cy), y1 - k * (x1 - cx)), end))
        return found


def _centre(start: Point, end: Point, bulge: float) -> Point:
    """Return an arc's centre: c (1 - b^2) / (4 b) to the left of the chord's middle."""
    (x0, y0), (x1, y1) = start, end
    share = (1.0 - bulge**2) / (4.0 * bulge)
    return (x0 + x1) / 2.0 - (y1 - y0) * share, (y0 + y1) / 2.0 + (x1 - x0) * share


def bezier_angle(radius: float, *, within_mm: float) -> float:
    """Return the largest angle, at most 45 degrees, that one cubic may span and stay `within_mm` of the arc.

    The radial error of a quarter turn is 2.73e-4 r and grows with the sixth power of the angle.
    """
    quarter_turn = math.pi / 2
    return min(math.pi / 4, quarter_turn * math.pow(within_mm / (2.73e-4 * radius), 1 / 6))


def pieces(path: Path | OpenPath) -> Iterator[Piece]:
    """Yield the lines and arcs of a path in order; pieces without length are left out."""
    points: list[Point] = [(x, y) for x, y in path.points_mm.tolist()]
    ends = points[1:] if isinstance(path, OpenPath) else points[1:] + points[:1]
    for start, end, bulge in zip(points, ends, path.bulges.tolist(), strict=False):
        if start != end:
            yield Piece(start, end, bulge)


def moved(curve: Stroke, by: Point) -> Stroke:
    """Return `curve` shifted by `by` (x, y), mm."""
    if isinstance(curve, Circle):
        return Circle((curve.centre_mm[0] + by[0], curve.centre_mm[1] + by[1]), curve.radius_mm)
    if isinstance(curve, OpenPath):
        return OpenPath(curve.points_mm + np.asarray(by), curve.bulges)
    return Path(curve.points_mm + np.asarray(by), curve.bulges)


def halved(circle: Circle) -> Path:
    """Return a circle as a path of two half turns, from three o'clock."""
    (x, y), r = circle.centre_mm, circle.radius_mm
    return Path(np.array([(x + r, y), (x - r, y)]), np.ones(2))


def led(lead: OpenPath, curve: Curve) -> OpenPath:
    """Return a lead and the closed curve that begins where it ends as one line: in and once around.

    A circle has no direction; the lead, which comes on along it, says which way round.
    """
    path = halved(curve) if isinstance(curve, Circle) else curve
    if isinstance(curve, Circle) and _comes_on_clockwise(lead):
        path = Path(path.points_mm, -path.bulges)
    points = np.vstack([lead.points_mm[:-1], path.points_mm, path.points_mm[:1]])
    return OpenPath(points, np.concatenate([lead.bulges, path.bulges]))


def _comes_on_clockwise(lead: OpenPath) -> bool:
    """Whether a lead arrives heading down, as a circle run clockwise does at three o'clock."""
    chord = lead.points_mm[-1] - lead.points_mm[-2]
    heading = math.atan2(chord[1], chord[0]) + 2 * math.atan(lead.bulges[-1])
    return math.sin(heading) < 0


def scaled(curve: Stroke, by: float) -> Stroke:
    """Return `curve` made larger by a factor, about zero."""
    if isinstance(curve, Circle):
        return Circle((curve.centre_mm[0] * by, curve.centre_mm[1] * by), curve.radius_mm * by)
    if isinstance(curve, OpenPath):
        return OpenPath(curve.points_mm * by, curve.bulges)
    return Path(curve.points_mm * by, curve.bulges)


def begin_of(curve: Curve) -> Point:
    """Return where a curve begins; a circle at three o'clock, as SVG 2 and DXF have it."""
    if isinstance(curve, Circle):
        return curve.centre_mm[0] + curve.radius_mm, curve.centre_mm[1]
    return float(curve.points_mm[0, 0]), float(curve.points_mm[0, 1])


def box_of(curves: Iterable[Stroke]) -> Box:
    """Return the exact box around curves, arcs' bows included.

    Raises
    ------
    ValueError
        If there is no curve.
    """
    return around([_circle_box(c) if isinstance(c, Circle) else _path_box(c) for c in curves])


def around(boxes: Sequence[Box]) -> Box:
    """Return the box around boxes; ValueError if there is none."""
    if not boxes:
        raise ValueError("no curve, no box")
    return Box(
        min(b.left for b in boxes),
        min(b.bottom for b in boxes),
        max(b.right for b in boxes),
        max(b.top for b in boxes),
    )


def sampled(curve: Stroke, *, step_mm: float, within_mm: float = 0.0) -> list[Point]:
    """Return points along a curve, a closed one's first point not repeated.

    On arcs they are at most about `step_mm` apart, or as far as their chords stay `within_mm` of the arc (a chord of
    angle a leaves an arc of radius r by about r a^2 / 8).
    """
    if isinstance(curve, Circle):
        return sampled(halved(curve), step_mm=step_mm, within_mm=within_mm)
    found: list[Point] = []
    for piece in pieces(curve):
        if piece.bulge == 0.0:
            found.append(piece.start)
        else:
            radius = piece.radius
            found += piece.cut(max(step_mm / radius, math.sqrt(8 * within_mm / radius), 0.01))[0][:-1]
    if isinstance(curve, OpenPath):
        found.append((float(curve.points_mm[-1, 0]), float(curve.points_mm[-1, 1])))
    return found


def _circle_box(circle: Circle) -> Box:
    (x, y), r = circle.centre_mm, circle.radius_mm
    return Box(x - r, y - r, x + r, y + r)


def _path_box(path: Path | OpenPath) -> Box:
    xs, ys = path.points_mm[:, 0].tolist(), path.points_mm[:, 1].tolist()
    for piece in pieces(path):
        if piece.bulge != 0.0:
            for x, y in _extremes(piece):
                xs.append(x)
                ys.append(y)
    return Box(min(xs), min(ys), max(xs), max(ys))


def _extremes(arc: Piece) -> Iterator[Point]:
    """Yield the arc's points at 0, 90, 180, 270 degrees from its centre, those it passes."""
    (cx, cy), r, angle = arc.centre, arc.radius, abs(arc.angle)
    first, way = math.atan2(arc.start[1] - cy, arc.start[0] - cx), math.copysign(1.0, arc.bulge)
    for quarter, (dx, dy) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1))):
        ahead = (quarter * math.pi / 2 - first) * way % math.tau
        if ahead < angle:
            yield cx + dx * r, cy + dy * r
