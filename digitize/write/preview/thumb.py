"""A small picture of what was measured, for the contact page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...opencv import cv
from ...records import FloatArray, Picture, Result, eight_bit

SIDE_PX = 320
_QUALITY = 68
_WITHIN_PX = 0.3


@dataclass(frozen=True, slots=True)
class Small:
    """A small JPEG of a picture, and the outlines in its pixels: for each item its rings, x, y, x, y ..."""

    width: int
    height: int
    jpeg: bytes
    rings: tuple[tuple[tuple[float, ...], ...], ...]


def thumbnail(picture: Picture, result: Result | None = None) -> Small:
    """Return a picture at most `SIDE_PX` wide and high, and the outlines in it if there are any."""
    cv2 = cv()
    factor = min(1.0, SIDE_PX / max(picture.width_px, picture.height_px))
    size = max(1, round(picture.width_px * factor)), max(1, round(picture.height_px * factor))
    small = eight_bit(cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA)).reshape(size[1], size[0], -1)
    _, jpeg = cv2.imencode(".jpg", np.ascontiguousarray(small[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    scale = np.array(size) / (picture.width_px, picture.height_px)
    rings = tuple(
        tuple(_thinned((contour.points_px + 0.5) * scale) for contour in item.contours)
        for item in (result.items if result else ())
    )
    return Small(*size, jpeg.tobytes(), rings)


def _thinned(points: FloatArray) -> tuple[float, ...]:
    """Return the ring with as few points as show it within `_WITHIN_PX`."""
    thin = cv().approxPolyDP(points.astype(np.float32)[:, None], _WITHIN_PX, True).reshape(-1)
    return tuple(round(float(value), 1) for value in thin)
