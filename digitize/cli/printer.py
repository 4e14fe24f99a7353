"""What crosses show of a printer, kept by name for templates."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..errors import UsageError
from ..files import read_toml, values_of, write_files
from ..kept import all_kept, checked_name, keep, path_of
from ..kinds import number_in, refusal
from ..plate.asked import PlateAsked
from ..plate.plate import ZEROS
from ..plate.printer import Printer, fitted
from ..seal import BLANK, seal
from ..write.plate.files import cross_files
from .plate import said_findings

FORM, _ROOM = "digitize-printer", "printers"


@dataclass(frozen=True, slots=True)
class KeptPrinter:
    """A printer, and when its crosses were measured."""

    printer: Printer
    on: datetime.date

    def line(self) -> str:
        """Return the line that tells of it."""
        one = self.printer
        return (
            f"printer {one.name}: bed {one.bed_mm[0]:g} x {one.bed_mm[1]:g} mm, zero {one.zero.replace('-', ' ')}, "
            f"measured on {self.on.isoformat()}: {one.words()}"
        )


def write_crosses(name: str, asked: PlateAsked, to: Path, formats: Sequence[str], *, force: bool) -> list[str]:
    """Write a printer's test sheet; return the lines that say how to go on."""
    made = cross_files(asked.bed(), asked.zero, formats)
    written = write_files(
        to, {f"{checked_name(name, 'printer')}.{key}": data for key, data in made.items()}, force=force
    )
    width, height = asked.bed()
    return [
        *(f"wrote {path}" for path in written),
        "Print it on the bed at 100 %, measure how far each cross lies from its place (right and up are +), then say:",
        f"  digitize profile printer {name} --bed {width:g}x{height:g} --zero {asked.zero} --shift 1=0.12,-0.05 "
        "--shift 2=... up to 5",
    ]


def keep_printer(name: str, asked: PlateAsked, words: Sequence[str], *, today: datetime.date) -> tuple[list[str], bool]:
    """Remember a printer by the shifts of its crosses; return what is said of it, and whether it needs a person.

    Raises
    ------
    UsageError, WriteError
        If the name or the shifts cannot be meant, or it cannot be written.
    """
    printer, findings = fitted(checked_name(name, "printer"), asked.bed(), asked.zero, _shifts(words))
    made = KeptPrinter(printer, today)
    written = keep(_ROOM, name, _bytes(made))
    each = ", ".join(f"{number}: {mm:.2f}" for number, mm in printer.left_over_mm.items())
    return [
        made.line(),
        f"  left over by cross, mm: {each}",
        *said_findings(findings),
        f"wrote {written}",
        f"From now on: digitize template plate.json --printer {name}",
    ], bool(findings)


def _shifts(words: Sequence[str]) -> dict[int, tuple[float, float]]:
    found: dict[int, tuple[float, float]] = {}
    for word in words:
        number, _, rest = word.partition("=")
        values = [number_in(part) for part in rest.split(",")]
        if not number.strip().isdecimal() or len(values) != 2 or None in values:
            raise refusal("--shift", word, "expected a cross and how far it lies right and up, such as 1=0.12,-0.05")
        if int(number) in found:
            raise UsageError(f"--shift {word}: cross {int(number)} is there twice.")
        found[int(number)] = (float(values[0] or 0.0), float(values[1] or 0.0))
    return found


def read_printer(name: str) -> KeptPrinter:
    """Return a printer by its name, or of the file of that name.

    Raises
    ------
    UsageError
        If there is none, or it cannot be meant.
    """
    how = f"Print its test sheet: digitize profile printer {name} --bed 305x458."
    return _read(path_of(_ROOM, name, what="printer", how=how))


def _read(path: Path) -> KeptPrinter:
    expected = f"expected a printer (format {FORM}, version 1). Make one: digitize profile printer."
    data = read_toml(path, option="--printer", form=FORM, expected=expected)
    with values_of(f"--printer {path}"):
        bed, shift, scale = (_two(data[key]) for key in ("bed_mm", "shift_mm", "scale"))
        left = {number: float(mm) for number, mm in enumerate(data["left_over_mm"], 1)}
        zero, on = data["zero"], data["on"]
        if zero not in ZEROS or not isinstance(on, datetime.date) or not left or min(*bed, *scale) <= 0:
            raise ValueError("zero is no corner, on no date, or bed or scale not above 0")
        printer = Printer(str(data["name"]), bed, zero, shift, float(data["turn_deg"]), scale, left)
    return KeptPrinter(printer, datetime.date(on.year, on.month, on.day))


def _two(values: object) -> tuple[float, float]:
    if not isinstance(values, list) or len(values) != 2 or not all(abs(float(one)) < 1e5 for one in values):
        raise ValueError("two numbers are expected")
    return float(values[0]), float(values[1])


def kept_printers() -> list[KeptPrinter]:
    """Return all printers that are kept, by name; damaged ones are passed over."""
    return all_kept(_ROOM, _read)


def _bytes(made: KeptPrinter) -> bytes:
    one = made.printer
    lines = [
        "# How a printer lays ink on its bed, for digitize template --printer: what is drawn at p is printed at",
        "# R(turn_deg) (scale * p) + shift_mm, from the zero corner, x right, y up.",
        f"# {BLANK}",
        f'format = "{FORM}"',
        "version = 1",
        f'name = "{one.name}"',
        f"bed_mm = [{one.bed_mm[0]!r}, {one.bed_mm[1]!r}]",
        f'zero = "{one.zero}"',
        f"shift_mm = [{one.shift_mm[0]!r}, {one.shift_mm[1]!r}]",
        f"turn_deg = {one.turn_deg!r}",
        f"scale = [{one.scale[0]!r}, {one.scale[1]!r}]",
        f"left_over_mm = [{', '.join(map(repr, one.left_over_mm.values()))}]",
        f"on = {made.on.isoformat()}",
        "",
    ]
    return seal("\n".join(lines).encode())
