"""An item of known height with upright walls, from its silhouette: what its edge is, not what it hides.

Seen from above, a wall that faces away from the point below the camera shows its top edge, a wall that faces
that point its bottom edge. The silhouette rectified on the card's plane is therefore right along the latter and too
large along the former; rectified on the plane of the item's top it is right along the former and too large along the
latter. The item is what both have in common. A hole is the other way round: light comes through only
where top and bottom are both open, so that the hole is what either shows. Where an inside curve turns from one kind
of wall to the other, neither shows it: the short gap is bridged by an arc, or by the corner that both sides meet in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from ..measure.rings import signed_area
from ..records import Contour, FloatArray
from ..steady import least_squares, norm, polynomial, product, solve

_WRONG_MM = 0.004  # a point whose plane cannot be right moves the edge by more than this: it is left out
_WINDOW = 16  # points that tell direction and curvature beside a gap
_REACH = 4  # points either side that a direction is taken from
_CORNER_TURN = np.radians(18.0)  # a crossing of both rings that turns less is none
_AT_ONCE = 0.65  # of a corner's turn lies within half as far; of an arc's, half


class Planes(Protocol):
    """A scale that maps to any plane parallel to the card's."""

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to mm on the card's plane."""

    def at_height(self, height_mm: float) -> Planes:
        """Return the mapping on the plane `height_mm` above."""


@dataclass(frozen=True, slots=True)
class TrueRing:
    """An edge freed of the item's height, and where each of its points comes from."""

    points_mm: FloatArray  # (N, 2) plane frame
    corners: tuple[int, ...]  # indices of sharp corners
    source: npt.NDArray[np.int64]  # (N,) index into the contour's points, -1 for points put in
    on_top: npt.NDArray[np.bool_]  # (N,) whether the point was mapped on the plane of the item's top


def flat_ring(contour: Contour, scale: Planes) -> TrueRing:
    """Map a contour on one plane: an item without height, or its widest line at the plane of `scale`."""
    points = scale.to_mm(contour.points_px)
    index = np.arange(len(points))
    return TrueRing(points, contour.corners, index, np.zeros(len(points), bool))


def upright_ring(contour: Contour, card: Planes, height_mm: float) -> TrueRing:
    """Free a contour of the height of an item with upright walls.

    Parameters
    ----------
    contour
        As measured in the picture: exterior or hole.
    card
        The mapping on the plane the item stands on.
    height_mm
        Of the item; negative is not meant.
    """
    low = flat_ring(contour, card)
    if height_mm == 0:
        return low
    top = card.at_height(height_mm).to_mm(contour.points_px)
    joined = _common(low.points_mm, top, either=contour.is_hole)
    if joined is None:
        return low
    source, on_top = _sources(joined, low.points_mm, top)
    wrong = _wrong_plane(low.points_mm, top)
    keep = (source < 0) | ~np.where(on_top, wrong[1][source], wrong[0][source])
    keep = _without_rims(keep | (source < 0)) & (keep | (source >= 0))
    keep &= ~_beside_dropped(source, keep)
    keep &= ~_rounded(joined, source, contour.corners, int(np.ceil(3.0 * contour.blur_px)) + 2)
    is_corner = np.zeros(len(joined), bool)
    is_corner[np.isin(source, np.array(contour.corners, dtype=np.int64))] = True
    is_corner |= source < 0  # where both rings cross: kept as a corner only if it turns
    return _assemble(joined, source, on_top, keep, is_corner)


def _common(low: FloatArray, top: FloatArray, *, either: bool) -> FloatArray | None:
    """Ring of what two rings have in common (or of what `either` covers), in the direction of the first."""
    import shapely

    a, b = (shapely.make_valid(shapely.Polygon(ring)) for ring in (low, top))
    shape = shapely.union(a, b) if either else shapely.intersection(a, b)
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and not part.is_empty]
    if not parts:
        return None
    ring = np.array(max(parts, key=lambda part: part.area).exterior.coords)[:-1]
    if (signed_area(ring) > 0) != (signed_area(low) > 0):
        ring = ring[::-1]
    return np.ascontiguousarray(ring)


def _sources(
    joined: FloatArray, low: FloatArray, top: FloatArray
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Which point of which ring each vertex is; -1 where the rings cross."""
    table = {point.tobytes(): (i, False) for i, point in enumerate(low)}
    table |= {point.tobytes(): (i, True) for i, point in enumerate(top)}
    found = [table.get(point.tobytes(), (-1, False)) for point in joined]
    return np.array([i for i, _ in found], dtype=np.int64), np.array([t for _, t in found], dtype=bool)


def _wrong_plane(low: FloatArray, top: FloatArray) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Points that cannot lie on the card's plane, and points that cannot lie on the top's: by their wall."""
    outward = _outward(low)
    away = ((low - top) * outward).sum(axis=1)  # the way from the top's place to the card's leads away from below
    return away > _WRONG_MM, away < -_WRONG_MM


def _outward(ring: FloatArray) -> FloatArray:
    """Unit normals to the right of travel, out of the material: it lies on the left of shells and of holes."""
    along = np.roll(ring, -_REACH, axis=0) - np.roll(ring, _REACH, axis=0)
    normals = np.column_stack([along[:, 1], -along[:, 0]])
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-12)[:, None])


def _without_rims(keep: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Leave out what lies so near to points left out that its own direction was mixed with theirs."""
    lost = ~keep
    for shift in range(1, _REACH + 1):
        lost = lost | np.roll(~keep, shift) | np.roll(~keep, -shift)
    return ~lost


def _beside_dropped(source: npt.NDArray[np.int64], keep: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Crossings next to points that were left out: they belong to what neither plane shows."""
    lost = ~keep
    return (source < 0) & (np.roll(lost, 1) | np.roll(lost, -1))


def _rounded(
    joined: FloatArray, source: npt.NDArray[np.int64], corners: tuple[int, ...], reach: int
) -> npt.NDArray[np.bool_]:
    """Points near a corner in which both rings cross.

    In the picture such a corner is two, a wall's height apart, that the blur rounds each: it is made anew from both
    sides. A bend of the item turns no more there than beside it and has no sharp corner in the
    picture: it is left as it was seen.
    """
    rounded = np.zeros(len(joined), bool)
    for c in np.flatnonzero(source < 0):
        turn = _turn_at(joined, int(c), near=2, far=reach + 4)
        around = (c + np.arange(-reach, reach + 1)) % len(joined)
        at_once = _turn_at(joined, int(c), near=1, far=reach // 2 + 2)
        if turn > _CORNER_TURN and (at_once > _AT_ONCE * turn or np.isin(source[around], corners).any()):
            rounded[around] = True
    return rounded


def _turn_at(ring: FloatArray, c: int, *, near: int, far: int) -> float:
    """How much the direction changes from before to after a point, between `near` and `far` points away, radians."""
    count = len(ring)
    back = ring[(c - near) % count] - ring[(c - far) % count]
    ahead = ring[(c + far) % count] - ring[(c + near) % count]
    return abs(float(np.arctan2(back[0] * ahead[1] - back[1] * ahead[0], product(back, ahead))))


def _assemble(
    joined: FloatArray,
    source: npt.NDArray[np.int64],
    on_top: npt.NDArray[np.bool_],
    keep: npt.NDArray[np.bool_],
    is_corner: npt.NDArray[np.bool_],
) -> TrueRing:
    """Kept points in order with their gaps bridged and their true corners marked."""
    if keep.sum() < 3 * _WINDOW:
        keep = np.ones(len(joined), bool)
    first = int(np.flatnonzero(keep & ~np.roll(keep, 1))[0]) if not keep.all() else 0
    order = (first + np.arange(len(joined))) % len(joined)
    runs = _runs(order, keep)
    points, sources, tops, corners = [], [], [], []
    length = 0
    spacing = float(np.median(np.linalg.norm(np.roll(joined, -1, axis=0) - joined, axis=1)))
    for i, run in enumerate(runs):
        points.append(joined[run])
        sources.append(source[run])
        tops.append(on_top[run])
        corners += [length + int(k) for k in np.flatnonzero(is_corner[run])]
        length += len(run)
        after = runs[(i + 1) % len(runs)]
        if len(runs) == 1 and keep.all():
            continue
        bridge, apex = _bridge(joined[run[-_WINDOW:]], joined[after[:_WINDOW]], spacing)
        if apex is not None:
            corners.append(length + apex)
        points.append(bridge)
        sources.append(np.full(len(bridge), -1))
        tops.append(np.zeros(len(bridge), bool))
        length += len(bridge)
    ring = np.vstack(points)
    even = _not_crowded(ring, 0.25 * spacing)
    renumbered = np.cumsum(even) - 1
    kept_corners = _true_corners(ring[even], sorted({int(renumbered[c]) for c in corners}))
    return TrueRing(ring[even], kept_corners, np.concatenate(sources)[even], np.concatenate(tops)[even])


def _runs(order: npt.NDArray[np.int64], keep: npt.NDArray[np.bool_]) -> list[npt.NDArray[np.int64]]:
    """Stretches of kept points, in order; short scraps between two gaps belong to the gap."""
    flags = keep[order]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    runs = [order[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    long_ones = [run for run in runs if len(run) >= 6]
    return long_ones or runs


def _bridge(before: FloatArray, after: FloatArray, spacing: float) -> tuple[FloatArray, int | None]:
    """Points between two stretches, ends not repeated, and the index of a corner among them.

    Where the direction changes by about what the curvatures on both sides explain, an arc-like cubic; where it
    changes by more, the corner in which both sides meet.
    """
    start, end = before[-1], after[0]
    chord = norm(end - start)
    if chord < 1.5 * spacing:
        return np.empty((0, 2)), None
    t0, k0 = _end_slope(before[::-1])
    t1, k1 = _end_slope(after)
    t0 = -t0
    k0 = -k0
    turn = float(np.arctan2(t0[0] * t1[1] - t0[1] * t1[0], product(t0, t1)))
    near = (-_end_slope(before[::-1][: _WINDOW // 2])[1], _end_slope(after[: _WINDOW // 2])[1], k0, k1)
    explained = chord * max(np.sign(turn) * k for k in near)  # a rounding may end just beside the gap
    count = max(2, round(chord / spacing))
    if explained < 0.5 * abs(turn) and abs(turn) > _CORNER_TURN:
        legs = _corner_legs((start, t0, k0), (end, -t1, -k1), chord, spacing)
        if legs is not None:
            return np.vstack([legs[0], legs[1][-2::-1]]), len(legs[0]) - 1
    handle = chord / (3.0 * np.cos(min(abs(turn), 2.0) / 4.0) ** 2)
    s = (np.arange(1, count) / count)[:, None]
    a, b = start + handle * t0, end - handle * t1
    cubic = (1 - s) ** 3 * start + 3 * (1 - s) ** 2 * s * a + 3 * (1 - s) * s**2 * b + s**3 * end
    return cubic, None


def _end_slope(points: FloatArray) -> tuple[FloatArray, float]:
    """Unit direction and curvature (positive to the left) at the first of some points, by a parabola."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    order = 2 if len(points) >= 8 and _is_bent(along, points) else 1
    x, y = polynomial(along, points - points[0], order).T
    d = np.array([x[1], y[1]])
    size = max(norm(d), 1e-12)
    curvature = 2 * (x[1] * y[2] - y[1] * x[2]) / size**3 if order == 2 else 0.0
    return d / size, float(curvature)


def _is_bent(along: FloatArray, points: FloatArray) -> bool:
    """Whether a parabola through the points is clearly nearer to them than a straight line."""
    rest = []
    for order in (1, 2):
        design = np.vander(along, order + 1)
        rest.append(points - product(design, least_squares(design, points)))
    straight, bent = (float(np.sqrt((r**2).mean())) for r in rest)
    return straight > 1.5 * bent + 1e-4


_End = tuple[FloatArray, FloatArray, float]  # place, direction into the gap, curvature to the left


def _corner_legs(one: _End, two: _End, chord: float, spacing: float) -> tuple[FloatArray, FloatArray] | None:
    """Both sides carried on as parabolas to where they meet: places of each without its start, the corner last.

    None when they do not meet ahead of both, near by.
    """
    reach = np.array([0.7 * chord, 0.7 * chord])
    for _ in range(20):
        gap = _carried_on(one, reach[0]) - _carried_on(two, reach[1])
        slopes = np.column_stack([_direction_after(one, reach[0]), -_direction_after(two, reach[1])])
        if abs(slopes[0, 0] * slopes[1, 1] - slopes[0, 1] * slopes[1, 0]) < 0.05:
            return None
        step = solve(slopes, gap[:, None])[:, 0]
        reach = reach - step
        if np.abs(step).max() < 1e-9:
            break
    if not (np.all(reach > 0) and np.all(reach < 4 * chord)):
        return None
    legs = [
        np.array([_carried_on(end, r * (i + 1) / n) for i in range(n)])
        for end, r in zip((one, two), reach, strict=True)
        for n in (max(1, round(float(r) / spacing)),)
    ]
    return legs[0], legs[1]


def _carried_on(end: _End, s: float) -> FloatArray:
    place, along, curvature = end
    return np.asarray(place + s * along + 0.5 * curvature * s**2 * np.array([-along[1], along[0]]))


def _direction_after(end: _End, s: float) -> FloatArray:
    _, along, curvature = end
    return np.asarray(along + curvature * s * np.array([-along[1], along[0]]))


def _not_crowded(ring: FloatArray, least: float) -> npt.NDArray[np.bool_]:
    """Mark points at least `least` from the one marked before."""
    keep = np.ones(len(ring), bool)
    last = ring[0]
    for i in range(1, len(ring)):
        if abs(ring[i, 0] - last[0]) < least and abs(ring[i, 1] - last[1]) < least:
            keep[i] = False
        else:
            last = ring[i]
    return keep


def _true_corners(ring: FloatArray, candidates: list[int]) -> tuple[int, ...]:
    """Candidates at which the ring turns; of several within a few points the one that turns most."""
    near, far, count = 3, 7, len(ring)
    turns = [c for c in candidates if _turn_at(ring, c, near=near, far=far) > _CORNER_TURN]
    kept: list[int] = []
    for c in sorted(turns, key=lambda c: -_sharpness(ring, c)):
        if all(min((c - k) % count, (k - c) % count) > far for k in kept):
            kept.append(c)
    return tuple(sorted(kept))


def _sharpness(ring: FloatArray, c: int) -> float:
    """How much the ring turns at the point itself."""
    count = len(ring)
    back, ahead = ring[c] - ring[(c - 2) % count], ring[(c + 2) % count] - ring[c]
    return abs(float(np.arctan2(back[0] * ahead[1] - back[1] * ahead[0], product(back, ahead))))
