"""Templates: a plate and artwork read, every print area filled, and what is said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..document.plate import plate_bytes, read_plate
from ..errors import DocumentError, UsageError
from ..files import write_files
from ..plate.asked import TemplateAsked
from ..plate.check import checked
from ..plate.inserts import with_inserts
from ..plate.plate import Plate
from ..run_plate import files_of_template
from ..seal import mark_in
from ..write.artwork.art import Art
from ..write.artwork.read import read_art
from .plate import PlateFiles, bytes_of, caution_lines, read_or_refuse, said_findings
from .printer import KeptPrinter


@dataclass(frozen=True, slots=True)
class TemplateReport:
    """What came of a template."""

    lines: list[str]
    needs_person: bool


def make_template(
    document: Path,
    asked: TemplateAsked,
    files: PlateFiles,
    *,
    artwork: Sequence[str] = (),
    inserts: Sequence[str] = (),
    printer: KeptPrinter | None = None,
) -> TemplateReport:
    """Write a plate's template, with artwork in its print areas.

    Parameters
    ----------
    document
        The plate's document.
    asked, files
        How artwork is laid; where the files go. They are called as the plate is.
    artwork
        Files, each for all kinds, or for one: "tag-1=art.svg".
    inserts
        Documents of inserts for the windows of a base plate: each for all windows, or for one: "3=badges.json".
    printer
        Whose errors are to be undone.

    Raises
    ------
    DigitizeError
        Nothing is written then.
    """
    if asked.no_guides and not artwork:
        raise UsageError("--no-guides leaves the artwork alone, and there is none: say --artwork FILE.")
    plate = read_or_refuse(document, _read)
    mark = mark_in(plate_bytes(plate))
    if inserts:
        plate = _filled(plate, inserts)
    checked(plate)  # it may have been edited
    named, made = files_of_template(
        plate,
        mark,
        asked,
        _arts(artwork, plate),
        formats=files.formats,
        printer=None if printer is None else printer.printer,
    )
    written = write_files(files.folder, named, force=files.force)
    width, height = plate.bed_mm
    what = "the artwork as it is" if artwork else "the printer's correction" if printer else ""
    count = len(asked.numbers(len(plate.places)))
    lines = [
        f"{plate.name}: {count} of {len(plate.places)} print areas, the page {width:g} x {height:g} mm as the bed, "
        f"zero in the {plate.zero.replace('-', ' ')} corner",
        *([] if printer is None else [f"corrected for {printer.line()}"]),
        *said_findings(made.findings),
        *(f"not written: {kind}, which cannot hold {what}" for kind in made.left_out if what),
        *(f"wrote {path}" for path in written),
        *caution_lines(plate),
    ]
    return TemplateReport(lines, any(one.attention for one in made.findings))


def _read(path: Path) -> Plate:
    try:
        return read_plate(bytes_of(path))
    except DocumentError as error:
        raise DocumentError(f"{path}: {error}. Give the plate.json that digitize plate wrote.") from error


def _filled(base: Plate, words: Sequence[str]) -> Plate:
    """Return the bed with inserts in a base plate's windows."""
    windows = range(1, len(base.places) + 1)
    found: dict[int, Path] = {}
    for word in words:
        number, named, rest = word.partition("=")
        one = bool(named) and number.isdecimal()
        for window in [int(number)] if one else windows:
            if window in found and not one:
                raise UsageError(f"--insert {word}: window {window} already has {found[window]}. Say N=FILE for each.")
            found[window] = Path(rest if one else word)
    plates = {path: _read(path) for path in dict.fromkeys(found.values())}
    marks = {window: mark_in(plate_bytes(plates[path])) for window, path in found.items()}
    return with_inserts(base, {window: plates[path] for window, path in found.items()}, marks)


def _arts(words: Sequence[str], plate: Plate) -> dict[str, Art]:
    """Return the artwork of each kind."""
    names = [kind.name for kind in plate.kinds]
    found: dict[str, Art] = {}
    for word in words:
        kind, named, rest = word.partition("=")
        wanted, path = ([kind], Path(rest)) if named and kind in names else (names, Path(word))
        art = read_art(path.name, bytes_of(path))
        for name in wanted:
            if name in found:
                raise UsageError(
                    f"--artwork {word}: {name} already has {found[name].name}. Say KIND=FILE for each kind."
                )
            found[name] = art
    return found
