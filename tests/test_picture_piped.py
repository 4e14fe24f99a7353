"""PNG files inflated in a thread: the same pixels, and the same refusals, as when the decoder reads them itself."""

import gc
import os
import threading
import time

import numpy as np
import pytest
from PIL import Image

from digitize.errors import PictureError
from digitize.reading import png as piped
from digitize.reading.picture import picture_from_bytes
from digitize.reading.png import stored_png

from .picture_files import chunk, png, saved, scene

RGB = scene()
FILES = {
    "rgb": saved(RGB, "PNG"),
    "grey": saved(scene(channels=1), "PNG"),
    "palette": saved(Image.fromarray(RGB).quantize(64), "PNG"),
    "alpha": saved(np.dstack([RGB, np.full(RGB.shape[:2], 255, np.uint8)]), "PNG"),
    "one bit": saved(Image.fromarray(scene(channels=1)).convert("1"), "PNG"),
    "16 bit": png(RGB.astype(np.uint16) * 257),
    "no filter": png(RGB),
    "much alike": saved(np.full((900, 900, 3), 77, np.uint8), "PNG"),
}


@pytest.fixture
def always_piped(monkeypatch):
    monkeypatch.setattr(piped, "_LEAST_BYTES", 0)
    made = []
    true = piped.inflated_pipe
    monkeypatch.setattr("digitize.reading.raw.inflated_pipe", lambda data: made.append(true(data)) or made[-1])
    return made


def left_over():
    """Open file descriptors, and threads that still inflate."""
    gc.collect()
    inflating = [thread for thread in threading.enumerate() if thread.name == "inflate PNG"]
    return len(os.listdir("/proc/self/fd")), len(inflating)


@pytest.mark.parametrize("name", FILES)
def test_the_same_pixels(name, always_piped, monkeypatch):
    through_pipe = picture_from_bytes(FILES[name], "a.png")
    assert len(always_piped) == 1
    assert always_piped[0] is not None
    monkeypatch.setattr("digitize.reading.raw.inflated_pipe", lambda data: None)
    direct = picture_from_bytes(FILES[name], "a.png")
    np.testing.assert_array_equal(through_pipe.pixels, direct.pixels)
    assert through_pipe.findings == direct.findings


def test_the_stored_file_is_the_same_png_to_another_reader(tmp_path):
    """Pillow inflates with zlib and checks every check sum; small pieces are made to meet their seams."""
    path = tmp_path / "stored.png"
    path.write_bytes(b"".join(bytes(part) for parts in stored_png(FILES["rgb"]) for part in parts))
    with Image.open(path) as again:
        again.load()
        np.testing.assert_array_equal(np.asarray(again), RGB)


def test_every_damaged_byte_is_refused_or_does_not_matter(always_piped):
    """Any change of a byte in the pixel data breaks its check sum (CRC-32), which is looked at."""
    good = FILES["rgb"]
    start = good.index(b"IDAT") + 4
    end = start + int.from_bytes(good[start - 8 : start - 4], "big")
    for place in np.linspace(start, end + 3, 40).astype(int):
        bad = bytearray(good)
        bad[place] ^= 0x41
        with pytest.raises(PictureError, match="damaged"):
            picture_from_bytes(bytes(bad), "a.png")


def test_a_stream_that_ends_early_is_refused(always_piped):
    """The pixel data cut in half with a right check sum: only the missing end tells."""
    good = FILES["no filter"]
    start = good.index(b"IDAT") + 4
    length = int.from_bytes(good[start - 8 : start - 4], "big")
    cut = good[: start - 8] + chunk(b"IDAT", good[start : start + length // 2]) + chunk(b"IEND", b"")
    with pytest.raises(PictureError, match="damaged"):
        picture_from_bytes(cut, "a.png")


def test_descriptors_and_threads_go_with_the_picture(always_piped):
    """Also when the picture is refused before its pixels are read."""
    large = saved(np.random.default_rng(1).integers(0, 255, (900, 900, 3), dtype=np.uint8), "PNG")
    picture_from_bytes(FILES["rgb"], "a.png")
    before = left_over()
    for _ in range(5):
        picture_from_bytes(FILES["rgb"], "a.png")
        with pytest.raises(PictureError, match="max-mpx"):
            picture_from_bytes(large, "a.png", max_mpx=0.1)
    for _ in range(100):
        if left_over() <= (before[0], 0):
            break
        time.sleep(0.02)
    assert left_over() <= (before[0], 0)


def test_a_bomb_stays_in_its_bounds():
    """40 MB of zeros in 40 kB come in pieces of at most a megabyte."""
    rows = np.zeros((4000, 10_000), np.uint8)
    sizes = [sum(map(len, parts)) for parts in stored_png(saved(rows, "PNG"))]
    assert sum(sizes) > 40_000_000
    assert max(sizes) < 1_100_000


def test_without_the_library_it_is_read_directly(monkeypatch):
    monkeypatch.setattr(piped, "_LEAST_BYTES", 0)
    monkeypatch.setattr(piped, "_library", lambda: None)
    assert piped.inflated_pipe(FILES["rgb"]) is None
    np.testing.assert_array_equal(picture_from_bytes(FILES["rgb"], "a.png").pixels, RGB)
