"""Bad and odd input made from a good scan: what must be refused, and what must be outlined all the same.

python tests/bad_files.py FOLDER    writes the whole corpus there
"""

import functools
import os
import struct
import sys
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests import picture_files
from tests.batch_scans import scan
from tests.picture_files import chunk, curv, exif, exif_segment, jpeg, phys, rgb_profile, tags, tiff

DPI = 100.0
png = functools.partial(picture_files.png, level=1)
SOON = {"PNG": {"compress_level": 1}, "WEBP": {"method": 0}}  # packing well takes longer than all that reads it


@functools.cache
def pixels():
    """The good scan, (H, W, 3) uint8."""
    return np.asarray(Image.open(BytesIO(good())).convert("RGB"))


def good(number=0):
    """A PNG that is outlined without a remark."""
    return scan(number, DPI)


def saved(pixels, form, **options):
    return picture_files.saved(pixels, form, **SOON.get(form, {}) | options)


def picture(**options):
    return saved(pixels(), options.pop("form", "PNG"), **options)


DENSITY = {282: (5, [(100, 1)]), 283: (5, [(100, 1)]), 296: (3, [2])}


def with_chunks(*chunks):
    """The good scan with further chunks in front of its data."""
    return png(pixels(), *chunks)


def bomb_png(width, height):
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(10_000))) + chunk(b"IEND", b"")


def bomb_jpeg():
    data = bytearray(jpeg(pixels()))
    place = data.index(b"\xff\xc0") + 5
    data[place : place + 4] = struct.pack(">HH", 65000, 65000)
    return bytes(data)


def looping_exif(own):
    """An EXIF block whose list of details is the list itself (`own`) or whose next list is the first one."""
    if own:
        return b"II*\0" + struct.pack("<I", 8) + tags({0x112: (3, [1]), 0x8769: (4, [8])})
    return b"II*\0" + struct.pack("<I", 8) + tags({0x112: (3, [1])}, following=8)


def looping_tiff():
    data = bytearray(tiff(pixels(), DENSITY))
    start = struct.unpack_from("<I", data, 4)[0]
    place = start + 2 + 12 * struct.unpack_from("<H", data, start)[0]
    struct.pack_into("<I", data, place, start)
    return bytes(data)


def float_density(value):
    """A TIFF whose density is a floating-point number (type 11)."""
    (bits,) = struct.unpack("<I", struct.pack("<f", value))
    data = bytearray(tiff(pixels(), {282: (4, [bits]), 283: (4, [bits]), 296: (3, [2])}))
    start = struct.unpack_from("<I", data, 4)[0]
    for place in range(start + 2, start + 2 + 12 * struct.unpack_from("<H", data, start)[0], 12):
        if struct.unpack_from("<H", data, place)[0] in (282, 283):
            struct.pack_into("<H", data, place + 2, 11)
    return bytes(data)


def pdf(pages=1, **options):
    import pikepdf

    stream = BytesIO()
    Image.fromarray(pixels()).save(stream, "PDF", resolution=DPI)
    with pikepdf.open(stream) as document:
        for _ in range(pages - 1):
            document.pages.append(document.pages[0])
        if pages == 0:
            del document.pages[0]
        made = BytesIO()
        document.save(made, **options)
    return made.getvalue()


def encrypted(user):
    import pikepdf

    return pdf(encryption=pikepdf.Encryption(user=user, owner="owner"))


def animated(form):
    frame = Image.fromarray(pixels())
    return saved(frame, form, save_all=True, append_images=[frame.rotate(180)], duration=100, lossless=True)


def transparent():
    alpha = np.zeros((*pixels().shape[:2], 1), np.uint8)
    return png(np.concatenate([pixels(), alpha], 2))


def cut(data, share):
    return data[: int(len(data) * share)]


REFUSED = {
    "empty.png": lambda: b"",
    "one byte.png": lambda: b"\x89",
    "text.png": lambda: b"this is no picture\n",
    "words.jpg": lambda: "gr\u00fc\u00dfe".encode("utf-16"),
    "page.html.png": lambda: b"<!doctype html><title>scan</title>",
    "1x1.png": lambda: png(np.zeros((1, 1, 3), np.uint8)),
    "1x100000.png": lambda: png(np.zeros((100_000, 1, 1), np.uint8)),
    "100000x1.png": lambda: png(np.zeros((1, 100_000, 1), np.uint8)),
    "0x0.png": lambda: bomb_png(0, 0),
    "30000x30000.png": lambda: bomb_png(30000, 30000),
    "bomb.jpg": bomb_jpeg,
    "bomb.tif": lambda: tiff(pixels(), {256: (4, [60000]), 257: (4, [60000])}),
    "float.tif": lambda: saved(Image.fromarray(np.zeros((60, 60), np.float32)), "TIFF"),
    "no pages.pdf": lambda: pdf(0),
    "locked.pdf": lambda: encrypted("secret"),
    "owner locked.pdf": lambda: encrypted(""),
    "transparent.png": transparent,
    "torn.pdf": lambda: cut(pdf(), 0.5),
    "only a mark.pdf": lambda: b"%PDF-1.7\n",
    "flat.png": lambda: png(np.full((200, 200, 3), 200, np.uint8)),
    "noise.png": lambda: png(np.random.default_rng(1).integers(0, 256, (200, 200, 3), np.uint8)),
    **{f"cut at {share}.png": functools.partial(lambda share: cut(good(), share), share) for share in (0.01, 0.3, 0.9)},
    **{
        f"cut at {share}.jpg": functools.partial(lambda share: cut(jpeg(pixels()), share), share)
        for share in (0.3, 0.9)
    },
    **{
        f"cut at {share}.tif": functools.partial(lambda share: cut(tiff(pixels()), share), share)
        for share in (0.3, 0.9)
    },
}
NO_SCALE = ("flat.png", "noise.png")  # exit code 4; the others 3

OUTLINED = {
    "png named.jpg": good,
    "jpeg named.png": lambda: jpeg(pixels()),
    "no ending that tells.tif": good,
    "16 bit.png": lambda: png(pixels().astype(np.uint16) * 257),
    "16 bit.tif": lambda: tiff(pixels().astype(np.uint16) * 257, DENSITY),
    "grey.png": lambda: saved(Image.fromarray(pixels()).convert("L"), "PNG"),
    "cmyk.tif": lambda: saved(Image.fromarray(pixels()).convert("CMYK"), "TIFF"),
    "cmyk.jpg": lambda: saved(Image.fromarray(pixels()).convert("CMYK"), "JPEG", quality=95),
    "palette.png": lambda: saved(Image.fromarray(pixels()).quantize(128), "PNG"),
    "animated.gif": lambda: animated("GIF"),
    "animated.png": lambda: animated("PNG"),
    "animated.webp": lambda: animated("WEBP"),
    "exif in itself.jpg": lambda: jpeg(pixels(), exif_segment(looping_exif(own=True))),
    "exif round.jpg": lambda: jpeg(pixels(), exif_segment(looping_exif(own=False))),
    "exif nonsense.jpg": lambda: jpeg(pixels(), exif_segment(b"II*\0\xff\xff\xff\xff")),
    "tiff round.tif": looping_tiff,
    "icc broken.png": lambda: saved(pixels(), "PNG", icc_profile=b"no profile" * 20),
    "icc cut.png": lambda: saved(pixels(), "PNG", icc_profile=rgb_profile(curv(563))[:200]),
    "density 0.png": lambda: with_chunks(phys(0, 0, 1)),
    "density huge.png": lambda: with_chunks(phys(2**32 - 1, 2**32 - 1, 1)),
    "density 0 of 0.tif": lambda: tiff(pixels(), {**DENSITY, 282: (5, [(0, 0)]), 283: (5, [(0, 0)])}),
    "density 1 of 0.tif": lambda: tiff(pixels(), {**DENSITY, 282: (5, [(1, 0)]), 283: (5, [(1, 0)])}),
    "density nan.tif": lambda: float_density(float("nan")),
    "density inf.tif": lambda: float_density(float("inf")),
    "density in exif 0.jpg": lambda: jpeg(pixels(), exif_segment(exif(DENSITY | {282: (5, [(0, 1)])}))),
    "300 pages.pdf": lambda: pdf(300),
    "one page.pdf": pdf,
    "a name with spaces .png": good,
    "\u00fcn\u00efc\u00f6d\u00e9 \u6a19\u672c \U0001f9f7.png": good,
    "e\u0301.png": good,
    "new\nline.png": good,
    "-leading-dash.png": good,
    "--to.png": good,
    "'quote\" & <tag>.png": good,
    "=formula().png": good,
    "%2e%2e%2f.png": good,
    "con.png": good,
    "x" * 200 + ".png": good,
    "UPPER.PNG": good,
    "upper.png": good,
}
OUTLINED = {name: make if make is good else functools.cache(make) for name, make in OUTLINED.items()}


def write(folder):
    """Write the corpus into a folder, with a link that leads to itself and one to nothing."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name, make in {**REFUSED, **OUTLINED}.items():
        (folder / name).write_bytes(make())
    write_links(folder)


def write_links(folder):
    """Write what has a picture's name but is no file, and a file whose name is no UTF-8."""
    (folder / "link round.png").symlink_to("link round.png")
    (folder / "link to nothing.png").symlink_to("nothing")
    os.mkfifo(folder / "pipe.png")
    (folder / ODD).write_bytes(good())


LINKS = ("link round.png", "link to nothing.png", "pipe.png")
ODD = os.fsdecode(b"not utf-8 \xff.png")

if __name__ == "__main__":
    write(sys.argv[1])
