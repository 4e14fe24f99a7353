"""The part of a picture that was scanned: programs that straighten a page fill its corners with one even colour."""

from __future__ import annotations

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Picture

_LOOK_PX = 900  # long side of the picture it is looked for in
_EVEN = 2  # codes of 255, by which a fill may differ from itself
_LEAST_CORNERS = 3  # that are filled
_LEAST_FILL = 0.01  # of the picture: less does no harm
_FULL = 0.985  # of the smallest rectangle around it is filled by what was scanned
_LEAST_TURN_DEG = 0.3
_AT_SIDE_PX = 3


def shown_part(picture: Picture, reduced: Reduced) -> BoolArray:
    """Where the reduced picture shows what was scanned, without the filled corners of a turned page; (h, w).

    A fill has the very same code all over, and what it leaves is a rectangle, aslant, that reaches all four sides of
    the picture: no item does that, and no lid ends so.
    """
    shape = reduced.light.shape[:2]
    step = max(1, round(max(picture.width_px, picture.height_px) / _LOOK_PX))
    shown = _rest(np.ascontiguousarray(picture.pixels[::step, ::step]))
    if shown is None:
        return np.ones(shape, bool)
    part = cv().erode(shown, np.ones((3, 3), np.uint8), borderValue=1)  # blurred into the fill
    return np.asarray(cv().resize(part, shape[::-1], interpolation=cv().INTER_NEAREST) > 0)


def _rest(codes: np.ndarray) -> np.ndarray | None:  # type: ignore[type-arg]
    """What is no fill, 1 there, (h, w) uint8; None where the corners are not filled."""
    even = _EVEN if codes.dtype == np.uint8 else 257 * _EVEN
    places = [(0, 0), (0, -1), (-1, 0), (-1, -1)]
    corners = [codes[place].astype(np.int64) for place in places]
    fill = np.median(corners, axis=0)
    if sum(bool((np.abs(corner - fill) <= even).all()) for corner in corners) < _LEAST_CORNERS:
        return None
    alike = (np.abs(codes.astype(np.int64) - fill) <= even).all(axis=2).astype(np.uint8)
    _, labels = cv().connectedComponents(alike, connectivity=4)
    filled = np.isin(labels, [labels[place] for place in places if alike[place]])
    rest = (~filled).astype(np.uint8)
    return rest if filled.mean() > _LEAST_FILL and _is_turned_page(rest) else None


def _is_turned_page(rest: np.ndarray) -> bool:  # type: ignore[type-arg]
    """Whether what is left is a full rectangle, aslant, that reaches all four sides."""
    h, w = rest.shape
    contours, _ = cv().findContours(rest, cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    page = max(contours, key=cv().contourArea)
    x, y, wide, high = cv().boundingRect(page)
    if max(x, y, w - x - wide, h - y - high) > _AT_SIDE_PX:
        return False
    _, size, turn = cv().minAreaRect(page)
    aslant = abs((turn + 45) % 90 - 45) > _LEAST_TURN_DEG
    return bool(aslant and cv().contourArea(page) > _FULL * (size[0] - 1) * (size[1] - 1))
