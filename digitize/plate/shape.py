"""What a kind takes of the plate: the opening of its pocket and the item itself, about the upright item's middle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..cutting.wall import opening as opening_of
from ..errors import UsageError
from ..fitting.bulge import curve_ring
from ..measure.jaws import jaws
from ..records import FloatArray, Item, Result, turning
from ..steady import product
from .plate import Kind, Place, moved_by
from .slide import Edges, edges_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_CHORD_MM = 0.0005  # chord error


@dataclass(frozen=True, slots=True)
class Exact:
    """How far the edges that keep pockets apart may lie off the true ones, and on which side."""

    mm: float
    outside: bool


FINE = Exact(0.0005, outside=True)
MIDDLING = Exact(0.003, outside=True)  # where ways of laying rows are compared
ROUGH = Exact(0.05, outside=False)  # where they are first counted: none of them holds more in truth
_TURN_DIGITS = 9  # as the document keeps them


def kind_of(result: Result, item: Item, *, upright: bool = True) -> Kind:
    """Return an item of a document as a kind, turned so that its caliper length lies along x or y if `upright`.

    Raises
    ------
    UsageError
        If it has no pocket, or is drawn as seen from the plate's back.
    """
    if result.mirrored != (result.imaged == "back"):
        raise UsageError(
            f"{item.name} of {result.source_name} was outlined for cutting with the plate's back up; a plate is laid "
            "as the printer sees it. Outline it again with --cut-from front, and say --cut-from back to digitize plate."
        )
    if item.pocket is None or not item.pocket.curves:
        raise UsageError(
            f"{item.name} of {result.source_name} has no pocket to lay on a plate. Outline it again with --clearance, "
            "or --cut with a way of cutting."
        )
    turn = math.degrees(jaws(item.exterior_mm, within=result.tolerance_mm).turn) if upright else 0.0
    return Kind(item.name, result.source_name, result.source_sha256, item, round(turn, _TURN_DIGITS) + 0.0)


@dataclass(frozen=True, slots=True)
class Shape:
    """What a kind takes of the plate at one turn, about the middle of the upright item's box."""

    region: Geometry
    around: Geometry  # the region grown by half the web
    keep_out: Edges  # of that: such edges may touch

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of the region."""
        left, bottom, right, top = self.region.bounds
        return float(left), float(bottom), float(right), float(top)


def opening(kind: Kind, place: Place) -> Geometry:
    """Return what a kind takes at a place: where the sheet is gone, and the item above it."""
    import shapely
    from shapely import affinity

    assert kind.item.pocket is not None
    matrix, shift = moved_by(kind, place)
    item = shapely.make_valid(shapely.Polygon(curve_ring(kind.item.path, chord_mm=_CHORD_MM)))
    whole = shapely.union_all([opening_of(kind.item.pocket, chord_mm=_CHORD_MM), item])
    (a, b), (c, d) = matrix.tolist()
    return affinity.affine_transform(whole, (a, c, b, d, float(shift[0]), float(shift[1])))


def shape_of(kind: Kind, turn_deg: float, *, web_mm: float, as_box: bool, exact: Exact) -> Shape:
    """Return a kind's shape at a turn; `as_box` the box around it stands for it.

    Its edges keep out at least half the web if they lie outside the true ones, else at most that.
    """
    import shapely

    region = opening(kind, Place(kind.name, 0.0, 0.0, turn_deg))
    if as_box:
        region = shapely.box(*region.bounds)
    grown = shapely.box(*_grown(region.bounds, web_mm / 2)) if as_box else _rounded(region, web_mm / 2, exact)
    rings = [np.asarray(shapely.get_coordinates(part.exterior)[:-1]) for part in shapely.get_parts(grown)]
    return Shape(region, grown, edges_of(rings))


def turned(shape: Shape, quarter: float) -> Shape:
    """Return a shape turned about the middle, by degrees."""
    from shapely import affinity

    matrix: FloatArray = turning(math.radians(quarter))
    ends = np.hstack([product(shape.keep_out[:, :2], matrix), product(shape.keep_out[:, 2:], matrix)])
    region, around = (affinity.rotate(one, quarter, origin=(0, 0)) for one in (shape.region, shape.around))
    return Shape(region, around, ends)


def _grown(bounds: tuple[float, float, float, float], by: float) -> tuple[float, float, float, float]:
    left, bottom, right, top = bounds
    return left - by, bottom - by, right + by, top + by


def _rounded(region: Geometry, by: float, exact: Exact) -> Geometry:
    """Return all within a distance of a region, its edges rather outside the true ones, or rather inside."""
    import shapely

    thinned = shapely.simplify(region, exact.mm)
    quadrant = max(4, math.ceil(math.pi / 4 / math.acos(1 - min(exact.mm / max(by, exact.mm), 0.3))))
    reach = by + (2 * exact.mm + _CHORD_MM if exact.outside else -2 * exact.mm)
    return shapely.buffer(thinned, max(reach, 0.0), quad_segs=quadrant)
