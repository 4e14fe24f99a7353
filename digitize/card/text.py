"""How wide a line of text on a card is, and how a paragraph is broken into lines.

Sans-serif of the widths of Helvetica, which every PDF reader has (ISO 32000-1, 9.6.2.2, the standard 14
fonts); the metric-compatible open fonts have the same widths.
"""

from __future__ import annotations

from collections.abc import Iterable

from .parts import Point, TextLine

# Advance widths in 1/1000 of the em for codes 32..126.
# fmt: off
_REGULAR = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)
_BOLD = (
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667,
    611, 778, 722, 278, 556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 333, 278, 333, 584, 556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556,
    278, 889, 611, 611, 611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
)
# fmt: on
_EXTRA = {"×": 584, "·": 278, "–": 556}


def text_width(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Width of a line in mm; KeyError for a character that the cards do not use."""
    table = _BOLD if bold else _REGULAR
    total = sum(table[ord(c) - 32] if 32 <= ord(c) < 127 else _EXTRA[c] for c in text)
    return total * size_mm / 1000


def line(text: str, at_mm: Point, size_mm: float, *, bold: bool = False, upwards: bool = False) -> TextLine:
    """One line of text with its width."""
    return TextLine(text, at_mm, size_mm, text_width(text, size_mm, bold=bold), bold, upwards)


def wrap(text: str, size_mm: float, width_mm: float, *, bold: bool = False) -> list[str]:
    """Break a paragraph into lines no wider than `width_mm` (a single longer word stays whole)."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size_mm, bold=bold) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def paragraphs(texts: Iterable[str], top_left_mm: Point, width_mm: float, *, size_mm: float) -> list[TextLine]:
    """Set paragraphs below one another; a leading ``"1 "`` or ``"- "`` hangs in front of its paragraph."""
    x, y = top_left_mm
    y -= 0.75 * size_mm
    out: list[TextLine] = []
    for text in texts:
        label, body = (text[:1], text[2:]) if text[1:2] == " " and text[:1] in "123456789-" else ("", text)
        indent = 1.3 * size_mm if label else 0.0
        if label:
            out.append(line(label, (x, y), size_mm, bold=True))
        for piece in wrap(body, size_mm, width_mm - indent):
            out.append(line(piece, (x + indent, y), size_mm))
            y -= 1.3 * size_mm
        y -= 0.45 * size_mm
    return out
