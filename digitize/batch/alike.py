"""Whether a drawing that stands there was drawn as another: the same words, and every number within a little."""

from __future__ import annotations

import functools
import re
from io import BytesIO

from ..seal import PREFIX, is_sealed
from ..write.font import FONTS, font

_WITHIN = 0.01  # mm, points or inches: a document holds 0.1 um, and what options change is changed by more
_ROUNDED = 1.01  # of the last digit written
_MARK = re.compile(PREFIX + "[0-9A-F]{16}")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_WORDS = re.compile(r"<([0-9A-F]+)> Tj")  # of a PDF: glyphs of four digits each


def is_drawn_alike(there: bytes, made: bytes, kind: str) -> bool:
    """Tell whether `there` is sealed, and drawn as `made` is but for the last digits.

    Parameters
    ----------
    there, made
        Two files of the kind.
    kind
        "json", "dxf", "svg" or "pdf"; of any other kind the bytes must be the same.
    """
    if there == made or not is_sealed(there):
        return there == made
    if kind not in ("dxf", "svg", "pdf"):
        return False
    one, other = (_MARK.sub("", _text(data, kind)) for data in (there, made))
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    pairs = zip(_NUMBER.findall(one), _NUMBER.findall(other), strict=True)
    return all(left == right or abs(float(left) - float(right)) <= _within(left, right) for left, right in pairs)


def _within(left: str, right: str) -> float:
    """How far two numbers may be apart: as many digits after the point may be one apart in the last, as in words."""
    digits, others = (len(number.partition(".")[2]) for number in (left, right))
    return max(_WITHIN, _ROUNDED * 10.0**-digits) if digits == others > 0 else _WITHIN


def _text(data: bytes, kind: str) -> str:
    """Return what is drawn as text; of a PDF what its pages draw, unpacked."""
    if kind != "pdf":
        return data.decode("utf-8", "replace")
    import pikepdf

    with pikepdf.open(BytesIO(data)) as pdf:
        parts = [(str(page.mediabox), page.obj.Contents.read_bytes().decode("latin-1")) for page in pdf.pages]
    return "\n".join(f"{box}\n{_WORDS.sub(_spelled, content)}" for box, content in parts)


def _spelled(words: re.Match[str]) -> str:
    """Glyphs of words as letters where they are those of figures, else by their numbers."""
    figures, glyphs = _figures(), words[1]
    return "".join(figures.get(glyph := glyphs[k : k + 4], f"<{glyph}>") for k in range(0, len(glyphs), 4))


@functools.cache
def _figures() -> dict[str, str]:
    """The letters that numbers are written with, by their glyphs in the first of the fonts."""
    first = font(FONTS[0])
    return {f"{first.glyph(letter):04X}": letter for letter in "-.0123456789"}
