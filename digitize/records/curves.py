"""Lines, arcs and circles, and what is regular about a ring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Path:
    """A closed path of straight lines and circular arcs.

    Segment i runs from ``points_mm[i]`` to ``points_mm[(i + 1) % N]``; ``bulges[i]`` is
    tan(angle / 4) of its arc, positive counter-clockwise, 0 for a straight line.
    """

    points_mm: FloatArray  # (N, 2), N >= 2
    bulges: FloatArray  # (N,)


@dataclass(frozen=True, slots=True)
class Circle:
    """A full circle."""

    centre_mm: tuple[float, float]
    radius_mm: float


@dataclass(frozen=True, slots=True)
class OpenPath:
    """Straight lines and circular arcs from a first to a last point; bulges as in `Path`, one a segment."""

    points_mm: FloatArray  # (N, 2), N >= 2
    bulges: FloatArray  # (N - 1,)


Curve = Path | Circle
ShapeKind = Literal["circle", "regular polygon", "slot", "rectangle", "rounded rectangle"]


@dataclass(frozen=True, slots=True)
class IdealShape:
    """An ideal shape that explains a measured ring within the tolerance."""

    kind: ShapeKind
    sizes_mm: dict[str, float]  # by name: diameter, inscribed_diameter, length, width, corner_radius
    sd_mm: dict[str, float]  # standard deviations of the fit, same names; the scale's part is not in them
    sides: int | None  # of a regular polygon
    centre_mm: tuple[float, float]  # item frame
    angle_deg: float  # of the longer side, or of the way from the centre to a side; 0 for a circle
    deviation_mm: float  # largest distance of a point of the ring from the shape
    written: bool = False  # whether the ring's path is such a shape


@dataclass(frozen=True, slots=True)
class Symmetry:
    """What leaves a ring where it is, within a tolerance."""

    centre_mm: tuple[float, float]
    turns: int  # rotations by 360 / turns degrees; 1 for none, 0 for any (a circle)
    turn_deviation_mm: float  # largest distance after one such rotation; 0 if there is none
    axes_deg: tuple[float, ...]  # mirror axes through the centre, 0 <= angle < 180; empty for a circle: any
    axis_deviations_mm: tuple[float, ...]  # largest distance after each mirroring
    with_holes: bool = True  # whether all of it holds for the holes too
    moved_mm: float | None = None  # largest distance of the symmetric path written from the measured edge
