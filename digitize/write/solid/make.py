"""Solids: a plate with the pockets in it, or plugs for a former, as a closed mesh; written as STL and 3MF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...errors import UsageError, WriteError
from ...records import Item, Result
from ..paths import Point
from .asked import Solid, check_solid_package
from .mesh import Mesh, settled
from .plug import plug_parts, prism
from .region import plug_region, pocket_region, polygons_of

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry as Geometry

RIM_MM = 5.0  # least material around the pockets: 5 mm or the sheet's thickness (common practice, no source)


@dataclass(frozen=True, slots=True)
class Made:
    """A solid, and where the drawing's zero lies on it."""

    mesh: Mesh
    zero_mm: Point
    says: str  # what it is, in a sentence


def make_solid(result: Result, items: Sequence[Item], solid: Solid) -> Made:
    """Return the plate with the pockets of `items`, or their plugs, as they lay in the picture.

    A pocket's wall stands where beam or cutter end: on the item's outline and clearance. The plate goes 5 mm, or
    its thickness if that is more, beyond the pockets. All coordinates are 0 or more, z = 0 is the underside.

    Raises
    ------
    UsageError
        If an item has no pocket, none has a path, or a pocket through the plate has something standing inside it.
    WriteError
        If no closed body came out.
    """
    check_solid_package()
    pockets = [item.pocket for item in items if item.pocket is not None]
    if len(pockets) < len(items) or not pockets:
        raise UsageError("--solid needs pockets to make: say --clearance, or --cut with a way of cutting.")
    zero = (min(i.sheet_mm[0] for i in items), min(i.sheet_mm[1] for i in items))
    items = [item for item in items if item.pocket is not None and item.pocket.curves]  # the others are said
    if not items:
        raise UsageError("--solid: no pocket has a path, so there is nothing to make. Take a smaller cutter or kerf.")
    formed = [pocket.way == "former" for pocket in pockets]
    if any(formed):
        return _plugs(items, zero, solid)
    return _plate(items, zero, solid)


def _plate(items: Sequence[Item], zero: Point, solid: Solid) -> Made:
    import shapely

    openings = shapely.union_all([pocket_region(item, item.pocket, zero) for item in items if item.pocket is not None])
    rim = max(RIM_MM, solid.thickness_mm)
    left, bottom, right, top = np.add(openings.bounds, (-rim, -rim, rim, rim))
    mesh, zero_mm = cut_block(shapely.box(left, bottom, right, top), openings, solid)
    return Made(mesh, zero_mm, f"Plate of {solid.thickness_mm:g} mm, pockets {depth_words(solid)}.")


def cut_block(
    block: Polygon, pockets: Geometry, solid: Solid, *, through: Geometry | None = None
) -> tuple[Mesh, Point]:
    """Return a plate with pockets as deep as is asked and, if there are any, holes through it; and where 0, 0 lies.

    Raises
    ------
    UsageError
        If pockets go through and something stands inside one.
    WriteError
        If no closed body came out.
    """
    under = -1.0 if _is_through(solid) else solid.thickness_mm - solid.pocket_mm
    parts = polygons_of(pockets)
    if _is_through(solid) and any(part.interiors for part in parts):
        raise UsageError(
            f"--depth {solid.pocket_mm:g} is through the plate: what stands inside a pocket would fall out. "
            "Say less, or leave out --cut-holes."
        )
    cuts = [(part, under) for part in parts] + [
        (part, -1.0) for part in ([] if through is None else polygons_of(through))
    ]
    tools = [prism(part, solid.thickness_mm + 1 - low).translate((0, 0, low)) for part, low in cuts]
    made = _made(prism(block, solid.thickness_mm), tools, "", cut=True)
    return made.mesh, made.zero_mm


def depth_words(solid: Solid) -> str:
    """Return how deep pockets are."""
    if _is_through(solid):
        return "through"
    return f"{solid.pocket_mm:g} mm deep on a floor of {solid.thickness_mm - solid.pocket_mm:g} mm"


def _is_through(solid: Solid) -> bool:
    return solid.pocket_mm >= solid.thickness_mm


def _plugs(items: Sequence[Item], zero: Point, solid: Solid) -> Made:
    bodies: list[Any] = []
    for item in items:
        assert item.pocket is not None
        height, top = item.pocket.plug_height_mm, plug_region(item, item.pocket, zero)
        bodies += plug_parts(top, block_mm=solid.thickness_mm, height_mm=height, draft_mm=_draft(item))
    says = f"Plug {height:.2f} mm high with draft, on a block of {solid.thickness_mm:g} mm."
    return _made(bodies[0], bodies[1:], says, cut=False)


def _draft(item: Item) -> float:
    """Return the draft from top to foot on each side, as it stands in the plug: times what follows in the chain."""
    assert item.pocket is not None
    draft, seen = 0.0, False
    for link in item.pocket.chain:
        if link.name == "draft":
            draft, seen = link.offset_mm, True
        elif seen:
            draft *= link.scale
    return draft


def _made(body: Any, others: list[Any], says: str, *, cut: bool) -> Made:
    """Return one body, the others taken away from it or joined to it, moved to where no coordinate is below 0."""
    import manifold3d

    kind = manifold3d.OpType.Subtract if cut else manifold3d.OpType.Add
    whole = manifold3d.Manifold.batch_boolean([body, *others], kind)
    if whole.status() != manifold3d.Error.NoError or whole.is_empty():
        raise WriteError("the solid could not be made: leave out --solid; please report it with the picture")
    mesh = whole.to_mesh64()
    corners = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
    low = corners.min(axis=0)
    made = settled(corners - low, np.asarray(mesh.tri_verts, dtype=np.int64))
    return Made(made, (float(-low[0]), float(-low[1])), says)
