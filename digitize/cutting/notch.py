"""Finger notches in a pocket's wall: where they go, and what they take."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..records import Curve, Finding, FloatArray, Notch
from ..steady import product
from ..words.say import finding_of
from .places import corner_points
from .pocket import quadrant_segments
from .ways import Cutting

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_STEP_DEG = 2  # between directions that are tried
_SIMPLE_MM = 0.005  # a ray through 20,000 points takes long
_FIRST_DEG = 90  # tried first, and kept where every place is as good


def place_notches(
    wanted: Geometry, outline: Curve, holes_mm: tuple[FloatArray, ...], cutting: Cutting
) -> tuple[tuple[Notch, ...], tuple[Finding, ...]]:
    """Return evenly spread notches on a pocket's wall, and what is to be said of them.

    Unless an angle is said they are turned so that the one worst placed lies as far from corners and holes as it
    can, up to two widths; among places as good, so that the fingers are close together.

    Parameters
    ----------
    wanted
        The pocket without notches, item frame.
    outline
        The item's edge as lines and arcs.
    holes_mm
        The item's holes.
    cutting
        Count, width, angle.
    """
    if cutting.notches == 0:
        return (), ()
    width, count = cutting.notch_width_mm, cutting.notches
    given = cutting.notch_angle_deg
    angles = np.arange(0, 360, _STEP_DEG) + float(_FIRST_DEG) if given is None else np.array([given])
    turned = (angles[:, None] + 360 / count * np.arange(count)) % 360
    places = _on_wall(wanted, turned.ravel())
    room = _room(places, outline, holes_mm).reshape(turned.shape).min(axis=1)
    spread = np.hypot(*(places - _middle(wanted)).T).reshape(turned.shape).sum(axis=1)
    best = int(np.lexsort((np.round(spread, 1), -np.round(np.minimum(room, 2 * width), 1)))[0])
    chosen = places.reshape(*turned.shape, 2)[best]
    notches = tuple(
        Notch((float(x), float(y)), width, float(angle)) for (x, y), angle in zip(chosen, turned[best], strict=True)
    )
    return notches, _near_corner(float(room[best]), width)


def _near_corner(room: float, width: float) -> tuple[Finding, ...]:
    if room >= width / 2:
        return ()
    return (finding_of("notch-near-corner", value=room, limit=width / 2, width=width),)


def _middle(region: Geometry) -> FloatArray:
    left, bottom, right, top = region.bounds
    return np.array([(left + right) / 2, (bottom + top) / 2])


def _on_wall(wanted: Geometry, angles_deg: FloatArray) -> FloatArray:
    """Return the outermost places (N, 2) of the wall in directions from the middle of its box."""
    import shapely

    middle = _middle(wanted)
    ahead = np.column_stack([np.cos(np.radians(angles_deg)), np.sin(np.radians(angles_deg))])
    reach = np.hypot(*np.subtract(wanted.bounds[2:], wanted.bounds[:2]))
    rays = shapely.linestrings(np.stack([np.broadcast_to(middle, ahead.shape), middle + reach * ahead], axis=1))
    wall = shapely.simplify(wanted, _SIMPLE_MM)
    found = []
    for ray, toward in zip(np.asarray(shapely.intersection(rays, wall)), ahead, strict=True):
        points = shapely.get_coordinates(ray)
        along = product(points - middle, toward)
        found.append(points[int(np.argmax(along))] if len(points) else middle)
    return np.array(found)


def _room(places: FloatArray, outline: Curve, holes_mm: tuple[FloatArray, ...]) -> FloatArray:
    """Return how far each place (N,) is from the nearest corner or hole; infinite where there is none."""
    import shapely

    parts = [*np.asarray(shapely.points(corner_points(outline))), *(shapely.Polygon(hole) for hole in holes_mm)]
    if not parts:
        return np.full(len(places), np.inf)
    return np.asarray(shapely.distance(shapely.points(places), shapely.union_all(parts)))


def notch_region(notches: tuple[Notch, ...], *, less_mm: float, chord_mm: float) -> Geometry:
    """Return the discs that the notches take, each smaller by `less_mm` all round."""
    import shapely

    radii = np.array([notch.width_mm / 2 - less_mm for notch in notches])
    discs = [
        shapely.Point(notch.centre_mm).buffer(radius, quad_segs=quadrant_segments(radius, chord_mm))
        for notch, radius in zip(notches, radii, strict=True)
        if radius > 0
    ]
    return shapely.union_all(discs)
