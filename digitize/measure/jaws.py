"""What calipers read of a ring: the least width between parallel jaws, and the length along those jaws."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..records import FloatArray
from .rings import rolled

_STEPS = 720  # directions in half a turn looked at besides those of the hull's edges
_EVEN = np.arange(_STEPS, dtype=np.float64) * (math.pi / _STEPS)


@dataclass(frozen=True, slots=True)
class Jaws:
    """How a ring lies between calipers."""

    length: float  # extent along the jaws
    width: float  # distance of the jaws, the least of all directions
    direction: float  # of the length, radians from +x, 0 <= direction < pi; 0 if round
    turn: float  # radians, counter-clockwise, -pi/4 to pi/4: sets the length along x or y; 0 if round
    is_round: bool = False


def jaws(ring: FloatArray, *, within: float) -> Jaws:
    """Return what calipers read of a closed ring.

    The width is the least distance between two parallel lines that hold the ring between them, as whoever measures
    turns the jaws until they read least; the length is the ring's extent along those lines. (The rectangle of least
    area, which is another for many shapes, is what nobody finds by turning calipers.) One of the lines lies along an
    edge of the convex hull: M. E. Houle and G. T. Toussaint, Computing the width of a set, IEEE Trans. PAMI 10 (1988).

    Parameters
    ----------
    ring
        (N, 2), N >= 3, any unit, y up, with an area above 0.
    within
        Widths that differ by less are one and the same reading. A ring whose widths are all the same within twice
        that (on either side) is round: length and width are the mean of all directions, and it has no direction.
        Of several directions that read the same, as of a hexagon, `turn` takes the one nearest to x or y.

    Examples
    --------
    >>> one = jaws(np.array([(0, 0), (8, 6), (5, 10), (-3, 4)]), within=0.001)
    >>> round(one.length, 9), round(one.width, 9), round(math.degrees(one.direction), 2)
    (10.0, 5.0, 36.87)
    """
    hull = convex_hull(ring)
    turned = _Turned(hull)
    along: FloatArray = turned.edges % math.pi
    even, across = np.split(turned.extents(np.concatenate([_EVEN, along + math.pi / 2])), [_STEPS])
    least = float(across.min())
    if float(even.max()) - least <= 2 * within:
        mean = float(even.mean())
        return Jaws(mean, mean, 0.0, 0.0, is_round=True)
    direction = float(along[np.argmin(across)])
    length = float(turned.extents(np.array([direction]))[0])
    looked = np.concatenate([along, _EVEN])
    widths = np.concatenate([across, rolled(even, -_STEPS // 2)])
    return Jaws(length, least, direction, _least_turn(looked, widths, least + within))


def convex_hull(points: FloatArray) -> FloatArray:
    """Return the corners of the convex hull, counter-clockwise, (M, 2); points (N, 2) not all on a line."""
    ordered = points[np.lexsort((points[:, 1], points[:, 0]))]
    return np.concatenate([_chain(ordered)[:-1], _chain(ordered[::-1])[:-1]])


def extents(hull: FloatArray, directions: FloatArray) -> FloatArray:
    """Return how far a convex hull (M, 2), counter-clockwise, reaches along each direction (K,) in radians.

    The corner farthest along a direction lies between the edges that turn past its normal.
    """
    return _Turned(hull).extents(directions)


class _Turned:
    """A convex hull and how its edges turn."""

    def __init__(self, hull: FloatArray) -> None:
        self._x, self._y = np.concatenate([hull, hull[:1]]).T.copy()
        self.edges: FloatArray = np.arctan2(np.diff(self._y), np.diff(self._x))
        self._angles: FloatArray = np.unwrap(self.edges)

    def extents(self, directions: FloatArray) -> FloatArray:
        """Return how far the hull reaches along each direction."""
        first = self._angles[0]
        far, near = (
            np.searchsorted(self._angles, first + (directions + quarter - first) % math.tau)
            for quarter in (math.pi / 2, -math.pi / 2)
        )
        along_x, along_y = self._x[far] - self._x[near], self._y[far] - self._y[near]
        return np.asarray(along_x * np.cos(directions) + along_y * np.sin(directions))


def _chain(ordered: FloatArray) -> FloatArray:
    """Return one side of the hull: points in order without those that do not turn left.

    All of them at once, again and again: a point right of the line of two others is on no hull, whatever becomes of
    those. Ends stay.
    """
    x, y = ordered.T.copy()
    while len(x) > 2:
        dx, dy = np.diff(x), np.diff(y)
        left = dx[:-1] * dy[1:] - dy[:-1] * dx[1:] > 0
        if left.all():
            break
        kept = np.flatnonzero(np.concatenate([[True], left, [True]]))
        x, y = x[kept], y[kept]
    return np.stack([x, y], axis=1)


def _least_turn(directions: FloatArray, widths: FloatArray, most: float) -> float:
    """Return the smallest turn that sets one of the directions of least width along x or y.

    Directions next to one another whose widths are all below `most` are one, the narrowest of them.
    """
    order = np.argsort(directions, kind="stable")
    angles, widths = directions[order], widths[order]
    narrow = widths <= most
    first = int(np.flatnonzero(~narrow)[0])  # begin where no run is cut in two
    angles, widths, narrow = rolled(angles, -first), rolled(widths, -first), rolled(narrow, -first)
    starts = np.flatnonzero(narrow & ~rolled(narrow, 1))
    ends = np.flatnonzero(narrow & ~rolled(narrow, -1))
    best = [float(angles[s + int(np.argmin(widths[s : e + 1]))]) for s, e in zip(starts, ends, strict=True)]
    quarter = math.pi / 2
    return min((quarter * round(angle / quarter) - angle for angle in best), key=abs)
