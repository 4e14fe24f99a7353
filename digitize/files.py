"""The one place that writes to the disk, all files of a result, whole or not at all; and reads TOML a user names."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import stat
import tomllib
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

from .ending import unbroken, undone
from .errors import UsageError, WriteError
from .seal import is_marked, is_sealed

_SEPARATORS_AND_CONTROL = re.compile(r'[\x00-\x1f\x7f-\x9f<>:"/\\|?*\ud800-\udfff]')
_DEVICE_NAMES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)

_MOST_NAME_BYTES = 255  # NAME_MAX of the common file systems
_MOST_STEM_BYTES = 200  # leaves room for numbers and endings
_MOST_OPTION_BYTES = 1_000_000
_LONGEST_LINE = 60  # characters of a line in a message
_PERMISSIONS = "change the folder's permissions, or choose another with --to"
_ROOM = "free some room, or choose another folder with --to"
_ADVICE = {
    errno.EACCES: _PERMISSIONS,
    errno.EPERM: _PERMISSIONS,
    errno.EROFS: "the disk is read-only: choose another folder with --to",
    errno.ENOSPC: _ROOM,
    errno.EDQUOT: _ROOM,
    errno.ENAMETOOLONG: "give the picture a shorter name, or choose another folder with --to",
}


def safe_name(name: str) -> str:
    """Return `name` as one plain file name for any common system.

    Separators, control characters and what some systems forbid become ``_``; leading dots and
    dashes, trailing dots and spaces go; device names of old systems get a ``_`` in front. One that is too
    long keeps its ending, and a hash of the rest in place of what does not fit.
    """
    plain = _SEPARATORS_AND_CONTROL.sub("_", unicodedata.normalize("NFC", name)).lstrip(".- ").rstrip(". ")
    if not plain:
        return "outline"
    plain = f"_{plain}" if _DEVICE_NAMES.fullmatch(plain) else plain
    if len(plain.encode()) <= _MOST_NAME_BYTES:
        return plain
    head, ending = re.fullmatch(r"(.*?)((?:\.check)?\.\w{1,5})?", plain, re.ASCII | re.DOTALL).groups()  # type: ignore[union-attr]
    return _short(head, _MOST_NAME_BYTES - len(ending or "")) + (ending or "")


def safe_stem(stem: str) -> str:
    """Return a stem that stays what it is when an ending is added; one of dashes alone would not."""
    named = safe_name(f"{stem}.x")
    return _short(named.removesuffix(".x"), _MOST_STEM_BYTES) if named.endswith(".x") else "outline"


def folded(name: str) -> str:
    """Return what two names have in common that some file system takes for one: capitals, and how accents are put."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", name).casefold())


def _short(text: str, most_bytes: int) -> str:
    """Return a text of at most so many bytes of UTF-8; one that is cut ends in a hash of the whole."""
    data = text.encode()
    if len(data) <= most_bytes:
        return text
    mark = f"_{hashlib.sha256(data).hexdigest()[:8]}"
    return data[: most_bytes - len(mark)].decode("utf-8", "ignore").rstrip(". ") + mark


def written_by_digitize(path: Path) -> bool:
    """Tell whether the plain file at `path` carries digitize's mark and is unchanged since."""
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            return False
        return is_sealed(path.read_bytes())
    except OSError:
        return False


def write_files(
    folder: Path, files: Mapping[str, bytes], *, force: bool = False, keep: Collection[str] = ()
) -> list[Path]:
    """Write every file into `folder`, which is made if need be, and return the paths in order.

    All targets are checked first; then every file is written beside its target, flushed to the
    disk and renamed into place. Whatever fails, no half file and no temporary file remains.

    Parameters
    ----------
    folder : Path
        Where to write.
    files : mapping of str to bytes
        File names (made safe here, see `safe_name`) and contents.
    force : bool
        Also replace files that digitize did not write, or that were changed since. A symbolic
        link is then replaced itself; what it points to stays untouched.
    keep : collection of str
        SHA-256 (hex) of files that are never replaced, whatever `force` says: what the result was made from.

    Raises
    ------
    WriteError
        If a target would overwrite what digitize did not write, two names fall together, or the
        system refuses (no room, no permission, name too long, folder is a file).
    """
    targets = _targets(folder, files)
    with _said(folder):
        missing = _missing(folder)
        try:
            with undone(lambda: _remove_empty(missing)):
                folder.mkdir(parents=True, exist_ok=True)
                for target, data in targets.items():
                    _check(target, data, force=force, keep=keep)
                _write_all(folder, targets)
        except BaseException:
            _remove_empty(missing)
            raise
    return list(targets)


def _targets(folder: Path, files: Mapping[str, bytes]) -> dict[Path, bytes]:
    targets: dict[Path, bytes] = {}
    seen: dict[str, str] = {}
    for name, data in files.items():
        plain = safe_name(name)
        other = seen.setdefault(folded(plain), name)
        if other is not name:
            raise WriteError(f"'{other}' and '{name}' would be the same file '{plain}': rename one")
        targets[folder / plain] = data
    return targets


def _missing(folder: Path) -> list[Path]:
    """Return the folders that are still to be made, innermost first."""
    missing = []
    for place in (folder, *folder.parents):
        if place.exists():
            break
        missing.append(place)
    return missing


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:
        with contextlib.suppress(OSError):
            folder.rmdir()


def _check(target: Path, data: bytes, *, force: bool, keep: Collection[str]) -> None:
    try:
        mode = target.lstat().st_mode
    except FileNotFoundError:
        return
    if stat.S_ISDIR(mode):
        raise WriteError(f"{target} is a folder: choose another name or move it away")
    if keep and stat.S_ISREG(mode) and hashlib.sha256(target.read_bytes()).hexdigest() in keep:
        raise WriteError(
            f"{target} is the picture itself, and stays: choose another folder with --to, or other formats"
        )
    if force or written_by_digitize(target):
        return
    there = target.read_bytes() if stat.S_ISREG(mode) else b""
    if stat.S_ISREG(mode) and there == data:
        return
    what = "is a link" if stat.S_ISLNK(mode) else "was not written by digitize"
    if is_marked(there):
        what = "was edited since digitize wrote it, and is kept"
    raise WriteError(f"{target} {what}: move it away, choose another folder, or use --force to replace it")


def _write_all(folder: Path, targets: Mapping[Path, bytes]) -> None:
    waiting: dict[Path, Path] = {}

    def drop() -> None:
        for beside in list(waiting.values()):
            with contextlib.suppress(OSError):
                beside.unlink()

    try:
        with undone(drop):
            for number, (target, data) in enumerate(targets.items()):
                beside = folder / f".digitize-{os.getpid()}-{number}.part"
                waiting[target] = beside
                _write_new(beside, data)
            with unbroken():
                for target, beside in list(waiting.items()):
                    os.replace(beside, target)
                    del waiting[target]
            _flush_folder(folder)
    finally:
        drop()


def _write_new(path: Path, data: bytes) -> None:
    with contextlib.suppress(FileNotFoundError):
        path.unlink()  # left by a process of the same number that was killed
    with open(path, "xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _flush_folder(folder: Path) -> None:
    if not hasattr(os, "O_DIRECTORY"):
        return  # Windows cannot open a folder
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def _said(folder: Path) -> Iterator[None]:
    """Turn what the system says into a `WriteError` with a sentence."""
    try:
        yield
    except WriteError:
        raise
    except (FileExistsError, NotADirectoryError) as error:
        raise WriteError(f"{folder} cannot be a folder, a file is in the way: choose another with --to") from error
    except OSError as error:
        reason = error.strerror or str(error)
        advice = _ADVICE.get(error.errno or 0, "choose another folder with --to")
        raise WriteError(f"cannot write into {folder}: {reason}; nothing half-written was left, {advice}") from error
    except ValueError as error:  # a NUL in a path
        raise WriteError(f"cannot write into {str(folder)!r}: {error}") from error


@contextlib.contextmanager
def values_of(where: str) -> Iterator[None]:
    """Refuse a file of ours one of whose values is missing or cannot be meant; `where` it was found is said in front.

    Raises
    ------
    UsageError
        Of what reading the values raises.
    """
    try:
        yield
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise UsageError(f"{where}: a value is missing or cannot be meant: {error}.") from error


def number_of(value: object, name: str, low: float, high: float) -> float:
    """Return a number of a file of ours; `ValueError` where it is none or not within its range."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise ValueError(f"{name} = {value!r}, expected {low:g} to {high:g}")
    return float(value)


def toml_text(text: str) -> str:
    """Return a text as TOML's basic string; what cannot be printed becomes a space."""
    safe = "".join(c if c.isprintable() else " " for c in text)
    return '"' + safe.replace("\\", "\\\\").replace('"', '\\"') + '"'


def read_toml(path: Path, *, option: str, form: str, expected: str) -> dict[str, Any]:
    """Read a TOML file of version 1 of a form of ours.

    Parameters
    ----------
    path
        The file.
    option
        What named it, such as "--profile".
    form
        What its key ``format`` must say.
    expected
        What it should be and how to get one, as said when it is something else.

    Raises
    ------
    UsageError
        If it cannot be read, is no TOML, or is of another form or version.
    """
    place = f"{option} {path}"
    text = ""
    try:
        text = read_regular(path, place, most_bytes=_MOST_OPTION_BYTES).decode()
        data = tomllib.loads(text)
    except OSError as error:
        raise UsageError(f"{place}: {unread(error)}") from error
    except UnicodeDecodeError as error:
        raise UsageError(f"{place}: this is no text file (UTF-8): {error}.") from error
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{place}: {_toml_fault(text, str(error))}") from error
    except RecursionError as error:
        raise UsageError(f"{place}: no file of ours holds lists in lists as deep as this. {expected}") from error
    if data.get("format") != form or data.get("version") != 1:
        raise UsageError(f"{place}: {expected}")
    return data


def unread(error: BaseException) -> str:
    """Return why a file cannot be read, and what to do."""
    reason = getattr(error, "strerror", None) or str(error)
    if isinstance(error, FileNotFoundError):
        reason = "there is no such file. Check the name and the folder"
    if isinstance(error, IsADirectoryError):
        reason = "it is a folder. Name a file in it"
    return f"the file cannot be read: {reason}."


def _toml_fault(text: str, said: str) -> str:
    """Return what is wrong with a text that is no TOML: its line, and how it should be written."""
    found, lines = re.search(r"\(at line (\d+)", said), text.split("\n")
    number = int(found[1]) if found else len(lines)
    line = lines[min(number, len(lines)) - 1].strip()
    where = f"line {number} ({line if len(line) <= _LONGEST_LINE else line[:_LONGEST_LINE] + '...'})"
    key = line.partition("=")[0].strip()
    if "overwrite" not in said.lower() and "twice" not in said.lower() and "already" not in said.lower():
        return (
            f"{where} is no TOML: {said}. Numbers are written with a point (0.2), texts in quotes "
            '("desk"), switches as true or false, two sides as "305x458".'
        )
    if key == "format" and not any(one.lstrip().startswith("[") for one in lines[:number]):
        return (
            f"{where} says format a second time. The first says what this file is; which drawings are written is said "
            "on the command line, --format dxf,svg, of plates also below a line [plate]."
        )
    return f"{where} says {key} a second time. Each may stand once: take one of the two out."


def read_regular(path: Path, place: str, *, most_bytes: int) -> bytes:
    """Return the bytes of a regular file; a pipe or a device is never waited for.

    Raises
    ------
    UsageError
        If it is none, or is larger than `most_bytes`; the sentence begins with `place`.
    OSError
        If the system refuses.
    """
    with open(path, "rb", opener=lambda name, flags: os.open(name, flags | getattr(os, "O_NONBLOCK", 0))) as file:
        status = os.fstat(file.fileno())
        if not stat.S_ISREG(status.st_mode):
            raise UsageError(f"{place}: this is a device, pipe or socket. Name a file.")
        if status.st_size > most_bytes:
            told = f"{status.st_size / 1e6:.3g} MB, more than such a file ever has ({most_bytes / 1e6:.3g} MB)"
            raise UsageError(f"{place}: the file has {told}. Name the right one.")
        return file.read(most_bytes)
