"""Which reference the picture holds, and the scale it gives: our coded rings, else the user's plain square."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np
import numpy.typing as npt

from ..errors import ScaleError
from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import Density, FloatArray, Picture, eight_bit
from ..settings import Settings
from .codes import SeenCode, find_codes
from .on_glass import scale_of_scanner
from .plain_square import locate_plain_square
from .refusals import no_reference, require_one_card
from .ring_card import locate_ring_card
from .scale import FlatbedScale, ScaleEstimate, compare_with_density, doubt_axes, scale_from_density
from .unused_options import unused_options

if TYPE_CHECKING:
    from ..camera.estimate import CameraEstimate

_FILLER_PX_PER_MM = 4.0  # 100 dpi: what is stated below may be filler, no scanner's density


@dataclass(frozen=True, slots=True)
class Located:
    """A scale and where its reference lies."""

    estimate: ScaleEstimate
    squares_px: tuple[FloatArray, ...]  # (4, 2) outer corners of each reference square
    marks_px: tuple[FloatArray, ...]  # (N, 2) polygons over the further print of a known card
    camera: CameraEstimate | None = None  # of a photo
    sheet_px: FloatArray | None = None  # (N, 2) outline of the mat's sheet in a photo


def locate_reference(picture: Picture, reduced: Reduced, settings: Settings) -> Located:
    """Find the scale by the best evidence the picture and the user give.

    Raises
    ------
    ScaleError
        If there is none that can be trusted; the message says what was seen and how to go on.
    """
    density = _density(picture, settings)
    seen = find_codes(grey(reduced)) if settings.square_at_px is None else ()
    require_one_card(seen, reduced)
    if not seen and settings.square_mm is None and settings.scanner is not None:
        return Located(scale_of_scanner(settings.scanner), (), ())
    if not seen and settings.square_mm is None and settings.dpi is not None and density is not None:
        return Located(scale_from_density(density, picture.height_px), (), ())
    located = _by_reference(picture, reduced, seen, settings, density)
    more = unused_options(settings, seen)
    return replace(located, estimate=replace(located.estimate, findings=(*located.estimate.findings, *more)))


def _by_reference(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, density: Density | None
) -> Located:
    """Scale by rings or square, as a scan or as a photo."""
    is_scan = settings.taken_with == "flatbed" or settings.scanner is not None
    why = None if is_scan else _photo_evidence(picture, settings)
    if why is not None and (seen or settings.square_mm is not None):
        return _in_photo(picture, reduced, seen, settings, why)
    try:
        return _in_scan(picture, reduced, seen, settings, density)
    except ScaleError as error:
        if is_scan or not _may_be_photo(density, seen, settings):
            raise
        return _photo_after_all(picture, reduced, seen, settings, error)


def _in_scan(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, density: Density | None
) -> Located:
    """Scale of a flatbed by rings or square, compared with the density."""
    if seen:
        found = locate_ring_card(picture, reduced, seen, settings)
    elif settings.square_mm is not None:
        found = locate_plain_square(picture, reduced, settings, settings.square_mm, density)
    else:
        raise ScaleError(no_reference(picture, reduced))
    more = compare_with_density(cast(FlatbedScale, found.estimate.scale), density)
    own = found.estimate.findings
    if density is not None and not more:
        own = tuple(replace(f, attention=f.attention and f.code != "reading-unlikely") for f in own)
    estimate = replace(found.estimate, findings=(*own, *more))
    if settings.scanner is None:
        estimate = doubt_axes(estimate, density)
    return Located(estimate, found.squares_px, found.marks_px)


def _photo_evidence(picture: Picture, settings: Settings) -> str | None:
    """Why the picture is taken as a photo, in words; None when nothing says so before the card is looked at."""
    if settings.taken_with == "camera":
        return "--camera was said"
    if settings.wants_camera:
        return "an option for photos was given"
    tag = picture.camera
    if settings.dpi is not None or tag is None or (tag.focal_35mm is None and tag.focal_mm is None):
        return None
    return "its EXIF holds a focal length"


def _may_be_photo(density: Density | None, seen: tuple[SeenCode, ...], settings: Settings) -> bool:
    """Whether a picture that failed as a scan may be a photo without EXIF: no scanner's density, something to see."""
    scanned = density is not None and (density.x_px_per_mm > _FILLER_PX_PER_MM or settings.dpi is not None)
    return not scanned and (bool(seen) or settings.square_mm is not None)


def _in_photo(picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, why: str) -> Located:
    """Scale of a photo by rings or square."""
    from .photo import locate_rings, locate_square

    if seen:
        found = locate_rings(picture, reduced, seen, settings, why)
    elif settings.square_mm is not None:
        found = locate_square(picture, reduced, settings, settings.square_mm, why)
    else:
        raise ScaleError(no_reference(picture, reduced))
    return Located(found.estimate, found.squares_px, found.marks_px, found.camera, found.sheet_px)


def _photo_after_all(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, error: ScaleError
) -> Located:
    """Try a photo; when a square cannot be found that way either, say what was said of the scan."""
    try:
        return _in_photo(picture, reduced, seen, settings, "the reference is seen at an angle")
    except ScaleError:
        if seen:
            raise
        raise error from None


def _density(picture: Picture, settings: Settings) -> Density | None:
    if settings.dpi is None:
        return picture.density
    return Density(settings.dpi[0] / 25.4, settings.dpi[1] / 25.4, "--dpi")


def grey(reduced: Reduced) -> npt.NDArray[np.uint8]:
    """Return the reduced picture in shades of grey, (h, w)."""
    codes = eight_bit(reduced.codes)
    return np.ascontiguousarray(codes[..., 0] if codes.shape[2] == 1 else cv().cvtColor(codes, cv().COLOR_RGB2GRAY))
