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
from .numbered import AREA, numbered

Line = tuple[float, float, float, float]  # x0, y0, x1, y1
_WHYS: tuple[Why, ...] = get_args(Why)
_BESIDE_PX = 2  # of the reduced picture: an item's blurred edge reaches so far
_LARGE = 5.0  # dusts: a patch as wide, away from the picture's border, may have been meant
_AT_BORDER_PX = 16  # of a box: the reduced picture's pixels are up to so large
_RIM_PART = 0.7  # of the picture's side: rims run along more of it
_DEEP_DUSTS = 5.0  # dusts: as long as an item at least
_LARGE_PART = 0.1  # of the smallest item's area
# A thing that lies in a rim: what is left of it so much nearer to its middle than its edge is as long as it is wide.
_CORE, _COMPACT, _LEAST_BUMP_PX = 0.7, 3.0, 5.0
_CRISP, _EDGE_PX = 0.6, 7  # part of its edge that is a step within so many px: shade has none
_TOUCHES = 2  # px of the reduced picture from its border: what comes as near runs along it
_EVEN = 0.8  # of what a patch departs by: shade falls off, that of real scans by 1.2 of it and more
_FLAT, _JOINED = 0.3, 0.25  # of it; part of its edge that joins an item: then it is a part of that
_CLEAR = 0.5  # of what the item beside it departs by
# A circle of so many dusts finds room in a patch, so long is its edge, and so much of it is left where it is opened by
# as many px: of shade of real scans 0.6 at the most, as its border is the noise's.
_CRISP_DUSTS, _LEAST_EDGE_PX, _WHOLE = 2.0, 12, 0.9
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
    is_scan: bool,
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
    is_scan
        In photos shade may have a crisp edge: a lamp's, the sun's.
    """
    covered, holes = covered_by(items, departure.shape, reduced.factor)
    rest = (departure >= 1.0) & ~apart & ~covered & ~(holes & (reasons.codes == 0))
    reach = cv().distanceTransform(np.pad(rest.astype(np.uint8), 1), cv().DIST_L2, 3)[1:-1, 1:-1]
    wide = reach >= 0.5 * (dust_mm / pixel_mm + 1.0)
    if not wide.any():
        return ()
    labels, stats = numbered(rest, 8)
    thick = np.unique(labels[wide])
    found = []
    for label in thick[thick > 0].tolist():
        x, y, w, h = (int(v) for v in stats[label][:4])
        at = slice(y, y + h), slice(x, x + w)
        own = labels[at] == label
        why = reasons.mostly(own, at)
        beside = why in ("soft", "pale") and _lies_beside(own, (x, y, w, h), covered)
        if why == "soft" and beside:
            why = "shade"  # what joins an item softly is its shade, or the glow round it
        if why == "pale" and not beside:
            why = "small"
        is_wide = float((reach[at] * own).max()) * pixel_mm >= 0.5 * _CRISP_DUSTS * dust_mm
        if why == "shade" and is_scan and is_wide and _is_crisp(own, at, departure, covered):
            why = "crisp"
        bump = bump_in(own, reach[at], departure[at]) if why == "rim" else None
        if bump is not None:
            found.append(_left_out(bump, (x, y), reach[at], reduced, pixel_mm, "cut"))
            own &= ~bump
        found.append(_left_out(own, (x, y), reach[at], reduced, pixel_mm, why))
    return tuple(sorted(found, key=lambda one: -one.area_mm2))


def _left_out(
    own: BoolArray, origin: tuple[int, int], reach: Float32Array, reduced: Reduced, pixel_mm: float, why: Why
) -> LeftOut:
    """A patch (h, w) that begins at `origin`; its place is where it is widest."""
    x, y = origin
    row, column = np.unravel_index(int((reach * own).argmax()), own.shape)
    place = reduced.to_full(np.array([x + column, y + row], dtype=np.float64))
    rows, columns = np.flatnonzero(own.any(axis=1)), np.flatnonzero(own.any(axis=0))
    ends = x + columns[0], y + rows[0], x + columns[-1] + 1, y + rows[-1] + 1
    left, top, right, bottom = (reduced.factor * int(v) for v in ends)
    area_mm2 = float(np.count_nonzero(own)) * pixel_mm**2
    along = along_border(own, origin, reduced) if why == "rim" else ()
    return LeftOut((left, top, right, bottom), (float(place[0]), float(place[1])), area_mm2, why, along_px=along)


def along_border(own: BoolArray, origin: tuple[int, int], reduced: Reduced) -> tuple[Line, ...]:
    """Return the middle of a strip that begins at `origin`, for each side of the picture it runs along: x0, y0, x1, y1.

    In px of the picture; of a side of which it has no more than a corner there is none.
    """
    (x, y), (high, wide), factor = origin, reduced.light.shape[:2], reduced.factor
    right, bottom = x + own.shape[1], y + own.shape[0]
    found: list[Line] = []
    if x < _TOUCHES and (side := _side(own)) is not None:
        found.append((side[2], y + side[0], side[2], y + side[1]))
    if right > wide - _TOUCHES and (side := _side(own[:, ::-1])) is not None:
        found.append((right - side[2], y + side[0], right - side[2], y + side[1]))
    if y < _TOUCHES and (side := _side(own.T)) is not None:
        found.append((x + side[0], side[2], x + side[1], side[2]))
    if bottom > high - _TOUCHES and (side := _side(own[::-1].T)) is not None:
        found.append((x + side[0], bottom - side[2], x + side[1], bottom - side[2]))
    return tuple((factor * x0, factor * y0, factor * x1, factor * y1) for x0, y0, x1, y1 in found)


def _side(own: BoolArray) -> tuple[float, float, float] | None:
    """From where to where a strip runs along its first column, and half of how deep it is there, as a rule."""
    rows = np.flatnonzero(own[:, :_TOUCHES].any(axis=1))
    if not len(rows):
        return None
    inward = np.maximum.accumulate(~own[rows, _TOUCHES - 1 :], axis=1)
    depth = _TOUCHES - 1 + float(np.median(np.count_nonzero(~inward, axis=1)))
    first, last = float(rows[0]), float(rows[-1] + 1)
    return (first, last, 0.5 * depth) if last - first > 2.0 * depth else None


def bump_in(own: BoolArray, reach: Float32Array, departure: Float32Array) -> BoolArray | None:
    """Return where a strip along the picture's border is far wider than elsewhere, with a crisp edge: a thing there.

    Parameters
    ----------
    own, reach, departure
        (h, w) the strip, how far its pixels lie from its edge, px, and how far they depart from the background.
    """
    widths = reach * own
    widest = float(widths.max())
    core = (widths >= _CORE * widest).astype(np.uint8)
    row, column = np.unravel_index(int(widths.argmax()), own.shape)
    _, labels, stats, _ = cv().connectedComponentsWithStats(core, connectivity=8)
    _, _, wide, high, _ = (int(v) for v in stats[labels[row, column]])
    if widest < _LEAST_BUMP_PX or max(wide, high) > _COMPACT * widest:
        return None
    size = 2 * round(widest) + 1
    disc = cv().getStructuringElement(cv().MORPH_ELLIPSE, (size, size))
    bump = own & (cv().dilate((labels == labels[row, column]).astype(np.uint8), disc) > 0)
    rest = own & ~bump
    if not rest.any() or float(widths[rest].max()) > _CORE * widest:
        return None
    edge = bump & ~(cv().erode(np.pad(own.astype(np.uint8), 1), np.ones((3, 3), np.uint8))[1:-1, 1:-1] > 0)
    window = np.ones((_EDGE_PX, _EDGE_PX), np.uint8)
    steps = cv().dilate(departure, window) - cv().erode(departure, window)
    crisp = steps[edge] > 0.5 * float(np.median(departure[bump]))
    return bump if crisp.mean() > _CRISP else None


def even_parts(
    gone: BoolArray, kept: BoolArray, departure: Float32Array, *, pixel_mm: float, dust_mm: float
) -> BoolArray:
    """Return of what was let go as shade the patches that are parts of items: flat, with a crisp edge, and joined long.

    Parameters
    ----------
    gone, kept
        (h, w) what was let go, and the items that are left.
    departure
        (h, w) distance from the background.
    pixel_mm, dust_mm
        Size of these pixels, and what counts as dust.
    """
    back = np.zeros_like(gone)
    # behind its blurred edge a patch is as the rest of it
    core = cv().morphologyEx(gone.astype(np.uint8), cv().MORPH_OPEN, np.ones((_EDGE_PX, _EDGE_PX), np.uint8)) > 0
    # of a patch that was let go the crisp edge is left, as a line
    solid = cv().morphologyEx(kept.astype(np.uint8), cv().MORPH_OPEN, np.ones((5, 5), np.uint8)) > 0
    labels, stats = numbered(core, 4)
    for label in np.flatnonzero(stats[:, AREA] * pixel_mm**2 > (_CRISP_DUSTS * dust_mm) ** 2).tolist():
        if label == 0:
            continue
        x, y, w, h = (int(v) for v in stats[label][:4])
        at = slice(max(0, y - _EDGE_PX), y + h + _EDGE_PX), slice(max(0, x - _EDGE_PX), x + w + _EDGE_PX)
        own = labels[at] == label
        ring = (cv().dilate(own.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~own
        joined = ring & solid[at]
        if np.count_nonzero(joined) < _JOINED * np.count_nonzero(ring):
            continue
        # one much paler than the rest has an edge that cannot be followed with it
        clear = np.median(departure[at][own]) > _CLEAR * np.median(departure[at][joined])
        if clear and _is_crisp(own, at, departure, solid, even=_FLAT):
            back[at] |= own | (ring & gone[at])
    return back


def _is_crisp(
    own: BoolArray, at: tuple[slice, slice], departure: Float32Array, covered: BoolArray, *, even: float = _EVEN
) -> bool:
    """Whether a patch is as high all over and most of its edge, where it joins no item, a step: no shade is so."""
    window = np.ones((_EDGE_PX, _EDGE_PX), np.uint8)
    opened = cv().morphologyEx(own.astype(np.uint8), cv().MORPH_OPEN, window)
    if np.count_nonzero(opened) < _WHOLE * np.count_nonzero(own):
        return False
    inner = cv().erode(np.pad(own.astype(np.uint8), 1), np.ones((3, 3), np.uint8))[1:-1, 1:-1] > 0
    beside = cv().dilate(covered[at].astype(np.uint8), window) > 0
    edge = own & ~inner & ~beside
    if np.count_nonzero(edge) < _LEAST_EDGE_PX:
        return False
    y, x = at
    wide = slice(max(0, y.start - _EDGE_PX), y.stop + _EDGE_PX), slice(max(0, x.start - _EDGE_PX), x.stop + _EDGE_PX)
    steps = cv().dilate(departure[wide], window) - cv().erode(departure[wide], window)
    steps = steps[y.start - wide[0].start :, x.start - wide[1].start :][: own.shape[0], : own.shape[1]]
    low, middle, high = np.quantile(departure[at][own], (0.1, 0.5, 0.9)).tolist()
    return high - low < even * middle and float((steps[edge] > 0.5 * middle).mean()) > _CRISP


def crisp_said(left_out: Sequence[LeftOut]) -> tuple[Finding, ...]:
    """Say of patches that were let go as shade and have a crisp edge: parts of an item, perhaps."""
    found = [one for one in left_out if one.why == "crisp"]
    if not found:
        return ()
    largest = max(found, key=lambda one: one.area_mm2)
    x, y = largest.place_px
    return (finding_of("left-out-crisp", value=largest.area_mm2, limit=0.0, place_px=(x, y), x=x, y=y),)


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
