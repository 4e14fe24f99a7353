"""What a coarse picture leaves unsure of an item's edge, and of bends that may be sharp corners."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from ..measure.rings import rolled
from ..records import Contour, Contribution, FloatArray

# Of an edge where pixels are that coarse, and of what a length owes to a corner put back between short sides, before it
# is counted how sharp that is (`tips`): from 200 renders of 28 to 76 dpi.
COARSE_SD_PX, CORNER_SD_PX = 0.01, 0.045
# Points about 1 px apart. A corner blurred by a pixel turns within about two of them each way; what turns as much over
# six is round. From renders of 28 to 76 dpi.
_NEAR, _FAR = 2, 6
_LEAST_TURN_DEG = 20.0  # within two points each way; a corner of 120 degrees turns by 27 at a blur of 1 px
_LEAST_SINE = 0.1  # of the angle between a bend's sides: below, they meet nowhere near
_OF_ALL = 0.6  # of what it turns within six; of a circle it is a third
_BESIDE = 0.3  # of the gap at a corner, root mean square over the points within two of it; from the same renders


def blunt_corners(contour: Contour) -> list[tuple[int, FloatArray]]:
    """Return the points where an edge bends as a blurred corner does that was not restored, and where its sides meet.

    Returns
    -------
    list of (int, FloatArray)
        Index of the point, and (2,) px.
    """
    found = [(at, _meeting(contour.points_px, at)) for at in _bends(contour)]
    return [(at, apex) for at, apex in found if apex is not None]


def coarse_edge(contours: tuple[Contour, ...], mm_per_px: float) -> Contribution:
    """Return the line for edges that are seen by coarse pixels of that size."""
    at_ends = CORNER_SD_PX if contours[0].corners else COARSE_SD_PX
    length = math.sqrt(2.0) * at_ends * mm_per_px
    return Contribution("coarse picture", COARSE_SD_PX * mm_per_px, length, acts="side by side")


def coarse_corners(contours: tuple[Contour, ...], mm_per_px: float) -> tuple[Contribution, ...]:
    """Return the line for such corners: each lies between where it was found and where its sides meet (4.3.7).

    Parameters
    ----------
    contours
        Of the item, the exterior first.
    mm_per_px
        Size of a pixel.
    """
    seen = [(one, blunt_corners(one)) for one in contours]
    count = sum(len(found) for _, found in seen)
    if not count:
        return ()
    gaps = [math.dist(one.points_px[at], apex) for one, found in seen for at, apex in found]
    near = (2 * _NEAR + 1) * count / sum(len(one.points_px) for one in contours)
    point = _BESIDE * math.sqrt(float(np.mean(np.square(gaps))) * min(near, 1.0))
    longer = max(_longer_px(one.points_px, [apex for _, apex in found]) for one, found in seen)
    note = f"{count} that were too near another to be told from round ones"
    line = Contribution(
        "blunt corners", point * mm_per_px, longer / math.sqrt(3.0) * mm_per_px, note=note, acts="all round"
    )
    return (line,)


def _longer_px(points: FloatArray, apexes: list[FloatArray]) -> float:
    """Return by how much width or height grows if the corners are sharp."""
    with_them = np.vstack([points, *apexes])
    return float((np.ptp(with_them, axis=0) - np.ptp(points, axis=0)).max())


def _bends(contour: Contour) -> Iterator[int]:
    """Yield the sharpest point of each bend as tight as a blurred corner's, away from corners that were restored."""
    points = contour.points_px
    count = len(points)
    if count < 4 * _FAR:
        return
    near, far = _turn(points, _NEAR), _turn(points, _FAR)
    tight = (np.abs(near) > math.radians(_LEAST_TURN_DEG)) & (np.abs(near) > _OF_ALL * np.abs(far))
    for corner in contour.corners:
        tight[np.arange(corner - _FAR, corner + _FAR + 1) % count] = False
    for at in np.argsort(-np.abs(near), kind="stable").tolist():
        if tight[at]:
            tight[np.arange(at - _FAR // 2, at + _FAR // 2 + 1) % count] = False
            yield at


def _turn(points: FloatArray, reach: int) -> FloatArray:
    """Return by how much the edge turns (radians) within so many points each way of each."""
    step = rolled(points, -1) - rolled(points, 1)
    one, other = rolled(step, reach), rolled(step, -reach)
    across = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    along = (one * other).sum(axis=1)
    return np.asarray(np.arctan2(across, along))


def _meeting(points: FloatArray, at: int) -> FloatArray | None:
    """Return where the sides of a bend would meet, (2,) px; None where that is nowhere near."""
    count = len(points)
    (a, b), (c, d) = ((points[(at + s * _FAR) % count], points[(at + s * (_NEAR + 1)) % count]) for s in (-1, 1))
    first, second = b - a, d - c
    across = first[0] * second[1] - first[1] * second[0]
    if abs(across) < _LEAST_SINE * math.dist(a, b) * math.dist(c, d):
        return None
    along = ((c - a)[0] * second[1] - (c - a)[1] * second[0]) / across
    apex = np.asarray(a + along * first)
    return apex if math.dist(apex, points[at]) < _FAR else None
