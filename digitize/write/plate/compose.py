"""The drawings of a plate, composed: what is cut, the draft sheet, the template's guides."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

import numpy as np

from ...errors import UsageError
from ...fitting.bulge import curve_area
from ...plate.centres import centre_of
from ...plate.corner import corner_path, edge_points
from ...plate.plate import Kind, Place, Plate, moved_by, placed_curve, placed_pocket
from ...records import Circle, Curve, Path, Pocket, frozen_array
from ...steady import product
from ..inside import roomiest
from ..paths import Box, Moved, Point
from ..sheet import ADVANCE, CLEAR_MM, TITLE_HEIGHT_MM, Line, Text, pocket_strokes
from ..words import columns, plain
from .exchange import EXCHANGED, exchanged_curves, exchanged_lines, exchanged_texts
from .frame import Drawing, Laid, bed_box, centred, cross, on_bed, signed, with_label, zero_mark
from .words import corner_words, cut_words, draft_words, heading, template_words

CENTRE_ARM_MM = 3.0


def cut_drawing(plate: Plate, mark: str) -> Drawing:
    """Return what is cut: holes, pockets (what lies inside another path before it), the plate's edge; and the items.

    Raises
    ------
    UsageError
        If the plate has holes or an edge to cut, and its kinds are cut by paths that compensate differently.
    """
    sweep = _sweep_mm(plate) if plate.holes or plate.is_cut_out else 0.0
    outlines = _outlines(plate)
    cuts: list[Laid] = [("POCKET", curve) for curve in _holes(plate, sweep)]
    pockets = [_pocket_at(plate, number) for number in range(len(plate.places))]
    strokes = [
        (layer, one)
        for pocket in pockets
        for layer, curves in pocket_strokes(pocket, joined=plate.leads == "joined")
        for one in curves
    ]
    edge: Laid = ("POCKET" if plate.is_cut_out else "NOTE", plate_edge(plate, sweep / 2))
    bed = bed_box(plate.bed_mm, plate.zero)
    lines, texts = zero_mark(bed, plate.zero)
    curves: list[Laid] = [*outlines, *cuts, *strokes, edge]
    texts, zero = [*texts, *_numbers(plate)], plate.zero
    if plate.cut_from == "back":
        curves, lines, texts = exchanged_curves(curves), exchanged_lines(lines), exchanged_texts(texts)
        zero = EXCHANGED[zero]
        bed = bed_box(plate.bed_mm, zero)
    words = cut_words(plate, mark, sweep_mm=sweep)
    return with_label(heading(plate, "Plate to cut"), curves, lines, texts, words, bed, zero)


def draft_drawing(plate: Plate, mark: str) -> Drawing:
    """Return the items' outlines only, to lay the items on."""
    curves: list[Laid] = [*_outlines(plate), ("NOTE", plate_edge(plate))]
    bed = bed_box(plate.bed_mm, plate.zero)
    lines, texts = zero_mark(bed, plate.zero)
    lines += _centre_marks(plate, range(len(plate.places)))
    texts = [*texts, *_numbers(plate)]
    return with_label(heading(plate, "Draft sheet"), curves, lines, texts, draft_words(plate, mark), bed, plate.zero)


def template_drawing(plate: Plate, mark: str, *, only: Collection[int], more: Sequence[str] = ()) -> Drawing:
    """Return the guides for artwork, the page exactly the bed; of the pockets whose numbers are in `only`."""
    chosen = [number for number in range(len(plate.places)) if number + 1 in only]
    curves: list[Laid] = [("PRINT", curve) for number in chosen for curve in print_area_at(plate, number)]
    bed = bed_box(plate.bed_mm, plate.zero)
    lines, texts = zero_mark(bed, plate.zero)
    lines += _centre_marks(plate, chosen)
    curves.append(("NOTE", plate_edge(plate)))
    texts = [*texts, *_numbers(plate, chosen)]
    return on_bed(heading(plate, "Template"), curves, lines, texts, template_words(plate, mark, more), bed)


def corner_drawing(plate: Plate, mark: str) -> Drawing:
    """Return the corner piece to cut, as it lies on the bed: the plate touches it along both axes."""
    assert plate.corner is not None
    sweep = _sweep_mm(plate)
    flat = corner_path(plate.corner, sweep)
    curves: list[Laid] = [("POCKET", signed(flat, plate.signs)), ("NOTE", plate_edge(plate))]
    out = plate.corner.wide_mm + sweep
    sides = bed_box(plate.bed_mm, plate.zero)
    bed = Box(*(_grown(sides.left, -out), _grown(sides.bottom, -out), _grown(sides.right, out), _grown(sides.top, out)))
    lines, texts = zero_mark(bed_box(plate.bed_mm, plate.zero), plate.zero)
    words = corner_words(plate, mark)
    return with_label(heading(plate, "Corner piece"), curves, lines, texts, words, bed, plate.zero)


def _grown(side: float, by: float) -> float:
    """Return a side of the bed, moved out where it is one of zero's."""
    return side + by if side == 0.0 else side


def plate_edge(plate: Plate, grown_mm: float = 0.0) -> Path:
    """Return the plate's edge in the drawings' frame, with the key's notch if it has one."""
    points = np.array(edge_points(plate.corner, plate.size_mm, grown_mm))
    return signed(Path(frozen_array(points, columns=2), frozen_array([0.0] * len(points))), plate.signs)


def _centre_marks(plate: Plate, chosen: Iterable[int]) -> list[Line]:
    """Return a cross on the middle of each item that is asked for."""
    if plate.centres is None:
        return []
    known: dict[tuple[str, float], Point] = {}
    found: list[Line] = []
    for number in chosen:
        place, zero = plate.places[number], plate.zero_mm
        key = (place.kind, place.turn_deg)
        if key not in known:
            known[key] = centre_of(plate.kind_of(place), place.turn_deg, plate.centres)
        found += cross((place.x_mm - zero[0] + known[key][0], place.y_mm - zero[1] + known[key][1]), CENTRE_ARM_MM)
    return found


def print_area_at(plate: Plate, number: int) -> list[Curve]:
    """Return where artwork goes at a place (counted from 0): the item's print area, or its outline if it has none."""
    item, moved = plate.kind_of(plate.places[number]).item, _moved(plate, number)
    return [placed_curve(curve, moved) for curve in (item.print_area or (*item.hole_paths, item.path))]


def _moved(plate: Plate, number: int) -> Moved:
    """Return what brings an item's frame to the drawings' frame."""
    place = plate.places[number]
    matrix, shift = moved_by(plate.kind_of(place), place)
    return matrix, shift - plate.zero_mm


def _outlines(plate: Plate) -> list[Laid]:
    found: list[Laid] = []
    for number, place in enumerate(plate.places):
        item, moved = plate.kind_of(place).item, _moved(plate, number)
        found += [("OUTLINE", placed_curve(curve, moved)) for curve in (*item.hole_paths, item.path)]
    return found


def _pocket_at(plate: Plate, number: int) -> Pocket:
    """Return a pocket on the drawing, what lies inside another path before it."""
    pocket = plate.kind_of(plate.places[number]).item.pocket
    assert pocket is not None
    inner_first = sorted(pocket.curves, key=lambda curve: abs(curve_area(curve)))
    return placed_pocket(replace(pocket, curves=tuple(inner_first)), _moved(plate, number))


def _holes(plate: Plate, sweep_mm: float) -> list[Circle]:
    zero = plate.zero_mm
    narrow = [hole for hole in plate.holes if hole.diameter_mm <= sweep_mm]
    if narrow:
        raise UsageError(
            f"A hole of {narrow[0].diameter_mm:g} mm cannot be cut by what takes away {sweep_mm:g} mm. Drill it, "
            "or say a larger one."
        )
    return [
        Circle((hole.x_mm - zero[0], hole.y_mm - zero[1]), (hole.diameter_mm - sweep_mm) / 2) for hole in plate.holes
    ]


def _sweep_mm(plate: Plate) -> float:
    """Return the width that beam or cutter take away, the same for all kinds."""
    pockets = [kind.item.pocket for kind in plate.kinds]
    widths = {max(pocket.kerf_mm, pocket.cutter_mm) for pocket in pockets if pocket is not None}
    if len(widths) > 1:
        found = " and ".join(f"{width:g}" for width in sorted(widths))
        raise UsageError(
            f"The kinds were made for different cuts ({found} mm wide), so holes and edge cannot be right for both. "
            "Outline them again with the same --kerf or --cutter."
        )
    return widths.pop()


def _numbers(plate: Plate, chosen: Sequence[int] | None = None) -> list[Text]:
    """Return number and name on each item, clear of its edge and holes, or the number alone where room is short."""
    most = len(str(len(plate.places)))
    spots: dict[tuple[str, float], tuple[Point, bool, Point]] = {}
    found: list[Text] = []
    for number in range(len(plate.places)) if chosen is None else chosen:
        place, (zero_x, zero_y) = plate.places[number], plate.zero_mm
        key = (place.kind, place.turn_deg)
        if key not in spots:
            at, fits = roomy_place(plate.kind_of(place), place.turn_deg, most + 1 + columns(plain(place.kind)))
            spots[key] = (at, fits, roomy_place(plate.kind_of(place), place.turn_deg, most)[0])
        named, fits, alone = spots[key]
        x, y = named if fits else alone
        words = f"{number + 1} {plain(place.kind)}" if fits else str(number + 1)
        found.append(centred(words, (place.x_mm - zero_x + x, place.y_mm - zero_y + y)))
    return found


def roomy_place(kind: Kind, turn_deg: float, letters: float) -> tuple[Point, bool]:
    """Return where so many letters have most room on an item, from the middle of its box, and whether it is enough."""
    matrix, shift = moved_by(kind, Place(kind.name, 0.0, 0.0, turn_deg))
    exterior, *holes = (product(ring, matrix) + shift for ring in (kind.item.exterior_mm, *kind.item.holes_mm))
    size = (ADVANCE * TITLE_HEIGHT_MM * letters + 2 * CLEAR_MM, TITLE_HEIGHT_MM + 2 * CLEAR_MM)
    return roomiest(exterior, holes, size)
