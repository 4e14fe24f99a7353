"""What is left open when a pocket is cut, as a region on the sheet; and the upper faces of plugs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...cutting.wall import opening
from ...fitting.bulge import curve_ring
from ...records import Curve, Item, Pocket
from ..paths import Point
from .mesh import GRID_MM

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry as Geometry

_CHORD_MM = 0.002


def pocket_region(item: Item, pocket: Pocket, zero: Point) -> Geometry:
    """Return the opening within a pocket's wall, placed on the sheet; what stands inside it is none of it."""
    return opening(pocket, (item.sheet_mm[0] - zero[0], item.sheet_mm[1] - zero[1]), chord_mm=_CHORD_MM)


def plug_region(item: Item, pocket: Pocket, zero: Point) -> Geometry:
    """Return the upper face of a plug, placed on the sheet."""
    return _placed(item, pocket.plug_top, zero)


def polygons_of(region: Geometry, *, settle: bool = True) -> list[Polygon]:
    """Return the polygons of a region, largest first; on the grid and without needless corners if `settle`."""
    import shapely

    settled = shapely.set_precision(shapely.simplify(region, _CHORD_MM / 2), GRID_MM) if settle else region
    parts = [part for part in shapely.get_parts(settled) if part.geom_type == "Polygon" and part.area > 0]
    return sorted(parts, key=lambda part: (-part.area, part.bounds))


def _placed(item: Item, curves: tuple[Curve, ...], zero: Point) -> Geometry:
    """Return the inside of curves, those inside others taken out."""
    import shapely

    by = (item.sheet_mm[0] - zero[0], item.sheet_mm[1] - zero[1])
    region: Geometry = shapely.Polygon()
    for curve in curves:
        region = region.symmetric_difference(
            shapely.make_valid(shapely.Polygon(curve_ring(curve, chord_mm=_CHORD_MM) + by))
        )
    return region
