"""A patch of an item that a hand points at, taken for a hole: where its light goes over into the item's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.profiles import linear_pixels
from ..opencv import cv
from ..records import ByteArray, Contour, FloatArray, Picture
from ..steady import product

_MOST_PX = 1500  # from the place to a patch's border
_LEAST_STEP = 0.01  # of full light, root of the sum of squares of all channels: less tells nothing from nothing
_LEAST_PX2 = 60  # a smaller patch is a speck
_CLEAR_PX = 3  # from a patch to the item's own edges


@dataclass(frozen=True, slots=True)
class Patch:
    """What `trace_edge` needs of a hole."""

    mask: ByteArray  # (h, w) crop, 1 on the item
    origin: tuple[int, int]
    chain: npt.NDArray[np.int64]  # (N, 2) px


def patch_at(picture: Picture, contours: tuple[Contour, ...], place: FloatArray) -> Patch | None:
    """Return the patch that holds a place: what is nearer in light to that place than to the item around.

    Parameters
    ----------
    picture
        The picture.
    contours
        Of the item, exterior first.
    place
        (2,) px within the item.

    Returns
    -------
    Patch or None
        None where its light is the item's, or where it reaches the item's edge or another hole.
    """
    x0, y0, x1, y1 = _window(picture, contours[0], place)
    own = np.zeros((y1 - y0, x1 - x0), np.uint8)
    rings = [np.rint(one.points_px - (x0, y0)).astype(np.int32) for one in contours]
    cv().fillPoly(own, rings[:1], 1)
    cv().fillPoly(own, rings[1:], 0)
    within = cv().erode(own, np.ones((2 * _CLEAR_PX + 1,) * 2, np.uint8), borderType=cv().BORDER_REPLICATE)
    x, y = (int(v) for v in np.rint(place) - (x0, y0))
    if not (0 <= x < x1 - x0 and 0 <= y < y1 - y0 and within[y, x]):
        return None
    grid_y, grid_x = np.mgrid[y0:y1, x0:x1]
    light = linear_pixels(picture, grid_x, grid_y)
    item = np.median(light[::3, ::3][within[::3, ::3] > 0], axis=0)
    here = np.median(light[max(0, y - 2) : y + 3, max(0, x - 2) : x + 3].reshape(-1, light.shape[2]), axis=0)
    way = here - item
    if float(np.hypot.reduce(way)) < _LEAST_STEP:
        return None
    value = cv().blur((product(light - item, way / float(product(way, way)))).astype(np.float32), (3, 3))
    piece = _piece(((value > 0.5) & (within > 0)).astype(np.uint8), within, (x, y))
    if piece is None:
        return None
    grown = cv().dilate(piece, np.ones((3, 3), np.uint8))
    around, _ = cv().findContours(grown, cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    chain = np.asarray(around[0][:, 0], dtype=np.int64)
    return Patch(own & (1 - piece), (x0, y0), chain + np.array([x0, y0]))


def _window(picture: Picture, exterior: Contour, place: FloatArray) -> tuple[int, int, int, int]:
    low = np.maximum(np.maximum(exterior.points_px.min(axis=0), place - _MOST_PX), 0)
    high = np.minimum(exterior.points_px.max(axis=0), place + _MOST_PX)
    x0, y0 = np.floor(low).astype(int).tolist()
    x1, y1 = np.minimum(np.ceil(high) + 1, (picture.width_px, picture.height_px)).astype(int).tolist()
    return x0, y0, max(x1, x0 + 1), max(y1, y0 + 1)


def _piece(like: ByteArray, within: ByteArray, at: tuple[int, int]) -> ByteArray | None:
    """The connected piece of `like` about a pixel, filled, if it lies within all round."""
    _, labels = cv().connectedComponents(like, connectivity=4)
    label = int(labels[at[1], at[0]])
    if not label:
        return None
    piece = (labels == label).astype(np.uint8)
    borders, _ = cv().findContours(piece, cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    cv().fillPoly(piece, borders, 1)  # what stands out within it is part of it
    grown = cv().dilate(piece, np.ones((3, 3), np.uint8))
    whole = int(piece.sum()) >= _LEAST_PX2 and not (grown > within).any() and not _meets_border(grown)
    return piece if whole else None


def _meets_border(piece: ByteArray) -> bool:
    return bool(piece[0].any() or piece[-1].any() or piece[:, 0].any() or piece[:, -1].any())
