"""The files of a result for the page: those the command writes; of an item that was dropped none."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Collection, Mapping
from dataclasses import replace

from ..card.kinds import PAPERS_MM
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


CARDS = tuple(f"{kind}-{paper}.pdf" for kind in ("single", "mat") for paper in PAPERS_MM)


def card_pdf(which: str) -> tuple[str, bytes]:
    """Return a card to print, one of `CARDS`, and the name it has as the command writes it."""
    from ..card.kinds import card_layout
    from ..write.card.files import card_files

    kind, _, paper = which.removesuffix(".pdf").partition("-")
    ((name, data),) = card_files(card_layout(kind, paper), ("pdf",)).items()  # type: ignore[arg-type]
    return name, data


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Return files as one zip archive, the same bytes for the same files."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            one = zipfile.ZipInfo(safe_name(name), _OLDEST)
            one.compress_type, one.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(one, data)
    return held.getvalue()
