"""What the coverage-guided fuzzing calls: bytes in, a word of what came of them out; a fault is an exception.

Three targets, each further into the program: `headers` (kind, facts beside the pixels, EXIF, ICC), `reader` (the whole
picture) and `recipe` (the outline of it, by options that the first byte chooses). A PNG's check sums are mended first,
or no change of a chunk would come past them.
"""

import struct
import zlib

import numpy as np

from digitize.batch.memory import DEEP_ALPHA_BYTES
from digitize.errors import DigitizeError
from digitize.reading.exif import read_exif
from digitize.reading.headers import read_facts
from digitize.reading.icc import read_profile
from digitize.reading.kind import HEAD_BYTES, kind_of
from digitize.reading.picture import picture_from_bytes
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from digitize.sound import unsound

from .run import check_result, check_sentence

MAX_MPX = 0.5  # pictures are small: a fault of size shows in the estimate, not in hours
PLANNED_MB = DEEP_ALPHA_BYTES * MAX_MPX  # what a batch would plan for the largest
OPTIONS = (
    {"square_mm": (16.0, 16.0), "tolerance_mm": 0.2},
    {"dpi": (90.0, 90.0), "tolerance_mm": 0.2},
    {"square_mm": (16.0, 16.0), "clearance_mm": 0.3, "cut_holes": True, "tolerance_mm": 0.1},
    {"square_mm": (16.0, 16.0), "taken_with": "camera", "item_height_mm": 2.0, "tolerance_mm": 0.2},
)


def headers(data):
    """Everything that is told from a file without its pixels."""
    choice, data = data[:1], data[1:]
    try:
        if choice in (b"e", b"i"):
            return block(choice, data)
        data = mended(data)
        kind = kind_of(data[:HEAD_BYTES])
        facts = read_facts(kind, data)
    except DigitizeError as error:
        check_sentence(str(error))
        return "refused"
    for claim in facts.claims:
        assert isinstance(claim.source, str)
    return kind


def block(choice, data):
    """EXIF or ICC, whose damage is a ValueError that becomes a remark."""
    try:
        if choice == b"e":
            read_exif(data)
            return "EXIF"
        for curve in read_profile(data, size=256).curves:
            assert np.isfinite(curve).all()
            assert (np.diff(curve) > -1e-5).all()
    except ValueError:
        return "refused"
    return "profile"


def reader(data):
    """The picture, or a sentence."""
    try:
        picture = picture_from_bytes(mended(data), "case", max_mpx=MAX_MPX)
    except DigitizeError as error:
        check_sentence(str(error))
        return "refused"
    check_picture(picture)
    return "read"


def recipe(data):
    """The outlines, sound, or a sentence."""
    choice, data = data[:1] or b"\0", data[1:]
    try:
        picture = picture_from_bytes(mended(data), "case", max_mpx=MAX_MPX)
        outlined = outline_picture(picture, Settings.of(dict(OPTIONS[choice[0] % len(OPTIONS)])))
    except DigitizeError as error:
        check_sentence(str(error))
        return type(error).__name__
    check_result(outlined.result)
    for item in outlined.result.items:
        assert not unsound(item.exterior_mm, item.holes_mm), item.name
    return "outlined"


TARGETS = {"headers": headers, "reader": reader, "recipe": recipe}


def check_picture(picture):
    height, width, channels = picture.pixels.shape
    assert height * width <= MAX_MPX * 1e6
    assert channels in (1, 3)
    assert picture.pixels.dtype in (np.uint8, np.uint16)
    assert np.isfinite(picture.to_linear).all()
    assert len(picture.to_linear) == 256**picture.pixels.itemsize
    if picture.density is not None:
        assert 0 < picture.density.x_px_per_mm < 1e5
        assert 0 < picture.density.y_px_per_mm < 1e5


def mended(data):
    """A PNG with the check sums of its chunks as they should be; anything else as it is."""
    if not data.startswith(b"\x89PNG\r\n\x1a\n"):
        return data
    made, place = bytearray(data), 8
    while place + 12 <= len(data):
        (size,) = struct.unpack_from(">I", data, place)
        end = place + 8 + size
        if end + 4 > len(data):
            break
        struct.pack_into(">I", made, end, zlib.crc32(data[place + 4 : end]))
        place = end + 4
    return bytes(made)
