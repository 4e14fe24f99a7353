"""A PDF file from its objects (ISO 32000-1, 7.3 and 7.5), each written once, in the order in which it is first named.

The library pikepdf takes longer to import than all of a drawing's files to write. What is written here is byte for byte
what it writes of the same objects (tests/test_write_pdf.py), as long as Python's zlib packs as its own does.
"""

from __future__ import annotations

import hashlib
import zlib
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

_HEAD = b"%PDF-1.6\n%\xbf\xf7\xa2\xfe\n"  # optional content came with 1.5, PrintScaling with 1.6
_UTF_16 = b"\xfe\xff"
_ESCAPED = str.maketrans({"(": "\\(", ")": "\\)", "\\": "\\\\"})


class Name(str):
    """A name, with its solidus, of letters that need no code."""

    __slots__ = ()


@dataclass(eq=False, slots=True)
class Indirect:
    """An object of its own, named by its number: a dictionary by names with their solidus, and data if it is a stream.

    Values are names, texts, whole and decimal numbers, lists, dictionaries and other such objects.
    """

    entries: dict[str, Any] = field(default_factory=dict)
    data: bytes | None = None


def pdf_file(root: Indirect, about: dict[str, str]) -> bytes:
    """Return the file of a catalogue and of what is said about it; its mark stands in the clear, streams are packed.

    The identifier follows from the content (ISO 32000-1, 14.4).
    """
    info = Indirect(dict(about))
    written = _Written([root, info], {id(root): 1, id(info): 2})
    out, starts = bytearray(_HEAD), []
    for number, one in enumerate(written.objects, 1):  # grows meanwhile
        starts.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, written.body(one))
    at = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1)
    out += b"".join(b"%010d 00000 n \n" % start for start in starts)
    out += b"trailer << /Info 2 0 R /Root 1 0 R /Size %d /ID [" % (len(starts) + 1)
    told = b"".join(b" " + _coded(about[key]) for key in sorted(about))
    seed = hashlib.md5(out).hexdigest().encode() + b" QPDF " + told
    mark = hashlib.md5(seed.partition(b"\0")[0]).hexdigest()  # the other library's ends at a zero byte
    out += f"<{mark}><{mark}>] >>\nstartxref\n{at}\n%%EOF\n".encode()
    return bytes(out)


@dataclass(frozen=True, slots=True)
class _Written:
    """The objects that were named so far, in order, and their numbers."""

    objects: list[Indirect]
    numbers: dict[int, int]  # by the identity of the object

    def body(self, one: Indirect) -> bytes:
        """Return an object without its number."""
        if one.data is None:
            return self._text(one.entries).encode("latin-1")
        packed = zlib.compress(one.data)
        entries = "".join(f"{key} {self._text(value)} " for key, value in sorted(one.entries.items()))
        head = f"<< {entries}/Length {len(packed)} /Filter /FlateDecode >>\nstream\n".encode("latin-1")
        return head + packed + b"\nendstream"

    def _text(self, value: Any) -> str:
        if isinstance(value, Indirect):
            return f"{self._number(value)} 0 R"
        if isinstance(value, dict):
            return f"<< {''.join(f'{key} {self._text(one)} ' for key, one in sorted(value.items()))}>>"
        if isinstance(value, list):
            return f"[ {''.join(f'{self._text(one)} ' for one in value)}]"
        if isinstance(value, Decimal):
            return format(value, "f")
        return str(value) if isinstance(value, Name | int) else _string(value)

    def _number(self, one: Indirect) -> int:
        if id(one) not in self.numbers:
            self.objects.append(one)
            self.numbers[id(one)] = len(self.objects)
        return self.numbers[id(one)]


def _string(words: str) -> str:
    coded = _coded(words)
    if coded[:2] == _UTF_16:
        return f"<{coded.hex()}>"
    return f"({coded.decode('latin-1').translate(_ESCAPED)})"


def _coded(words: str) -> bytes:
    """Return text in the letters that PDFDocEncoding shares with Latin-1 (ISO 32000-1, annex D), else in UTF-16."""
    if all(" " <= letter <= "~" or ("\xa1" <= letter <= "\xff" and letter != "\xad") for letter in words):
        return words.encode("latin-1")
    return _UTF_16 + words.encode("utf-16-be")
