"""Which middle of an item is meant: of its box, of its area, or of the least circle around it."""

from __future__ import annotations

import numpy as np

from ..steady import product
from .plate import Centre, Kind, Place, Point, moved_by

WORDS: dict[Centre, str] = {
    "box": "the middle of the box around the upright item",
    "centroid": "the centroid of the item's area, holes taken out",
    "circle": "the middle of the least circle around the item",
}


def centre_of(kind: Kind, turn_deg: float, centre: Centre) -> Point:
    """Return that middle of an item at a turn, from the middle of its upright box."""
    import shapely

    matrix, shift = moved_by(kind, Place(kind.name, 0.0, 0.0, turn_deg))
    if centre == "box":
        return 0.0, 0.0
    if centre == "centroid":
        at = np.asarray(kind.item.centroid_mm)
    else:
        around = shapely.minimum_bounding_circle(shapely.Polygon(kind.item.exterior_mm))
        at = shapely.get_coordinates(around.centroid)[0]
    x, y = (product(at, matrix) + shift).tolist()
    return x, y
