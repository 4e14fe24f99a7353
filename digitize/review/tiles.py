"""Pieces of a picture for the screen: each level half as large as the one before, cut when they are asked for."""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Lock
from typing import Any

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..records import Picture, eight_bit

TILE = 512  # px
_QUALITY = 90  # JPEG: for looking at, nothing is measured in it


@dataclass(slots=True)
class Pyramid:
    """A picture and its reduced levels; a pixel of level k covers 2 ** k pixels each way, from the upper left."""

    picture: Picture
    _levels: list[npt.NDArray[Any]] = field(default_factory=list)
    _turn: Lock = field(default_factory=Lock)  # tiles are cut in several threads

    @property
    def count(self) -> int:
        """How many levels there are: the last fits into one tile."""
        largest = max(self.picture.width_px, self.picture.height_px)
        return max(1, (max(largest - 1, 1) // TILE).bit_length() + 1)

    def level(self, number: int) -> npt.NDArray[Any]:
        """Return the pixels of a level, (h, w, C)."""
        with self._turn:
            levels = self._levels = self._levels or [self.picture.pixels]
            while len(levels) <= number:
                levels.append(_halved(levels[-1]))
            return levels[number]

    def tile(self, number: int, column: int, row: int) -> bytes | None:
        """Return a tile as JPEG; None where there is none."""
        if not (0 <= number < self.count and column >= 0 and row >= 0):
            return None
        cut = self.level(number)[row * TILE : (row + 1) * TILE, column * TILE : (column + 1) * TILE]
        return jpeg(cut) if cut.size else None


def _halved(pixels: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return the mean of every 2 x 2 pixels; the last of an odd number counts twice."""
    height, width, channels = pixels.shape
    even = np.pad(pixels, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge") if height % 2 or width % 2 else pixels
    size = (even.shape[1] // 2, even.shape[0] // 2)
    return np.asarray(cv().resize(even, size, interpolation=cv().INTER_AREA)).reshape(size[1], size[0], channels)


def jpeg(pixels: npt.NDArray[Any]) -> bytes:
    """Return grey or RGB pixels as JPEG."""
    codes = eight_bit(pixels)
    shown = codes if codes.shape[2] == 1 else codes[:, :, ::-1]
    _, data = cv().imencode(".jpg", np.ascontiguousarray(shown), [cv().IMWRITE_JPEG_QUALITY, _QUALITY])
    return bytes(data)


def colour_at(picture: Picture, x_px: float, y_px: float, *, half: int = 3) -> str | None:
    """Return the colour about a place as ``#rrggbb``, the median of 7 x 7 pixels; None outside the picture."""
    x, y = round(x_px), round(y_px)
    if not (0 <= x < picture.width_px and 0 <= y < picture.height_px):
        return None
    about = picture.pixels[max(0, y - half) : y + half + 1, max(0, x - half) : x + half + 1]
    codes = np.median(eight_bit(about).reshape(-1, about.shape[2]), axis=0).astype(int).tolist()
    return "#" + "".join(f"{code:02x}" for code in (codes * 3)[:3])
