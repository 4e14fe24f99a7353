"""An item's outline in its own frame, how sure it is, and an item that got none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..sound import unsound
from ..steady import product
from .arrays import FloatArray, turning
from .curves import Curve, IdealShape, Symmetry
from .picture import Contour, Finding
from .pocket import Pocket

# How far along an item's edge an error is one and the same: it grows with the length; it moves all edges outward or
# inward alike; it moves each side by its own; it is each point's own.
Acts = Literal["with length", "all round", "side by side", "point by point"]


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of the uncertainty budget (JCGM 100): a standard uncertainty and where it comes from.

    Lines are independent of one another. What is correlated within a line is in its two figures: an error all round
    counts twice in a length, one of each side as the root of 2, one of each point hardly at all (5.2.2 of the guide).
    """

    name: str
    profile_mm: float = 0.0  # standard uncertainty (k = 1) of an edge point
    length_mm: float = 0.0  # constant part for a length
    length_per_mm: float = 0.0  # part proportional to the length
    note: str = ""
    acts: Acts | None = None  # None of one read from a document that does not tell


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Expanded uncertainty, k = 2."""

    profile_k2_mm: float
    length_offset_k2_mm: float
    length_per_metre_k2_mm: float  # mm per metre of length
    budget: tuple[Contribution, ...] = ()


@dataclass(frozen=True, slots=True)
class Calipers:
    """What calipers read of an item's exterior; a round one has its diameter twice."""

    length_mm: float  # extent along the jaws
    width_mm: float  # distance of the jaws, the least of all directions
    direction_deg: float  # of the length, counter-clockwise from +x of the item frame, 0 <= direction < 180
    length_k2_mm: float  # expanded uncertainty (k = 2)
    width_k2_mm: float


@dataclass(frozen=True, slots=True)
class LeastSure:
    """A place where the edge in the picture is least sure."""

    at_px: tuple[float, float]
    k2_mm: float  # expanded uncertainty (k = 2) of the edge's place there, its random part only


@dataclass(frozen=True, slots=True)
class Item:
    """One item's outline in its own frame (origin at the lower-left of its box, y up, mm)."""

    name: str
    exterior_mm: FloatArray  # (N, 2) dense, counter-clockwise
    holes_mm: tuple[FloatArray, ...]  # each (N, 2) dense, clockwise
    path: Curve  # exterior as lines and arcs, counter-clockwise
    hole_paths: tuple[Curve, ...]  # one per hole, clockwise (a Circle has no direction)
    sheet_mm: tuple[float, float]  # where this frame's origin lies in the sheet frame
    origin_px: tuple[float, float]  # where this frame's origin lies in the picture
    width_mm: float
    height_mm: float
    area_mm2: float  # holes taken out
    perimeter_mm: float  # exterior only
    centroid_mm: tuple[float, float]
    uncertainty: Uncertainty
    contours: tuple[Contour, ...] = ()  # exterior first, then holes, as measured in the picture
    other_px: tuple[FloatArray, ...] = ()  # each (N, 2), open lines: where another border may be meant; not drawn
    least_sure: tuple[tuple[LeastSure, ...], ...] = ()  # of each contour a few, the least sure first
    pocket: Pocket | None = None
    print_area: tuple[Curve, ...] = ()
    print_offset_mm: float | None = None  # of its edge from the item's, outward (bleed); None: no print area
    findings: tuple[Finding, ...] = ()
    shapes: tuple[IdealShape | None, ...] = ()  # exterior first, then holes; None where a ring is none
    symmetry: Symmetry | None = None  # of the exterior; None where it has none, or was not looked for
    calipers: Calipers | None = None  # None of items read from a document that does not tell
    mirrored: bool = False  # whether left and right were exchanged after that turn: x runs leftwards in the picture
    rotation_deg: float = 0.0  # how far it was turned, counter-clockwise, from how it lay; its frame is the turned one
    by_hand_mm: tuple[FloatArray, ...] = ()  # each (N, 2), open lines: where a hand set the edge
    by_hand_px: tuple[FloatArray, ...] = ()  # the same in the picture

    def __post_init__(self) -> None:
        """Refuse an outline that cannot be cut, whoever made it.

        Raises
        ------
        ValueError
            If rings cross, touch, lie outside the outline or run the wrong way round, or the area is not above 0.
        """
        wrong = unsound(self.exterior_mm, self.holes_mm)
        if wrong or not self.area_mm2 > 0:
            raise ValueError(f"{self.name} is no outline: {wrong or f'its area is {self.area_mm2:g} mm2'}")

    def as_laid(self, places_mm: FloatArray) -> FloatArray:
        """Return places (N, 2) of the item frame as offsets from its origin in the plane frame: turned back."""
        if self.mirrored:
            places_mm = places_mm * (-1.0, 1.0)
        if not self.rotation_deg:
            return places_mm
        return np.asarray(product(places_mm, turning(-math.radians(self.rotation_deg))))


@dataclass(frozen=True, slots=True)
class FailedItem:
    """What was seen as an item and has no sound outline: nothing is written of it but where it is, and why."""

    box_px: tuple[float, float, float, float]  # left, top, right, bottom
    reason: Finding
    rings_px: tuple[FloatArray, ...] = ()  # each (N, 2), exterior first: its border as far as it was followed
    lost_px: tuple[FloatArray, ...] = ()  # each (N, 2), open lines of it: where it could not be measured
