"""One plate, from outlines to its files: kinds chosen, pockets laid, checked, drawn; and its template."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from .document.plate import plate_bytes
from .errors import UsageError
from .files import safe_stem
from .kinds import number_in, refusal
from .plate.asked import PlateAsked, TemplateAsked
from .plate.lay import lay_bytes, places_in
from .plate.layout import Block, empty, laid, placed
from .plate.plate import Hole, Kind, Plate, inward
from .plate.printer import Printer
from .plate.shape import kind_of
from .records import Result
from .seal import mark_in
from .write.artwork.art import Art
from .write.plate.files import FORMATS, plate_files
from .write.plate.picture import plate_png
from .write.plate.template import Template, raised_files, template_files
from .write.solid.asked import Solid


@dataclass(frozen=True, slots=True)
class Called:
    """What a plate is called, and what else is to stand on it."""

    name: str = "plate"
    label: tuple[str, ...] = ()

    @property
    def stem(self) -> str:
        """What its files' names begin with."""
        return safe_stem(self.name)


@dataclass(frozen=True, slots=True)
class Table:
    """A table of places, and what it is called in messages."""

    text: str
    name: str


def kinds_of(results: Sequence[Result], only: Collection[str], *, upright: bool) -> list[Kind]:
    """Return the items of outline documents as kinds, `only` those of these names or numbers if there are any.

    Raises
    ------
    UsageError
        As `digitize.plate.shape.kind_of`.
    """
    return [
        kind_of(result, item, upright=upright)
        for result in results
        for number, item in enumerate(result.items, 1)
        if not only or item.name in only or str(number) in only
    ]


def lay(
    kinds: Sequence[Kind], asked: PlateAsked, called: Called, *, table: Table | None = None, holes: Sequence[str] = ()
) -> tuple[Plate, list[Block]]:
    """Return a plate with its pockets, in rows or as a table says, and its holes; and how rows were laid.

    Raises
    ------
    UsageError
        If it cannot be meant, or no pocket fits.
    """
    label = tuple(word for word in called.label if word.strip())
    if table is None:
        plate, blocks = laid(kinds, asked, name=called.name, label=label)
    else:
        asked.check_table()
        bare = empty(kinds, asked, name=called.name, label=label)
        plate, blocks = placed(bare, places_in(table.text, bare, name=table.name)), []
    return with_holes(plate, holes), blocks


def with_holes(plate: Plate, words: Sequence[str]) -> Plate:
    """Return a plate with holes, each in words: x and y from the zero corner and the diameter.

    Raises
    ------
    UsageError
        If such words are none.
    """
    return replace(plate, holes=tuple(_hole(word, plate) for word in words))


def _hole(word: str, plate: Plate) -> Hole:
    numbers = [number_in(part) for part in word.split(",")]
    if len(numbers) != 3 or any(one is None for one in numbers) or not 0 < (numbers[2] or 0) <= 1000:
        raise refusal(
            "--plate-hole", word, "expected x and y from the zero corner and the diameter in mm, such as 10,10,4.2"
        )
    x, y, diameter = (float(one or 0.0) for one in numbers)
    at = inward((x, y), plate.zero, plate.bed_mm)
    return Hole(round(at[0], 4) + 0.0, round(at[1], 4) + 0.0, diameter)


def files_of_plate(
    plate: Plate, *, formats: Collection[str] = FORMATS, solid: Solid | None = None, table: bool = True
) -> dict[str, bytes]:
    """Return every file of a plate by name: its document, its table of places unless left out, its drawings."""
    document = plate_bytes(plate)
    stem, mark = safe_stem(plate.name), mark_in(document)
    made = {f"{stem}.json": document}
    if table:
        made[f"{stem}.lay.csv"] = lay_bytes(plate)
    guides = template_files(plate, mark, only=range(1, len(plate.places) + 1), formats=formats).files
    drawings = plate_files(plate, mark, formats) | guides | {"png": plate_png(plate, mark)}
    if solid is not None:
        from .write.plate.solid import plate_solid_files

        drawings |= plate_solid_files(plate, solid)
    return made | {f"{stem}.{name}": data for name, data in drawings.items()}


def files_of_template(
    plate: Plate,
    mark: str,
    asked: TemplateAsked,
    arts: Mapping[str, Art],
    *,
    formats: Collection[str] = FORMATS,
    printer: Printer | None = None,
) -> tuple[dict[str, bytes], Template]:
    """Return every file of a plate's template by name, with artwork by kind; and what else came of it.

    Raises
    ------
    UsageError
        As `digitize.write.plate.template.template_files`; or there is no such pocket, or nothing to draw.
    """
    if asked.no_guides and not arts:
        raise UsageError("--no-guides leaves the artwork alone, and there is none: say --artwork FILE.")
    only = asked.numbers(len(plate.places))
    made = template_files(
        plate,
        mark,
        only=only,
        arts=arts,
        fit=asked.fit,
        guides=not asked.no_guides,
        formats=formats,
        printer=printer,
    )
    raised: dict[str, bytes] = {}
    if asked.raised_edge_mm is not None:
        raised = raised_files(plate, mark, only, asked.raised_edge_mm, asked.raised_gap_mm, formats)
    stem = safe_stem(plate.name)
    return {f"{stem}.{name}": data for name, data in (made.files | raised).items()}, made
