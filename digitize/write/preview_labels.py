"""Words on the check picture: a pen for text, and labels that find a free place beside their item."""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from digitize.write.preview_view import Pixels

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


@dataclass(frozen=True, slots=True)
class Room:
    """What part of a view is taken: edges, the reference, labels already placed."""

    taken: npt.NDArray[np.uint8]  # (H, W), 0 where free

    def place(self, near: Rect, size: tuple[int, int]) -> Rect:
        """Take and return the best free place for a label of `size` beside or within `near`."""
        height, width = self.taken.shape
        choices = [_inside(choice, size, (width, height)) for choice in _choices(near, size)]
        costs = [self._cost(choice) + order for order, choice in enumerate(choices)]
        best = choices[int(np.argmin(costs))]
        left, top, right, bottom = best
        self.taken[top:bottom, left:right] = 1
        return best

    def _cost(self, rect: Rect) -> int:
        left, top, right, bottom = rect
        return 100 * int(np.count_nonzero(self.taken[top:bottom, left:right]))


def _choices(near: Rect, size: tuple[int, int], *, gap: int = 10) -> Sequence[tuple[int, int]]:
    """Return left upper corners to try, the best first: below, above, beside, within, then wider about."""
    left, top, right, bottom = near
    wide, high = size
    middle, centre = (left + right - wide) // 2, (top + bottom - high) // 2
    found = []
    for away in (gap, gap + high, gap + 2 * high):
        found += [(middle, bottom + away), (middle, top - away - high)]
        found += [(right + away, centre), (left - away - wide, centre)]
        found += [(left, bottom + away), (right - wide, bottom + away), (left, top - away - high)]
    found += [(middle, top + (bottom - top) * share // 12 - high // 2) for share in (6, 4, 8, 3, 9, 2, 10)]
    return found


def _inside(corner: tuple[int, int], size: tuple[int, int], whole: tuple[int, int]) -> Rect:
    left, top = (max(0, min(max(2, at), most - side - 2)) for at, side, most in zip(corner, size, whole, strict=True))
    return left, top, min(left + size[0], whole[0]), min(top + size[1], whole[1])
