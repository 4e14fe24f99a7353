"""What a plate is held against: nothing over the edge, nothing over anything else, webs as thick as they should be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from ..errors import UsageError
from ..records import Finding
from ..words.say import finding_of
from .corner import notch_region
from .heights import height_findings
from .plate import Place, Plate, Point
from .shape import opening

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_ROUNDING_MM = 0.001  # of places and of chords
_EDGE = "the edge"


@dataclass(frozen=True, slots=True)
class Conflict:
    """What is wrong with a plate at one place."""

    what: Literal["over", "overlap", "thin"]  # over the plate's edge; two openings in one; too little sheet between
    names: tuple[str, str]
    pockets: tuple[int, ...]  # numbers of the pockets among them
    mm: float  # how far over, or how much sheet there is
    between_mm: tuple[Point, Point]  # where they are nearest, in the bed's frame
    words: str = ""  # why it will not do; a web that is only thin is told by a finding


def checked(plate: Plate) -> tuple[Finding, ...]:
    """Return what is to be said of a plate.

    Raises
    ------
    UsageError
        If a pocket or a hole reaches over the plate's edge, or two of them overlap.
    """
    found = conflicts(plate)
    for one in found:
        if one.what != "thin":
            raise UsageError(one.words)
    return (*_thin(found, needed_web_mm(plate)), *height_findings(plate))


def needed_web_mm(plate: Plate) -> float:
    """Return how much sheet there should be between two openings."""
    return max(plate.web_mm, plate.thickness_mm or 0.0)


def conflicts(plate: Plate) -> tuple[Conflict, ...]:
    """Return all that is wrong with where things lie, what will not do at all first."""
    import shapely

    names, regions = openings(plate)
    (left, bottom), (width, height) = plate.low_mm, plate.size_mm
    edge = shapely.box(left, bottom, left + width, bottom + height)
    over = [_over_the_edge(number, names[number], one, edge, plate) for number, one in enumerate(regions)]
    over = [one for one in over if one.mm > _ROUNDING_MM]
    webs = [*_webs(*_with_notch(names, regions, plate), plate)]
    touching = [web for web in webs if web.mm <= 0.0]
    outside = {one.names[0] for one in over}
    webs += [
        replace(_web((number,), (name, _EDGE), (one, edge.exterior), plate), what="thin")
        for number, (name, one) in enumerate(zip(names, regions, strict=True))
        if name not in outside
    ]
    limit = needed_web_mm(plate) - _ROUNDING_MM
    return (*over, *touching, *(web for web in webs if web.what == "thin" and web.mm < limit))


def _with_notch(names: list[str], openings: list[Geometry], plate: Plate) -> tuple[list[str], list[Geometry]]:
    """Return all openings and the key's notch, which lies on the edge by right."""
    from shapely import affinity

    notch = notch_region(plate.corner)
    if notch is None:
        return names, openings
    zero = plate.zero_mm
    placed = affinity.translate(affinity.scale(notch, *plate.signs, origin=(0, 0)), *zero)
    return [*names, "The key's notch"], [*openings, placed]


def openings(plate: Plate) -> tuple[list[str], list[Geometry]]:
    """Return what is open in the plate, pockets by their numbers and then holes, and what each is called."""
    import shapely
    from shapely import affinity

    names = [f"Pocket {number} ({place.kind})" for number, place in enumerate(plate.places, 1)]
    about_middle = {
        (kind, turn): opening(plate.kind_of(Place(kind, 0.0, 0.0, turn)), Place(kind, 0.0, 0.0, turn))
        for kind, turn in {(place.kind, place.turn_deg) for place in plate.places}
    }
    found = [
        affinity.translate(about_middle[place.kind, place.turn_deg], place.x_mm, place.y_mm) for place in plate.places
    ]
    for number, hole in enumerate(plate.holes, 1):
        names.append(f"Hole {number}")
        found.append(shapely.Point(hole.x_mm, hole.y_mm).buffer(hole.diameter_mm / 2, quad_segs=64))
    return names, found


def _over_the_edge(number: int, name: str, one: Geometry, edge: Geometry, plate: Plate) -> Conflict:
    """Return how far an opening reaches over the side that it reaches over the most; negative within the plate."""
    left, bottom, right, top = np.asarray(edge.bounds)
    x0, y0, x1, y1 = one.bounds
    over = {"left": left - x0, "right": x1 - right, "lower": bottom - y0, "upper": y1 - top}
    side = max(over, key=lambda key: float(over[key]))
    words = (
        f"{name} reaches {over[side]:.2f} mm over the {side} edge of the plate of {plate.size_mm[0]:g} x "
        f"{plate.size_mm[1]:g} mm. "
        + (
            "Say another --plate-hole, or a larger plate."
            if number >= len(plate.places)
            else "Say fewer rows or columns, other places in --lay, a smaller --gap, --web or --margin, a larger plate."
        )
    )
    middle = (float((x0 + x1) / 2), float((y0 + y1) / 2))
    return Conflict("over", (name, _EDGE), _pockets((number,), plate), float(over[side]), (middle, middle), words)


def _webs(names: Sequence[str], openings: Sequence[Geometry], plate: Plate) -> Iterator[Conflict]:
    """Yield the sheet between any two openings that are nearer than the web that is asked for."""
    import shapely

    tree = shapely.STRtree(openings)
    first, second = tree.query(openings, predicate="dwithin", distance=needed_web_mm(plate))
    for a, b in sorted((a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b):
        yield _web((a, b), (names[a], names[b]), (openings[a], openings[b]), plate)


def _web(numbers: tuple[int, ...], names: tuple[str, str], pair: tuple[Geometry, Geometry], plate: Plate) -> Conflict:
    import shapely

    mm = float(shapely.distance(*pair))
    start, end = shapely.get_coordinates(shapely.shortest_line(*pair)).tolist()
    words = f"{names[0]} and {names[1]} overlap: move them apart in --lay, or say larger steps."
    between = ((start[0], start[1]), (end[0], end[1]))
    return Conflict("thin" if mm > 0.0 else "overlap", names, _pockets(numbers, plate), mm, between, words)


def _pockets(numbers: Sequence[int], plate: Plate) -> tuple[int, ...]:
    return tuple(number + 1 for number in numbers if number < len(plate.places))


def _thin(found: Sequence[Conflict], limit_mm: float) -> tuple[Finding, ...]:
    thin = [web for web in found if web.what == "thin"]
    if not thin:
        return ()
    least = min(thin, key=lambda web: web.mm)
    one, other = least.names
    return (finding_of("plate-web-thin", value=least.mm, limit=limit_mm, one=one, other=other, count=len(thin)),)
