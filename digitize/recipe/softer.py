"""Items of a scan without a reference that are softer than the sharpest, or than a flatbed is: lifted, or in shade."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..records import Picture
from ..reference.locate import Located
from ..trust.lift import SoftEdge, lift_contributions, lift_finding, softness_mm
from .rings import Rings

# Blur of what lies on the glass, at the most (common practice, no source): real scans at hand have 0.9 to
# 1.6 px at 100 dpi and 2.2 at 150.
_DULLEST_PX, _DULLEST_MM = 2.2, 0.15


def beside_the_sharpest(picture: Picture, found: Sequence[Rings], located: Located) -> tuple[Rings, ...]:
    """Say which items are softer than the sharpest of them, or than a flatbed is, and what that is in their budget.

    A scan's reference, where there is one, is what each item's edge has been held against already: then nothing is
    added, nor to an item that has two borders.
    """
    if located.camera is not None or located.estimate.blur_px is not None:
        return tuple(found)
    pixel = float(np.mean(located.estimate.facts.mm_per_px))
    blurs = [rings.contours[0].blur_px for rings in found]
    sharpest = min([*blurs, max(_DULLEST_PX, _DULLEST_MM / pixel)])  # all of them may lie above the glass
    return tuple(_beside(rings, sharpest, pixel, picture.pixels.shape[2]) for rings in found)


def _beside(rings: Rings, sharpest_px: float, mm_per_px: float, channels: int) -> Rings:
    soft = softness_mm(rings.contours, sharpest_px, mm_per_px)
    if not soft or any(finding.code == "second-border" for finding in rings.findings):
        return rings
    edge = SoftEdge(soft, rings.contours[0].contrast / math.sqrt(channels), sharpest_px * mm_per_px)
    lines = lift_contributions(edge)
    return replace(rings, budget=(*rings.budget, *lines)).with_findings(lift_finding(edge, rings.contours))
