"""Steps kept aside where the page writes to no folder: a file a picture in the user's own folder, for a while."""

from __future__ import annotations

import contextlib
import json
import os
import re
import time
from pathlib import Path

from ..errors import UsageError, WriteError
from ..files import read_regular, write_files
from .kept import Before, before_of, told_of
from .steps import Steps

MOST_DAYS, MOST_PICTURES, MOST_BYTES = 90, 200, 50_000_000  # what is older, or more, is let go
_ENDING = ".steps"
_OURS = re.compile(r"[0-9a-f]{64}\.steps")


class Aside:
    """The steps of every picture by its SHA-256, whatever it is called and wherever it lies."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._own: set[str] = set()  # a picture that is opened twice now begins twice
        self.trouble = ""  # why nothing can be kept
        _let_go(folder)

    def of(self, sha256: str) -> Before | None:
        """Return the steps of a picture; None where there are none, or none that can be read."""
        if sha256 in self._own:
            return None
        try:
            data = read_regular(self._path(sha256), "kept steps", most_bytes=MOST_BYTES)
            return before_of(json.loads(data))
        except (OSError, ValueError, RecursionError, UsageError):
            return None

    def keep(self, sha256: str, name: str, steps: Steps) -> None:
        """Write the steps of a picture down; a folder that refuses is no reason to stop the work."""
        self._own.add(sha256)
        path = self._path(sha256)
        try:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            write_files(self._folder, {path.name: json.dumps(told_of(name, steps)).encode()}, force=True)
        except (OSError, WriteError) as error:
            self.trouble = f"Steps are not kept when the page ends: {error}"

    def _path(self, sha256: str) -> Path:
        return self._folder / f"{sha256}{_ENDING}"


def _let_go(folder: Path) -> None:
    """Remove what is old, and the oldest of what is too much."""
    with contextlib.suppress(OSError):
        ours = [one for one in folder.iterdir() if _OURS.fullmatch(one.name)]
        found = [(one.stat().st_mtime, one.stat().st_size, one) for one in ours]
        total, since = 0, time.time() - MOST_DAYS * 86_400
        for number, (changed, size, path) in enumerate(sorted(found, reverse=True), 1):
            total += size
            if changed < since or number > MOST_PICTURES or total > MOST_BYTES:
                with contextlib.suppress(OSError):
                    os.unlink(path)
