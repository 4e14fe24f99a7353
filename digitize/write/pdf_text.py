"""Text of a PDF page in embedded fonts: the operators that set it, and the font objects of what was set."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import groupby

from .font import CAPITAL, FONTS, Font, font
from .pdf_file import Indirect, Name


@dataclass(frozen=True, slots=True)
class TextSet:
    """Collects which glyphs of which font are used; letters no font has are spelled as their code, [U+0E01]."""

    used: dict[str, dict[int, str]] = field(default_factory=dict)  # of each font: glyph and its letter

    def operators(self, words: str, at: str, height_mm: float) -> str:
        """Return the operators that set a line with capitals that high, its left end `at` (operands of Td)."""
        shown = [f"BT {at} Td"]
        for name, run in groupby(self._glyphs(words), key=lambda one: one[0]):
            codes = "".join(f"{glyph:04X}" for _, glyph in run)
            shown.append(f"/F{FONTS.index(name) + 1} {height_mm / CAPITAL:.4f} Tf <{codes}> Tj")
        return " ".join([*shown, "ET"])

    def resources(self) -> dict[str, Indirect]:
        """Return the page's dictionary of fonts."""
        return {f"/F{FONTS.index(name) + 1}": _embedded(font(name), self.used[name]) for name in sorted(self.used)}

    def _glyphs(self, words: str) -> Iterator[tuple[str, int]]:
        for letter in words:
            for part in letter if _home(letter) else f"[U+{ord(letter):04X}]":
                name = _home(part)
                glyph = _glyph(name, part)
                self.used.setdefault(name, {})[glyph] = part
                yield name, glyph


@cache
def _glyph(name: str, letter: str) -> int:
    return font(name).glyph(letter)


@cache
def _home(letter: str) -> str:
    """Return the first font that has a letter; nothing if none has."""
    return next((name for name in FONTS if _glyph(name, letter)), "")


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
