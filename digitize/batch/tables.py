"""The batch's two tables as CSV: every item, and what needs a person.

Whatever a file is called, no spreadsheet takes a cell, or what it makes of a line at another separator, for a formula.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

from .advice import Attention
from .row import Row
from .store import below

_SUMMARY = (
    "file",
    "item",
    "width_mm",
    "height_mm",
    "area_mm2",
    "perimeter_mm",
    "holes",
    "outline_k2_mm",
    "length_k2_mm",
    "caliper_length_mm",
    "caliper_width_mm",
    "caliper_length_k2_mm",
    "caliper_width_k2_mm",
    "reference",
    "needs_person",
    "warnings",
    "results",
)
_ATTENTION = ("file", "item", "code", "reason", "next_step", "value", "limit", "results")
_SIGNS = "=+@\uff1d\uff0b\uff20\uff0d-"  # also of full width, which some take for the others
_START = re.compile(rf"[\s\"]*[{_SIGNS}]")
_INNER = re.compile(rf"(?<=[,;|\t\n\r\v\f\x85\u2028\u2029])(?=[\s\"]*[{_SIGNS}])")
HEADS = {"summary.csv": _SUMMARY, "attention.csv": _ATTENTION}  # by the report's name


def summary_csv(rows: Iterable[Row]) -> bytes:
    """Return one line an item: sizes in mm, uncertainty at k = 2, codes of its own and its picture's warnings.

    RFC 4180 with a byte order mark, which spreadsheets need to read UTF-8. No clock: the same results, the same bytes.
    """
    return _csv(_SUMMARY, [line for row in rows if row.is_good for line in _items(row)])


def attention_csv(found: Iterable[Attention]) -> bytes:
    """Return one line for each thing that needs a person, in the order given."""
    lines = [
        (
            _path(one.row.key),
            _text(one.where),
            one.code,
            _text(one.reason),
            one.next_step,
            _number(one.value),
            _number(one.limit),
            results(one.row),
        )
        for one in found
    ]
    return _csv(_ATTENTION, lines)


def results(row: Row) -> str:
    """Return the paths of a picture's results below the results' folder, with a bar between, which no name has."""
    return " | ".join(_path(below(row.place.folder, name).removeprefix("/")) for name, _ in row.outcome.files)


def _items(row: Row) -> list[tuple[str, ...]]:
    outcome, names = row.outcome, {item.name for item in row.outcome.items}
    general = [warned for warned in outcome.warned if warned.where not in names]
    lines: list[tuple[str, ...]] = []
    for item in outcome.items:
        warned = [*general, *(one for one in outcome.warned if one.where == item.name)]
        lines.append(
            (
                _path(row.key),
                _text(item.name),
                f"{item.width_mm:.3f}",
                f"{item.height_mm:.3f}",
                f"{item.area_mm2:.2f}",
                f"{item.perimeter_mm:.3f}",
                str(item.holes),
                f"{item.outline_k2_mm:.3f}",
                f"{item.length_k2_mm:.3f}",
                f"{item.caliper_length_mm:.3f}",
                f"{item.caliper_width_mm:.3f}",
                f"{item.caliper_length_k2_mm:.3f}",
                f"{item.caliper_width_k2_mm:.3f}",
                outcome.reference,
                "yes" if row.decided == "" and any(one.attention for one in warned) else "no",
                " ".join(dict.fromkeys(one.code for one in warned)),
                results(row),
            )
        )
    return lines


def _csv(head: Sequence[str], lines: Iterable[Sequence[str]]) -> bytes:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, quoting=csv.QUOTE_ALL)
    writer.writerow(head)
    writer.writerows(lines)
    return b"\xef\xbb\xbf" + stream.getvalue().encode("utf-8", "backslashreplace")


def _path(key: str) -> str:
    """Return a path that no spreadsheet takes for a formula; it leads to the same file, unless a separator is in it."""
    return _INNER.sub("'", f"./{key}" if _START.match(key) else key)


def _text(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return _INNER.sub("'", f"'{text}" if _START.match(text) else text)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"
