"""A measured outline against the exact one, both ways, in micrometres.

The measured rings may lie anywhere in their own frame: a rigid motion (shift and turn, never a scale) is fitted by
least squares on the signed distances to the exact outline before anything is counted. Positive always means that
the measured item is larger than the true one there (for a hole: the measured hole is smaller).
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from .shapes import Ring, Shape

SPACING_MM = 0.02
CORNER_MM = 0.3  # what lies this near to a sharp corner counts as corner


@dataclass(frozen=True)
class Stats:
    """Signed mean, RMS, 95th percentile and maximum of the distances in one direction, micrometres."""

    bias_um: float
    rms_um: float
    p95_um: float
    max_um: float

    @classmethod
    def of(cls, distances_mm) -> Stats:
        d = 1000 * np.asarray(distances_mm)
        size = np.abs(d)
        return cls(float(d.mean()), float(np.sqrt((d**2).mean())), float(np.quantile(size, 0.95)), float(size.max()))


@dataclass(frozen=True, eq=False)
class Score:
    """The worse of both directions, and each of them; `bias_um` is their mean."""

    bias_um: float
    rms_um: float
    p95_um: float
    max_um: float
    max_at_corner_um: float
    max_elsewhere_um: float
    measured_to_truth: Stats
    truth_to_measured: Stats
    moved_mm: tuple[float, float]
    turned_deg: float
    distances_um: np.ndarray  # all of both directions, signed


def compare(ring_mm, holes_mm, truth: Shape, *, turn: bool = True, any_turn: bool = False) -> Score:
    """Score the measured outer ring (N, 2) and hole rings against `truth` as placed.

    `turn=False` fits a shift only; `any_turn=True` looks for the best of all directions first, where the measured
    frame may be turned by more than some 20 degrees. A mirrored outline is never turned over.

    Raises
    ------
    ValueError
        If the number of holes differs; a missed hole is no matter of micrometres.
    """
    rings = [_even(np.asarray(r, float)) for r in (ring_mm, *holes_mm)]
    if len(rings) != len(truth.rings):
        raise ValueError(f"{len(rings) - 1} holes measured, {len(truth.holes)} in truth")
    if any_turn:
        rings, first = _roughly_turned(rings, truth)
    rings, (shift, turned) = _registered(rings, truth, turn)
    motion = shift, turned + (first if any_turn else 0.0)
    pairs = list(zip(rings, _matched(rings, truth), strict=True))
    forth = [_measured_to_truth(*pair) for pair in pairs]
    back = [_truth_to_measured(*pair) for pair in pairs]
    for values in (forth, back):
        values[1:] = [(-d, p) for d, p in values[1:]]
    return _summary(forth, back, truth, motion)


def _summary(forth, back, truth: Shape, motion) -> Score:
    one, two = (np.concatenate([d for d, _ in values]) for values in (forth, back))
    all_mm, places = np.concatenate([one, two]), np.concatenate([p for _, p in forth + back])
    near = _near_corner(places, truth)
    size = 1000 * np.abs(all_mm)
    a, b = Stats.of(one), Stats.of(two)
    return Score(
        bias_um=(a.bias_um + b.bias_um) / 2,
        rms_um=max(a.rms_um, b.rms_um),
        p95_um=max(a.p95_um, b.p95_um),
        max_um=max(a.max_um, b.max_um),
        max_at_corner_um=float(size[near].max(initial=0)),
        max_elsewhere_um=float(size[~near].max(initial=0)),
        measured_to_truth=a,
        truth_to_measured=b,
        moved_mm=motion[0],
        turned_deg=motion[1],
        distances_um=1000 * all_mm,
    )


def _even(points, spacing: float = SPACING_MM):
    """Return points `spacing` apart along the closed polygon (N, 2), its own corners among them."""
    after = np.roll(points, -1, axis=0)
    n = np.maximum(np.ceil(np.linalg.norm(after - points, axis=1) / spacing), 1).astype(int)
    which = np.repeat(np.arange(len(points)), n)
    t = (np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n)) / n[which]
    return points[which] + t[:, None] * (after - points)[which]


def _centroid(points):
    x, y = (points - points[0]).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    return points[0] + np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (3 * cross.sum())


@functools.lru_cache(maxsize=256)
def _middle(ring: Ring):
    return _centroid(ring.polygon(1e-3))


def _matched(rings, truth: Shape) -> list[Ring]:
    """Return the exact ring of each measured one: outer to outer, holes by the nearest centre."""
    left = list(truth.holes)
    found = [truth.outer]
    for hole in rings[1:]:
        centre = _centroid(hole)
        best = min(left, key=lambda r: math.dist(_middle(r), centre))
        left = [r for r in left if r is not best]
        found.append(best)
    return found


def _registered(rings, truth: Shape, turn: bool):
    """Return the rings after the rigid motion that brings them onto the truth, and ((x, y), degrees)."""
    shift = _centroid(truth.outer.polygon(1e-5)) - _centroid(rings[0])
    rings, angle = [r + shift for r in rings], 0.0
    targets = _matched(rings, truth)
    for _ in range(12):
        step, turned = _motion(rings, targets, turn)
        pivot = rings[0].mean(0)
        a = np.array([[math.cos(turned), math.sin(turned)], [-math.sin(turned), math.cos(turned)]])
        rings = [(r - pivot) @ a + pivot + step for r in rings]
        shift, angle = shift + step, angle + turned
        if np.abs(step).max() < 1e-7 and abs(turned) < 1e-9:
            break
    return rings, (tuple(shift.tolist()), math.degrees(angle))


def _roughly_turned(rings, truth: Shape):
    """Return the rings turned about the outer one's centre by the best of 120 angles, and that angle in degrees."""
    pivot = _centroid(rings[0])
    centre = _centroid(truth.outer.polygon(1e-3))
    few = [r[:: max(1, len(r) // 100)] for r in rings]
    angles = range(0, 360, 3)
    loss, matches = np.zeros(len(angles)), []
    for k, degrees in enumerate(angles):
        turned = [_turned(r, pivot, degrees) - pivot + centre for r in few]
        matches += [(k, points, target) for points, target in zip(turned, _matched(turned, truth), strict=True)]
    for ring in truth.rings:  # of all angles at once
        own = [(k, points) for k, points, target in matches if target is ring]
        squared = ring.signed_distance(np.concatenate([points for _, points in own])) ** 2
        np.add.at(loss, np.repeat([k for k, _ in own], [len(points) for _, points in own]), squared)
    best = angles[int(loss.argmin())]
    return [_turned(r, pivot, best) for r in rings], float(best)


def _turned(points, pivot, degrees: float):
    a = math.radians(degrees)
    return (points - pivot) @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) + pivot


def _motion(rings, targets, turn: bool):
    """Return the shift and turn about the first ring's mean that lessen the squared distances most."""
    pivot = rings[0].mean(0)
    rows, values, h = [], [], 1e-5
    for points, target in zip(rings, targets, strict=True):
        points = points[:: max(1, len(points) // 3000)]
        d = target.signed_distance(points)
        slope = [(target.signed_distance(points + e) - d) / h for e in (np.array([h, 0]), np.array([0, h]))]
        x, y = (points - pivot).T
        rows.append(np.stack([*slope, slope[1] * x - slope[0] * y], 1))
        values.append(d)
    matrix, d = np.concatenate(rows), np.concatenate(values)
    size = np.hypot(matrix[:, 0], matrix[:, 1])
    good = np.abs(size - 1) < 0.05  # not where the nearest point jumps: on the edge itself, at corners
    if not turn:
        return -np.linalg.lstsq(matrix[good, :2], d[good], rcond=None)[0], 0.0
    # A circle cannot be turned: the smallest-norm solution leaves it as it lies.
    solution = -np.linalg.lstsq(matrix[good], d[good], rcond=1e-4)[0]
    return solution[:2], float(solution[2])


def _measured_to_truth(points, target: Ring):
    return target.signed_distance(points), points


def _truth_to_measured(points, target: Ring):
    """Signed distance of exact points to the measured polygon, positive where they lie inside it."""
    import shapely

    exact = target.sample(SPACING_MM)[0]
    segments = shapely.linestrings(np.stack([points, np.roll(points, -1, axis=0)], 1))
    tree = shapely.STRtree(segments)
    of, nearest = tree.query_nearest(shapely.points(exact), all_matches=False)
    distance = np.empty(len(exact))
    distance[of] = shapely.distance(shapely.points(exact[of]), segments[nearest])
    polygon = shapely.Polygon(points)
    shapely.prepare(polygon)
    inside = shapely.contains_xy(polygon, *exact.T)
    return np.where(inside, distance, -distance), exact


def _near_corner(places, truth: Shape):
    corners = np.concatenate([r.corners() for r in truth.rings])
    if not len(corners):
        return np.zeros(len(places), bool)
    from scipy.spatial import cKDTree

    return cKDTree(corners).query(places)[0] <= CORNER_MM
