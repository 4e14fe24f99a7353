"""The sheet that carries the reference: told from items, and looked at for what lies on it."""

from __future__ import annotations

import numpy as np

from .background import BoolArray, Float32Array
from .opencv import cv
from .records import Finding
from .reduced import Reduced


def rim_of(squares: BoolArray, width: int = 6) -> BoolArray:
    """Pixels just around the squares."""
    grown = cv().dilate(squares.astype(np.uint8), np.ones((2 * width + 1, 2 * width + 1), np.uint8))
    return np.asarray((grown > 0) & ~squares)


def sheet_around(reduced: Reduced, squares: BoolArray, printed: BoolArray, lid: Float32Array) -> BoolArray | None:
    """The connected stretch of the colour that surrounds the reference, holes filled, rim taken off.

    `lid` (C,) is the colour, linear light, from which the sheet's must be told: half-way to it the sheet ends.
    """
    rim = rim_of(squares) & ~printed
    if not rim.any():
        return None
    step = max(1, round(max(squares.shape) / 450))
    coded = np.sqrt(np.clip(reduced.light[::step, ::step], 0, 1))
    paper = np.sqrt(np.median(reduced.light[rim], axis=0))
    apart = float(np.abs(paper - np.sqrt(np.clip(lid, 0, 1))).max())
    within = min(max(0.45 * apart, 0.03), 0.16)
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
    return np.asarray(np.median(reduced.light[rim_of(squares)], axis=0), dtype=np.float32)


def is_card(
    own: BoolArray,
    box: tuple[int, int, int, int],
    squares: BoolArray,
    near_squares: BoolArray,
    reduced: Reduced,
    paper: Float32Array | None,
) -> str:
    """Tell "card" (encloses the reference, or a stretch of its paper beside it) from "touching" and "item"."""
    if paper is None:
        return "item"
    x, y, w, h = box
    window = squares[y : y + h, x : x + w]
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    filled = np.zeros(own.shape, np.uint8)
    cv().drawContours(filled, contours, -1, 1, cv().FILLED)
    if (
        window.any()
        and (filled[window] > 0).mean() > 0.5
        and window.sum() > 0.5 * squares.sum() / max(1, _count(squares))
    ):
        return "card"
    light = reduced.light[y : y + h, x : x + w][own]
    same = float((np.abs(np.sqrt(np.clip(light, 0, 1)) - np.sqrt(paper)) < 0.07).all(axis=1).mean())
    touching = bool((near_squares[y : y + h, x : x + w] & own).any())
    if same > 0.6 and (touching or _beside(box, squares)):
        return "card"
    return "touching" if touching else "item"


def _count(squares: BoolArray) -> int:
    return int(cv().connectedComponents(squares.astype(np.uint8))[0]) - 1


def _beside(box: tuple[int, int, int, int], squares: BoolArray) -> bool:
    """Whether a box lies within half a side of a reference square's box on all sides."""
    x, y, w, h = box
    ys, xs = np.nonzero(squares)
    reach = 0.5 * np.sqrt(squares.sum() / max(1, _count(squares)))
    return bool(x > xs.min() - reach and y > ys.min() - reach and x + w < xs.max() + reach and y + h < ys.max() + reach)


def card_covered(own: BoolArray, origin: tuple[int, int], squares: BoolArray, reduced: Reduced) -> list[Finding]:
    """A finding when the card's sheet is not the plain convex piece that a card is."""
    if not _stands_out(own, origin, reduced):
        return []
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    outline = max(contours, key=cv().contourArea)
    area, hull = cv().contourArea(outline), cv().contourArea(cv().convexHull(outline))
    if area > 0.93 * hull:
        return []
    place = reduced.to_full(outline[:, 0, :].mean(axis=0) + np.array(origin))
    return [
        Finding(
            "card-touched",
            f"Something lies on the reference card or touches it: its sheet fills {100 * area / hull:.0f} % of its "
            "hull. What touches the card is not measured; lay it clear of the card.",
            value=float(area / hull),
            limit=0.93,
            place_px=(float(place[0]), float(place[1])),
        )
    ]


def _stands_out(own: BoolArray, origin: tuple[int, int], reduced: Reduced) -> bool:
    """Whether a sheet's colour is clear of what lies round it, so that its outline can be trusted."""
    x, y = origin
    h, w = own.shape
    light = np.sqrt(np.clip(reduced.light[y : y + h, x : x + w], 0, 1))
    wide = cv().dilate(own.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    around = wide & ~(cv().dilate(own.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)
    if not around.any():
        return True
    return bool(np.abs(np.median(light[own], axis=0) - np.median(light[around], axis=0)).max() > 0.06)
