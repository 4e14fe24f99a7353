"""What is measured on the page: lengths, angles, radii, and the light across an edge at a place."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..errors import UsageError
from ..measure.profiles import light_between
from ..records import FloatArray, Picture, Result, Scale
from ..steady import eigen, least_squares, product
from ..trust.uncertainty import of_length_k2_mm

Shown = dict[str, Any]
Place = tuple[float, float]
_MOST_REACH_PX = 1e7  # no picture is as wide
_ON_PX = 2.0  # from an outline: a place that the page has set on it
_LEAST_ON = 8  # points of an outline that a circle is fitted to
_PROFILE_PX, _PROFILE_STEP_PX, _BESIDE_PX = 16.0, 0.5, 3  # either way across the edge; along it, averaged
_NEAR_PX = 40.0  # from the pointer to the edge


def length_between(result: Result, scale: Scale, from_px: Place, to_px: Place) -> Shown:
    """Return the length between two places, mm, and its expanded uncertainty (k = 2) where both are on edges.

    Of several items the largest uncertainty is taken.

    Raises
    ------
    UsageError
        If a place is so far outside the picture that it is on no plane.
    """
    start, end = _on_plane(scale, (from_px, to_px))
    length = float(np.hypot(*(end - start)))
    return {"mm": length, "k2_mm": max(of_length_k2_mm(item.uncertainty, length) for item in result.items)}


def angle_at(scale: Scale, places_px: tuple[Place, Place, Place]) -> Shown:
    """Return the angle at the second of three places, degrees, 0 to 180.

    Raises
    ------
    UsageError
        If a place is on no plane, or two of them are one.
    """
    first, corner, last = _on_plane(scale, places_px)
    one, other = first - corner, last - corner
    if not np.hypot(*one) or not np.hypot(*other):
        raise UsageError("Two of the places are one: set three.")
    turn = np.arctan2(one[0] * other[1] - one[1] * other[0], product(one, other))
    return {"deg": abs(float(np.degrees(turn)))}


def radius_through(result: Result, scale: Scale, places_px: tuple[Place, Place, Place]) -> Shown:
    """Return the radius of the arc through three places, mm.

    Where all three lie on one outline, a circle is fitted to all of it from the first by the second to the third (least
    squares of the distances' squares, after Kasa, 1976), and how far it lies off the circle is told; else the circle
    runs through the three.

    Raises
    ------
    UsageError
        If a place is on no plane, or the three lie on a straight line.
    """
    three = _on_plane(scale, places_px)
    on_ring = _stretch(result, scale, np.array(places_px))
    points = three if on_ring is None else _on_plane(scale, on_ring)
    middle = points.mean(axis=0)
    x, y = (points - middle).T
    least, largest = eigen(product((points - middle).T, points - middle))[0]
    if least <= 1e-14 * largest:
        raise UsageError("The three places lie on a straight line: it has no radius.")
    a, b, c = least_squares(np.column_stack([x, y, np.ones_like(x)]), x**2 + y**2)
    radius = float(np.sqrt(max(c + (a**2 + b**2) / 4, 0.0)))
    off = np.abs(np.hypot(x - a / 2, y - b / 2) - radius).max()
    return {"mm": radius, "off_mm": None if on_ring is None else float(off)}


def profile_at(picture: Picture, result: Result, scale: Scale, place_px: Place) -> Shown:
    """Return the light across the nearest edge, from the item outward, the mean of 7 lines a px apart.

    Returns
    -------
    dict
        ``at``: the place on the edge, px; ``from_mm``: offsets from it, positive outward; ``light``: linear, 0 to 1,
        the mean of all channels; ``name``: the item's.

    Raises
    ------
    UsageError
        If no edge is near.
    """
    best: tuple[float, str, FloatArray, int] | None = None
    for item in result.items:
        for ring in (contour.points_px for contour in item.contours):
            away = np.hypot(*(ring - place_px).T)
            at = int(away.argmin())
            if best is None or away[at] < best[0]:
                best = float(away[at]), item.name, ring, at
    if best is None or best[0] > _NEAR_PX:
        raise UsageError("No edge is near: point at an outline.")
    _, name, ring, at = best
    along = ring[(at + 2) % len(ring)] - ring[at - 2]
    along = along / max(float(np.hypot(*along)), 1e-9)
    outward = np.array([-along[1], along[0]])
    offsets = np.arange(-_PROFILE_PX, _PROFILE_PX + _PROFILE_STEP_PX / 2, _PROFILE_STEP_PX)
    beside = np.arange(-_BESIDE_PX, _BESIDE_PX + 1)[:, None, None] * along
    places = ring[at] + beside + offsets[None, :, None] * outward
    light = light_between(picture, places.reshape(-1, 2)).mean(axis=1).reshape(len(beside), -1).mean(axis=0)
    mm = np.hypot(*(_on_plane(scale, ring[at] + outward) - _on_plane(scale, ring[at])).T)[0]
    return {
        "name": name,
        "at": ring[at].tolist(),
        "from_mm": np.round(offsets * mm, 4).tolist(),
        "light": np.round(light, 4).tolist(),
    }


def _on_plane(scale: Scale, places_px: Any) -> FloatArray:
    """Return places (N, 2) in the plane frame, mm."""
    places = np.atleast_2d(np.asarray(places_px, dtype=np.float64))
    if not np.isfinite(places).all() or np.abs(places).max() > _MOST_REACH_PX:
        raise UsageError("That place is far outside the picture: set the points in it.")
    with np.errstate(all="ignore"):
        mm = scale.to_mm(places)
    if not np.isfinite(mm).all():
        raise UsageError("That place is not on the card's plane: set the points in the picture.")
    return mm


def _stretch(result: Result, scale: Scale, places: FloatArray) -> FloatArray | None:
    """Return the measured points of an outline from the first of three places by the second to the third."""
    for item in result.items:
        for contour in item.contours:
            ring = contour.points_px
            away = np.hypot(*(ring[:, None] - places[None]).transpose(2, 0, 1))
            first, second, third = away.argmin(axis=0).tolist()
            if away.min(axis=0).max() > _ON_PX:
                continue
            if (second - first) % len(ring) > (third - first) % len(ring):
                first, third = third, first
            run = (first + np.arange((third - first) % len(ring) + 1)) % len(ring)
            return ring[run] if len(run) >= _LEAST_ON else None
    return None
