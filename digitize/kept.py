"""What is remembered of a workshop's things, a sealed TOML file each, under a name in the user's settings folder."""

from __future__ import annotations

import os
import re
from pathlib import Path

from .errors import UsageError
from .files import write_files

_NAME = re.compile(r"[\w-][\w .-]{0,60}")


def settings_folder() -> Path:
    """Return the folder of what is remembered for this user; the variable DIGITIZE_SETTINGS names another."""
    named = os.environ.get("DIGITIZE_SETTINGS")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_config_dir("digitize", appauthor=False))


def is_name(text: str) -> bool:
    """Tell whether something may be kept under a text."""
    return _NAME.fullmatch(text) is not None


def checked_name(name: str, what: str) -> str:
    """Return a name that something is kept under; `UsageError` if it would not do for a file."""
    if not is_name(name):
        raise UsageError(f"{name!r} is no name for a {what}: use letters, digits, spaces and - only, such as desk.")
    return name


def place_of(room: str, name: str) -> Path:
    """Return where a thing is kept; `room` is named after its kind, such as "cards".

    Raises
    ------
    UsageError
        If the name is none.
    """
    return settings_folder() / room / f"{checked_name(name, room.removesuffix('s'))}.toml"


def keep(room: str, name: str, data: bytes) -> Path:
    """Write a thing's file, in place of an older one of that name.

    Raises
    ------
    UsageError, WriteError
        If the name is none, or it cannot be written.
    """
    path = place_of(room, name)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"{path.parent} cannot be made: {error.strerror or error}. Name another in DIGITIZE_SETTINGS."
        ) from error
    (written,) = write_files(path.parent, {path.name: data}, force=False)
    return written


def kept(room: str) -> list[Path]:
    """Return the files of all things of a kind, by name."""
    return sorted((settings_folder() / room).glob("*.toml"))
