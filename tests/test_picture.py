"""Reading pictures: formats, modes, curve to linear light, orientation."""

import hashlib
import subprocess
import sys
from io import BytesIO

import numpy as np
import pytest
from PIL import Image, ImageOps

from digitize.errors import PictureError, UsageError
from digitize.reading.picture import picture_from_bytes, read_picture
from digitize.reading.tiff import plain_pixels

from .picture_files import chunk, exif, exif_segment, jpeg, png, saved, scene, tiff

RGB, GREY = scene(), scene(channels=1)
RGB16 = RGB.astype(np.uint16) * 251 + 7
GREY16 = GREY.astype(np.uint16) * 251 + 7


def read(data, name="a.bin", **options):
    return picture_from_bytes(data, name, **options)


def codes(picture):
    return [finding.code for finding in picture.findings]


LOSSLESS = {
    "png rgb": (saved(RGB, "PNG"), RGB),
    "png grey": (saved(GREY, "PNG"), GREY),
    "png 16 rgb": (png(RGB16), RGB16),
    "png 16 grey": (png(GREY16), GREY16),
    "png interlaced": (saved(RGB, "PNG", interlace=1), RGB),
    "tiff rgb": (saved(RGB, "TIFF"), RGB),
    "tiff lzw": (saved(RGB, "TIFF", compression="tiff_lzw"), RGB),
    "tiff deflate": (saved(RGB, "TIFF", compression="tiff_adobe_deflate"), RGB),
    "tiff packbits": (saved(GREY, "TIFF", compression="packbits"), GREY),
    "tiff raw, big-endian": (tiff(RGB, order=">"), RGB),
    "tiff 16 rgb": (tiff(RGB16), RGB16),
    "tiff 16 rgb, big-endian": (tiff(RGB16, order=">"), RGB16),
    "tiff 16 grey": (tiff(GREY16), GREY16),
    "tiff min-is-white": (tiff(GREY, photometric=0), 255 - GREY),
    "tiff 16 min-is-white": (tiff(GREY16, photometric=0), 65535 - GREY16),
    "bmp rgb": (saved(RGB[:, :-3], "BMP"), RGB[:, :-3]),
    "bmp grey": (saved(GREY, "BMP"), GREY),
    "webp": (saved(RGB, "WEBP", lossless=True), RGB),
}


@pytest.mark.parametrize("case", LOSSLESS)
def test_lossless_formats_give_the_codes_that_were_written(case):
    data, truth = LOSSLESS[case]
    picture = read(data)
    assert picture.pixels.dtype == truth.dtype
    assert np.array_equal(picture.pixels, truth.reshape(*truth.shape[:2], -1))
    assert picture.pixels.flags.c_contiguous
    assert not picture.pixels.flags.writeable
    assert picture.to_linear.shape == (65536 if truth.dtype == np.uint16 else 256, picture.pixels.shape[2])
    assert picture.to_linear.dtype == np.float32
    assert picture.findings == ()


@pytest.mark.parametrize(("form", "options"), [("JPEG", {"quality": 98, "subsampling": 0}), ("AVIF", {"quality": 95})])
def test_lossy_formats_come_near_and_keep_the_channel_order(form, options):
    smooth = np.dstack([np.full((64, 64), v, np.uint8) for v in (200, 120, 30)])
    picture = read(saved(smooth, form, **options))
    assert np.abs(picture.pixels.astype(int) - smooth).max() <= 4


def test_grey_jpeg_keeps_one_channel():
    assert read(saved(GREY, "JPEG")).pixels.shape == (60, 90, 1)


def test_heic():
    heif = pytest.importorskip("pillow_heif")
    smooth = np.dstack([np.full((64, 80), v, np.uint8) for v in (200, 120, 30)])
    smooth[:32, :40] = 255
    stream = BytesIO()
    block = exif({0x010F: (2, b"Acme\0"), 0x0112: (3, [6])})
    heif.from_pillow(Image.fromarray(smooth)).save(stream, quality=95, exif=b"Exif\0\0" + block)
    picture = read(stream.getvalue())
    # the writer also stores the turning as a property of the container (ISO/IEC 23008-12, 6.5.10): once is enough
    assert picture.pixels.shape == (80, 64, 3)
    assert np.abs(picture.pixels[:36, :28].astype(int) - smooth[-1, -1]).max() <= 4
    assert picture.pixels[:36, 36:].min() >= 250
    assert picture.camera.make == "Acme"


def test_avif_is_turned_once():
    smooth = np.full((64, 80, 3), (200, 120, 30), np.uint8)
    smooth[:32, :40] = 255
    picture = read(saved(smooth, "AVIF", quality=95, exif=exif({0x010F: (2, b"Acme\0"), 0x0112: (3, [6])})))
    assert picture.pixels.shape == (80, 64, 3)
    assert picture.pixels[:36, 36:].min() >= 250
    assert picture.pixels[:36, :28, 2].max() <= 60
    assert picture.camera.make == "Acme"


def test_heic_of_10_bits_keeps_them():
    heif = pytest.importorskip("pillow_heif")
    ramp = np.repeat(np.linspace(0, 65535, 256).astype(np.uint16)[None, :, None], 64, axis=0).repeat(3, axis=2)
    stream = BytesIO()
    heif.from_bytes(mode="RGB;16", size=(256, 64), data=ramp.tobytes()).save(stream, quality=-1)
    picture = read(stream.getvalue())
    assert picture.pixels.dtype == np.uint16
    assert np.abs(picture.pixels.astype(int) - ramp).max() <= 65535 * 6 / 1023


def test_missing_heic_reader_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(PictureError, match="pip install pillow-heif"):
        read(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic")


def test_gif_first_frame():
    paletted = Image.fromarray(RGB).quantize(32)
    still = read(saved(paletted, "GIF"))
    assert np.array_equal(still.pixels, np.asarray(paletted.convert("RGB")))
    moving = read(saved(paletted, "GIF", save_all=True, append_images=[paletted.rotate(180)]))
    assert np.array_equal(moving.pixels, still.pixels)
    assert codes(moving) == ["first-page-only"]


@pytest.mark.parametrize("form", ["PNG", "TIFF", "BMP"])
def test_palette_becomes_rgb(form):
    paletted = Image.fromarray(RGB).quantize(32)
    assert np.array_equal(read(saved(paletted, form)).pixels, np.asarray(paletted.convert("RGB")))


@pytest.mark.parametrize(
    ("form", "options"), [("PNG", {}), ("TIFF", {}), ("TIFF", {"compression": "group4"}), ("BMP", {})]
)
def test_bilevel_becomes_black_and_white(form, options):
    bilevel = Image.fromarray(np.where(GREY > 120, 255, 0).astype(np.uint8)).convert("1", dither=0)
    picture = read(saved(bilevel, form, **options))
    assert np.array_equal(picture.pixels[..., 0], np.where(GREY > 120, 255, 0))


def test_bilevel_tiff_where_zero_is_white():
    rows = np.packbits(GREY[:, :88] > 120, axis=1)
    picture = read(tiff(rows, photometric=0, bits=1))
    assert np.array_equal(picture.pixels[..., 0], np.where(GREY[:, :88] > 120, 0, 255))


def test_four_bit_png():
    rows = (GREY[:, ::2] // 16 * 16 + GREY[:, 1::2] // 16).astype(np.uint8)
    picture = read(png(rows, bits=4, size=(90, 60)))
    assert np.array_equal(picture.pixels[..., 0], GREY // 16 * 17)  # W3C PNG, 13.12: linear scaling of samples


@pytest.mark.parametrize("form", ["TIFF", "JPEG"])
def test_cmyk_without_profile_is_converted(form):
    cmyk = np.zeros((32, 64, 4), np.uint8)
    cmyk[:, 32:, 3] = 255
    cmyk[:16, :32, 0] = 255
    picture = read(saved(Image.fromarray(cmyk, "CMYK"), form, **({"quality": 100} if form == "JPEG" else {})))
    assert picture.pixels.shape == (32, 64, 3)
    cyan, white, black = (picture.pixels[y, x].astype(int) for y, x in ((4, 4), (28, 4), (4, 60)))
    assert white.min() >= 253
    assert black.max() <= 60
    assert cyan[0] < 60 < cyan[2]
    assert codes(picture) == ["colours-converted"]


def test_first_of_several_pages():
    other = Image.fromarray(255 - RGB)
    data = saved(RGB, "TIFF", save_all=True, append_images=[other, other])
    picture = read(data)
    assert np.array_equal(picture.pixels, RGB)
    assert codes(picture) == ["first-page-only"]
    assert picture.findings[0].value == 3


def test_reduced_copy_is_no_page():
    assert codes(read(tiff(RGB, {254: (4, [0])}, pages=2))) == ["first-page-only"]
    data = bytearray(tiff(RGB, {254: (4, [0])}, pages=2))
    place = data.rindex(bytes([254, 0, 4, 0, 1, 0, 0, 0, 0, 0, 0, 0]))
    data[place + 8] = 1
    assert codes(read(bytes(data))) == []


def test_animated_png_and_webp_give_the_first_frame_and_say_so():
    frames = [Image.fromarray(RGB), Image.fromarray(255 - RGB)]
    for form in ("PNG", "WEBP"):
        data = saved(frames[0], form, save_all=True, append_images=frames[1:], lossless=True)
        picture = read(data)
        assert np.array_equal(picture.pixels, RGB)
        assert codes(picture) == ["first-page-only"]


# Published values of the curve of IEC 61966-2-1: 0.5 -> 0.21404, and the break 0.04045 -> 0.0031308 (W3C sRGB page)
@pytest.mark.parametrize(("code", "light"), [(0.0, 0.0), (0.04045, 0.0031308), (0.5, 0.21404), (1.0, 1.0)])
def test_srgb_curve(code, light):
    column = read(png(RGB16)).to_linear[:, 1]
    assert np.interp(code, np.linspace(0, 1, 65536), column) == pytest.approx(light, abs=2e-6)


def test_srgb_curve_against_scikit_image():
    color = pytest.importorskip("skimage.color")
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[:, None, None], 3, axis=2)
    reference = color.rgb2xyz(ramp)[:, 0, 1]  # Y of a grey is its linear light
    assert np.abs(read(png(RGB)).to_linear[:, 0] - reference).max() < 1e-6


def test_png_gamma_counts_only_without_a_better_word():
    gama = chunk(b"gAMA", (55556).to_bytes(4, "big"))  # 1 / 1.8
    column = read(png(GREY, gama)).to_linear[:, 0]
    assert np.allclose(column, (np.arange(256) / 255) ** 1.8, atol=2e-6)
    plain = read(png(GREY)).to_linear
    assert np.array_equal(read(png(GREY, chunk(b"sRGB", b"\0"), gama)).to_linear, plain)
    for odd in (0, 1, 2**31):
        assert np.array_equal(read(png(GREY, chunk(b"gAMA", odd.to_bytes(4, "big")))).to_linear, plain)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["png", "jpeg", "tiff", "tiff16", "webp"])
def test_orientation_is_applied_once_as_pillow_does(form, orientation):
    block = exif({0x0112: (3, [orientation]), 0x011A: (5, [(600, 1)]), 0x011B: (5, [(300, 1)])})
    data = {
        "png": lambda: png(RGB, chunk(b"eXIf", block)),
        "jpeg": lambda: jpeg(RGB, exif_segment(block)),
        "tiff": lambda: tiff(RGB, {274: (3, [orientation]), 282: (5, [(600, 1)]), 283: (5, [(300, 1)])}),
        "tiff16": lambda: tiff(RGB16, {274: (3, [orientation]), 282: (5, [(600, 1)]), 283: (5, [(300, 1)])}),
        "webp": lambda: saved(RGB, "WEBP", lossless=True, exif=block),
    }[form]()
    picture = read(data)
    if form == "tiff16":
        truth = read(tiff(RGB, {274: (3, [orientation])})).pixels.astype(np.uint16) * 251 + 7
    else:
        truth = np.asarray(ImageOps.exif_transpose(Image.open(BytesIO(data))))
    error = np.abs(picture.pixels.astype(int) - truth)
    assert error.max() <= (6 if form == "jpeg" else 0)
    assert picture.pixels.flags.c_contiguous
    x, y = picture.density.x_px_per_mm * 25.4, picture.density.y_px_per_mm * 25.4
    assert (round(x), round(y)) == ((300, 600) if orientation >= 5 else (600, 300))


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_impossible_orientation_counts_as_upright(orientation):
    assert read(tiff(RGB, {274: (3, [orientation])})).pixels.shape == RGB.shape


def test_opaque_alpha_is_dropped_in_silence():
    picture = read(saved(np.dstack([RGB, np.full(GREY.shape, 255, np.uint8)]), "PNG"))
    assert np.array_equal(picture.pixels, RGB)
    assert picture.findings == ()


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("form", [png, tiff])
def test_alpha_is_laid_over_white_in_linear_light(form, wide):
    top, kind = (65535, np.uint16) if wide else (255, np.uint8)
    pixels = np.zeros((32, 32, 4), kind)
    pixels[..., 3] = top
    pixels[:8, :, 3] = 0
    pixels[8:16, :, 3] = round(top * 0.4)
    picture = read(form(pixels, *([{338: (3, [2])}] if form is tiff else [])))
    light = np.take_along_axis(picture.to_linear, picture.pixels[:, 0].astype(int), axis=0)[:, 1]
    assert light[4] == 1.0
    assert light[12] == pytest.approx(0.6, abs=0.005)  # 40 % black over white is 60 % of its light
    assert light[20] == 0.0
    assert codes(picture) == ["transparency"]
    assert picture.findings[0].value == 0.5


def test_grey_with_alpha():
    pixels = np.dstack([GREY, np.where(GREY > 100, 255, 0).astype(np.uint8)])
    assert np.array_equal(read(png(pixels)).pixels[..., 0], np.where(GREY > 100, GREY, 255))


def test_premultiplied_alpha_of_tiff_is_undone():
    # TIFF 6.0, section 18: ExtraSamples 1 is associated alpha. Half-covered white over white is white.
    pixels = np.full((32, 32, 4), 128, np.uint8)
    assert read(tiff(pixels, {338: (3, [1])})).pixels.min() == 255


def test_unspecified_fourth_channel_is_no_alpha():
    pixels = np.dstack([RGB, np.zeros(GREY.shape, np.uint8)])
    picture = read(tiff(pixels, {338: (3, [0])}))
    assert np.array_equal(picture.pixels, RGB)
    assert picture.findings == ()


def test_transparent_colour_of_png():
    pixels = RGB.copy()
    pixels[:5] = (1, 2, 3)
    picture = read(png(pixels, chunk(b"tRNS", bytes([0, 1, 0, 2, 0, 3]))))
    assert picture.pixels[:5].min() == 255
    assert np.array_equal(picture.pixels[5:], RGB[5:])


def test_wholly_transparent_is_refused():
    with pytest.raises(PictureError, match="transparent"):
        read(png(np.dstack([RGB, np.zeros(GREY.shape, np.uint8)])))


def test_file_and_bytes_agree(tmp_path):
    data = saved(RGB, "PNG", dpi=(600, 600))
    path = tmp_path / "tag é.png"
    path.write_bytes(data)
    picture = read_picture(path)
    assert picture.name == "tag é.png"
    assert picture.sha256 == hashlib.sha256(data).hexdigest() == read(data).sha256
    assert np.array_equal(picture.pixels, RGB)


def test_content_decides_not_the_name(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(saved(RGB, "TIFF"))
    assert np.array_equal(read_picture(path).pixels, RGB)


def test_size_guard_says_size_limit_and_option():
    with pytest.raises(PictureError) as caught:
        read(png(np.zeros((100, 20000), np.uint8)), "big.png", max_mpx=1.5)
    message = str(caught.value)
    for part in ("big.png", "20000 x 100", "2 Mpx", "1.5 Mpx", "--max-mpx 3"):
        assert part in message
    assert read(png(np.zeros((100, 20000), np.uint8)), max_mpx=3).width_px == 20000


def test_very_wide_picture_within_the_guard():
    assert read(png(np.zeros((16, 100_000), np.uint8))).pixels.shape == (16, 100_000, 1)


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf")])
def test_guard_must_be_a_positive_number(bad):
    with pytest.raises(UsageError):
        read(png(RGB), max_mpx=bad)


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF", "BMP", "WEBP", "GIF"])
@pytest.mark.parametrize("size", [(1, 1), (15, 200), (200, 15)])
def test_degenerate_sizes_are_refused(form, size):
    with pytest.raises(PictureError, match="at least 16 px"):
        read(saved(Image.new("L", size), form))


@pytest.mark.parametrize(("kind", "name"), [(np.float32, "float"), (np.uint32, "uint")])
def test_other_numbers_than_8_and_16_bit_are_refused(kind, name):
    extra = {339: (3, [3 if kind is np.float32 else 1])}
    with pytest.raises(PictureError, match="8 or 16 bit"):
        read(tiff(GREY.astype(kind), extra))


def test_pixels_may_be_given_to_opencv():
    from digitize.opencv import cv

    assert cv().cvtColor(read(png(RGB)).pixels, cv().COLOR_RGB2GRAY).shape == (60, 90)


def test_reading_a_scan_imports_neither_pillow_nor_pikepdf(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(png(RGB))
    code = (
        f"import sys; from digitize.reading.picture import read_picture; read_picture({str(path)!r}); "
        "sys.exit(bool({'PIL', 'pikepdf', 'cv2', 'pillow_heif'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(
    ("data", "plain"),
    [
        (tiff(RGB), True),
        (tiff(GREY), True),
        (saved(RGB, "TIFF"), True),
        (saved(RGB, "TIFF", compression="tiff_lzw"), False),
        (tiff(GREY, photometric=0), False),
        (tiff(RGB16), False),
        (tiff(np.dstack([RGB, GREY]), {338: (3, [2])}), False),
    ],
)
def test_an_uncompressed_tiff_is_its_own_pixels(data, plain):
    pixels = plain_pixels(data)
    assert (pixels is not None) == plain
    if plain:
        assert np.shares_memory(pixels, np.frombuffer(data, np.uint8))
        assert np.shares_memory(read(data).pixels, np.frombuffer(data, np.uint8))


def strips(first, second):
    """Tags of two strips of half the rows each, the first of them at one place, the second at another (TIFF 6.0)."""
    rows = RGB.shape[0] // 2
    size = rows * RGB.shape[1] * 3
    return {273: (4, [8 + first * size, 8 + second * size]), 278: (4, [rows]), 279: (4, [size, size])}


def test_strips_in_turn_are_taken_as_they_lie_and_others_are_left_to_the_decoder():
    assert RGB.shape[0] % 2 == 0
    swapped = np.concatenate(np.split(RGB, 2)[::-1])
    for places, pixels, plain in (((0, 1), RGB, True), ((1, 0), swapped, False)):
        data = tiff(RGB, strips(*places))
        assert (plain_pixels(data) is not None) == plain
        assert np.array_equal(read(data).pixels, pixels)
    assert plain_pixels(tiff(RGB, strips(1, 0)) + bytes(RGB.size)) is None  # also where as much lies behind the first
    assert plain_pixels(tiff(RGB, strips(1, 2))) is None  # the last one is not all there
