"""A dense ring to the fewest lines and arcs within a tolerance."""

from __future__ import annotations

import numpy as np

from digitize.errors import UsageError
from digitize.fitting.bulge import curve_ring, make_path, moved_circle
from digitize.fitting.circle import fit_circle
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.pieces import IntArray, Limits
from digitize.fitting.polish import Draft, first_draft, polish
from digitize.fitting.repair import blunted, repaired, smoothed
from digitize.fitting.ring import checked_ring, dense_ring, noise_sd
from digitize.fitting.search import best_breaks, count_pieces, find_candidates, find_reach
from digitize.records import Circle, Curve, FloatArray, Path

_SAMPLES = 96  # points looked at to judge one piece
_MOST_CANDIDATES = 2400
_PEAK = 4.5  # standard deviations: the largest of 20,000 white-noise values is 4.1 on average
_SLACK = 1.2  # least squares leaves up to about this much more than levelled offsets need
_KEEP = 0.99  # of the tolerance, for the points between samples
_EASIER = (1.0, 0.6, 0.3)  # tolerances tried, as shares of the one asked for
_STEP_MM = 0.05


def fit_curve(
    ring_mm: FloatArray, *, tolerance_mm: float = 0.02, corners: tuple[int, ...] = (), sd_mm: float | None = None
) -> Curve:
    """Describe a closed dense ring by as few straight lines and circular arcs as the tolerance allows.

    Pieces are fitted by least squares, all together, so the curve lies as much outside the ring as inside.
    Joints are free to lie anywhere and are tangent where that keeps to the tolerance.

    Parameters
    ----------
    ring_mm : (N, 2)
        Points of a simple closed ring, either direction.
    tolerance_mm
        The largest distance permitted, from the curve to the ring and from the ring to the curve.
    corners
        Indices of points known to be sharp corners: each becomes a joint and is never smoothed.
    sd_mm
        Standard deviation of the ring's noise across the edge; estimated from the ring if not given.

    Returns
    -------
    Path or Circle
        In the direction of the ring, closed, without self-crossing, its distances measured before it is
        returned. Where 4.5 sd exceeds the tolerance no smooth curve can meet every single point: points may
        then stray by 4.5 sd, and the tolerance holds for the mean of neighbouring points.

    Raises
    ------
    UsageError
        If the ring is no ring, or the tolerance is not positive.
    """
    if not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise UsageError(f"the tolerance must be above 0 mm, got {tolerance_mm}")
    ring = checked_ring(ring_mm)
    middle = ring.mean(axis=0)
    dense, known = dense_ring(ring - middle, corners)
    sd = noise_sd(dense) if sd_mm is None else sd_mm
    circle = None if known else _circle(dense, tolerance_mm, sd)
    if circle is not None:
        return moved_circle(circle, *middle)
    path = _proven(dense, known, tolerance_mm, sd)
    return make_path(path.points_mm + middle, path.bulges)


def full_circle(ring_mm: FloatArray, *, tolerance_mm: float = 0.02, sd_mm: float | None = None) -> Circle | None:
    """Return the full circle that explains a ring as `fit_curve` judges it, or None."""
    ring = checked_ring(ring_mm)
    middle = ring.mean(axis=0)
    dense, _ = dense_ring(ring - middle, ())
    circle = _circle(dense, tolerance_mm, noise_sd(dense) if sd_mm is None else sd_mm)
    return None if circle is None else moved_circle(circle, *middle)


def _circle(ring: FloatArray, tolerance: float, sd: float) -> Circle | None:
    found, limits = fit_circle(ring), _limits(tolerance, sd)
    explains = found.worst_mm <= limits.point_mm and found.worst_mean_mm <= limits.mean_mm
    return Circle((float(found.centre[0]), float(found.centre[1])), found.radius) if explains else None


def _limits(tolerance: float, sd: float, slack: float = 1.0) -> Limits:
    point = max(tolerance, _PEAK * sd)
    return Limits(point_mm=slack * point, mean_mm=slack * tolerance, slip_mm=2 * tolerance + _PEAK * sd)


def _proven(ring: FloatArray, corners: tuple[int, ...], tolerance: float, sd: float) -> Path:
    """Return a path that has passed the check; straight lines through the ring's own points as a last resort."""
    limit = max(tolerance, _PEAK * sd)
    for share in _EASIER:
        draft = _fitted(ring, corners, share * tolerance, sd)
        if draft is not None and _holds(draft.path(), ring, limit):
            return draft.path()
    return _thinned(ring, tolerance)


def _holds(path: Path, ring: FloatArray, limit: float) -> bool:
    import shapely

    if max(two_sided_distance(path, ring, step_mm=_STEP_MM)[:2]) > limit:
        return False
    return bool(shapely.is_valid(shapely.polygons(curve_ring(path, chord_mm=limit / 20))))


def _thinned(ring: FloatArray, tolerance: float) -> Path:
    import shapely

    thin = shapely.simplify(shapely.polygons(ring), _KEEP * tolerance, preserve_topology=True)
    points = shapely.get_coordinates(thin)[:-1]
    return make_path(points, np.zeros(len(points)))


def _fitted(ring: FloatArray, corners: tuple[int, ...], tolerance: float, sd: float) -> Draft | None:
    """Search with the tolerance stretched first, as least squares is not the last word; then as it is."""
    limit = max(tolerance, _PEAK * sd)
    for slack in (_SLACK, 1.0):
        breaks = _find_breaks(ring, corners, _limits(tolerance, sd, slack))
        draft = polish(first_draft(ring, breaks, corners), ring)
        most = len(breaks) + 1 + len(breaks) // 12 if slack > 1 else len(ring) // 4
        flat = (tolerance / 20, tolerance / 2)
        whole = repaired(draft, ring, _KEEP * limit, flat_mm=flat, most=most)
        if whole is not None:
            return blunted(smoothed(whole, ring, _KEEP * limit), ring, _KEEP * limit)
    return None


def _find_breaks(ring: FloatArray, corners: tuple[int, ...], limits: Limits) -> IntArray:
    spread = max(limits.mean_mm / 6, (limits.point_mm if limits.point_mm > limits.mean_mm else 0) / 2)
    found = find_candidates(ring, corners, spread_mm=spread, most=_MOST_CANDIDATES)
    reach = find_reach(ring, found, limits=limits, samples=_SAMPLES)
    start = int(np.argmin(count_pieces(reach)))
    return best_breaks(ring, found, reach, start, samples=_SAMPLES // 2)
