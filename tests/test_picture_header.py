"""Density, camera and other facts out of headers, against the integers written into them."""

import math
import struct
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from digitize.reading.headers import read_facts
from digitize.reading.ifd import TagFile
from digitize.reading.picture import picture_from_bytes
from digitize.reading.reduced import Blocks

from .picture_files import chunk, exif, exif_segment, jfif, jpeg, phys, png, saved, scene, tiff

RGB = scene()


def read(data):
    return picture_from_bytes(data, "a.bin")


def density(data):
    found = read(data).density
    return None if found is None else (found.x_px_per_mm, found.y_px_per_mm, found.source)


def codes(data):
    return [(finding.code, finding.attention) for finding in read(data).findings]


IGNORED = [("density-ignored", False)]


# W3C PNG, 11.3.4.3: pixels per metre if the unit is 1; 11811 and 23622 stand for 300 and 600 dpi
@pytest.mark.parametrize("metre", [11811, 23622, 47244, 3937])
def test_phys_is_taken_exactly(metre):
    assert density(png(RGB, phys(metre, metre + 1, 1))) == (metre / 1000, (metre + 1) / 1000, "PNG pHYs")


def test_phys_without_unit_is_an_aspect_only():
    assert density(png(RGB, phys(23622, 23622, 0))) is None


@pytest.mark.parametrize("values", [(0, 0), (0, 23622), (1, 1), (2**32 - 1, 2**32 - 1), (3937, 39370)])
def test_absurd_phys_is_ignored_with_a_remark(values):
    data = png(RGB, phys(*values, 1))
    assert density(data) is None
    assert codes(data) == IGNORED


# JFIF 1.02: unit 0 aspect, 1 dots per inch, 2 dots per cm
@pytest.mark.parametrize(
    ("unit", "value", "expected"), [(1, 600, 600 / 25.4), (1, 300, 300 / 25.4), (2, 236, 23.6), (2, 118, 11.8)]
)
def test_jfif_with_its_unit(unit, value, expected):
    assert density(jpeg(RGB, jfif(unit, value, 2 * value))) == pytest.approx((expected, 2 * expected, "JFIF"))


def test_jfif_without_unit_is_an_aspect_only():
    assert density(jpeg(RGB, jfif(0, 600, 600))) is None


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize(
    ("unit", "pair", "expected"),
    [
        (2, (600, 1), 600 / 25.4),
        (2, (6000000, 10000), 600 / 25.4),
        (3, (236, 1), 23.6),
        (3, (2362205, 10000), 23.62205),
    ],
)
def test_tiff_with_its_unit(order, unit, pair, expected):
    extra = {282: (5, [pair]), 283: (5, [pair]), 296: (3, [unit])}
    x, y, source = density(tiff(RGB, extra, order=order))
    assert (x, y) == pytest.approx((expected, expected), rel=1e-12)
    assert source == "TIFF"


def test_tiff_unit_is_the_inch_unless_stated():
    # TIFF 6.0, ResolutionUnit: default 2 (inch); 1 is no absolute unit
    pair = {282: (5, [(400, 1)]), 283: (5, [(400, 1)])}
    assert density(tiff(RGB, pair)) == pytest.approx((400 / 25.4, 400 / 25.4, "TIFF"))
    assert density(tiff(RGB, {**pair, 296: (3, [1])})) is None
    assert density(tiff(RGB, {**pair, 296: (3, [9])})) is None


@pytest.mark.parametrize("pair", [(0, 0), (1, 0), (0, 1), (4294967295, 1)])
def test_tiff_density_of_zero_nan_or_infinity_is_ignored(pair):
    data = tiff(RGB, {282: (5, [pair]), 283: (5, [pair]), 296: (3, [2])})
    assert density(data) is None
    assert codes(data) == IGNORED


def test_tiff_density_as_floating_nan_is_ignored():
    nan = struct.unpack("<I", struct.pack("<f", math.nan))
    data = bytearray(tiff(RGB, {282: (4, nan), 283: (4, nan)}))
    for tag in (282, 283):
        place = data.index(struct.pack("<HHI", tag, 4, 1))
        data[place + 2] = 11  # FLOAT
    assert density(bytes(data)) is None
    assert codes(bytes(data)) == IGNORED


def test_bmp_density():
    assert density(saved(RGB, "BMP", dpi=(600, 300))) == (23.622, 11.811, "BMP")


@pytest.mark.parametrize("order", ["<", ">"])
def test_exif_density_in_jpeg_png_webp(order):
    block = exif({0x11A: (5, [(600, 1)]), 0x11B: (5, [(1200, 2)]), 0x128: (3, [2])}, order=order)
    for data in (
        jpeg(RGB, exif_segment(block)),
        png(RGB, chunk(b"eXIf", block)),
        saved(RGB, "WEBP", lossless=True, exif=block),
    ):
        assert density(data) == pytest.approx((600 / 25.4, 600 / 25.4, "EXIF"))


def test_filler_in_jfif_gives_way_to_exif_and_only_then():
    block = exif({0x11A: (5, [(600, 1)]), 0x11B: (5, [(600, 1)])})
    assert density(jpeg(RGB, jfif(1, 72, 72), exif_segment(block)))[2] == "EXIF"
    assert density(jpeg(RGB, jfif(1, 300, 300), exif_segment(block)))[2] == "JFIF"
    assert density(jpeg(RGB, jfif(1, 72, 72))) == pytest.approx((72 / 25.4, 72 / 25.4, "JFIF"))


CAMERA = {0x10F: (2, b"Acme\0"), 0x110: (2, b"Box 1\0")}


def test_camera_tags():
    block = exif(CAMERA, {0x920A: (5, [(425, 100)]), 0xA405: (3, [26])})
    camera = read(jpeg(RGB, exif_segment(block))).camera
    assert (camera.make, camera.model, camera.focal_mm, camera.focal_35mm) == ("Acme", "Box 1", 4.25, 26)


# A sensor 24 mm wide with 4800 px has 200 px on each mm, 5080 on an inch, 2000 on a centimetre: 50 mm are 10,000 px
# by CIPA DC-008, which counts inches as unit 2 and centimetres as unit 3.
ON_SENSOR = {0x920A: (5, [(50, 1)]), 0xA002: (4, [4800]), 0xA003: (4, [3200])}


@pytest.mark.parametrize(
    "plane",
    [
        {0xA20E: (5, [(5080, 1)]), 0xA20F: (5, [(5080, 1)]), 0xA210: (3, [2])},
        {0xA20E: (5, [(5080, 1)])},
        {0xA20E: (5, [(2000, 1)]), 0xA20F: (5, [(2000, 1)]), 0xA210: (3, [3])},
        # cut to 16:9 by the camera, whose height is still divided by the whole sensor's
        {0xA20E: (5, [(5080, 1)]), 0xA20F: (5, [(4287, 1)]), 0xA210: (3, [2])},
    ],
)
def test_focal_length_in_pixels_by_the_focal_plane(plane):
    block = exif(CAMERA, {**ON_SENSOR, **plane})
    with Image.open(BytesIO(jpeg(RGB, exif_segment(block)))) as judge:
        stated = judge.getexif().get_ifd(0x8769)
    assert stated[0xA20E] in (5080, 2000)
    camera = read(jpeg(RGB, exif_segment(block))).camera
    assert camera.focal_px == pytest.approx(10_000)
    assert camera.taken_px == (4800, 3200)


def test_no_focal_length_in_pixels_where_something_is_missing():
    plane = {0xA20E: (5, [(5080, 1)]), 0xA210: (3, [2])}
    for details in (
        plane,  # neither focal length nor size
        {**plane, 0x920A: (5, [(50, 1)])},  # no size: it may have been cut since
        {**ON_SENSOR, 0xA20E: (5, [(0, 1)])},
        {**ON_SENSOR, 0xA20E: (5, [(5080, 0)])},
        {**ON_SENSOR, 0xA20E: (5, [(5080, 1)]), 0xA210: (3, [9])},
    ):
        assert read(jpeg(RGB, exif_segment(exif(CAMERA, details)))).camera.focal_px is None


def test_unknown_focal_length_is_none():
    block = exif(CAMERA, {0x920A: (5, [(0, 1)]), 0xA405: (3, [0])})
    camera = read(jpeg(RGB, exif_segment(block))).camera
    assert (camera.focal_mm, camera.focal_35mm) == (None, None)


def test_no_camera_without_exif():
    assert read(jpeg(RGB)).camera is None


def test_camera_tags_of_tiff():
    assert read(tiff(RGB, {271: (2, b"Acme\0")})).camera.make == "Acme"


@pytest.mark.parametrize("form", ["jfif", "exif"])
def test_72_dpi_of_a_camera_is_filler(form):
    density_tags = {0x11A: (5, [(72, 1)]), 0x11B: (5, [(72, 1)])}
    block = exif({**CAMERA, **(density_tags if form == "exif" else {})})
    segments = [jfif(1, 72, 72)] if form == "jfif" else []
    data = jpeg(RGB, *segments, exif_segment(block))
    assert density(data) is None
    assert codes(data) == IGNORED


def test_a_scanner_maker_does_not_spoil_its_density():
    assert density(jpeg(RGB, jfif(1, 600, 600), exif_segment(exif(CAMERA))))[2] == "JFIF"


def test_a_photo_has_no_density():
    data = jpeg(RGB, jfif(1, 300, 300), exif_segment(exif(CAMERA, {0x920A: (5, [(50, 1)])})))
    assert density(data) is None
    assert codes(data) == IGNORED


def block_with_loop():
    block = bytearray(exif(CAMERA, {0x920A: (5, [(50, 1)])}))
    place = block.index(struct.pack("<HHI", 0x8769, 4, 1))
    block[place + 8 : place + 12] = struct.pack("<I", 8)  # the nested list is the first list again
    return bytes(block)


@pytest.mark.parametrize(
    "block",
    [
        b"",
        b"II",
        b"II*\0\xff\xff\xff\xff",
        b"II*\0\x08\0\0\0\xff\xff",
        b"XX*\0\x08\0\0\0\0\0",
        exif(CAMERA)[:20],
        exif({0x112: (2, b"abcdefgh\0")}),
        exif(CAMERA, {0x920A: (5, [(1, 0)])}),
        block_with_loop(),
    ],
)
def test_damaged_exif_never_costs_the_picture(block):
    picture = read(jpeg(RGB, exif_segment(block)))
    assert picture.pixels.shape == RGB.shape
    assert all(not finding.attention for finding in picture.findings)


def test_chain_of_pages_that_loops_ends():
    data = bytearray(tiff(RGB, pages=2))
    first = struct.unpack_from("<I", data, 4)[0]
    count = struct.unpack_from("<H", data, first)[0]
    second = struct.unpack_from("<I", data, first + 2 + 12 * count)[0]
    struct.pack_into("<I", data, second + 2 + 12 * count, first)
    picture = read(bytes(data))
    assert picture.findings[0].value == 2


def test_tags_without_end_do_not_hang():
    block = b"II*\0\x08\0\0\0" + struct.pack("<H", 5000) + struct.pack("<HHII", 0x112, 3, 1, 1) * 5000
    assert read(jpeg(RGB, exif_segment(block + bytes(4)))).pixels.shape == RGB.shape


@pytest.mark.parametrize(
    "extra", [{271: (2, b"Acme scanner")}, {274: (3, [9])}, {296: (3, [7])}, {34675: (7, b"junk")}]
)
def test_harmless_faults_of_tiff_tags_are_borne(extra):
    assert np.array_equal(read(tiff(RGB, extra)).pixels, RGB)
    assert np.array_equal(read(tiff(RGB, extra, order=">")).pixels, RGB)


def test_overlapping_lists_of_tags_end_too():
    # every place below holds the count 65535, and each list's end leads to the next place
    data = bytearray(b"\xff" * 1_000_000)
    data[:8] = b"II*\0" + struct.pack("<I", 8)
    for place in range(8, 8008, 4):
        struct.pack_into("<I", data, place + 2 + 12 * 65535, place + 4)
    with pytest.raises(ValueError, match="too many tags"):
        TagFile(bytes(data)).lists()


JUDGED = {0x10F: (2, b"Acme\0"), 0x110: (2, b"Box 1\0"), 0x112: (3, [6]), 0x128: (3, [3])}
JUDGED |= {0x11A: (5, [(23622, 100)]), 0x11B: (5, [(118, 1)])}


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("form", ["jpeg", "png", "tiff"])
def test_pillow_reads_the_same_tags(order, form):
    block = exif(JUDGED, {0x920A: (5, [(425, 100)]), 0xA405: (3, [26])}, order=order)
    data = {
        "jpeg": lambda: jpeg(RGB, exif_segment(block)),
        "png": lambda: png(RGB, chunk(b"eXIf", block)),
        "tiff": lambda: tiff(RGB, JUDGED, order=order),
    }[form]()
    with Image.open(BytesIO(data)) as judge:
        tags = judge.getexif()
        details = tags.get_ifd(0x8769)
    facts = read_facts(form, data)
    assert (facts.camera.make, facts.camera.model, facts.orientation) == (tags[0x10F], tags[0x110], tags[0x112])
    assert (facts.camera.focal_mm, facts.camera.focal_35mm) == (details.get(0x920A), details.get(0xA405))
    claim = facts.claims[0]
    assert tags[0x128] == 3  # a centimetre
    assert (10 * claim.x_px_per_mm, 10 * claim.y_px_per_mm) == pytest.approx((tags[0x11A], tags[0x11B]), rel=1e-12)


@pytest.mark.parametrize("quality", [5, 20, 75, 95])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_steps_of_a_jpegs_blocks_are_those_of_its_tables(quality, mode):
    """Held against Pillow, which gives the tables row by row; an eighth of a table's step is one of the mean's."""
    file = BytesIO()
    image = Image.fromarray(np.random.default_rng(1).integers(0, 255, (40, 56, 3), np.uint8)).convert(mode)
    image.save(file, "JPEG", quality=quality)
    tables = Image.open(BytesIO(file.getvalue())).quantization
    broad = [max(table[8 * row + column] for row in range(3) for column in range(3 - row)) for table in tables.values()]
    steps = picture_from_bytes(file.getvalue(), "scan.jpg").block_steps
    assert steps == (broad[0] / 8, broad[1] / 8 if mode == "RGB" else 0.0)


def test_other_files_state_no_blocks():
    file = BytesIO()
    Image.new("RGB", (20, 20), (200, 100, 50)).save(file, "PNG")
    assert picture_from_bytes(file.getvalue(), "scan.png").block_steps == (0.0, 0.0)


def test_what_a_block_may_be_off_is_what_rounding_leaves():
    """Flat patches of many colours, saved coarsely: none is farther off than is told, the farthest nearly as far."""
    rng = np.random.default_rng(3)
    colours = rng.integers(90, 200, (24, 24, 3))
    codes = np.kron(colours, np.ones((16, 16, 1))).astype(np.uint8)
    file = BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=20)
    picture = picture_from_bytes(file.getvalue(), "scan.jpg")
    middles = np.abs(picture.pixels.astype(float) - codes)[7::16, 7::16]  # colour is smoothed between blocks
    off = middles.max(axis=(0, 1))
    told = Blocks.of(picture).off
    luma, chroma = (40 / 16, 60 / 16)  # halves of the broadest parts' steps, ITU-T T.81, K.1 and K.2, at quality 20
    assert told == pytest.approx(np.hypot(luma, chroma * np.array([1.402, 0.792753, 1.772])), rel=1e-4)
    assert (off <= 1.5 * told + 1).all()  # brightness and both colours off at once
    assert (off >= 0.5 * told).all()
