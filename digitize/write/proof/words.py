"""What a proof says, section by section: readings to write down, sides, allowances, scale, budget, cautions."""

from __future__ import annotations

from collections.abc import Sequence

from ...records import Item, Result
from ...trust.readings import sizes_of
from ...trust.table import budget_table
from ...usual import usual_words
from ...words.gather import said_of
from ...words.say import MESSAGES, finding_of
from ..cautions import OPEN_IN_MM
from ..paths import Point
from ..sheet import LAYERS, MARK_LEGS_MM, NOTE_HEIGHT_MM, Line, Text, mark
from ..words import LISTED_ITEMS, cautions, cut_lines, plain, pocket_notes, print_words, turned_words
from .blocks import ROW_MM, Block, cells, paragraph, section, together, width_of, writing_line

_MOST_HOLES = 12  # of one item
_MOST_LOOKS = 8
_BETWEEN_MM = 8.0  # between two columns
_NAME_MM, _TOOL_MM = 17.0, 24.0  # columns of the readings
_BUDGET_MM = (0.0, 42.0, 58.0, 74.0, 92.0, 102.0)  # columns of the budget
_GAP = Block(1.5)
FOR_PAPER = (
    "A proof for paper: lay the blank on it, measure, sign. It is no file for a machine; those are the DXF, the SVG "
    "and the PDF of the same name."
)


def sections(result: Result, items: Sequence[Item], name: str, width_mm: float) -> list[Block]:
    """Return all that a proof says, for a column of that width; `name` is that of the files."""
    return [
        *section("What calipers say", _readings(items, name, width_mm)),
        *section("Which side", _sides(result, items, width_mm)),
        *section("From the item to the path", _lines([*_allowances(items), *_usual(result)], width_mm)),
        *section("Where the scale comes from", _lines(_scale(result), width_mm)),
        *section("How sure it is", _budget(items, width_mm)),
        *section("Look at", _lines(_looks(result), width_mm)),
        *section("Cautions", _lines([FOR_PAPER, OPEN_IN_MM, *cautions(items)], width_mm)),
    ]


def _lines(sentences: Sequence[str], width_mm: float) -> list[Block]:
    return [block for words in sentences for block in paragraph(words, width_mm)]


# --- readings --------------------------------------------------------------------------------------------------


def _readings(items: Sequence[Item], name: str, width_mm: float) -> list[Block]:
    """What the tool says and a line for what calipers say, two columns; then the command that compares them."""
    found: list[Block] = []
    for item in items[:LISTED_ITEMS]:
        rows = _rows(item, (width_mm - _BETWEEN_MM) / 2, width_mm)
        found += [together([_GAP, cells([(0.0, plain(item.name))]), rows[0]]), *rows[1:]]
    words = f"Then: digitize check {name}.json --item {plain(items[0].name)} --length ... --width ... --hole 1=..."
    more = len(items) - LISTED_ITEMS
    found.append(_signed(width_mm))
    return [*found, *_lines([*([f"and {more} more items"] if more > 0 else []), words], width_mm)]


def _signed(width_mm: float) -> Block:
    """Lines for the day, the calipers and the name."""
    texts, lines, y = list[Text](), list[Line](), 1.5 - ROW_MM
    for number, label in enumerate(("Date", "Calipers", "Name")):
        x = number * width_mm / 3
        texts.append(Text("TEXT", label, (x, y), NOTE_HEIGHT_MM))
        lines.append(("TEXT", (x + width_of(label) + 1.5, y - 0.6), (x + width_mm / 3 - 3.0, y - 0.6)))
    return Block(ROW_MM, tuple(texts), tuple(lines))


def _rows(item: Item, column_mm: float, width_mm: float) -> list[Block]:
    sizes = list(sizes_of(item).items())
    holes = [pair for pair in sizes if pair[0].startswith("hole ")]
    shown = [pair for pair in sizes if pair not in holes] + holes[:_MOST_HOLES]
    rows = [shown[at : at + 2] for at in range(0, len(shown), 2)]
    found = []
    for row in rows:
        texts, lines = list[Text](), list[Line]()
        for (label, size), x in zip(row, (0.0, column_mm + _BETWEEN_MM), strict=False):
            words, rule = writing_line("", x + _NAME_MM + _TOOL_MM, x + column_mm, 1.5 - ROW_MM)
            said = f"{size.mm:.3f} ±{size.k2_mm:.3f}"
            beside = [(x, label), (x + _NAME_MM, said)]
            texts += [Text("TEXT", one, (at, 1.5 - ROW_MM), NOTE_HEIGHT_MM) for at, one in beside] + words[1:]
            lines += rule
        found.append(Block(ROW_MM, tuple(texts), tuple(lines)))
    left = len(holes) - _MOST_HOLES
    return [*found, *(_lines([f"and {left} more round holes"], width_mm) if left > 0 else [])]


# --- sides -----------------------------------------------------------------------------------------------------


def side_words(result: Result) -> str:
    """Return which face was imaged, from where it is cut, and whether left and right are exchanged, in words."""
    up = "back" if result.mirrored != (result.imaged == "back") else "front"
    case = f"{result.imaged} {up}"
    if case not in MESSAGES["face-and-cut"].cases:
        return "The picture shows the face to be printed, the plate is cut with its front up: nothing is exchanged."
    return finding_of("face-and-cut", case=case).message


def _sides(result: Result, items: Sequence[Item], width_mm: float) -> list[Block]:
    turned = [f"{plain(item.name)}: {turned_words(item)}." for item in items[:LISTED_ITEMS] if item.rotation_deg]
    return [*_lines([side_words(result)], width_mm), _arrows(result.mirrored), *_lines(turned, width_mm)]


def _arrows(mirrored: bool) -> Block:
    """The drawing's X and Y, and beside them the picture's right and up as they lie in it."""
    tall, base = MARK_LEGS_MM[1] + 3.0, -MARK_LEGS_MM[1] - 1.5
    found, texts = list[Line](), list[Text]()
    exchanged = " (left and right exchanged)" if mirrored else ""
    for x, side, words in (
        (8.0, 1.0, ("X", "Y", "of this drawing and of the files")),
        (90.0, -1.0 if mirrored else 1.0, ("right", "up", f"of the picture{exchanged}")),
    ):
        found += [(layer, _turned(a, side, x, base), _turned(b, side, x, base)) for layer, a, b in mark(0.0, 0.0)]
        beyond = MARK_LEGS_MM[0] + 1.0
        across = x + beyond if side > 0 else x - beyond - width_of(words[0])
        places = ((across, base - 0.9), (x + 1.5, base + MARK_LEGS_MM[1] - NOTE_HEIGHT_MM), (x + 11.0, base + 3.0))
        texts += [Text("TEXT", one, at, NOTE_HEIGHT_MM) for one, at in zip(words, places, strict=True)]
    return Block(tall, tuple(texts), tuple(found))


def _turned(point: Point, side: float, x: float, y: float) -> Point:
    return x + side * point[0], y + point[1]


# --- allowances, scale, budget ---------------------------------------------------------------------------------


def _allowances(items: Sequence[Item]) -> list[str]:
    lines = [f"{line}." for line in cut_lines(items, detailed=True)] or [
        "No pocket was asked for: OUTLINE is the item itself, with no clearance and no kerf."
    ]
    printed = dict.fromkeys(print_words(item.print_offset_mm) for item in items if item.print_offset_mm is not None)
    return [*lines, *(f"The print area {words}." for words in printed), *pocket_notes(items)]


def _usual(result: Result) -> list[str]:
    """Which options nobody said, but a workshop's file."""
    return [] if result.usual is None else [f"Set by {plain(result.usual.file)}: {plain(usual_words(result.usual))}."]


def _scale(result: Result) -> list[str]:
    facts = result.scale
    sure = "" if facts.measured else " Its size was not measured: it is taken at its word."
    (x, y), um = facts.mm_per_px, 1000 * facts.residual_mm
    fits = f"; the reference fits within {um:.1f} um" if facts.corners_px is not None else ""
    return [
        f"{plain(facts.reference)}.{sure} A pixel is {x:.6f} x {y:.6f} mm{fits}.",
        f"Picture: {plain(result.source_name)}, {result.width_px} x {result.height_px} px, SHA-256 "
        f"{result.source_sha256}.",
        f"Lines and arcs lie within {result.tolerance_mm:g} mm of the measured edge.",
    ]


def _budget(items: Sequence[Item], width_mm: float) -> list[Block]:
    """The parts of the least sure item's figures as standard uncertainties, and what they come to."""
    table = budget_table(max(items, key=lambda one: one.uncertainty.profile_k2_mm))
    head = ("standard uncertainty, mm", "edge point", "length: a", "b per metre", "share", "of which kind")
    rows = [
        (
            one.name,
            f"{one.outline_mm:.4f}",
            f"{one.offset_mm:.4f}",
            f"{one.per_metre_mm:.3f}",
            f"{100 * one.share:.0f} %",
            "; ".join(part for part in (one.acts or "", one.note) if part),
        )
        for one in table.rows
    ]
    a, b = table.offset_k2_mm, table.per_metre_k2_mm
    rows.append(("together, k = 2", f"{table.outline_k2_mm:.4f}", f"{a:.4f}", f"{b:.3f}", "", "squares add"))
    more = "" if len(items) == 1 else ", the least sure item"
    told = (
        f"{plain(table.item)}{more}: an edge point is known to ±{table.outline_k2_mm:.3f} mm, a length as long as it "
        f"({table.extent_mm:.2f} mm) to ±{table.length_k2_mm:.3f} mm; k = 2, about 95 of 100 lie within (JCGM 100). "
        "Lengths: a and b times the length, squares added."
    )
    lines = [cells(zip(_BUDGET_MM, map(plain, row), strict=True)) for row in (head, *rows)]
    return [*_lines([told], width_mm), together(lines[:2]), *lines[2:]]


def _looks(result: Result) -> list[str]:
    told = [said.sentence for said in said_of(result) if said.attention]
    rest = len(told) - _MOST_LOOKS
    return told[:_MOST_LOOKS] + ([f"and {rest} more in the JSON"] if rest > 0 else [])


def legend(layers: Sequence[str]) -> str:
    """Return what the lines of a proof mean."""
    how = {"OUTLINE": "blue", "POCKET": "rust, dashed", "PIN": "amber", "PRINT": "purple, dashed", "NOTE": "grey"}
    return "; ".join(f"{how[name]}: {layer.says}" for name, layer in LAYERS.items() if name in layers and name in how)
