"""Arcs written as bulges, and what follows from them: points, lengths, areas, tangents.

A piece runs from `start` to `end`; its bulge is tan(sweep / 4), positive counter-clockwise (DXF
reference, LWPOLYLINE, group code 42). Formulas are in the chord frame, where a bulge of 0 is no
special case: sagitta = bulge * chord / 2, radius = chord * (1 + bulge^2) / (4 |bulge|).
"""

from __future__ import annotations

import numpy as np

from ..measure.rings import rolled, signed_area
from ..records import Circle, Curve, FloatArray, Path, frozen_array

_FLAT = 1e-3  # rad of sweep: below, the area of a segment is that of its limit to a millionth


def make_path(points_mm: FloatArray, bulges: FloatArray) -> Path:
    """Return a `Path` with read-only, finite arrays of matching length."""
    if len(points_mm) != len(bulges) or len(points_mm) < 2:
        raise ValueError(f"a path needs as many bulges as points and at least 2, got {len(points_mm)}, {len(bulges)}")
    return Path(points_mm=frozen_array(points_mm, columns=2), bulges=frozen_array(bulges))


def bulge_to_sweep(bulges: FloatArray) -> FloatArray:
    """Return the signed sweep angle in radians, counter-clockwise positive, of each bulge."""
    return 4.0 * np.arctan(bulges)


def path_radii(path: Path) -> FloatArray:
    """Return (N,) radii in mm, infinite for straight lines."""
    chord = np.hypot(*_chords(path).T)
    size = np.abs(path.bulges)
    with np.errstate(divide="ignore"):
        return np.where(size > 0, chord * (1 + size**2) / (4 * size), np.inf)


def path_tangents(path: Path) -> tuple[FloatArray, FloatArray]:
    """Return the directions (N,), radians, in which each piece leaves its start and reaches its end."""
    chords = _chords(path)
    angle = np.arctan2(chords[:, 1], chords[:, 0])
    half = 2.0 * np.arctan(path.bulges)
    return angle - half, angle + half


def path_kinks(path: Path) -> FloatArray:
    """Return the turn (N,), radians in (-pi, pi], at each vertex; 0 where two pieces are tangent."""
    leave, arrive = path_tangents(path)
    turn = leave - rolled(arrive, 1)
    return np.pi - np.mod(np.pi - turn, 2 * np.pi)


def curve_area(curve: Curve) -> float:
    """Return the signed area in mm2, positive counter-clockwise (always, for a circle)."""
    if isinstance(curve, Circle):
        return float(np.pi * curve.radius_mm**2)
    chord = np.hypot(*_chords(curve).T)
    sweep = bulge_to_sweep(curve.bulges)
    # segment area R^2 (s - sin s) / 2 with R = chord / (2 sin(s/2)); its limit for small s is chord^2 s / 12
    small = np.abs(sweep) < _FLAT
    safe = np.where(small, 1.0, sweep)
    segment = np.where(small, sweep / 12, (safe - np.sin(safe)) / (8 * np.sin(safe / 2) ** 2)) * chord**2
    return signed_area(curve.points_mm) + float(segment.sum())


def reversed_curve(curve: Curve) -> Curve:
    """Return the same curve run through in the other direction (a circle has none)."""
    if isinstance(curve, Circle):
        return curve
    return make_path(curve.points_mm[::-1], -rolled(curve.bulges[::-1], -1))


def moved_circle(circle: Circle, dx_mm: float, dy_mm: float) -> Circle:
    """Return the circle shifted by (dx, dy)."""
    return Circle((float(circle.centre_mm[0] + dx_mm), float(circle.centre_mm[1] + dy_mm)), float(circle.radius_mm))


def curve_ring(curve: Curve, *, chord_mm: float) -> FloatArray:
    """Return points (N, 2) on the curve such that no chord strays from it by more than `chord_mm`.

    Every vertex of a path is among the points; the ring runs as the path does, a circle counter-clockwise.
    """
    if chord_mm <= 0:
        raise ValueError(f"chord_mm must be positive, got {chord_mm}")
    if isinstance(curve, Circle):
        count = max(8, int(np.ceil(2 * np.pi / _step(np.array([curve.radius_mm]), chord_mm)[0])))
        angle = 2 * np.pi * np.arange(count) / count
        return curve.radius_mm * np.column_stack([np.cos(angle), np.sin(angle)]) + curve.centre_mm
    sweep = bulge_to_sweep(curve.bulges)
    radii = path_radii(curve)
    step = _step(np.where(np.isinf(radii), 1.0, radii), chord_mm)
    counts = np.maximum(1, np.ceil(np.abs(sweep) / step).astype(int))
    piece = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[piece]
    return path_points(curve, piece, share)


def path_points(path: Path, piece: np.ndarray[tuple[int], np.dtype[np.intp]], share: FloatArray) -> FloatArray:
    """Return the points (N, 2) at `share` (0 start, 1 end, in proportion of length) of the pieces numbered `piece`."""
    half = 2.0 * np.arctan(path.bulges)[piece]
    chords = _chords(path)[piece]
    # from the start, the chord to share t has length sin(t h) / sin(h) of the whole and is turned by (t - 1) h
    reach = share * np.sinc(share * half / np.pi) / np.sinc(half / np.pi)
    cos, sin = reach * np.cos((share - 1) * half), reach * np.sin((share - 1) * half)
    turned = np.column_stack([cos * chords[:, 0] - sin * chords[:, 1], sin * chords[:, 0] + cos * chords[:, 1]])
    return np.asarray(path.points_mm[piece] + turned)


def _chords(path: Path) -> FloatArray:
    return np.asarray(rolled(path.points_mm, -1) - path.points_mm)


def _step(radii_mm: FloatArray, chord_mm: float) -> FloatArray:
    """Return the angle of a chord with the given sagitta; an arc smaller than that still gets its quarter points."""
    share = np.minimum(chord_mm / np.maximum(radii_mm, 1e-12), 0.29)
    return np.asarray(4 * np.arcsin(np.sqrt(share / 2)))  # 2 arccos(1 - share), good for huge radii too
