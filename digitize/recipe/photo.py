"""The recipe's steps that only photos need: an item's rings freed of its height, and what the camera leaves unsure."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np

from ..camera.budget import MixedCorner, SeenRing, item_budget
from ..camera.estimate import CameraEstimate
from ..camera.scale import CameraScale
from ..edge.height import TrueRing, flat_ring, upright_ring
from ..edge.walls import PALE, with_feet
from ..errors import UsageError
from ..reading.reduced import reduce_picture
from ..records import Contour, Contribution, Finding, FloatArray, Picture, Scale
from ..reference.locate import Located, locate_reference
from ..settings import HEIGHT_WITHIN_MM, Settings
from ..silhouette.difference import less_background
from ..words.say import finding_of

_BEFORE, _AFTER = np.array([-10, -6, -3]), np.array([3, 6, 10])  # places of a corner's sides, counted from it
_LEAST_MM = 0.01  # height of an item that has any
_SHARPEST = 12.0  # a tip of 10 degrees moves by so much of what a side does: 1 / sin 5 degrees
Mapped = tuple[tuple[FloatArray, ...], tuple[tuple[int, ...], ...], tuple[Finding, ...], tuple[Contribution, ...]]


def map_rings(
    picture: Picture, camera: CameraEstimate, scale: Scale, contours: tuple[Contour, ...], settings: Settings
) -> Mapped:
    """Rings of one item in the plane frame, their corners, findings and budget lines."""
    card = cast(CameraScale, scale)
    height, edge = settings.item_height_mm or 0.0, settings.edge_height_mm or 0.0
    left_px = 0.0
    if height:
        footed = [with_feet(picture, contour, card, height) for contour in contours]
        contours, left_px = tuple(one.contour for one in footed), footed[0].sd_px
    plane = card.at_height(edge)
    true = [upright_ring(contour, card, height) if height else flat_ring(contour, plane) for contour in contours]
    within = settings.height_within_mm
    if within is None and (height or edge):
        within = HEIGHT_WITHIN_MM
    seen = tuple(_seen(ring, contour, height, edge) for ring, contour in zip(true, contours, strict=True))
    if height and within:
        mixed = [_mixed(ring, contour, card, height, within) for ring, contour in zip(true, contours, strict=True)]
        seen = tuple(replace(one, mixed=corners) for one, corners in zip(seen, mixed, strict=True))
    budget = item_budget(camera, seen, height_within_mm=within)
    if left_px:
        mm = left_px * float(np.mean(card.mm_per_px_at(contours[0].points_px.mean(axis=0))))
        budget = (*budget, Contribution("wall's shade", mm, mm, note="walls seen beside the top", acts="side by side"))
    rings, corners = tuple(ring.points_mm for ring in true), tuple(ring.corners for ring in true)
    pale = (_pale(contours[0]),) if height and contours[0].contrast < PALE else ()
    hidden = (_hidden(ring, contour) for ring, contour in zip(true, contours, strict=True) if ring.hidden)
    return rings, corners, (*pale, *hidden), budget


def _pale(contour: Contour) -> Finding:
    """An item that differs so little from what it lies on that its own walls do not."""
    x, y = contour.points_px.mean(axis=0).tolist()
    return finding_of("item-pale", value=contour.contrast, limit=PALE, place_px=(x, y))


def _hidden(ring: TrueRing, contour: Contour) -> Finding:
    """A hole that shows less of itself than of its wall."""
    x, y = contour.points_px.mean(axis=0).tolist()
    across = float(np.ptp(ring.points_mm, axis=0).mean())
    is_round = ring.hidden == "round"
    case = "round" if is_round else None
    return finding_of("hole-hidden", value=across, place_px=(x, y), attention=not is_round, case=case)


def picture_less_background(picture: Picture, empty: Picture, located: Located, settings: Settings) -> Picture:
    """Return the picture less the same view without the item.

    Raises
    ------
    UsageError
        If the picture is no photo.
    ScaleError, PictureError
        If the two do not belong together.
    """
    if located.camera is None:
        raise UsageError("--background-photo is for photos; this is taken as a scan. Say --camera if it is none.")
    before = locate_reference(empty, reduce_picture(empty), replace(settings, taken_with="camera"))
    assert before.camera is not None
    here, there = located.camera, before.camera
    shift = here.middle_mm - there.middle_mm

    def to_empty_px(points_px: FloatArray) -> FloatArray:
        return there.scale.to_px(here.scale.to_mm(points_px) + shift)

    return less_background(picture, empty, to_empty_px)


def _seen(ring: TrueRing, contour: Contour, height_mm: float, edge_mm: float) -> SeenRing:
    """The places of a ring that come from the picture, with the plane of each."""
    known = ring.source >= 0
    height = np.where(ring.on_top[known], height_mm, edge_mm)
    return SeenRing(contour.points_px[ring.source[known]], height)


def _mixed(
    ring: TrueRing, contour: Contour, card: CameraScale, height_mm: float, within_mm: float
) -> tuple[MixedCorner, ...]:
    """The sharp corners between a wall that is seen and one that is not, and where each is by another height."""
    known = np.flatnonzero(ring.source >= 0)
    after = np.searchsorted(known, ring.corners, side="right")
    sides = [
        (ring.on_top[known[(n + _BEFORE) % len(known)]], ring.on_top[known[(n + _AFTER) % len(known)]]) for n in after
    ]
    corners = [
        c
        for c, (before, behind) in zip(ring.corners, sides, strict=True)
        if before.all() != behind.all() and before.any() != behind.any()
    ]
    if not corners:
        return ()
    at = ring.points_mm[corners]
    px = card.to_px(at)  # near enough for how far a place moves with the height
    lifted = card.at_height(height_mm + within_mm).to_mm(px) - card.at_height(height_mm).to_mm(px)
    reach = _SHARPEST * np.hypot(lifted[:, 0], lifted[:, 1])
    others = [upright_ring(contour, card, max(height_mm + lift, _LEAST_MM)) for lift in (-within_mm, within_mm)]
    moved = np.stack([_nearest(other, at, reach) - at for other in others], axis=1)
    return tuple(MixedCorner(place, to) for place, to in zip(at, moved, strict=True))


def _nearest(ring: TrueRing, places_mm: FloatArray, reach_mm: FloatArray) -> FloatArray:
    """The corner of a ring that is nearest to each of some places; without one within reach its nearest place."""
    found = _of(ring.points_mm, places_mm)
    if ring.corners:
        ends = _of(ring.points_mm[list(ring.corners)], places_mm)
        near = np.hypot(*(ends - places_mm).T) <= reach_mm
        found = np.where(near[:, None], ends, found)
    return np.asarray(found)


def _of(points: FloatArray, places_mm: FloatArray) -> FloatArray:
    apart = np.hypot(*np.moveaxis(places_mm[:, None] - points, 2, 0))
    return np.asarray(points[apart.argmin(axis=1)])
