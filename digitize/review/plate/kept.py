"""Plates kept as they are laid: a server that was stopped takes the last one up when its pictures are there again."""

from __future__ import annotations

import contextlib
import hashlib
import json
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...errors import DigitizeError, UsageError
from ...files import read_regular, write_files
from ..shelf import Entry
from .arts import MOST_BYTES as MOST_ART_BYTES
from .arts import Arts, Held
from .wish import PlateWish, wish_of

NAME = "digitize-review.plates"  # JSON, and no document by its name
_ART = "digitize-review.art-{}"  # by the first 16 digits of its SHA-256
_FORM, _VERSION = "digitize-review-plates", 1
_MOST_BYTES = 50_000_000
_MOST, _MOST_DAYS = 50, 90  # what is more, or older, is let go


@dataclass(frozen=True, slots=True)
class Before:
    """A plate that was laid before this process began."""

    wish: PlateWish
    when_s: int  # since 1970


class KeptPlates:
    """Plates by the pictures whose items lie on them; without a folder they go with the process."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self.trouble = ""  # why nothing can be kept, a sentence

    def of(self, entries: Iterable[Entry], arts: Arts) -> Before | None:
        """Return the plate laid last of those whose pictures are all here, whatever they are called; None of none.

        Its artwork is put beside the other; what of it is gone, or cannot be read, is left out.
        """
        plates = sorted(self._read().values(), key=_when, reverse=True)
        here = _Here(entries)
        for told in plates:
            with contextlib.suppress(KeyError, TypeError, ValueError, AttributeError, IndexError, DigitizeError):
                keys = [here.key(*picture) for picture in told["pictures"]]
                if keys and None not in keys:
                    wish = told["wish"]
                    items = [[keys[number], name] for number, name in wish["items"]]
                    art_keys = {kind: self._art(sha256, name, arts) for kind, (sha256, name) in wish["arts"].items()}
                    own = {kind: key for kind, key in art_keys.items() if key is not None}
                    return Before(wish_of({**wish, "items": items, "arts": own}), _when(told))
        return None

    def keep(self, wish: PlateWish, pictures: Mapping[str, tuple[str, Entry]], arts: Arts) -> None:
        """Write a plate down; a folder that refuses, or a picture that is gone, stops no work.

        Parameters
        ----------
        pictures
            By their keys SHA-256 and entry of all whose items lie on it.
        """
        if self._folder is None or not pictures:
            return
        held = {kind: one for kind, key in wish.arts.items() if (one := arts.held(key)) is not None}
        numbers = {key: number for number, key in enumerate(pictures)}
        plain = {
            **wish.plain(),
            "items": [[numbers[key], name] for key, name in wish.items],
            "arts": {kind: [one.sha256, one.art.name] for kind, one in held.items()},
        }
        try:
            told = {
                "when": round(time.time()),
                "pictures": [[sha256, entry.path.stat().st_size, entry.name] for sha256, entry in pictures.values()],
                "wish": plain,
            }
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._write(_name(pictures), told, {one.sha256: one for one in held.values()})
            self.trouble = ""
        except (OSError, DigitizeError) as error:
            self.trouble = f"The plate is not kept when the page ends: {error}"

    def _write(self, name: str, told: dict[str, Any], arts: Mapping[str, Held]) -> None:
        """Write all plates, this one the newest; artwork only where it is not there yet."""
        assert self._folder is not None
        since = time.time() - _MOST_DAYS * 86_400
        others = {key: one for key, one in self._read(strict=True).items() if key != name and _when(one) >= since}
        newest = sorted(others, key=lambda key: _when(others[key]), reverse=True)[: _MOST - 1]
        plates = {name: told, **{key: others[key] for key in newest}}
        text = json.dumps({"format": _FORM, "version": _VERSION, "plates": plates}, indent=1)
        more = {_ART.format(sha256[:16]): one.data for sha256, one in arts.items()}
        files = {file: data for file, data in more.items() if not (self._folder / file).is_file()}
        write_files(self._folder, {**files, NAME: text.encode()}, force=True)
        for path in self._folder.glob(_ART.format("*")):
            if path.name.rpartition("-")[2] not in text:  # on no plate any more
                path.unlink(missing_ok=True)

    def _read(self, *, strict: bool = False) -> dict[str, Any]:
        """Return what is kept; if `strict` a file that is not ours is refused, for it would be written over."""
        if self._folder is None:
            return {}
        path, told = self._folder / NAME, None
        try:
            data = read_regular(path, str(path), most_bytes=_MOST_BYTES)
        except FileNotFoundError:
            return {}
        except (OSError, UsageError):
            data = b""
        with contextlib.suppress(ValueError, RecursionError):
            told = json.loads(data)
        if isinstance(told, dict) and (told.get("format"), told.get("version")) == (_FORM, _VERSION):
            with contextlib.suppress(AttributeError, KeyError):
                return {key: one for key, one in told["plates"].items() if isinstance(one, dict)}
        if strict:
            raise UsageError(f"{path} holds no plates that the page kept. Move it away.")
        return {}

    def _art(self, sha256: str, name: str, arts: Arts) -> str | None:
        assert self._folder is not None
        path = self._folder / _ART.format(sha256[:16])
        with contextlib.suppress(OSError, DigitizeError):
            data = read_regular(path, str(path), most_bytes=MOST_ART_BYTES)
            if hashlib.sha256(data).hexdigest() == sha256:
                return arts.put(name, data)[0]
        return None


class _Here:
    """The pictures that are here; only those as large as one that is looked for are read."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._sizes: dict[int, list[Entry]] = {}
        self._known: dict[str, str] = {}
        for entry in entries:
            with contextlib.suppress(OSError):
                self._sizes.setdefault(entry.path.stat().st_size, []).append(entry)

    def key(self, sha256: str, size: int, name: str) -> str | None:
        """Return the key of a picture, of several the one of that name."""
        found = [entry for entry in self._sizes.get(size, []) if self._sha256(entry) == sha256]
        return min(found, key=lambda entry: entry.name != name).key if found else None

    def _sha256(self, entry: Entry) -> str:
        if entry.key not in self._known:
            with entry.path.open("rb") as file:
                self._known[entry.key] = hashlib.file_digest(file, "sha256").hexdigest()
        return self._known[entry.key]


def _name(pictures: Mapping[str, tuple[str, Entry]]) -> str:
    """Return what tells plates apart: the pictures their items come from."""
    return hashlib.sha256("".join(sorted(sha256 for sha256, _ in pictures.values())).encode()).hexdigest()


def _when(told: Any) -> int:
    when = told.get("when", 0) if isinstance(told, dict) else 0
    return when if isinstance(when, int) else 0
