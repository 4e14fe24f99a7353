"""How much room a pocket leaves its item, by the wall that the cut leaves and the item's edge without its noise."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..fitting.ring import make_ring
from ..records import FloatArray, Item, Pocket
from .pocket import quiet_ring
from .region import polygons_of
from .wall import opening

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_CHORD_MM = 0.001  # chord error
Room = tuple[float, tuple[float, float]]  # mm, and the place of the item's edge


def room_left(item: Item, pocket: Pocket, *, enough_mm: float) -> Room | None:
    """Return the least room between item and wall; None where it is enough. Below 0 the item stands in the sheet.

    An item's holes count where something stands in the pocket: pegs.
    """
    import shapely

    wall = opening(pocket, chord_mm=_CHORD_MM)
    pegs = any(part.interiors for part in polygons_of(wall))
    rings = (item.exterior_mm, *(item.holes_mm if pegs else ()))
    edge = shapely.boundary(wall)
    shapely.prepare(edge)
    near = any(shapely.dwithin(edge, shapely.LinearRing(ring), enough_mm) for ring in rings)
    if not near and shapely.contains_xy(wall, *item.exterior_mm[0]):
        return None
    room, place = min((_least(ring, wall, edge) for ring in rings), key=lambda one: one[0])
    return None if room >= enough_mm else (room, place)


def _least(ring: FloatArray, wall: Geometry, edge: Geometry) -> Room:
    """Return the least room along a ring: its noise is left out, a pocket is made for the item without it."""
    import shapely

    places = quiet_ring(make_ring(ring)).points_mm
    away = shapely.distance(shapely.points(places), edge)
    room = np.where(shapely.contains_xy(wall, places), away, -away)
    at = int(np.argmin(room))
    return float(room[at]), (float(places[at, 0]), float(places[at, 1]))
