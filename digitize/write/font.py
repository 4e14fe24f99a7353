"""The fonts of PDF text, inside the package: which glyph a letter has, how wide it is, and a font of those used alone.

TrueType after the OpenType specification (ISO/IEC 14496-22): tables cmap, glyf, head, hhea, hmtx, loca, maxp.
"""

from __future__ import annotations

import functools
import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..packaged import packaged

FONTS = ("DejaVuSansCondensed", "DroidSansFallback")  # a letter is set in the first that has it
CAPITAL = 1493 / 2048  # height of the first one's capitals over its size
_KEPT = ("cvt ", "fpgm", "glyf", "head", "hhea", "hmtx", "loca", "maxp", "prep")  # what PDF asks of an embedded font
_GZIP = 31  # says so to zlib; four times as quick as xz, which packs a fifth smaller
_WORDS, _SCALES, _MORE = 0x0001, {0x0008: 2, 0x0040: 4, 0x0080: 8}, 0x0020  # flags of a composite glyph's parts


@dataclass(frozen=True, slots=True)
class Font:
    """A TrueType font."""

    name: str
    tables: dict[str, bytes]
    ends: np.ndarray  # of the stretches of letters that have glyphs
    starts: np.ndarray
    first: np.ndarray  # glyph of each stretch's first letter
    places: np.ndarray  # (glyphs + 1,), where each glyph's outline begins in `glyf`

    @property
    def units(self) -> int:
        """Units an em."""
        return int(struct.unpack(">H", self.tables["head"][18:20])[0])

    @property
    def box(self) -> tuple[int, ...]:
        """Left, bottom, right, top of all glyphs, units."""
        return struct.unpack(">4h", self.tables["head"][36:44])

    def glyph(self, letter: str) -> int:
        """Return a letter's glyph; 0 if it has none."""
        code = ord(letter)
        at = int(np.searchsorted(self.ends, code))
        if at == len(self.ends) or code < self.starts[at]:
            return 0
        return int(self.first[at]) + code - int(self.starts[at])

    def advance(self, glyph: int) -> float:
        """Return how far a glyph goes on, in thousandths of an em."""
        (metrics,) = struct.unpack(">H", self.tables["hhea"][34:36])
        at = 4 * min(glyph, metrics - 1)
        (units,) = struct.unpack(">H", self.tables["hmtx"][at : at + 2])
        return 1000.0 * float(units) / self.units

    def subset(self, glyphs: Iterable[int]) -> bytes:
        """Return a font file of these glyphs, and those they are made of, under their own numbers."""
        kept = self._with_parts(glyphs)
        outlines = [self._outline(glyph) if glyph in kept else b"" for glyph in range(len(self.places) - 1)]
        places = np.concatenate([[0], np.cumsum([len(one) for one in outlines])])
        head = bytearray(self.tables["head"])
        head[8:12], head[50:52] = bytes(4), struct.pack(">h", 1)  # no checksum yet; long places
        made = {name: self.tables[name] for name in _KEPT if name in self.tables}
        made |= {"glyf": b"".join(outlines), "loca": places.astype(">u4").tobytes(), "head": bytes(head)}
        return _file(made)

    def _outline(self, glyph: int) -> bytes:
        data = self.tables["glyf"][self.places[glyph] : self.places[glyph + 1]]
        return data + bytes(-len(data) % 4)

    def _with_parts(self, glyphs: Iterable[int]) -> set[int]:
        left, found = [0, *glyphs], set[int]()
        while left:
            glyph = left.pop()
            if glyph not in found:
                found.add(glyph)
                left += _parts(self._outline(glyph))
        return found


@functools.cache
def font(name: str) -> Font:
    """Return one of `FONTS`."""
    data = zlib.decompress(packaged(f"{name}.ttf.gz"), _GZIP)
    (count,) = struct.unpack(">H", data[4:6])
    tables = {}
    for at in range(12, 12 + 16 * count, 16):
        tag, _, begin, length = struct.unpack(">4sIII", data[at : at + 16])
        tables[tag.decode("ascii")] = data[begin : begin + length]
    long = struct.unpack(">h", tables["head"][50:52])[0] == 1
    places = np.frombuffer(tables["loca"], ">u4" if long else ">u2").astype(np.int64) * (1 if long else 2)
    return Font(name, tables, *_stretches(tables["cmap"]), places)


def _stretches(cmap: bytes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return ends, starts and first glyphs of the stretches of letters: of format 12, else of format 4."""
    (count,) = struct.unpack(">H", cmap[2:4])
    begins = {struct.unpack(">I", cmap[at + 4 : at + 8])[0] for at in range(4, 4 + 8 * count, 8)}
    forms = {struct.unpack(">H", cmap[at : at + 2])[0]: at for at in begins}
    if 12 in forms:
        at = forms[12]
        (groups,) = struct.unpack(">I", cmap[at + 12 : at + 16])
        rows = np.frombuffer(cmap, ">u4", 3 * groups, at + 16).reshape(-1, 3).astype(np.int64)
        return rows[:, 1], rows[:, 0], rows[:, 2]
    return _of_format_4(cmap[forms[4] :])


def _of_format_4(table: bytes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the stretches of a table of format 4, those with a list of glyphs letter by letter."""
    (twice,) = struct.unpack(">H", table[6:8])
    ends, starts, shifts, lists = (
        np.frombuffer(table, ">u2", twice // 2, 14 + twice * k + (2 if k else 0)).astype(np.int64) for k in range(4)
    )
    codes: list[int] = []
    glyphs: list[int] = []
    for k in range(len(ends)):
        run = np.arange(starts[k], ends[k] + 1)
        found = run
        if lists[k]:
            at = 16 + 3 * twice + 2 * k + int(lists[k])
            found = np.frombuffer(table, ">u2", len(run), at).astype(np.int64)
        found = np.where(found == 0, 0, (found + shifts[k]) % 65536)
        codes += run[found > 0].tolist()
        glyphs += found[found > 0].tolist()
    each = np.array(codes)
    return each, each, np.array(glyphs)


def _parts(outline: bytes) -> list[int]:
    """Return the glyphs that a composite one is made of; none of a simple one."""
    found: list[int] = []
    if not outline or struct.unpack(">h", outline[:2])[0] >= 0:
        return found
    at, flags = 10, _MORE
    while flags & _MORE:
        flags, glyph = struct.unpack(">HH", outline[at : at + 4])
        found.append(glyph)
        at += 4 + (4 if flags & _WORDS else 2) + sum(size for flag, size in _SCALES.items() if flags & flag)
    return found


def _file(tables: dict[str, bytes]) -> bytes:
    """Return a font file of tables, with its checksums."""
    names = sorted(tables)
    power = len(names).bit_length() - 1
    head = struct.pack(">IHHHH", 0x00010000, len(names), 16 << power, power, 16 * len(names) - (16 << power))
    at, body = 12 + 16 * len(names), b""
    for name in names:
        data = tables[name]
        head += struct.pack(">4sIII", name.encode("ascii"), _sum(data), at + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    whole = bytearray(head + body)
    place = at + sum(len(tables[name]) + -len(tables[name]) % 4 for name in names if name < "head")
    whole[place + 8 : place + 12] = struct.pack(">I", (0xB1B0AFBA - _sum(bytes(whole))) % 2**32)
    return bytes(whole)


def _sum(data: bytes) -> int:
    return int(np.frombuffer(data + bytes(-len(data) % 4), ">u4").sum(dtype=np.uint64) % 2**32)
