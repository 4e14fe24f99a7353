"""The file of typical values: the one in the package, and the copy that a user has edited."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..files import read_toml
from ..kinds import FileName
from ..packaged import packaged
from ..seal import BLANK, seal
from .ways import VALUES, WAYS, Cutting, Value, choose

FORMAT = "digitize-cutting"

Tables = dict[str, dict[str, Value]]

# A key in the file is a value's name, but for those whose table says the first part already.
_KEYS: dict[str, dict[str, str]] = {
    table: {name.removeprefix(f"{table}_"): name for name, one in VALUES.items() if table in one.tables}
    for table in (*WAYS, "notch", "sheet")
}


def default_bytes() -> bytes:
    """Return the file of typical values, sealed, to be copied and edited."""
    return seal(f"# {BLANK}\n".encode() + _packaged().encode())


@functools.cache
def _packaged() -> str:
    return packaged("cutting.toml").decode()


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
        found[keys[key]] = VALUES[keys[key]].kind.checked(value, f"{place}, [{table}] {key} =")
    return found


def cutting_from(said: Mapping[str, object], own: object = None) -> Cutting:
    """Return how pockets are cut.

    Parameters
    ----------
    said
        What was said, by the fields' names; what is None was not said.
    own
        Path of a user's values; or all of it, as a `Cutting` or as its fields (`Cutting.plain`).

    Raises
    ------
    UsageError
        If it cannot be meant, or is said twice.
    """
    if isinstance(own, Cutting | Mapping):
        if any(VALUES[name].is_said(value) for name, value in said.items()):
            raise UsageError("how pockets are cut is given twice: a way of cutting has values of its own.")
        return own if isinstance(own, Cutting) else Cutting.of(own)
    values, way = {**said}, VALUES["way"].checked(said.get("way"))
    values.pop("way", None)
    if own is None:
        return choose(way, values, typical_values())
    path = FileName().checked(own, "--cutting")
    if way is None:
        raise UsageError("--cutting is a file of values for a way of cutting: say which, --cut WAY.")
    return choose(way, values, typical_values(), read_cutting_file(Path(path)))
