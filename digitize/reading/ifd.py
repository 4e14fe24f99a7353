"""Read the lists of tags that TIFF files and EXIF blocks share (TIFF 6.0, BigTIFF, CIPA DC-008).

Pillow's reader (`PIL.TiffImagePlugin.ImageFileDirectory_v2`, 13.0) was weighed, and what is read here is tested against
it. It could replace the decoding of values only, some 30 lines: it does not tell where an entry lies, which `with_ones`
must know; overlapping lists chained without end take it 0.1 s each, 200 s for a made-up file of 1 MB, so that entries
would have to be counted here before it is asked; what is damaged it says by warnings, which can be silenced for all
threads only; and it is another 25 ms before decoding begins.
"""

from __future__ import annotations

import math
import struct

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_CODES = {1: "B", 3: "H", 4: "I", 5: "I", 6: "b", 8: "h", 9: "i", 10: "i", 11: "f", 12: "d", 13: "I", 16: "Q", 17: "q"}
_CODES[18] = "Q"
_RATIONALS = (5, 10)  # TIFF 6.0, section 2: two numbers each
_MOST_BYTES = 65_536  # of one value; none that is read here is as long
_MOST_ENTRIES = 500_000  # read in all; a made-up file could chain the same ones without end

Tags = dict[int, tuple[float, ...] | str]


class TagFile:
    """A TIFF file or EXIF block.

    Attributes
    ----------
    first : int
        Offset of the first list of tags.

    Raises
    ------
    ValueError
        From every method, if the bytes are no TIFF structure or lead outside the data.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._entries_left = _MOST_ENTRIES
        self._order = {b"II": "<", b"MM": ">"}.get(bytes(data[:2]), "")
        if not self._order:
            raise ValueError("no byte order mark")
        magic = self._unpack("H", 2)[0]
        if magic not in (42, 43):
            raise ValueError("no TIFF number")
        self._big = magic == 43
        self.first = self._unpack("Q", 8)[0] if self._big else self._unpack("I", 4)[0]

    def tags(self, offset: int, *wanted: int) -> Tags:
        """Return the `wanted` tags of the list at `offset`; a rational becomes a quotient (NaN or infinity over zero).

        An entry that leads outside the data is left out.
        """
        tags: Tags = {}
        for number in range(self._count(offset)):
            place = offset + self._head + number * self._entry
            tag, kind = self._unpack("HH", place)
            if tag in wanted and tag not in tags:
                value = self._value(kind, place)
                if value is not None:
                    tags[tag] = value
        return tags

    def with_ones(self, offset: int, *tags: int) -> bytes:
        """Return a copy of the data in which the given tags of the list at `offset` hold the number 1."""
        data = bytearray(self._data)
        for number in range(self._count(offset)):
            place = offset + self._head + number * self._entry
            tag = self._unpack("H", place)[0]
            if tag in tags:
                code, values = ("HHQHHI", (1, 1, 0, 0)) if self._big else ("HHIHH", (1, 1, 0))
                struct.pack_into(self._order + code, data, place, tag, 3, *values)
        return bytes(data)

    def lists(self) -> list[int]:
        """Return the offsets of the chain of lists (a TIFF's pages), each once, loops cut."""
        found: dict[int, None] = {}
        offset = self.first
        while offset and offset not in found:
            end = offset + self._head + self._count(offset) * self._entry
            following = self._unpack("Q" if self._big else "I", end)[0]
            found[offset] = None
            offset = following
        return list(found)

    @property
    def _head(self) -> int:
        return 8 if self._big else 2

    @property
    def _entry(self) -> int:
        return 20 if self._big else 12

    def _count(self, offset: int) -> int:
        count: int = self._unpack("Q" if self._big else "H", offset)[0]
        if offset + self._head + count * self._entry > len(self._data):
            raise ValueError("list of tags leads outside the data")
        self._entries_left -= count + 1
        if self._entries_left < 0:
            raise ValueError("too many tags")
        return count

    def _value(self, kind: int, place: int) -> tuple[float, ...] | str | None:
        count = self._unpack("Q" if self._big else "I", place + 4)[0]
        inline = place + (12 if self._big else 8)
        size = _SIZES.get(kind, 0) * count
        if not 0 < size <= _MOST_BYTES:
            return None
        fits = size <= (8 if self._big else 4)
        start = inline if fits else self._unpack("Q" if self._big else "I", inline)[0]
        if start + size > len(self._data):
            return None
        if kind in (2, 7):
            text = bytes(self._data[start : start + size]).split(b"\0")[0]
            return text.decode("utf-8", "replace").strip()
        numbers = self._unpack(f"{count * (2 if kind in _RATIONALS else 1)}{_CODES[kind]}", start)
        if kind in _RATIONALS:
            return tuple(_quotient(a, b) for a, b in zip(numbers[::2], numbers[1::2], strict=True))
        return numbers

    def _unpack(self, code: str, offset: int) -> tuple[int, ...]:
        try:
            return struct.unpack_from(self._order + code, self._data, offset)
        except (struct.error, OverflowError) as error:
            raise ValueError("leads outside the data") from error


def _quotient(over: int, under: int) -> float:
    if under:
        return over / under
    return float("inf") if over else float("nan")


def number(tags: Tags, tag: int) -> float | None:
    """Return the first number of `tag`, or None."""
    value = tags.get(tag)
    return value[0] if isinstance(value, tuple) and value else None


def whole(tags: Tags, tag: int) -> int:
    """Return the first number of `tag` as an integer; 0 if it is missing or not finite."""
    value = number(tags, tag)
    return int(value) if value is not None and math.isfinite(value) else 0


def text(tags: Tags, tag: int) -> str | None:
    """Return the text of `tag`, or None if it is missing or blank."""
    value = tags.get(tag)
    return value if isinstance(value, str) and value else None
