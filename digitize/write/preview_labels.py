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
Label = tuple[Rect, str, str]  # where, badge, words

_LABEL = 2
_FEW, _HIDDEN = 6, 0.08  # of more items than few, labels hide at most that part of their place

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
    """What part of a view is taken: 1 by edges and the reference, 2 by labels already placed."""

    taken: npt.NDArray[np.uint8]  # (H, W), 0 where free

    def place(self, near: Rect, size: tuple[int, int]) -> Rect:
        """Take and return the best free place for a label of `size` beside or within `near`."""
        best = self._best(_choices(near, size), size)
        self._take(best)
        return best

    def free_place(
        self, corners: Sequence[tuple[int, int]], size: tuple[int, int], *, most_hidden: float
    ) -> Rect | None:
        """Take the best of the places, or none if that lies on a label or hides more marks than that part of it."""
        best = self._best(corners, size)
        left, top, right, bottom = best
        under = self.taken[top:bottom, left:right]
        if (under == _LABEL).any() or np.count_nonzero(under) > most_hidden * under.size:
            return None
        self._take(best)
        return best

    def _best(self, corners: Sequence[tuple[int, int]], size: tuple[int, int]) -> Rect:
        height, width = self.taken.shape
        choices = [_inside(corner, size, (width, height)) for corner in corners]
        costs = [self._cost(choice) + order for order, choice in enumerate(choices)]
        return choices[int(np.argmin(costs))]

    def _take(self, rect: Rect) -> None:
        left, top, right, bottom = rect
        self.taken[top:bottom, left:right] = _LABEL

    def _cost(self, rect: Rect) -> int:
        left, top, right, bottom = rect
        under = self.taken[top:bottom, left:right]
        return 100 * int(np.count_nonzero(under)) + 1000 * int(np.count_nonzero(under == _LABEL))


def label_items(room: Room, boxes: Sequence[Rect], badges: Sequence[str], words: Sequence[str]) -> list[Label]:
    """Find places for the items' sizes; where there is no room for all of them, for their numbers alone.

    No label covers another. Of many items none may hide much of its neighbours' edges; a number for which
    there is no room is left out.
    """
    before = room.taken.copy()
    most_hidden = 1.0 if len(boxes) <= _FEW else _HIDDEN
    found: list[Label] = []
    for box, badge, said in zip(boxes, badges, words, strict=True):
        size = _extent(said)
        place = room.free_place(_choices(box, size), size, most_hidden=most_hidden)
        if place is None:
            room.taken[:] = before
            return _label_numbers(room, boxes, badges)
        found.append((place, badge, said))
    return found


def _label_numbers(room: Room, boxes: Sequence[Rect], badges: Sequence[str]) -> list[Label]:
    """Find places for the numbers, each on its item."""
    found: list[Label] = []
    for box, badge in zip(boxes, badges, strict=True):
        size = 16 + width_of(badge, 15), 24
        place = room.free_place(_on(box, size), size, most_hidden=1.0)
        if place is not None:
            found.append((place, badge, ""))
    return found


def _on(box: Rect, size: tuple[int, int]) -> Sequence[tuple[int, int]]:
    """Return left upper corners within a box, from its middle outward; the middle alone if it is small."""
    left, top, right, bottom = box
    across, down = right - left - size[0], bottom - top - size[1]
    shares = [(0.5, 0.5), (0.5, 0.75), (0.5, 0.25), (0.75, 0.5), (0.25, 0.5), (0.25, 0.25), (0.75, 0.75)]
    if min(across, down) < 0:
        shares = shares[:1]
    return [(left + round(across * x), top + round(down * y)) for x, y in shares]


def _extent(words: str) -> tuple[int, int]:
    return 30 + width_of(words, 15) + 12, 26


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
