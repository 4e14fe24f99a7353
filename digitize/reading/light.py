"""From decoded bands to upright grey or RGB pixels with their table to linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import PictureError
from ..records import Finding
from ..words.say import finding_of
from .curve import Table, srgb, steps, table, to_codes
from .icc import Profile, read_profile
from .raw import Pixels, Raw, as_vips, compute, vips

_ROWS = 256  # rows blended at a time, to bound memory
_TURNS = {
    2: ("fliphor",),
    3: ("rot180",),
    4: ("flipver",),
    5: ("rot90", "fliphor"),
    6: ("rot90",),
    7: ("rot270", "fliphor"),
    8: ("rot270",),
}


@dataclass(frozen=True, slots=True)
class Lit:
    """Pixels (H, W, C), C = 1 or 3, as stored (not yet turned), and their table to linear light."""

    pixels: Pixels
    to_linear: Table
    findings: tuple[Finding, ...] = ()
    curve_stated: bool = True  # False: the file says nothing of its curve, and sRGB's was taken


def light(raw: Raw) -> Lit:
    """Decode a picture and find its curve to linear light.

    An ICC profile's own curves come first, then PNG's gamma, then sRGB. CMYK, and profiles that hold only
    colour tables, are converted to sRGB.

    Raises
    ------
    PictureError
        If the data is damaged, or every pixel is transparent.
    """
    size = 65536 if _is_16_bit(raw.bands) else 256
    profile, findings = _profile(raw, size)
    channels = 1 if raw.space == "grey" else 3
    if raw.space == "cmyk" or (profile is not None and not profile.curves):
        bands, remark = _converted(raw, keep=profile is not None)
        pixels, to_linear, findings = compute(bands), _srgb_table(size, channels), (*findings, remark)
    else:
        pixels, to_linear = compute(raw.bands), _table(profile, raw.facts.gamma, size, channels)
    pixels, alpha = _without_alpha(pixels, to_linear, is_alpha=raw.facts.extra_is_alpha)
    stated = raw.space == "cmyk" or profile is not None or raw.facts.gamma is not None
    return Lit(pixels, to_linear, (*findings, *alpha), stated)


def turn(pixels: Pixels, orientation: int) -> Pixels:
    """Return the upright picture of pixels stored with the EXIF `orientation` 1 to 8."""
    if orientation == 1:
        return pixels
    image = as_vips(pixels)
    for step in _TURNS[orientation]:
        image = getattr(image, step)()
    return compute(image)


def _is_16_bit(bands: Any) -> bool:
    return bool(bands.dtype == np.uint16) if isinstance(bands, np.ndarray) else bool(bands.format == "ushort")


def _profile(raw: Raw, size: int) -> tuple[Profile | None, tuple[Finding, ...]]:
    """Return the file's profile if it is sound and fits the picture, else None and a finding."""
    if not raw.icc:
        return None, ()
    try:
        profile = read_profile(raw.icc, size=size)
        _check_space(profile, raw.space)
    except ValueError as error:
        return None, (finding_of("profile-ignored", why=error),)
    return profile, ()


def _check_space(profile: Profile, space: str) -> None:
    """A grey picture may bear an RGB profile whose three curves are one."""
    expected = {"grey": "GRAY", "rgb": "RGB", "cmyk": "CMYK"}[space]
    same = len(profile.curves) == 3 and all(np.array_equal(profile.curves[0], curve) for curve in profile.curves)
    if profile.space != expected and not (space == "grey" and same):
        raise ValueError(f"it is for {profile.space}, the picture is {expected}")


def _table(profile: Profile | None, gamma: float | None, size: int, channels: int) -> Table:
    if profile is not None:
        return table(*profile.curves[:channels])
    if gamma is not None:
        return table(*[steps(size) ** gamma] * channels)
    return _srgb_table(size, channels)


def _srgb_table(size: int, channels: int) -> Table:
    return table(*[srgb(steps(size))] * channels)


def _converted(raw: Raw, *, keep: bool) -> tuple[Any, Finding]:
    """Return the bands as sRGB (or grey of the same curve), through the file's own profile if `keep`."""
    pyvips = vips()
    space, depth = ("rgb16", 16) if _is_16_bit(raw.bands) else ("srgb", 8)
    bands = as_vips(raw.bands)
    bands = bands[:4] if raw.space == "cmyk" else bands
    how = "its own colour profile" if keep else "a usual CMYK profile, as it has none"
    finding = finding_of("colours-converted", attention=False, how=how)
    if not keep:
        return bands.colourspace(space), finding
    bands = bands.copy()
    bands.set_type(pyvips.GValue.blob_type, "icc-profile-data", raw.icc)
    try:
        return bands.icc_transform("srgb", embedded=True, intent="relative", depth=depth), finding
    except pyvips.Error as error:
        raise PictureError("its colour profile is damaged, and its colours mean nothing without it.") from error


def _without_alpha(pixels: Pixels, to_linear: Table, *, is_alpha: bool) -> tuple[Pixels, tuple[Finding, ...]]:
    """Return the pixels without their further channels, blended over white in linear light where transparent."""
    channels = to_linear.shape[1]
    if pixels.shape[2] == channels:
        return pixels, ()
    colours = np.ascontiguousarray(pixels[:, :, :channels])
    if not is_alpha:
        return colours, ()
    alpha = pixels[:, :, channels]
    if not alpha.any():
        raise PictureError("every pixel is fully transparent. Save the picture without transparency.")
    blended = sum(
        _blend(colours[row : row + _ROWS], alpha[row : row + _ROWS], to_linear) for row in range(0, len(alpha), _ROWS)
    )
    if not blended:
        return colours, ()
    share = blended / alpha.size
    return colours, (finding_of("transparency", value=share, limit=0.0),)


def _blend(colours: Pixels, alpha: Pixels, to_linear: Table) -> int:
    """Blend over white in place; return how many pixels were not opaque."""
    top = np.iinfo(alpha.dtype).max
    rows, columns = np.nonzero(alpha < top)
    weight = alpha[rows, columns] / top
    for channel in range(to_linear.shape[1]):
        codes = colours[rows, columns, channel]
        mixed = weight * to_linear[codes, channel] + (1.0 - weight)
        colours[rows, columns, channel] = to_codes(mixed, to_linear[:, channel])
    return len(rows)
