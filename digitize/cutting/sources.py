"""The known lines and arcs that an offset starts from, and which of them each place of the dense offset belongs to.

A place of an offset lies its distance from the nearest place of the outline. That is within a line or arc, whose offset
is a line or arc, or at a vertex, whose offset is an arc about it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..fitting.bulge import make_path, path_kinks, path_points, path_tangents, reversed_curve
from ..fitting.pieces import IntArray
from ..fitting.track import Track, beside, track_of
from ..measure.rings import signed_area
from ..records import Circle, Curve, FloatArray, Path

_NOTHING_MM = 1e-6  # radius of an arc that is gone
_SIDE_MM = 1.0  # longer chords make large boxes, which a tree of them parts badly
_SAGITTA_MM = 1e-3  # of the chords by which the nearest piece is found; the place on it is then found exactly


def directed(curve: Curve, *, hole: bool) -> Path:
    """Return a curve as a path, counter-clockwise or, for a hole, clockwise; a circle as two halves."""
    sign = -1.0 if hole else 1.0
    if isinstance(curve, Circle):
        x, y = curve.centre_mm
        ends = np.array([[x - curve.radius_mm, y], [x + curve.radius_mm, y]])
        return make_path(ends, np.full(2, sign))
    area = signed_area(path_points(curve, *_places(curve)[:2]))
    turned = curve if area * sign > 0 else reversed_curve(curve)
    assert isinstance(turned, Path)
    return turned


def _places(path: Path) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return piece and share of places along a path, each piece's start the first, and its pieces' sweeps (K,)."""
    sweep = 4 * np.arctan(path.bulges)
    ends = np.roll(path.points_mm, -1, axis=0)
    chord = np.hypot(*(ends - path.points_mm).T)
    sagitta = np.abs(path.bulges) * chord / 2
    counts = np.ceil(np.max([np.sqrt(sagitta / _SAGITTA_MM), np.abs(sweep), chord / _SIDE_MM], axis=0)).astype(np.intp)
    counts = np.maximum(counts, 1)
    piece = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[piece]
    return piece, share, sweep


@dataclass(frozen=True)
class Sources:
    """Closed paths, material on their left; piece j starts at vertex j. Pieces of all paths are numbered on."""

    paths: tuple[Path, ...]

    @cached_property
    def start(self) -> FloatArray:
        """(K,) complex: each piece's start, which is vertex j."""
        return np.concatenate([_plane(path.points_mm) for path in self.paths])

    @cached_property
    def end(self) -> FloatArray:
        """(K,) complex: each piece's end."""
        return self.start[self.following]

    @cached_property
    def bulge(self) -> FloatArray:
        """(K,) tan(sweep / 4)."""
        return np.concatenate([path.bulges for path in self.paths])

    @cached_property
    def following(self) -> IntArray:
        """(K,) the piece after each."""
        counts = np.cumsum([0, *(len(path.bulges) for path in self.paths)])
        return np.concatenate([low + (np.arange(high - low) + 1) % (high - low) for low, high in _pairs(counts)])

    @cached_property
    def kink(self) -> FloatArray:
        """(K,) radians: the turn at each vertex, positive to the left."""
        return np.concatenate([path_kinks(path) for path in self.paths])

    @cached_property
    def leaving(self) -> FloatArray:
        """(K,) complex: unit direction in which each piece leaves its start."""
        return np.exp(1j * np.concatenate([path_tangents(path)[0] for path in self.paths]))

    @cached_property
    def arriving(self) -> FloatArray:
        """(K,) complex: unit direction in which each piece reaches its end."""
        return np.exp(1j * np.concatenate([path_tangents(path)[1] for path in self.paths]))

    def track(self, piece: int, distance: float) -> Track | None:
        """Return what a piece's offset to the right runs on; None where an arc vanishes."""
        own = track_of(complex(self.start[piece]), complex(self.end[piece]), float(self.bulge[piece]))
        moved = beside(own, -distance)
        return None if moved is None or (moved.turn != 0 and moved.radius <= _NOTHING_MM) else moved

    def around(self, vertex: int, distance: float) -> Track:
        """Return the arc that a corner's offset runs on."""
        return Track(complex(self.start[vertex]), 0j, abs(distance), 1 if distance > 0 else -1)

    def owners(self, places: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return for complex places (N,) what is nearest, and how far in mm: 2 j for vertex j, 2 j + 1 for piece j."""
        piece = self._nearest(places)
        start, end, bulge = self.start[piece], self.end[piece], self.bulge[piece]
        beyond, away = _beyond(places, start, end, bulge)
        vertex = np.where(beyond < 0, piece, self.following[piece])
        owner = np.where(beyond == 0, 2 * piece + 1, 2 * vertex)
        return owner, np.where(beyond == 0, away, np.abs(places - self.start[vertex]))

    def _nearest(self, places: FloatArray) -> IntArray:
        import shapely

        sides, owner, done = [], [], 0
        for path in self.paths:
            piece, share, _ = _places(path)
            points = path_points(path, piece, share)
            sides.append(np.stack([points, np.roll(points, -1, axis=0)], axis=1))
            owner.append(piece + done)
            done += len(path.bulges)
        tree = shapely.STRtree(np.asarray(shapely.linestrings(np.concatenate(sides))))
        asked, found = tree.query_nearest(shapely.points(places.real, places.imag), all_matches=False)
        nearest = np.empty(len(places), dtype=np.intp)
        nearest[asked] = np.concatenate(owner)[found]
        return nearest


def _beyond(places: FloatArray, start: FloatArray, end: FloatArray, bulge: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return (N,) where places lie before their piece (-1), beside it (0), after it (1); and how far across it."""
    straight = bulge == 0
    along = (places - start) / (end - start)
    line = np.where(along.real < 0, -1, np.where(along.real > 1, 1, 0))
    off = np.abs(along.imag) * np.abs(end - start)
    safe = np.where(straight, 1.0, bulge)
    centre = _centres(start, end, safe)
    middle = (start + end) / 2 - 1j * safe / 2 * (end - start)
    turned = np.sign(safe) * np.angle((places - centre) / (middle - centre))
    half = 2 * np.abs(np.arctan(safe))
    arc = np.where(np.abs(turned) <= half, 0, np.sign(turned).astype(np.intp))
    return np.where(straight, line, arc), np.where(
        straight, off, np.abs(np.abs(places - centre) - np.abs(start - centre))
    )


def _centres(start: FloatArray, end: FloatArray, bulge: FloatArray) -> FloatArray:
    return np.asarray((start + end) / 2 + 1j * (end - start) * (1 - bulge**2) / (4 * bulge))


def _plane(points: FloatArray) -> FloatArray:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _pairs(counts: FloatArray) -> list[tuple[int, int]]:
    return list(zip(counts[:-1].tolist(), counts[1:].tolist(), strict=True))
