"""What a plate is held against: nothing over the edge, nothing over anything else, webs as thick as they should be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..errors import UsageError
from ..records import Finding
from ..words.say import finding_of
from .corner import notch_region
from .heights import height_findings
from .plate import Place, Plate
from .shape import opening

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_ROUNDING_MM = 0.001  # of places and of chords


@dataclass(frozen=True, slots=True)
class Web:
    """The sheet between two openings, or between one and the plate's edge."""

    names: tuple[str, str]
    mm: float


def checked(plate: Plate) -> tuple[Finding, ...]:
    """Return what is to be said of a plate.

    Raises
    ------
    UsageError
        If a pocket or a hole reaches over the plate's edge, or two of them overlap.
    """
    import shapely

    names, openings = _openings(plate)
    (left, bottom), (width, height) = plate.low_mm, plate.size_mm
    edge = shapely.box(left, bottom, left + width, bottom + height)
    for name, one in zip(names, openings, strict=True):
        _inside(name, one, edge, plate)
    limit = max(plate.web_mm, plate.thickness_mm or 0.0)
    webs = _webs(*_with_notch(names, openings, plate), limit)
    touching = [web for web in webs if web.mm <= 0.0]
    if touching:
        raise UsageError(
            f"{touching[0].names[0]} and {touching[0].names[1]} overlap: move them apart in --lay, or say larger steps."
        )
    webs += [
        Web((name, "the edge"), float(shapely.distance(edge.exterior, one)))
        for name, one in zip(names, openings, strict=True)
    ]
    return (*_thin(webs, limit), *height_findings(plate))


def _with_notch(names: list[str], openings: list[Geometry], plate: Plate) -> tuple[list[str], list[Geometry]]:
    """Return all openings and the key's notch, which lies on the edge by right."""
    from shapely import affinity

    notch = notch_region(plate.corner)
    if notch is None:
        return names, openings
    zero = plate.zero_mm
    placed = affinity.translate(affinity.scale(notch, *plate.signs, origin=(0, 0)), *zero)
    return [*names, "The key's notch"], [*openings, placed]


def _openings(plate: Plate) -> tuple[list[str], list[Geometry]]:
    import shapely
    from shapely import affinity

    names = [f"Pocket {number} ({place.kind})" for number, place in enumerate(plate.places, 1)]
    about_middle = {
        (kind, turn): opening(plate.kind_of(Place(kind, 0.0, 0.0, turn)), Place(kind, 0.0, 0.0, turn))
        for kind, turn in {(place.kind, place.turn_deg) for place in plate.places}
    }
    openings = [
        affinity.translate(about_middle[place.kind, place.turn_deg], place.x_mm, place.y_mm) for place in plate.places
    ]
    for number, hole in enumerate(plate.holes, 1):
        names.append(f"Hole {number}")
        openings.append(shapely.Point(hole.x_mm, hole.y_mm).buffer(hole.diameter_mm / 2, quad_segs=64))
    return names, openings


def _inside(name: str, one: Geometry, edge: Geometry, plate: Plate) -> None:
    left, bottom, right, top = np.asarray(edge.bounds)
    x0, y0, x1, y1 = one.bounds
    over = {"left": left - x0, "right": x1 - right, "lower": bottom - y0, "upper": y1 - top}
    side = max(over, key=lambda key: float(over[key]))
    if over[side] > _ROUNDING_MM:
        raise UsageError(
            f"{name} reaches {over[side]:.2f} mm over the {side} edge of the plate of {plate.size_mm[0]:g} x "
            f"{plate.size_mm[1]:g} mm. Say fewer rows or columns, a smaller --gap, --web or --margin, a larger plate."
        )


def _webs(names: Sequence[str], openings: Sequence[Geometry], web_mm: float) -> list[Web]:
    """Return the sheet between any two openings that are nearer than the web that is asked for."""
    import shapely

    tree = shapely.STRtree(openings)
    first, second = tree.query(openings, predicate="dwithin", distance=web_mm)
    pairs = sorted((a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b)
    return [Web((names[a], names[b]), float(shapely.distance(openings[a], openings[b]))) for a, b in pairs]


def _thin(webs: Sequence[Web], limit_mm: float) -> tuple[Finding, ...]:
    thin = [web for web in webs if web.mm < limit_mm - _ROUNDING_MM]
    if not thin:
        return ()
    least = min(thin, key=lambda web: web.mm)
    one, other = least.names
    return (finding_of("plate-web-thin", value=least.mm, limit=limit_mm, one=one, other=other, count=len(thin)),)
