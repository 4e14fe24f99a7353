"""Equal features drawn alike: fillets of one radius, holes of one diameter, where nothing tells them apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.rings import rolled
from ..records import BoolArray, Circle, Curve, FloatArray, Path
from .bulge import bulge_to_sweep, make_path, path_kinks, path_radii
from .pieces import IntArray
from .ring import Ring

_LIKE = 0.05  # of a radius: what differs by more was drawn so
_TANGENT = np.radians(0.5)
_LEAST_TURN, _MOST_TURN = np.radians(5.0), np.radians(170.0)
_LEFT = 0.1  # of a straight side's length, in its own direction, that must be left
_MOVED = 0.25  # of the tolerance, by which an arc's middle may move
_PEAK = 4.5  # standard deviations of noise: the largest of 20,000 values is 4.1 on average


@dataclass(frozen=True, slots=True)
class _Fillets:
    """The arcs of a path that join two straight sides tangentially."""

    at: IntArray  # (K,) indices of the pieces
    apex: FloatArray  # (K, 2) where their sides meet
    before: FloatArray  # (K, 2) unit direction of the side before
    after: FloatArray  # (K, 2) and after
    turn: FloatArray  # (K,) radians, positive to the left
    radius: FloatArray  # (K,) mm

    @property
    def gain(self) -> FloatArray:
        """By how much the arc's middle moves for each mm of its radius: 1 / cos(turn / 2) - 1."""
        return np.asarray(1.0 / np.cos(self.turn / 2) - 1.0)


def with_equal_fillets(path: Path, *, tolerance_mm: float) -> Path:
    """Return a path whose fillets have one radius where they are as good as equal; the same path where none are.

    The sides stay on their lines. Of fillets whose radii lie within 5 %, and whose middles move by a quarter of the
    tolerance at most, each takes the mean, weighted by what its arc tells of it.
    """
    fillets = _fillets_of(path)
    common = _common(fillets.radius, fillets.gain, fillets.gain**2 * np.abs(fillets.turn), _MOVED * tolerance_mm)
    if not (common != fillets.radius).any():
        return path
    count, points, bulges = len(path.bulges), path.points_mm.copy(), path.bulges.copy()
    back = (common * np.tan(np.abs(fillets.turn) / 2))[:, None]
    points[fillets.at] = fillets.apex - back * fillets.before
    points[(fillets.at + 1) % count] = fillets.apex + back * fillets.after
    bulges[fillets.at] = np.tan(fillets.turn / 4)
    made = make_path(points, bulges)
    return made if _sides_keep_their_way(path, made) else path


def with_equal_circles(curves: tuple[Curve, ...], rings: tuple[Ring, ...], *, tolerance_mm: float) -> tuple[Curve, ...]:
    """Return curves whose full circles have one radius where they are as good as equal.

    Parameters
    ----------
    curves
        Of one item.
    rings
        What each was fitted to: it stays within the tolerance of that, or 4.5 times the ring's noise if more.
    tolerance_mm
        Of the curves.
    """
    at = [k for k, curve in enumerate(curves) if isinstance(curve, Circle)]
    radii = np.array([curve.radius_mm for curve in curves if isinstance(curve, Circle)])
    weights = np.array([len(rings[k].points_mm) for k in at], dtype=np.float64)
    common = _common(radii, np.ones(len(radii)), weights, _MOVED * tolerance_mm)
    made = list(curves)
    for k, radius in zip(at, common.tolist(), strict=True):
        old, ring = curves[k], rings[k]
        assert isinstance(old, Circle)
        off = np.abs(np.hypot(*(ring.points_mm - old.centre_mm).T) - radius).max()
        if off <= max(tolerance_mm, _PEAK * ring.sd_mm):
            made[k] = Circle(old.centre_mm, radius)
    return tuple(made)


def _fillets_of(path: Path) -> _Fillets:
    """The arcs between two straight sides that meet both without a kink."""
    straight, tangent = path.bulges == 0, np.abs(path_kinks(path)) < _TANGENT
    sweep = np.abs(bulge_to_sweep(path.bulges))
    is_one: BoolArray = ~straight & rolled(straight, 1) & rolled(straight, -1) & tangent & rolled(tangent, -1)
    is_one &= (sweep > _LEAST_TURN) & (sweep < _MOST_TURN)
    at = np.flatnonzero(is_one)
    count = len(path.bulges)
    chords = rolled(path.points_mm, -1) - path.points_mm
    along = chords / np.hypot(*chords.T)[:, None]
    before, after = along[(at - 1) % count], along[(at + 1) % count]
    across = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(across, (before * after).sum(axis=1))
    start, end = path.points_mm[at], path.points_mm[(at + 1) % count]
    gap = end - start
    reach = (gap[:, 0] * after[:, 1] - gap[:, 1] * after[:, 0]) / np.where(across == 0, 1.0, across)
    apex = start + reach[:, None] * before
    return _Fillets(at, apex, before, after, turn, path_radii(path)[at])


def _common(radii: FloatArray, gains: FloatArray, weights: FloatArray, moved_mm: float) -> FloatArray:
    """Return (K,) the mean of each group of radii that are as good as equal; the radius itself where it is alone."""
    common, order = radii.copy(), np.argsort(radii, kind="stable")
    first = 0
    while first < len(order):
        last = first + 1
        while last < len(order):
            group = order[first : last + 1]
            mean = float(np.average(radii[group], weights=weights[group]))
            off = np.abs(radii[group] - mean)
            if (off * gains[group]).max() > moved_mm or off.max() > 0.5 * _LIKE * mean:
                break
            last += 1
        group = order[first:last]
        if len(group) > 1:
            common[group] = float(np.average(radii[group], weights=weights[group]))
        first = last
    return common


def _sides_keep_their_way(path: Path, made: Path) -> bool:
    """Whether every straight side still runs as it did, with some length left."""
    old, new = (rolled(one.points_mm, -1) - one.points_mm for one in (path, made))
    straight = path.bulges == 0
    return bool(((old * new).sum(axis=1)[straight] > _LEFT * (old**2).sum(axis=1)[straight]).all())
