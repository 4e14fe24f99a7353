"""What differs from the background and is neither item nor card: each patch larger than dust, and why it was left out.

Nothing is dropped in silence: the stages paint into one map why they let something go; what no stage speaks of and
what no item covers is found here all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol, get_args

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, ByteArray, Finding, Float32Array, LeftOut, Why
from ..words.say import finding_of

_WHYS: tuple[Why, ...] = get_args(Why)
_BESIDE_PX = 2  # of the reduced picture: an item's blurred edge reaches so far
_LARGE = 5.0  # dusts: a patch as wide, away from the picture's border, may have been meant
_AT_BORDER_PX = 16  # of a box: the reduced picture's pixels are up to so large
_RIM_PART = 0.7  # of the picture's side: rims run along more of it
_DEEP_DUSTS = 5.0  # dusts: as long as an item at least
_LARGE_PART = 0.1  # of the smallest item's area
_WORDS: dict[Why, tuple[str, str]] = {
    "rim": ("strip along the picture's border", "strips along the picture's border"),
    "soft": ("patch with a soft edge (shade, uneven lid)", "patches with soft edges (shade, uneven lid)"),
    "stain": ("stain", "stains"),
    "thin": ("thin strip (hair, tape, scratch)", "thin strips (hair, tape, scratches)"),
    "cut": ("thing cut by the picture's border", "things cut by the picture's border"),
}


class Placed(Protocol):
    """An item's chains of border pixels, exterior first."""

    @property
    def chains(self) -> tuple[npt.NDArray[np.int64], ...]:
        """(N, 2) px each."""


class Reasons:
    """A map (h, w) of why something is no item; what is painted later counts."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.codes: ByteArray = np.zeros(shape[:2], np.uint8)

    def mostly(self, own: BoolArray, at: tuple[slice, slice]) -> Why:
        """Return the reason given for most of a patch of the part `at`; what none is given for is a pale one."""
        counts = np.bincount(self.codes[at][own], minlength=1 + len(_WHYS))
        given = int(counts[1:].argmax())
        return _WHYS[given] if counts[1 + given] else "pale"

    def paint(self, where: BoolArray, why: Why, at: tuple[slice, slice] | None = None) -> None:
        """Say of the pixels `where` (of the part `at`) why they are none."""
        part = self.codes if at is None else self.codes[at]
        part[where] = 1 + _WHYS.index(why)


def account(
    departure: Float32Array,
    reasons: Reasons,
    items: Sequence[Placed],
    apart: BoolArray,
    reduced: Reduced,
    *,
    pixel_mm: float,
    dust_mm: float,
) -> tuple[LeftOut, ...]:
    """List every patch larger than dust that differs from the background and is no part of an item, largest first.

    Parameters
    ----------
    departure
        (h, w) distance from the background in units of the least that counts.
    reasons
        What the stages said.
    items
        The items.
    apart
        (h, w) the card, its sheet and what was taken for it.
    reduced
        For the scale of the result.
    pixel_mm
        Size of the reduced picture's pixels.
    dust_mm
        Patches in which no circle of this diameter finds room are dust.
    """
    covered, holes = covered_by(items, departure.shape, reduced.factor)
    rest = (departure >= 1.0) & ~apart & ~covered & ~(holes & (reasons.codes == 0))
    reach = cv().distanceTransform(np.pad(rest.astype(np.uint8), 1), cv().DIST_L2, 3)[1:-1, 1:-1]
    wide = reach >= 0.5 * (dust_mm / pixel_mm + 1.0)
    if not wide.any():
        return ()
    _, labels, stats, _ = cv().connectedComponentsWithStats(rest.astype(np.uint8), connectivity=8)
    thick = np.unique(labels[wide])
    found = []
    for label in thick[thick > 0].tolist():
        x, y, w, h, area = (int(v) for v in stats[label])
        at = slice(y, y + h), slice(x, x + w)
        own = labels[at] == label
        why = reasons.mostly(own, at)
        beside = why in ("soft", "pale") and _lies_beside(own, (x, y, w, h), covered)
        if why == "soft" and beside:
            why = "shade"  # what joins an item softly is its shade, or the glow round it
        if why == "pale" and not beside:
            why = "small"
        row, column = np.unravel_index(int((reach[at] * own).argmax()), own.shape)
        place = reduced.to_full(np.array([x + column, y + row], dtype=np.float64))
        left, top, right, bottom = (reduced.factor * v for v in (x, y, x + w, y + h))
        found.append(LeftOut((left, top, right, bottom), (float(place[0]), float(place[1])), area * pixel_mm**2, why))
    return tuple(sorted(found, key=lambda one: -one.area_mm2))


def _lies_beside(own: BoolArray, box: tuple[int, int, int, int], covered: BoolArray) -> bool:
    """Whether a patch touches what items cover."""
    x, y, w, h = box
    wide = cv().dilate(np.pad(own.astype(np.uint8), 1), np.ones((3, 3), np.uint8)) > 0
    near = np.pad(covered, 1)[y : y + h + 2, x : x + w + 2]
    return bool((wide & near).any())


def covered_by(items: Iterable[Placed], shape: tuple[int, ...], factor: int) -> tuple[BoolArray, BoolArray]:
    """Where items lie, with their blurred edges, and their holes; (h, w) of the reduced picture."""
    cover, hollow = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    # the larger first: an item may lie within another's hole
    for item in sorted(items, key=lambda one: -float(np.ptp(one.chains[0], axis=0).max())):
        shell, *holes = ((chain // factor).astype(np.int32)[:, None, :] for chain in item.chains)
        cv().drawContours(cover, [shell], -1, 1, cv().FILLED)
        if holes:
            cv().drawContours(cover, holes, -1, 0, cv().FILLED)
            cv().drawContours(hollow, holes, -1, 1, cv().FILLED)
    wide = cv().dilate(cover, np.ones((2 * _BESIDE_PX + 1, 2 * _BESIDE_PX + 1), np.uint8)) > 0
    return np.asarray(wide), np.asarray(hollow > 0)


def said_of(
    left_out: Sequence[LeftOut],
    item_areas_mm2: Sequence[float],
    dust_mm: float,
    *,
    size_px: tuple[int, int],
    mm_per_px: float,
) -> tuple[Finding, ...]:
    """One finding for all that was left out and is not said elsewhere: how many of which kind, the largest's place.

    Parameters
    ----------
    left_out
        From `account`.
    item_areas_mm2
        Of the items: what is large beside the smallest may have been meant as one.
    dust_mm
        What counts as dust.
    size_px
        Width and height of the picture.
    mm_per_px
        Size of its pixels.
    """
    mentioned = [one for one in left_out if one.why in _WORDS]
    if not mentioned:
        return ()
    kinds = []
    for why, words in _WORDS.items():
        count = sum(one.why == why for one in mentioned)
        if count:
            kinds.append(f"{'a' if count == 1 else count} {words[count > 1]}")
    largest = max(mentioned, key=lambda one: (one.why != "rim", one.area_mm2))
    place = largest.place_px
    least = max((_LARGE * dust_mm) ** 2, _LARGE_PART * min(item_areas_mm2, default=0.0))
    return (
        finding_of(
            "left-out",
            value=float(len(mentioned)),
            place_px=place,
            attention=any(
                one.area_mm2 >= least
                and (one.why in ("soft", "stain", "thin") or _may_be_cut(one, dust_mm, size_px, mm_per_px))
                for one in mentioned
            ),
            kinds=", ".join(kinds),
            inward=" of them inward" if largest.why != "rim" else "",
            x=place[0],
            y=place[1],
            area=largest.area_mm2,
        ),
    )


def _may_be_cut(one: LeftOut, dust_mm: float, size_px: tuple[int, int], mm_per_px: float) -> bool:
    """Whether what lies along the picture's border is short and deep, as a thing that runs out of it is, and no rim."""
    (x0, y0, x1, y1), (wide, high) = one.box_px, size_px
    across = (x1 - x0) / wide, (y1 - y0) * mm_per_px
    upward = (y1 - y0) / high, (x1 - x0) * mm_per_px
    touched = [across] * (y0 <= _AT_BORDER_PX) + [across] * (y1 >= high - _AT_BORDER_PX)
    touched += [upward] * (x0 <= _AT_BORDER_PX) + [upward] * (x1 >= wide - _AT_BORDER_PX)
    return len(touched) == 1 and touched[0][0] < _RIM_PART and touched[0][1] >= _DEEP_DUSTS * dust_mm
