"""Rings, and outlines as lines and arcs, in the outline document."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, Literal, cast

import numpy as np
from msgspec import Meta, field

from .. import records
from ..records import FloatArray, frozen_array
from .form import LENGTH_DIGITS, MM, Pair, Part, Positive, UnsoundError, fine, mm, pair

ARC_SLACK_MM = 0.001  # between a stated centre or radius and what ends and sweep give
Ring = Annotated[list[Pair], Meta(min_length=4, description="A closed ring: the last position repeats the first.")]

OpenLine = Annotated[list[Pair], Meta(min_length=1)]


class Circle(Part, frozen=True, kw_only=True, tag="circle"):
    """A full circle."""

    made_of = records.Circle
    centre_mm: Pair = field(name="centre")
    radius_mm: Annotated[Positive, MM] = field(name="radius")


class Line(Part, frozen=True, kw_only=True, tag="line"):
    """A straight line to a point."""

    to: Pair

    def bulge(self, start: Pair, at: str) -> float:
        """Return 0: it is straight."""
        return 0.0


class Arc(Part, frozen=True, kw_only=True, tag="arc"):
    """A circular arc to a point; where its centre lies follows from its ends and its sweep."""

    to: Pair
    centre: Pair
    radius: Positive
    direction: Literal["counter-clockwise", "clockwise"]
    sweep_deg: Annotated[
        float, Meta(gt=0, lt=360, description="How far the arc turns about its centre in its direction.")
    ]

    @classmethod
    def between(cls, start: Pair, end: Pair, *, sweep_deg: float, left: bool) -> Arc:
        """Return the arc from `start` to `end`, both rounded already; `left` is counter-clockwise."""
        centre, radius = arc_about(start, end, sweep_deg=sweep_deg, counter_clockwise=left)
        turn: Literal["counter-clockwise", "clockwise"] = "counter-clockwise" if left else "clockwise"
        return cls(to=end, centre=pair(centre), radius=mm(radius), direction=turn, sweep_deg=sweep_deg)

    def bulge(self, start: Pair, at: str) -> float:
        """Return tan(sweep / 4), negative if clockwise.

        Raises
        ------
        UnsoundError
            If centre and radius are others than those of the arc from `start`.
        """
        left = self.direction == "counter-clockwise"
        centre, radius = arc_about(start, self.to, sweep_deg=self.sweep_deg, counter_clockwise=left)
        slack = ARC_SLACK_MM + 1e-9 * self.radius
        if math.dist(self.centre, centre) > slack or abs(self.radius - radius) > slack:
            raise UnsoundError(f"{at} contradicts itself: centre and radius do not follow from its ends and sweep")
        return math.tan(math.radians(self.sweep_deg) / 4) * (1 if left else -1)


class ClosedPath(Part, frozen=True, kw_only=True, tag="path"):
    """Each segment begins where the one before ended, the first at 'start'; the last ends at 'start'."""

    made_of = records.Path
    start: Pair
    segments: Annotated[list[Line | Arc], Meta(min_length=2)]

    @classmethod
    def of(cls, path: records.Path) -> ClosedPath:
        """Return the part of a record."""
        points = [pair(point) for point in path.points_mm.tolist()]
        return cls(start=points[0], segments=_segments([*points, points[0]], path.bulges))

    def record(self, at: str) -> records.Path:
        """Return the record of the part; `UnsoundError` if it is open or an arc is unsound."""
        points, bulges = _points(self.start, self.segments, at)
        if points[-1] != points[0]:
            raise UnsoundError(f"{at} is open: its last segment does not end at its start")
        return records.Path(frozen_array(points[:-1], columns=2), bulges)


class OpenPath(Part, frozen=True, kw_only=True):
    """Lines and arcs from a first to a last point."""

    made_of = records.OpenPath
    type: Literal["open-path"]
    start: Pair
    segments: Annotated[list[Line | Arc], Meta(min_length=1)]

    @classmethod
    def of(cls, path: records.OpenPath) -> OpenPath:
        """Return the part of a record."""
        points = [pair(point) for point in path.points_mm.tolist()]
        return cls(type="open-path", start=points[0], segments=_segments(points, path.bulges))

    def record(self, at: str) -> records.OpenPath:
        """Return the record of the part; `UnsoundError` if an arc is."""
        points, bulges = _points(self.start, self.segments, at)
        return records.OpenPath(frozen_array(points, columns=2), bulges)


Curve = ClosedPath | Circle


def curve_of(curve: records.Curve) -> Curve:
    """Return the part of a curve."""
    return Circle.of(curve) if isinstance(curve, records.Circle) else ClosedPath.of(curve)


def ring_of(points: FloatArray) -> list[Pair]:
    """Return a closed ring; exterior counter-clockwise and holes clockwise, as RFC 7946 asks, they are already."""
    rounded = cast("list[Pair]", (np.round(points, LENGTH_DIGITS) + 0.0).tolist())
    return [*rounded, rounded[0]]


def ring_record(ring: list[Pair], at: str, *, counter_clockwise: bool) -> FloatArray:
    """Return the points of a ring; `UnsoundError` if it is open or runs the other way."""
    closed = np.array(ring)
    if not np.array_equal(closed[0], closed[-1]):
        raise UnsoundError(f"the ring {at} is open: its last point is not its first")
    x, y = closed.T
    twice_area = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    if not (twice_area > 0 if counter_clockwise else twice_area < 0):
        raise UnsoundError(f"the ring {at} does not run {'counter-clockwise' if counter_clockwise else 'clockwise'}")
    return frozen_array(closed[:-1], columns=2)


def line_record(line: list[Pair]) -> FloatArray:
    """Return the points of an open line."""
    return frozen_array(line, columns=2)


def arc_about(
    start: Sequence[float], end: Sequence[float], *, sweep_deg: float, counter_clockwise: bool
) -> tuple[tuple[float, float], float]:
    """Return centre and radius of the arc from `start` to `end` that turns by `sweep_deg` (0 to 360).

    The centre lies chord / 2 / tan(sweep / 2) to the left of the chord's middle, to the right if clockwise.
    """
    half, chord = math.radians(sweep_deg) / 2.0, math.dist(start, end)
    share = (1.0 if counter_clockwise else -1.0) / (2.0 * math.tan(half))
    (x0, y0), (x1, y1) = start, end
    centre = ((x0 + x1) / 2.0 - (y1 - y0) * share, (y0 + y1) / 2.0 + (x1 - x0) * share)
    return centre, chord / (2.0 * math.sin(half))


def _segments(points: list[Pair], bulges: FloatArray) -> list[Line | Arc]:
    ends = zip(points[:-1], points[1:], bulges.tolist(), strict=True)
    return [_segment(start, end, bulge) for start, end, bulge in ends]


def _segment(start: Pair, end: Pair, bulge: float) -> Line | Arc:
    sweep = fine(math.degrees(4.0 * math.atan(abs(bulge))))
    if sweep == 0.0 or start == end:
        return Line(to=end)
    return Arc.between(start, end, sweep_deg=sweep, left=bulge > 0)


def _points(start: Pair, segments: Sequence[Line | Arc], at: str) -> tuple[list[Pair], FloatArray]:
    """Return every end of the segments, the start first, and their bulges."""
    points = [start, *(segment.to for segment in segments)]
    bulges = [one.bulge(points[n], f"{at}.segments[{n}]") for n, one in enumerate(segments)]
    return points, frozen_array(bulges)
