"""Raised edges: a closed band outside each outline, for a clear or white layer, to drop items against."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..errors import UsageError
from ..fitting.bulge import curve_ring
from ..fitting.chain import curve_of_chain
from ..records import Curve
from ..steady import product
from .plate import Kind, Place, Plate, moved_by

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_CHORD_MM = 0.0005  # chord error
_WITHIN_MM = 0.003  # lines and arcs of the exact band


def bands(plate: Plate, numbers: Sequence[int], *, wide_mm: float, gap_mm: float) -> list[tuple[Curve, Curve]]:
    """Return the band of each pocket's item, outer and inner edge, in the frame of the bed.

    Parameters
    ----------
    plate
        Whose items they are for.
    numbers
        Of pockets, from 1.
    wide_mm, gap_mm
        Width of the band; how far its inner edge lies from the item's outline.

    Raises
    ------
    UsageError
        If bands run into one another or over the bed's edge.
    """
    from shapely import affinity

    known: dict[tuple[str, float], tuple[Geometry, Geometry]] = {}
    shapes: list[tuple[Geometry, Geometry]] = []
    for number in numbers:
        place = plate.places[number - 1]
        key = (place.kind, place.turn_deg)
        if key not in known:
            known[key] = _band(plate.kind_of(place), place.turn_deg, wide_mm, gap_mm)
        shapes.append(tuple(affinity.translate(one, place.x_mm, place.y_mm) for one in known[key]))  # type: ignore[arg-type]
    _check([outer for outer, _ in shapes], numbers, plate)
    return [(_curve(outer), _curve(inner)) for outer, inner in shapes]


def _band(kind: Kind, turn_deg: float, wide_mm: float, gap_mm: float) -> tuple[Geometry, Geometry]:
    import shapely

    matrix, shift = moved_by(kind, Place(kind.name, 0.0, 0.0, turn_deg))
    item = shapely.Polygon(product(curve_ring(kind.item.path, chord_mm=_CHORD_MM), matrix) + shift)
    grown = [_filled(item, gap_mm + more) for more in (wide_mm, 0.0)]
    return grown[0], grown[1]


def _filled(item: Geometry, by: float) -> Geometry:
    """Return all within a distance of an item, bays that close taken in: the item still drops in."""
    import shapely

    segments = max(8, int(np.ceil(np.pi / 4 / np.arccos(1 - min(_CHORD_MM / max(by, _CHORD_MM), 0.3)))))
    return shapely.Polygon(shapely.buffer(item, by, quad_segs=segments).exterior)


def _check(outer: Sequence[Geometry], numbers: Sequence[int], plate: Plate) -> None:
    import shapely

    tree = shapely.STRtree(outer)
    first, second = tree.query(outer, predicate="intersects")
    met = [(a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b]
    if met:
        a, b = min(met)
        raise UsageError(
            f"The raised edges of pockets {numbers[a]} and {numbers[b]} run into each other. Say a smaller "
            "--raised-edge, or lay the plate with a larger --gap or --web."
        )
    bed = shapely.box(0, 0, *plate.bed_mm)
    over = [number for number, one in zip(numbers, outer, strict=True) if not bed.contains(one)]
    if over:
        raise UsageError(
            f"The raised edge of pocket {over[0]} reaches over the bed. Say a smaller one, a larger --margin."
        )


def _curve(region: Geometry) -> Curve:
    import shapely

    ring = np.asarray(shapely.get_coordinates(region.normalize())[:-1])[::-1]
    return curve_of_chain(ring, within_mm=_WITHIN_MM)
