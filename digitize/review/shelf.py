"""The pictures the page knows: those of the command line, and those dropped on it, in a folder that goes again."""

from __future__ import annotations

import os
import secrets
import shutil
import tempfile
from collections.abc import AsyncIterable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from ..errors import UsageError
from ..files import safe_name
from .begin import Begin

MOST_BYTES = 500_000_000  # of one picture
MOST_ALL_BYTES = 4_000_000_000  # of all that were dropped
MOST_PICTURES = 500  # open at a time; a folder is a batch's
_BYTES_A_PIXEL = 8  # four channels of 16 bits, not compressed
_HEAD_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class Entry:
    """One picture. Its key tells nothing of where it lies."""

    key: str
    name: str
    path: Path
    begin: Begin | None = None  # options of its own; None: those of the command line


@dataclass(slots=True)
class Shelf:
    """Pictures by key, in order; the folder of those that were dropped is removed by `clear`."""

    max_mpx: float
    entries: dict[str, Entry] = field(default_factory=dict)
    _folder: Path | None = None
    _bytes: int = 0

    @property
    def most_bytes(self) -> int:
        """How large a dropped picture may be: no larger than one of the most pixels that are read."""
        return int(min(MOST_BYTES, self.max_mpx * 1e6 * _BYTES_A_PIXEL + _HEAD_BYTES))

    def add(self, paths: Iterable[Path], *, begin: Begin | None = None) -> None:
        """Add pictures where they lie, perhaps with options of their own."""
        for path in paths:
            self._keep(path, begin)

    def add_one(self, path: Path, *, begin: Begin, name: str) -> Entry:
        """Add a picture where it lies under a name of its own."""
        return self._keep(path, begin, name)

    async def receive(self, name: str, pieces: AsyncIterable[bytes]) -> Entry:
        """Take a dropped picture in, piece by piece; nothing of it stays if it is too large or breaks off.

        Raises
        ------
        UsageError
            If it is larger than it may be, or there are too many.
        """
        if len(self.entries) >= MOST_PICTURES:
            raise UsageError(f"The page holds {MOST_PICTURES} pictures already. Start digitize review again for more.")
        folder = Path(tempfile.mkdtemp(dir=self._own_folder()))
        path, size = folder / safe_name(name), 0
        try:
            with open(path, "xb") as file:
                async for piece in pieces:
                    size += len(piece)
                    self._refuse(name, size)
                    file.write(piece)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        self._bytes += size
        return self._keep(path)

    def _refuse(self, name: str, size: int) -> None:
        if size > self.most_bytes:
            raise UsageError(
                f"{safe_name(name)[:80]} is larger than {self.most_bytes / 1e6:.4g} MB, which no picture of up to "
                f"{self.max_mpx:g} million pixels is. Name it on the command line if it is right: digitize review FILE."
            )
        if self._bytes + size > MOST_ALL_BYTES:
            raise UsageError("The pictures dropped here fill 4 GB. Start digitize review again for more.")

    def clear(self) -> None:
        """Remove what was dropped."""
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _own_folder(self) -> Path:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="digitize-review-"))
            os.chmod(self._folder, 0o700)
        return self._folder

    def _keep(self, path: Path, begin: Begin | None = None, name: str = "") -> Entry:
        entry = Entry(secrets.token_hex(8), name or path.name, path, begin)
        self.entries[entry.key] = entry
        return entry
