"""From kinds and what is asked to a plate with its pockets placed: rows, blocks side by side, or as a table says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import UsageError
from ..measure.rings import reading_order
from .asked import PlateAsked
from .nest import field_of, nested
from .plate import Kind, Place, Plate, inward
from .rows import Spot, Way, best, extent, filled, steps_of
from .shape import FINE, MIDDLING, ROUGH, Shape, shape_of, turned

_DIGITS = 4  # of a place in mm, as the document keeps it
_TURN_DIGITS = 9  # as the document keeps them
MOST = 10_000  # pockets on a plate


@dataclass(frozen=True, slots=True)
class Block:
    """How the pockets of one kind were laid."""

    kind: str
    count: int
    how: str  # in words
    straight: int | None  # how many straight rows would hold, where it was asked for as many as fit


def laid(
    kinds: Sequence[Kind], asked: PlateAsked, *, name: str, label: tuple[str, ...] = ()
) -> tuple[Plate, list[Block]]:
    """Return a plate with rows of pockets, kinds side by side from the zero corner, and how they were laid.

    Raises
    ------
    UsageError
        If two kinds have one name, or not even one pocket fits.
    """
    plate = empty(kinds, asked, name=name, label=label)
    width = plate.size_mm[0] - 2 * asked.margin_mm
    between = asked.gap_mm if asked.gap_mm is not None else asked.needed_web_mm
    share = (width - (len(kinds) - 1) * between) / len(kinds)
    places: list[Place] = []
    blocks = []
    begin = asked.margin_mm
    for kind in kinds:
        block, rows, shape = _rows_of(kind, asked, share, plate.size_mm[1] - 2 * asked.margin_mm)
        places += _from_zero(kind, rows, shape, plate, asked, begin)
        left, _, right, _ = extent(rows, shape)
        begin += right - left + between
        blocks.append(block)
    return placed(plate, places), blocks


def empty(kinds: Sequence[Kind], asked: PlateAsked, *, name: str, label: tuple[str, ...] = ()) -> Plate:
    """Return the plate without pockets; `UsageError` if two kinds have one name."""
    names = [kind.name for kind in kinds]
    twice = next((one for one in names if names.count(one) > 1), None)
    if twice is not None:
        raise UsageError(
            f"Two kinds are called {twice}: {_sources(kinds, twice)}. Choose among them with --item, or outline one of "
            "them again under another name."
        )
    return Plate(
        name,
        asked.bed(),
        asked.size(),
        asked.zero,
        asked.thickness_mm,
        asked.needed_web_mm,
        tuple(kinds),
        (),
        (),
        label,
        asked.cut_from,
        corner=asked.corner(),
        centres=asked.centres,
        leads=asked.leads,
    )


def _sources(kinds: Sequence[Kind], name: str) -> str:
    return " and ".join(f"one of {kind.source_name}" for kind in kinds if kind.name == name)


def placed(plate: Plate, places: Sequence[Place]) -> Plate:
    """Return the plate with these places, rounded as its document keeps them."""
    rounded = tuple(
        Place(
            one.kind,
            round(one.x_mm, _DIGITS) + 0.0,
            round(one.y_mm, _DIGITS) + 0.0,
            round((one.turn_deg + 180.0) % 360.0 - 180.0, _TURN_DIGITS) + 0.0,
        )
        for one in places
    )
    return replace(plate, places=rounded)


def _rows_of(kind: Kind, asked: PlateAsked, width: float, height: float) -> tuple[Block, list[list[Spot]], Shape]:
    """Return how the rows of one kind are laid, and its shape."""
    _check_count(kind, asked, width, height)
    as_box = asked.gap_mm is not None
    web = asked.needed_web_mm if asked.gap_mm is None else asked.gap_mm
    rough, middling, shape = (
        shape_of(kind, asked.turn_deg, web_mm=web, as_box=as_box, exact=exact) for exact in (ROUGH, MIDDLING, FINE)
    )
    if asked.as_many_as_fit:
        rows, how, straight = _most(rough, middling, shape, asked, (width, height), web)
    else:
        way, straight = Way(second_turned=asked.turn_every_second, shift=0.5 if asked.stagger else 0.0), None
        rows = filled(steps_of(shape, way), width, height, rows=asked.rows, columns=asked.columns)
        how = _in_rows(rows, way)
    if not rows:
        left, bottom, right, top = shape.bounds
        raise UsageError(
            f"Not one pocket of {kind.name} fits: it takes {right - left:.1f} x {top - bottom:.1f} mm, and within the "
            f"margin there are {max(width, 0):.1f} x {max(height, 0):.1f} mm. Say a smaller --margin, a larger plate."
        )
    return Block(kind.name, sum(map(len, rows)), how, straight), rows, shape


def _in_rows(rows: list[list[Spot]], way: Way) -> str:
    return f"in {len(rows)} rows, {way.words()}"


def _most(
    rough: Shape, middling: Shape, shape: Shape, asked: PlateAsked, size: tuple[float, float], web_mm: float
) -> tuple[list[list[Spot]], str, int]:
    """Return as many pockets as are found to fit, how they lie, and how many straight rows hold."""
    free = asked.turn_deg == 0.0 and not asked.as_laid
    way = best(rough, middling, *size, quarter_turns=free)
    straight, quarter, rows = (filled(steps_of(shape, one), *size) for one in (Way(), Way(turn_deg=90.0), way))
    laid = [_flat(one) for one in ([straight, rows, quarter] if free else [straight, rows])]
    field = field_of(shape, *size, quarter_turns=free)
    more = nested(field, shape, laid, web_mm=web_mm)
    count = len(laid[0])
    if more is None:
        return rows, _in_rows(rows, way), count
    return _read(more.spots, shape), more.how, count


def _flat(rows: list[list[Spot]]) -> list[Spot]:
    return [spot for row in rows for spot in row]


def _read(spots: Sequence[Spot], shape: Shape) -> list[list[Spot]]:
    """Return pockets that lie in no rows one by one, the last to be read first, as rows are from the lowest."""
    known = {turn: turned(shape, turn).bounds for turn in {spot[2] for spot in spots}}
    boxes = [tuple(np.add(known[turn], (x, y, x, y)).tolist()) for x, y, turn in spots]
    # read from the top, where y is largest
    order = reading_order([(left, -top, right, -bottom) for left, bottom, right, top in boxes])
    return [[spots[k]] for k in reversed(order)]


def _check_count(kind: Kind, asked: PlateAsked, width: float, height: float) -> None:
    """Refuse more pockets than a plate can hold in any sense, before they are laid."""
    item = kind.item
    rows, columns = asked.rows or max(height, 0) / item.height_mm, asked.columns or max(width, 0) / item.width_mm
    if rows * columns > MOST:
        raise UsageError(
            f"That would be some {rows * columns:.0f} pockets of {kind.name}; the most is {MOST}. Say fewer --rows or "
            "--columns, or a smaller --bed."
        )


def _from_zero(
    kind: Kind, rows: list[list[Spot]], shape: Shape, plate: Plate, asked: PlateAsked, begin: float
) -> list[Place]:
    """Return the places of rows whose box begins so far from the zero corner, numbered from the top row's left."""
    left, bottom, right, top = extent(rows, shape)
    low_x, low_y = plate.low_mm
    x = low_x + begin - left if plate.zero.endswith("left") else plate.bed_mm[0] - begin - right
    margin = asked.margin_mm
    y = low_y + margin - bottom if plate.zero.startswith("bottom") else plate.bed_mm[1] - margin - top
    return [Place(kind.name, x + at[0], y + at[1], asked.turn_deg + at[2]) for row in reversed(rows) for at in row]


def from_zero(place: Place, plate: Plate) -> tuple[float, float]:
    """Return how far a place lies from the zero corner, along the bed's width and height."""
    x, y = inward((place.x_mm, place.y_mm), plate.zero, plate.bed_mm)
    return round(x, _DIGITS) + 0.0, round(y, _DIGITS) + 0.0
