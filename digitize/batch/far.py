"""Find pictures at an address, by fsspec."""

from __future__ import annotations

from collections.abc import Iterable

from ..errors import PictureError
from .find import Found, is_wanted
from .store import below, system_of


def find_far(root: str, *, recursive: bool = False, patterns: Iterable[str] = ()) -> list[Found]:
    """Return the pictures at an address, as `digitize.batch.find.find_pictures` does for folders.

    Raises
    ------
    PictureError
        If the address cannot be listed.
    """
    patterns = tuple(patterns)
    system, path = system_of(root)
    try:
        names = system.find(path, maxdepth=None if recursive else 1)
    except OSError as error:
        raise PictureError(f"{root} cannot be listed: {error}.") from error
    keys = sorted(name.removeprefix(path.rstrip("/")).lstrip("/") for name in names)
    wanted = [key for key in keys if is_wanted(key, patterns) and not any(p.startswith(".") for p in key.split("/"))]
    return [Found(key=key, source=below(root, key)) for key in wanted if not key.endswith(".check.png")]
