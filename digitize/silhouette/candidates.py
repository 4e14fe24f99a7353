"""What may be an item: of the nested patches that ever higher cuts leave, the outermost with a step nearly all round.

How far a picture departs from its lid is cut at a level, and what stands out there falls into patches; at the next
level each of them shrinks, falls apart or vanishes. A patch whose border is a step, as sharp as the picture has them,
hardly changes from one level to the next; the rim of shade, of an uneven lid or of a stain moves far.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..records import BoolArray, Float32Array
from .numbered import AREA, numbered
from .pieces import ITEM_AREA, size_of

Box = tuple[int, int, int, int]  # x, y, w, h in reduced px
Window = tuple[slice, slice]
Reason = Literal["rim", "soft", "stain"]

# Departures are in units of the least that counts. Limits from real scans of leaves on dirty, uneven lids and from
# renders: true items have 0.97 to 1.00 of their border steps at the right level, 0.0 to 0.7 where shade joins them.
_RATIO = 1.5  # of a level to the one before
_LEVELS = 15
_SHARP = 0.9  # part of the border that is a step: an item
_FEW_STEPS = 0.5
_LEAST_SHARP = 0.6  # where nothing within is sharper
_STEP = 0.35  # of the patch's typical departure within `_NEAR` px across the border: a step
_NEAR, _WIDE = 7, 11  # px, windows across the border
_STEEP = 0.7  # of what the wide window shows must be seen in the near one: a slope has less
_COVERED = 0.6  # of a patch by better ones within it: they take its place
_RIM_DEPTH = 0.2  # of the length along which a patch lies at the border: what is shallower on the mean is a rim
_RIM_LENGTH = 0.3  # of the picture's shorter side
_FRAME = 0.5  # of it, along each side of the picture: a frame
_SAMPLES = 20_000  # of a patch, for its typical departure
_FAINT = 6.0  # typical departure: above it a patch is no stain
_EVEN = 0.78  # lower quartile over upper quartile just inside a faint item's border; stains have 0.3 to 0.76
_CLEAR = 0.4  # of a faint patch's departure is a step at its border
_NEST = 10.0  # least areas of an item: a smaller stain holds none
_LEAST_PLACE = 6  # px
_PALE = 0.6  # of the departure round it: less is a hole, through which the lid is seen
_WHOLE_STEP, _NOT_ALL = 0.6, 0.25  # of a typical departure is crossed at a thing's border, all but a quarter of it
_HUED = 2.2  # typical departure of what has a hue in a stain; strips of rims and lids have up to 2.0
_LARGER, _NOT_HELD = 1.02, 0.1  # of what the cuts found: what stands out of shade holds nearly all of it, and more
_SOLID = 0.75  # of a faint item that is at least 5 px wide


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A patch that a cut leaves."""

    box: Box
    mask: BoolArray  # (h, w) within the box
    sharp: float  # part of the border, where it is not the field's, that is a step
    is_rim: bool  # a strip along the field's border
    typical: float  # median departure
    is_stain: bool
    inner: tuple[Candidate, ...]  # patches that the next cut leaves of it

    @property
    def area(self) -> int:
        """Pixels."""
        return int(np.count_nonzero(self.mask))


@dataclass(frozen=True, slots=True)
class Dropped:
    """A patch, or the rest of one, that is no item."""

    box: Box
    mask: BoolArray
    reason: Reason


@dataclass(frozen=True, slots=True)
class Settled:
    """What is left to be item, and what is not."""

    differs: BoolArray  # (h, w)
    dropped: tuple[Dropped, ...]


def settle(
    departure: Float32Array,
    field: BoolArray,
    *,
    pixel_mm: float,
    dust_mm: float,
    border_is_rim: bool,
    from_shade: Callable[[Window], Float32Array] | None = None,
) -> Settled:
    """Keep of what departs from the lid the patches with a step nearly all round; smaller ones than items stay.

    Parameters
    ----------
    departure
        (h, w) distance from the lid in units of the least that counts; 0 where no item is looked for.
    field
        (h, w) where items may lie.
    pixel_mm
        Size of these pixels.
    dust_mm
        What counts as dust.
    border_is_rim
        Whether what lies along the field's border for the most part is its rim, not an item cut off.
    from_shade
        Gives the same distance, for a window, from the lid in whatever shade: asked where a patch ends in no step.
    """
    look = _Look(departure, _inner(field), pixel_mm, dust_mm, bool(field.all()))
    differs = departure >= 1.0
    kept = differs.copy()
    dropped: list[Dropped] = []
    for outer in _patches(differs, (0, 0), look):
        tree = _grown(outer, 0, look, _Ranges.around(outer[0], departure))
        items, left = _chosen(tree, border_is_rim)
        if any(item is tree for item in items):
            continue
        if from_shade is not None and not tree.is_rim:
            items = _out_of_shade(tree, items, look, from_shade, border_is_rim) or items
        x, y, w, h = tree.box
        window = kept[y : y + h, x : x + w]
        window &= ~tree.mask
        for item in items:
            x, y, w, h = item.box
            kept[y : y + h, x : x + w] |= item.mask | _own_pale_places(item, departure[y : y + h, x : x + w])
        dropped += [Dropped(one.box, one.mask, reason) for one, reason in left]
    return Settled(kept, tuple(dropped))


def _out_of_shade(
    tree: Candidate,
    items: list[Candidate],
    look: _Look,
    from_shade: Callable[[Window], Float32Array],
    border_is_rim: bool,
) -> list[Candidate]:
    """Patches that end in a step all round toward the lid in whatever shade, and hold what the cuts found and more."""
    # as in `_grown`: a stain of the size of items has none within it
    least = _NEST * ITEM_AREA * (look.dust_mm / look.pixel_mm) ** 2 if tree.is_stain else 0.0
    clear = _HUED if tree.is_stain else 1.0
    if tree.area <= least:
        return []
    x, y, w, h = tree.box
    near = slice(max(0, y - _WIDE), y + h + _WIDE), slice(max(0, x - _WIDE), x + w + _WIDE)
    departure = np.zeros(look.departure.shape, np.float32)  # of which only what is written to is held
    departure[near] = np.where(look.departure[near] > 0.0, from_shade(near), np.float32(0.0))
    look = replace(look, departure=departure)
    found: list[Candidate] = []
    for patch in _patches(tree.mask & (departure[y : y + h, x : x + w] >= 1.0), (x, y), look):
        nested = _grown(patch, 0, look, _Ranges.around(patch[0], departure))
        chosen, _ = _chosen(nested, border_is_rim)
        found += [one for one in chosen if one.sharp >= _SHARP and one.area > least and one.typical > clear]
    held, seen = np.zeros_like(tree.mask), np.zeros_like(tree.mask)
    for mask, those in ((held, found), (seen, items)):
        for item in those:
            left, top = item.box[0] - x, item.box[1] - y
            mask[top : top + item.box[3], left : left + item.box[2]] |= item.mask
    larger = np.count_nonzero(held) > _LARGER * np.count_nonzero(seen)
    return found if larger and np.count_nonzero(seen & ~held) <= _NOT_HELD * np.count_nonzero(seen) else []


def patch_about(departure: Float32Array, own: BoolArray, at: tuple[int, int]) -> BoolArray:
    """Return of the nested patches about a place the outermost that ends in one step; of none, what was given.

    Parameters
    ----------
    departure
        As for `settle`.
    own
        (h, w) a connected patch.
    at
        Row and column of a place in it.

    Returns
    -------
    (h, w) bool array
        Whatever its size.
    """
    x, y, w, h = cv().boundingRect(own.astype(np.uint8))
    window = slice(y, y + h), slice(x, x + w)
    within, steps = departure[window], _Ranges.around((x, y, w, h), departure)
    left, top = x - steps.origin[0], y - steps.origin[1]
    near, mask = steps.near[top : top + h, left : left + w], own[window]
    found = np.zeros_like(own)
    for level in range(_LEVELS):
        mask = mask & (within >= _RATIO**level)
        _, labels = cv().connectedComponents(mask.astype(np.uint8), connectivity=8)
        mask = (labels == labels[at[0] - y, at[1] - x]) & mask
        if np.count_nonzero(mask) < _LEAST_PLACE:
            return own
        inner = cv().erode(np.pad(mask.astype(np.uint8), 1), np.ones((3, 3), np.uint8))[1:-1, 1:-1] > 0
        if np.quantile(near[mask & ~inner], _NOT_ALL) >= _WHOLE_STEP * np.median(within[mask]):
            found[window] = mask
            return found
    return own


def _own_pale_places(item: Candidate, departure: Float32Array) -> BoolArray:
    """What a high cut left out amid an item without a step at its border: a pale place of it, no hole; (h, w)."""
    found = np.zeros_like(item.mask)
    if item.typical < _FAINT:
        return found  # what is hardly there is no whole thing with pale places, but shreds
    labels, stats = numbered(~item.mask, 4)
    for label in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[label])
        if area < _LEAST_PLACE or x == 0 or y == 0 or x + w == labels.shape[1] or y + h == labels.shape[0]:
            continue
        at = slice(max(0, y - _NEAR), y + h + _NEAR), slice(max(0, x - _NEAR), x + w + _NEAR)
        within = labels[at] == label
        beside = cv().dilate(within.astype(np.uint8), np.ones((_NEAR, _NEAR), np.uint8)) > 0
        beside &= item.mask[at]
        around, inside = np.median(departure[at][beside]), np.median(departure[at][within])
        found[at] |= within & (departure[at] >= 1.0) & bool(inside > _PALE * around)
    return found


@dataclass(frozen=True, slots=True)
class _Look:
    """What all patches of a picture are looked at with."""

    departure: Float32Array
    inner: BoolArray  # (h, w) clear of the field's border
    pixel_mm: float
    dust_mm: float
    is_upright: bool  # the field is all of the picture


@dataclass(frozen=True, slots=True)
class _Ranges:
    """Largest less smallest departure in windows round the pixels of a box, for all patches nested in it."""

    near: Float32Array
    wide: Float32Array
    origin: tuple[int, int]

    @classmethod
    def around(cls, box: Box, departure: Float32Array) -> _Ranges:
        """Compute them a window's width beyond the box."""
        x, y, w, h = box
        margin = _WIDE // 2
        left, top = min(x, margin), min(y, margin)
        part = departure[y - top : y + h + margin, x - left : x + w + margin]
        return cls(_range(part, _NEAR), _range(part, _WIDE), (x - left, y - top))


def _inner(field: BoolArray) -> BoolArray:
    padded = np.pad(field.astype(np.uint8), 1)
    return np.asarray(cv().erode(padded, np.ones((5, 5), np.uint8))[1:-1, 1:-1] > 0)


def _patches(differs: BoolArray, origin: tuple[int, int], look: _Look) -> list[tuple[Box, BoolArray]]:
    """Connected patches that are large enough for items: box in the picture, mask in the box."""
    labels, stats = numbered(differs, 8)
    found = []
    large = stats[:, AREA] * look.pixel_mm**2 >= ITEM_AREA * look.dust_mm**2  # of thousands a few are
    for label in np.flatnonzero(large[1:]) + 1:
        x, y, w, h, area = (int(v) for v in stats[label])
        if size_of((x, y, w, h), area, look.pixel_mm, look.dust_mm) == "item":
            found.append(((x + origin[0], y + origin[1], w, h), labels[y : y + h, x : x + w] == label))
    return found


def _grown(patch: tuple[Box, BoolArray], level: int, look: _Look, ranges: _Ranges) -> Candidate:
    """The patch and, where its border is not sharp, all that is nested in it."""
    box, mask = patch
    x, y, w, h = box
    departure = look.departure[y : y + h, x : x + w]
    within = departure[mask]
    typical = float(np.median(within[:: max(1, len(within) // _SAMPLES)]))
    sharp, is_rim = _border(box, mask, typical, look, ranges)
    inner: tuple[Candidate, ...] = ()
    stain = typical < _FAINT and not is_rim and _is_stain(box, mask, look)
    # a stain of the size of items has no item within it, but tape may have, or print on the lid
    nests = len(within) * look.pixel_mm**2 > _NEST * ITEM_AREA * look.dust_mm**2
    if (sharp < _SHARP or is_rim or (stain and nests)) and level < _LEVELS:
        # steps come in slowly: where few are seen the next cut will not do
        higher = level + (2 if sharp < _FEW_STEPS and not (is_rim or stain) else 1)
        rest = mask & (departure >= _RATIO**higher)
        inner = tuple(_grown(one, higher, look, ranges) for one in _patches(rest, (x, y), look))
    return Candidate(box, mask, sharp, is_rim, typical, stain, inner)


def _border(box: Box, mask: BoolArray, typical: float, look: _Look, ranges: _Ranges) -> tuple[float, bool]:
    """The part of a patch's outer border, where it is not the field's, that is a step; whether it is a rim."""
    x, y = box[:2]
    contours, _ = cv().findContours(mask.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    line = max(contours, key=len)[:, 0, :]
    free = look.inner[line[:, 1] + y, line[:, 0] + x]
    if not free.any():
        return 0.0, True
    at = line[free][:, 1] + (y - ranges.origin[1]), line[free][:, 0] + (x - ranges.origin[0])
    near = ranges.near[at]
    steps = (near > _STEP * typical) | (near >= np.maximum(1.0, _STEEP * ranges.wide[at]))
    return float(steps.mean()), _is_rim(line, ~free, mask, look)


def _is_rim(line: npt.NDArray[np.int32], at_border: BoolArray, mask: BoolArray, look: _Look) -> bool:
    """Whether a patch, some of whose border (N, 2) is the field's, is a strip along it or a frame all round."""
    h, w = mask.shape
    x, y = line[at_border].T
    near = 2
    sides = [int(np.count_nonzero(side)) for side in (x <= near, y <= near, x >= w - 1 - near, y >= h - 1 - near)]
    if min(sides) > _FRAME * min(look.departure.shape):
        return True
    # the border of a turned page runs aslant through the box
    longest = max(sides) if look.is_upright else max(*sides, int(np.count_nonzero(at_border)))
    shallow = np.count_nonzero(mask) < _RIM_DEPTH * longest**2
    return bool(shallow and longest > _RIM_LENGTH * min(look.departure.shape))


def _range(values: Float32Array, size: int) -> Float32Array:
    """Largest less smallest value in a window round each pixel."""
    window = np.ones((size, size), np.uint8)
    return np.asarray(cv().dilate(values, window) - cv().erode(values, window), dtype=np.float32)


def _chosen(tree: Candidate, border_is_rim: bool) -> tuple[list[Candidate], list[tuple[Candidate, Reason]]]:
    """The items among nested patches, and what of them is none: the outermost sharp ones win."""
    is_rim = border_is_rim and tree.is_rim
    may_be = not (is_rim or tree.is_stain)
    if tree.sharp >= _SHARP and may_be:
        return [tree], []
    items: list[Candidate] = []
    left: list[tuple[Candidate, Reason]] = []
    for one in tree.inner:
        more, rest = _chosen(one, border_is_rim)
        items += more
        left += rest
    covered = sum(item.area for item in items) > _COVERED * tree.area
    if tree.sharp >= _LEAST_SHARP and may_be and not (items and covered):
        return [tree], []
    return items, [*left, (tree, "rim" if is_rim else "stain" if tree.is_stain else "soft")]


def _is_stain(box: Box, mask: BoolArray, look: _Look) -> bool:
    """Whether a faint patch is made of shreds, is uneven along its border, or no clear step from what lies round it."""
    x, y, w, h = box
    margin = 5
    own = np.pad(mask.astype(np.uint8), margin)
    kernel = np.ones((3, 3), np.uint8)
    solid = np.count_nonzero(cv().morphologyEx(own, cv().MORPH_OPEN, np.ones((5, 5), np.uint8)))
    if solid < _SOLID * np.count_nonzero(mask):
        return True
    around = np.pad(look.departure, margin, mode="edge")[y : y + h + 2 * margin, x : x + w + 2 * margin]
    within = cv().erode(own, kernel)
    # print within a pale item is dark, but seldom reaches its border
    beside = around[(within > 0) & ~(cv().erode(within, kernel, iterations=4) > 0)]
    low, middle, high = np.percentile(beside, (25, 50, 75))
    outside = (cv().dilate(own, kernel, iterations=4) > 0) & ~(cv().dilate(own, kernel) > 0)
    step = middle - np.median(around[outside])
    return bool(low < _EVEN * high or step < max(1.0, _CLEAR * middle))
