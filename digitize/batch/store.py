"""Where pictures are read and results are written: paths, or addresses such as ``s3://...`` by fsspec."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from ..errors import DigitizeError, PictureError, WriteError
from ..files import safe_name, write_files
from ..records import Picture
from ..seal import is_sealed

_MOST_BYTES_PER_PX = 32  # four channels of 64 bits: no format keeps more
_MOST_HASHED = 16_000_000_000  # bytes; no picture has as many, and hashing them would hold up the others


def is_address(name: str) -> bool:
    """Tell an address from a path."""
    return "://" in name


def local(name: str) -> str:
    """Return the path of a ``file://`` address, anything else as it is."""
    return unquote(name.removeprefix("file://")) if name.startswith("file:///") else name


def below(folder: str, part: str) -> str:
    """Return the folder `part` below a path or address."""
    return f"{folder.rstrip('/')}/{part}" if part else folder


def picture_name(source: str) -> str:
    """Return a picture's name without its folders."""
    if is_address(source):
        return unquote(source.rstrip("/").rsplit("/", 1)[-1])
    return os.path.basename(source)


def fingerprint(source: str) -> str:
    """Return what tells a changed file from an unchanged one without reading it; "" if nothing does."""
    try:
        if is_address(source):
            system, path = system_of(source)
            facts = system.info(path)
            return repr([facts.get(name) for name in ("size", "ETag", "etag", "mtime", "LastModified", "created")])
        status = os.stat(source)
    except (OSError, ValueError, DigitizeError):
        return ""
    # The time of the last change of the file's node cannot be set back by a copying program.
    return f"{status.st_size} {status.st_mtime_ns} {status.st_ctime_ns} {status.st_ino}"


def read(source: str, *, max_mpx: float) -> Picture:
    """Read a picture from a path or an address.

    Raises
    ------
    PictureError
        If it cannot be read or is no whole picture.
    """
    from ..reading.picture import picture_from_bytes, read_picture

    if not is_address(source):
        return read_picture(source, max_mpx=max_mpx)
    name = picture_name(source)
    try:
        system, path = system_of(source)
        size = system.size(path)
        if size is not None and size > max_mpx * 1e6 * _MOST_BYTES_PER_PX:
            raise PictureError(f"{name}: the file is {size / 1e9:.3g} GB, too much for --max-mpx {max_mpx:g}.")
        data = system.cat_file(path)
    except OSError as error:
        raise PictureError(f"{name}: {source} cannot be read: {_reason(error)}.") from error
    return picture_from_bytes(data, name, max_mpx=max_mpx)


def digest(source: str) -> str:
    """Return the SHA-256 of a file, "" if it cannot be read (reading it says why)."""
    try:
        if is_address(source):
            system, path = system_of(source)
            return hashlib.sha256(system.cat_file(path)).hexdigest()
        if not Path(source).is_file() or os.stat(source).st_size > _MOST_HASHED:
            return ""
        with open(source, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return ""


def write(
    folder: str, files: Mapping[str, bytes], *, force: bool = False, keep: str = ""
) -> tuple[tuple[str, int], ...]:
    """Write files to a folder or address; return names and sizes.

    On disks they appear whole (see `digitize.files.write_files`), in object stores as their service does it.
    `keep` is the SHA-256 (hex) of the picture, which is never replaced.

    Raises
    ------
    WriteError
        If a file is in the way that digitize did not write, or the system refuses.
    """
    if not is_address(folder):
        paths = write_files(Path(folder), files, force=force, keep=(keep,))
        return tuple((path.name, len(data)) for path, data in zip(paths, files.values(), strict=True))
    try:
        system, base = system_of(folder)
        targets = {f"{base.rstrip('/')}/{safe_name(name)}": data for name, data in files.items()}
        for target in targets:
            there = system.cat_file(target) if system.exists(target) else None
            if there is not None and hashlib.sha256(there).hexdigest() == keep:
                raise WriteError(f"{target} is the picture itself, and stays: choose another place with --to")
            if there is not None and not force and not is_sealed(there):
                raise WriteError(f"{target} was not written by digitize: move it away, or use --force to replace it")
        system.makedirs(base, exist_ok=True)
        for target, data in targets.items():
            system.pipe_file(target, data)
    except WriteError:
        raise
    except OSError as error:
        raise WriteError(f"cannot write to {folder}: {_reason(error)}. Choose another place with --to.") from error
    return tuple((target.rsplit("/", 1)[-1], len(data)) for target, data in targets.items())


def system_of(address: str) -> tuple[Any, str]:
    """Return the file system of an address, and the path in it."""
    try:
        import fsspec  # type: ignore[import-untyped,unused-ignore]
    except ImportError as error:
        raise DigitizeError(f"{address} needs the package fsspec: python -m pip install 'digitize[dask]'") from error
    try:
        system, path = fsspec.core.url_to_fs(address)
    except (ImportError, ValueError) as error:
        raise DigitizeError(f"{address} cannot be used: {error}") from error
    return system, path


def _reason(error: OSError) -> str:
    return error.strerror or str(error) or type(error).__name__
