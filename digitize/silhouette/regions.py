"""Items as regions of pixels: their order on the page, which of them all but touch, which lie in another's hole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..measure.rings import reading_order
from ..opencv import cv
from ..records import ByteArray, Finding, Float32Array, FloatArray
from ..words.say import finding_of
from .band import IntArray, follow_borders
from .rims import Rim

_CLOSE_MM = 0.75  # between items: a narrower gap is blurred, and both edges draw back from it


@dataclass(frozen=True, slots=True)
class Border:
    """An item's border as a hand drew it, counter-clockwise seen y up."""

    ring_px: FloatArray  # (N, 2) about 1 px apart
    places_px: FloatArray  # (K, 2), that were set
    guessed_px: tuple[FloatArray, ...] = ()  # each (L, 2), those between which there is no edge


@dataclass(frozen=True, slots=True)
class Region:
    """One item's pixels: closed border chains at full resolution, exterior first."""

    chains: tuple[IntArray, ...]  # each (N, 2) px (x, y), pixels of the item along its border
    mask: ByteArray  # (h, w) crop, 1 = item
    mask_origin: tuple[int, int]  # px of the crop's first pixel
    box_px: tuple[int, int, int, int]  # x0, y0, x1, y1
    findings: tuple[Finding, ...] = ()
    rim: Rim | None = None  # beside the border taken
    asked: int | None = None  # which of what a hand asked for it is
    drawn: Border | None = None  # where a hand drew it


def in_reading_order(regions: list[Region]) -> list[Region]:
    """Rows from the top, each from the left."""
    return [regions[k] for k in reading_order([region.box_px for region in regions])]


def calmed(region: Region, wide_px: float) -> Region | None:
    """The same region, what is narrower than `wide_px` closed or taken off; None if nothing is left of it.

    Of several parts the largest stays.
    """
    size = 2 * max(1, round(0.5 * wide_px)) + 1
    kernel = cv().getStructuringElement(cv().MORPH_ELLIPSE, (size, size))
    room = size + 1
    own = np.zeros_like(region.mask)  # the crop may show other regions, too
    cv().drawContours(own, [(region.chains[0] - region.mask_origin).astype(np.int32)], -1, 1, cv().FILLED)
    mask = np.pad(region.mask & own, room)
    for step in (cv().MORPH_CLOSE, cv().MORPH_OPEN):
        mask = np.asarray(cv().morphologyEx(mask, step, kernel), dtype=np.uint8)
    mask = np.ascontiguousarray(mask[room:-room, room:-room])
    found = follow_borders(mask, region.mask_origin, dust_px=wide_px, least_px2=wide_px**2)
    if not found:
        return None
    chains = max(found, key=lambda one: float(np.ptp(one[0], axis=0).prod()))
    return replace(region, chains=chains, mask=mask, rim=None)


def flag_neighbours(regions: list[Region], mm_per_px: float) -> list[Region]:
    """Return the regions, those flagged that all but touch another; `mm_per_px` is the size of a pixel."""
    return [
        _with_finding(region, near) if (near := _nearest_gap_mm(i, regions, mm_per_px)) is not None else region
        for i, region in enumerate(regions)
    ]


def _nearest_gap_mm(index: int, regions: list[Region], mm_per_px: float) -> float | None:
    """Gap to the nearest other item where it is under `_CLOSE_MM`, else None."""
    import shapely

    own = regions[index]
    limit = _CLOSE_MM / mm_per_px
    x0, y0, x1, y1 = own.box_px
    near = [
        other
        for i, other in enumerate(regions)
        if i != index
        and other.box_px[0] <= x1 + limit
        and other.box_px[2] >= x0 - limit
        and other.box_px[1] <= y1 + limit
        and other.box_px[3] >= y0 - limit
    ]
    if not near:
        return None
    outline = shapely.linearrings(own.chains[0])
    gap = min(float(shapely.distance(outline, shapely.linearrings(other.chains[0]))) for other in near)
    return gap * mm_per_px if gap < limit else None


def flag_print_in_holes(regions: Sequence[Region]) -> list[Region]:
    """Return the regions, those flagged in whose holes others lie: a pale label with print on it looks like that.

    By its light a label as pale as the ground is no other thing than a hole; but what lies in true holes of blanks is
    seldom another blank. Nothing is left out: small things may well lie within a frame.
    """
    return [_with_print(region, _in_holes_of(region, regions)) for region in regions]


def _in_holes_of(region: Region, regions: Sequence[Region]) -> list[Region]:
    """The regions that lie in a hole of one."""
    holes = [hole.astype(np.float32) for hole in region.chains[1:]]
    return [other for other in regions if other is not region and any(_holds(hole, other) for hole in holes)]


def _holds(hole: Float32Array, other: Region) -> bool:
    """Whether a closed chain runs round another region; borders do not cross, so that one pixel tells."""
    x, y = (float(v) for v in other.chains[0][0])
    return bool(cv().pointPolygonTest(hole[:, None, :], (x, y), False) > 0)


def _with_print(region: Region, within: Sequence[Region]) -> Region:
    if not within:
        return region
    x0, y0, x1, y1 = max(
        within, key=lambda one: (one.box_px[2] - one.box_px[0]) * (one.box_px[3] - one.box_px[1])
    ).box_px
    finding = finding_of(
        "things-in-hole",
        value=float(len(within)),
        place_px=(0.5 * (x0 + x1), 0.5 * (y0 + y1)),
        case="one" if len(within) == 1 else None,
    )
    return replace(region, findings=(*region.findings, finding))


def _with_finding(region: Region, gap_mm: float) -> Region:
    finding = finding_of("items-close", value=max(gap_mm, 0.0), limit=_CLOSE_MM)
    return replace(region, findings=(*region.findings, finding))
