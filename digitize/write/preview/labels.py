"""Words on the check picture: a pen for text, and how wide text is."""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from ...records import FloatArray
from .view import Pixels

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont

Colour = tuple[int, int, int]
Rect = tuple[int, int, int, int]  # left, top, right, bottom

KNOWN = "±·°"  # what Pillow's built-in font has beyond ASCII, of what is used here


class Pen:
    """Writes on pixels with Pillow's built-in font."""

    def __init__(self, pixels: Pixels) -> None:
        from PIL import Image, ImageDraw

        self._image = Image.fromarray(pixels)
        self._draw: ImageDraw.ImageDraw = ImageDraw.Draw(self._image)

    def pixels(self) -> Pixels:
        """Return what was written on."""
        return np.asarray(self._image)

    def write(self, at: tuple[float, float], words: str, *, size: int, colour: Colour, anchor: str = "ls") -> None:
        """Write a line; `anchor` as Pillow means it, ``ls`` is the left end of the baseline."""
        self._draw.text(at, spelled(words), fill=colour, font=_font(size), anchor=anchor)

    def rounded(self, rect: Rect, *, fill: Colour, radius: int) -> None:
        """Fill a rectangle with round corners."""
        self._draw.rounded_rectangle(rect, radius=radius, fill=fill)

    def outline(self, points: FloatArray, *, edge: Colour, fill: Colour | None = None) -> None:
        """Draw a closed polygon through points (N, 2), filled or not."""
        self._draw.polygon([(float(x), float(y)) for x, y in points], fill=fill, outline=edge, width=2)

    def dot(self, centre: tuple[float, float], radius: float, fill: Colour) -> None:
        """Fill a disc."""
        (x, y), r = centre, radius
        self._draw.ellipse((x - r, y - r, x + r, y + r), fill=fill)

    def line(self, start: tuple[float, float], end: tuple[float, float], *, colour: Colour, width: int = 2) -> None:
        """Draw a straight line."""
        self._draw.line((*start, *end), fill=colour, width=width)


def width_of(words: str, size: int) -> int:
    """Return the width of a line of text, px."""
    return int(_font(size).getlength(spelled(words))) + 1


def shortened(words: str, size: int, room: int) -> str:
    """Return `words`, or as much of their beginning as fits into `room` px, with three dots."""
    if len(words) <= room and width_of(words, size) <= room:
        return words
    lengths = range(min(len(words), room))  # no letter is narrower than a pixel
    fitting = bisect_right(lengths, room, key=lambda length: width_of(words[:length] + "...", size))
    return words[: max(0, fitting - 1)].rstrip() + "..."


def wrapped(words: str, size: int, room: int) -> list[str]:
    """Return `words` in lines of at most `room` px; a word that is longer than a line is cut."""
    lines: list[str] = []
    for word in words.split():
        if lines and width_of(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
            continue
        while len(word) > 1 and width_of(word, size) > room:
            fitting = bisect_right(range(1, len(word)), room, key=lambda length: width_of(word[:length], size))
            lines.append(word[: max(1, fitting)])
            word = word[max(1, fitting) :]
        lines.append(word)
    return lines


def spelled(words: str) -> str:
    """Return `words` in letters that the font has; accents go, other letters become ``?``."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", words) if not unicodedata.combining(c))
    return "".join(c if c in KNOWN or " " <= c <= "~" else "?" for c in plain.replace("ß", "ss"))


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    from PIL import ImageFont

    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont)
    return font
