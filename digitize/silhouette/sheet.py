"""The sheet that carries the reference: told from items, and looked at for what lies on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..opencv import cv
from ..reading.reduced import Light, Reduced
from ..records import BoolArray, Finding, Float32Array, FloatArray
from ..words.say import finding_of
from .background import ONE_COLOUR, Fitted
from .pieces import ITEM_LEAST, ITEM_THICKNESS, size_of, thickness

_LEAST_FILL = 0.93  # of its hull: less is no plain sheet
_OTHER_COLOUR = 0.08  # square root of linear light: no paper
_PAPER, _MOSTLY = 0.07, 0.6  # so near to its colour, square root of light, for so much of it: paper
_TOWARD_LID = 0.45  # of the way from the sheet's colour to the lid's: up to there it is sheet
_NEAR = 0.03, 0.16  # and, square root of light, so near in any case and no farther
_PRINT_DUSTS = 5.0  # what is printed beside a plain square is narrower
_LOOK_PX = 450  # longest side of the picture in which the sheet is followed; chosen, no source


@dataclass(frozen=True, slots=True)
class Squares:
    """The reference's squares in a reduced picture, and what is asked of them for every part."""

    mask: BoolArray  # (h, w)
    near: BoolArray  # (h, w) just around them
    box: tuple[int, int, int, int]  # about them all: left, top, width, height
    each_px2: float  # their mean area

    @classmethod
    def of(cls, mask: BoolArray) -> Squares:
        """Of a mask (h, w)."""
        x, y, w, h = cv().boundingRect(mask.view(np.uint8))
        count = int(cv().connectedComponents(mask[y : y + h, x : x + w].astype(np.uint8))[0]) - 1 if w else 0
        near = rim_of(mask, 3) if w else mask
        return cls(mask, near, (x, y, w, h), float(np.count_nonzero(mask)) / max(1, count))


def rim_of(squares: BoolArray, width: int = 6) -> BoolArray:
    """Pixels just around the squares."""
    found = np.zeros_like(squares)
    x, y, w, h = cv().boundingRect(squares.view(np.uint8))
    at = slice(max(0, y - width), y + h + width), slice(max(0, x - width), x + w + width)
    if w:
        grown = cv().dilate(squares[at].astype(np.uint8), np.ones((2 * width + 1, 2 * width + 1), np.uint8))
        found[at] = (grown > 0) & ~squares[at]
    return found


def colour_of(light: Light, where: BoolArray) -> Float32Array:
    """Give the median colour, linear light (C,), of a few of a picture's pixels."""
    rows, columns = np.divmod(np.flatnonzero(where), where.shape[1])
    return np.asarray(np.median(light[rows, columns], axis=0), dtype=np.float32)


def sheet_around(reduced: Reduced, squares: BoolArray, printed: BoolArray, lid: Float32Array) -> BoolArray | None:
    """The connected stretch of the colour that surrounds the reference, holes filled, rim taken off.

    `lid` (C,) is the colour, linear light, from which the sheet's must be told: half-way to it the sheet ends.
    """
    rim = rim_of(squares) & ~printed
    if not rim.any():
        return None
    step = max(1, round(max(squares.shape) / _LOOK_PX))
    coded = np.sqrt(np.clip(reduced.light[::step, ::step], 0, 1))
    paper = np.sqrt(colour_of(reduced.light, rim))
    apart = float(np.abs(paper - np.sqrt(np.clip(lid, 0, 1))).max())
    within = min(max(_TOWARD_LID * apart, _NEAR[0]), _NEAR[1])
    alike = ((np.abs(coded - paper) < within).all(axis=2) | printed[::step, ::step]).astype(np.uint8)
    _, labels = cv().connectedComponents(alike, connectivity=4)
    held = labels[squares[::step, ::step]]
    if not held.size:
        return None
    sheet = (labels == np.bincount(held).argmax()).astype(np.uint8)
    contours, _ = cv().findContours(sheet, cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    filled = np.zeros(sheet.shape, np.uint8)
    cv().drawContours(filled, [max(contours, key=cv().contourArea)], -1, 1, cv().FILLED)
    kernel = np.ones((5, 5), np.uint8)
    inner = cv().erode(filled, kernel, borderType=cv().BORDER_CONSTANT, borderValue=1)
    size = (squares.shape[1], squares.shape[0])
    return np.asarray(cv().resize(inner, size, interpolation=cv().INTER_NEAREST) > 0)


def paper_colour(reduced: Reduced, squares: BoolArray) -> Float32Array | None:
    """Give the colour around the reference squares, linear light (C,), or None without any."""
    if not squares.any():
        return None
    return colour_of(reduced.light, rim_of(squares))


def is_card(
    own: BoolArray,
    box: tuple[int, int, int, int],
    squares: Squares,
    reduced: Reduced,
    paper: Float32Array | None,
) -> str:
    """Tell "card" (encloses the reference), "paper" (a stretch of its sheet beside it), "touching" and "item"."""
    if paper is None:
        return "item"
    x, y, w, h = box
    if _encloses(own, squares.mask[y : y + h, x : x + w], squares):
        return "card"
    touching = bool((squares.near[y : y + h, x : x + w] & own).any())
    if touching or _beside(box, squares):
        light = reduced.light[y : y + h, x : x + w][own]
        if (np.abs(np.sqrt(np.clip(light, 0, 1)) - np.sqrt(paper)) < _PAPER).all(axis=1).mean() > _MOSTLY:
            return "paper"
    return "touching" if touching else "item"


def _encloses(own: BoolArray, within: BoolArray, squares: Squares) -> bool:
    """Whether a part encloses a reference square; `within` is what of them lies in its box."""
    if not within.any():
        return False
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    filled = np.zeros(own.shape, np.uint8)
    cv().drawContours(filled, contours, -1, 1, cv().FILLED)
    return bool((filled[within] > 0).mean() > 0.5 and np.count_nonzero(within) > 0.5 * squares.each_px2)


def _beside(box: tuple[int, int, int, int], squares: Squares) -> bool:
    """Whether a box lies within half a side of a reference square's box on all sides."""
    x, y, w, h = box
    left, top, wide, high = squares.box
    reach = 0.5 * math.sqrt(squares.each_px2)
    right, bottom = left + wide - 1 + reach, top + high - 1 + reach
    return bool(x > left - reach and y > top - reach and x + w < right and y + h < bottom)


def card_covered(
    own: BoolArray,
    origin: tuple[int, int],
    printed: BoolArray,
    reduced: Reduced,
    paper: Float32Array | None,
    dust_px: float,
) -> list[Finding]:
    """A finding when something lies on a sheet that stands out from what is behind it.

    That is seen where the sheet is not the plain convex piece that a card is, or where it holds what is no paper:
    whatever reaches over its edge, and within it what is too broad for print. `paper` is None where the sheet's
    colour is not to be relied on.
    """
    if not _stands_out(own, origin, reduced):
        return []
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    outline = max(contours, key=cv().contourArea)
    area, hull = cv().contourArea(outline), cv().contourArea(cv().convexHull(outline))
    if area <= _LEAST_FILL * hull:
        place = reduced.to_full(outline[:, 0, :].mean(axis=0) + np.array(origin))
        why = f"its sheet fills {100 * area / hull:.0f} % of its hull"
        return [_card_touched(why, place, float(area / hull), _LEAST_FILL)]
    if paper is None or _sides_at_border(own, origin, reduced) > 1:
        return []  # what runs along the picture's border is no sheet but the lid, where an item is taken for background
    filled = np.zeros(own.shape, np.uint8)
    cv().drawContours(filled, [outline], -1, 1, cv().FILLED)
    rim = (filled > 0) & ~(cv().erode(filled, np.ones((7, 7), np.uint8), borderValue=0) > 0)
    for piece in _foreign(filled > 0, origin, printed, reduced, paper, dust_px):
        over_edge = np.count_nonzero(piece.mask & rim) > 3 * ITEM_LEAST * dust_px  # the rim is 3 px wide
        if over_edge or piece.thickness > _PRINT_DUSTS * dust_px:
            return [_on_card(piece, origin, reduced)]
    return []


def on_known_card(
    sheet: BoolArray,
    printed: BoolArray,
    reduced: Reduced,
    background: Fitted,
    paper: Float32Array | None,
    dust_px: float,
) -> list[Finding]:
    """A finding when something lies on a card all of whose print is known.

    Parameters
    ----------
    sheet
        (h, w) the card's sheet.
    printed
        (h, w) what is printed on it.
    reduced, background
        The picture and what would be seen without items and card.
    paper
        The sheet's colour, linear light.
    dust_px
        Size of dust, reduced px.
    """
    ys, xs = np.nonzero(sheet)
    if paper is None or not len(ys):
        return []
    x, y = int(xs.min()), int(ys.min())
    window = (slice(y, int(ys.max()) + 1), slice(x, int(xs.max()) + 1))
    width = 2 * max(1, round(dust_px)) + 1  # cut out a little off the line, it shows the lid or its own shade there
    inner = cv().erode(np.pad(sheet[window].astype(np.uint8), 1), np.ones((width, width), np.uint8))[1:-1, 1:-1] > 0
    coded = np.sqrt(np.clip(reduced.light[window], 0, 1))
    lid = np.sqrt(np.clip(background.light[window], 0, 1))
    inner &= (np.abs(coded - lid) > _OTHER_COLOUR).any(axis=2)
    pieces = _foreign(inner, (x, y), printed, reduced, paper, dust_px)
    return [_on_card(pieces[0], (x, y), reduced)] if pieces else []


@dataclass(frozen=True, slots=True)
class _Foreign:
    """Something on a sheet that is neither paper nor known print."""

    mask: BoolArray  # (h, w) of the sheet's crop
    thickness: float  # px
    centre: tuple[float, float]  # within the crop


def _foreign(
    within: BoolArray,
    origin: tuple[int, int],
    printed: BoolArray,
    reduced: Reduced,
    paper: Float32Array,
    dust_px: float,
) -> list[_Foreign]:
    """Pieces of another colour than the paper that are as large as an item, the thickest first."""
    x, y = origin
    h, w = within.shape
    coded = np.sqrt(np.clip(reduced.light[y : y + h, x : x + w], 0, 1))
    other = (np.abs(coded - np.sqrt(np.clip(paper, 0, 1))) > _OTHER_COLOUR).any(axis=2)
    other &= within & ~printed[y : y + h, x : x + w]
    _, labels, stats, centres = cv().connectedComponentsWithStats(other.astype(np.uint8), connectivity=4)
    found = []
    for label in range(1, len(stats)):
        left, top, width, height, area = (int(v) for v in stats[label])
        if size_of((left, top, width, height), area, 1.0, dust_px) != "item":
            continue
        wide = thickness(labels[top : top + height, left : left + width] == label)
        if wide >= ITEM_THICKNESS * dust_px:
            found.append(_Foreign(labels == label, wide, (float(centres[label, 0]), float(centres[label, 1]))))
    return sorted(found, key=lambda piece: -piece.thickness)


def _on_card(piece: _Foreign, origin: tuple[int, int], reduced: Reduced) -> Finding:
    place = reduced.to_full(np.array(piece.centre) + np.array(origin))
    return _card_touched(f"at {place[0]:.0f},{place[1]:.0f} px its sheet has another colour", place)


def _card_touched(why: str, place: FloatArray, value: float | None = None, limit: float | None = None) -> Finding:
    return finding_of("card-touched", value=value, limit=limit, place_px=(float(place[0]), float(place[1])), why=why)


def touches_card(place_px: tuple[float, float], *, sheet: bool) -> Finding:
    """What to say of an item at the reference square, or at the edge of its sheet."""
    return finding_of("touches-card", place_px=place_px)


def _sides_at_border(own: BoolArray, origin: tuple[int, int], reduced: Reduced) -> int:
    """How many sides of the picture a crop reaches."""
    x, y = origin
    h, w = own.shape
    height, width = reduced.light.shape[:2]
    return sum((x <= 1, y <= 1, x + w >= width - 1, y + h >= height - 1))


def _stands_out(own: BoolArray, origin: tuple[int, int], reduced: Reduced) -> bool:
    """Whether a sheet's colour is clear of what lies round it, so that its outline can be trusted."""
    x, y = origin
    h, w = own.shape
    light = np.sqrt(np.clip(reduced.light[y : y + h, x : x + w], 0, 1))
    wide = cv().dilate(own.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    around = wide & ~(cv().dilate(own.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)
    if not around.any():
        return True
    return bool(np.abs(np.median(light[own], axis=0) - np.median(light[around], axis=0)).max() > ONE_COLOUR)
