"""Take the picture out of a scanner's PDF (ISO 32000-1): a page that shows one picture, in its stored pixels."""

from __future__ import annotations

import logging
import struct
import zlib
from dataclasses import replace
from io import BytesIO
from typing import Any

import numpy as np

from ..errors import PictureError
from ..records import Finding
from .curve import EXPONENTS
from .density import Claim
from .facts import Facts, first_of
from .headers import png_chunk
from .pdf_page import MOST_BYTES, Placed, placed_pictures, unpacked_size
from .raw import Pixels, Raw, as_vips, check_size, open_raw

_ADVICE = "Scan to PNG or TIFF instead."
_UNUSUAL = f"the picture in the PDF is stored in a way that cannot be read ({{}}). {_ADVICE}"
_DAMAGED = f"the PDF is truncated or damaged. {_ADVICE}"
_CHANNELS = {"/DeviceGray": 1, "/CalGray": 1, "/G": 1, "/DeviceRGB": 3, "/CalRGB": 3, "/RGB": 3}


def open_pdf(data: bytes, *, max_px: float) -> Raw:
    """Open the picture on the first page.

    Density and orientation come from the picture's place on the page; it is never resampled.

    Raises
    ------
    PictureError
        If the PDF is encrypted or damaged, or its first page shows no picture or several.
    """
    import pikepdf

    if b"%%EOF" not in data[-1024:]:
        raise PictureError(_DAMAGED)
    logging.getLogger("pikepdf").addHandler(logging.NullHandler())
    try:
        with pikepdf.open(BytesIO(data), attempt_recovery=False, suppress_warnings=True) as pdf:
            if pdf.is_encrypted:
                raise PictureError(f"the PDF is encrypted. {_ADVICE}")
            return _first_page(pdf, max_px)
    except pikepdf.PasswordError as error:
        raise PictureError(f"the PDF is protected by a password. {_ADVICE}") from error
    except (
        pikepdf.PdfError,
        TypeError,
        ValueError,
        LookupError,
        AttributeError,
        ArithmeticError,
        RuntimeError,
        NotImplementedError,
        zlib.error,
        struct.error,
    ) as error:
        raise PictureError(_DAMAGED) from error


def _first_page(pdf: Any, max_px: float) -> Raw:
    pages = len(pdf.pages)
    if not pages:
        raise PictureError(f"the PDF has no pages. {_ADVICE}")
    placed = placed_pictures(pdf.pages[0])
    if len(placed) != 1:
        seen = f"{len(placed)} pictures, and which to take is open" if placed else "no picture, only text or drawing"
        raise PictureError(f"the PDF's first page shows {seen}. {_ADVICE}")
    width, height = int(placed[0].picture.Width), int(placed[0].picture.Height)
    check_size(width, height, max_px=max_px)
    raw = _coloured(placed[0].picture, _payload(placed[0].picture, width, height, max_px))
    return replace(raw, facts=_facts(placed[0], raw, (width, height), first_of(pages, "pages")))


def _facts(placed: Placed, raw: Raw, size: tuple[int, int], pages: tuple[Finding, ...]) -> Facts:
    """Return the facts by the page; a PDF's viewers ignore what EXIF says of orientation."""
    mm = placed.pixel_mm(*size)
    claims = () if mm is None else (Claim(1 / mm[0], 1 / mm[1], "PDF page"),)
    return replace(raw.facts, claims=claims, orientation=placed.orientation, findings=(*raw.facts.findings, *pages))


def _payload(picture: Any, width: int, height: int, max_px: float) -> Raw:
    """Return the stored pixels, undone of the compression only."""
    filters = _names(picture.get("/Filter"))
    if "/SMask" in picture or "/Mask" in picture:
        raise PictureError(_UNUSUAL.format("with a mask"))
    if filters == ["/DCTDecode"]:
        return _jpeg(picture.read_raw_bytes(), max_px)
    if filters == ["/CCITTFaxDecode"]:
        return _fax(picture, max_px)
    if filters not in ([], ["/FlateDecode"]):
        raise PictureError(_UNUSUAL.format(" ".join(filters)))
    return _rows(picture, width, height, max_px, packed=bool(filters))


def _jpeg(data: bytes, max_px: float) -> Raw:
    raw = open_raw("jpeg", data, max_px=max_px)
    if raw.space == "cmyk":
        raise PictureError(_UNUSUAL.format("CMYK"))
    return raw


def _fax(picture: Any, max_px: float) -> Raw:
    import pikepdf

    stream = BytesIO()
    pikepdf.PdfImage(picture).extract_to(stream=stream)
    return replace(open_raw("tiff", stream.getvalue(), max_px=max_px), facts=Facts())


def _rows(picture: Any, width: int, height: int, max_px: float, *, packed: bool) -> Raw:
    """Return pixels stored row by row, plain or deflated; deflated with a predictor they are the body of a PNG."""
    channels, bits = _layout(picture)
    stride = (width * channels * bits + 7) // 8
    parameters = _first(picture.get("/DecodeParms")) or {}
    predictor = int(parameters.get("/Predictor", 1)) if packed else 1
    body = picture.read_raw_bytes()
    if predictor >= 10:
        expected = (int(parameters.get("/Colors", 1)), int(parameters.get("/BitsPerComponent", 8)))
        if (*expected, int(parameters.get("/Columns", 1))) != (channels, bits, width):
            raise PictureError(_DAMAGED)
        return open_raw("png", _as_png(picture, width, height, body), max_px=max_px)
    if predictor != 1:
        raise PictureError(_UNUSUAL.format(f"predictor {predictor}"))
    if packed:
        body = zlib.decompressobj().decompress(body, stride * height)
    if len(body) < stride * height:
        raise PictureError(_DAMAGED)
    rows = np.frombuffer(body, np.uint8, stride * height).reshape(height, stride)
    if bits < 8 or _palette(picture):
        filtered = zlib.compress(np.pad(rows, ((0, 0), (1, 0))).tobytes(), 0)
        return open_raw("png", _as_png(picture, width, height, filtered), max_px=max_px)
    return Raw(_unpacked(rows, width, channels, bits), space="grey" if channels == 1 else "rgb")


def _unpacked(rows: Pixels, width: int, channels: int, bits: int) -> Pixels:
    pixels = rows if bits == 8 else rows.view(">u2").astype(np.uint16)
    return np.array(pixels.reshape(len(rows), width, channels))


def _as_png(picture: Any, width: int, height: int, body: bytes) -> bytes:
    channels, bits = _layout(picture)
    palette = _palette(picture)
    colour = 3 if palette else {1: 0, 3: 2}[channels]
    head = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0))
    table = png_chunk(b"PLTE", palette) if palette else b""
    return b"\x89PNG\r\n\x1a\n" + head + table + png_chunk(b"IDAT", body) + png_chunk(b"IEND", b"")


def _layout(picture: Any) -> tuple[int, int]:
    """Return channels and bits of each."""
    if picture.get("/ImageMask"):
        return 1, 1
    bits = int(picture.BitsPerComponent)
    if bits not in (1, 2, 4, 8, 16):
        raise PictureError(_DAMAGED)
    space = picture.ColorSpace
    if _space_name(space) == "/Indexed":
        return 1, bits
    return _channels(space), bits


def _channels(space: Any) -> int:
    name = _space_name(space)
    channels = int(space[1].N) if name == "/ICCBased" else _CHANNELS.get(name, 0)
    if channels not in (1, 3):
        raise PictureError(_UNUSUAL.format(f"colours as {name.lstrip('/')}"))
    return channels


def _palette(picture: Any) -> bytes:
    """Return the colour table as R, G, B bytes; empty if the picture has none."""
    import pikepdf

    space: Any = picture.get("/ColorSpace")
    if picture.get("/ImageMask") or _space_name(space) != "/Indexed":
        return b""
    entries = _small_stream(space[3]) if isinstance(space[3], pikepdf.Stream) else bytes(space[3])
    if _channels(space[1]) == 1:
        entries = bytes(np.repeat(np.frombuffer(entries, np.uint8), 3))
    return entries[: 3 * min(256, int(space[2]) + 1)]


def _coloured(picture: Any, raw: Raw) -> Raw:
    """Return the picture with the profile or gamma that the PDF gives, turned dark to light if it says so."""
    space: Any = None if picture.get("/ImageMask") else picture.get("/ColorSpace")
    if _space_name(space) == "/Indexed":
        space = space[1]
    name = _space_name(space)
    if name == "/ICCBased":
        raw = replace(raw, icc=_small_stream(space[1]))
    elif name in ("/CalGray", "/CalRGB"):
        raw = replace(raw, facts=replace(raw.facts, gamma=_gamma(space[1].get("/Gamma"))))
    decode = [float(value) for value in picture.get("/Decode", [])]
    if decode and decode[0] > decode[1] and _names(picture.get("/Filter")) != ["/CCITTFaxDecode"]:
        raw = replace(raw, bands=as_vips(raw.bands).invert())
    return raw


def _small_stream(stream: Any) -> bytes:
    """Return the content of a profile or palette, unless it unpacks to far more than one."""
    if unpacked_size(stream) > MOST_BYTES:
        raise PictureError(_DAMAGED)
    content: bytes = stream.read_bytes()
    return content


def _gamma(value: Any) -> float | None:
    """Return the mean exponent of a calibrated space (8.6.5.2 and 8.6.5.3); 1 where none is given."""
    import pikepdf

    if value is None:
        return 1.0
    exponents = [float(one) for one in value] if isinstance(value, pikepdf.Array) else [float(value)]
    mean = sum(exponents) / len(exponents)
    return mean if EXPONENTS[0] <= mean <= EXPONENTS[1] else None


def _space_name(space: Any) -> str:
    import pikepdf

    if space is None:
        return ""
    return str(space[0]) if isinstance(space, pikepdf.Array) else str(space)


def _names(value: Any) -> list[str]:
    import pikepdf

    if value is None:
        return []
    return [str(name) for name in value] if isinstance(value, pikepdf.Array) else [str(value)]


def _first(value: Any) -> Any:
    import pikepdf

    return (value[0] if len(value) else None) if isinstance(value, pikepdf.Array) else value
