"""Lead-ins: where a laser pierces, in the waste, and how it comes onto the path.

Rule: the beam comes on where the item is not held. Straight edges at least half as long as the longest one, and
corners, hold it; the lead ends in a finger notch if there is one, else as far from them as can be. Where everything
holds (a rectangle) it ends in the middle of the shortest straight edge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import make_path, path_points, path_tangents
from ..records import Circle, Curve, FloatArray, Notch, OpenPath, Path, frozen_array
from .places import locating, straight_edges

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_QUARTER = float(np.tan(np.pi / 8))  # bulge of a quarter turn
_SHORTEST = (1.0, 0.5, 0.25)  # of the length asked for, tried in turn where the waste is narrow
_MOST_TRIED = 40  # places to begin, the roomiest first
_WITHIN_MM = 0.01  # inside a circle: where its waste is looked for


@dataclass(frozen=True, slots=True)
class Entry:
    """A place on a path: its piece, the share of it, and the point."""

    piece: int
    share: float
    point: FloatArray  # (2,)


def with_lead(
    curve: Curve, waste: Geometry, notches: tuple[Notch, ...], *, length_mm: float
) -> tuple[Curve, OpenPath | None]:
    """Return the curve begun where its lead ends, and the lead; None where the waste has no room for one.

    The lead is a quarter turn that meets the path along its direction. The waste lies to the left of a path: within
    a wall that runs counter-clockwise, about a peg that runs clockwise. A circle stays a circle, and its lead ends
    where drawing formats begin one, at three o'clock.

    Parameters
    ----------
    curve
        One path to cut.
    waste
        What falls out: all within the outer paths and without the pegs.
    notches
        Finger notches; none of them holds the item.
    length_mm
        Of the lead; half and a quarter of it are tried too.
    """
    if isinstance(curve, Circle):
        return curve, _lead_of_circle(curve, waste, length_mm)
    for part in _SHORTEST:
        for entry in _entries(curve, notches):
            lead = _quarter_turn(entry.point, _direction(curve, entry), part * length_mm)
            if _fits(lead, waste, part * length_mm):
                return begun_at(curve, entry), lead
    return curve, None


def _lead_of_circle(circle: Circle, waste: Geometry, length_mm: float) -> OpenPath | None:
    (x, y), r = circle.centre_mm, circle.radius_mm
    import shapely

    inside = waste.contains(shapely.Point(x + r - min(_WITHIN_MM, r / 4), y))
    for part in _SHORTEST:
        lead = _quarter_turn(np.array([x + r, y]), np.array([0.0, 1.0 if inside else -1.0]), part * length_mm)
        if _fits(lead, waste, part * length_mm):
            return lead
    return None


def _entries(path: Path, notches: tuple[Notch, ...]) -> Iterator[Entry]:
    """Yield places for the end of a lead, the best first."""
    import shapely

    places = _along(path)
    points = np.array([entry.point for entry in places])
    for notch in notches:
        angle = np.radians(notch.angle_deg)
        out = np.add(notch.centre_mm, notch.width_mm / 2 * np.array([np.cos(angle), np.sin(angle)]))
        away = np.hypot(*(points - out).T)
        if away.min() < notch.width_mm / 4:
            yield places[int(np.argmin(away))]
    held = locating(path)
    room = np.full(len(places), np.inf) if held is None else shapely.distance(shapely.points(points), held)
    if room.max() < 0.5:
        yield from _middles(path)
    for at in np.argsort(-np.round(room, 2), kind="stable")[:_MOST_TRIED]:
        yield places[int(at)]


def _along(path: Path) -> list[Entry]:
    """Return places along every piece, about 2 mm apart, never at a joint."""
    ends = np.roll(path.points_mm, -1, axis=0)
    counts = np.clip(np.ceil(piece_lengths(path) / 2), 1, 200).astype(int)
    counts += 1 - counts % 2  # odd: the middle is among them
    piece = np.repeat(np.arange(len(ends)), counts)
    share = np.concatenate([(np.arange(n) + 1) / (n + 1) for n in counts])
    points = path_points(path, piece, share)
    return [Entry(int(p), float(s), point) for p, s, point in zip(piece, share, points, strict=True)]


def piece_lengths(path: Path) -> FloatArray:
    """Return the length (N,) of every piece."""
    chord = np.hypot(*(np.roll(path.points_mm, -1, axis=0) - path.points_mm).T)
    return np.asarray(chord / np.sinc(2 * np.arctan(np.abs(path.bulges)) / np.pi))


def _middles(path: Path) -> Iterator[Entry]:
    """Yield the middles of the straight edges, the shortest first."""
    lengths = straight_edges(path)
    for at in np.argsort(lengths, kind="stable"):
        if lengths[at] > 0:
            yield Entry(int(at), 0.5, path_points(path, np.array([at]), np.array([0.5]))[0])


def _direction(path: Path, entry: Entry) -> FloatArray:
    leave = path_tangents(path)[0][entry.piece]
    angle = leave + entry.share * 4 * np.arctan(path.bulges[entry.piece])
    return np.array([np.cos(angle), np.sin(angle)])


def _quarter_turn(end: FloatArray, toward: FloatArray, length: float) -> OpenPath:
    """Return a quarter of a circle, turning left, of this length, that arrives at `end` in a direction."""
    radius = length / (np.pi / 2)
    left = np.array([-toward[1], toward[0]])
    start = end + radius * (left - toward)
    return OpenPath(frozen_array([start, end], columns=2), frozen_array([_QUARTER]))


def _fits(lead: OpenPath, waste: Geometry, length: float) -> bool:
    """Whether a lead stays in the waste and pierces well inside it."""
    import shapely

    arc = make_path(lead.points_mm, np.append(lead.bulges, 0.0))
    points = path_points(arc, np.zeros(9, dtype=np.intp), np.arange(9) / 9)
    depth = shapely.distance(shapely.Point(points[0]), shapely.boundary(waste))
    return bool(shapely.contains_xy(waste, points).all() and depth > 0.5 * length / (np.pi / 2))


def begun_at(path: Path, entry: Entry) -> Path:
    """Return the same path begun at a place on it."""
    count, piece = len(path.points_mm), entry.piece
    sweep = 4 * np.arctan(path.bulges[piece])
    before, after = np.tan(entry.share * sweep / 4), np.tan((1 - entry.share) * sweep / 4)
    order = (piece + 1 + np.arange(count)) % count
    points = np.vstack([entry.point, path.points_mm[order]])
    bulges = np.concatenate([[after], path.bulges[order[:-1]], [before]])
    return make_path(points, bulges)
