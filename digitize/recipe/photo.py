"""The recipe's steps that only photos need: an item's rings freed of its height, and what the camera leaves unsure."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np

from ..camera.budget import SeenRing, item_budget
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
    seen = tuple(_seen(ring, contour, height, edge) for ring, contour in zip(true, contours, strict=True))
    within = settings.height_within_mm
    if within is None and (height or edge):
        within = HEIGHT_WITHIN_MM
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
