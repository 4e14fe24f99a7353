"""What in a photo is no item: patches that run out of it, that have no edge, and all but the largest of very many."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, ByteArray, Contour, Finding, Float32Array
from ..words.say import finding_of
from .background import Background
from .pieces import is_closed_band, thickness
from .regions import Region
from .ways import Ask

MOST_ITEMS = 40  # of one photo; more are a patterned or dirty ground
# Items in renders and real photos have 0.004 to 0.05, rims of shade, glare and paper's texture 0.2 to 0.4.
MOST_EDGE_SD_PX = 0.15
MOST = 0.7  # of a border's points
# Strokes of a pen and streaks of light on a dish have 0.4 to 1.2 mm, plants on the same photos 1.8 to 2.4 mm.
_LINE_MM, _LINE_DUSTS = 1.5, 1.5
_NO_HUE = 0.6  # spread of the channels' roots of light over their mean, the ground's own hue taken off: ink (blue, too)
# and glare have 0.01 to 0.42, leaves 0.78 and more
_PALE_GROUND = 0.2  # of full light: on a darker one a thin pale thing is no ink
_STROKE, _DARKEST, _MOSTLY = 0.75, 0.9, 0.5  # of the darkest tenth's distance from the ground; of the thing; chosen,
# no source: shade in the loops of figures on a dish lies half-way
_WIDTHS = 24  # at which parts of a mask are sorted


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


def is_of_lines(
    mask: ByteArray, light: Float32Array, ground: Float32Array, *, dust_mm: float, mm_per_px: float
) -> bool:
    """Whether most of a thing is narrow and has no hue, on pale ground: writing, print, or a streak of light.

    Parameters
    ----------
    mask
        (h, w), 1 on the thing.
    light
        (N, C) linear light of its pixels.
    ground
        (C,) linear light of what it lies on.
    dust_mm
        Size of dust.
    mm_per_px
        Size of the mask's pixels.
    """
    if float(ground.mean()) < _PALE_GROUND:
        return False
    tint = np.sqrt(np.maximum(ground, 1e-4))
    shown = np.sqrt(np.clip(np.median(light, axis=0), 0, 1)) * tint.mean() / tint
    return float(np.ptp(shown)) < _NO_HUE * float(shown.mean()) and _typical_width(mask) * mm_per_px < _widest_line(
        dust_mm
    )


def strokes_of(mask: BoolArray, light: Float32Array, ground: Float32Array) -> BoolArray:
    """Return of a thing what is about as far from the ground as its darkest: strokes without the shade in their loops.

    Parameters
    ----------
    mask
        (h, w) the thing.
    light
        (N, C) linear light of its pixels.
    ground
        (C,) linear light of what it lies on.

    Returns
    -------
    (h, w) bool array
        All of it, where that is less than half of it, as print on something pale is.
    """
    far = np.abs(light - ground).sum(axis=1)
    deep = np.zeros_like(mask)
    deep[mask] = far > _STROKE * np.quantile(far, _DARKEST)
    return deep if np.count_nonzero(deep) >= _MOSTLY * np.count_nonzero(mask) else mask


def _widest_line(dust_mm: float) -> float:
    """Width of a line, mm: a pen's stroke is as wide whatever is dust."""
    return max(_LINE_MM, _LINE_DUSTS * dust_mm)


def _typical_width(mask: ByteArray) -> float:
    """Diameter, px, of the largest disc within a mask that covers a pixel of it: the median over its pixels."""
    padded = np.pad(mask, 1)
    reach = cv().distanceTransform(padded, cv().DIST_L2, 5)
    count, widest = np.count_nonzero(mask), float(reach.max())
    for radius in np.linspace(widest, 1.0, _WIDTHS):
        apart = cv().distanceTransform((reach < radius).astype(np.uint8), cv().DIST_L2, 5)
        if np.count_nonzero((apart <= radius) & (padded > 0)) >= 0.5 * count:
            return 2.0 * float(radius)
    return 2.0


def is_written(region: Region, reduced: Reduced, background: Background, ask: Ask) -> bool:
    """Return whether what was found in a photo, and not pointed at, is writing or a streak of light."""
    if not ask.of_photo or ask.item_at_px is not None:
        return False
    (x, y), (h, w), factor = region.mask_origin, region.mask.shape, reduced.factor
    at = slice(y // factor, (y + h) // factor), slice(x // factor, (x + w) // factor)
    small = cv().resize(region.mask, (at[1].stop - at[1].start, at[0].stop - at[0].start), interpolation=0) > 0
    wide_mm, pixel_mm = thickness(small) * ask.mm_per_px * factor, ask.mm_per_px * factor
    if not small.any() or is_closed_band(small, wide_mm, pixel_mm, ask.dust_mm):
        return False
    ground = np.median(background.light[at][small], axis=0)
    light = reduced.light[at]
    if is_of_lines(region.mask, light[small], ground, dust_mm=ask.dust_mm, mm_per_px=ask.mm_per_px):
        return True
    strokes = strokes_of(small, light[small], ground)
    return is_of_lines(strokes.astype(np.uint8), light[strokes], ground, dust_mm=ask.dust_mm, mm_per_px=pixel_mm)


def left_out_as_lines(boxes_px: Sequence[tuple[int, int, int, int]], dust_mm: float) -> Finding:
    """What to say of things made of lines; boxes are left, top, right, bottom."""
    left, top, right, bottom = max(boxes_px, key=lambda box: (box[2] - box[0]) * (box[3] - box[1]))
    one = len(boxes_px) == 1
    return finding_of(
        "left-out-as-lines",
        value=float(len(boxes_px)),
        place_px=(0.5 * (left + right), 0.5 * (top + bottom)),
        things="A thing" if one else f"{len(boxes_px)} things",
        were="was" if one else "were",
        wide=_widest_line(dust_mm),
        x=0.5 * (left + right),
        y=0.5 * (top + bottom),
    )


def has_edge(contour: Contour) -> bool:
    """Whether most of a border is an edge, known to a part of a pixel, and not the rim of a shade or of a texture."""
    return float(np.quantile(contour.sd_px, MOST)) <= MOST_EDGE_SD_PX


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
