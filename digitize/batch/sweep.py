"""Clear away what runs that were killed, and results of what pictures were before, have left."""

from __future__ import annotations

import contextlib
import os
import re
import time
from collections.abc import Iterable
from pathlib import Path

from ..files import written_by_digitize

_PART = re.compile(r"\.digitize-(\d+)-\d+\.part")
_STALE_S = 120.0  # no file takes that long to write; numbers of processes on other machines tell nothing


def sweep_parts(folders: Iterable[Path]) -> int:
    """Remove half-written files of processes that are no more; return how many."""
    removed = 0
    for folder in folders:
        with contextlib.suppress(OSError), os.scandir(folder) as entries:
            for entry in list(entries):
                match = _PART.fullmatch(entry.name)
                if match and (not _lives(int(match[1])) or time.time() - entry.stat().st_mtime > _STALE_S):
                    os.unlink(entry.path)
                    removed += 1
    return removed


def drop_stale(folder: Path, old: Iterable[str], new: Iterable[str]) -> None:
    """Remove results that the picture no longer has, if digitize wrote them and nobody changed them."""
    for name in set(old) - set(new):
        path = folder / name
        if written_by_digitize(path):
            with contextlib.suppress(OSError):
                path.unlink()


def _lives(number: int) -> bool:
    if number == os.getpid():
        return False  # what this process writes is not there yet: left by one that had its number before
    try:
        os.kill(number, 0)
        return not _is_over(number)
    except ProcessLookupError:
        return False
    except OSError:
        return True


def _is_over(number: int) -> bool:
    """Tell whether a process has ended and only waits to be asked how."""
    with contextlib.suppress(OSError, IndexError):
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    return False
