"""What an EXIF block says of orientation, density and camera (CIPA DC-008, Exif 3.0)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..records import CameraTag
from .density import MM_PER_INCH, Claim
from .ifd import TagFile, Tags, number, text

_MAKE, _MODEL, _ORIENTATION = 0x010F, 0x0110, 0x0112
_X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 0x011A, 0x011B, 0x0128
_EXIF_LIST, _FOCAL_LENGTH, _FOCAL_35MM = 0x8769, 0x920A, 0xA405
_WIDTH, _HEIGHT = 0xA002, 0xA003  # PixelXDimension, PixelYDimension
_FOCAL_PLANE_X, _FOCAL_PLANE_Y, _FOCAL_PLANE_UNIT = 0xA20E, 0xA20F, 0xA210  # pixels a unit where the light falls
_DETAILS = (_FOCAL_LENGTH, _FOCAL_35MM, _WIDTH, _HEIGHT, _FOCAL_PLANE_X, _FOCAL_PLANE_Y, _FOCAL_PLANE_UNIT)
_FIRST_LIST = (_MAKE, _MODEL, _ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT, _EXIF_LIST)
_MM_PER_UNIT = {2: MM_PER_INCH, 3: 10.0}


@dataclass(frozen=True, slots=True)
class Exif:
    """Orientation 1 to 8, the density claimed and the camera."""

    orientation: int = 1
    claim: Claim | None = None
    camera: CameraTag | None = None


def read_exif(block: bytes, *, source: str = "EXIF") -> Exif:
    """Read an EXIF block, or a whole TIFF file.

    Raises
    ------
    ValueError
        If the block is damaged.
    """
    block = block.removeprefix(b"Exif\0\0")
    tagged = TagFile(block)
    tags = tagged.tags(tagged.first, *_FIRST_LIST)
    return Exif(_orientation(tags), _resolution(tags, source), _camera(tags, _details(tagged, tags)))


def _resolution(tags: Tags, source: str) -> Claim | None:
    """Return the density of a list of tags; None if it has none or no unit (then it is an aspect only)."""
    x, y = number(tags, _X_RESOLUTION), number(tags, _Y_RESOLUTION)
    x, y = (y if x is None else x), (x if y is None else y)
    unit = number(tags, _RESOLUTION_UNIT)
    mm = _MM_PER_UNIT.get(int(unit) if unit is not None and math.isfinite(unit) else 2)
    if x is None or y is None or mm is None:
        return None
    return Claim(x / mm, y / mm, source)


def _orientation(tags: Tags) -> int:
    value = number(tags, _ORIENTATION)
    return int(value) if value in range(1, 9) and value is not None else 1


def _details(tagged: TagFile, tags: Tags) -> Tags:
    """Return the tags of the nested list; nothing if it is missing or damaged. It is followed once, so loops end."""
    offset = number(tags, _EXIF_LIST)
    try:
        return tagged.tags(int(offset), *_DETAILS) if offset else {}
    except (ValueError, OverflowError):
        return {}


def _camera(tags: Tags, details: Tags) -> CameraTag | None:
    focal_mm, taken_px = _length(details, _FOCAL_LENGTH), _taken_px(details)
    camera = CameraTag(
        text(tags, _MAKE),
        text(tags, _MODEL),
        focal_mm,
        _length(details, _FOCAL_35MM),
        _focal_px(details, focal_mm) if taken_px is not None else None,
        taken_px,
    )
    return None if camera == CameraTag() else replace(camera, orientation=_orientation(tags))


def _focal_px(details: Tags, focal_mm: float | None) -> float | None:
    """Return the focal length in pixels by the pixels that lie on a unit of the focal plane; None if not stated.

    Where a camera cuts a picture to another shape it may still divide by the whole sensor's height or width: of two
    resolutions that differ the larger one is of the side that was kept.
    """
    found = [_length(details, tag, 1e6) for tag in (_FOCAL_PLANE_X, _FOCAL_PLANE_Y)]
    unit = number(details, _FOCAL_PLANE_UNIT)
    mm = _MM_PER_UNIT.get(int(unit) if unit is not None and math.isfinite(unit) else 2)
    stated = [value for value in found if value is not None]
    return focal_mm * max(stated) / mm if focal_mm is not None and stated and mm is not None else None


def _taken_px(details: Tags) -> tuple[float, float] | None:
    """Return width and height that the picture had as it was taken, as the sensor lies; None if not stated."""
    wide, high = (_length(details, tag, 1e6) for tag in (_WIDTH, _HEIGHT))
    return None if wide is None or high is None else (wide, high)


def _length(tags: Tags, tag: int, below: float = 10_000) -> float | None:
    """Return a length in mm, or another number under a limit; zero means unknown in EXIF."""
    value = number(tags, tag)
    return float(value) if value is not None and math.isfinite(value) and 0 < value < below else None
