"""PNG files inflated beside their decoding: the slow half by a faster library, on a core of its own.

The deflate stream takes most of the time that reading a scan costs. Here it is inflated in a thread and handed on
through a pipe as the same PNG with stored (not compressed) blocks, so that the decoder only has to undo the
row filters (ISO/IEC 15948 clauses 5, 9 and 10; RFC 1950 and RFC 1951, 3.2.4).
"""

from __future__ import annotations

import os
import struct
import threading
import zlib
from collections.abc import Callable, Iterator
from typing import Any

_LEAST_BYTES = 1_000_000  # below this a thread is not worth while
_IN_BYTES = 1 << 16  # compressed bytes inflated at a time
_OUT_BYTES = 1 << 20  # most that comes of them at a time
_STORED_BYTES = 65_535  # longest stored block
_PIPE_BYTES = 1 << 20
_THREAD = "inflate PNG"
_ZLIB_HEADER = b"\x78\x01"
_LAST_BLOCK = struct.pack("<BHH", 1, 0, 0xFFFF)


class _DamageError(Exception):
    """The stream is no sound PNG; the decoder finds its input cut short and says so."""


def inflated_pipe(data: bytes) -> int | None:
    """Begin to inflate a PNG file; return a file descriptor to read it from, with stored blocks.

    The caller closes the descriptor. Damage shows as an early end. None where the file is small or what is
    needed is missing: read `data` itself then.
    """
    library = _library()
    if len(data) < _LEAST_BYTES or library is None or not hasattr(os, "writev"):
        return None
    reader, writer = os.pipe()
    _widen(writer)
    threading.Thread(target=_pump, args=(data, writer, library), daemon=True, name=_THREAD).start()
    return reader


def stored_png(data: bytes, library: Any = zlib) -> Iterator[list[bytes | memoryview]]:
    """Yield the parts of the same PNG with its pixels in stored blocks.

    Parameters
    ----------
    data
        A PNG file.
    library
        A module with the interface of `zlib`.

    Raises
    ------
    Exception
        If a check sum is wrong, the stream is damaged or ends early.
    """
    stream, adler, begun = library.decompressobj(), 1, False
    yield [data[:8]]
    for kind, body, whole in _chunks(data):
        if kind == b"IDAT":
            if library.crc32(body, library.crc32(kind)) != int.from_bytes(whole[-4:], "big"):
                raise _DamageError
            for raw in _inflated(stream, body):
                adler = library.adler32(raw, adler)
                yield _chunk(library.crc32, [*([] if begun else [_ZLIB_HEADER]), *_blocks(raw)])
                begun = True
            continue
        if kind == b"IEND":
            if not stream.eof:
                raise _DamageError
            yield _chunk(library.crc32, [_LAST_BLOCK, struct.pack(">I", adler)])
        yield [whole]


def _inflated(stream: Any, body: memoryview) -> Iterator[bytes]:
    for start in range(0, len(body), _IN_BYTES):
        part: Any = body[start : start + _IN_BYTES]
        while len(part) and not stream.eof:
            raw = stream.decompress(part, _OUT_BYTES)
            part = stream.unconsumed_tail
            if raw:
                yield raw


def _chunks(data: bytes) -> Iterator[tuple[bytes, memoryview, memoryview]]:
    """Yield kind, body and the whole of every chunk."""
    view, place = memoryview(data), 8
    while place + 12 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, place)
        end = place + 12 + length
        if end > len(data):
            return
        yield kind, view[place + 8 : end - 4], view[place:end]
        place = end


def _blocks(raw: bytes) -> list[bytes | memoryview]:
    view = memoryview(raw)
    parts: list[bytes | memoryview] = []
    for start in range(0, len(raw), _STORED_BYTES):
        part = view[start : start + _STORED_BYTES]
        parts += [struct.pack("<BHH", 0, len(part), 0xFFFF - len(part)), part]
    return parts


def _chunk(crc32: Callable[..., int], parts: list[bytes | memoryview]) -> list[bytes | memoryview]:
    """Return an IDAT chunk around parts of its body."""
    crc = crc32(b"IDAT")
    for part in parts:
        crc = crc32(part, crc)
    return [struct.pack(">I4s", sum(map(len, parts)), b"IDAT"), *parts, struct.pack(">I", crc)]


def _pump(data: bytes, writer: int, library: Any) -> None:
    """Write the stored PNG into the pipe until its end, its damage, or nobody reads any more."""
    try:
        for parts in stored_png(data, library):
            _write(writer, parts)
    except Exception:  # of whatever kind: the early end of the file tells
        return
    finally:
        os.close(writer)


def _write(writer: int, parts: list[bytes | memoryview]) -> None:
    """Write all parts; a pipe may take fewer bytes than it is given."""
    rest = [memoryview(part) for part in parts]
    while rest:
        taken = os.writev(writer, rest[:1000])
        while rest and taken >= len(rest[0]):
            taken -= len(rest.pop(0))
        if rest and taken:
            rest[0] = rest[0][taken:]


def _library() -> Any:
    """The fast library with zlib's interface; None without it."""
    try:
        from isal import isal_zlib
    except ImportError:
        return None
    return isal_zlib


def _widen(descriptor: int) -> None:
    """Let the pipe hold more, where the system allows it."""
    try:
        import fcntl

        fcntl.fcntl(descriptor, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    except (ImportError, AttributeError, OSError):
        return
