"""Connected pieces of a mask by their size: item, dust, the picture's rim, or what is clean-edged but too small."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Finding
from ..steady import product
from ..words.say import finding_of
from .background import Background
from .numbered import AREA, numbered

ITEM_LEAST, ITEM_AREA, ITEM_THICKNESS = 5.0, 12.0, 1.5  # least length, area and width of an item, in dusts
_BAND_WIDTH = 0.8  # of dust: what runs round a hole and is as wide is a ring
_BAND_EVEN = 0.9  # of a ring is at least half as wide as its widest place
_RIM_MM = 6.0  # a thinner strip along the picture's border is no item
_SOFT_PX = 2.5  # a border that changes over a wider way is a stain's
_BLURRED_PX = 1.5  # that a piece's mask is narrower than the piece
_PARTLY = 0.2, 0.8  # of the way from the background to the piece: its border
_EDGE_PX = 6.0  # in what is narrower, an edge is not told from noise
_WORTH_MM = 1.5  # what is thinner is dust or hair, whatever --dust says
_DUST_PART = 0.9  # of the size of what was left out: the --dust that is advised, so that it is surely let in

Box = tuple[int, int, int, int]  # x, y, w, h in reduced px


@dataclass(frozen=True, slots=True)
class Small:
    """A clean-edged piece that is too small for an item."""

    length_mm: float
    breadth_mm: float
    largest_dust_mm: float  # with --dust up to this it is an item
    place_px: tuple[float, float]


def thickness(own: BoolArray) -> float:
    """Greatest inscribed width, px."""
    filled = np.pad(own.astype(np.uint8), 1)
    return 2.0 * float(cv().distanceTransform(filled, cv().DIST_L2, 3).max()) - 1.0


def is_closed_band(own: BoolArray, wide_mm: float, pixel_mm: float, dust_mm: float) -> bool:
    """Whether a thin part runs round a hole that is as large as an item, everywhere as wide as dust: a ring.

    Hair and thread that lie in a loop are thinner, or close it by crossing themselves.
    """
    if wide_mm < _BAND_WIDTH * dust_mm:
        return False
    band = np.pad(own.astype(np.uint8), 1)
    radius = max(1, round(0.25 * wide_mm / pixel_mm))
    kernel = cv().getStructuringElement(cv().MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    opened = cv().morphologyEx(band, cv().MORPH_OPEN, kernel)
    if np.count_nonzero(opened) < _BAND_EVEN * np.count_nonzero(band):
        return False
    labels, stats = numbered(opened == 0, 4)
    enclosed = [label for label in range(1, len(stats)) if label != labels[0, 0]]
    area = sum(int(stats[label, AREA]) for label in enclosed)
    return area * pixel_mm**2 >= ITEM_AREA * dust_mm**2


def size_of(box: Box, area: int, pixel_mm: float, dust_mm: float) -> Literal["item", "small", "dust"]:
    """Tell by box and area (px) what may be an item, and what would be one were it larger."""
    length, breadth = max(box[2:]) * pixel_mm, min(box[2:]) * pixel_mm
    if length >= ITEM_LEAST * dust_mm and area * pixel_mm**2 >= ITEM_AREA * dust_mm**2:
        return "item"
    # a pixel more: blur makes things look larger
    return "small" if breadth >= max(_WORTH_MM, ITEM_THICKNESS * dust_mm) - pixel_mm else "dust"


def is_rim(box: Box, thickness_mm: float, pixel_mm: float, shape: tuple[int, ...]) -> bool:
    """Whether a part is a strip along the picture's border: the scanner's frame, or the lid's shade."""
    x, y, w, h = box
    at_border = x <= 1 or y <= 1 or x + w >= shape[1] - 1 or y + h >= shape[0] - 1
    return at_border and is_strip(thickness_mm, max(w, h) * pixel_mm)


def is_strip(thickness_mm: float, length_mm: float) -> bool:
    """Whether what lies along a border is thin and long, as rims are."""
    return thickness_mm < _RIM_MM and length_mm > 4 * thickness_mm


def small_piece(
    own: BoolArray, box: Box, reduced: Reduced, background: Background, pixel_mm: float, dust_mm: float
) -> Small | None:
    """Measure a piece that is too small for an item; None if it is dust, hair or a stain.

    Parameters
    ----------
    own
        (h, w) the piece within its box.
    box
        Where that lies in the reduced picture.
    reduced, background
        The picture and what would be seen without items.
    pixel_mm
        Size of the reduced picture's pixels.
    dust_mm
        What counts as dust.
    """
    x, y, w, h = box
    wide = thickness(own) * pixel_mm
    if wide < max(_WORTH_MM, ITEM_THICKNESS * dust_mm, _EDGE_PX * pixel_mm) - _BLURRED_PX * pixel_mm:
        return None
    if x <= 1 or y <= 1 or x + w >= reduced.light.shape[1] - 1 or y + h >= reduced.light.shape[0] - 1:
        return None
    window = (slice(y, y + h), slice(x, x + w))
    difference = (reduced.light[window] - background.light[window])[own]
    body = np.median(difference, axis=0)
    nearness = product(difference, body) / max(float(product(body, body)), 1e-9)
    inner = cv().erode(np.pad(own.astype(np.uint8), 1), np.ones((3, 3), np.uint8))[1:-1, 1:-1]
    rim = np.count_nonzero(own) - np.count_nonzero(inner)
    if np.count_nonzero((nearness > _PARTLY[0]) & (nearness < _PARTLY[1])) > _SOFT_PX * rim:
        return None
    area_mm2 = float(np.count_nonzero(own)) * pixel_mm**2
    ys, xs = (at[nearness > 0.5] for at in np.nonzero(own))  # up to half-way down the blurred border
    breadth, length = sorted(float(np.ptp(at) + 1) * pixel_mm for at in (xs, ys))
    dust = min(length / ITEM_LEAST, math.sqrt(area_mm2 / ITEM_AREA), wide / ITEM_THICKNESS)
    place = reduced.to_full(np.array([x + (w - 1) / 2, y + (h - 1) / 2]))
    return Small(length, breadth, dust, (float(place[0]), float(place[1])))


def left_out_as_small(pieces: Sequence[Small], dust_mm: float) -> tuple[Finding, ...]:
    """Say what was left out for its size alone."""
    if not pieces:
        return ()
    largest = max(pieces, key=lambda piece: piece.length_mm)
    one = len(pieces) == 1
    dust = max(0.1, math.floor(10 * _DUST_PART * min(piece.largest_dust_mm for piece in pieces)) / 10)
    return (
        finding_of(
            "left-out-too-small",
            value=float(len(pieces)),
            place_px=largest.place_px,
            attention=False,
            things=f"{'A thing with clean edges,' if one else f'{len(pieces)} things with clean edges, the largest'} "
            f"{largest.length_mm:.1f} x {largest.breadth_mm:.1f} mm,",
            were="was" if one else "were",
            least_mm=ITEM_LEAST * dust_mm,
            least_mm2=ITEM_AREA * dust_mm**2,
            dust=dust,
        ),
    )
