"""Pictures for the eye: the reduced whole and magnified windows, each with its way from px."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ...opencv import cv
from ...records import FloatArray, Picture, eight_bit

Pixels = npt.NDArray[np.uint8]  # (H, W, 3), R G B

LARGEST_WIDTH = 1600
LARGEST_HEIGHT = 1500
SMALL = 700  # a picture whose sides are both below is magnified


@dataclass(frozen=True, slots=True)
class View:
    """Pixels to look at; a view pixel is `step` picture pixels wide, the view begins at `corner_px`.

    `corner_px` is the outer corner of the first pixel: (-0.5, -0.5) for a view of the whole.
    """

    pixels: Pixels
    step: float
    corner_px: tuple[float, float] = (-0.5, -0.5)

    def placed(self, points_px: npt.ArrayLike) -> FloatArray:
        """Map (N, 2) px to places in the view, (0, 0) the centre of its first pixel."""
        return (np.asarray(points_px, dtype=np.float64) - self.corner_px) / self.step - 0.5


def whole(picture: Picture) -> View:
    """Return the whole picture, averaged over whole blocks of pixels so that it fits, or magnified if small.

    Whole blocks are several times quicker than fractions; up to a block less one pixel at the right
    and lower border is not shown.
    """
    width, height = picture.width_px, picture.height_px
    block = max(math.ceil(width / LARGEST_WIDTH), math.ceil(height / LARGEST_HEIGHT))
    if block == 1:
        times = max(1, min(SMALL // width, SMALL // height))
        return View(magnified(as_colour(picture.pixels), times), 1 / times)
    rows, columns = height // block, width // block
    if not (rows and columns):  # a mere strip
        return View(as_colour(picture.pixels[:LARGEST_HEIGHT, :LARGEST_WIDTH]), 1.0)
    blocks = picture.pixels[: rows * block, : columns * block]
    return View(as_colour(cv().resize(blocks, (columns, rows), interpolation=cv().INTER_AREA)), float(block))


def padded(view: View, margins: tuple[int, int, int, int], colour: tuple[int, int, int]) -> View:
    """Return a view with margins of one colour about it: left, top, right and bottom, view px."""
    left, top, right, bottom = margins
    if not any(margins):
        return view
    height, width = view.pixels.shape[:2]
    row = np.tile(np.array(colour, dtype=np.uint8), left + width + right)
    pixels = np.tile(row, (top + height + bottom, 1)).reshape(top + height + bottom, -1, 3)
    pixels[top : top + height, left : left + width] = view.pixels
    corner = view.corner_px[0] - left * view.step, view.corner_px[1] - top * view.step
    return View(pixels, view.step, corner)


def window(picture: Picture, centre_px: tuple[float, float], *, times: int, size: tuple[int, int]) -> View:
    """Return `size` (width, height) view pixels around a place, every pixel `times` as large; grey beyond it."""
    columns, rows = (math.ceil(side / times) for side in size)
    left, top = round(centre_px[0]) - columns // 2, round(centre_px[1]) - rows // 2
    shown = np.full((rows, columns, 3), 128, dtype=np.uint8)
    x0, x1 = max(left, 0), min(left + columns, picture.width_px)
    y0, y1 = max(top, 0), min(top + rows, picture.height_px)
    if x0 < x1 and y0 < y1:
        shown[y0 - top : y1 - top, x0 - left : x1 - left] = as_colour(picture.pixels[y0:y1, x0:x1])
    large = magnified(shown, times)[: size[1], : size[0]]
    return View(np.ascontiguousarray(large), 1 / times, (left - 0.5, top - 0.5))


def magnified(pixels: Pixels, times: int) -> Pixels:
    """Return every pixel as a block of `times` x `times`."""
    return pixels.repeat(times, axis=0).repeat(times, axis=1)


def as_colour(pixels: npt.NDArray[Any]) -> Pixels:
    """Return (H, W, 3) uint8, R G B, of 8 or 16-bit grey or colour."""
    if pixels.ndim == 2:  # OpenCV drops a single channel
        pixels = pixels[:, :, np.newaxis]
    pixels = eight_bit(pixels)
    if pixels.shape[2] == 1:
        pixels = pixels.repeat(3, axis=2)
    return np.ascontiguousarray(pixels)
