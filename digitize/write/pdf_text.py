"""Text of a PDF page in embedded fonts: the operators that set it, and the font objects of what was set."""

from __future__ import annotations

import hashlib
import operator
from dataclasses import dataclass, field
from functools import cache
from itertools import groupby
from typing import NamedTuple

from .font import CAPITAL, FONTS, Font, font
from .pdf_file import Indirect, Name


@dataclass(frozen=True, slots=True)
class TextSet:
    """Collects which glyphs of which font are used; letters no font has are spelled as their code, [U+0E01]."""

    used: dict[str, dict[int, str]] = field(default_factory=dict)  # of each font: glyph and its letter

    def operators(self, words: str, at: str, height_mm: float) -> str:
        """Return the operators that set a line with capitals that high, its left end `at` (operands of Td)."""
        shown = [f"BT {at} Td"]
        for name, run in groupby((one for letter in words for one in _set(letter)), key=_font_of):
            codes = "".join([one.code for one in run])
            shown.append(f"/F{FONTS.index(name) + 1} {height_mm / CAPITAL:.4f} Tf <{codes}> Tj")
        for letter in reversed(dict.fromkeys(reversed(words))):  # of letters that share a glyph the last one holds
            for one in _set(letter):
                self.used.setdefault(one.font, {})[one.number] = one.letter
        return " ".join([*shown, "ET"])

    def resources(self) -> dict[str, Indirect]:
        """Return the page's dictionary of fonts."""
        return {f"/F{FONTS.index(name) + 1}": _embedded(font(name), self.used[name]) for name in sorted(self.used)}


class _Glyph(NamedTuple):
    """A letter in the first font that has it."""

    font: str
    number: int
    code: str  # as the operators have it
    letter: str


_font_of = operator.attrgetter("font")


@cache
def _set(letter: str) -> tuple[_Glyph, ...]:
    """Return the glyphs that stand for a letter: its own, or those of its code where no font has it."""
    for name in FONTS:
        if number := font(name).glyph(letter):
            return (_Glyph(name, number, f"{number:04X}", letter),)
    return tuple(one for part in f"[U+{ord(letter):04X}]" for one in _set(part))


def _embedded(whole: Font, used: dict[int, str]) -> Indirect:
    """Return a font as an object of the file: its glyphs by number, ISO 32000-1, 9.7 and 9.9."""
    glyphs = sorted(used)
    tag = hashlib.sha256(repr(glyphs).encode()).digest()[:6]
    called = Name("/" + "".join(chr(65 + byte % 26) for byte in tag) + "+" + whole.name)
    data = whole.subset(glyphs)
    left, bottom, right, top = (round(1000 * side / whole.units) for side in whole.box)
    descriptor = {
        "/Type": Name("/FontDescriptor"),
        "/FontName": called,
        "/Flags": 4,  # symbolic: glyphs are named by number
        "/FontBBox": [left, bottom, right, top],
        "/ItalicAngle": 0,
        "/Ascent": top,
        "/Descent": bottom,
        "/CapHeight": round(1000 * CAPITAL),
        "/StemV": 80,
        "/FontFile2": Indirect({"/Length1": len(data)}, data),
    }
    inner = {
        "/Type": Name("/Font"),
        "/Subtype": Name("/CIDFontType2"),
        "/BaseFont": called,
        "/CIDSystemInfo": {"/Registry": "Adobe", "/Ordering": "Identity", "/Supplement": 0},
        "/FontDescriptor": Indirect(descriptor),
        "/W": [part for glyph in glyphs for part in (glyph, [round(whole.advance(glyph))])],
        "/CIDToGIDMap": Name("/Identity"),
    }
    outer = {
        "/Type": Name("/Font"),
        "/Subtype": Name("/Type0"),
        "/BaseFont": called,
        "/Encoding": Name("/Identity-H"),
        "/DescendantFonts": [Indirect(inner)],
        "/ToUnicode": Indirect({}, _letters(used)),
    }
    return Indirect(outer)


def _letters(used: dict[int, str]) -> bytes:
    """Return which letter each glyph stands for, so that text can be searched and copied (ISO 32000-1, 9.10.3)."""
    rows = [f"<{glyph:04X}> <{letter.encode('utf-16-be').hex().upper()}>" for glyph, letter in sorted(used.items())]
    blocks = [rows[at : at + 100] for at in range(0, len(rows), 100)]
    lines = ["/CIDInit /ProcSet findresource begin 12 dict begin begincmap"]
    lines += ["/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def"]
    lines += ["/CMapName /Adobe-Identity-UCS def /CMapType 2 def"]
    lines += ["1 begincodespacerange <0000> <FFFF> endcodespacerange"]
    for block in blocks:
        lines += [f"{len(block)} beginbfchar", *block, "endbfchar"]
    return "\n".join([*lines, "endcmap CMapName currentdict /CMap defineresource pop end end"]).encode("ascii")
