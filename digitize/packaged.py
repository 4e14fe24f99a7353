"""The files that come with the package, in its folder `data`."""

from __future__ import annotations

import os


def packaged(name: str) -> bytes:
    """Return the bytes of a file of the package, as `importlib.resources` does; that imports readers of ZIP files."""
    with open(os.path.join(os.path.dirname(__file__), "data", name), "rb") as file:
        return file.read()
