"""A small picture of what was measured, for the contact page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...opencv import cv
from ...records import FloatArray, Picture, Result, Scale, eight_bit
from .marks import outline_marks

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


def thumbnail(picture: Picture, result: Result | None = None, scale: Scale | None = None) -> Small:
    """Return a picture at most `SIDE_PX` wide and high, and the outlines in it as they are written, if any are."""
    cv2 = cv()
    factor = min(1.0, SIDE_PX / max(picture.width_px, picture.height_px))
    size = max(1, round(picture.width_px * factor)), max(1, round(picture.height_px * factor))
    small = eight_bit(cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA)).reshape(size[1], size[0], -1)
    _, jpeg = cv2.imencode(".jpg", np.ascontiguousarray(small[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    share = np.array(size) / (picture.width_px, picture.height_px)
    rings = tuple(
        tuple(_thinned((ring + 0.5) * share) for ring in outline.every())
        for outline in (outline_marks(result, scale) if result and scale else ())
    )
    return Small(*size, jpeg.tobytes(), rings)


def _thinned(points: FloatArray) -> tuple[float, ...]:
    """Return the ring with as few points as show it within `_WITHIN_PX`."""
    thin = cv().approxPolyDP(points.astype(np.float32)[:, None], _WITHIN_PX, True).reshape(-1)
    return tuple(round(float(value), 1) for value in thin)
