"""A dense ring to the fewest lines and arcs within a tolerance."""

from __future__ import annotations

import numpy as np

from digitize.fitting.bulge import make_path
from digitize.fitting.circle import fit_circle
from digitize.fitting.pieces import IntArray, Limits
from digitize.fitting.polish import Draft, first_draft, polish
from digitize.fitting.repair import blunted, repaired, smoothed, straightened
from digitize.fitting.ring import checked_ring, dense_ring, noise_sd
from digitize.fitting.search import best_breaks, count_pieces, find_candidates, find_reach
from digitize.records import Curve, FloatArray

_SAMPLES = 96
_MOST_CANDIDATES = 2400
_PEAK = 4.5  # standard deviations: the largest of 20,000 white-noise values is 4.1 on average
_SLACK = 1.2
_KEEP = 0.99  # of the tolerance, for the sampling of the last check


def fit_curve(
    ring_mm: FloatArray, *, tolerance_mm: float = 0.02, corners: tuple[int, ...] = (), sd_mm: float | None = None
) -> Curve:
    """Describe a closed dense ring by as few straight lines and circular arcs as the tolerance allows.

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
        In the direction of the ring, closed, without self-crossing. Where 4.5 sd exceeds the tolerance
        no smooth curve can meet every single point: points may then stray by 4.5 sd, and the tolerance
        holds for the mean of neighbouring points.

    Raises
    ------
    UsageError
        If the ring is no ring, or the tolerance is not positive.
    """
    ring = checked_ring(ring_mm)
    middle = ring.mean(axis=0)
    dense, known = dense_ring(ring - middle, corners)
    sd = noise_sd(dense) if sd_mm is None else sd_mm
    circle = fit_circle(dense)
    limits = _limits(tolerance_mm, sd)
    if not known and circle.worst_mm <= limits.point_mm and circle.worst_mean_mm <= limits.mean_mm:
        return circle.moved(middle)
    draft = _fitted(dense, known, tolerance_mm, sd)
    return make_path(draft.vertices + middle, draft.bulges)


def _limits(tolerance: float, sd: float, slack: float = 1.0) -> Limits:
    point = max(tolerance, _PEAK * sd)
    return Limits(point_mm=slack * point, mean_mm=slack * tolerance, slip_mm=2 * tolerance + _PEAK * sd)


def _fitted(ring: FloatArray, corners: tuple[int, ...], tolerance: float, sd: float) -> Draft:
    """Search with the tolerance stretched first: least squares leaves more than levelled offsets need."""
    limit = _KEEP * max(tolerance, _PEAK * sd)
    most = len(ring)
    for slack in (_SLACK, 1.0):
        breaks = _find_breaks(ring, corners, _limits(tolerance, sd, slack))
        draft = polish(first_draft(ring, breaks, corners), ring)
        draft = straightened(draft, ring, least_mm=tolerance / 20, most_mm=tolerance / 2)
        whole = repaired(draft, ring, limit, most=most if slack == 1.0 else len(breaks) + 1 + len(breaks) // 12)
        if whole is not None:
            return blunted(smoothed(whole, ring, limit), ring, limit)
    raise ValueError


def _find_breaks(ring: FloatArray, corners: tuple[int, ...], limits: Limits) -> IntArray:
    spread = max(limits.mean_mm / 6, (limits.point_mm if limits.point_mm > limits.mean_mm else 0) / 2)
    found = find_candidates(ring, corners, spread_mm=spread, most=_MOST_CANDIDATES)
    reach = find_reach(ring, found, limits=limits, samples=_SAMPLES)
    start = int(np.argmin(count_pieces(reach)))
    return best_breaks(ring, found, reach, start, samples=_SAMPLES // 2)
