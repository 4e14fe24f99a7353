"""What is passed on while a pocket is made: the item, and what a way of cutting makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..fitting.ring import Ring
from ..records import Allowance, Curve, Finding, FloatArray, Notch, Relief, Uncut
from .notch import notch_region
from .pocket import CHORD_SHARE, SLIVER, OffsetRing, offset_rings
from .region import rings_of_region

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry


@dataclass(frozen=True, slots=True)
class Blank:
    """An item as the pocket needs it; item frame, mm."""

    rings: tuple[Ring, ...]  # exterior first, without their noise
    outline: Curve
    hole_curves: tuple[Curve, ...]
    pegs: bool  # whether the holes are cut as pegs
    tolerance: float
    ideal: bool

    @property
    def exterior(self) -> FloatArray:
        """The outline (N, 2)."""
        return self.rings[0].points_mm

    @property
    def holes(self) -> tuple[FloatArray, ...]:
        """The holes, each (N, 2)."""
        return tuple(ring.points_mm for ring in self.rings[1:])

    @property
    def chord(self) -> float:
        """Chord error of round corners."""
        return CHORD_SHARE * self.tolerance

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the item's box."""
        x, y = (self.exterior.min(axis=0) + self.exterior.max(axis=0)) / 2
        return float(x), float(y)

    def moved(self, distance: float) -> list[OffsetRing]:
        """Return the outline moved outward; pegs move the other way."""
        holes, least = self.holes if self.pegs else (), SLIVER * self.tolerance
        return offset_rings(self.exterior, holes, distance, chord_mm=self.chord, least_mm=least)


@dataclass(frozen=True, slots=True)
class Cut:
    """What a way of cutting makes of a blank, before its curves are drawn."""

    region: Geometry  # whose edge is the path
    chain: tuple[Allowance, ...]
    by_formula_mm: float | None = None  # offset that gives the path of an ideal shape
    reliefs: tuple[Relief, ...] = ()
    uncut: tuple[Uncut, ...] = ()
    top: Geometry | None = None
    findings: tuple[Finding, ...] = ()


def notched(region: Geometry, blank: Blank, notches: tuple[Notch, ...], *, less_mm: float) -> Geometry:
    """Return a region with the notches in its wall; pegs stay whole."""
    import shapely

    if not notches:
        return region
    pegs = [shapely.Polygon(hole) for part in rings_of_region(region) for hole in part.holes_mm if blank.pegs]
    joined = region.union(notch_region(notches, less_mm=less_mm, chord_mm=blank.chord))
    return joined.difference(shapely.union_all(pegs)) if pegs else joined
