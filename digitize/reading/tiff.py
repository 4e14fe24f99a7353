"""Read a TIFF file's header (TIFF 6.0)."""

from __future__ import annotations

import math

from ..errors import PictureError
from .exif import read_exif
from .facts import Facts, first_of
from .ifd import TagFile, number, whole

_NEW_SUBFILE_TYPE, _EXTRA_SAMPLES, _DNG_VERSION = 0x00FE, 0x0152, 0xC612
_WIDTH, _HEIGHT = 0x0100, 0x0101
_ORIENTATION, _UNIT, _X_RESOLUTION, _Y_RESOLUTION = 0x0112, 0x0128, 0x011A, 0x011B
MOST_SIDE = 10_000_000  # px; the decoder's own limit, which it states on stderr
_CUT_TIFF = "the TIFF file is cut short or damaged. Copy or scan it again."


def tiff_facts(data: bytes) -> Facts:
    """Return the facts of a TIFF file; see `digitize.reading.headers.read_facts`."""
    try:
        tagged = TagFile(data)
        tags = tagged.tags(tagged.first, _NEW_SUBFILE_TYPE, _EXTRA_SAMPLES, _DNG_VERSION, _WIDTH, _HEIGHT)
        exif = read_exif(data, source="TIFF")
    except ValueError as error:
        raise PictureError(_CUT_TIFF) from error
    if _DNG_VERSION in tags or whole(tags, _NEW_SUBFILE_TYPE) & 1 or data[8:10] == b"CR":
        raise PictureError("this is a camera's raw file, or a TIFF that begins with a thumbnail. Develop it to a TIFF.")
    if max(whole(tags, _WIDTH), whole(tags, _HEIGHT)) > MOST_SIDE:
        raise PictureError(_CUT_TIFF)
    return Facts(
        claims=() if exif.claim is None else (exif.claim,),
        orientation=exif.orientation,
        camera=exif.camera,
        extra_is_alpha=number(tags, _EXTRA_SAMPLES) != 0,
        findings=first_of(_full_pages(tagged), "pages"),
    )


def _full_pages(tagged: TagFile) -> int:
    """Count the pages, leaving out reduced copies (bit 0) and masks (bit 2) of another page."""
    try:
        kinds = [whole(tagged.tags(offset, _NEW_SUBFILE_TYPE), _NEW_SUBFILE_TYPE) for offset in tagged.lists()]
    except ValueError:
        return 1
    return sum(not kind & 5 for kind in kinds)


def with_allowed_values(data: bytes) -> bytes:
    """Return the file with impossible values of tags that do not bear on the pixels replaced by 1.

    The decoder would refuse the whole file for them. A sound file is returned as it is, not copied.
    """
    tagged = TagFile(data)
    allowed = {_ORIENTATION: range(1, 9), _UNIT: range(1, 4)}
    tags = tagged.tags(tagged.first, *allowed, _X_RESOLUTION, _Y_RESOLUTION)
    wrong = [tag for tag, values in allowed.items() if tag in tags and number(tags, tag) not in values]
    wrong += [tag for tag in (_X_RESOLUTION, _Y_RESOLUTION) if not 0 < (number(tags, tag) or 1) < math.inf]
    return tagged.with_ones(tagged.first, *wrong) if wrong else data
