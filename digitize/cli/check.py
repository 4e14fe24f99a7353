"""An outline held against caliper readings, or against another outline: what is said of it."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

from ..document.document import read_document
from ..errors import DocumentError, UsageError
from ..files import unread
from ..records import Item, Result
from ..trust.apart import Apart, apart
from ..trust.asked import Readings
from ..trust.checked import Checked, checked
from ..trust.readings import Compared, sizes_of

_EXIT = {"agree": 0, "doubtful": 0, "disagree": 1}


def read_outline(path: Path) -> Result:
    """Read an outline document.

    Raises
    ------
    UsageError, DocumentError
        If there is no such file, or it is no outline document.
    """
    try:
        data = path.read_bytes()
    except (OSError, ValueError) as error:  # a NUL in a path
        raise UsageError(f"{path}: {unread(error)}") from error
    try:
        return read_document(data).result
    except DocumentError as error:
        raise DocumentError(f"{path}: {error}. Give the .json that digitize outline wrote.") from error


def chosen(result: Result, name: str | None, path: Path) -> Item:
    """Return the item that is meant: by its name, or its number; the only one if nothing is said.

    Raises
    ------
    UsageError
        If there is no such item, or several and none is named.
    """
    names = [item.name for item in result.items]
    if name is None and len(names) == 1:
        return result.items[0]
    if name is None:
        more = ", ..." if len(names) > 6 else ""
        raise UsageError(f"{path} holds {len(names)} items: say which with --item ({', '.join(names[:6])}{more}).")
    for number, item in enumerate(result.items, 1):
        if name in (item.name, str(number)):
            return item
    raise UsageError(f"{path} holds no item {name}. There are {', '.join(names[:12])}.")


def check_readings(
    result: Result, item: Item, readings: Readings, holes: Sequence[str], *, as_json: bool
) -> tuple[list[str], str, int]:
    """Return the lines that tell how readings and outline agree, the same as JSON if asked for, and the exit code."""
    named = readings.by_name(holes)
    if not named:
        can = ", ".join(f"{name} {size.mm:.3f}" for name, size in sizes_of(item).items())
        raise UsageError(
            f"No reading was given. Measure {item.name} and say what calipers read, such as --length 42.10 --width "
            f"30.05. By the outline: {can} mm."
        )
    found = checked(result, item, named, read_k2_mm=readings.caliper_error_mm)
    lines = [f"{item.name} of {result.source_name}, scale from {result.scale.reference}"]
    lines += [*_table(found.compared), _closing(found)]
    told = json.dumps(found.plain(), ensure_ascii=False, indent=1) if as_json else ""
    return lines, told, _EXIT[found.verdict]


def check_two(
    first: Item, second: Item, *, over: bool, to: Path | None, force: bool, as_json: bool
) -> tuple[list[str], str, int]:
    """Return the lines that tell how far two outlines lie apart, the same as JSON if asked for, and the exit code.

    Where `to` is given the differences are drawn into it. The code is 1 if more than 5 % of the outlines lie farther
    apart than both are known to.
    """
    found = apart(first, second, over=over)
    stated = math.hypot(first.uncertainty.profile_k2_mm, second.uncertainty.profile_k2_mm)
    same = found.near_mm <= stated
    turned = f"turned by {math.degrees(found.placement.turn_rad):.2f} degrees{' and over' if over else ''}"
    lines = [
        f"{second.name} laid on {first.name}, {turned}, its size kept:",
        f"  {_larger(found.mean_mm)}; RMS {found.rms_mm:.3f} mm, 95 % within {found.near_mm:.3f} mm, "
        f"at most {found.most_mm:.3f} mm apart",
        f"  {'No difference that can be told' if same else 'They differ by more than can be put down to measuring'}: "
        f"both are known to ± {stated:.3f} mm (k = 2).",
    ]
    if to is not None:
        from ..files import write_files
        from ..write.differences import differences_svg

        drawn = differences_svg(found.points_mm, found.off_mm, sure_mm=stated)
        lines += [f"  wrote {path}" for path in write_files(to.parent, {to.name: drawn}, force=force)]
    return lines, _apart_json(first, second, found, stated) if as_json else "", 0 if same else 1


def _larger(mean_mm: float) -> str:
    if abs(mean_mm) < 0.0005:
        return "on the whole of the same size"
    return f"on the whole {abs(mean_mm):.3f} mm a side {'larger' if mean_mm > 0 else 'smaller'}"


def _table(compared: Sequence[Compared]) -> list[str]:
    rows = [("", "outline", "±", "calipers", "±", "difference", "")]
    rows += [
        (
            one.name,
            f"{one.size.mm:.3f}",
            f"{one.size.k2_mm:.3f}",
            f"{one.read_mm:.3f}",
            f"{one.read_k2_mm:.3f}",
            f"{one.difference_mm:+.3f}",
            one.verdict,
        )
        for one in compared
    ]
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            row[0].ljust(widths[0]),
            *(cell.rjust(width) for cell, width in zip(row[1:-1], widths[1:-1], strict=True)),
        ]
        lines.append("  " + "  ".join([*cells, row[-1]]).rstrip())
    return [*lines, "  mm; ± is k = 2 (about 95 %)"]


def _closing(found: Checked) -> str:
    return found.sentence if found.cause is None else f"LOOK  {found.sentence} {found.step}"


def _apart_json(first: Item, second: Item, found: Apart, stated_mm: float) -> str:
    return json.dumps(
        {
            "items": [first.name, second.name],
            "turned_deg": round(math.degrees(found.placement.turn_rad), 4),
            "turned_over": found.placement.over,
            "mean_mm": round(found.mean_mm, 4),
            "rms_mm": round(found.rms_mm, 4),
            "within_95_mm": round(found.near_mm, 4),
            "most_mm": round(found.most_mm, 4),
            "stated_k2_mm": round(stated_mm, 4),
        },
        ensure_ascii=False,
        indent=1,
    )
