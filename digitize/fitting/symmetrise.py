"""A nearly symmetric ring made symmetric, and a path that is so exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..records import Circle, Curve, FloatArray, Path, Symmetry
from ..steady import as_complex
from .bulge import curve_area, curve_ring, make_path, path_points
from .distance import two_sided_distance
from .symmetry import ComplexArray, motions
from .vast import vast_pieces

_STEP_MM, _CHORD_MM = 0.05, 1e-4  # between places at which curves are held against one another, and their chords
_SAMPLES = 16  # of a piece, to see where it crosses a line
_HALVINGS = 40  # of a piece that crosses an axis: to rounding
_SMOOTH = np.radians(1.0)  # a kink on an axis below this is none
_FLAT_SHARE = 0.25  # of what the path may move: a side across an axis that bows less than this is straight
_SHORT_MM = 0.05  # pieces cut shorter than this by an axis are joined with their neighbour


def symmetrised_rings(rings_mm: tuple[FloatArray, ...], symmetry: Symmetry) -> tuple[FloatArray, ...]:
    """Return an item's rings (exterior first), each point moved to the mean of where its images' rings pass.

    Holes are left as they are unless the symmetry is theirs too.
    """
    centre = np.array(symmetry.centre_mm)
    groups = [rings_mm[:1], rings_mm[1:]] if symmetry.with_holes else [rings_mm[:1]]
    moved = [_mean_ring(ring, group, symmetry, centre) for group in groups for ring in group]
    return (*moved, *rings_mm[len(moved) :])


def _mean_ring(ring: FloatArray, group: tuple[FloatArray, ...], symmetry: Symmetry, centre: FloatArray) -> FloatArray:
    w = as_complex(ring - centre)
    middles = np.array([one.mean(axis=0) for one in group])
    total = np.zeros_like(w)
    for motion in motions(symmetry):
        asked = _plane(motion.before(w)) + centre
        onto = group[int(np.argmin(np.hypot(*(middles - asked.mean(axis=0)).T)))]
        total += motion.image(as_complex(_feet(onto, asked) - centre))
    return _plane(total / len(motions(symmetry))) + centre


def _feet(ring: FloatArray, points: FloatArray) -> FloatArray:
    """Return the nearest points (M, 2) of a closed polyline."""
    import shapely

    sides = np.stack([ring, np.roll(ring, -1, axis=0)], axis=1)
    tree = shapely.STRtree(np.asarray(shapely.linestrings(sides)))
    asked, found = tree.query_nearest(shapely.points(points), all_matches=False)
    which = np.empty(len(points), dtype=np.intp)
    which[asked] = found
    start, along = sides[which, 0], sides[which, 1] - sides[which, 0]
    share = np.sum((points - start) * along, axis=1) / np.maximum(np.sum(along**2, axis=1), 1e-30)
    return np.asarray(start + np.clip(share, 0, 1)[:, None] * along)


def symmetric_curve(curve: Curve, symmetry: Symmetry, *, within_mm: float) -> Curve | None:
    """Return a nearly symmetric path made exactly so: one sector of it, repeated by the rotations and mirrorings.

    Returns
    -------
    Curve or None
        At most `within_mm` from what was given; None if that cannot be had. A circle stays as it is.
    """
    if isinstance(curve, Circle):
        return curve
    centre = np.array(symmetry.centre_mm)
    local = make_path(curve.points_mm - centre, curve.bulges)
    if symmetry.axes_deg:
        made = _by_mirrors(local, symmetry.axes_deg, _FLAT_SHARE * within_mm)
    else:
        made = _by_turns(local, symmetry.turns)
    if made is None or len(made.bulges) < 2:
        return None
    points, bulges = np.array(made.points), np.array(made.bulges)
    bulges[vast_pieces(np.abs(np.diff(points)), bulges)] = 0.0
    path = make_path(_plane(points[:-1]) + centre, bulges)
    return path if max(two_sided_distance(path, _flat(curve), step_mm=_STEP_MM)[:2]) <= within_mm else None


def largest_move(curve: Curve, ring_mm: FloatArray) -> float:
    """Return the largest distance between a curve and a measured ring, either way, in mm."""
    return max(two_sided_distance(curve, ring_mm, step_mm=2 * _STEP_MM)[:2])


def _flat(curve: Curve) -> FloatArray:
    import shapely

    ring = curve_ring(curve, chord_mm=_CHORD_MM)
    return np.asarray(shapely.get_coordinates(shapely.segmentize(shapely.linearrings(ring), 2 * _STEP_MM))[:-1])


@dataclass(frozen=True, slots=True)
class _Open:
    """An open path: one bulge fewer than points, in complex numbers about the centre."""

    points: list[complex]
    bulges: list[float]

    def turned(self, turn: complex) -> _Open:
        return _Open([p * turn for p in self.points], self.bulges)

    def backwards(self) -> _Open:
        return _Open(self.points[::-1], [-b for b in self.bulges[::-1]])

    def mirrored(self, axis: complex) -> _Open:
        return _Open([axis**2 * p.conjugate() for p in self.points], [-b for b in self.bulges])

    def then(self, other: _Open) -> _Open:
        return _Open(self.points + other.points[1:], self.bulges + other.bulges)


@dataclass(frozen=True, slots=True)
class _Place:
    """A place on a path: a piece and how far along it."""

    piece: int
    share: float
    at: complex


def _by_mirrors(path: Path, axes_deg: tuple[float, ...], flat_mm: float) -> _Open | None:
    """Return the path as the sector between two neighbouring axes, its mirror image, and both turned."""
    order = len(axes_deg)
    step = np.pi / order * np.sign(curve_area(path))
    one = complex(np.exp(1j * np.radians(axes_deg[0])))
    other = one * complex(np.exp(1j * step))
    if order == 1:
        places = _crossings(path, one)
    else:
        places = [place for ray in (one, other) for place in _crossings(path, ray) if (place.at / ray).real > 0]
    if len(places) != 2:
        return None
    sector = _without_last_bit(_without_last_bit(_between(path, *places)).backwards()).backwards()
    whole = _joined(sector, sector.mirrored(other).backwards(), other, flat_mm)
    turned = whole
    for k in range(1, order):
        turn = complex(np.exp(2j * step * k))
        turned = _joined(turned, whole.turned(turn), one * turn, flat_mm)
    return _closed(turned, one, flat_mm)


def _by_turns(path: Path, turns: int) -> _Open | None:
    """Return the path as the sector from its first joint to that joint's image, turned again and again."""
    turn = complex(np.exp(2j * np.pi / turns * np.sign(curve_area(path))))
    first = complex(*path.points_mm[0])
    goal = first * turn
    joints = [_Place(i, 0.0, complex(*joint)) for i, joint in enumerate(path.points_mm)]
    near = min([*joints, *_crossings(path, goal / abs(goal))], key=lambda place: abs(place.at - goal))
    if near.piece == 0 and near.share == 0:
        return None
    sector = _without_last_bit(_between(path, joints[0], near))
    sector = _Open([*sector.points[:-1], goal], sector.bulges)
    whole = sector
    for k in range(1, turns):
        whole = whole.then(sector.turned(turn**k))
    return whole


def _crossings(path: Path, ray: complex) -> list[_Place]:
    """Return where a path crosses the line through 0 along `ray`, in its order."""
    count = len(path.bulges)
    piece, share = np.repeat(np.arange(count), _SAMPLES), np.tile(np.arange(_SAMPLES) / _SAMPLES, count)

    def left(piece: np.ndarray, share: np.ndarray) -> np.ndarray:
        return np.asarray((as_complex(path_points(path, piece, share)) / ray).imag > 0)

    sides = left(piece, share)
    found = np.flatnonzero(sides != np.roll(sides, -1))
    low, high, where = share[found], share[found] + 1 / _SAMPLES, piece[found]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        same = left(where, middle) == sides[found]
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    at = as_complex(path_points(path, where, low))
    onto = np.real(at / ray) * ray
    return [_Place(int(i), float(t), complex(p)) for i, t, p in zip(where, low, onto, strict=True)]


def _between(path: Path, start: _Place, end: _Place) -> _Open:
    """Return the part of a closed path from one place on to another; a place on a joint is the start of a piece."""
    joints = as_complex(path.points_mm)
    count, bulges = len(joints), path.bulges.tolist()
    points, found, piece, share = [start.at], [], start.piece, start.share
    while piece != end.piece or share > end.share:
        found.append(_part(bulges[piece], 1 - share))
        piece, share = (piece + 1) % count, 0.0
        points.append(complex(joints[piece]))
    if end.share == 0 and found:
        return _Open(points, found)
    return _Open([*points, end.at], [*found, _part(bulges[piece], end.share - share)])


def _part(bulge: float, share: float) -> float:
    return float(np.tan(share * np.arctan(bulge)))


def _without_last_bit(sector: _Open) -> _Open:
    """Return an open path whose last piece is not a scrap: the one before it goes on to its end."""
    if len(sector.bulges) < 2 or abs(sector.points[-1] - sector.points[-2]) >= _SHORT_MM:
        return sector
    return _Open([*sector.points[:-2], sector.points[-1]], sector.bulges[:-1])


def _joined(before: _Open, after: _Open, axis: complex, flat_mm: float) -> _Open:
    """Return two mirror images on end; where they meet smoothly on their axis, their two pieces there become one."""
    bulge = _bulge_across(before, after, axis, flat_mm)
    if bulge is None:
        return before.then(after)
    return _Open([*before.points[:-1], *after.points[1:]], [*before.bulges[:-1], bulge, *after.bulges[1:]])


def _closed(whole: _Open, axis: complex, flat_mm: float) -> _Open:
    """Return a path that ends where it begins, on an axis, begun at the next joint if it is smooth there."""
    bulge = None if len(whole.bulges) < 3 else _bulge_across(whole, whole, axis, flat_mm)
    if bulge is None:
        return whole
    return _Open([*whole.points[1:-1], whole.points[1]], [*whole.bulges[1:-1], bulge])


def _bulge_across(before: _Open, after: _Open, axis: complex, flat_mm: float) -> float | None:
    """Return the bulge of the one piece that the last one of a path and its mirror image become.

    None where they meet at a kink, or would be an arc of more than 2 m radius that is not flat: two lines stay two.
    """
    if not _smooth(before, axis):
        return None
    start, middle, end = before.points[-2], before.points[-1], after.points[1]
    chord = end - start
    bulge = float(-2 * ((middle - start) / chord).imag)  # of the arc between mirror images through a point on the axis
    if not vast_pieces(np.array([abs(chord)]), np.array([bulge]))[0]:
        return bulge
    return 0.0 if abs(bulge * chord) / 2 <= flat_mm else None


def _smooth(before: _Open, axis: complex) -> bool:
    chord = before.points[-1] - before.points[-2]
    ahead = np.angle(chord) + 2 * np.arctan(before.bulges[-1])
    return bool(2 * abs(np.arcsin(np.clip(np.cos(ahead - np.angle(axis)), -1, 1))) < _SMOOTH)


def _plane(w: ComplexArray) -> FloatArray:
    return np.column_stack([w.real, w.imag])
