"""Corners that a round cutter cannot reach: which they are, how they are relieved, how the path runs into them.

A cutter of radius r leaves r (1 / sin(a / 2) - 1) in a sharp corner of angle a. Two reliefs are common in the trade:
*diagonal*, along the bisector of the corner until the cutter touches its tip ("dog-bone"), and *side*, on along the
longer side so that only the shorter one is cut into ("T-bone").
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import make_path
from ..records import Circle, Curve, FloatArray, Relief
from ..steady import product
from .region import Left, contacts_of, grown

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

LEAST_CORNER = np.radians(30)  # a sharper one is a slot, and a relief would cut away its walls
_STRAIGHT_MM = 0.1  # a side that strays less is straight, for telling the longer of two
_AT_MM = 0.2  # a side as near as this is one that the cutter touches
_HALVES_DEG = (5, 85)  # half a corner's angle: a slit has no room for a relief, a straight wall no need


def corner_depth_mm(radius_mm: float, angle: float) -> float:
    """Return r (1 / sin(a / 2) - 1): how far a cutter stays from the tip of a sharp corner of angle a (radians)."""
    return radius_mm * (1 / float(np.sin(angle / 2)) - 1)


def is_corner(left: Left, radius_mm: float) -> bool:
    """Whether a piece left standing lies in a corner, not in a slot or a neck narrower than the cutter."""
    return not left.between and left.depth_mm <= corner_depth_mm(radius_mm, float(LEAST_CORNER))


def relief_for(left: Left, wanted: Geometry, *, kind: str, radius_mm: float) -> Relief:
    """Return the way out and back of the cutter's centre that clears a corner."""
    toward = (left.tip - left.centre) / np.hypot(*(left.tip - left.centre))
    tip = left.centre + left.depth_mm * toward
    if kind == "side":
        side = _along_longer_side(left, wanted, toward, radius_mm)
        tip = tip if side is None else left.centre + side
    (x, y), (u, v) = left.centre.tolist(), tip.tolist()
    return Relief((x, y), (u, v))


def _along_longer_side(left: Left, wanted: Geometry, toward: FloatArray, radius: float) -> FloatArray | None:
    """Return the way along the longer side of a corner.

    With corner angle a and corner radius s the depth is d = (r - s)(1 / sin(a / 2) - 1); the cutter, going on along a
    side by (r - s) / tan(a / 2) = d cos(a / 2) / (1 - sin(a / 2)), touches the side where the corner's arc does, and so
    covers that arc.
    """
    contacts = contacts_of(left, wanted, radius)
    if contacts is None:
        return None
    normals = (contacts - left.centre) / np.hypot(*(contacts - left.centre).T)[:, None]
    half = (np.pi - float(np.arccos(np.clip(product(normals[0], normals[1]), -1, 1)))) / 2
    if not np.radians(_HALVES_DEG[0]) < half < np.radians(_HALVES_DEG[1]):
        return None
    longer = int(np.argmax([_side_length(contact, wanted) for contact in contacts]))
    along = np.array([-normals[longer][1], normals[longer][0]])
    along = along if product(along, toward) > 0 else -along
    return np.asarray(along * left.depth_mm * np.cos(half) / (1 - np.sin(half)))


def _side_length(contact: FloatArray, wanted: Geometry) -> float:
    """Return the length of the straight side at a place."""
    import shapely

    best, place = 0.0, shapely.Point(contact)
    for part in shapely.get_parts(shapely.boundary(wanted)):
        points = shapely.get_coordinates(part.simplify(_STRAIGHT_MM))
        sides = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
        near = np.asarray(shapely.distance(sides, place))
        if near.min() < _AT_MM:
            best = max(best, float(np.asarray(shapely.length(sides))[near < _AT_MM].max()))
    return best


def relief_region(reliefs: list[Relief], *, radius_mm: float, chord_mm: float) -> Geometry:
    """Return what the cutter takes away on its ways out and back."""
    import shapely

    ways = shapely.union_all([shapely.LineString([one.corner_mm, one.tip_mm]) for one in reliefs])
    return grown(ways, radius_mm, chord_mm=chord_mm)


def with_reliefs(curve: Curve, reliefs: list[Relief], *, within_mm: float) -> tuple[Curve, list[Relief]]:
    """Let a path run out and back at each of its corners that has a relief; return it and the reliefs used."""
    if isinstance(curve, Circle):
        return curve, []
    points, bulges = list(curve.points_mm), curve.bulges.tolist()
    used = []
    for one in reliefs:
        away = np.hypot(*(np.array(points) - one.corner_mm).T)
        at = int(np.argmin(away))
        if away[at] > within_mm:
            continue
        points[at + 1 : at + 1] = [np.array(one.tip_mm), points[at]]
        bulges[at:at] = [0.0, 0.0]
        used.append(one)
    return (make_path(np.array(points), np.array(bulges)) if used else curve), used
