"""Read BMP files."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np

from ..errors import PictureError
from .headers import read_facts
from .raw import DAMAGED, Pixels, Raw, check_size


def open_bmp(data: bytes, *, max_px: float) -> Raw:
    """Open a BMP; 24-bit ones without Pillow, which would hold a picture half as large again.

    Raises
    ------
    PictureError
        If it is damaged, too large or too small.
    """
    if len(data) < 26:
        raise PictureError(DAMAGED)
    core = int.from_bytes(data[14:18], "little") == 12
    width, height = struct.unpack_from("<HH" if core else "<ii", data, 18)
    check_size(width, abs(height), max_px=max_px)
    facts = read_facts("bmp", data)
    bits, packing = (0, 0) if core or len(data) < 54 else struct.unpack_from("<HI", data, 28)
    pixels = _bmp24(data, width, height) if (bits, packing) == (24, 0) else _bmp_by_pillow(data)
    return Raw(pixels, facts, space="grey" if pixels.shape[2] == 1 else "rgb")


def _bmp24(data: bytes, width: int, height: int) -> Pixels:
    """Rows are padded to 4 bytes, in the order B, G, R, the lowest first unless the height is negative."""
    start, stride = int.from_bytes(data[10:14], "little"), (3 * width + 3) // 4 * 4
    if start < 26 or start + stride * abs(height) > len(data):
        raise PictureError(DAMAGED)
    rows = np.ndarray((abs(height), width, 3), np.uint8, data, start, (stride, 3, 1))
    if height > 0:
        rows = rows[::-1]
    pixels = np.empty(rows.shape, np.uint8)
    for channel in range(3):  # four times as fast as one copy with the channels reversed
        pixels[..., channel] = rows[..., 2 - channel]
    return pixels


def _bmp_by_pillow(data: bytes) -> Pixels:
    from io import BytesIO

    from PIL.BmpImagePlugin import BmpImageFile

    try:
        return from_pillow(BmpImageFile(BytesIO(data)))
    except (OSError, ValueError, SyntaxError, EOFError, IndexError, KeyError, OverflowError, struct.error) as error:
        raise PictureError(DAMAGED) from error


def from_pillow(picture: Any) -> Pixels:
    """Return a Pillow picture of 8 bits or fewer as (H, W, C) pixels."""
    modes = {"1": "L", "P": "RGB"}
    pixels = np.asarray(picture.convert(modes[picture.mode]) if picture.mode in modes else picture)
    if pixels.dtype != np.uint8:
        raise PictureError(f"its numbers are of the type {picture.mode}. Save it as 8 or 16 bit.")
    return np.ascontiguousarray(pixels.reshape(*pixels.shape[:2], -1))
