"""Tables from code to linear light, and back."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Table = npt.NDArray[np.float32]

EXPONENTS = 0.2, 5.0  # of tone curves that are taken for meant


def steps(size: int) -> npt.NDArray[np.float64]:
    """Return the codes 0 .. size - 1 as 0 .. 1."""
    return np.arange(size, dtype=np.float64) / (size - 1)


def srgb(codes: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the linear light of sRGB codes 0..1 (IEC 61966-2-1, also W3C sRGB): 0.5 -> 0.21404."""
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def table(*curves: npt.NDArray[np.float64]) -> Table:
    """Return one column for each curve, read-only, cut to 0..1."""
    columns = np.clip(np.stack(curves, axis=1), 0.0, 1.0).astype(np.float32)
    columns.setflags(write=False)
    return columns


def to_codes(light: npt.NDArray[np.float64], column: Table) -> npt.NDArray[np.int64]:
    """Return the codes whose linear light is nearest to `light`, by the inverse of one column of a table."""
    codes = np.interp(light, column.astype(np.float64), np.arange(len(column), dtype=np.float64))
    return np.rint(codes).astype(np.int64)
