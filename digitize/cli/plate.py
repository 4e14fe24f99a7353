"""Plates: documents read, pockets laid, drawings written, and what is said of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from ..document.plate import plate_bytes, read_plate
from ..errors import DocumentError, UsageError
from ..files import safe_stem, unread, write_files
from ..kinds import number_in, refusal
from ..plate.asked import PlateAsked
from ..plate.check import checked
from ..plate.heights import height_words
from ..plate.inserts import insert_kind
from ..plate.layout import Block
from ..plate.plate import Kind, Plate
from ..records import Finding, Usual
from ..run_plate import Called, Table, files_of_plate, kinds_of
from ..run_plate import lay as laid
from ..seal import is_sealed
from ..words.say import step_of
from ..write.plate.files import FORMATS, grid_files
from ..write.plate.words import counted, items_of
from ..write.solid.asked import Solid
from ..write.words import cautions
from .check import read_outline

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class PlateFiles:
    """Where a plate goes, and what it is called."""

    folder: Path
    name: str = "plate"
    label: tuple[str, ...] = ()
    formats: tuple[str, ...] = FORMATS
    force: bool = False


@dataclass(frozen=True, slots=True)
class PlateReport:
    """What came of a plate."""

    lines: list[str]
    document: bytes
    needs_person: bool


def formats_of(word: str) -> tuple[str, ...]:
    """Return formats of drawings from words with commas between; `UsageError` if one is none."""
    asked = {part.strip().lower() for part in word.split(",") if part.strip()}
    if not asked or not asked <= set(FORMATS):
        raise UsageError(f"--format {word}: choose from {', '.join(FORMATS)}, with commas between.")
    return tuple(one for one in FORMATS if one in asked)


def make_grid(asked: PlateAsked, files: PlateFiles) -> list[str]:
    """Write the measurement grid; return the lines that tell of it."""
    made = grid_files(asked.bed(), asked.zero, files.formats)
    written = write_files(files.folder, made, force=files.force)
    return [
        *(f"wrote {path}" for path in written),
        "Print it on the bed at 100 %, measure 100 mm both ways: they must be 100.0.",
    ]


def make_plate(
    documents: Sequence[Path],
    asked: PlateAsked,
    files: PlateFiles,
    *,
    only: tuple[str, ...] = (),
    lay: Path | None = None,
    holes: Sequence[str] = (),
    thick: Sequence[str] = (),
    solid: Solid | None = None,
    usual: Usual | None = None,
) -> PlateReport:
    """Lay pockets on a plate and write its document, its table and its drawings.

    Raises
    ------
    DigitizeError
        Nothing is written then.
    """
    kinds = _windows(documents, asked) or _kinds(documents, only, upright=not asked.as_laid)
    if lay is not None:
        asked.check_table()
    table = None if lay is None else Table(_text(lay), lay.name)
    called = Called(files.name, files.label)
    plate, blocks = laid(kinds, asked, called, table=table, holes=holes)
    heights = asked.heights(_thick(thick, [kind.name for kind in kinds]))
    return finished(replace(plate, heights=heights, usual=usual), blocks, files, lay=lay, solid=solid)


def plate_again(document: Path, files: PlateFiles, *, solid: Solid | None = None) -> PlateReport:
    """Write a plate's files again from its document alone: the same bytes.

    Raises
    ------
    DigitizeError
        If the document was changed or another version would write it otherwise. Nothing is written then.
    """
    data = bytes_of(document)
    plate = read_or_refuse(document, lambda _: read_plate(data))
    if not is_sealed(data):
        raise DocumentError(
            f"--again {document}: the document was changed since digitize wrote it (its mark does not agree). Take the "
            "file as it was written, or make the plate anew by its table: --lay."
        )
    if plate_bytes(plate) != data:
        raise DocumentError(
            f"--again {document}: this version of digitize would write it otherwise. Use the version that its "
            "written_by names."
        )
    return finished(plate, [], replace(files, name=plate.name), lay=None, solid=solid)


def bytes_of(path: Path) -> bytes:
    """Return the bytes of a file that the command line names."""
    try:
        return path.read_bytes()
    except (OSError, ValueError) as error:  # a NUL in a path
        raise UsageError(f"{path}: {unread(error)}") from error


def finished(
    plate: Plate,
    blocks: Sequence[Block],
    files: PlateFiles,
    *,
    lay: Path | None = None,
    solid: Solid | None = None,
) -> PlateReport:
    """Check a plate, write its files and say what came of it."""
    findings = checked(plate)
    lies = (files.folder / f"{safe_stem(files.name)}.lay.csv").resolve()
    made = files_of_plate(plate, formats=files.formats, solid=solid, table=lay is None or lay.resolve() != lies)
    written = write_files(files.folder, made, force=files.force)
    lines = [*_said(plate, blocks), *said_findings(findings), *(f"wrote {path}" for path in written)]
    return PlateReport([*lines, *caution_lines(plate)], plate_bytes(plate), any(one.attention for one in findings))


def _windows(documents: Sequence[Path], asked: PlateAsked) -> list[Kind]:
    """Return the windows of a base plate, where one is asked for."""
    if asked.insert_mm is None:
        return []
    if documents:
        raise UsageError(
            "--insert makes a base plate with windows: leave documents out. Pockets go into the inserts, each a plate "
            f"with --plate {asked.insert_mm[0]:g}x{asked.insert_mm[1]:g}."
        )
    return [insert_kind(asked.insert_mm, room_mm=asked.insert_room_mm, kerf_mm=asked.insert_kerf_mm)]


def _kinds(documents: Sequence[Path], only: tuple[str, ...], *, upright: bool) -> list[Kind]:
    if not documents:
        raise UsageError("No document was given. Say what lies on the plate: digitize plate tag.json --bed 305x458.")
    found = kinds_of([read_or_refuse(path, read_outline) for path in documents], only, upright=upright)
    if not found:
        raise UsageError(f"No item is called {' or '.join(only)} in {', '.join(path.name for path in documents[:4])}.")
    return found


def read_or_refuse(path: Path, read: Callable[[Path], T]) -> T:
    """Return what is read of a file that the command line names; one of another kind cannot be meant."""
    try:
        return read(path)
    except DocumentError as error:
        raise UsageError(str(error)) from error


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise UsageError(f"--lay {path}: the table cannot be read: {reason}.") from error


def _thick(words: Sequence[str], names: Sequence[str]) -> dict[str, float]:
    """Return how thick the items of each kind are: "3.2" of all, "tag-1=3.2" of one, which comes first."""
    found: dict[str, float] = {}
    for word in words:
        kind, named, rest = word.rpartition("=")
        value = number_in(rest)
        if value is None or not 0 < value <= 200 or (named and kind not in names):
            there = f" There are {', '.join(names)}." if named and kind not in names else ""
            raise refusal(
                "--item-thickness", word, f"expected mm, or a kind and mm, such as {names[0]}=3.2.{there}".rstrip(".")
            )
        if kind in found:
            before = f"{found[kind]:g} mm was said before{f' of {kind}' if kind else ''}"
            raise UsageError(f"--item-thickness {word}: {before}. Say one of the two: the printer's head is set by it.")
        found[kind] = value
    if (of_all := found.pop("", None)) is not None:
        found = dict.fromkeys(names, of_all) | found
    missing = [name for name in names if name not in found]
    if found and missing:
        raise UsageError(f"--item-thickness: how thick is {missing[0]}? Say --item-thickness {missing[0]}=3.2 too.")
    return found


def _said(plate: Plate, blocks: Sequence[Block]) -> list[str]:
    lines = [
        f"{plate.name}: {counted(plate)} on a bed of {plate.bed_mm[0]:g} x {plate.bed_mm[1]:g} mm, zero in the "
        f"{plate.zero.replace('-', ' ')} corner"
    ]
    if plate.cut_from == "back":
        lines.append("  cut drawing seen from the plate's back, left and right exchanged; the others from the front")
    lines += [f"  {line}" for line in height_words(plate)]
    for block in blocks:
        more = ""
        if block.straight is not None:
            over = block.count - block.straight
            more = f": {over} more than straight rows hold" if over > 0 else ": no other way holds more"
        lines.append(f"  {block.kind}: {block.count} {block.how}{more}")
    return lines


def said_findings(findings: Sequence[Finding]) -> list[str]:
    """Return the lines that tell findings and what to do."""
    return [f"LOOK  {one.message} {step_of(one.code)}" for one in findings]


def caution_lines(plate: Plate) -> list[str]:
    """Return the lines that caution of cutting and of printing."""
    return ["Cautions:", *(f"  {words}" for words in cautions(items_of(plate), printed=True))]
