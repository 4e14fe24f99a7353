"""Files of corrections: TOML that the page writes and anybody may, or an outline document that holds some."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_regular, read_toml, unread
from ..kinds import FileName, Json, refusal
from .steps import Corrections, Step

FORM = "digitize-by-hand"
_MOST_BYTES = 1_000_000_000  # of an outline document
_EXPECTED = (
    'expected steps by hand, which begin with format = "digitize-by-hand" and version = 1, as the page gives them, or '
    "an outline document."
)


class ByHand(FileName):
    """Corrections by hand, or the file they are kept in."""

    hint = "str | os.PathLike[str] | Corrections"

    def checked(self, value: object, name: str) -> Any:
        """Return the corrections; None of none."""
        if isinstance(value, Mapping):
            value = Corrections.of(value)
        elif isinstance(value, str | os.PathLike):
            value = read_corrections(Path(FileName.checked(self, value, name)), option=name)
        if not isinstance(value, Corrections):
            raise refusal(name, value, "expected the path of a file, or Corrections")
        return value if value.steps else None

    def plain(self, value: Corrections) -> Json:
        """Return them as in the document."""
        return value.plain()


def read_corrections(path: Path, *, option: str = "--by-hand") -> Corrections:
    """Read corrections.

    Raises
    ------
    UsageError
        If the file cannot be read or holds none.
    """
    place = f"{option} {path}"
    try:
        data = read_regular(path, place, most_bytes=_MOST_BYTES)
    except (OSError, ValueError) as error:  # a NUL in a path
        raise UsageError(f"{place}: {unread(error)}") from error
    try:
        if data.lstrip()[:1] == b"{":
            return _of_document(data)
        told = read_toml(path, option=option, form=FORM, expected=_EXPECTED)
        return Corrections.of({key: told.get(key) for key in ("picture", "step") if key in told})
    except UsageError as error:
        raise error if str(error).startswith(place) else UsageError(f"{place}: {error}") from error


def _of_document(data: bytes) -> Corrections:
    try:
        told = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise UsageError(f"this is no outline document: {error}.") from error
    options = told.get("options") if isinstance(told, dict) else None
    held = options.get("by_hand") if isinstance(options, dict) else None
    if held is None:
        raise UsageError("this outline document holds no steps by hand.")
    return Corrections.of(held)


def corrections_toml(corrections: Corrections) -> bytes:
    """Return corrections as a file."""
    lines = [f'format = "{FORM}"', "version = 1"]
    lines += [f'picture = "{corrections.picture}"  # SHA-256: on another picture they are refused'] * bool(
        corrections.picture
    )
    for step in corrections.steps:
        lines += ["", "[[step]]", *_lines(step)]
    return ("\n".join(lines) + "\n").encode()


def _lines(step: Step) -> list[str]:
    return [f"{key} = {json.dumps(value)}" for key, value in step.plain().items()]
