"""Pixels that are in memory already, from any imaging library, as a `Picture`."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import PictureError, UsageError
from ..records import Picture
from .curve import EXPONENTS, Table, table
from .density import MM_PER_INCH, Claim
from .facts import Facts
from .picture import picture_of, shown
from .raw import Raw, check_size

_FLOAT_SLACK = 1e-6  # by which arithmetic may leave 0..1


@dataclass(frozen=True, slots=True, kw_only=True)
class Pixels:
    """Pixels with what a file would say of them.

    Parameters
    ----------
    pixels
        (H, W) or (H, W, C), C = 1 grey, 2 grey and alpha, 3 RGB (not BGR), 4 RGB and alpha; upright; uint8, uint16, or
        floats 0..1, which are held as 16 bit. Anything numpy takes for an array.
    curve
        From codes to linear light: "srgb", "linear", an exponent such as 2.2, or the table itself, (256,) or (65536,)
        or with a column for each colour, light 0..1. None: not known; sRGB is taken, as for a file that says nothing.
    dpi
        Density as a scanner states it; held against the reference, as a file's is.
    name
        What files and items are called after.

    Examples
    --------
    >>> light = np.full((20, 30), 0.5)
    >>> picture = picture_from_pixels(Pixels(pixels=light, curve="linear", dpi=600))
    >>> picture.width_px, picture.pixels.dtype.name, round(picture.density.x_px_per_mm * 25.4)
    (30, 'uint16', 600)
    """

    pixels: Any
    curve: str | float | npt.ArrayLike | None = None
    dpi: float | tuple[float, float] | None = None
    name: str = "pixels"


def is_pixels(value: object) -> bool:
    """Tell pixels from the path of a file."""
    return isinstance(value, Pixels) or hasattr(value, "__array__") or hasattr(value, "__array_interface__")


def picture_from_pixels(given: object, *, max_mpx: float = 400.0) -> Picture:
    """Return pixels as a picture; they are copied, so that whoever has them may change theirs.

    Parameters
    ----------
    given
        `Pixels`, or only what stands for an array.
    max_mpx
        Largest size, in millions of pixels.

    Raises
    ------
    UsageError
        If it is no array of pixels, or curve or density cannot be meant.
    PictureError
        If the picture is too large, too small, or wholly transparent.
    """
    said = given if isinstance(given, Pixels) else Pixels(pixels=given)
    if not isinstance(said.name, str) or not said.name.strip():
        raise UsageError("the name of the pixels: expected a text.")
    pixels = _codes(said.pixels)
    space = "grey" if pixels.shape[2] <= 2 else "rgb"
    size, channels = np.iinfo(pixels.dtype).max + 1, 1 if space == "grey" else 3
    curve = _curve(said.curve, size, channels)
    try:
        check_size(pixels.shape[1], pixels.shape[0], max_px=max_mpx * 1e6)
        gamma = curve if isinstance(curve, float) else None
        picture = picture_of(Raw(pixels, Facts(claims=_claims(said.dpi), gamma=gamma), space=space), said.name)
    except PictureError as error:
        raise PictureError(f"{shown(said.name)}: {error}") from error
    if isinstance(curve, np.ndarray):
        picture = replace(picture, to_linear=curve, curve_stated=True)
    elif curve == "srgb":
        picture = replace(picture, curve_stated=True)
    return replace(picture, sha256=_digest(pixels))


def _codes(given: Any) -> npt.NDArray[Any]:
    """Return (H, W, C) codes, a copy."""
    try:
        array = np.asarray(given)
    except (TypeError, ValueError) as error:
        raise UsageError(f"the pixels are no array ({error}).") from error
    array = array[:, :, None] if array.ndim == 2 else array
    if array.ndim != 3 or array.shape[2] not in (1, 2, 3, 4):
        raise UsageError(
            f"an array of the shape {np.shape(given)} is no picture: expected (H, W), or (H, W, C) with C = 1 grey, "
            "2 grey and alpha, 3 RGB, 4 RGB and alpha."
        )
    if array.dtype.kind == "f":
        if not (np.isfinite(array).all() and array.min() >= -_FLOAT_SLACK and array.max() <= 1 + _FLOAT_SLACK):
            raise UsageError("pixels as floats are 0 to 1, all of them finite. Divide by the largest code first.")
        codes: npt.NDArray[Any] = np.rint(np.clip(array, 0, 1) * 65535).astype(np.uint16)
        return codes
    if array.dtype not in (np.uint8, np.uint16):
        raise UsageError(f"pixels of the type {array.dtype}: expected uint8, uint16, or floats 0 to 1.")
    return np.array(array, dtype=array.dtype.newbyteorder("="), order="C")


def _curve(given: Any, size: int, channels: int) -> str | float | Table | None:
    """Return "srgb", an exponent, a table with a column for each colour, or None."""
    if given is None or (isinstance(given, str) and given == "srgb"):
        return given
    if isinstance(given, str) and given == "linear":
        return 1.0
    expected = "expected srgb, linear, an exponent from 0.2 to 5, or a table of light 0..1 for every code"
    try:
        values = np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise UsageError(f"the curve of the pixels: {expected}.") from error
    if values.ndim == 0 and EXPONENTS[0] <= values <= EXPONENTS[1]:
        return float(values)
    values = values[:, None] if values.ndim == 1 else values
    if values.ndim != 2 or values.shape[0] != size or values.shape[1] not in (1, channels) or not _is_light(values):
        raise UsageError(f"the curve of the pixels: {expected}, never falling; here ({size},) or ({size}, {channels}).")
    return table(*np.broadcast_to(values, (size, channels)).T)


def _is_light(values: npt.NDArray[np.float64]) -> bool:
    within = np.isfinite(values).all() and values.min() >= 0 and values.max() <= 1
    return bool(within and (np.diff(values, axis=0) >= 0).all())


def _claims(dpi: Any) -> tuple[Claim, ...]:
    if dpi is None:
        return ()
    try:
        x, y = (float(one) for one in np.broadcast_to(np.asarray(dpi, dtype=np.float64), 2))
    except (TypeError, ValueError) as error:
        raise UsageError("the density of the pixels: expected a number, or two, in dpi.") from error
    if not all(math.isfinite(one) and 10 <= one <= 25400 for one in (x, y)):
        raise UsageError(f"the density of the pixels, {x:g} x {y:g} dpi: expected 10 to 25400 dpi.")
    return (Claim(x / MM_PER_INCH, y / MM_PER_INCH, "the array's density"),)


def _digest(pixels: npt.NDArray[Any]) -> str:
    """Return a hash of shape, type and codes: there is no file."""
    hashed = hashlib.sha256(f"{pixels.shape} {pixels.dtype.name}\n".encode())
    hashed.update(pixels.astype(pixels.dtype.newbyteorder("<"), copy=False).tobytes())
    return hashed.hexdigest()
