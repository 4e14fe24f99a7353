"""The whole plate as a solid: its pockets by their walls, its holes through; STL and 3MF of the same mesh."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...errors import UsageError
from ...plate.corner import edge_points
from ...plate.plate import Plate, moved_by
from ..cautions import GOVERNS, MILLING, PRINT_3D
from ..solid.asked import Solid, check_solid_package
from ..solid.make import cut_block, depth_words
from ..solid.region import pocket_region
from ..solid.stl import stl_bytes
from ..solid.threemf import threemf_bytes
from .words import heading

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry


def plate_solid_files(plate: Plate, solid: Solid) -> dict[str, bytes]:
    """Return STL and 3MF by ending; z up, the plate's lower-left corner at 0, 0, its underside at z = 0.

    Raises
    ------
    UsageError
        If the package that makes solids is missing, or the kinds are made for the former.
    WriteError
        If no closed body came out.
    """
    check_solid_package()
    if any(kind.item.pocket is not None and kind.item.pocket.way == "former" for kind in plate.kinds):
        raise UsageError("--solid of a plate is for pockets; what is made for the former is a plug. Leave --solid out.")
    import shapely

    pockets = shapely.union_all([_opening(plate, number) for number in range(len(plate.places))])
    edge = np.array(edge_points(plate.corner, plate.size_mm, 0.0)) * plate.signs + plate.zero_mm
    block = shapely.Polygon(edge)
    through = [shapely.Point(one.x_mm, one.y_mm).buffer(one.diameter_mm / 2, quad_segs=64) for one in plate.holes]
    mesh, _ = cut_block(block, pockets, solid, through=shapely.union_all(through))
    said = f"Plate of {solid.thickness_mm:g} mm, pockets {depth_words(solid)}. {PRINT_3D} {MILLING} {GOVERNS}"
    return {"stl": stl_bytes(mesh), "3mf": threemf_bytes(mesh, title=heading(plate, "Plate"), description=said)}


def _opening(plate: Plate, number: int) -> Geometry:
    """Return a pocket's opening on the bed."""
    from shapely import affinity

    place = plate.places[number]
    kind = plate.kind_of(place)
    assert kind.item.pocket is not None
    region = pocket_region(kind.item, kind.item.pocket, kind.item.sheet_mm)
    matrix, shift = moved_by(kind, place)
    (a, b), (c, d) = matrix.tolist()
    return affinity.affine_transform(region, (a, c, b, d, float(shift[0]), float(shift[1])))
