"""The file of typical values: the one in the package, and the copy that a user has edited."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_toml
from ..seal import BLANK, seal
from .ways import OF_WAY, Value, check_value

FORMAT = "digitize-cutting"

Tables = dict[str, dict[str, Value]]

# A key in the file is a value's name, but for those whose table says the first part already.
_KEYS: dict[str, dict[str, str]] = {
    **{way: {name: name for name in names} for way, names in OF_WAY.items()},
    "notch": {"width_mm": "notch_width_mm"},
    "sheet": {"web_mm": "web_mm", "node_spacing_mm": "node_spacing_mm"},
}


def default_bytes() -> bytes:
    """Return the file of typical values, sealed, to be copied and edited."""
    return seal(f"# {BLANK}\n".encode() + _packaged().encode())


@functools.cache
def _packaged() -> str:
    from importlib.resources import files

    return (files("digitize") / "data" / "cutting.toml").read_text("utf-8")


def typical_values() -> Tables:
    """Return the package's typical values by table and name."""
    return _tables(tomllib.loads(_packaged()), "the package's cutting.toml")


def read_cutting_file(path: Path) -> Tables:
    """Read a user's values; what is not in the file is not in the tables.

    Raises
    ------
    UsageError
        If the file cannot be read, is of another kind, or holds a table, key or value that cannot be meant.
    """
    expected = (
        f"expected a file of ways of cutting (format {FORMAT}, version 1). Get one to edit: "
        "digitize cutting --to cutting.toml"
    )
    return _tables(read_toml(path, option="--cutting", form=FORMAT, expected=expected), f"--cutting {path}")


def _tables(data: Mapping[str, Any], place: str) -> Tables:
    found: Tables = {}
    for table, content in data.items():
        if table in ("format", "version"):
            continue
        if table not in _KEYS or not isinstance(content, dict):
            raise UsageError(f"{place}: [{table}] is not known; there are {', '.join(f'[{t}]' for t in _KEYS)}.")
        found[table] = _values(content, table, place)
    return found


def _values(content: Mapping[str, Any], table: str, place: str) -> dict[str, Value]:
    keys, found = _KEYS[table], {}
    for key, value in content.items():
        if key not in keys:
            raise UsageError(f"{place}: {key} is not known in [{table}]; there are {', '.join(keys)}.")
        found[keys[key]] = check_value(keys[key], value, where=f"{place}, [{table}] {key} =")
    return found
