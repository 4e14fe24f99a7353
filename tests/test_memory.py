"""What a picture takes while it is read stays within what the batch plans for it; what a look takes, near its codes."""

import io
import json
import subprocess
import sys
import tracemalloc
import zlib

import numpy as np
import pytest
from PIL import Image

from digitize.batch import memory
from digitize.errors import PictureError
from digitize.reading.curve import srgb, steps
from digitize.reading.picture import read_picture
from digitize.reading.reduced import reduce_picture
from digitize.records import Picture
from digitize.silhouette.find import find_silhouettes
from digitize.silhouette.ways import Ask

from .batch_scans import ROOT
from .picture_files import chunk

WIDTH, HEIGHT = 2400, 2000
SPARE_BYTES = 30e6  # of decoders and threads, whatever the picture
ADAM7 = ((0, 0, 8, 8), (0, 4, 8, 8), (4, 0, 8, 4), (0, 2, 4, 4), (2, 0, 4, 2), (0, 1, 2, 2), (1, 0, 2, 1))  # PNG, 8.2


def png(pixels, interlaced=False):
    parts = [pixels[y::dy, x::dx] for y, x, dy, dx in ADAM7] if interlaced else [pixels]
    rows = [part.astype(part.dtype.newbyteorder(">")).reshape(len(part), -1).view(np.uint8) for part in parts]
    body = zlib.compress(b"".join(np.pad(row, ((0, 0), (1, 0))).tobytes() for row in rows), 1)
    colour = {1: 0, 2: 4, 3: 2, 4: 6}[pixels.shape[2]]
    head = np.array(pixels.shape[1::-1], ">u4").tobytes() + bytes((8 * pixels.itemsize, colour, 0, 0, interlaced))
    chunks = ((b"IHDR", head), (b"IDAT", body), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(kind, data) for kind, data in chunks)


def saved(kind, **options):
    stream = io.BytesIO()
    Image.new("RGB", (WIDTH, HEIGHT), (200, 190, 180)).save(stream, kind, **options)
    return stream.getvalue()


def plain(channels, kind):
    return np.full((HEIGHT, WIDTH, channels), np.iinfo(kind).max, kind)


KINDS = {
    "8 bit.png": lambda: png(plain(3, np.uint8)),
    "8 bit alpha interlaced.png": lambda: png(plain(4, np.uint8), interlaced=True),
    "16 bit.png": lambda: png(plain(3, np.uint16)),
    "16 bit alpha.png": lambda: png(plain(4, np.uint16)),
    "16 bit alpha interlaced.png": lambda: png(plain(4, np.uint16), interlaced=True),
    "progressive.jpg": lambda: saved("jpeg", progressive=True),
    "tiff.tif": lambda: saved("tiff"),
    "turned.jpg": lambda: saved(
        "jpeg", exif=b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0"
    ),
    "webp.webp": lambda: saved("webp", quality=50, method=0),
    "avif.avif": lambda: saved("avif", speed=10),
    "scan.pdf": lambda: saved("pdf"),
}
SCRIPT = """
import json, os, resource, sys
from digitize.reading.picture import read_picture
import digitize.reading.pdf, pikepdf, pyvips
taken = {}
for path in sys.argv[1:]:
    read, write = os.pipe()
    if os.fork() == 0:  # nothing was read before: nothing is lost by forking
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        read_picture(path)
        taken = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        os.write(write, str(1024 * taken).encode())
        os._exit(0)
    os.wait()
    taken[path] = int(os.read(read, 99))
print(json.dumps(taken))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="getrusage(2): the unit of ru_maxrss differs")
def test_reading_takes_no_more_than_is_planned(tmp_path):
    paths = {name: tmp_path / name for name in KINDS}
    for name, path in paths.items():
        path.write_bytes(KINDS[name]())
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, *map(str, paths.values())], cwd=ROOT, capture_output=True, check=True
    )
    for path, taken in json.loads(done.stdout).items():
        planned = memory.need_bytes(path, max_mpx=400) - memory.BASE_BYTES
        assert 3 * WIDTH * HEIGHT <= taken <= planned + SPARE_BYTES, path
        assert planned <= memory.DEEP_ALPHA_BYTES * WIDTH * HEIGHT


def test_a_file_far_longer_than_its_pixels_is_not_read(tmp_path):
    """The tail is a hole in the file: it takes no room on the disk, and none may be taken in memory."""
    path = tmp_path / "long.png"
    path.write_bytes(png(np.zeros((40, 40, 1), np.uint8)))
    with path.open("r+b") as file:
        file.truncate(3_000_000_000)
    with pytest.raises(PictureError, match=r"3 GB, far more than a picture of 40 x 40 px"):
        read_picture(path)


def test_looking_for_items_holds_little_more_than_the_codes():
    """The light of picture and background takes 12 bytes a pixel each, and is not held while the items are traced."""
    pixels = np.full((1200, 1100, 3), 230, np.uint8)
    pixels += np.random.default_rng(0).integers(0, 3, pixels.shape, dtype=np.uint8)
    pixels[200:500, 200:800] = pixels[700:1000, 300:500] = (40, 60, 90)
    curve = np.repeat(srgb(steps(256)).astype(np.float32)[:, None], 3, axis=1)
    picture = Picture("scan.png", "", pixels, curve)
    held = []

    def traced(regions):
        held.append(tracemalloc.get_traced_memory()[0])
        return [True] * len(regions)

    tracemalloc.start()
    try:
        seen = find_silhouettes(picture, reduce_picture(picture), (), (), Ask(mm_per_px=0.1), on_regions=traced)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(seen.regions) == 2
    assert most <= 34 * 1200 * 1100
    assert held[0] <= 18 * 1200 * 1100
