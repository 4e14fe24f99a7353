"""A pocket as a knife can cut it: no bend tighter than a least radius, and never smaller than what was wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import make_path, path_radii
from ..fitting.track import crossings
from ..records import FloatArray, Path
from .curve_offset import offset_paths
from .region import Left, contacts_of, edges_of, grown, left_standing
from .relief import is_corner
from .sources import Sources

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

_SHARES = (1.0, 0.5, 0.25, 0.125)  # of the least radius: where a disc of it finds no room, smaller ones are tried
_SAME_MM = 0.1  # tips of the same corner
_TIP_OFF = 10.0  # tolerances: how far a corner of lines and arcs may lie from that of the dense edge


@dataclass(frozen=True, slots=True)
class Smoothed:
    """A region as a knife cuts it, and what it came by."""

    region: Geometry
    sharp: Geometry  # the region wanted, its tight corners made sharp
    around: Geometry  # all within the least radius of that


def for_knife(
    wanted: Geometry, wall: tuple[Path, ...], *, least_radius_mm: float, chord_mm: float, tolerance_mm: float
) -> Smoothed:
    """Return the region, smoothed outward only.

    Where the wall turns towards the pocket (a tongue of sheet) the bend becomes an arc of the least radius. Where
    the pocket turns into the sheet, a bend tighter than that becomes a sharp corner, the sides going on until they
    meet: a knife cannot follow a tight bend but is lifted and set anew at a corner.
    """
    import shapely

    if least_radius_mm == 0:
        return Smoothed(wanted, wanted, wanted)
    known = [tip for path in wall for _, found in _tight_tips(path, least_radius_mm) for tip in found]
    seek = _Seek(np.array(known).reshape(-1, 2), chord_mm, tolerance_mm)
    tips: list[Geometry] = []
    for share in _SHARES:
        tips += _sharp_tips(wanted, tips, share * least_radius_mm, seek)
    sharp = shapely.union_all([wanted, *tips])
    # all that no disc of this radius reaches without touching the region: a morphological closing
    around = grown(sharp, least_radius_mm, chord_mm=chord_mm)
    closed = grown(around, -least_radius_mm, chord_mm=chord_mm)
    return Smoothed(sharp.union(closed), sharp, around)


def knife_paths(
    wall: tuple[Path, ...], smoothed: Smoothed, *, least_radius_mm: float, tolerance_mm: float
) -> tuple[Path, ...]:
    """Return the smoothed region's edge as lines and arcs, as far as it is made of those of the region wanted.

    A closing by a disc is an offset outward and one back: by the curve, that leaves arcs of just that radius.
    """
    if least_radius_mm == 0:
        return wall
    sharp = tuple(_sharpened(path, smoothed.sharp, least_radius_mm, tolerance_mm) for path in wall)
    around, inner = (edges_of(region) for region in (smoothed.around, smoothed.region))
    outward = offset_paths(sharp, least_radius_mm, around, tolerance_mm=tolerance_mm)
    return offset_paths(outward, -least_radius_mm, inner, tolerance_mm=tolerance_mm)


def _sharpened(path: Path, sharp: Geometry, least: float, tolerance: float) -> Path:
    """Return a path with its tight arcs into the sheet replaced by the corner of their neighbours, if that is there."""
    import shapely

    edge = shapely.boundary(sharp)
    points, bulges = path.points_mm.copy(), path.bulges.copy()
    ends = np.roll(points, -1, axis=0)
    gone = np.zeros(len(points), dtype=bool)
    for piece, tips in _tight_tips(path, least):
        away = [float(shapely.distance(edge, shapely.Point(tip))) for tip in tips]
        if away and min(away) <= _TIP_OFF * tolerance:
            gone[piece] = True
            ends[piece - 1] = points[(piece + 1) % len(points)] = tips[int(np.argmin(away))]
    if not gone.any() or len(points) - gone.sum() < 2:
        return path
    sources = Sources((path,))
    for piece in np.flatnonzero((bulges != 0) & ~gone).tolist():
        track = sources.track(piece, 0.0)
        assert track is not None
        bulges[piece] = track.bulge(complex(*points[piece]), complex(*ends[piece]))
    return make_path(points[~gone], bulges[~gone])


def _tight_tips(path: Path, least: float) -> list[tuple[int, list[tuple[float, float]]]]:
    """Return the tight arcs into the sheet that stand alone, and where their neighbours would meet."""
    sources, count = Sources((path,)), len(path.bulges)
    tight = (path.bulges > 0) & (path_radii(path) < least)
    found = []
    for piece in np.flatnonzero(tight & ~np.roll(tight, 1) & ~np.roll(tight, -1)).tolist():
        before, after = (sources.track((piece + step) % count, 0.0) for step in (-1, 1))
        if before is not None and after is not None:
            found.append((piece, [(place.real, place.imag) for place in crossings(before, after)]))
    return found


@dataclass(frozen=True, slots=True)
class _Seek:
    """How corners are looked for."""

    known: FloatArray  # (N, 2) where known lines and arcs would meet
    chord: float
    tolerance: float

    def settled(self, apex: FloatArray) -> FloatArray:
        """Return a corner, or the known one that it must be."""
        away = np.hypot(*(self.known - apex).T)
        near = len(away) and away.min() <= _TIP_OFF * self.tolerance
        return np.asarray(self.known[int(np.argmin(away))]) if near else apex


def _sharp_tips(wanted: Geometry, found: list[Geometry], radius: float, seek: _Seek) -> list[Geometry]:
    """Return what makes those corners sharp that are tighter than a radius and not among those found."""
    import shapely

    centres = grown(wanted, -radius, chord_mm=seek.chord)
    swept = grown(centres, radius, chord_mm=seek.chord)
    left = left_standing(wanted, centres, swept, radius_mm=radius, tolerance_mm=seek.tolerance)
    new = [
        one
        for one in left
        if is_corner(one, radius) and all(shapely.distance(shapely.Point(one.tip), tip) > _SAME_MM for tip in found)
    ]
    return [tip for tip in (_tip(one, wanted, radius, seek) for one in new) if tip is not None]


def _tip(left: Left, wanted: Geometry, radius: float, seek: _Seek) -> Geometry | None:
    """Return the kite between a disc in a corner and the point where the corner's sides meet.

    The sides touch the disc of radius r at two places; they meet at r / cos(h) from its centre, where h is half the
    angle between the radii to those places.
    """
    import shapely

    contacts = contacts_of(left, wanted, radius)
    if contacts is None:
        return None
    radii = (contacts - left.centre) / np.hypot(*(contacts - left.centre).T)[:, None]
    middle = radii.sum(axis=0)
    half = float(np.hypot(*middle)) / 2  # cos(h)
    if half < np.sin(np.radians(15)):  # a corner of 30 degrees, as `is_corner` has it
        return None
    apex = seek.settled(left.centre + radius / half * middle / np.hypot(*middle))
    kite = shapely.Polygon([left.centre, contacts[0], apex, contacts[1]])
    return kite if kite.is_valid else None
