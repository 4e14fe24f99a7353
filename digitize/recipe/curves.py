"""Lines and arcs of one item side by side: none may cross itself or another, however near the measured edges come."""

from __future__ import annotations

import numpy as np

from ..fitting.bulge import make_path
from ..fitting.fit import fit_curve
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
        turn = np.arange(_count(2 * np.pi, curve.radius_mm)) * 2 * np.pi
        turn /= len(turn)
        return np.asarray(curve.centre_mm + curve.radius_mm * np.column_stack([np.cos(turn), np.sin(turn)]))
    ends = np.roll(curve.points_mm, -1, axis=0)
    return np.concatenate(
        [_piece(a, b, bulge) for a, b, bulge in zip(curve.points_mm, ends, curve.bulges.tolist(), strict=True)]
    )


def _piece(start: FloatArray, end: FloatArray, bulge: float) -> FloatArray:
    """Places of one line or arc, its end left out; bulge is tan(angle / 4)."""
    chord = end - start
    length = float(np.hypot(*chord))
    if bulge == 0.0 or length == 0.0:
        return start[None, :]
    angle, radius = 4.0 * float(np.arctan(bulge)), length * (1.0 + bulge**2) / (4.0 * abs(bulge))
    left = np.array([-chord[1], chord[0]])
    centre = (start + end) / 2.0 + left * (1.0 - bulge**2) / (4.0 * bulge)
    turn = angle * np.arange(_count(abs(angle), radius)) / _count(abs(angle), radius)
    arm = start - centre
    cos, sin = np.cos(turn), np.sin(turn)
    return np.asarray(centre + np.column_stack([arm[0] * cos - arm[1] * sin, arm[0] * sin + arm[1] * cos]))


def _count(angle: float, radius: float) -> int:
    """How many chords an arc needs for a sagitta of r (1 - cos(step / 2)) below `_SAGITTA_MM`."""
    step = 2.0 * float(np.arccos(max(1.0 - _SAGITTA_MM / radius, 0.5)))
    return max(2, int(np.ceil(angle / step)))
