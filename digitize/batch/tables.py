"""The batch's two tables as CSV: every item, and what needs a person."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from .advice import Attention
from .ledger import Row
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
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def summary_csv(rows: Iterable[Row]) -> bytes:
    """Return one line an item: sizes in mm, uncertainty at k = 2, codes of its own and its picture's warnings.

    RFC 4180 with a byte order mark, which spreadsheets need to read UTF-8. No clock: the same results, the same bytes.
    """
    return _csv(_SUMMARY, [line for row in rows if row.outcome.state == "done" for line in _items(row)])


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
            _text(results(one.row)),
        )
        for one in found
    ]
    return _csv(_ATTENTION, lines)


def results(row: Row) -> str:
    """Return the paths of a picture's results below the results' folder, with a semicolon between."""
    return "; ".join(below(row.place.folder, name).removeprefix("/") for name, _ in row.outcome.files)


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
                "yes" if any(one.attention for one in warned) else "no",
                " ".join(dict.fromkeys(one.code for one in warned)),
                _text(results(row)),
            )
        )
    return lines


def _csv(head: Sequence[str], lines: Iterable[Sequence[str]]) -> bytes:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(head)
    writer.writerows(lines)
    return b"\xef\xbb\xbf" + stream.getvalue().encode("utf-8", "backslashreplace")


def _path(key: str) -> str:
    """Return a path that no spreadsheet takes for a formula; it leads to the same file."""
    return f"./{key}" if key.startswith(_FORMULA) else key


def _text(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"
