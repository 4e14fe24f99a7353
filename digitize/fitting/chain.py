"""A closed chain of short chords, its corners on lines and arcs to begin with, written as those lines and arcs again.

For edges made by computation, which have no noise: what `fit` does for measured ones would be work for nothing here.
"""

from __future__ import annotations

import numpy as np

from ..measure.rings import signed_area
from ..records import Circle, Curve, FloatArray
from ..steady import product
from .bulge import make_path

_LARGEST_MM = 2000.0  # radius; flatter is a line
_ROUND = 0.9  # of a circle's area: a ring round its middle with less is none
_SMALLEST_MM = 0.05  # radius; tighter is a corner
_WIDEST = np.radians(300)  # of one arc: beyond, its ends lie too near one another to tell where it is


def curve_of_chain(ring_mm: FloatArray, *, within_mm: float) -> Curve:
    """Return a closed chain as lines and arcs that keep within a distance of it, each as long as can be.

    Parameters
    ----------
    ring_mm : (N, 2)
        Without a repeated last point; the curve runs as it does, and a circle is one of the drawing's own kind.
    within_mm
        How far a corner of the chain may lie from the curve, and the middle of a chord from its arc.
    """
    circle = _whole_circle(ring_mm, within_mm)
    if circle is not None:
        return circle
    ring = np.roll(ring_mm, -_first_break(ring_mm, within_mm), axis=0)
    points, bulges = _pieces(np.vstack([ring, ring[:1]]), within_mm)
    return make_path(ring[points], bulges)


def _whole_circle(ring: FloatArray, within: float) -> Circle | None:
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    away = np.hypot(*(ring - middle).T)
    radius = (away.min() + away.max()) / 2
    if len(ring) < 8 or away.max() - radius > within or abs(signed_area(ring)) < _ROUND * np.pi * radius**2:
        return None
    return Circle((float(middle[0]), float(middle[1])), float(radius))


def _first_break(ring: FloatArray, within: float) -> int:
    """Return a corner of a chain where one piece ends, seen by pieces laid from the first corner on."""
    points, _ = _pieces(np.vstack([ring, ring[:1]]), within)
    return int(points[1]) if len(points) > 2 else 0


def _pieces(line: FloatArray, within: float) -> tuple[list[int], FloatArray]:
    """Return where pieces of an open line begin, and their bulges."""
    begins, bulges, at, last = [], [], 0, len(line) - 1
    while at < last:
        end, bulge = _longest(line, at, within)
        begins.append(at)
        bulges.append(bulge)
        at = end
    if len(begins) == 1:  # a closed path has two pieces at least
        middle = last // 2
        return [0, middle], np.array([_bulge(line[: middle + 1]), _bulge(line[middle:])])
    return begins, np.array(bulges)


def _longest(line: FloatArray, at: int, within: float) -> tuple[int, float]:
    """Return the end and the bulge of the longest piece from a corner of the line: doubled, then halved in."""
    last = len(line) - 1
    good, step, bulge = at + 1, 1, 0.0
    while True:
        end = min(good + step, last)
        found = None if end == good else _piece(line[at : end + 1], within)
        if found is not None:
            good, bulge, step = end, found, 2 * step
        elif step > 1:
            step = max(1, step // 4)
        else:
            return good, bulge


def _piece(run: FloatArray, within: float) -> float | None:
    """Return the bulge of the line or arc that stands for a run of corners; None if none does."""
    chord = run[-1] - run[0]
    length = float(np.hypot(*chord))
    if length < 1e-9:
        return None
    along, across = product(run - run[0], chord) / length, _cross(chord, run - run[0]) / length
    if np.abs(across).max() <= within and (np.diff(along) > 0).all():
        return 0.0
    return _arc(run, along, across, length, within)


def _arc(run: FloatArray, along: FloatArray, across: FloatArray, length: float, within: float) -> float | None:
    """Return the bulge of the arc between a run's ends that passes it in its middle.

    From a place of the arc, x along and y across its chord c, both ends are seen under pi less half the sweep
    (inscribed angle): tan(sweep / 2) = -y c / (x (c - x) - y^2).
    """
    at = int(np.argmax(np.abs(across)))
    x, y = float(along[at]), float(across[at])
    half = float(np.arctan2(-y * length, x * (length - x) - y * y))
    if not 0 < abs(half) < _WIDEST / 2:
        return None
    radius = length / 2 / np.sin(abs(half))
    sides = np.hypot(np.diff(along), np.diff(across))
    if not _SMALLEST_MM <= radius <= _LARGEST_MM or sides.max() ** 2 / (8 * radius) > within:
        return None
    centre = np.array([length / 2, length / 2 / np.tan(half)])  # to the left where it turns left
    away = np.column_stack([along, across]) - centre
    turned = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
    if np.abs(np.hypot(*away.T) - radius).max() > within or (np.diff(turned) * half <= 0).any():
        return None
    return float(np.tan(half / 2))


def _bulge(run: FloatArray) -> float:
    found = _piece(run, np.inf)
    return 0.0 if found is None else found


def _cross(one: FloatArray, others: FloatArray) -> FloatArray:
    return np.asarray(one[0] * others[:, 1] - one[1] * others[:, 0])
