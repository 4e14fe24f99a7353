"""The mark by which digitize knows a file as its own and as nobody's edit; and the version that stands beside it.

A writer puts `BLANK` somewhere into its bytes and passes them through `seal`, which fills in
the first 64 bits of the SHA-256 of the bytes with the mark left blank. A file that someone has
changed since no longer agrees with its mark and is not overwritten unasked.
"""

from __future__ import annotations

import hashlib
import itertools
import re
import zlib

__version__ = "0.1.0"
PREFIX = "DIGITIZE_"
BLANK = PREFIX + "0" * 16
_MARK = re.compile(PREFIX.encode() + rb"([0-9A-F]{16})")
_PNG = b"\x89PNG\r\n\x1a\n"
_ZIP = b"PK\x03\x04"


def seal(data: bytes) -> bytes:
    """Return `data` with its first blank mark filled in; the length does not change.

    Raises
    ------
    ValueError
        If `data` holds no blank mark.
    """
    place = data.find(BLANK.encode())
    if place < 0:
        raise ValueError("a file to be sealed must hold a blank mark")
    return _filled(data, place, _digest(data))


def is_sealed(data: bytes) -> bool:
    """Tell whether `data` was sealed by digitize and has not changed since."""
    # One is the rule; a name or a note might look like a second.
    for match in itertools.islice(_MARK.finditer(data), 4):
        if _digest(_filled(data, match.start(), b"0" * 16)) == match[1]:
            return True
    return False


def is_marked(data: bytes) -> bool:
    """Tell whether `data` carries a mark at all: what is marked and not sealed was changed since."""
    return _MARK.search(data) is not None


def _digest(blank_data: bytes) -> bytes:
    return hashlib.sha256(blank_data).hexdigest()[:16].upper().encode()


def _filled(data: bytes, place: int, digits: bytes) -> bytes:
    start = place + len(PREFIX)
    end = start + 16
    if data.startswith(_ZIP):
        return _filled_zip(data[:start] + digits + data[end:], place)
    if not data.startswith(_PNG):
        return data[:start] + digits + data[end:]
    # In a PNG the mark ends a tEXt chunk, whose CRC of type and data follows.
    chunk = data.rfind(b"tEXt", 0, place)
    if chunk < 0:
        return data
    crc = zlib.crc32(data[chunk:start] + digits)
    return data[:start] + digits + crc.to_bytes(4, "big") + data[end + 4 :]


def _filled_zip(data: bytes, place: int) -> bytes:
    """Return a ZIP whose entry around `place`, stored uncompressed, has the CRC of what it now holds.

    APPNOTE.TXT of the ZIP format: the CRC stands 14 bytes into an entry's local header and 16 into its central one;
    the sizes of data, name and extra field 18, 26 and 28 into the local one; the local one's place 42 into the central.
    """
    local = data.rfind(_ZIP, 0, place)
    name, extra = (int.from_bytes(data[local + at : local + at + 2], "little") for at in (26, 28))
    begin = local + 30 + name + extra
    size = int.from_bytes(data[local + 18 : local + 22], "little")
    central = data.rfind(b"PK\x01\x02")
    while central >= 0 and int.from_bytes(data[central + 42 : central + 46], "little") != local:
        central = data.rfind(b"PK\x01\x02", 0, central)
    if central < 0 or not begin <= place < begin + size:
        return data
    crc = zlib.crc32(data[begin : begin + size]).to_bytes(4, "little")
    data = data[: local + 14] + crc + data[local + 18 :]
    return data[: central + 16] + crc + data[central + 20 :]


def mark_in(data: bytes) -> str:
    """Return the digits of the first mark in a sealed file; `ValueError` if there is none."""
    found = _MARK.search(data)
    if found is None:
        raise ValueError("no mark in these bytes")
    return found[1].decode()
