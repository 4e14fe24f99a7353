"""An outline held against caliper readings, or against another outline: what is said of it."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

from ..document.document import read_document
from ..errors import DocumentError, UsageError
from ..records import Finding, Item, Result
from ..trust.apart import Apart, apart
from ..trust.asked import Readings
from ..trust.causes import Setting, likely_cause
from ..trust.readings import Compared, compare, sizes_of, worst
from ..words.say import step_of

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
        raise UsageError(f"{path}: the file cannot be read: {getattr(error, 'strerror', None) or error}.") from error
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
        raise UsageError(f"{path} holds {len(names)} items: say which with --item ({', '.join(names[:6])}...).")
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
    compared = compare(item, named, read_k2_mm=readings.caliper_error_mm)
    cause = likely_cause(compared, _setting(result, item))
    lines = [f"{item.name} of {result.source_name}, scale from {result.scale.reference}"]
    lines += _table(compared) + _closing(compared, cause)
    return lines, _as_json(item, compared, cause) if as_json else "", _EXIT[worst(compared)]


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


def _setting(result: Result, item: Item) -> Setting:
    height = result.options.get("item_height_mm")
    return Setting(
        of_photo=result.scale.kind == "camera",
        item_height_mm=float(height) if isinstance(height, int | float) else None,
        kerf_mm=0.0 if item.pocket is None else item.pocket.kerf_mm,
        measured=result.scale.measured,
    )


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


def _closing(compared: Sequence[Compared], cause: Finding | None) -> list[str]:
    verdict = worst(compared)
    if cause is not None:
        return [f"LOOK  {cause.message} {step_of(cause.code)}"]
    if verdict == "doubtful":
        return ["Too close to call: measure again, three times at the same place, and take the middle one."]
    return ["Outline and calipers agree within what both are known to."]


def _as_json(item: Item, compared: Sequence[Compared], cause: Finding | None) -> str:
    found = {
        "item": item.name,
        "verdict": worst(compared),
        "readings": [
            {
                "name": one.name,
                "outline_mm": round(one.size.mm, 4),
                "outline_k2_mm": round(one.size.k2_mm, 4),
                "read_mm": one.read_mm,
                "read_k2_mm": one.read_k2_mm,
                "difference_mm": round(one.difference_mm, 4),
                "verdict": one.verdict,
            }
            for one in compared
        ],
        "cause": None if cause is None else {"code": cause.code, "message": cause.message, "step": step_of(cause.code)},
    }
    return json.dumps(found, ensure_ascii=False, indent=1)


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
