"""The plate: what lies where on it.

Frame: the bed's, mm, x right, y up, the origin its lower-left corner, whichever corner is zero. A place says where the
middle of the box around the upright item lies, and how far the item is turned from upright.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, cast, get_args

import numpy as np

from ..records import Circle, Curve, FloatArray, Item, OpenPath, Path, Pocket, Usual, turning
from ..steady import product
from .corner import Corner

Zero = Literal["top-left", "top-right", "bottom-left", "bottom-right"]
ZEROS: tuple[Zero, ...] = get_args(Zero)
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Kind:
    """What goes into some of the pockets."""

    name: str
    source_name: str  # of the picture it was outlined in
    source_sha256: str
    item: Item  # as in its document, with its pocket
    turn_deg: float  # counter-clockwise, from the item's frame to upright

    @property
    def middle_mm(self) -> FloatArray:
        """Middle (2,) of the box around the upright item, in the item's frame turned about its origin."""
        upright = product(self.item.exterior_mm, turning(math.radians(self.turn_deg)))
        return np.asarray((upright.min(axis=0) + upright.max(axis=0)) / 2)


@dataclass(frozen=True, slots=True)
class Place:
    """Where one item lies."""

    kind: str
    x_mm: float  # of the middle of the upright item's box
    y_mm: float
    turn_deg: float  # counter-clockwise, from upright


@dataclass(frozen=True, slots=True)
class Hole:
    """A round hole through the plate, for a pin or a screw."""

    x_mm: float
    y_mm: float
    diameter_mm: float  # as it is to be when cut


@dataclass(frozen=True, slots=True)
class Heights:
    """What decides how high faces lie above the bed."""

    items_mm: tuple[tuple[str, float], ...]  # thickness of each kind's items
    depth_mm: float | None = None  # of the pockets; None: they go through
    base_mm: float = 0.0  # what lies under the plate
    head_mm: float | None = None  # lowest place of the printer's head, above the bed


Centre = Literal["box", "centroid", "circle"]


@dataclass(frozen=True, slots=True)
class Plate:
    """A plate with pockets."""

    name: str
    bed_mm: tuple[float, float]
    size_mm: tuple[float, float]  # of the plate, which lies in the zero corner; the bed's unless it is cut out
    zero: Zero
    thickness_mm: float | None
    web_mm: float  # the least there should be between two pockets
    kinds: tuple[Kind, ...]
    places: tuple[Place, ...]  # in the order of their numbers, from 1
    holes: tuple[Hole, ...] = ()
    label: tuple[str, ...] = ()  # what the user wants to stand on it: revision, date
    cut_from: Literal["front", "back"] = "front"  # the side that is up when it is cut; the frame is seen from the front
    corner: Corner | None = None  # the corner piece at zero that it is pushed against
    heights: Heights | None = None
    centres: Centre | None = None  # which middle of the items is marked
    leads: Literal["joined", "apart"] = "joined"  # leads and paths of the cut drawing
    usual: Usual | None = None  # which options nobody said, but a workshop's file

    def kind_of(self, place: Place) -> Kind:
        """Return what lies at a place."""
        return next(kind for kind in self.kinds if kind.name == place.kind)

    @property
    def zero_mm(self) -> Point:
        """Where the zero corner lies."""
        return corner(self.zero, self.bed_mm)

    @property
    def low_mm(self) -> Point:
        """Where the plate's lower-left corner lies."""
        return (
            0.0 if self.zero.endswith("left") else self.bed_mm[0] - self.size_mm[0],
            0.0 if self.zero.startswith("bottom") else self.bed_mm[1] - self.size_mm[1],
        )

    @property
    def is_cut_out(self) -> bool:
        """Whether the plate is smaller than the bed, and so has an edge to cut, or has a notch in it."""
        return self.size_mm != self.bed_mm or (self.corner is not None and self.corner.key_mm is not None)

    @property
    def signs(self) -> tuple[float, float]:
        """Whether x and y grow (1) or fall (-1) from the zero corner into the bed."""
        return 1.0 if self.zero.endswith("left") else -1.0, 1.0 if self.zero.startswith("bottom") else -1.0


def corner(zero: Zero, bed_mm: tuple[float, float]) -> Point:
    """Return where a bed's corner lies in its frame."""
    return (0.0 if zero.endswith("left") else bed_mm[0], 0.0 if zero.startswith("bottom") else bed_mm[1])


def inward(point: Point, zero: Zero, bed_mm: tuple[float, float]) -> Point:
    """Return a place as distances from the zero corner into the bed, and such distances as a place: its own inverse.

    Examples
    --------
    >>> inward((10.0, 438.0), "top-left", (305.0, 458.0))
    (10.0, 20.0)
    """
    x, y = point
    return (x if zero.endswith("left") else bed_mm[0] - x, y if zero.startswith("bottom") else bed_mm[1] - y)


def moved_by(kind: Kind, place: Place) -> tuple[FloatArray, FloatArray]:
    """Return matrix (2, 2) and shift (2,) by which places of the item's frame lie on the bed: p @ matrix + shift."""
    middle = product(kind.middle_mm, turning(math.radians(place.turn_deg)))
    return turning(math.radians(kind.turn_deg + place.turn_deg)), np.array([place.x_mm, place.y_mm]) - middle


def placed_curve(curve: Curve, moved: tuple[FloatArray, FloatArray]) -> Curve:
    """Return a curve turned and shifted."""
    matrix, shift = moved
    if isinstance(curve, Circle):
        x, y = (product(np.asarray(curve.centre_mm), matrix) + shift).tolist()
        return Circle((x, y), curve.radius_mm)
    return Path(product(curve.points_mm, matrix) + shift, curve.bulges)


def placed_pocket(pocket: Pocket, moved: tuple[FloatArray, FloatArray]) -> Pocket:
    """Return a pocket, all that is drawn of it turned and shifted."""
    matrix, shift = moved
    return replace(
        pocket,
        curves=tuple(placed_curve(curve, moved) for curve in pocket.curves),
        leads=tuple(OpenPath(product(lead.points_mm, matrix) + shift, lead.bulges) for lead in pocket.leads),
        uncut=tuple(replace(one, ring_mm=product(one.ring_mm, matrix) + shift) for one in pocket.uncut),
        pins=tuple(cast("Circle", placed_curve(pin, moved)) for pin in pocket.pins),
        wall=tuple(placed_curve(curve, moved) for curve in pocket.wall),
        plug_top=tuple(placed_curve(curve, moved) for curve in pocket.plug_top),
    )
