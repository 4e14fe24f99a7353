"""Solids: a plate with the pockets in it, or plugs for a former, as a closed mesh; written as STL and 3MF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...errors import UsageError, WriteError
from ...records import Item, Result
from ..paths import Point
from .asked import Solid, check_solid_package
from .mesh import Mesh, settled
from .plug import plug_parts, prism
from .region import plug_region, pocket_region, polygons_of

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
    block = prism(shapely.box(left, bottom, right, top), solid.thickness_mm)
    through = solid.pocket_mm >= solid.thickness_mm
    parts = polygons_of(openings)
    if through and any(part.interiors for part in parts):
        raise UsageError(
            f"--depth {solid.pocket_mm:g} is through the plate: what stands inside a pocket would fall out. "
            "Say less, or leave out --cut-holes."
        )
    under = -1.0 if through else solid.thickness_mm - solid.pocket_mm
    tools = [prism(part, solid.thickness_mm + 1 - under).translate((0, 0, under)) for part in parts]
    floor = "through" if through else f"{solid.pocket_mm:g} mm deep on a floor of {under:g} mm"
    says = f"Plate of {solid.thickness_mm:g} mm, pockets {floor}."
    return _made(block, tools, says, cut=True)


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
