"""Lines and arcs of one item side by side: none may cross itself or another, however near the measured edges come."""

from __future__ import annotations

import numpy as np

from ..fitting.bulge import bulge_to_sweep, make_path, path_points, path_radii
from ..fitting.fit import fit_curve
from ..fitting.pieces import IntArray
from ..fitting.ring import Ring
from ..records import Circle, Curve, Finding, FloatArray
from ..sound import unsound
from ..words.say import finding_of

_SAGITTA_MM = 0.0005  # of the chords that stand for arcs: a fortieth of the usual tolerance
_FINER = 0.25  # of the tolerance, where curves drawn within it cross


def crossed(curves: tuple[Curve, ...]) -> str:
    """Say what is wrong with an item's curves as a body that is cut; empty where nothing is."""
    exterior, *holes = (chords(curve) for curve in curves)
    # a circle has no direction
    turned = [hole[::-1] if isinstance(curve, Circle) else hole for curve, hole in zip(curves[1:], holes, strict=True)]
    return unsound(exterior, turned)


def apart(rings: tuple[Ring, ...], tolerance_mm: float) -> tuple[Curve, ...]:
    """Return curves that do not cross: drawn more closely, or the measured places themselves joined by lines.

    Parameters
    ----------
    rings
        The measured edges, exterior first; sound.
    tolerance_mm
        What the curves that cross were drawn within.
    """
    finer = tuple(fit_curve(ring, tolerance_mm=_FINER * tolerance_mm) for ring in rings)
    if not crossed(finer):
        return finer
    return tuple(make_path(ring.points_mm, np.zeros(len(ring.points_mm))) for ring in rings)


def narrow(tolerance_mm: float) -> Finding:
    """What to say of it."""
    return finding_of("edges-close", attention=False, tolerance=tolerance_mm)


def chords(curve: Curve) -> FloatArray:
    """(N, 2) places along a curve, arcs as chords; the first not repeated."""
    if isinstance(curve, Circle):
        turn = np.arange(int(_counts(np.array(2 * np.pi), np.array(curve.radius_mm)))) * 2 * np.pi
        turn /= len(turn)
        return np.asarray(curve.centre_mm + curve.radius_mm * np.column_stack([np.cos(turn), np.sin(turn)]))
    radii = path_radii(curve)
    arcs = np.isfinite(radii) & (radii > 0)
    counts = np.where(arcs, _counts(np.abs(bulge_to_sweep(curve.bulges)), np.where(arcs, radii, 1.0)), 1)
    piece = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)) / counts[piece]
    return path_points(curve, piece, share)


def _counts(angles: FloatArray, radii: FloatArray) -> IntArray:
    """How many chords arcs need for a sagitta of r (1 - cos(step / 2)) below `_SAGITTA_MM`."""
    steps = 2.0 * np.arccos(np.maximum(1.0 - _SAGITTA_MM / radii, 0.5))
    return np.maximum(2, np.ceil(angles / steps)).astype(np.intp)
