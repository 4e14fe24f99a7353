"""What a hand asks for: what was left out taken for an item as it was seen, borders drawn where others were seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Finding, Float32Array, FloatArray, Picture, Why
from ..words.say import finding_of
from .background import Fitted
from .band import follow_borders
from .candidates import patch_about
from .decided import Ground, box_of, regions_of
from .left_out import Reasons, bump_in, covered_by
from .parts import Labels, Part, beside_sheet, cut_by_border
from .pieces import Box, size_of
from .regions import Border, Region
from .sheet import rim_of
from .ways import Ask

_LEAST_PX2 = 30.0  # of an item that was pointed at: a smaller one has too few points along its border
_NEAR_PX = 3  # reduced px from a place to the patch that is meant
_MEANT_PX = 1.5  # about a place
_SAME = 0.5  # of the smaller of two borders' areas in common: the one is drawn for the other
_WORDS: dict[Why, str] = {
    "rim": "a strip along the picture's border",
    "soft": "a patch with a soft edge",
    "stain": "a stain",
    "shade": "an item's shade",
    "small": "too small",
    "thin": "too thin",
    "cut": "cut by the picture's border",
    "many": "one of very many",
    "pale": "a pale strip beside an item",
    "crisp": "a pale patch beside an item",
}


@dataclass(frozen=True, slots=True)
class Sight:
    """What a look at the picture was decided from; maps (h, w) of the reduced picture."""

    background: Fitted
    field: BoolArray  # where items may lie
    departure: Float32Array  # from the background, in units of the least that counts
    differs: BoolArray  # what stands out, shade let go
    labels: Labels  # its connected parts
    apart: BoolArray  # the card, its sheet and what was taken for it
    reasons: Reasons


def with_asked(
    found: Sequence[Region],
    asked: Sequence[tuple[float, float] | Border],
    picture: Picture,
    reduced: Reduced,
    sight: Sight,
    ask: Ask,
) -> list[Region]:
    """Return regions with those that a hand asked for, one after another; what comes of none of them is not there.

    Parameters
    ----------
    found
        What was seen as items.
    asked
        Places px of what was left out, and borders; a border takes the place of what was seen there.
    picture, reduced, sight, ask
        What it is decided from.
    """
    regions = list(found)
    for number, one in enumerate(asked):
        if isinstance(one, Border):
            same = [region for region in regions if _is_same(region, one)]
            regions = [region for region in regions if not any(region is other for other in same)]
            regions.append(_drawn(one, same, number))
        elif not any(_holds(region, one) for region in regions):
            taken = _taken(one, regions, picture, reduced, sight, ask)
            regions += [] if taken is None else [replace(taken, asked=number)]
    return regions


def _holds(region: Region, place: tuple[float, float]) -> bool:
    """Whether a place lies on an item, not in its holes."""
    shell, *holes = (cv().pointPolygonTest(chain.astype(np.float32), place, False) >= 0 for chain in region.chains)
    return bool(shell and not any(holes))


def _taken(
    place: tuple[float, float], regions: list[Region], picture: Picture, reduced: Reduced, sight: Sight, ask: Ask
) -> Region | None:
    """What was left out at a place, its edge decided as any item's; None where there is nothing."""
    own = _patch(reduced.to_reduced(np.array(place)), regions, reduced, sight)
    if own is None:
        return None
    ys, xs = np.nonzero(own)
    x, y, right, bottom = int(xs.min()), int(ys.min()), int(xs.max()) + 1, int(ys.max()) + 1
    box, at = (x, y, right - x, bottom - y), (slice(y, bottom), slice(x, right))
    cut = cut_by_border(own[at], box, sight.field, reduced)
    beside = rim_of(sight.apart, 2) if sight.apart.any() else sight.apart
    why = sight.reasons.mostly(own[at], at)
    pixel_mm = ask.mm_per_px * reduced.factor
    if why == "pale" and size_of(box, len(ys), pixel_mm, ask.dust_mm) != "item":
        why = "small"
    findings = (
        *cut,
        *beside_sheet(own[at], box, beside, pixel_mm, reduced),
        finding_of("by-hand-item", place_px=place, attention=False, why=_WORDS[why]),
    )
    part = Part(1, box, len(ys), bool(cut), findings)
    clear = sight.field & ~(sight.differs | own)
    labels = own.astype(np.uint8)
    ground = Ground(picture, reduced, sight.background, labels, clear)
    ((_, decided),) = regions_of(ground, [part], ask, least_px2=_LEAST_PX2)
    decided = decided or _as_it_is(own[at], box, findings, reduced.factor)
    return next((one for one in decided if _holds(one, place)), max(decided, key=_area, default=None))


def _patch(place: FloatArray, regions: list[Region], reduced: Reduced, sight: Sight) -> BoolArray | None:
    """The patch (h, w) at or nearest to a place (reduced px): a part that stands out, else all that differs."""
    covered, _ = covered_by(regions, sight.departure.shape, reduced.factor)
    free = (sight.departure >= 1.0) & ~sight.apart & ~covered
    x, y = (int(v) for v in np.rint(place))
    left, top = max(0, x - _NEAR_PX), max(0, y - _NEAR_PX)
    ys, xs = np.nonzero(free[top : y + _NEAR_PX + 1, left : x + _NEAR_PX + 1])
    if not len(ys):
        return None
    far = np.hypot(xs + left - x, ys + top - y)
    near = np.flatnonzero(far <= max(float(far.min()), _MEANT_PX))
    nearest = int(near[sight.departure[ys[near] + top, xs[near] + left].argmax()])  # a pale pixel of it is not meant
    row, column = int(ys[nearest]) + top, int(xs[nearest]) + left
    part = int(sight.labels[row, column])
    like = free & (sight.labels == part) if part else free
    _, labels = cv().connectedComponents(like.astype(np.uint8), connectivity=8)
    own = _off_rim(np.asarray(labels == labels[row, column]), (row, column), sight)
    return patch_about(sight.departure, own, (row, column))


def _off_rim(own: BoolArray, place: tuple[int, int], sight: Sight) -> BoolArray:
    """A patch (h, w); of a thing in a strip along the border, where the place lies on that, the thing alone."""
    x, y, w, h = cv().boundingRect(own.astype(np.uint8))
    at = slice(y, y + h), slice(x, x + w)
    if sight.reasons.mostly(own[at], at) != "rim":
        return own
    reach = cv().distanceTransform(np.pad(own[at].astype(np.uint8), 1), cv().DIST_L2, 3)[1:-1, 1:-1]
    bump, alone = bump_in(own[at], reach, sight.departure[at]), np.zeros_like(own)
    if bump is None or not bump[place[0] - y, place[1] - x]:
        return own
    alone[at] = bump
    return alone


def _as_it_is(own: BoolArray, box: Box, findings: tuple[Finding, ...], factor: int) -> list[Region]:
    """A patch that is nowhere nearer to its own light than to the background's, by its coarse pixels."""
    mask = np.pad(own.astype(np.uint8).repeat(factor, 0).repeat(factor, 1), factor)
    origin = (box[0] - 1) * factor, (box[1] - 1) * factor
    found = follow_borders(mask, origin, dust_px=np.inf, least_px2=_LEAST_PX2)
    return [Region(chains, mask, origin, box_of(chains[0]), findings) for chains in found]


def _area(region: Region) -> float:
    return float(cv().contourArea(region.chains[0].astype(np.float32)))


def _is_same(region: Region, border: Border) -> bool:
    """Whether a border was drawn for what was seen as a region: most of the smaller of both lies in the other."""
    import shapely

    seen, drawn = (
        shapely.make_valid(shapely.Polygon(rings[0], rings[1:])) for rings in (region.chains, (border.ring_px,))
    )
    return bool(seen.intersection(drawn).area > _SAME * min(seen.area, drawn.area))


def _drawn(border: Border, same: Sequence[Region], number: int) -> Region:
    """A region within a border, with the holes in it of those whose place it takes."""
    low = np.floor(border.ring_px.min(axis=0)).astype(int) - 2
    wide, high = (np.ceil(border.ring_px.max(axis=0)).astype(int) + 3 - low).tolist()
    origin = int(low[0]), int(low[1])
    mask = np.zeros((high, wide), np.uint8)
    cv().fillPoly(mask, [np.rint(border.ring_px - origin).astype(np.int32)], 1)
    clear = cv().erode(mask, np.ones((7, 7), np.uint8))
    for hole in (chain for region in same for chain in region.chains[1:]):
        own = np.zeros_like(mask)
        cv().fillPoly(own, [(hole - origin).astype(np.int32)], 1)
        if own.any() and not (own & ~clear & 1).any():
            mask &= ~own & 1
    found = follow_borders(mask, origin, dust_px=0.0, least_px2=0.0)
    chains = max(found, key=lambda one: float(np.ptp(one[0], axis=0).prod()))
    return Region(chains, mask, origin, box_of(chains[0]), asked=number, drawn=border)
