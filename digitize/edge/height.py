"""An item of known height with upright walls, from its silhouette: what its edge is, not what it hides.

Seen from above, a wall that faces away from the point below the camera shows its top edge, a wall that faces
that point its bottom edge. The silhouette rectified on the card's plane is therefore right along the latter and too
large along the former; rectified on the plane of the item's top it is right along the former and too large along the
latter. The item is what both have in common. A hole is the other way round: light comes through only
where top and bottom are both open, so that the hole is what either shows. Where an inside curve turns from one kind
of wall to the other, neither shows it: the short gap is bridged by an arc, or by the corner that both sides meet in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from ..measure.rings import signed_area
from ..records import Contour, FloatArray
from ..steady import product
from .gaps import CORNER_TURN, Circle, bridge, circle_through, leading_to, round_bridge

_WRONG_MM = 0.004  # a point whose plane cannot be right moves the edge by more than this: it is left out
_LEAST_KEPT = 48  # points; with fewer nothing is left out
_REACH = 4  # points either side that a direction is taken from
_TIP_BLURS = 3.0  # of the blur: nearer to the tip of a lens two edges lie in one profile
# Of what is seen of a hole, that both planes show: with less, the ring around both has notches where it has none (from
# renders: 4.2 mm wide, through 5 mm, at 14 to 16 degrees).
_NARROW = 0.5
_LEAST_SIDE = 6  # points of either side of a lens, or it tells nothing of the hole
_SURE_RUN = 6  # points of a stretch between two gaps, that tell their own direction
_LEAST_RUN = 2  # and of one that is heeded where it lies off the bridge without it
_OFF_BRIDGE = 0.35  # of the points' spacing; from renders
_AT_ONCE = 0.65  # of a corner's turn lies within half as far; of an arc's, half
_TURN_POINTS = (3, 7)  # from a corner: between them directions are taken, clear of its rounding; chosen, no source


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
    hidden: Literal["", "round", "guess"] = ""  # a hole of which a lens is seen: round by both its sides, or not known


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
    if contour.is_hole and (hole := _hole(contour, low, top)) is not None:
        return hole
    joined = _common(low.points_mm, top, either=contour.is_hole)
    if joined is None:
        return low
    source, on_top = _sources(joined, low.points_mm, top)
    wrong = _wrong_plane(low.points_mm, top)
    right = (source < 0) | ~np.where(on_top, wrong[1][source], wrong[0][source])
    keep = _without_rims(right)
    keep &= ~_beside_dropped(source, keep)
    rounded = _rounded(joined, source, contour.corners, contour.blur_px)
    keep = (keep & ~rounded) | _beside_corners(rounded, right & (source >= 0))
    is_corner = np.zeros(len(joined), bool)
    is_corner[np.isin(source, np.array(contour.corners, dtype=np.int64))] = True
    is_corner |= source < 0  # where both rings cross: kept as a corner only if it turns
    if keep.sum() < _LEAST_KEPT:
        keep = np.ones(len(joined), bool)
    return _assemble(joined, source, on_top, keep, is_corner)


def _hole(contour: Contour, low: TrueRing, top: FloatArray) -> TrueRing | None:
    """A hole by its two sides, each on its own plane, the rest bridged; None where what both planes show tells more.

    What is seen is a lens between the foot of one wall and the top of the other. In the ring of the hole its sides lie
    a wall's width apart, and the tips nowhere. Both sides tell a round hole; of another shape what joins them is a
    guess as soon as the lens is narrow.
    """
    outward = _outward(low.points_mm)
    on_top = ((low.points_mm - top) * outward).sum(axis=1) > 0
    index = np.arange(len(top))
    tips = np.flatnonzero(on_top != np.roll(on_top, 1))
    reach = int(np.ceil(_TIP_BLURS * contour.blur_px)) + _REACH
    keep = np.ones(len(top), bool)
    keep[(tips[:, None] + np.arange(-reach, reach)) % len(top)] = False
    is_narrow = _in_common(low.points_mm, top) < _NARROW
    if min((keep & on_top).sum(), (keep & ~on_top).sum()) < _LEAST_SIDE:
        return replace(low, hidden="guess") if is_narrow else None
    points = np.where(on_top[:, None], top, low.points_mm)
    circle = circle_through(points[keep])
    if circle is None and not is_narrow:
        return None
    is_corner = np.isin(index, np.array(contour.corners, dtype=np.int64))
    ring = _assemble(points, index, on_top, keep, is_corner, circle=circle)
    return replace(ring, hidden="" if not is_narrow else "guess" if circle is None else "round")


def _in_common(low: FloatArray, top: FloatArray) -> float:
    """What part of one ring the other covers."""
    import shapely

    a, b = (shapely.make_valid(shapely.Polygon(ring)) for ring in (low, top))
    return float(shapely.intersection(a, b).area / max(a.area, 1e-12))


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
    joined: FloatArray, source: npt.NDArray[np.int64], corners: tuple[int, ...], blur_px: float
) -> npt.NDArray[np.bool_]:
    """Points near a corner in which both rings cross.

    In the picture such a corner is two, a wall's height apart, that the blur rounds each: it is made anew from both
    sides. A bend of the item turns no more there than beside it and has no sharp corner in the
    picture: it is left as it was seen.
    """
    rounded = np.zeros(len(joined), bool)
    reach = int(np.ceil(3.0 * blur_px)) + 2
    for c in np.flatnonzero(source < 0):
        turn = _turn_at(joined, int(c), near=2, far=reach + 4)
        around = (c + np.arange(-reach, reach + 1)) % len(joined)
        at_once = _turn_at(joined, int(c), near=1, far=reach // 2 + 2)
        if turn > CORNER_TURN and (at_once > _AT_ONCE * turn or np.isin(source[around], corners).any()):
            rounded[around] = True
    return rounded


def _beside_corners(rounded: npt.NDArray[np.bool_], right: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """The points next to a corner that is made anew, where they lie on the right plane: they lead to it."""
    beside = np.zeros(len(rounded), bool)
    for step in (-1, 1):
        first = np.roll(rounded, step) & ~rounded & right
        second = np.roll(first, step) & ~rounded & right
        beside |= second | (first & np.roll(second, -step))
    return beside


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
    *,
    circle: Circle | None = None,
) -> TrueRing:
    """Kept points in order with their gaps bridged, by the circle if there is one, and their true corners marked."""
    first = int(np.flatnonzero(keep & ~np.roll(keep, 1))[0]) if not keep.all() else 0
    order = (first + np.arange(len(joined))) % len(joined)
    spacing = float(np.median(np.linalg.norm(np.roll(joined, -1, axis=0) - joined, axis=1)))
    runs = _runs(order, keep, joined, spacing)
    stretches = [joined[one] for one in runs]
    points, sources, tops, corners = [], [], [], []
    length = 0
    for i, run in enumerate(runs):
        points.append(stretches[i])
        sources.append(source[run])
        tops.append(on_top[run])
        corners += [length + int(k) for k in np.flatnonzero(is_corner[run])]
        length += len(run)
        after = runs[(i + 1) % len(runs)]
        if len(runs) == 1 and keep.all():
            continue
        if circle is None:
            behind, ahead = leading_to(stretches, i, -1), leading_to(stretches, (i + 1) % len(runs), 1)
            between, apex = bridge(behind, ahead, spacing)
        else:
            between, apex = round_bridge(joined[run[-1]], joined[after[0]], circle, spacing), None
        if apex is not None:
            corners.append(length + apex)
        points.append(between)
        sources.append(np.full(len(between), -1))
        tops.append(np.zeros(len(between), bool))
        length += len(between)
    ring = np.vstack(points)
    even = _not_crowded(ring, 0.25 * spacing)
    renumbered = np.cumsum(even) - 1
    kept_corners = _true_corners(ring[even], sorted({int(renumbered[c]) for c in corners}))
    return TrueRing(ring[even], kept_corners, np.concatenate(sources)[even], np.concatenate(tops)[even])


def _runs(
    order: npt.NDArray[np.int64], keep: npt.NDArray[np.bool_], joined: FloatArray, spacing: float
) -> list[npt.NDArray[np.int64]]:
    """Stretches of kept points, in order; a scrap between two gaps belongs to the gap, unless off its bridge."""
    flags = keep[order]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    runs = [order[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    sure = [k for k, run in enumerate(runs) if len(run) >= _SURE_RUN]
    if not sure:
        return runs
    kept = set(sure)
    for k, run in enumerate(runs):
        if _LEAST_RUN <= len(run) < _SURE_RUN:
            before = max((one for one in sure if one < k), default=sure[-1])
            after = min((one for one in sure if one > k), default=sure[0])
            between, _ = bridge(joined[runs[before]], joined[runs[after]], spacing)
            way = np.vstack([joined[runs[before]][-1:], between, joined[runs[after]][:1]])
            if _farthest(joined[run], way) > _OFF_BRIDGE * spacing:
                kept.add(k)
    return [runs[k] for k in sorted(kept)]


def _farthest(points: FloatArray, way: FloatArray) -> float:
    """How far the farthest of some points lies from a way of straight pieces."""
    start, along = way[:-1], np.diff(way, axis=0)
    part = ((points[:, None] - start) * along).sum(axis=2) / np.maximum((along**2).sum(axis=1), 1e-12)
    off = points[:, None] - (start + np.clip(part, 0.0, 1.0)[:, :, None] * along)
    return float(np.hypot(off[:, :, 0], off[:, :, 1]).min(axis=1).max())


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
    (near, far), count = _TURN_POINTS, len(ring)
    turns = [c for c in candidates if _turn_at(ring, c, near=near, far=far) > CORNER_TURN]
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
