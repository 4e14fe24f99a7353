"""What of an outline locates an item in its pocket: corners and long straight edges; leads and notches keep off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import bulge_to_sweep, path_kinks, path_points, path_radii
from ..records import Circle, Curve, FloatArray, Path

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

CORNER = np.radians(20)  # of turn; less is no corner
TIGHT_MM = 5.0  # an arc of a smaller radius is a rounded corner
BOW_MM = 0.05  # a piece that bows less counts as straight
_LONG_PART = 0.5  # of the longest straight edge: edges as long as that locate too


def corner_points(curve: Curve) -> FloatArray:
    """Return the corners (N, 2) of a curve, sharp or rounded: where it turns by more than 20 degrees within 5 mm."""
    if isinstance(curve, Circle):
        return np.zeros((0, 2))
    sharp = curve.points_mm[np.abs(path_kinks(curve)) > CORNER]
    tight = (path_radii(curve) < TIGHT_MM) & (np.abs(bulge_to_sweep(curve.bulges)) > CORNER)
    at = np.flatnonzero(tight)
    return np.concatenate([sharp, path_points(curve, at, np.full(len(at), 0.5))])


def straight_edges(path: Path) -> FloatArray:
    """Return the lengths (N,) of a path's straight pieces, also of those bowed by less than 0.05 mm; 0 for arcs."""
    chords = np.hypot(*(np.roll(path.points_mm, -1, axis=0) - path.points_mm).T)
    return np.where(np.abs(path.bulges) * chords / 2 < BOW_MM, chords, 0.0)


def locating(path: Path) -> Geometry | None:
    """Return what locates an item: straight edges at least half as long as the longest, and corners."""
    import shapely

    lengths = straight_edges(path)
    ends = np.stack([path.points_mm, np.roll(path.points_mm, -1, axis=0)], axis=1)
    edges = ends[lengths >= max(_LONG_PART * lengths.max(), 1e-9)] if lengths.max() > 0 else ends[:0]
    parts = [*np.asarray(shapely.linestrings(edges)), *np.asarray(shapely.points(corner_points(path)))]
    return shapely.union_all(parts) if parts else None
