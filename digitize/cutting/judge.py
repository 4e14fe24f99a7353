"""Whether a path made of known lines and arcs may be cut: judged by the dense offset, both ways."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..fitting.bulge import curve_ring
from ..fitting.distance import distances_to, sampled_ring
from ..fitting.nudge import aligned, nudged
from ..fitting.proof import keeps_within
from ..records import BoolArray, Curve, FloatArray, Path
from .curve_offset import as_curve

PEAK = 4.5  # standard deviations: the largest of 20,000 white-noise values is 4.1 on average
_STEP_MM = 0.1  # along a path, between places that are looked at
_MEAN_MM = 0.8  # stretch whose mean is looked at where noise hides single places
_SIDE_MM = 1.0  # longer sides make large boxes, which a tree of them parts badly
_CHORD_SHARE = 0.05  # of the tolerance: chord error of the path looked at


@dataclass(frozen=True, slots=True)
class ByCurve:
    """Paths made of an item's own lines and arcs, each to be judged where it is wanted."""

    paths: tuple[Path, ...] = ()
    noise_mm: float = 0.0  # of the measured edge: it stays in the dense offset where the edge has corners

    def along(self, ring_mm: FloatArray, tolerance_mm: float, corners: tuple[int, ...] = ()) -> Curve | None:
        """Return the path that runs where a dense ring does and turns at its corners (indices); None if none does.

        The mean of neighbouring places keeps to the tolerance both ways; so do single ones, or to 4.5 standard
        deviations of the edge's noise if that is more, as the fit has it.
        """
        single = max(tolerance_mm, PEAK * self.noise_mm)
        box = _box(ring_mm)
        for path in self.paths:
            if np.abs(_box(curve_ring(path, chord_mm=tolerance_mm)) - box).max() > 2 * single + tolerance_mm:
                continue
            for trial in _trials(path, ring_mm, tolerance_mm):
                if _turns_at(trial, ring_mm[list(corners)], 2 * tolerance_mm) and _near(
                    trial, ring_mm, tolerance_mm, single
                ):
                    return as_curve(trial)
        return None


def _trials(path: Path, ring: FloatArray, tolerance: float) -> Iterator[Path]:
    """Yield a path as it is, then moved where it is a little off: an outline may have used up the tolerance."""
    yield path
    moved = nudged(path, ring, tolerance)
    if moved is not None:
        yield moved


def _turns_at(path: Path, corners: FloatArray, within: float) -> bool:
    gaps = np.hypot(*(path.points_mm[:, None] - corners[None]).transpose(2, 0, 1))
    return bool((gaps.min(axis=0) <= within).all())


def _near(path: Path, ring: FloatArray, tolerance: float, single: float) -> bool:
    """Whether path and ring lie near one another, both ways, and the path does not cross itself."""
    import shapely

    flat = curve_ring(path, chord_mm=_CHORD_SHARE * tolerance)
    met = aligned(path, ring)
    length = float(np.hypot(*(np.roll(flat, -1, axis=0) - flat).T).sum())
    shown = met is not None and keeps_within(*met, ring, np.full(len(ring), tolerance))
    for one, other in () if shown else ((flat, ring), (ring, flat)):
        places, even = _places(other)
        away = distances_to(sampled_ring(one, _SIDE_MM), places)
        if away.max() > single or _means(away[even], length).max() > tolerance:
            return False
    return bool(shapely.is_valid(shapely.polygons(flat)))


def _places(ring: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return a ring's vertices and places a step apart, in order, and which are the latter: all, if they are denser."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    if np.diff(along).max() <= _STEP_MM:
        return ring, np.ones(len(ring), dtype=bool)
    steps = np.arange(0, along[-1], _STEP_MM)
    places = np.union1d(along[:-1], steps)
    return np.column_stack([np.interp(places, along, closed[:, axis]) for axis in (0, 1)]), np.isin(places, steps)


def _means(values: FloatArray, length_mm: float) -> FloatArray:
    """Return the means of values around a ring of a length, each over a stretch of it."""
    count = int(np.clip(np.ceil(_MEAN_MM * len(values) / length_mm), 1, len(values)))
    sums = np.cumsum(np.concatenate([[0.0], values, values[: count - 1]]))
    return np.asarray((sums[count:] - sums[:-count]) / count)


def _box(points: FloatArray) -> FloatArray:
    return np.concatenate([points.min(axis=0), points.max(axis=0)])
