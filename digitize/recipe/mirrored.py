"""Items drawn as the cutter sees them: left and right change places where picture and cut look at opposite sides.

A blank lies in its pocket with the face to be printed up. The picture shows that face or the other; the plate is cut
with its front (the side that will face the printer) up, or its back. Each of the two that is the other way round
exchanges left and right once; both together leave it as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..records import Finding, FloatArray, frozen_array, turning
from ..settings import Settings
from ..steady import product
from ..words.say import finding_of
from .rings import Rings


def seen_from_the_cut(work: Sequence[Rings], settings: Settings) -> tuple[tuple[Rings, ...], tuple[Finding, ...]]:
    """Return the items' rings as they look from the side that the plate is cut from, and what is to be said of it."""
    said = _said(settings)
    return (tuple(_mirrored(rings) for rings in work) if settings.mirrored else tuple(work)), said


def _said(settings: Settings) -> tuple[Finding, ...]:
    if settings.imaged_face == "print" and settings.cut_from == "front":
        return ()
    case = f"{settings.imaged_face} {settings.cut_from}"
    return (finding_of("face-and-cut", attention=False, case=case),)


def _mirrored(rings: Rings) -> Rings:
    """Exchange left and right in an item's own frame and on the sheet; rings keep their direction."""
    wide = float(rings.own[0][:, 0].max())
    own = tuple(frozen_array(((ring * (-1.0, 1.0)) + (wide, 0.0))[::-1], columns=2) for ring in rings.own)
    corners = tuple(
        tuple(sorted(len(ring) - 1 - corner for corner in at)) for ring, at in zip(own, rings.corners, strict=True)
    )
    right: FloatArray = product(np.array([wide, 0.0]), turning(-rings.turn))
    return replace(
        rings,
        origin=rings.origin + right,
        own=own,
        corners=corners,
        moved_to=np.array([-(rings.corner[0] + wide), rings.corner[1]]),
        mirrored=True,
    )
