"""The recipe's steps that only photos need: an item's rings freed of its height, and what the camera leaves unsure."""

from __future__ import annotations

from typing import cast

import numpy as np

from .camera.budget import SeenRing, item_budget
from .camera.estimate import CameraEstimate
from .camera.scale import CameraScale
from .height import TrueRing, flat_ring, upright_ring
from .records import Contour, Contribution, Finding, FloatArray, Scale
from .settings import Settings

Mapped = tuple[tuple[FloatArray, ...], tuple[tuple[int, ...], ...], tuple[Finding, ...], tuple[Contribution, ...]]


def map_rings(camera: CameraEstimate, scale: Scale, contours: tuple[Contour, ...], settings: Settings) -> Mapped:
    """Rings of one item in the plane frame, their corners, findings and budget lines."""
    card = cast(CameraScale, scale)
    height, edge = settings.item_height_mm or 0.0, settings.edge_height_mm or 0.0
    plane = card.at_height(edge)
    true = [upright_ring(contour, card, height) if height else flat_ring(contour, plane) for contour in contours]
    seen = tuple(_seen(ring, contour, height, edge) for ring, contour in zip(true, contours, strict=True))
    budget = item_budget(camera, seen, height_known=height > 0 or edge > 0)
    rings, corners = tuple(ring.points_mm for ring in true), tuple(ring.corners for ring in true)
    return rings, corners, (), budget


def _seen(ring: TrueRing, contour: Contour, height_mm: float, edge_mm: float) -> SeenRing:
    """The places of a ring that come from the picture, with the plane of each."""
    known = ring.source >= 0
    height = np.where(ring.on_top[known], height_mm, edge_mm)
    return SeenRing(contour.points_px[ring.source[known]], height)
