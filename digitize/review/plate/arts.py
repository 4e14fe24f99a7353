"""Artwork for templates: files that were dropped on the page, read once to tell whether they can be placed."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import AsyncIterable, Mapping
from dataclasses import dataclass

from ...errors import UsageError
from ...files import safe_name
from ...write.artwork.art import Art
from ...write.artwork.read import read_art

MOST_BYTES = 100_000_000  # of one file
MOST_ARTS = 20  # kept at a time


@dataclass(frozen=True, slots=True)
class Held:
    """A file of artwork, and what was read of it."""

    art: Art
    data: bytes
    sha256: str  # of the file, hex


class Arts:
    """Artwork by keys that tell nothing; it goes with the process."""

    def __init__(self) -> None:
        self._held: dict[str, Held] = {}

    async def receive(self, name: str, pieces: AsyncIterable[bytes]) -> tuple[str, str]:
        """Take artwork in, piece by piece; return its key and its name.

        Raises
        ------
        UsageError
            If it is larger than it may be, no artwork that can be placed, or there is too much.
        """
        if len(self._held) >= MOST_ARTS:
            raise UsageError(f"The page holds {MOST_ARTS} files of artwork already. Start digitize review again.")
        data = bytearray()
        async for piece in pieces:
            data += piece
            if len(data) > MOST_BYTES:
                raise UsageError(f"{safe_name(name)[:80]} is larger than {MOST_BYTES / 1e6:g} MB. Save it smaller.")
        return self.put(name, bytes(data))

    def put(self, name: str, data: bytes) -> tuple[str, str]:
        """Take in artwork that is whole; return its key and its name.

        Raises
        ------
        UsageError
            If it is no artwork that can be placed.
        """
        art = read_art(safe_name(name), data)
        key = secrets.token_hex(8)
        self._held[key] = Held(art, data, hashlib.sha256(data).hexdigest())
        return key, art.name

    def held(self, key: str) -> Held | None:
        """Return artwork with its file; None where it is not here."""
        return self._held.get(key)

    def of(self, wanted: Mapping[str, str]) -> dict[str, Art]:
        """Return artwork by kind, where a kind has some that is here."""
        return {kind: self._held[key].art for kind, key in wanted.items() if key in self._held}

    def names(self) -> dict[str, str]:
        """Return the name of each."""
        return {key: one.art.name for key, one in self._held.items()}
