"""As many pockets as fit by their true shape: rows, lattices or nothing to begin with, what room is left filled.

Whatever is laid first, all the room that is left is known (the field less the no-fit polygons of what lies there), and
pockets are put into its corners one after the other until none is left. How many go in depends on the beginning, so
several are tried and the best is taken. Nothing proves that more do not fit.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..records import FloatArray
from ..steady import inverse, product
from .lattice import Lattice, densest
from .nofit import few_corners, no_fit
from .rows import Spot
from .shape import Shape, turned

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_SLACK_MM = 1e-6  # of rounding, where pockets just touch
_LINE_MM = 1e-3  # places nearer than this stand in one line
_PHASES = 8  # of a lattice in each of its steps
_FILLED = 5  # beginnings, of those that hold most, whose gaps are filled
_LINES = 12  # rows or columns at most that are kept of a way, the rest filled
_PUT = 400  # pockets in all that are put one after the other, as often as it takes


@dataclass(frozen=True, slots=True)
class Nested:
    """Pockets laid by their shape."""

    spots: tuple[Spot, ...]
    how: str  # in words


@dataclass(frozen=True, slots=True)
class Field:
    """Where pockets may lie, and where they overlap: all that filling it needs."""

    width_mm: float
    height_mm: float
    bounds: dict[float, tuple[float, float, float, float]]  # of the pocket at each turn
    overlaps: dict[
        tuple[float, float], Geometry
    ]  # shifts by which a pocket of the second turn overlaps one of the first

    def inside(self, turn: float) -> Geometry:
        """Return where the middle of a pocket may lie at a turn, alone on the field."""
        import shapely

        left, bottom, right, top = self.bounds[turn]
        low = np.array([-left, -bottom]) - _SLACK_MM
        high = np.array([self.width_mm - right, self.height_mm - top]) + _SLACK_MM
        return shapely.box(*low, *high) if (high >= low).all() else shapely.Polygon()


def field_of(shape: Shape, width_mm: float, height_mm: float, *, quarter_turns: bool) -> Field:
    """Return the field for a shape that is already grown by half the web, turned by half or by quarter turns."""
    import shapely
    from shapely import affinity

    turns = (0.0, 90.0, 180.0, 270.0) if quarter_turns else (0.0, 180.0)
    around, _ = few_corners(shape.around)
    at = {turn: affinity.rotate(around, turn, origin=(0, 0)) for turn in turns}
    first = {turn: _touchable(no_fit(around, at[turn])) for turn in turns if turn < 270.0}
    if quarter_turns:  # A - R(270) B is R(90) (A - R(90) B) for B = A
        first[270.0] = affinity.rotate(first[90.0], 90.0, origin=(0, 0))
    overlaps = {
        (one, other): affinity.rotate(first[(other - one) % 360.0], one, origin=(0, 0))
        for one in turns
        for other in turns
    }
    for one in overlaps.values():
        shapely.prepare(one)
    return Field(width_mm, height_mm, {turn: turned(shape, turn).bounds for turn in turns}, overlaps)


def _touchable(overlap: Geometry) -> Geometry:
    """Return an overlap so little smaller that pockets that just touch on both sides still have room between."""
    import shapely

    return shapely.buffer(overlap, -_SLACK_MM, join_style="mitre")


def nested(field: Field, shape: Shape, laid: Sequence[Sequence[Spot]], *, web_mm: float) -> Nested | None:
    """Return more pockets than any of those that are laid already, or None where no more are found.

    Parameters
    ----------
    field
        Where they go.
    shape
        Of the pocket, grown by half of `web_mm`. Such shapes lie within the field grown as much, so that no more go in
        than its area holds; where so many are found no more are looked for.
    laid
        Pockets in rows, by several ways of laying them.
    """
    room = (field.width_mm + web_mm) * (field.height_mm + web_mm)
    most = max(map(len, laid), default=0)
    best: Nested | None = None
    for one in _tried(field, laid):
        if len(one.spots) > most:
            best, most = one, len(one.spots)
        if (most + 1) * shape.around.area > room:
            break
    return best


def _tried(field: Field, laid: Sequence[Sequence[Spot]]) -> Iterator[Nested]:
    """Yield ways of laying pockets, the straighter first."""
    begun = [Nested(tuple(spots), "rows") for spots in laid] + _lattices(field)
    order = sorted(range(len(begun)), key=lambda k: -len(begun[k].spots))
    for k in order[:_FILLED]:
        yield Nested(_fill(field, begun[k].spots), f"{begun[k].how}, what room is left filled by shape")
    work = 0
    for part, upward in itertools.product(_parts(laid), (True, False)):
        made = Nested(_fill(field, part, upward=upward), "put together by shape")
        yield made
        work += len(made.spots)
        if work > _PUT:
            return


def _parts(laid: Sequence[Sequence[Spot]]) -> Iterator[tuple[Spot, ...]]:
    """Yield nothing, then the lowest rows of each way, and what stands in its leftmost columns, ever more of them."""
    yield ()
    for spots, axis in itertools.product(laid, (1, 0)):
        for line in sorted({round(spot[axis], 3) for spot in spots})[:-1][:_LINES]:
            yield tuple(spot for spot in spots if spot[axis] <= line + _LINE_MM)


def _lattices(field: Field) -> list[Nested]:
    """Return the pockets of the densest lattices, and of them turned by 90 degrees, each laid where most go in."""
    found = densest(field.overlaps[0.0, 0.0], field.overlaps[0.0, 180.0])
    turns = (0.0, 90.0) if (0.0, 90.0) in field.overlaps else (0.0,)
    return [
        Nested(_on_field(field, one, turn), f"rows turned by {_slope(one):.0f} degrees")
        for lattice in found
        for turn in turns
        for one in [lattice.turned(turn)]
    ]


def _slope(lattice: Lattice) -> float:
    """Return by how much the rows of a lattice are turned from the field's sides, at most 45 degrees."""
    slope = np.degrees(np.arctan2(lattice.along[1], lattice.along[0]))
    return float(abs((slope + 45.0) % 90.0 - 45.0))


def _on_field(field: Field, lattice: Lattice, turn: float) -> tuple[Spot, ...]:
    """Return a lattice's pockets, the lattice shifted so that most lie within the field."""
    steps = np.vstack([lattice.along, lattice.up])
    diagonal = float(np.hypot(field.width_mm, field.height_mm))
    most = np.ceil(diagonal * np.linalg.norm(inverse(steps), axis=0)).astype(int) + 1
    counts = np.stack(np.meshgrid(*(np.arange(-n, n + 1) for n in most), indexing="ij"), axis=-1).reshape(-1, 2)
    sets = [(turn, product(counts, steps))]
    if lattice.turned_at is not None:
        sets.append(((turn + 180.0) % 360.0, product(counts, steps) + lattice.turned_at))
    phases = product(
        np.stack(np.meshgrid(*[np.arange(_PHASES) / _PHASES] * 2, indexing="ij"), axis=-1).reshape(-1, 2), steps
    )
    held = [sum(_within(field, one, places + phase).sum() for one, places in sets) for phase in phases]
    phase = phases[int(np.argmax(held))]
    return tuple(
        (float(x), float(y), one)
        for one, places in sets
        for x, y in (places + phase)[_within(field, one, places + phase)]
    )


def _within(field: Field, turn: float, places: FloatArray) -> np.ndarray:
    left, bottom, right, top = field.bounds[turn]
    low, high = (-left, -bottom), (field.width_mm - right, field.height_mm - top)
    return np.asarray(((places >= low) & (places <= high)).all(axis=1))


def _fill(field: Field, begun: Sequence[Spot], *, upward: bool = False) -> tuple[Spot, ...]:
    """Return the pockets begun with and those that go into the room left, each at its lowest or leftmost corner."""
    free = {turn: _free(field, turn, begun) for turn in field.bounds}
    found = list(begun)
    while (spot := _corner(field, free, upward=upward)) is not None:
        found.append(spot)
        for turn, room in free.items():
            if not room.is_empty:
                free[turn] = room.difference(_shifted(field.overlaps[spot[2], turn], spot))
    return tuple(found)


def _free(field: Field, turn: float, begun: Sequence[Spot]) -> Geometry:
    """Return where another pocket may lie at a turn."""
    import shapely

    taken = [_shifted(field.overlaps[spot[2] % 360.0, turn], spot) for spot in begun]
    return field.inside(turn).difference(shapely.union_all(taken))


def _shifted(region: Geometry, spot: Spot) -> Geometry:
    from shapely import affinity

    return affinity.translate(region, spot[0], spot[1])


def _corner(field: Field, free: dict[float, Geometry], *, upward: bool) -> Spot | None:
    """Return the corner of the room left at which a pocket lies lowest (`upward`) or leftmost."""
    import shapely

    best: tuple[float, float, int] | None = None
    spot: Spot | None = None
    for number, (turn, room) in enumerate(free.items()):
        places = shapely.get_coordinates(room)
        if not len(places):
            continue
        left, bottom, _, _ = field.bounds[turn]
        x, y = np.round(places + np.array([left, bottom]), 5).T
        k = int(np.lexsort((x, y) if upward else (y, x))[0])
        key = (float(y[k]), float(x[k]), number) if upward else (float(x[k]), float(y[k]), number)
        if best is None or key < best:
            best, spot = key, (float(places[k, 0]), float(places[k, 1]), turn)
    return spot
