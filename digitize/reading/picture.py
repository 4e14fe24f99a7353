"""Read any picture file into a `Picture`: upright pixels, their curve to linear light, density, camera, hash.

What a file is, is told by its content. A file that is truncated or damaged is refused, never filled up.
"""

from __future__ import annotations

import hashlib
import math
import os
import pickle
import stat
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from ..errors import DigitizeError, PictureError, UsageError
from ..records import Picture
from .density import choose_density, upright
from .elsewhere import picture_from_new_process
from .kind import HEAD_BYTES, kind_of
from .raw import Raw, was_forked

_MOST_BYTES_PER_PX = 16  # four channels of 16 bit, twice
_SPARE_BYTES = 256_000_000


def read_picture(path: str | os.PathLike[str], *, max_mpx: float = 400.0) -> Picture:
    """Read a picture file.

    PNG, JPEG, TIFF, BMP, WebP, GIF, AVIF, scanner's PDF; HEIC with the package pillow-heif. Of several pages the
    first is read, with a finding. Memory stays near the size of the file plus twice that of the pixels.

    Parameters
    ----------
    path
        The file; a link is followed.
    max_mpx
        Largest size that is decoded, in millions of pixels.

    Returns
    -------
    Picture
        Pixels (H, W, C) uint8 or uint16, C = 1 or 3, C-contiguous, upright by EXIF, read-only; 16 bit is kept.

    Raises
    ------
    PictureError
        If the file cannot be read or is no whole picture; the message begins with the file's name.
    UsageError
        If `max_mpx` is not a positive number.
    """
    _limit(max_mpx)
    name = Path(path).name or os.fspath(path)
    try:
        data = _read(path, most=int(max_mpx * 1e6 * _MOST_BYTES_PER_PX) + _SPARE_BYTES)
    except PictureError as error:
        raise PictureError(f"{shown(name)}: {error}") from error
    return picture_from_bytes(data, name, max_mpx=max_mpx)


def picture_from_bytes(data: bytes, name: str, *, max_mpx: float = 400.0) -> Picture:
    """Read a picture from the bytes of its file; `name` is the file's name without folder.

    See `read_picture` for the rest, the result and the errors.
    """
    limit = _limit(max_mpx)
    if was_forked():
        return picture_from_new_process(data, name, max_mpx=max_mpx)
    try:
        kind = kind_of(data[:HEAD_BYTES])
        digest = _Digest(data)
        picture = picture_of(open_kind(kind, data, limit), _plain(name))
        return replace(picture, sha256=digest.hex())
    except PictureError as error:
        raise PictureError(f"{shown(name)}: {error}") from error


def answer(data: bytes, name: str, max_mpx: float) -> bytes:
    """Return a picture, or why there is none, pickled for the process that asked (`digitize.reading.elsewhere`)."""
    try:
        return pickle.dumps(picture_from_bytes(data, name, max_mpx=max_mpx))
    except DigitizeError as error:
        return pickle.dumps(error)


def open_kind(kind: str, data: bytes, max_px: float) -> Raw:
    """Open a picture of a known kind (see `digitize.reading.kind`), at most `max_px` pixels large."""
    from . import bmp, heic, pdf, raw

    openers: dict[str, Callable[..., Raw]] = {"bmp": bmp.open_bmp, "heic": heic.open_heic, "pdf": pdf.open_pdf}
    if kind in openers:
        return openers[kind](data, max_px=max_px)
    return raw.open_raw(kind, data, max_px=max_px)


def shown(name: str) -> str:
    """Return a file's name fit for a message: control characters and undecodable bytes escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)


def _plain(name: str) -> str:
    """Return a file's name that can be written as UTF-8; bytes that are none are escaped."""
    return name.encode("utf-8", "backslashreplace").decode()


def picture_of(raw: Raw, name: str) -> Picture:
    """Decode an open picture; its hash is still to be filled in."""
    from .light import light, turn

    lit = light(raw)
    facts = raw.facts
    claim, remarks = choose_density(facts.claims, facts.camera)
    pixels = turn(lit.pixels, facts.orientation)
    pixels.setflags(write=False)
    return Picture(
        name=name,
        sha256="",
        pixels=pixels,
        to_linear=lit.to_linear,
        density=None if claim is None else upright(claim, swapped=facts.orientation >= 5),
        camera=facts.camera,
        findings=(*facts.findings, *lit.findings, *remarks),
        curve_stated=lit.curve_stated,
        block_steps=facts.block_steps,
    )


class _Digest:
    """SHA-256 worked out beside the decoding, which runs outside the interpreter's lock."""

    def __init__(self, data: bytes) -> None:
        self._hash = hashlib.sha256()
        self._thread = threading.Thread(target=self._hash.update, args=(data,), daemon=True)
        self._thread.start()

    def hex(self) -> str:
        self._thread.join()
        return self._hash.hexdigest()


def _limit(max_mpx: float) -> float:
    if not (math.isfinite(max_mpx) and max_mpx > 0):
        raise UsageError(f"--max-mpx must be a positive number of megapixels, not {max_mpx}.")
    return max_mpx * 1e6


def _read(path: str | os.PathLike[str], *, most: int) -> bytes:
    """Return the bytes of a regular file of a known kind, without ever waiting on a pipe or a device."""
    try:
        with open(path, "rb", buffering=0, opener=_open_without_waiting) as file:
            _check_file(os.fstat(file.fileno()), most)
            head = file.read(HEAD_BYTES) or b""
            _check_tail(kind_of(head), head, os.fstat(file.fileno()).st_size)
            file.seek(0)
            return file.readall() or b""
    except FileNotFoundError as error:
        raise PictureError("no such file. Check the name and the folder.") from error
    except IsADirectoryError as error:
        raise PictureError("this is a folder, not a picture. Give the files in it.") from error
    except PermissionError as error:
        raise PictureError("no permission to read the file. Change its permissions, or copy it.") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PictureError(f"the file cannot be read: {reason}.") from error


def _check_tail(kind: str, head: bytes, size: int) -> None:
    """Refuse a file far longer than its pixels can be: what is appended would only be read and hashed (PNG, 11.2.2)."""
    if kind != "png" or len(head) < 24:
        return
    width, height = int.from_bytes(head[16:20], "big"), int.from_bytes(head[20:24], "big")
    if size > width * height * _MOST_BYTES_PER_PX + _SPARE_BYTES:
        raise PictureError(
            f"the file has {size / 1e9:.3g} GB, far more than a picture of {width} x {height} px can need: something "
            "is appended to it. Save the picture alone."
        )


def _open_without_waiting(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _check_file(status: os.stat_result, most: int) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise PictureError("this is a folder, not a picture. Give the files in it.")
    if not stat.S_ISREG(status.st_mode):
        raise PictureError("this is a device, pipe or socket, not a picture file.")
    if status.st_size > most:
        raise PictureError(
            f"the file is {status.st_size / 1e9:.3g} GB, more than a picture within --max-mpx can need "
            f"({most / 1e9:.3g} GB). If that is right, raise --max-mpx."
        )
