"""Heights above the bed: what is laid under items so that all faces to print are level; what stands proudest."""

from __future__ import annotations

from dataclasses import dataclass

from ..records import Finding
from ..words.say import finding_of
from .plate import Heights, Plate

UNEVEN_MM = 0.2  # of difference between faces, from which it is said
GAP_MM = 1.0  # that should stay under the head at least (common practice, no source: the printer's manual governs)


@dataclass(frozen=True, slots=True)
class Face:
    """The face of a kind's items."""

    kind: str
    height_mm: float  # above the bed, nothing under the item
    packing_mm: float  # to lay under it


def faces(plate: Plate, heights: Heights) -> list[Face]:
    """Return how high the face of each kind lies, and what brings all to the height of the highest.

    An item in a pocket that goes through lies on the base; in one that does not, on the pocket's floor.
    """
    thick = dict(heights.items_mm)
    floor = heights.base_mm
    if heights.depth_mm is not None and plate.thickness_mm is not None:
        floor += max(plate.thickness_mm - heights.depth_mm, 0.0)
    found = {kind.name: floor + thick[kind.name] for kind in plate.kinds}
    highest = max(found.values())
    return [Face(kind, round(height, 4), round(highest - height, 4) + 0.0) for kind, height in found.items()]


def proudest(plate: Plate, heights: Heights) -> tuple[str, float]:
    """Return what stands highest above the bed once all faces are level, and how high."""
    level = max(face.height_mm for face in faces(plate, heights))
    top = heights.base_mm + (plate.thickness_mm or 0.0)
    return ("the upper side of the plate", round(top, 4)) if top > level else ("the faces of the items", level)


def height_findings(plate: Plate) -> tuple[Finding, ...]:
    """Return what is to be said of heights: faces that are not level, too little room under the head."""
    if plate.heights is None:
        return ()
    found = []
    lowest = max(faces(plate, plate.heights), key=lambda face: face.packing_mm)
    if lowest.packing_mm >= UNEVEN_MM:
        found.append(finding_of("faces-uneven", value=lowest.packing_mm, limit=UNEVEN_MM, name=lowest.kind))
    head = plate.heights.head_mm
    what, high = proudest(plate, plate.heights)
    if head is not None and head - high < GAP_MM:
        found.append(finding_of("head-strike", value=head - high, limit=GAP_MM, what=what, high=high, head=head))
    return tuple(found)


def height_words(plate: Plate) -> list[str]:
    """Return lines that tell of heights and packing, for drawings and screen."""
    if plate.heights is None:
        return []
    what, high = proudest(plate, plate.heights)
    each = [
        f"{face.kind}: face {face.height_mm:g} mm above the bed"
        + (f", lay {face.packing_mm:g} mm under each" if face.packing_mm else "")
        for face in faces(plate, plate.heights)
    ]
    head = plate.heights.head_mm
    gap = "" if head is None else f", the head at {head:g} mm {round(head - high, 4):g} mm above it"
    if head is not None and head <= high:
        gap = f", THE HEAD at {head:g} mm STRIKES IT"
    return ["; ".join(each) + ".", f"Proudest above the bed: {what}, {high:g} mm{gap}. Check it before every run."]
