"""Stdout and stderr that may be closed, full or gone: what is printed is lost, the work is not, and the code tells."""

from __future__ import annotations

import io
import os
import sys
from typing import Any, NamedTuple, TextIO

from ..errors import UNEXPECTED


class _Patient(io.RawIOBase):
    """A stream that takes everything and remembers what could not be written."""

    def __init__(self, stream: io.RawIOBase | None, name: str) -> None:
        self.lost: str | None = None  # why
        self._stream, self._name = stream, name

    @property
    def name(self) -> str:
        return self._name

    def writable(self) -> bool:
        return True

    def isatty(self) -> bool:
        return self._stream is not None and self._stream.isatty()

    def fileno(self) -> int:
        if self._stream is None:
            raise OSError("closed")
        return self._stream.fileno()

    def write(self, data: Any, /) -> int | None:
        size = memoryview(data).nbytes
        if self.lost is not None:
            return size
        try:
            if self._stream is None:
                raise OSError("it is closed")
            return self._stream.write(data)
        except OSError as error:
            self.lost = (error.strerror or str(error)).lower()
            return size


class Screen(NamedTuple):
    """The two streams of this process."""

    stdout: _Patient
    stderr: _Patient

    @classmethod
    def taken(cls) -> Screen:
        """Put patient streams in the place of Python's."""
        quiet = sys.stderr is None  # closed before we began: nobody wants to read it, and nothing is wrong
        stdout, stderr = _under(sys.stdout, "<stdout>"), _under(sys.stderr, "<stderr>")
        sys.stdout, sys.stderr = _over(stdout, sys.stdout, by_line=stdout.isatty()), _over(stderr, sys.stderr)
        if quiet:
            stderr.lost = ""
        return cls(stdout, stderr)

    def code(self, code: int) -> int:
        """Return the exit code of a command: `UNEXPECTED` where what it said did not arrive."""
        sys.stdout.flush()
        if self.stdout.lost is not None:
            sys.stderr.write(
                f"digitize: what was to be printed on stdout did not arrive there: {self.stdout.lost}. Files that were "
                "named as written are whole. Print to a place that takes all of it.\n"
            )
            code = UNEXPECTED
        sys.stderr.flush()
        return UNEXPECTED if self.stderr.lost and code in (0, 1) else code


def _under(stream: TextIO | None, name: str) -> _Patient:
    buffer = getattr(stream, "buffer", None)
    return _Patient(getattr(buffer, "raw", buffer), name)  # there is no buffer with PYTHONUNBUFFERED


def _over(patient: _Patient, stream: TextIO | None, *, by_line: bool = True) -> TextIO:
    encoding = "utf-8" if stream is None else stream.encoding
    errors = None if stream is None else stream.errors
    newline = "\r\n" if os.name == "nt" else None
    return io.TextIOWrapper(
        io.BufferedWriter(patient), encoding=encoding, errors=errors, newline=newline, line_buffering=by_line
    )
