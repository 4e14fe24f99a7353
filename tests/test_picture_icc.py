"""Linear light by ICC profiles, against the formulas of ICC.1:2022 and against Little CMS (in Pillow)."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image, ImageCms

from digitize.reading.picture import picture_from_bytes

from .picture_files import curv, grey_profile, para, profile, rgb_profile, saved, scene, tiff

RGB, GREY = scene(), scene(channels=1)
X = np.arange(256) / 255
SRGB = np.where(X <= 0.04045, X / 12.92, ((X + 0.055) / 1.055) ** 2.4)
TABLE = tuple(round(65535 * (i / 40) ** 2.2) for i in range(41))

CURVES = {
    "identity": (curv(), X),
    "gamma 563/256": (curv(0x0233), X ** (563 / 256)),  # 2.19921875, the common encoding of 2.2
    "table": (curv(*TABLE), np.interp(X, np.arange(41) / 40, np.array(TABLE) / 65535)),
    "para 0": (para(0, 1.8), X**1.8),
    "para 1": (para(1, 2.2, 0.9, 0.1), (0.9 * X + 0.1) ** 2.2),
    "para 2": (para(2, 2.4, 0.9, 0.05, 0.02), (0.9 * X + 0.05) ** 2.4 + 0.02),
    "para 3": (para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045), SRGB),
    "para 4": (
        para(4, 2.0, 0.9, 0.1, 0.3, 0.2, -0.01, 0.0025),
        np.where(X >= 0.2, (0.9 * X + 0.1) ** 2.0 - 0.01, 0.3 * X + 0.0025),
    ),
}


def read(pixels, icc, form="PNG", **options):
    return picture_from_bytes(saved(pixels, form, icc_profile=icc, **options), "a.bin")


@pytest.mark.parametrize("name", CURVES)
def test_curve_by_formula(name):
    body, truth = CURVES[name]
    picture = read(RGB, rgb_profile(body))
    assert picture.findings == ()
    assert np.abs(picture.to_linear - truth[:, None]).max() < 2e-4  # parameters are stored in 1/65536
    grey = read(GREY, grey_profile(body))
    assert grey.findings == ()
    assert np.abs(grey.to_linear[:, 0] - truth).max() < 2e-4


@pytest.mark.parametrize("name", CURVES)
def test_curve_against_little_cms(name):
    """Little CMS converts greys to a profile of linear light; its 8-bit result is within a code of the table."""
    body = CURVES[name][0]
    given = ImageCms.ImageCmsProfile(BytesIO(rgb_profile(body)))
    linear = ImageCms.ImageCmsProfile(BytesIO(rgb_profile(curv())))
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    transform = ImageCms.buildTransform(given, linear, "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC)
    reference = np.asarray(ImageCms.applyTransform(Image.fromarray(ramp), transform))[0, :, 1]
    assert np.abs(read(RGB, rgb_profile(body)).to_linear[:, 1] * 255 - reference).max() <= 1.5


def test_each_channel_has_its_curve():
    picture = read(RGB, rgb_profile(curv(256), curv(512), curv(768)))
    for channel, gamma in enumerate((1, 2, 3)):
        assert np.allclose(picture.to_linear[:, channel], X**gamma, atol=1e-6)


def test_primaries_are_left_to_the_device():
    assert np.array_equal(read(RGB, rgb_profile(curv(256))).pixels, RGB)


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF", "WEBP"])
def test_profile_is_found_in_each_format(form):
    assert np.allclose(read(RGB, rgb_profile(curv(0x0233)), form).to_linear[:, 0], X ** (563 / 256), atol=1e-6)


def test_16_bit_curve():
    data = tiff(RGB.astype(np.uint16) * 257, {34675: (7, rgb_profile(curv(512)))})
    column = picture_from_bytes(data, "a.tif").to_linear[:, 0]
    assert np.allclose(column, (np.arange(65536) / 65535) ** 2, atol=1e-6)


def test_the_curve_of_pillows_own_srgb_profile():
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert np.abs(read(RGB, icc).to_linear[:, 0] - SRGB).max() < 1e-4


def test_grey_profile_through_lab():
    # L* = 100 code: code 0.5 is Y = ((50 + 16) / 116)^3 = 0.18419 (CIE 15)
    picture = read(GREY, grey_profile(curv(), pcs=b"Lab "))
    assert np.interp(0.5, X, picture.to_linear[:, 0]) == pytest.approx(0.18419, abs=2e-5)


def test_grey_picture_with_a_neutral_rgb_profile():
    data = tiff(GREY, {34675: (7, rgb_profile(curv(512)))})
    picture = picture_from_bytes(data, "a.tif")
    assert picture.findings == ()
    assert np.allclose(picture.to_linear[:, 0], X**2, atol=1e-6)


GOOD = rgb_profile(curv(512))
BROKEN = {
    "no profile": b"junk" * 60,
    "cut short": GOOD[: len(GOOD) // 2],
    "wrong space": grey_profile(curv()),
    "for CMYK": profile(b"CMYK", {}),
    "falling": rgb_profile(curv(65535, 0)),
    "flat": rgb_profile(curv(30000, 30000)),
    "unknown curve": rgb_profile(b"abcd" + bytes(20)),
    "unknown function": rgb_profile(para(9, 1, 1)),
    "no slope": rgb_profile(para(1, 2.2, 0, 0.1)),
    "short table": rgb_profile(b"curv\0\0\0\0\xff\xff\xff\xff"),
    "a million tags": GOOD[:128] + b"\xff\xff\xff\xff" + GOOD[132:],
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_profile_is_srgb_and_said(name):
    picture = picture_from_bytes(tiff(RGB, {34675: (7, BROKEN[name])}), "a.tif")
    assert [finding.code for finding in picture.findings] == ["profile-ignored"]
    assert np.abs(picture.to_linear - SRGB[:, None]).max() < 1e-6
    assert np.array_equal(picture.pixels, RGB)


def lut_profile():
    """A profile with colour tables only (ICC.1:2022, 10.10, lut8Type): device codes squared, on a grid of 17."""
    import struct

    grid = np.stack(np.meshgrid(*[np.arange(17) / 16] * 3, indexing="ij"), axis=-1) ** 2  # linear light
    matrix = np.array([[0.4360, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])
    white = np.array([0.9642, 1.0, 0.8249])
    ratio = grid @ matrix.T / white
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    lab = np.stack(
        [(116 * f[..., 1] - 16) * 2.55, 500 * (f[..., 0] - f[..., 1]) + 128, 200 * (f[..., 1] - f[..., 2]) + 128], -1
    )
    ramp = bytes(range(256)) * 3
    body = b"mft1\0\0\0\0" + bytes([3, 3, 17, 0]) + struct.pack(">9i", *(65536 * np.eye(3, dtype=int)).ravel())
    body += ramp + np.clip(np.rint(lab), 0, 255).astype(np.uint8).tobytes() + ramp
    return profile(b"RGB ", {b"A2B0": body}, pcs=b"Lab ")


@pytest.mark.parametrize("wide", [False, True])
def test_tables_of_colours_are_converted_to_srgb(wide):
    greys = np.linspace(60, 250, 64)
    pixels = np.repeat(np.repeat(greys[None, :, None], 32, axis=0), 3, axis=2)
    scale = 257 if wide else 1
    data = tiff((pixels * scale).astype(np.uint16 if wide else np.uint8), {34675: (7, lut_profile())})
    picture = picture_from_bytes(data, "a.tif")
    assert [finding.code for finding in picture.findings] == ["colours-converted"]
    assert picture.pixels.dtype == (np.uint16 if wide else np.uint8)
    light = picture.to_linear[picture.pixels[5, :, 1], 1]
    assert np.abs(light - (np.floor(greys) / 255) ** 2).max() < 0.02  # a table of 8-bit Lab is no finer


def test_cmyk_with_a_broken_profile_is_converted_and_said():
    cmyk = Image.fromarray(np.zeros((32, 32, 4), np.uint8), "CMYK")
    picture = picture_from_bytes(saved(cmyk, "TIFF", icc_profile=b"junk" * 60), "a.tif")
    assert [finding.code for finding in picture.findings] == ["profile-ignored", "colours-converted"]
    assert picture.pixels.min() >= 253
