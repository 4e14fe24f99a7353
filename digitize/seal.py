"""The mark by which digitize knows a file as its own and as nobody's edit.

A writer puts `BLANK` somewhere into its bytes and passes them through `seal`, which fills in
the first 64 bits of the SHA-256 of the bytes with the mark left blank. A file that someone has
changed since no longer agrees with its mark and is not overwritten unasked.
"""

from __future__ import annotations

import hashlib
import itertools
import re
import zlib

PREFIX = "DIGITIZE_"
BLANK = PREFIX + "0" * 16
_MARK = re.compile(PREFIX.encode() + rb"([0-9A-F]{16})")
_PNG = b"\x89PNG\r\n\x1a\n"


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


def _digest(blank_data: bytes) -> bytes:
    return hashlib.sha256(blank_data).hexdigest()[:16].upper().encode()


def _filled(data: bytes, place: int, digits: bytes) -> bytes:
    start = place + len(PREFIX)
    end = start + 16
    if not data.startswith(_PNG):
        return data[:start] + digits + data[end:]
    # In a PNG the mark ends a tEXt chunk, whose CRC of type and data follows.
    chunk = data.rfind(b"tEXt", 0, place)
    if chunk < 0:
        return data
    crc = zlib.crc32(data[chunk:start] + digits)
    return data[:start] + digits + crc.to_bytes(4, "big") + data[end + 4 :]
