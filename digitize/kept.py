"""What is remembered of a workshop's things, a sealed TOML file each, under a name in the user's settings folder."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from .errors import UsageError
from .files import write_files

T = TypeVar("T")
_NAME = re.compile(r"[\w-][\w .-]{0,60}")


def settings_folder() -> Path:
    """Return the folder of what is remembered for this user; the variable DIGITIZE_SETTINGS names another."""
    named = os.environ.get("DIGITIZE_SETTINGS")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_config_dir("digitize", appauthor=False))


def state_folder() -> Path:
    """Return the folder of what goes on for this user until it is done; the variable DIGITIZE_STATE names another."""
    named = os.environ.get("DIGITIZE_STATE")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_state_dir("digitize", appauthor=False))


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


def all_kept(room: str, read: Callable[[Path], T]) -> list[T]:
    """Return all things of a kind, by name; damaged ones are passed over."""
    found = []
    for path in kept(room):
        with contextlib.suppress(UsageError):
            found.append(read(path))
    return found


def path_of(room: str, name: str, *, what: str, how: str) -> Path:
    """Return the file of a thing that is kept under a name; of a name that ends with .toml, the file of that name.

    Parameters
    ----------
    room, name
        Of which kind, and which of them.
    what
        It is called, as in "no reading".
    how
        One is made and kept, a sentence.

    Raises
    ------
    UsageError
        If none is kept under that name.
    """
    if name.endswith(".toml"):
        return Path(name)
    path = place_of(room, name)
    if not path.is_file():
        there = ", ".join(one.stem for one in kept(room)) or "none yet"
        option = f"--{room.removesuffix('s')}"
        raise UsageError(f"{option} {name}: no {what} is kept under that name (there are: {there}). {how}")
    return path
