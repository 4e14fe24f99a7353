"""What stands in a file beside its pixels: density, orientation, camera, gamma, number of pages."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from ..errors import PictureError
from ..records import CameraTag, Finding
from .density import MM_PER_INCH, Claim
from .exif import read_exif
from .ifd import TagFile, number

_NEW_SUBFILE_TYPE, _EXTRA_SAMPLES, _DNG_VERSION = 0x00FE, 0x0152, 0xC612
_PNG_CHUNKS = {b"IHDR", b"pHYs", b"gAMA", b"sRGB", b"iCCP", b"cICP", b"acTL", b"eXIf", b"IEND"}


@dataclass(frozen=True, slots=True)
class Facts:
    """The facts of one file, as stored (nothing turned yet)."""

    claims: tuple[Claim, ...] = ()  # of density, the first to be believed first
    orientation: int = 1  # EXIF, 1 to 8
    camera: CameraTag | None = None
    gamma: float | None = None  # exponent from code to light, if the file gives one and no profile
    extra_is_alpha: bool = True  # False: a TIFF's further channel is of unspecified meaning
    findings: tuple[Finding, ...] = ()


def read_facts(kind: str, data: bytes) -> Facts:
    """Return the facts of a file of the given kind.

    Raises
    ------
    PictureError
        If the container is cut short or damaged; damaged EXIF alone is a remark.
    """
    reader = _READERS.get(kind)
    return reader(data) if reader else Facts()


def with_exif(facts: Facts, block: bytes | None, *, turn: bool = True) -> Facts:
    """Return `facts` with those of an EXIF block added; without its orientation if not `turn`."""
    if not block:
        return facts
    try:
        exif = read_exif(block)
    except ValueError:
        remark = Finding("exif-ignored", "The file's EXIF block is damaged; ignored.", attention=False)
        return replace(facts, findings=(*facts.findings, remark))
    claims = facts.claims if exif.claim is None else (*facts.claims, exif.claim)
    orientation = exif.orientation if turn else facts.orientation
    return replace(facts, claims=claims, orientation=orientation, camera=exif.camera)


def first_of(count: int, what: str) -> tuple[Finding, ...]:
    """Return the finding that only the first of `count` pages (frames, pictures) was read; none for one."""
    if count <= 1:
        return ()
    message = f"The file holds {count} {what}; only the first was read. Save the others to files of their own."
    return (Finding("first-page-only", message, value=float(count), limit=1.0),)


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


def _jpeg(data: bytes) -> Facts:
    facts, exif = Facts(), None
    for marker, body in _jpeg_segments(data):
        if marker == 0xE0 and body[:5] == b"JFIF\0" and len(body) >= 12:
            facts = replace(facts, claims=_jfif(body))
        elif marker == 0xE1 and body[:6] == b"Exif\0\0" and exif is None:
            exif = body
    return with_exif(facts, exif)


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


def _tiff(data: bytes) -> Facts:
    try:
        tagged = TagFile(data)
        tags = tagged.tags(tagged.first)
        exif = read_exif(data, source="TIFF")
    except ValueError as error:
        raise PictureError("the TIFF file is cut short or damaged. Copy or scan it again.") from error
    if _DNG_VERSION in tags or int(number(tags, _NEW_SUBFILE_TYPE) or 0) & 1 or data[8:10] == b"CR":
        raise PictureError("this is a camera's raw file, or a TIFF that begins with a thumbnail. Develop it to a TIFF.")
    return Facts(
        claims=() if exif.claim is None else (exif.claim,),
        orientation=exif.orientation,
        camera=exif.camera,
        extra_is_alpha=number(tags, _EXTRA_SAMPLES) != 0,
        findings=first_of(_full_pages(tagged), "pages"),
    )


def _full_pages(tagged: TagFile) -> int:
    """Count the pages, leaving out reduced copies (bit 0) and masks (bit 2) of another page."""
    try:
        kinds = [number(tagged.tags(offset), _NEW_SUBFILE_TYPE) for offset in tagged.lists()]
    except ValueError:
        return 1
    return sum(not int(kind or 0) & 5 for kind in kinds)


def _bmp(data: bytes) -> Facts:
    if int.from_bytes(data[14:18], "little") < 40 or len(data) < 54:
        return Facts()
    x, y = struct.unpack_from("<ii", data, 38)
    return Facts(claims=(Claim(x / 1000, y / 1000, "BMP"),) if x or y else ())


def _webp(data: bytes) -> Facts:
    facts, frames = Facts(), 0
    place, end = 12, 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise PictureError("the WebP file is cut short. Copy it again.")
    while place + 8 <= end:
        kind, length = struct.unpack_from("<4sI", data, place)
        frames += kind == b"ANMF"
        if kind == b"EXIF":
            facts = with_exif(facts, data[place + 8 : place + 8 + length])
        place += 8 + length + length % 2
    return replace(facts, findings=(*facts.findings, *first_of(frames, "frames")))


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
            raise PictureError("the HEIC or AVIF file is cut short or damaged. Copy it again.")
        place += length
    return Facts()


_READERS: dict[str, Callable[[bytes], Facts]] = {
    "png": _png,
    "jpeg": _jpeg,
    "tiff": _tiff,
    "bmp": _bmp,
    "webp": _webp,
    "heic": _boxes,
    "avif": _boxes,
}
