"""The notes a drawing carries, as plain lines of text."""

from __future__ import annotations

import math
import textwrap
import unicodedata
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from ..kinds import MM_PER_INCH
from ..records import Allowance, Item, Pocket, Result
from ..seal import __version__
from ..trust.table import budget_table
from ..trust.uncertainty import length_k2_mm
from .cautions import FORMER, GOVERNS, KNIFE, LASER, MILLING, OPEN_IN_INCHES, OPEN_IN_MM, PRINT_3D, UV_PRINT
from .regular_words import regular_lines, some_names

LISTED_ITEMS = 30
_WORTH_TELLING = 0.15  # of the stated figure: a part below that makes up 1 % of it
_WIDE = 1.85  # letters: an em of 1 / 0.729 capital heights over the 0.76 of others
_KEPT = 1024  # lines broken last: drawings and proof of a picture ask for the same ones
_ORIENTATION = "Imaged: the {face} face; drawn {how}. Zero: {where} of the items' box, x right, y up."


def plain(text: str) -> str:
    """Return `text` on one line, without control characters and without what UTF-8 cannot hold."""
    shown = text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)
    return " ".join(shown.split())


def title(result: Result) -> str:
    """Return the drawing's name."""
    return f"Outline of {plain(result.source_name)}"


def columns(text: str) -> float:
    """Return how wide a text is, in letters: those of East Asia take nearly two (Unicode Annex 11)."""
    if text.isascii():
        return float(len(text))
    return sum(_WIDE if unicodedata.east_asian_width(letter) in "WF" else 1.0 for letter in text)


def notes(
    result: Result, items: Sequence[Item], *, width: int, origin: str = "lower-left", in_inches: bool = False
) -> list[str]:
    """Return the notes of a drawing of `items`, wrapped to `width` characters.

    `origin` says where its zero lies (`look.ORIGINS`), `in_inches` what the file's unit is.
    """
    turned = any(item.rotation_deg for item in items)
    lines = [
        OPEN_IN_INCHES if in_inches else OPEN_IN_MM,
        _layers(items),
        f"Scale: {plain(result.scale.reference)}. Curves within {result.tolerance_mm:g} mm of the measured edge.",
        _ORIENTATION.format(
            face=result.imaged,
            how=("upright" if turned else "as seen in the picture") + _sides(result),
            where="centre" if origin == "centre" else f"{origin.replace('-', ' ')} corner",
        ),
    ]
    lines += [line for item in items[:LISTED_ITEMS] for line in _item(item, in_inches=in_inches)]
    if len(items) > LISTED_ITEMS:
        lines.append(f"... and {len(items) - LISTED_ITEMS} more items.")
    lines += [*_how_to_cut(items), *cautions(items)]
    pin = "PIN pins, " if any(item.pocket is not None and item.pocket.pins for item in items) else ""
    wall = "WALL (off) its wall, " if any(item.pocket is not None and item.pocket.wall for item in items) else ""
    lines.append(
        f"Written by digitize {__version__}. Layers: OUTLINE item, POCKET cut, {wall}{pin}PRINT artwork, CHECK, NOTE, "
        "TEXT."
    )
    return [part for line in lines for part in wrapped(line, width)]


def _sides(result: Result) -> str:
    """Which way round all is drawn, and for which side of the plate, where that is not as a matter of course."""
    if result.imaged == "print" and not result.mirrored:
        return ""
    up = "back" if result.mirrored != (result.imaged == "back") else "front"
    return f"{', left and right exchanged' if result.mirrored else ''}, for cutting with the plate's {up} up"


@lru_cache(maxsize=_KEPT)
def wrapped(line: str, width: int) -> tuple[str, ...]:
    """Break a line, by the room its letters take."""
    return tuple(textwrap.wrap(line, max(1, int(width * len(line) / columns(line)))))


def made_of(item: Item) -> str:
    """Return what an item's `outline ±` is put together from, in words: the parts that make it, as squares add."""
    parts = [(row.name, 2 * row.outline_mm) for row in budget_table(item).rows]
    told = [(name, part) for name, part in parts if part >= _WORTH_TELLING * item.uncertainty.profile_k2_mm]
    rest = math.hypot(*(part for _, part in parts[len(told) :]))
    words = [f"{name} {part:.3f}" for name, part in told] + ([f"all else {rest:.3f}"] if len(parts) > len(told) else [])
    return f"outline ±{item.uncertainty.profile_k2_mm:.3f} of {item.name} comes from {', '.join(words)} (squares add)"


def size(item: Item) -> str:
    """Return length x width by calipers (without them width x height of the box), and ± of the length, in words."""
    if item.calipers is None:
        return f"{box_size(item)} mm ±{length_k2_mm(item):.3f}"
    read = item.calipers
    return f"{read.length_mm:.2f} x {read.width_mm:.2f} mm ±{read.length_k2_mm:.3f}"


def box_size(item: Item) -> str:
    """Return width x height of the box around the item as it is laid."""
    return f"{item.width_mm:.2f} x {item.height_mm:.2f}"


def inch_size(item: Item) -> str:
    """Return the same two lengths as `size` in inches."""
    read = item.calipers
    sides = (item.width_mm, item.height_mm) if read is None else (read.length_mm, read.width_mm)
    return " x ".join(f"{side / MM_PER_INCH:.4f}" for side in sides)


def turned_words(item: Item) -> str:
    """Return how the item was set upright; nothing if it was not."""
    way = "clockwise" if item.rotation_deg < 0 else "counter-clockwise"
    return f"turned {abs(item.rotation_deg):.2f} degrees {way} from how it lay" if item.rotation_deg else ""


def chain(pocket: Pocket) -> str:
    """Return the way from the item to the path to cut, each link once, positive outward."""
    links = [link_words(link) for link in pocket.chain]
    return " > ".join(["item", *links, f"path {path_words(pocket)} (outward is +)"])


def cut_words(pocket: Pocket) -> str:
    """Return where the path runs, and why there: "Cut 0.11 mm outside the item: 0.20 room less half the 0.18 kerf"."""
    total = sum(link.offset_mm for link in pocket.chain)
    side = "outside the item" if total > 0 else "inside the item's edge"
    where = f"{abs(total):.2f} mm {side}" if abs(total) >= _ON_THE_EDGE_MM else "on the item's edge"
    parts = [_part_words(link, first=number == 0) for number, link in enumerate(_moving(pocket))]
    larger = [100 * (link.scale - 1) for link in pocket.chain if link.scale != 1.0]
    grown = "".join(f", then all of it {part:.2f} % larger" for part in larger)
    return f"Cut {where}{':' if parts else ''} {' '.join(parts)}".rstrip() + grown


def cut_lines(items: Sequence[Item], *, detailed: bool) -> list[str]:
    """Return where each item's path runs, alike ones once and by name; `detailed` the chain of allowances too."""
    names: dict[str, list[str]] = {}
    for item in items:
        if item.pocket is not None:
            words = cut_words(item.pocket) + (f" ({chain(item.pocket)})" if detailed else "")
            names.setdefault(words, []).append(plain(item.name))
    return [words if len(who) == len(items) else f"{some_names(who, 0)}: {words}" for words, who in names.items()]


_ON_THE_EDGE_MM = 0.005
_HALVED = ("kerf", "cutter")  # the path runs along the middle of what is taken away
_PARTS = {"clearance": "room", "draft": "for the draft", "lot": "for the lot"}


def _moving(pocket: Pocket) -> list[Allowance]:
    return [link for link in pocket.chain if link.offset_mm]


def _part_words(link: Allowance, *, first: bool) -> str:
    size = abs(link.offset_mm)
    words = f"half the {2 * size:.2f} {plain(link.name)}" if link.name in _HALVED else ""
    words = words or f"{size:.2f} {_PARTS.get(link.name, plain(link.name))}"
    sign = ("" if first else "and ") if link.offset_mm > 0 else "less "
    return sign + words


def link_words(link: Allowance) -> str:
    """Return one link of the chain in words."""
    return f"{plain(link.name)} " + (
        f"{link.offset_mm + 0.0:+.3f}" if link.scale == 1.0 else f"{100 * (link.scale - 1):+.3f} %"
    )


def path_words(pocket: Pocket) -> str:
    """Return what the whole chain comes to."""
    total, scale = sum(link.offset_mm for link in pocket.chain), math.prod(link.scale for link in pocket.chain)
    return f"{total:+.3f} mm" + ("" if scale == 1.0 else f", then all of it {100 * (scale - 1):+.3f} %")


def pocket_notes(items: Sequence[Item]) -> list[str]:
    """Return what is to be known before cutting the items' pockets, each sentence once, its items named if not all."""
    names: dict[str, list[str]] = {}
    pockets = [(item.name, item.pocket) for item in items if item.pocket is not None]
    for name, pocket in pockets:
        for note in pocket.notes:
            names.setdefault(note, []).append(plain(name))
    return [note if len(who) == len(pockets) else f"{_some(who)}: {note}" for note, who in names.items()]


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(names[:3])
    return shown if len(names) <= 3 else f"{shown} and {len(names) - 3} more"


def _how_to_cut(items: Sequence[Item]) -> list[str]:
    return [plain(note) for note in pocket_notes(items)][:LISTED_ITEMS]


def cautions(items: Sequence[Item], *, printed: bool = False) -> list[str]:
    """Return the cautions of the common machines, of those that a pocket is for, and of printing where there is any."""
    ways = {item.pocket.way for item in items if item.pocket is not None}
    extra = [words for way, words in (("former", FORMER), ("print3d", PRINT_3D)) if way in ways]
    printed = printed or any(item.print_area for item in items)
    return [LASER, KNIFE, MILLING, *extra, *([UV_PRINT] if printed else []), GOVERNS]


def print_words(offset_mm: float) -> str:
    """Return where the print area's edge lies."""
    if offset_mm > 0:
        return f"reaches {offset_mm:g} mm over the item's edge (bleed), also into its holes"
    return f"stays {-offset_mm:g} mm inside the item's edge and clear of its holes"


def _layers(items: Sequence[Item]) -> str:
    if any(item.pocket is not None for item in items):
        return "Cut the layer POCKET only; OUTLINE is the item itself."
    return "OUTLINE is the item itself: a pocket cut on it has no clearance and ignores the kerf."


def _item(item: Item, *, in_inches: bool) -> list[str]:
    by = "" if item.calipers is None else f" by calipers; box as laid {box_size(item)}"
    turned = turned_words(item)
    inches = f", {inch_size(item)} in" if in_inches else ""
    lines = [f"{plain(item.name)}: {size(item)} (k = 2){inches}{by}{turned and ', ' + turned}"]
    if item.pocket is not None:
        lines.append(f"{plain(item.name)}: {chain(item.pocket)}")
    if item.print_offset_mm is not None:
        lines.append(f"{plain(item.name)}: PRINT {print_words(item.print_offset_mm)}")
    lines += [f"{plain(item.name)}: {line}" for line in regular_lines(item)]
    if any(finding.code == "by-hand-item" for finding in item.findings):
        lines.append(f"{plain(item.name)} was left out at first, and taken for an item by hand.")
    if item.by_hand_mm:
        long = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in item.by_hand_mm)
        lines.append(f"{plain(item.name)}: {long:.1f} mm of the edge were set by hand.")
    return lines
