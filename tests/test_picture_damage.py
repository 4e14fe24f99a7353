"""Files that must be refused: each by a sentence of `PictureError`, and nothing on stderr."""

import os
import socket
import struct
import subprocess
import sys
import zlib
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from digitize.errors import PictureError
from digitize.reading.picture import picture_from_bytes, read_picture, shown

from .picture_files import chunk, curv, jpeg, png, rgb_profile, saved, scene, tiff

RGB, GREY = scene(), scene(channels=1)


def heic():
    heif = pytest.importorskip("pillow_heif")
    stream = BytesIO()
    heif.from_pillow(Image.fromarray(RGB)).save(stream, quality=90)
    return stream.getvalue()


def pdf():
    stream = BytesIO()
    Image.fromarray(RGB).save(stream, "PDF", resolution=300)
    return stream.getvalue()


MAKERS = {
    "png": lambda: saved(RGB, "PNG", dpi=(600, 600)),
    "png 16": lambda: png(RGB.astype(np.uint16) * 257),
    "jpeg": lambda: saved(RGB, "JPEG", quality=90),
    "jpeg progressive": lambda: saved(RGB, "JPEG", quality=90, progressive=True),
    "jpeg grey": lambda: saved(GREY, "JPEG", quality=90),
    "tiff raw": lambda: saved(RGB, "TIFF"),
    "tiff raw, tags last": lambda: tiff(RGB),
    "tiff lzw": lambda: saved(RGB, "TIFF", compression="tiff_lzw"),
    "tiff deflate": lambda: saved(RGB, "TIFF", compression="tiff_adobe_deflate"),
    "tiff fax": lambda: saved(Image.fromarray(GREY).convert("1"), "TIFF", compression="group4"),
    "bmp 24": lambda: saved(RGB, "BMP"),
    "bmp 8": lambda: saved(GREY, "BMP"),
    "webp": lambda: saved(RGB, "WEBP", quality=90),
    "webp lossless": lambda: saved(RGB, "WEBP", lossless=True),
    "gif": lambda: saved(Image.fromarray(RGB).quantize(64), "GIF"),
    "avif": lambda: saved(RGB, "AVIF"),
    "heic": heic,
    "pdf": pdf,
}


def places(size):
    return sorted(
        {0, 1, 4, 8, 20, 33, 60, *(size * k // 24 for k in range(1, 24)), *(size - k for k in (40, 13, 12, 8, 4, 2, 1))}
    )


@pytest.mark.parametrize("form", MAKERS)
def test_truncated_file_is_refused_at_every_place(form, capfd):
    data = MAKERS[form]()
    whole = picture_from_bytes(data, "a").pixels
    accepted = []
    for place in places(len(data)):
        try:
            picture = picture_from_bytes(data[:place], "a")
        except PictureError:
            continue
        accepted.append((len(data) - place, np.array_equal(picture.pixels, whole)))
    # what may be missing: the end mark of GIF, the last row's padding in BMP, an even length after fax data
    spare = {"gif": 1, "bmp 8": 2, "tiff fax": 4}.get(form, 0)
    assert all(missing <= spare and same for missing, same in accepted), accepted
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("form", MAKERS)
def test_mutated_file_is_read_or_refused_and_never_anything_else(form, capfd):
    data = MAKERS[form]()
    rng = np.random.default_rng(11)
    refused = 0
    for _ in range(60):
        mutated = bytearray(data)
        for place in rng.integers(0, len(data) if rng.random() < 0.5 else min(len(data), 300), rng.integers(1, 6)):
            mutated[place] = rng.integers(0, 256)
        try:
            picture = picture_from_bytes(bytes(mutated), "a", max_mpx=2)
            assert picture.pixels.shape[2] in (1, 3)
        except PictureError:
            refused += 1
    assert refused > 0
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("place", [0.3, 0.6, 0.9])
def test_png_whose_data_was_changed_is_refused(place):
    data = bytearray(saved(RGB, "PNG"))
    data[int(len(data) * place)] ^= 0x10
    with pytest.raises(PictureError, match="damaged"):
        picture_from_bytes(bytes(data), "a.png")


@pytest.mark.parametrize("place", [0.3, 0.6, 0.9])
def test_deflated_tiff_whose_data_was_changed_is_refused(place):
    data = bytearray(saved(RGB, "TIFF", compression="tiff_adobe_deflate"))
    data[int(len(data) * place)] ^= 0x10
    with pytest.raises(PictureError, match="damaged"):
        picture_from_bytes(bytes(data), "a.tif")


@pytest.mark.parametrize("kind", [b"IHDR", b"pHYs", b"IEND"])
def test_png_check_sums_of_the_chunks_that_are_used(kind):
    data = bytearray(saved(RGB, "PNG", dpi=(600, 600)))
    place = data.index(kind)
    data[place + 4 + struct.unpack_from(">I", data, place - 4)[0]] ^= 1
    with pytest.raises(PictureError, match=f"check sum of {kind.decode()}"):
        picture_from_bytes(bytes(data), "a.png")


def test_png_whose_data_ends_early_is_refused():
    """The pixel data cut in half with a right check sum: only the missing end tells."""
    good = png(RGB)
    start = good.index(b"IDAT") + 4
    length = int.from_bytes(good[start - 8 : start - 4], "big")
    cut = good[: start - 8] + chunk(b"IDAT", good[start : start + length // 2]) + chunk(b"IEND", b"")
    with pytest.raises(PictureError, match="damaged"):
        picture_from_bytes(cut, "a.png")


def test_jpeg_with_a_gap_in_its_data_is_refused():
    data = jpeg(scene(400, 400))
    place = len(data) // 2
    with pytest.raises(PictureError):
        picture_from_bytes(data[:place] + b"\xff\xd9", "a.jpg")
    with pytest.raises(PictureError):
        picture_from_bytes(data[:place] + b"\xff\xd3" + data[place + 400 :], "a.jpg")


def bomb_png(width, height):
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")


def bomb_jpeg():
    data = bytearray(jpeg(RGB))
    place = data.index(b"\xff\xc0") + 5
    data[place : place + 4] = struct.pack(">HH", 65000, 65000)
    return bytes(data)


def bomb_bmp():
    data = bytearray(saved(RGB, "BMP"))
    data[18:26] = struct.pack("<ii", 30000, 30000)
    return bytes(data)


def bomb_gif():
    data = bytearray(saved(Image.fromarray(RGB).quantize(4), "GIF"))
    frame = data.index(b"," + struct.pack("<HHHH", 0, 0, 90, 60)) + 5
    data[6:10] = data[frame : frame + 4] = struct.pack("<HH", 65000, 65000)
    return bytes(data)


BOMBS = {
    "png": lambda: bomb_png(30000, 30000),
    "jpeg": bomb_jpeg,
    "tiff": lambda: tiff(RGB, {256: (4, [30000]), 257: (4, [30000])}),
    "bmp": bomb_bmp,
    "gif": bomb_gif,
}


@pytest.mark.parametrize("form", BOMBS)
def test_a_header_that_claims_too_much_is_refused_before_decoding(form):
    with pytest.raises(PictureError, match="--max-mpx"):
        picture_from_bytes(BOMBS[form](), "a")


@pytest.mark.parametrize("size", [(0, 0), (0, 100), (2**31 - 1, 2**31 - 1), (2**32 - 1, 2**32 - 1)])
def test_impossible_sizes(size):
    with pytest.raises(PictureError):
        picture_from_bytes(bomb_png(*size), "a.png")


@pytest.mark.parametrize("side", [10_000_001, 2**31 - 1, 2**32 - 1])
def test_impossible_sizes_of_tiff(side, capfd):
    for tag in (256, 257):
        with pytest.raises(PictureError):
            picture_from_bytes(tiff(RGB, {tag: (4, [side])}), "a.tif")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("form", ["avif", "heic"])
def test_impossible_sizes_of_avif_and_heic(form, capfd):
    data = bytearray(MAKERS[form]())
    place = data.index(b"ispe") + 8
    for size in ((2**31 - 1, 60), (60, 10_000_001), (2**32 - 1, 2**32 - 1)):
        data[place : place + 8] = struct.pack(">II", *size)
        with pytest.raises(PictureError):
            picture_from_bytes(bytes(data), "a.avif")
    assert capfd.readouterr() == ("", "")


NO_PICTURES = {
    "empty": (b"", "empty"),
    "text": (b"name,width\ntag,30\n", "text"),
    "html": (b"<!doctype html><p>", "text"),
    "svg": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "SVG"),
    "zip": (b"PK\x03\x04" + bytes(30), "ZIP"),
    "noise": (bytes(range(200, 256)) * 9, "no known kind"),
    "psd": (b"8BPS\0\1" + bytes(40), "PSD"),
    "jpeg xl": (b"\xff\x0a" + bytes(20), "JPEG XL"),
    "bm text": (b"BMW and other words that begin so", "text"),
    "png mark only": (b"\x89PNG\r\n\x1a\n", "cut short"),
    "jpeg mark only": (b"\xff\xd8\xff", "damaged"),
}


@pytest.mark.parametrize("case", NO_PICTURES)
def test_no_picture_is_named_and_advised(case, tmp_path):
    data, expected = NO_PICTURES[case]
    path = tmp_path / "a.png"
    path.write_bytes(data)
    with pytest.raises(PictureError, match=expected) as caught:
        read_picture(path)
    assert str(caught.value).startswith("a.png: ")


def test_camera_raw_is_refused():
    with pytest.raises(PictureError, match="raw file"):
        picture_from_bytes(tiff(RGB, {254: (4, [1])}), "a.dng")


def test_missing_file_folder_and_link_loop(tmp_path):
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for name, expected in (
        ("none.png", "no such file"),
        (".", "folder"),
        ("loop", "cannot be read"),
        ("a\0b", "cannot"),
    ):
        with pytest.raises(PictureError, match=expected):
            read_picture(os.path.join(tmp_path, name))


def test_special_files_are_refused_without_waiting(tmp_path, monkeypatch):
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as server:
        monkeypatch.chdir(tmp_path)  # the path of a socket must be short
        server.bind("socket")
        for path in (tmp_path / "pipe", tmp_path / "socket", "/dev/null", "/dev/zero"):
            with pytest.raises(PictureError):
                read_picture(path)


def test_file_without_permission(tmp_path, monkeypatch):
    path = tmp_path / "a.png"
    path.write_bytes(saved(RGB, "PNG"))
    path.chmod(0)
    if os.geteuid() == 0:  # the superuser reads everything

        def denied(*_):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("digitize.reading.picture._open_without_waiting", denied)
    with pytest.raises(PictureError, match="permission"):
        read_picture(path)


def test_file_larger_than_any_picture_within_the_limit(tmp_path):
    path = tmp_path / "a.tif"
    path.write_bytes(saved(RGB, "TIFF"))
    os.truncate(path, 2_000_000_000)  # sparse: takes no room
    with pytest.raises(PictureError, match=r"2 GB.*--max-mpx"):
        read_picture(path, max_mpx=1)


@pytest.mark.parametrize("name", ["a b.png", "é.png", "-a.png", "a\nb.png", "a\udcffb.png"])
def test_odd_names(name, tmp_path):
    path = tmp_path / name
    path.write_bytes(saved(RGB, "PNG"))
    read_picture(path).name.encode()
    path.write_bytes(b"text")
    with pytest.raises(PictureError) as caught:
        read_picture(path)
    assert "\n" not in str(caught.value)
    str(caught.value).encode()


def test_shown_escapes_what_cannot_be_printed():
    assert shown("a\nb\x1b\udcff é") == "a\\nb\\x1b\\udcff é"


def test_libraries_print_nothing(tmp_path):
    """In a process of its own, as no test's capture of logging is there."""
    bad = {
        "a.tif": saved(RGB, "TIFF", compression="tiff_lzw")[:-3000],
        "b.tif": tiff(RGB, {271: (2, b"no end mark"), 274: (3, [9]), 65000: (3, [1])}),
        "c.jpg": saved(RGB, "JPEG")[:-300],
        "d.png": saved(RGB, "PNG")[:-300],
        "e.png": saved(RGB, "PNG", icc_profile=rgb_profile(curv(512))[:200]),
        "f.pdf": pdf()[:-300],
        "g.webp": saved(RGB, "WEBP")[:-30],
    }
    for name, data in bad.items():
        (tmp_path / name).write_bytes(data)
    code = (
        "import sys\nfrom digitize.reading.picture import read_picture\nfrom digitize.errors import PictureError\n"
        "for path in sys.argv[1:]:\n    try: read_picture(path)\n    except PictureError: pass\n"
    )
    paths = [str(tmp_path / name) for name in bad]
    done = subprocess.run([sys.executable, "-c", code, *paths], capture_output=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")
