"""One run on a folder of results at a time, and no worker of a run that was killed still writing beside it."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from ..errors import WriteError

_RUN, _WORKERS = "run.lock", "workers.lock"
_WAIT_S = 20.0  # workers end within moments of their run; one may be inside a long library call
_LOOK_S = 0.05  # between two looks whether they have


@contextlib.contextmanager
def only_run(house: Path) -> Iterator[None]:
    """Hold the folder of results for this process; the system lets go of it when the process ends, however.

    Raises
    ------
    WriteError
        If another run holds it, or workers of a run that was killed do not end.
    """
    with _opened(house / _RUN) as run:
        if not _lock(run, shared=False):
            raise WriteError(
                f"another run is working on {house.parent}. Wait for it, stop it, or choose another folder with --to."
            )
        with _opened(house / _WORKERS) as workers:
            end = time.monotonic() + _WAIT_S
            while not _lock(workers, shared=False):
                if time.monotonic() > end:
                    raise WriteError(f"workers of a run on {house.parent} that was stopped do not end. End them first.")
                time.sleep(_LOOK_S)
        yield


def hold_as_worker(house: Path) -> IO[bytes]:
    """Mark this process as a worker on the folder of results until it ends; keep what is returned."""
    stream = open(house / _WORKERS, "ab")  # noqa: SIM115
    _lock(stream, shared=True)
    return stream


def _opened(path: Path) -> IO[bytes]:
    try:
        return open(path, "ab")
    except OSError as error:
        raise WriteError(
            f"cannot write into {path.parent.parent}: {error.strerror}. Choose another with --to."
        ) from error


def _lock(stream: IO[bytes], *, shared: bool) -> bool:
    """Take a lock without waiting; the system drops it when the file is closed or the process ends."""
    if os.name == "nt":
        return _lock_windows(stream, shared=shared)
    import fcntl

    try:
        fcntl.flock(stream, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _lock_windows(stream: IO[bytes], *, shared: bool) -> bool:
    """Windows knows no shared lock here: workers go unmarked, the run itself is held."""
    if shared:
        return True
    import msvcrt

    try:
        stream.seek(0)
        msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    except OSError:
        return False
    return True
