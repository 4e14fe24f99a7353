"""The table of places, CSV: number, kind, x, y from the zero corner, turn from upright, and for which source."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from ..errors import UsageError
from ..kinds import number_in
from ..seal import BLANK, seal
from .layout import from_zero
from .plate import Kind, Place, Plate, inward

COLUMNS = ("number", "kind", "x", "y", "turn", "source")
_NEEDED = ("kind", "x", "y")
_HASH_DIGITS = 16  # of a picture's SHA-256, enough to tell pictures apart
_MOST_MM = 1e5  # no plate is a hundred metres long


def lay_bytes(plate: Plate) -> bytes:
    """Return the table of a plate's places, which `places_in` reads; its last column's name is our mark."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow([*COLUMNS, BLANK])
    for number, place in enumerate(plate.places, 1):
        x, y = from_zero(place, plate)
        source = plate.kind_of(place).source_sha256[:_HASH_DIGITS]
        table.writerow([number, place.kind, _short(x, 4), _short(y, 4), _short(place.turn_deg, 9), source, ""])
    return seal(text.getvalue().encode())


def _short(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def places_in(text: str, plate: Plate, *, name: str) -> list[Place]:
    """Return the places that a table says, for a plate whose kinds, bed and zero corner are known.

    Parameters
    ----------
    text
        CSV with a comma or a semicolon between cells; columns kind, x, y, and turn and source if it has them.
    plate
        Without places.
    name
        Of the table, for messages.

    Raises
    ------
    UsageError
        Naming the line: an unknown kind, no number, or a source that is not that of the kind.
    """
    lines = text.lstrip("\ufeff").splitlines()
    separator = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    rows = csv.DictReader(lines, delimiter=separator, restval="")
    columns = [one.strip().lower() for one in rows.fieldnames or ()]
    missing = [one for one in _NEEDED if one not in columns]
    if missing:
        raise UsageError(f"{name} has no column {' and no '.join(missing)}: its first line should say kind,x,y,turn.")
    rows.fieldnames = columns
    found = [_place(row, plate, f"{name}, line {rows.line_num}") for row in rows if any(_cells(row))]
    if not found:
        raise UsageError(f"{name} holds no place: after its first line each line says a kind, x, y and turn.")
    return found


def _cells(row: Mapping[str, object]) -> list[str]:
    return [cell.strip() for cell in row.values() if isinstance(cell, str) and cell.strip()]


def _place(row: Mapping[str, str], plate: Plate, where: str) -> Place:
    kind = _kind(row["kind"].strip(), plate.kinds, where)
    source = row.get("source", "").strip().lower()
    if source and not kind.source_sha256.startswith(source):
        raise UsageError(
            f"{where}: {kind.name} was laid there from another picture ({source[:12]}...), not from {kind.source_name} "
            f"({kind.source_sha256[:12]}...). Give the document it was laid with, or empty the column source."
        )
    x, y, turn = (_number(row.get(key, "") or ("0" if key == "turn" else ""), key, where) for key in ("x", "y", "turn"))
    at = inward((x, y), plate.zero, plate.bed_mm)
    return Place(kind.name, at[0], at[1], turn)


def _kind(name: str, kinds: Sequence[Kind], where: str) -> Kind:
    for kind in kinds:
        if kind.name == name:
            return kind
    there = ", ".join(kind.name for kind in kinds)
    raise UsageError(f"{where}: no document holds a kind {name or '(empty)'}. There are {there}.")


def _number(word: str, key: str, where: str) -> float:
    value = number_in(word)
    if value is None or not abs(value) < _MOST_MM:
        raise UsageError(f"{where}: {key} should be a number, it is {word.strip() or 'empty'}.")
    return value
