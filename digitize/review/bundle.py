"""The files of a result for the page: those the command writes; of an item that was dropped none."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Collection, Mapping
from dataclasses import replace

from ..errors import UsageError
from ..files import safe_name
from ..run import Made, Output, make_files

_OLDEST = (1980, 1, 1, 0, 0, 0)  # as far back as the format goes: no clock in our files


def files_of(made: Made, output: Output, *, dropped: Collection[int] = ()) -> dict[str, bytes]:
    """Return every file by name. Where items are dropped (numbers from 1), those of the others, a file each.

    Raises
    ------
    UsageError
        If no item is left.
    """
    items = made.result.items
    if not dropped:
        return make_files(made.picture, made.outlined, output)
    if set(dropped) >= set(range(1, len(items) + 1)):
        raise UsageError("Every item was dropped: there is nothing to write. Take at least one.")
    files = make_files(made.picture, made.outlined, replace(output, separate=True))
    begins = tuple(f"{item.name}." for number, item in enumerate(items, 1) if number in dropped)
    return {name: data for name, data in files.items() if not name.startswith(begins)}


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Return files as one zip archive, the same bytes for the same files."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            one = zipfile.ZipInfo(safe_name(name), _OLDEST)
            one.compress_type, one.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(one, data)
    return held.getvalue()
