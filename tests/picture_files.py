"""Picture files made byte by byte, or by Pillow as an independent writer, for the tests of reading."""

import struct
import zlib
from io import BytesIO

import numpy as np
from PIL import Image


def scene(height=60, width=90, channels=3, seed=5):
    """A picture without any symmetry, (height, width, channels) uint8, or (height, width) for one channel."""
    rng = np.random.default_rng(seed)
    ramp = np.linspace(0, 150, width)[None, :, None] + np.linspace(0, 60, height)[:, None, None]
    pixels = (ramp + rng.integers(0, 40, (height, width, channels))).astype(np.uint8)
    return pixels[..., 0] if channels == 1 else pixels


def saved(pixels, form, **options):
    """The bytes of `pixels` (an array or a Pillow picture) written by Pillow."""
    picture = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    stream = BytesIO()
    picture.save(stream, form, **options)
    return stream.getvalue()


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(pixels, *chunks, bits=None, size=None, level=-1):
    """A PNG of an array uint8 or uint16 (W3C PNG), further chunks before the data; `size` overrides the header's."""
    pixels = pixels.reshape(*pixels.shape[:2], -1)
    height, width, channels = pixels.shape
    bits = bits or 8 * pixels.itemsize
    rows = pixels.astype(pixels.dtype.newbyteorder(">")).reshape(height, -1)
    body = b"".join(b"\0" + row.tobytes() for row in rows)
    width, height = size or (width, height)
    head = struct.pack(">IIBBBBB", width, height, bits, {1: 0, 2: 4, 3: 2, 4: 6}[channels], 0, 0, 0)
    parts = [chunk(b"IHDR", head), *chunks, chunk(b"IDAT", zlib.compress(body, level)), chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def phys(x, y, unit):
    return chunk(b"pHYs", struct.pack(">IIB", x, y, unit))


def tags(entries, *, order="<", start=8, following=0):
    """A list of TIFF tags, {tag: (type, values)}, standing at offset `start`; rationals are pairs (TIFF 6.0)."""
    codes = {1: "B", 2: "s", 3: "H", 4: "I", 5: "II", 7: "s"}
    head, tail = struct.pack(order + "H", len(entries)), b""
    place = start + 2 + 12 * len(entries) + 4
    for tag, (kind, values) in sorted(entries.items()):
        if kind in (2, 7):
            body, count = values, len(values)
        elif kind == 5:
            body, count = b"".join(struct.pack(order + "II", *pair) for pair in values), len(values)
        else:
            body, count = struct.pack(f"{order}{len(values)}{codes[kind]}", *values), len(values)
        if len(body) > 4:
            body, tail = struct.pack(order + "I", place + len(tail)), tail + body
        head += struct.pack(order + "HHI", tag, kind, count) + body.ljust(4, b"\0")
    return head + struct.pack(order + "I", following) + tail


def exif(first, details=None, *, order="<"):
    """An EXIF block: a TIFF head, the list `first`, and the list `details` it refers to (CIPA DC-008)."""
    entries = dict(first)
    if details is not None:
        entries[0x8769] = (4, [0])
        entries[0x8769] = (4, [8 + len(tags(entries, order=order))])
    listed = tags(entries, order=order)
    nested = b"" if details is None else tags(details, order=order, start=8 + len(listed))
    mark = b"II*\0" if order == "<" else b"MM\0*"
    return mark + struct.pack(order + "I", 8) + listed + nested


def tiff(pixels, extra=None, *, order="<", photometric=None, bits=None, pages=1):
    """An uncompressed TIFF of one strip a page (TIFF 6.0); `extra` adds or replaces tags."""
    pixels = pixels.reshape(*pixels.shape[:2], -1)
    height, width, channels = pixels.shape
    body = pixels.astype(pixels.dtype.newbyteorder(order)).tobytes()
    photometric = {1: 1, 2: 1, 3: 2, 4: 2}[channels] if photometric is None else photometric
    entries = {
        256: (4, [width if bits is None else width * 8 // bits]),
        257: (4, [height]),
        258: (3, [bits or 8 * pixels.itemsize] * channels),
        259: (3, [1]),
        262: (3, [photometric]),
        273: (4, [8]),
        277: (3, [channels]),
        278: (4, [height]),
        279: (4, [len(body)]),
        **(extra or {}),
    }
    start = 8 + len(body) + len(body) % 2
    mark = b"II*\0" if order == "<" else b"MM\0*"
    data = mark + struct.pack(order + "I", start) + body.ljust(start - 8, b"\0")
    for page in range(pages):
        length = len(tags(entries, order=order, start=0))
        length += length % 2
        following = 0 if page == pages - 1 else start + length
        data += tags(entries, order=order, start=start, following=following).ljust(length, b"\0")
        start += length
    return data


def jpeg(pixels, *segments, **options):
    """A JPEG by Pillow whose own JFIF segment gives way to `segments` (each (marker, body))."""
    data = saved(pixels, "JPEG", **{"quality": 95, "subsampling": 0, **options})
    place = 2
    while data[place + 1] in (0xE0, 0xE1, 0xE2):
        place += 2 + int.from_bytes(data[place + 2 : place + 4], "big")
    inserted = b"".join(struct.pack(">BBH", 0xFF, mark, len(body) + 2) + body for mark, body in segments)
    return data[:2] + inserted + data[place:]


def jfif(unit, x, y):
    return 0xE0, b"JFIF\0\x01\x02" + struct.pack(">BHHBB", unit, x, y, 0, 0)


def exif_segment(block):
    return 0xE1, b"Exif\0\0" + block


def profile(space, tagged, *, pcs=b"XYZ ", kind=b"mntr", version=0x02400000):
    """An ICC profile (ICC.1:2022, 7.2) of the tags given."""
    start = 128 + 4 + 12 * len(tagged)
    table, body = struct.pack(">I", len(tagged)), b""
    for name, content in tagged.items():
        content = content.ljust(-(-len(content) // 4) * 4, b"\0")
        table += name + struct.pack(">II", start + len(body), len(content))
        body += content
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"lcms", version, kind, space, pcs)
    head += struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + struct.pack(">3i", 63190, 65536, 54061)
    return head.ljust(128, b"\0") + table + body


def xyz(x, y, z):
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(65536 * v) for v in (x, y, z)))


def curv(*values):
    return b"curv\0\0\0\0" + struct.pack(f">I{len(values)}H", len(values), *values)


def para(kind, *numbers):
    values = [round(65536 * v) for v in numbers]
    return b"para\0\0\0\0" + struct.pack(f">HH{len(values)}i", kind, 0, *values)


def text_tag(text):
    """A profileDescription of version 2."""
    body = text.encode() + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(body)) + body + bytes(8 + 3 + 67)


def rgb_profile(red, green=None, blue=None):
    """A matrix profile with the primaries of sRGB (adapted to D50) and the tone curves given."""
    return profile(
        b"RGB ",
        {
            b"desc": text_tag("test"),
            b"wtpt": xyz(0.9642, 1.0, 0.8249),
            b"rXYZ": xyz(0.4360, 0.2225, 0.0139),
            b"gXYZ": xyz(0.3851, 0.7169, 0.0971),
            b"bXYZ": xyz(0.1431, 0.0606, 0.7141),
            b"rTRC": red,
            b"gTRC": green or red,
            b"bTRC": blue or red,
        },
    )


def grey_profile(curve, *, pcs=b"XYZ "):
    return profile(b"GRAY", {b"desc": text_tag("test"), b"wtpt": xyz(0.9642, 1.0, 0.8249), b"kTRC": curve}, pcs=pcs)
