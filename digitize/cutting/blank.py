"""What is passed on while a pocket is made: the item, and what a way of cutting makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..fitting.fit import Joins
from ..fitting.ring import Ring
from ..records import Allowance, Curve, Finding, FloatArray, Notch, Path, Relief, Uncut
from .curve_offset import offset_paths
from .notch import notch_region
from .pocket import CHORD_SHARE, SLIVER, OffsetRing, offset_rings
from .region import edges_of, rings_of_region
from .sources import directed

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
    noise: float  # standard deviation of the measured edge's
    ideal: bool
    joins: Joins

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

    @property
    def sources(self) -> tuple[Path, ...]:
        """The item's lines and arcs, of its outline and of holes that are cut as pegs."""
        holes = self.hole_curves if self.pegs else ()
        return (directed(self.outline, hole=False), *(directed(hole, hole=True) for hole in holes))

    def by_curve(
        self,
        sources: tuple[Path, ...],
        distance: float,
        region: Geometry,
        notches: tuple[Notch, ...] = (),
        *,
        less_mm: float = 0.0,
    ) -> tuple[Path, ...]:
        """Return known lines and arcs moved outward, as far as they follow the rings of a region."""
        rings = edges_of(region)
        return offset_paths(sources, distance, rings, tolerance_mm=self.tolerance, notches=notches, less_mm=less_mm)

    def moved(self, distance: float) -> list[OffsetRing]:
        """Return the outline moved outward; pegs move the other way."""
        holes, least = self.holes if self.pegs else (), SLIVER * self.tolerance
        return offset_rings(self.exterior, holes, distance, chord_mm=self.chord, least_mm=least)


@dataclass(frozen=True, slots=True)
class Cut:
    """What a way of cutting makes of a blank, before its curves are drawn."""

    region: Geometry  # whose edge is the path
    chain: tuple[Allowance, ...]
    by_curve: tuple[Path, ...] = ()  # the edge as lines and arcs, as far as it is made of the item's own
    by_formula_mm: float | None = None  # offset that gives the path of an ideal shape
    reliefs: tuple[Relief, ...] = ()
    uncut: tuple[Uncut, ...] = ()
    top: Geometry | None = None
    top_by_curve: tuple[Path, ...] = ()
    findings: tuple[Finding, ...] = ()


def notched(region: Geometry, blank: Blank, notches: tuple[Notch, ...], *, less_mm: float) -> Geometry:
    """Return a region with the notches in its wall; pegs stay whole."""
    import shapely

    if not notches:
        return region
    pegs = [shapely.Polygon(hole) for part in rings_of_region(region) for hole in part.holes_mm if blank.pegs]
    joined = region.union(notch_region(notches, less_mm=less_mm, chord_mm=blank.chord))
    return joined.difference(shapely.union_all(pegs)) if pegs else joined
