"""The densest lattices of a shape, alone or with itself turned by 180 degrees: rows in any direction, not only along x.

A shape at every place of a lattice, and the turned one at every place shifted, is a double lattice (G. Kuperberg and
W. Kuperberg, Double-lattice packings of convex bodies in the plane, Discrete & Computational Geometry 5 (1990),
389-397). Rows run along a direction in which the shape touches itself or stands a little farther apart; how near the
next row comes is read off the no-fit polygons' outer profiles.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..records import FloatArray, turning
from ..steady import product
from .slide import Edges, edges_of, reach

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_DIRECTIONS = 60  # of rows, in half a turn
_APART = (1.0, 1.05, 1.12, 1.2)  # steps along a row, in those that touch
_PLACES = 32  # along a row at which the next one is tried
_PROFILE = 128  # heights at which a profile is read, to begin with
_REFINED = 6  # of the densest found so, made exact
_ONE_WAY = 0.1  # rad: rows whose directions differ by less count once
_ROUNDS = 4  # of refining
_FAR = 4  # neighbours in each direction that are held against one another
_EPS_MM = 1e-7  # beside a corner, where rounding may miss it


@dataclass(frozen=True, slots=True)
class Lattice:
    """Where a shape and the turned one are put again and again."""

    along: FloatArray  # (2,) mm
    up: FloatArray  # (2,)
    turned_at: FloatArray | None  # (2,) from the shape to the one turned by 180 degrees; None: there is none
    area_mm2: float  # of the plane for each shape

    def turned(self, degrees: float) -> Lattice:
        """Return the lattice, shapes and all, turned counter-clockwise."""
        matrix = turning(np.radians(degrees))
        at = None if self.turned_at is None else product(self.turned_at, matrix)
        return Lattice(product(self.along, matrix), product(self.up, matrix), at, self.area_mm2)


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows in one direction: its angle, the step along it, and where along it the next rows begin."""

    angle: float
    apart: float  # in steps that touch
    first: float  # of the next row, in parts of a step
    second: float | None  # of the row after, from that; None: all rows are alike


def densest(same: Geometry, turned: Geometry) -> list[Lattice]:
    """Return some of the densest lattices, the densest first.

    Parameters
    ----------
    same, turned
        Shifts by which the shape overlaps itself; by which the one turned by 180 degrees, put beside it, does.
    """
    edges = tuple(_edges(region) for region in (same, turned))
    rough = [one for number in range(_DIRECTIONS) for one in _scanned(edges, np.pi * number / _DIRECTIONS)]
    order = sorted(range(len(rough)), key=lambda k: rough[k][0])
    fine = [_refined(edges, rough[k][1]) for k in _spread(rough, order)]
    apart = [lattice for lattice in fine if _is_apart(lattice, same, turned)]
    return sorted(apart, key=lambda lattice: round(lattice.area_mm2, 6))


def _is_apart(lattice: Lattice, same: Geometry, turned: Geometry) -> bool:
    """Return whether no two shapes of a lattice overlap, however far their rows reach."""
    import shapely

    steps = np.array([(i, j) for i in range(-_FAR, _FAR + 1) for j in range(-_FAR, _FAR + 1)], dtype=float)
    places = product(steps, np.vstack([lattice.along, lattice.up]))
    others = places[(steps != 0).any(axis=1)]
    deep = shapely.buffer(same, -10 * _EPS_MM, join_style="mitre")
    clear = not shapely.contains_xy(deep, others[:, 0], others[:, 1]).any()
    if lattice.turned_at is None or not clear:
        return clear
    x, y = (places + lattice.turned_at).T
    return not bool(shapely.contains_xy(shapely.buffer(turned, -10 * _EPS_MM, join_style="mitre"), x, y).any())


def _spread(rough: list[tuple[float, _Rows]], order: list[int]) -> list[int]:
    """Return the densest, those of one direction and kind once."""
    found: dict[tuple[float, bool], int] = {}
    for k in order:
        found.setdefault((round(rough[k][1].angle / _ONE_WAY), rough[k][1].second is None), k)
    return list(found.values())[:_REFINED]


def _edges(region: Geometry) -> Edges:
    import shapely

    return edges_of([np.asarray(shapely.get_coordinates(part.exterior)[:-1]) for part in shapely.get_parts(region)])


def _turned(edges: Edges, angle: float) -> Edges:
    """Return edges turned so that the direction of an angle points along y, and the next row lies towards x."""
    c, s = np.cos(angle), np.sin(angle)
    across, along = np.array([s, -c]), np.array([c, s])
    return np.column_stack(
        [
            product(edges[:, :2], across),
            product(edges[:, :2], along),
            product(edges[:, 2:], across),
            product(edges[:, 2:], along),
        ]
    )


def _touching(same: Edges) -> float:
    """Return the step along y at which the shape last touches itself."""
    return float(reach(same[:, [1, 0, 3, 2]], np.array([-_EPS_MM, _EPS_MM])).max())


def _scanned(edges: tuple[Edges, ...], angle: float) -> list[tuple[float, _Rows]]:
    """Return the densest single and double rows of a direction, roughly, with the area they take for each shape."""
    same, turned = (_turned(one, angle) for one in edges)
    touching = _touching(same)
    profiles = [_Profile.of(one) for one in (same, turned, -turned)]
    at = np.arange(_PLACES) / _PLACES
    found = []
    for apart in _APART:
        step = touching * apart
        alike, first, second = (profile.of_row(at * step, step) for profile in profiles)
        if apart == _APART[0]:
            k = int(alike.argmin())
            found.append((float(alike[k] * step), _Rows(angle, apart, float(at[k]), None)))
        i, j = int(first.argmin()), int(second.argmin())
        high = max(first[i] + second[j], alike[(i + j) % _PLACES])
        found.append((float(high * step / 2), _Rows(angle, apart, float(at[i]), float(at[j]))))
    return found


@dataclass(frozen=True, slots=True)
class _Profile:
    """How far a region reaches along x, at heights that are read between."""

    heights: FloatArray
    far: FloatArray

    @classmethod
    def of(cls, edges: Edges) -> _Profile:
        low, high = edges[:, [1, 3]].min(), edges[:, [1, 3]].max()
        heights = np.linspace(low, high, _PROFILE)
        return cls(heights, reach(edges, heights))

    def of_row(self, at: FloatArray, step: float) -> FloatArray:
        """Return how far a row of such regions, a step apart, reaches at places along it."""
        most = int(np.ceil(np.abs(self.heights).max() / step)) + 1
        places = at[:, None] + step * np.arange(-most, most + 1)
        return np.asarray(np.interp(places, self.heights, self.far, left=-np.inf, right=-np.inf).max(axis=1))


def _row_reach(edges: Edges, at: float, step: float) -> float:
    """Return exactly how far a row reaches at a place along it; never less than 0."""
    most = int(np.ceil(np.abs(edges[:, [1, 3]]).max() / step)) + 1
    places = at + step * np.arange(-most, most + 1)
    return max(float(reach(edges, np.concatenate([places - _EPS_MM, places + _EPS_MM])).max()), 0.0)


def _refined(edges: tuple[Edges, ...], rows: _Rows) -> Lattice:
    """Return the densest lattice near rough rows, exact."""
    best, wide = _laid(edges, rows), np.pi / _DIRECTIONS
    place = 1.0 / _PLACES
    for _ in range(_ROUNDS):
        for angle in rows.angle + wide * np.linspace(-1, 1, 5):
            turned = _Rows(float(angle), rows.apart, rows.first, rows.second)
            for one in _shifted(turned, place):
                made = _laid(edges, one)
                if made.area_mm2 < best.area_mm2 - 1e-9:
                    best, rows = made, one
        wide, place = wide / 3, place / 2
    return best


def _shifted(rows: _Rows, by: float) -> list[_Rows]:
    """Return rows whose next ones begin a little farther or less far."""
    steps = by * np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    if rows.second is None:
        return [_Rows(rows.angle, rows.apart, rows.first + s, None) for s in steps]
    ones = [_Rows(rows.angle, rows.apart, rows.first + s, rows.second) for s in steps]
    return ones + [_Rows(rows.angle, rows.apart, rows.first, rows.second + s) for s in steps if s]


def _laid(edges: tuple[Edges, ...], rows: _Rows) -> Lattice:
    """Return the lattice of rows, every row as near to the one before as it comes."""
    same, turned = (_turned(one, rows.angle) for one in edges)
    c, s = np.cos(rows.angle), np.sin(rows.angle)
    across, along = np.array([s, -c]), np.array([c, s])
    step = _touching(same) * rows.apart
    if rows.second is None:
        high = _row_reach(same, rows.first * step, step)
        return Lattice(along * step, across * high + along * rows.first * step, None, high * step)
    begin, both = rows.first * step, (rows.first + rows.second) * step
    first = _row_reach(turned, begin, step)
    # a row may reach past the next one to the one after
    high = max(
        first + _row_reach(-turned, rows.second * step, step),
        _row_reach(same, both, step),
        _row_reach(turned, begin + both, step) - first,
    )
    at = across * first + along * begin
    return Lattice(along * step, across * high + along * both, at, high * step / 2)
