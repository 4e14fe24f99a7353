"""Pixels in memory in place of a file; and the interface in threads and in forked processes."""

import io
import os
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

import digitize
from digitize.errors import PictureError, UsageError
from digitize.reading.array import picture_from_pixels
from digitize.reading.picture import picture_from_bytes

from .batch_scans import ROOT, scan


@pytest.fixture(scope="module")
def data():
    return scan(1)


@pytest.fixture(scope="module")
def pixels(data):
    """The pixels as another library reads them."""
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


@pytest.fixture(scope="module")
def size_mm(data, tmp_path_factory):
    """Width and height from the file."""
    path = tmp_path_factory.mktemp("array") / "tag.png"
    path.write_bytes(data)
    return sizes(digitize.outline(path, square_mm=25))


def sizes(found):
    (item,) = found.items
    return item.width_mm, item.height_mm


def srgb_light(codes):
    """IEC 61966-2-1, also W3C's page on sRGB, codes 0..1."""
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def test_pixels_give_what_their_file_gives(data, pixels, size_mm):
    found = digitize.outline(pixels, square_mm=25)
    assert sizes(found) == size_mm
    assert found.items[0].name == "pixels-1"
    assert sizes(digitize.outline(Image.open(io.BytesIO(data)), square_mm=25)) == size_mm


def test_curves(pixels, size_mm):
    """The same light under another curve gives the same outline, under the wrong one another outline."""
    light = srgb_light(pixels / 255.0)
    linear = np.rint(light * 65535).astype(np.uint16)
    for given, curve in (
        (linear, "linear"),
        (light, "linear"),
        (light.astype(np.float32), 1),
        (np.rint(light ** (1 / 2.2) * 65535).astype(np.uint16), 2.2),
        (pixels, srgb_light(np.arange(256) / 255)),
        (linear, np.linspace(0, 1, 65536)[:, None].repeat(3, axis=1)),
    ):
        picture = picture_from_pixels(digitize.Pixels(pixels=given, curve=curve))
        seen = np.stack([picture.to_linear[picture.pixels[..., k], k] for k in range(3)], axis=2)
        assert np.abs(seen - light).max() < 1e-4
        assert picture.curve_stated
    found = digitize.outline(digitize.Pixels(pixels=linear, curve="linear", name="tag"), square_mm=25)
    assert sizes(found) == pytest.approx(size_mm, abs=0.002)
    wrong = digitize.outline(digitize.Pixels(pixels=linear, curve="srgb"), square_mm=25)
    assert abs(sizes(wrong)[0] - size_mm[0]) > 0.01


def test_density_stands_in_for_a_reference_and_is_held_against_one(pixels):
    found = digitize.outline(pixels, dpi=120)
    assert found.result.scale.reference != digitize.outline(pixels, square_mm=25).result.scale.reference
    off = digitize.outline(digitize.Pixels(pixels=pixels, dpi=100), square_mm=25)
    assert "density-disagrees" in [finding.code for finding in off.findings]


def test_shapes_and_what_is_transparent(pixels):
    grey = picture_from_pixels(pixels[..., 0])
    assert grey.pixels.shape == (*pixels.shape[:2], 1)
    opaque = np.full((*pixels.shape[:2], 1), 255, np.uint8)
    assert np.array_equal(picture_from_pixels(np.concatenate([pixels, opaque], axis=2)).pixels, pixels)
    with pytest.raises(PictureError, match="transparent"):
        picture_from_pixels(np.concatenate([pixels, 0 * opaque], axis=2))
    big_endian = pixels.astype(">u2") * 257
    assert np.array_equal(picture_from_pixels(big_endian).pixels, pixels.astype(np.uint16) * 257)
    assert picture_from_pixels(big_endian).sha256 == picture_from_pixels(big_endian.astype("<u2")).sha256


def test_pixels_are_copied(pixels):
    mine = pixels.copy()
    picture = picture_from_pixels(mine)
    mine[:] = 0
    assert np.array_equal(picture.pixels, pixels)
    assert not picture.pixels.flags.writeable


GREY = np.full((20, 20), 200, np.uint8)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (np.zeros((20, 20, 5), np.uint8), "shape"),
        (np.zeros(20, np.uint8), "shape"),
        (np.zeros((20, 20), np.int64), "int64"),
        (np.zeros((20, 20), bool), "bool"),
        (np.full((20, 20), 2.0), "0 to 1"),
        (np.full((20, 20), np.nan), "0 to 1"),
        (np.array([["a"]]), "shape|type"),
        (digitize.Pixels(pixels=GREY, curve="gamma"), "curve"),
        (digitize.Pixels(pixels=GREY, curve=99), "curve"),
        (digitize.Pixels(pixels=GREY, curve=np.linspace(1, 0, 256)), "never falling"),
        (digitize.Pixels(pixels=GREY, curve=np.linspace(0, 1, 65536)), r"\(256,\)"),
        (digitize.Pixels(pixels=GREY, dpi=-3), "density"),
        (digitize.Pixels(pixels=GREY, dpi="fine"), "density"),
        (digitize.Pixels(pixels=GREY, name=""), "name"),
        (digitize.Pixels(pixels=object()), "shape|array|type"),
        ([[1, 2]], "path of a file"),
    ],
)
def test_what_cannot_be_meant(given, said):
    with pytest.raises(UsageError, match=said):
        digitize.outline(given, square_mm=25)


def test_limits_hold_for_pixels_too():
    with pytest.raises(PictureError, match="--max-mpx"):
        digitize.outline(np.zeros((2000, 2000), np.uint8), max_mpx=1)
    with pytest.raises(PictureError, match="at least 16 px"):
        digitize.outline(np.zeros((8, 8), np.uint8))


def script(code, path):
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], cwd=ROOT, capture_output=True, timeout=300, check=False, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork(2)")
def test_a_forked_process_reads_too(tmp_path, data):
    """The threads of libvips do not live on in a child (POSIX, fork), which waited for them for ever."""
    path = tmp_path / "tag.png"
    path.write_bytes(data)
    bad = tmp_path / "bad.png"
    bad.write_bytes(data[:3000])
    script(
        "import os, signal, sys\n"
        "from digitize.errors import PictureError\n"
        "from digitize.reading.picture import read_picture\n"
        "mine = read_picture(sys.argv[1])\n"
        "if (child := os.fork()) == 0:\n"
        "    signal.alarm(200)\n"
        "    other = read_picture(sys.argv[1])\n"
        "    same = (mine.pixels == other.pixels).all() and mine.sha256 == other.sha256\n"
        "    try:\n"
        "        read_picture(sys.argv[1].replace('tag', 'bad'))\n"
        "    except PictureError as error:\n"
        "        os._exit(0 if same and 'bad.png' in str(error) else 1)\n"
        "    os._exit(2)\n"
        "assert os.waitpid(child, 0)[1] == 0",
        path,
    )


def test_threads_at_once_from_the_first_import(tmp_path, data):
    path = tmp_path / "tag.png"
    path.write_bytes(data)
    script(
        "import sys\n"
        "from concurrent.futures import ThreadPoolExecutor\n"
        "import digitize\n"
        "with ThreadPoolExecutor(3) as pool:\n"
        "    told = pool.map(lambda _: digitize.outline(sys.argv[1], square_mm=25).to_document(), range(4))\n"
        "    assert len(set(told)) == 1",
        path,
    )


def test_a_picture_read_here_and_from_memory_are_one(data, pixels):
    assert np.array_equal(picture_from_bytes(data, "tag.png").pixels[..., 0], pixels[..., 0])
