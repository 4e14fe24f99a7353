"""Arrays as they are passed on: their types, checked copies, and the matrix of a turn."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
ByteArray = npt.NDArray[np.uint8]


def frozen_array(values: npt.ArrayLike, *, columns: int | None = None) -> FloatArray:
    """Return a read-only float64 copy of `values`, checked finite (and of shape (N, `columns`) if given).

    Raises
    ------
    ValueError
        If a value is not finite or the shape is wrong.
    """
    array = np.array(values, dtype=np.float64)
    if columns is not None and (array.ndim != 2 or array.shape[1] != columns):
        raise ValueError(f"expected an (N, {columns}) array, got shape {array.shape}")
    if not np.isfinite(array).all():
        raise ValueError("array holds NaN or infinity")
    array.setflags(write=False)
    return array


def eight_bit(codes: npt.NDArray[Any]) -> ByteArray:
    """Return uint8 or uint16 codes as uint8 (not copied if they are): the upper byte, as for showing and finding."""
    return codes if codes.dtype == np.uint8 else (codes >> 8).astype(np.uint8)


def turning(angle: float) -> FloatArray:
    """Return the (2, 2) matrix that turns rows of x, y counter-clockwise, radians: ``places @ turning(angle)``."""
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([(cos, sin), (-sin, cos)])
