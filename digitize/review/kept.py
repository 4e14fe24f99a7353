"""Steps kept, as they are made, in the folder that the page writes to: a server that was stopped goes on from there."""

from __future__ import annotations

import contextlib
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from ..errors import DigitizeError, UsageError
from ..files import read_regular, write_files
from ..hand.steps import Step
from .steps import Steps, Wish

NAME = "digitize-review.steps"  # JSON, and no outline document by its name
_FORM, _VERSION = "digitize-review-steps", 1
_MOST_BYTES = 200_000_000
_MOST_STEPS = 2_000  # of one picture; of more the first are forgotten


@dataclass(frozen=True, slots=True)
class Before:
    """The steps of a picture that were kept."""

    steps: Steps
    when_s: int  # since 1970, the last of them; 0 where nobody told


class Keeps(Protocol):
    """Something that keeps steps."""

    trouble: str  # why nothing can be kept, a sentence

    def of(self, sha256: str) -> Before | None:
        """Return the steps of a picture that were kept before this process began."""

    def keep(self, sha256: str, name: str, steps: Steps) -> None:
        """Keep the steps of a picture."""


class Kept:
    """The steps of every picture by its SHA-256; without a folder they go with the process."""

    trouble = ""  # a folder that was named and refuses is said where it is written to

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._told: dict[str, Any] = {} if folder is None else _read(folder / NAME)
        self._before = dict(self._told)  # a picture that is opened twice now begins twice

    def of(self, sha256: str) -> Before | None:
        """Return the steps of a picture; None where there are none, or none that can be read."""
        return before_of(self._before.get(sha256))

    def keep(self, sha256: str, name: str, steps: Steps) -> None:
        """Write the steps of a picture down.

        Raises
        ------
        WriteError
            If the folder cannot be written to.
        """
        self._told[sha256] = told_of(name, steps)
        if self._folder is not None:
            text = json.dumps({"format": _FORM, "version": _VERSION, "pictures": self._told}, indent=1)
            write_files(self._folder, {NAME: text.encode()}, force=True)


def told_of(name: str, steps: Steps) -> dict[str, Any]:
    """Return the steps of a picture as JSON has them, the last of very many."""
    gone = max(0, steps.count - _MOST_STEPS)
    wishes = [{"words": dict(one.words), "by_hand": [s.plain() for s in one.by_hand]} for one in steps.all[gone:]]
    return {"name": name, "at": max(0, steps.at - gone), "when": round(time.time()), "all": wishes}


def before_of(told: Any) -> Before | None:
    """Return what `told_of` told; None where it cannot be read."""
    try:
        wishes = tuple(_wish(one) for one in told["all"]) if isinstance(told, dict) else ()
        at = int(told["at"]) if isinstance(told, dict) else 0
        when = int(told.get("when", 0)) if isinstance(told, dict) else 0
    except (KeyError, TypeError, ValueError, DigitizeError):
        return None
    return Before(Steps(wishes, min(max(at, 0), len(wishes) - 1)), when) if wishes else None


def _read(path: Path) -> dict[str, Any]:
    """Return what is kept; a file that is not ours, or cannot be read, is refused, for it would be written over.

    Raises
    ------
    UsageError
        Naming the file.
    """
    try:
        data = read_regular(path, str(path), most_bytes=_MOST_BYTES)
    except FileNotFoundError:
        return {}
    except (OSError, UsageError) as error:
        raise UsageError(f"{path}: the steps kept here cannot be read ({error}). Move it away.") from error
    told: Any = None
    with contextlib.suppress(ValueError, RecursionError):
        told = json.loads(data)
    pictures = told.get("pictures") if isinstance(told, dict) else None
    if not isinstance(pictures, dict) or (told.get("format"), told.get("version")) != (_FORM, _VERSION):
        raise UsageError(f"{path}: this holds no steps that the page kept. Move it away, or choose another --to.")
    return pictures


def _wish(told: Any) -> Wish:
    words = told["words"]
    if not isinstance(words, dict) or not all(isinstance(word, str | bool | None) for word in words.values()):
        raise ValueError("no words")
    return Wish(words, tuple(map(Step.of, told["by_hand"])))
