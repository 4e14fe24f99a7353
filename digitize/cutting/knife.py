"""A pocket as a knife can cut it: no bend tighter than a least radius, and never smaller than what was wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .region import Left, contacts_of, grown, left_standing
from .relief import is_corner

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_SHARES = (1.0, 0.5, 0.25, 0.125)  # of the least radius: where a disc of it finds no room, smaller ones are tried
_SAME_MM = 0.1  # tips of the same corner


def for_knife(wanted: Geometry, *, least_radius_mm: float, chord_mm: float, tolerance_mm: float) -> Geometry:
    """Return the region, smoothed outward only.

    Where the wall turns towards the pocket (a tongue of sheet) the bend becomes an arc of the least radius. Where
    the pocket turns into the sheet, a bend tighter than that becomes a sharp corner, the sides going on until they
    meet: a knife cannot follow a tight bend but is lifted and set anew at a corner.
    """
    import shapely

    if least_radius_mm == 0:
        return wanted
    tips: list[Geometry] = []
    for share in _SHARES:
        tips += _sharp_tips(wanted, tips, share * least_radius_mm, chord_mm, tolerance_mm)
    sharp = shapely.union_all([wanted, *tips])
    # all that no disc of this radius reaches without touching the region: a morphological closing
    closed = grown(grown(sharp, least_radius_mm, chord_mm=chord_mm), -least_radius_mm, chord_mm=chord_mm)
    return sharp.union(closed)


def _sharp_tips(
    wanted: Geometry, found: list[Geometry], radius: float, chord: float, tolerance: float
) -> list[Geometry]:
    """Return what makes those corners sharp that are tighter than a radius and not among those found."""
    import shapely

    centres = grown(wanted, -radius, chord_mm=chord)
    swept = grown(centres, radius, chord_mm=chord)
    left = left_standing(wanted, centres, swept, radius_mm=radius, tolerance_mm=tolerance)
    new = [
        one
        for one in left
        if is_corner(one, radius) and all(shapely.distance(shapely.Point(one.tip), tip) > _SAME_MM for tip in found)
    ]
    return [tip for tip in (_tip(one, wanted, radius) for one in new) if tip is not None]


def _tip(left: Left, wanted: Geometry, radius: float) -> Geometry | None:
    """Return the kite between a disc in a corner and the point where the corner's sides meet.

    The sides touch the disc of radius r at two places; they meet at r / cos(h) from its centre, where h is half the
    angle between the radii to those places.
    """
    import shapely

    contacts = contacts_of(left, wanted, radius)
    if contacts is None:
        return None
    radii = (contacts - left.centre) / np.hypot(*(contacts - left.centre).T)[:, None]
    middle = radii.sum(axis=0)
    half = float(np.hypot(*middle)) / 2  # cos(h)
    if half < np.sin(np.radians(15)):  # a corner of 30 degrees, as `is_corner` has it
        return None
    apex = left.centre + radius / half * middle / np.hypot(*middle)
    kite = shapely.Polygon([left.centre, contacts[0], apex, contacts[1]])
    return kite if kite.is_valid else None
