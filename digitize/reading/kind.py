"""Tell what a file is by its first bytes, never by its name."""

from __future__ import annotations

from ..errors import PictureError

HEAD_BYTES = 4096  # more than any format needs to be told by
READABLE = "PNG, JPEG, TIFF, BMP, WebP, GIF, HEIC, AVIF or a scanner's PDF"

_STARTS = (
    (b"\x89PNG\r\n\x1a\n", "png"),
    (b"\xff\xd8\xff", "jpeg"),
    (b"II*\0", "tiff"),
    (b"MM\0*", "tiff"),
    (b"II+\0", "tiff"),
    (b"MM\0+", "tiff"),
    (b"GIF87a", "gif"),
    (b"GIF89a", "gif"),
)
_UNREADABLE = (
    (b"8BPS", "a layered PSD file"),
    (b"\xff\x0a", "a JPEG XL file"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL file"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000 file"),
    (b"%!PS", "a PostScript file"),
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"<svg", "an SVG drawing"),
    (b"<?xml", "an XML file"),
    (b"\x1f\x8b", "a gzip archive"),
)
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}


def kind_of(head: bytes) -> str:
    """Return the kind of a file from its first bytes.

    Parameters
    ----------
    head
        The first `HEAD_BYTES` of the file, or all of it.

    Returns
    -------
    str
        One of png, jpeg, tiff, gif, bmp, webp, heic, avif, pdf.

    Raises
    ------
    PictureError
        If the file is empty or of no kind that can be read.
    """
    if not head:
        raise PictureError("the file is empty (0 bytes). Copy or scan it again.")
    for start, kind in _STARTS:
        if head.startswith(start):
            return kind
    kind = _riff(head) or _bmp(head) or _boxes(head) or ("pdf" if b"%PDF-" in head[:1024] else "")
    if not kind:
        raise PictureError(f"{_description(head)}, not a picture. Save it as {READABLE}.")
    return kind


def _riff(head: bytes) -> str:
    return "webp" if head[:4] == b"RIFF" and head[8:12] == b"WEBP" else ""


def _bmp(head: bytes) -> str:
    """Two letters alone are no proof: the size of the information header must be one of the known ones."""
    known = head[:2] == b"BM" and int.from_bytes(head[14:18], "little") in {12, 16, 40, 52, 56, 64, 108, 124}
    return "bmp" if known else ""


def _boxes(head: bytes) -> str:
    """HEIC and AVIF are boxes (ISO/IEC 14496-12); the first lists the brands the file keeps to."""
    if head[4:8] != b"ftyp":
        return ""
    box = head[8 : max(16, min(int.from_bytes(head[:4], "big"), len(head)))]
    brands = {box[i : i + 4] for i in range(0, len(box) - 3, 4)}
    if brands & {b"avif", b"avis"}:
        return "avif"
    return "heic" if brands & _HEIC_BRANDS else ""


def _description(head: bytes) -> str:
    for start, text in _UNREADABLE:
        if head.lstrip()[: len(start)] == start or head.startswith(start):
            return f"this is {text}"
    return "this is text" if _is_text(head) else "the content is of no known kind"


def _is_text(head: bytes) -> bool:
    """Whether this is UTF-8 without control characters; where only the head was read, its last character may be cut."""
    text = head.decode("utf-8", "replace")
    text = text[:-1] if len(head) >= HEAD_BYTES else text
    return "\ufffd" not in text and all(c >= " " or c in "\t\n\r\f" for c in text)
