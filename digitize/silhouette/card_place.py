"""Where the reference lies in the reduced picture: its squares, its print and its sheet, as masks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import OutlineError
from ..measure.rings import signed_area
from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, FloatArray

_ROOM_PX = 2.5  # round a square, reduced px: its blur
_SHEET = 1.2  # times a square's area: a mark that holds it and is larger is its sheet


@dataclass(frozen=True, slots=True)
class CardPlace:
    """Where the reference lies in the reduced picture, (h, w) each."""

    squares: BoolArray
    print: BoolArray  # the squares, and what else is known to be printed
    sheet: BoolArray  # of a card whose sheet's place is known
    whole: BoolArray  # print and sheet: no item is looked for there


def place_card(reduced: Reduced, references_px: tuple[FloatArray, ...], marks_px: tuple[FloatArray, ...]) -> CardPlace:
    """Draw the reference; a mark that is much larger than it and holds it is its sheet."""
    shape = reduced.light.shape[:2]
    squares = polygons_mask(shape, [_grown(reduced.to_reduced(q), _ROOM_PX) for q in references_px])
    sheets = [k for k, mark in enumerate(marks_px) if any(_is_sheet(mark, square) for square in references_px)]
    marks = [_grown(reduced.to_reduced(q), 1.0) for q in marks_px]
    printed = [mark for k, mark in enumerate(marks) if k not in sheets]
    print_ = squares | polygons_mask(shape, printed) if printed else squares
    sheet = polygons_mask(shape, [marks[k] for k in sheets])
    return CardPlace(squares, print_, sheet, print_ | sheet if sheets else print_)


def _is_sheet(mark: FloatArray, square: FloatArray) -> bool:
    return _holds(mark, square.mean(axis=0)) and abs(signed_area(mark)) > _SHEET * abs(signed_area(square))


def _holds(polygon: FloatArray, place: FloatArray | tuple[float, float]) -> bool:
    x, y = (float(v) for v in place)
    return bool(cv().pointPolygonTest(polygon.astype(np.float32), (x, y), False) >= 0)


def require_clear_of_card(
    place_px: tuple[float, float], references_px: tuple[FloatArray, ...], marks_px: tuple[FloatArray, ...]
) -> None:
    """Refuse a place pointed at that lies on the reference.

    Raises
    ------
    OutlineError
        If it does.
    """
    on_square = any(_holds(square, place_px) for square in references_px)
    if on_square or any(_holds(mark, place_px) for mark in marks_px):
        what = "reference square" if on_square else "reference card"
        raise OutlineError(
            f"--item-at {place_px[0]:g},{place_px[1]:g} lies on the {what} itself, which is never outlined. Point "
            "inside the item; an item that reaches over the card must be laid clear of it."
        )


def _grown(polygon: FloatArray, margin: float) -> FloatArray:
    """Polygon moved outward from its centre by about `margin` at its corners' distance."""
    centre = polygon.mean(axis=0)
    arm = polygon - centre
    length = np.linalg.norm(arm, axis=1, keepdims=True)
    return np.asarray(centre + arm * (1 + math.sqrt(2.0) * margin / np.maximum(length, 1e-9)))


def polygons_mask(shape: tuple[int, ...], polygons: list[FloatArray]) -> BoolArray:
    """Pixels within any of the polygons, each (N, 2) reduced px."""
    mask = np.zeros(shape, np.uint8)
    for polygon in polygons:
        cv().fillPoly(mask, [np.rint(polygon * 16).astype(np.int32)], 1, shift=4)
    return mask > 0
