"""Undecoded pixels: a picture that is open, its size known, its bands still in the file."""

from __future__ import annotations

import logging
import os
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import DigitizeError, PictureError
from .facts import Facts, first_of, with_exif
from .headers import read_facts
from .tiff import plain_pixels, with_allowed_values

Pixels = npt.NDArray[Any]

_LOADERS = {
    "png": "pngload_source",
    "jpeg": "jpegload_source",
    "tiff": "tiffload_source",
    "webp": "webpload_source",
    "gif": "gifload_source",
    "avif": "heifload_source",
}
DAMAGED = "the file is truncated or damaged, or of a variety that cannot be read. Copy, scan or save it again."
_LEAST_PX = 16  # a side
_used_in: list[int] = []  # the process that first used libvips


@dataclass(frozen=True, slots=True)
class Raw:
    """An open picture. `bands` is a libvips image not yet computed, or (H, W, C) pixels."""

    bands: Any
    facts: Facts = field(default_factory=Facts)
    icc: bytes | None = None
    space: str = "rgb"  # "grey", "rgb", "cmyk"
    held: bytes = b""  # the file that `bands` still reads from; libvips does not hold it


def vips() -> Any:
    """Import pyvips, without its log on stderr and without a cache that would hold on to pictures."""
    try:
        import pyvips  # type: ignore[import-untyped]
    except (ImportError, OSError) as error:
        raise DigitizeError(f"libvips cannot be loaded ({error}): python -m pip install 'pyvips[binary]'") from error
    if not _used_in:
        logging.getLogger("pyvips").addHandler(logging.NullHandler())
        pyvips.cache_set_max(0)
        _used_in.append(os.getpid())
    return pyvips


def was_forked() -> bool:
    """Tell whether this process inherits a libvips that another has used: it would wait for that one's threads."""
    return bool(_used_in) and _used_in[0] != os.getpid()


def open_raw(kind: str, data: bytes, *, max_px: float) -> Raw:
    """Open a picture of one of the kinds that libvips reads.

    Raises
    ------
    PictureError
        If the header is damaged, the picture too large or too small, or its numbers are not 8 or 16 bit.
    """
    facts = read_facts(kind, data)
    pyvips = vips()
    data = with_allowed_values(data) if kind == "tiff" else data
    try:
        source = pyvips.Source.new_from_memory(data)  # a buffer would be copied
        bands = getattr(pyvips.Image, _LOADERS[kind])(source, fail_on=_strictness(kind), access="sequential")
        fields = {name: bands.get(name) for name in _wanted(bands)}
    except pyvips.Error as error:
        raise PictureError(DAMAGED) from error
    check_size(bands.width, bands.height, max_px=max_px)
    if bands.format not in ("uchar", "ushort"):
        raise PictureError(f"its numbers are of the type {bands.format}, not 8 or 16 bit. Save it as 8 or 16 bit.")
    if kind in ("gif", "avif"):
        facts = add_facts(facts, fields.get("exif-data"), fields.get("n-pages", 1), "frames")
    plain = plain_pixels(data) if kind == "tiff" else None
    return Raw(bands if plain is None else plain, facts, fields.get("icc-profile-data"), _space(bands), data)


def add_facts(facts: Facts, exif: bytes | None, count: int, what: str) -> Facts:
    """Return the facts with those that a decoder found, but upright.

    AVIF and HEIC are turned by properties of their own, which the decoder applies; the orientation in EXIF
    must not be applied again (ISO/IEC 23008-12, 6.5.10).
    """
    facts = with_exif(facts, exif)
    return replace(facts, orientation=1, findings=(*facts.findings, *first_of(count, what)))


def check_size(width: int, height: int, *, max_px: float) -> None:
    """Refuse a picture that is too large to decode or too small to measure in.

    Raises
    ------
    PictureError
        The message states the size, the limit and the option that raises it.
    """
    if width * height > max_px:
        raise PictureError(
            f"the picture is {width} x {height} px = {width * height / 1e6:.4g} Mpx, above the limit of "
            f"{max_px / 1e6:g} Mpx. If that is right, raise the limit: --max-mpx {width * height / 1e6 + 1:.0f}."
        )
    if min(width, height) < _LEAST_PX:
        raise PictureError(
            f"the picture is only {width} x {height} px; at least {_LEAST_PX} px on each side are needed. "
            "Scan at 300 dpi or more."
        )


def compute(bands: Any) -> Pixels:
    """Decode, and return (H, W, C) C-contiguous pixels.

    Raises
    ------
    PictureError
        If the data ends early or is damaged.
    """
    if isinstance(bands, np.ndarray):
        return bands
    try:
        pixels = bands.numpy()
    except vips().Error as error:
        raise PictureError(DAMAGED) from error
    return np.ascontiguousarray(pixels.reshape(*pixels.shape[:2], -1))


def as_vips(bands: Any) -> Any:
    """Return pixels as a libvips image."""
    return vips().Image.new_from_array(bands) if isinstance(bands, np.ndarray) else bands


def _strictness(kind: str) -> str:
    """A TIFF's warnings are about its tags, often harmless; a JPEG's are about damaged pixels."""
    return "error" if kind == "tiff" else "warning"


def _wanted(bands: Any) -> list[str]:
    return [name for name in ("icc-profile-data", "exif-data", "n-pages") if bands.get_typeof(name)]


def _space(bands: Any) -> str:
    if bands.interpretation == "cmyk" and bands.bands >= 4:
        return "cmyk"
    if bands.interpretation in ("lab", "labs", "labq", "lch", "xyz"):
        raise PictureError("the picture is stored in Lab or XYZ colours. Save it as RGB or grey.")
    return "grey" if bands.bands <= 2 else "rgb"
