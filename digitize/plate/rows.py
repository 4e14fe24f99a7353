"""Pockets in rows: how near rows and their neighbours can be, and how many of them a field holds."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .shape import Shape, turned
from .slide import slide, turned_over_diagonal

_SLACK_MM = 1e-6  # of rounding, where a pocket just fits
_SHIFTS = 8  # parts of a step by which every second row is tried shifted
_LAID = 12  # ways that are laid in truth, at most
_FARTHEST = 4  # neighbours looked at on either side in the row beside

Spot = tuple[float, float, float]  # x, y, turn in degrees


@dataclass(frozen=True, slots=True)
class Way:
    """A way of laying rows."""

    turn_deg: float = 0.0  # of the first pocket
    second_turned: bool = False  # every second pocket of a row, by 180 degrees
    row_turned: bool = False  # every second row, by 180 degrees
    shift: float = 0.0  # of every second row, in parts of a step

    def words(self) -> str:
        """Return what it is called."""
        named = [
            "every second pocket turned by 180 degrees" if self.second_turned else "",
            "every second row turned by 180 degrees" if self.row_turned else "",
            f"every second row shifted by {self.shift:.2f} of a step" if self.shift else "",
            f"all turned by {self.turn_deg:g} degrees" if self.turn_deg else "",
        ]
        return ", ".join(part for part in named if part) or "straight rows"


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps from pocket to pocket and from row to row, mm."""

    unit: tuple[tuple[float, Shape, float], ...]  # x, shape and turn of each pocket of a step
    other: tuple[tuple[float, Shape, float], ...]  # the same of every second row, not yet shifted
    along: float
    up: float  # from a row to the one above it
    up_again: float  # from that one to the next
    shift: float


def steps_of(shape: Shape, way: Way) -> Steps:
    """Return the least steps of rows laid in a way; shapes are already grown by half the web."""
    first = turned(shape, way.turn_deg) if way.turn_deg else shape
    back = turned(first, 180.0)
    turns = (way.turn_deg, (way.turn_deg + 180.0) % 360.0)
    pair = [(first, turns[0]), (back, turns[1])]
    unit, along = _row(pair if way.second_turned else pair[:1])
    other, along_other = _row(pair[::-1] if way.second_turned else pair[1:]) if way.row_turned else (unit, along)
    along = max(along, along_other)
    shift = way.shift * along
    up, again = _up(unit, other, along, shift), _up(other, unit, along, -shift)
    over = max(_up(unit, unit, along, 0.0), _up(other, other, along, 0.0))
    return Steps(unit, other, along, up, max(again, over - up), shift)


def _row(pockets: list[tuple[Shape, float]]) -> tuple[tuple[tuple[float, Shape, float], ...], float]:
    """Return the pockets of one step with their x, and the step."""
    xs = [0.0]
    for (one, _), (following, _) in itertools.pairwise(pockets):
        xs.append(xs[-1] + slide(one.keep_out, following.keep_out))
    step = xs[-1] + slide(pockets[-1][0].keep_out, pockets[0][0].keep_out)
    step = max([step, *(slide(one.keep_out, one.keep_out) for one, _ in pockets)])
    return tuple((x, one, turn) for x, (one, turn) in zip(xs, pockets, strict=True)), step


def _up(
    lower: tuple[tuple[float, Shape, float], ...],
    upper: tuple[tuple[float, Shape, float], ...],
    along: float,
    shift: float,
) -> float:
    """Return the least step up between two rows."""
    found = 0.0
    for (x0, below, _), (x1, above, _) in itertools.product(lower, upper):
        flat_below, flat_above = turned_over_diagonal(below.keep_out), turned_over_diagonal(above.keep_out)
        offset = (x1 - x0 + shift) % along
        offsets = offset + along * np.arange(-_FARTHEST, _FARTHEST + 1)
        found = max([found, *(slide(flat_below, flat_above, float(one)) for one in offsets)])
    return found


def filled(
    steps: Steps, width_mm: float, height_mm: float, *, rows: int | None = None, columns: int | None = None
) -> list[list[Spot]]:
    """Return the pockets of a field by rows, from the lowest, each from the left; the field's corner is the origin.

    With `rows` and `columns` exactly so many, fitting or not; else as many as the field holds.
    """
    found: list[list[Spot]] = []
    y = -min(shape.bounds[1] for _, shape, _ in steps.unit)
    left = min(shape.bounds[0] for _, shape, _ in (*steps.unit, *steps.other))
    while rows is None or len(found) < rows:
        odd = len(found) % 2 == 1
        unit = steps.other if odd else steps.unit
        if rows is None and y + max(shape.bounds[3] for _, shape, _ in unit) > height_mm + _SLACK_MM:
            break
        row = list(itertools.islice(_along(steps, unit, odd, left, width_mm if columns is None else None), columns))
        if not row:
            break
        found.append([(x, y, turn) for x, turn in row])
        y += steps.up_again if odd else steps.up
    return found


def _along(
    steps: Steps, unit: tuple[tuple[float, Shape, float], ...], odd: bool, left: float, width_mm: float | None
) -> Iterator[tuple[float, float]]:
    """Yield x and turn of the pockets of a row that lie beyond the left edge, until the right one."""
    begin = (steps.shift if odd else 0.0) - left
    for number in itertools.count(-1):
        for x, shape, turn in unit:
            at = begin + number * steps.along + x
            if at + shape.bounds[0] < -_SLACK_MM:
                continue
            if width_mm is not None and at + shape.bounds[2] > width_mm + _SLACK_MM:
                return
            yield at, turn


def best(rough: Shape, fine: Shape, width_mm: float, height_mm: float, *, quarter_turns: bool) -> Way:
    """Return the way of laying rows by which a field holds most; of equals the straightest.

    All ways are first counted by the rough shape, which needs no more room than the fine one, so that none of them
    holds more in truth. Then those that promise most are laid by the fine one until none that is left promises more.
    """
    ways = [
        Way(turn, second, row, number / _SHIFTS)
        for turn in ((0.0, 90.0) if quarter_turns else (0.0,))
        for second, row in itertools.product((False, True), repeat=2)
        for number in range(_SHIFTS)
    ]
    promised = [_count(filled(steps_of(rough, way), width_mm, height_mm)) for way in ways]
    order = sorted(range(len(ways)), key=lambda k: (-promised[k], *_oddness(ways[k])))
    held = {0: _count(filled(steps_of(fine, ways[0]), width_mm, height_mm))}
    for number in order[:_LAID]:
        if promised[number] <= max(held.values()):
            break
        held[number] = _count(filled(steps_of(fine, ways[number]), width_mm, height_mm))
    return ways[max(held, key=held.__getitem__)]


def _count(rows: list[list[Spot]]) -> int:
    return sum(map(len, rows))


def _oddness(way: Way) -> tuple[int, float, float]:
    return way.second_turned + way.row_turned, way.shift, way.turn_deg


def extent(rows: list[list[Spot]], shape: Shape) -> tuple[float, float, float, float]:
    """Return left, bottom, right, top of all pockets of rows."""
    spots = [spot for row in rows for spot in row]
    known = {turn: turned(shape, turn).bounds for turn in {spot[2] for spot in spots}}
    boxes = np.array([np.add(known[turn], (x, y, x, y)) for x, y, turn in spots])
    (left, bottom), (right, top) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(left), float(bottom), float(right), float(top)
