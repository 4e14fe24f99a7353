"""TOML files that a user names with an option: read, or refused with a sentence."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from .errors import UsageError


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
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise UsageError(f"{place}: the file cannot be read: {error.strerror or error}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UsageError(f"{place}: this is no TOML file: {error}.") from error
    if data.get("format") != form or data.get("version") != 1:
        raise UsageError(f"{place}: {expected}")
    return data
