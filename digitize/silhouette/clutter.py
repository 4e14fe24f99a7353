"""What in a photo is no item: patches that run out of it, that have no edge, and all but the largest of very many."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np

from ..records import Contour, Finding
from ..words.say import finding_of

MOST_ITEMS = 40  # of one photo; more are a patterned or dirty ground
# Items in renders and real photos have 0.004 to 0.05, rims of shade, glare and paper's texture 0.2 to 0.4.
MOST_EDGE_SD_PX = 0.15
_MOST = 0.7


class Patch(Protocol):
    """A connected part of a picture that differs from its background."""

    @property
    def box(self) -> tuple[int, int, int, int]:
        """Left, top, width, height."""

    @property
    def area(self) -> int:
        """Pixels."""

    @property
    def is_cut(self) -> bool:
        """Whether it touches the border of the picture, or of the sheet it lies on."""


P = TypeVar("P", bound=Patch)


def without_clutter(patches: Sequence[P], *, px: int, px_mm: float) -> tuple[list[P], list[Finding]]:
    """Tell what may be an item of a photo from what is none, and say what was left out.

    A scanner's lid is made to be a background; what a photo shows all round was not, and mostly runs out of
    the picture: the table's edge, a shadow, a hand. An item there would not be whole.

    Parameters
    ----------
    patches
        What differs from the background.
    px
        Width of a pixel of the patches, px of the picture.
    px_mm
        Size of a pixel of the patches, mm.

    Returns
    -------
    kept, findings
        Patches in their order.
    """
    whole = [patch for patch in patches if not patch.is_cut]
    cut = [patch for patch in patches if patch.is_cut]
    largest = sorted(whole, key=lambda patch: -patch.area)[:MOST_ITEMS]
    kept = [patch for patch in whole if any(patch is one for one in largest)]
    findings = []
    if cut:
        findings.append(_at_border(cut, kept, px, px_mm))
    if len(kept) < len(whole):
        findings.append(_too_many(len(whole)))
    return kept, findings


def has_edge(contour: Contour) -> bool:
    """Whether most of a border is an edge, known to a part of a pixel, and not the rim of a shade or of a texture."""
    return float(np.quantile(contour.sd_px, _MOST)) <= MOST_EDGE_SD_PX


def left_out_without_edge(boxes_px: Sequence[tuple[int, int, int, int]]) -> Finding:
    """What to say of patches whose border is none; boxes are left, top, right, bottom."""
    left, top, right, bottom = max(boxes_px, key=lambda box: (box[2] - box[0]) * (box[3] - box[1]))
    one = len(boxes_px) == 1
    how_many = "A patch of" if one else f"{len(boxes_px)} patches, the largest"
    return finding_of(
        "left-out-without-edge",
        value=float(len(boxes_px)),
        place_px=(0.5 * (left + right), 0.5 * (top + bottom)),
        things=f"{how_many} {right - left} x {bottom - top} px,",
        were="was" if one else "were",
    )


def _at_border(cut: Sequence[Patch], kept: Sequence[Patch], px: int, px_mm: float) -> Finding:
    largest = max(cut, key=lambda patch: patch.area)
    x, y, w, h = largest.box
    centre = px * (x + w / 2.0), px * (y + h / 2.0)
    patches = (
        f"A patch of {w * px_mm:.0f} x {h * px_mm:.0f} mm that runs"
        if len(cut) == 1
        else f"{len(cut)} patches (the largest {w * px_mm:.0f} x {h * px_mm:.0f} mm) that run"
    )
    return finding_of(
        "left-out-at-border",
        value=float(len(cut)),
        place_px=centre,
        attention=largest.area > max((patch.area for patch in kept), default=0),
        things=patches,
        were="was" if len(cut) == 1 else "were",
    )


def _too_many(count: int) -> Finding:
    return finding_of("too-many-items", value=float(count), limit=float(MOST_ITEMS))
