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
        return tagged.tags(int(offset), _FOCAL_LENGTH, _FOCAL_35MM) if offset else {}
    except (ValueError, OverflowError):
        return {}


def _camera(tags: Tags, details: Tags) -> CameraTag | None:
    camera = CameraTag(
        text(tags, _MAKE), text(tags, _MODEL), _length(details, _FOCAL_LENGTH), _length(details, _FOCAL_35MM)
    )
    return None if camera == CameraTag() else replace(camera, orientation=_orientation(tags))


def _length(tags: Tags, tag: int) -> float | None:
    """Return a length in mm; zero means unknown in EXIF."""
    value = number(tags, tag)
    return float(value) if value is not None and math.isfinite(value) and 0 < value < 10_000 else None
