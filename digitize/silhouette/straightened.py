"""The part of a picture that was scanned: programs that straighten a page fill its corners with one even colour."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, FloatArray, Picture
from .card_place import polygons_mask

_LOOK_PX = 900  # long side of the picture it is looked for in
_EVEN = 2  # codes of 255, by which a fill may differ from itself
_LEAST_CORNERS = 3  # that are filled
_LEAST_FILL = 0.01  # of the picture: less does no harm
_SEEN, _NEAR_PX = 0.5, 1.5  # of the sides of the rectangle around what was scanned must be its border; so near
_LEAST_TURN_DEG = 0.3  # a page turned less has corners too thin to see
_ALIKE, _FILLED = 255, 1  # codes in a mask: as OpenCV marks what is within limits, and ours
_AT_SIDE_PX, _LEAST_SIDES = 3, 3  # that the page reaches with a corner; one may be as white as the fill

Codes = npt.NDArray[Any]  # (h, w, C)
_Turned = tuple[tuple[float, float], tuple[float, float], float]  # centre, size, degrees


def shown_part(picture: Picture, reduced: Reduced) -> BoolArray:
    """Where the reduced picture shows what was scanned, without the filled corners of a turned page; (h, w).

    A fill has the very same code all over, and what it leaves is a rectangle, aslant, that reaches the
    picture's sides: no item does that, and no lid ends so.
    """
    shape = reduced.light.shape[:2]
    step = max(1, round(max(picture.width_px, picture.height_px) / _LOOK_PX))
    page = _page(np.ascontiguousarray(picture.pixels[::step, ::step]))
    if page is None:
        return np.ones(shape, bool)
    part = polygons_mask(shape, [reduced.to_reduced(page * step)])
    # blurred into the fill
    return np.asarray(cv().erode(part.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=0) > 0)


def _page(codes: Codes) -> FloatArray | None:
    """Corners (4, 2) of the turned page between filled corners; None where there is none."""
    even = _EVEN if codes.dtype == np.uint8 else 257 * _EVEN
    places = [(0, 0), (0, -1), (-1, 0), (-1, -1)]
    corners = [codes[place].astype(np.int64) for place in places]
    fill = np.median(corners, axis=0)
    if sum(bool((np.abs(corner - fill) <= even).all()) for corner in corners) < _LEAST_CORNERS:
        return None
    alike = cv().inRange(codes, np.ceil(fill - even), np.floor(fill + even))
    high, wide = alike.shape
    for y, x in places:  # in a fifth of the time that numbering all patches takes
        if alike[y, x] == _ALIKE:
            cv().floodFill(alike, None, (x % wide, y % high), _FILLED, flags=4)
    rest = alike != _FILLED
    if not rest.any() or rest.mean() > 1.0 - _LEAST_FILL:
        return None
    contours, _ = cv().findContours(rest.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    edge = np.concatenate(contours)
    page = cv().minAreaRect(edge)
    return cv().boxPoints(page).astype(np.float64) if _is_turned(page, edge, codes.shape) else None


def _is_turned(page: _Turned, edge: npt.NDArray[np.int32], shape: tuple[int, ...]) -> bool:
    """Whether a rectangle lies aslant, reaches the picture's sides, and most of its sides are seen.

    Where the lid is as white as the fill, a side is not seen.
    """
    (x, y), size, turn = page
    left, top, wide, high = cv().boundingRect(edge)
    rooms = left, top, shape[1] - left - wide, shape[0] - top - high
    if sum(room <= _AT_SIDE_PX for room in rooms) < _LEAST_SIDES:
        return False
    if abs((turn + 45) % 90 - 45) < _LEAST_TURN_DEG:
        return False
    angle = np.radians(turn)
    across, along = np.array((np.cos(angle), np.sin(angle))), np.array((-np.sin(angle), np.cos(angle)))
    off = edge[:, 0, :] - np.array((x, y))
    u, v = (off * across).sum(axis=1), (off * along).sum(axis=1)
    seen = 0
    for place, other, half in ((u, v, size[0] / 2), (v, u, size[1] / 2)):
        for side in (-1, 1):
            seen += len(np.unique(np.rint(other[np.abs(side * half - place) < _NEAR_PX])))
    return bool(seen > _SEEN * 2 * (size[0] + size[1]))
