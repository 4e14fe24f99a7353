"""Read the facts out of each kind of file's header.

Pillow was weighed. It stops at the first pixel data: it sees neither that a PNG or WebP is cut short nor, before it
decodes, an EXIF block behind the pixels; it turns a PNG's pixels a metre into rounded dots an inch (599.9988 for 600);
and to count the frames of a WebP it sets up the decoder with room for two whole pictures.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace

from ..errors import PictureError
from .density import MM_PER_INCH, Claim
from .facts import Facts, first_of, with_exif
from .tiff import MOST_SIDE, tiff_facts

_CUT_BOXES = "the HEIC or AVIF file is cut short or damaged. Copy it again."
_SIZE_BOX = re.compile(rb"\0\0\0\x14ispe\0{4}(?=.{8})", re.DOTALL)  # 20 bytes: width and height follow (23008-12)
_PNG_CHUNKS = {b"IHDR", b"pHYs", b"gAMA", b"sRGB", b"iCCP", b"cICP", b"acTL", b"eXIf", b"IEND"}


def read_facts(kind: str, data: bytes) -> Facts:
    """Return the facts of a file of the given kind.

    Raises
    ------
    PictureError
        If the container is cut short or damaged; damaged EXIF alone is a remark.
    """
    reader = _READERS.get(kind)
    return reader(data) if reader else Facts()


def png_chunk(kind: bytes, body: bytes) -> bytes:
    """Return a PNG chunk."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _png(data: bytes) -> Facts:
    chunks = dict(_png_chunks(data))
    if b"IEND" not in chunks:
        raise PictureError("the PNG file is cut short: its end mark is missing. Copy or scan it again.")
    facts = Facts(gamma=_png_gamma(chunks))
    physical = chunks.get(b"pHYs", b"")
    if len(physical) == 9 and physical[8] == 1:  # unit 1 is the metre; unit 0 gives an aspect only
        x, y = struct.unpack(">II", physical[:8])
        facts = replace(facts, claims=(Claim(x / 1000, y / 1000, "PNG pHYs"),))
    if b"acTL" in chunks and len(chunks[b"acTL"]) == 8:
        facts = replace(facts, findings=first_of(struct.unpack(">I", chunks[b"acTL"][:4])[0], "frames"))
    return with_exif(facts, chunks.get(b"eXIf"))


def _png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield the chunks that matter here, each with its check sum verified (the decoder checks the pixels)."""
    place = 8
    while place + 12 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, place)
        end = place + 12 + length
        if end > len(data):
            return
        if kind in _PNG_CHUNKS:
            if zlib.crc32(data[place + 4 : end - 4]) != int.from_bytes(data[end - 4 : end], "big"):
                raise PictureError(
                    f"the PNG file is damaged: check sum of {kind.decode()} is wrong. Copy or scan it again."
                )
            yield kind, data[place + 8 : end - 4]
        if kind == b"IEND":
            return
        place = end


def _png_gamma(chunks: dict[bytes, bytes]) -> float | None:
    """Return the exponent of gAMA, which holds 100000 / exponent and counts only without a better word."""
    body = chunks.get(b"gAMA", b"")
    if len(body) != 4 or chunks.keys() & {b"sRGB", b"iCCP", b"cICP"}:
        return None
    value = int.from_bytes(body, "big")
    return 100_000 / value if 20_000 <= value <= 200_000 else None


_FRAMES = (0xC0, 0xC1, 0xC2)  # Huffman-coded, of the cosine transform
_BLOCK_PX = 8  # a side
_BROAD = 6  # of the steps, as they are stored: those of a block's mean, of two slopes and three bends


def _jpeg(data: bytes) -> Facts:
    facts, exif = Facts(), None
    tables: dict[int, int] = {}
    for marker, body in _jpeg_segments(data):
        if marker == 0xE0 and body[:5] == b"JFIF\0" and len(body) >= 12:
            facts = replace(facts, claims=_jfif(body))
        elif marker == 0xE1 and body[:6] == b"Exif\0\0" and exif is None:
            exif = body
        elif marker == 0xDB:
            tables |= _coarsest(body)
        elif marker in _FRAMES:
            facts = replace(facts, block_steps=_block_steps(body, tables))
    return with_exif(facts, exif)


def _coarsest(body: bytes) -> dict[int, int]:
    """Return of each of a segment's tables the largest step of a block's broadest parts (ITU-T T.81, B.2.4.1)."""
    found, place = {}, 0
    while place < len(body):
        wide, number = body[place] >> 4, body[place] & 15
        size = 2 if wide else 1
        ends = range(place + 1, place + 1 + _BROAD * size, size)
        first = [int.from_bytes(body[at : at + size], "big") for at in ends]
        found[number] = max(first)
        place += 1 + 64 * size
    return found


def _block_steps(body: bytes, tables: dict[int, int]) -> tuple[float, float]:
    """Return in what steps a frame's blocks tell brightness and colour, codes: an eighth of the table's (A.3.3)."""
    numbers = [body[at + 2] for at in range(6, min(6 + 3 * (body[5] if len(body) > 5 else 0), len(body) - 2), 3)]
    steps = [tables.get(number, 0) / _BLOCK_PX for number in numbers]
    return (max(steps[:1], default=0.0), max(steps[1:3], default=0.0))


def _jfif(body: bytes) -> tuple[Claim, ...]:
    unit, x, y = struct.unpack_from(">BHH", body, 7)
    mm = {1: MM_PER_INCH, 2: 10.0}.get(unit)
    return () if mm is None else (Claim(x / mm, y / mm, "JFIF"),)


def _jpeg_segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield the marker segments before the first scan."""
    place = 2
    while place + 4 <= len(data) and data[place] == 0xFF:
        marker = data[place + 1]
        if marker == 0xFF:  # fill byte
            place += 1
            continue
        if marker in (0xDA, 0xD9):
            return
        length = int.from_bytes(data[place + 2 : place + 4], "big")
        yield marker, data[place + 4 : place + 2 + length]
        place += 2 + max(length, 2)


def _bmp(data: bytes) -> Facts:
    if int.from_bytes(data[14:18], "little") < 40 or len(data) < 54:
        return Facts()
    x, y = struct.unpack_from("<ii", data, 38)
    return Facts(claims=(Claim(x / 1000, y / 1000, "BMP"),) if x or y else ())


def _webp(data: bytes) -> Facts:
    exif, frames = b"", 0
    place, end = 12, 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise PictureError("the WebP file is cut short. Copy it again.")
    while place + 8 <= end:
        kind, length = struct.unpack_from("<4sI", data, place)
        frames += kind == b"ANMF"
        if kind == b"EXIF" and not exif:
            exif = data[place + 8 : place + 8 + length]
        place += 8 + length + length % 2
    return with_exif(Facts(findings=first_of(frames, "frames")), exif)


def _boxes(data: bytes) -> Facts:
    """HEIC and AVIF: the outermost boxes (ISO/IEC 14496-12) must fill the file, or it is cut short."""
    place = 0
    while place < len(data):
        head = data[place : place + 16].ljust(16, b"\0")
        length = int.from_bytes(head[:4], "big")
        length = int.from_bytes(head[8:16], "big") if length == 1 else length
        if length == 0:  # to the end of the file
            break
        if length < 8 or place + length > len(data):
            raise PictureError(_CUT_BOXES)
        place += length
    if any(max(struct.unpack_from(">II", data, found.end())) > MOST_SIDE for found in _SIZE_BOX.finditer(data)):
        raise PictureError(_CUT_BOXES)
    return Facts()


_READERS: dict[str, Callable[[bytes], Facts]] = {
    "png": _png,
    "jpeg": _jpeg,
    "tiff": tiff_facts,
    "bmp": _bmp,
    "webp": _webp,
    "heic": _boxes,
    "avif": _boxes,
}
