"""Read a TIFF file's header (TIFF 6.0)."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import PictureError
from .exif import read_exif
from .facts import Facts, first_of
from .ifd import TagFile, number, whole

_NEW_SUBFILE_TYPE, _EXTRA_SAMPLES, _DNG_VERSION = 0x00FE, 0x0152, 0xC612
_WIDTH, _HEIGHT = 0x0100, 0x0101
_BITS, _COMPRESSION, _PHOTOMETRIC, _FILL_ORDER, _SAMPLES = 0x0102, 0x0103, 0x0106, 0x010A, 0x0115
_OFFSETS, _COUNTS, _PLANAR, _SAMPLE_FORMAT = 0x0111, 0x0117, 0x011C, 0x0153
_PLAIN = {_COMPRESSION: 1, _FILL_ORDER: 1, _PLANAR: 1}  # the only values, and what is meant where the tag is missing
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


def plain_pixels(data: bytes) -> npt.NDArray[Any] | None:
    """Return the pixels of an uncompressed TIFF as they lie in the file, (H, W, C) uint8, C = 1 or 3, or None.

    Of grey, black at 0, and RGB, 8 bit, without further channels, whose strips lie in the file one after the other.
    Nothing is read or copied: a sound file's pixels are the file.
    """
    try:
        tagged = TagFile(data)
        tags = tagged.tags(
            tagged.first,
            *(_WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _SAMPLES, _OFFSETS, _COUNTS, _SAMPLE_FORMAT, _EXTRA_SAMPLES),
            *_PLAIN,
        )
    except ValueError:
        return None
    size, samples = (whole(tags, _HEIGHT), whole(tags, _WIDTH)), int(number(tags, _SAMPLES) or 1)
    usual = all(number(tags, tag) in (None, value) for tag, value in _PLAIN.items())
    known = {1: 1, 3: 2}.get(samples) == number(tags, _PHOTOMETRIC) and _EXTRA_SAMPLES not in tags
    eight = tags.get(_BITS) == (8,) * samples and set(tags.get(_SAMPLE_FORMAT, (1,))) == {1}
    starts, counts = (np.array(tags.get(tag, ()), dtype=np.float64) for tag in (_OFFSETS, _COUNTS))
    if not (usual and known and eight and len(starts) == len(counts) > 0):
        return None
    first, total = int(starts[0]), size[0] * size[1] * samples
    in_turn = np.array_equal(starts[1:], (starts + counts)[:-1]) and counts.min() > 0 and counts.sum() == total
    if not in_turn or first + total > len(data):
        return None
    return np.ndarray((*size, samples), np.uint8, data, first)
