"""Pictures as artwork: a PNG or JPEG file, its pixels and colours untouched."""

from __future__ import annotations

import base64
import io
import warnings
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .art import UNIT, unreadable

if TYPE_CHECKING:
    from pikepdf import Object, Pdf
    from PIL.Image import Image

_SPACES = {"L": "/DeviceGray", "RGB": "/DeviceRGB", "CMYK": "/DeviceCMYK"}
_ORIENTATION = 0x0112  # EXIF


@dataclass(frozen=True, slots=True)
class PictureArt:
    """A PNG or JPEG file."""

    name: str
    data: bytes
    size_mm: tuple[float, float] | None
    proportions: tuple[float, float]

    @property
    def formats(self) -> tuple[str, ...]:
        """Drawings that can hold it as it is."""
        return ("svg", "pdf")

    @property
    def is_jpeg(self) -> bool:
        """Whether it is a JPEG file."""
        return self.data.startswith(b"\xff\xd8")

    def symbol(self, key: str) -> str:
        """Return it as a symbol that holds the file as it is."""
        kind = "jpeg" if self.is_jpeg else "png"
        text = base64.b64encode(self.data).decode()
        image = f'<image width="1" height="1" preserveAspectRatio="none" xlink:href="data:image/{kind};base64,{text}"/>'
        return (
            f'<symbol id="{key}" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 1 1" '
            f'preserveAspectRatio="none">{image}</symbol>'
        )

    def pdf_object(self, pdf: Pdf) -> tuple[Object, tuple[float, float, float, float, float, float]]:
        """Return it as an image: a JPEG file as it is, the pixels of a PNG file as they are."""
        opened = _opened(self.name, self.data)
        made = _jpeg(pdf, opened, self.data) if self.is_jpeg else _pixels(pdf, opened)
        return made, (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def read_picture(name: str, data: bytes) -> PictureArt:
    """Return the artwork of a picture file.

    Raises
    ------
    UsageError
        If it is damaged, stored turned, or of a kind whose colours could not be kept.
    """
    opened = _opened(name, data)
    if opened.getexif().get(_ORIENTATION, 1) != 1:
        raise unreadable(name, "it is stored turned, which not every program minds", "Save it upright.")
    if opened.mode not in (*_SPACES, "P", "LA", "RGBA", "1", "PA"):
        raise unreadable(name, f"its pixels ({opened.mode}) are not 8 bits a colour", "Save it with 8 bits a colour.")
    dpi = opened.info.get("dpi")
    size = None
    if dpi is not None and min(dpi) > 1:
        size = (opened.width / float(dpi[0]) * UNIT.inch, opened.height / float(dpi[1]) * UNIT.inch)
    return PictureArt(name, data, size, (float(opened.width), float(opened.height)))


def _opened(name: str, data: bytes) -> Image:
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            opened = Image.open(io.BytesIO(data))
            opened.load()
    except Exception as error:  # a damaged file raises whatever its decoder does
        raise unreadable(name, f"the picture cannot be read ({error})", "Save it again.") from error
    return opened


def _jpeg(pdf: Pdf, opened: Image, data: bytes) -> Object:
    from pikepdf import Array, Name

    made = pdf.make_stream(data, **_head(pdf, opened), Filter=Name.DCTDecode)
    if opened.mode == "CMYK":  # as files of this kind are written (Adobe's marker APP14), ink is the complement
        made.Decode = Array([1, 0] * 4)
    return made


def _pixels(pdf: Pdf, opened: Image) -> Object:
    from pikepdf import Name

    clear = opened.mode in ("LA", "RGBA", "PA") or "transparency" in opened.info
    whole = opened.convert("RGBA") if clear else opened
    plain = opened if opened.mode in _SPACES else whole.convert("L" if opened.mode in ("1", "LA") else "RGB")
    made = pdf.make_stream(zlib.compress(plain.tobytes(), 6), **_head(pdf, plain, opened), Filter=Name.FlateDecode)
    if clear:
        mask = whole.getchannel("A")
        made.SMask = pdf.make_stream(zlib.compress(mask.tobytes(), 6), **_head(pdf, mask), Filter=Name.FlateDecode)
    return made


def _head(pdf: Pdf, image: Image, original: Image | None = None) -> dict[str, Any]:
    """Return what an image's dictionary says, its colour space that of the file's profile if it has one."""
    from pikepdf import Array, Name

    space: Any = Name(_SPACES[image.mode])
    profile = (original or image).info.get("icc_profile")
    if profile and (original is None or original.mode == image.mode):
        space = Array([Name.ICCBased, pdf.make_stream(profile, N=len(image.getbands()), Alternate=space)])
    return {
        "Type": Name.XObject,
        "Subtype": Name.Image,
        "Width": image.width,
        "Height": image.height,
        "ColorSpace": space,
        "BitsPerComponent": 8,
    }
