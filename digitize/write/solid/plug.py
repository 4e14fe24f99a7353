"""A plug with draft: its upper face, and flanks that lean outward all round down to its foot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ...records import FloatArray
from .region import polygons_of

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry as Geometry

_SHARP = np.radians(5)  # a corner that turns more than this gets a round flank
_FAN = np.radians(5)  # between the edges of a round flank
_STEP_MM = 0.05  # of draft between cross-sections where sides vanish on the way down
_COARSE_MM = 0.003  # such cross-sections keep to their exact ones within this

IntArray = npt.NDArray[np.int64]


def plug_parts(top: Geometry, *, block_mm: float, height_mm: float, draft_mm: float) -> list[Any]:
    """Return closed bodies that together are a plug on a block: block up to `block_mm`, plug `height_mm` above it.

    Each cross-section is the upper face grown by what the draft gives at its height, with round corners, as the foot
    is. Where sides vanish on the way down (an inner corner rounder than the draft is wide) cross-sections stand 0.05 mm
    of draft apart with flanks between them: off only where a side vanishes, by less than that (0.02 mm where the sides
    beside it meet at a right angle).

    Parameters
    ----------
    top
        Region of the upper face.
    block_mm, height_mm
        Above 0.
    draft_mm
        From the upper face's edge to the foot's, each side.
    """
    import manifold3d

    if draft_mm <= 0:
        return [prism(part, block_mm + height_mm) for part in polygons_of(top)]
    bodies: list[Any] = []
    for part in polygons_of(top):
        rings = _rings(part)
        flanks = [_flanks(ring, draft_mm) for ring in rings]
        whole = [foot for foot in flanks if foot is not None]
        apart = len(whole) == len(rings) and _apart([foot for foot, _ in whole])
        corners, triangles = (
            _lofted(rings, whole, block_mm, height_mm) if apart else _stacked(part, block_mm, height_mm, draft_mm)
        )
        bodies.append(manifold3d.Manifold(manifold3d.Mesh64(corners, triangles.astype(np.uint64))))
    return bodies


def prism(part: Polygon, height_mm: float) -> Any:
    """Return a body with upright walls on z = 0."""
    import manifold3d

    rings = [np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
    return manifold3d.Manifold.extrude(manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd), height_mm)


def _rings(part: Polygon) -> list[FloatArray]:
    """Return the exterior counter-clockwise, then the holes clockwise."""
    from shapely.geometry.polygon import orient

    whole = orient(part)
    return [np.asarray(ring.coords)[:-1] for ring in (whole.exterior, *whole.interiors)]


def _apart(feet: list[FloatArray]) -> bool:
    """Tell whether a foot's rings still make one polygon."""
    import shapely

    return bool(shapely.Polygon(feet[0], feet[1:]).is_valid)


def _flanks(ring: FloatArray, draft_mm: float) -> tuple[FloatArray, IntArray] | None:
    """Return the foot's corners (M, 2) and which corner of the ring each belongs to; None if they run into one another.

    Sides move outward by the draft and keep their directions; a sharp corner becomes an arc about it.
    """
    import shapely

    along = np.roll(ring, -1, axis=0) - ring
    along = along / np.hypot(*along.T)[:, None]
    before = np.roll(along, 1, axis=0)
    turn = np.arctan2(before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0], np.sum(before * along, axis=1))
    counts = np.where(turn > _SHARP, np.ceil(turn / _FAN).astype(int) + 1, 1)
    owner = np.repeat(np.arange(len(ring)), counts)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = np.where(counts[owner] > 1, place / np.maximum(counts[owner] - 1, 1), 0.5)
    angle = np.arctan2(-before[owner, 0], before[owner, 1]) + share * turn[owner]  # of the way out
    reach = np.where(counts[owner] > 1, 1.0, 1 / np.maximum(np.cos(turn[owner] / 2), 1e-6))
    foot = ring[owner] + draft_mm * reach[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    side = np.roll(foot, -1, axis=0) - foot
    kept = np.sum(side * along[owner], axis=1) > 0
    last = owner != np.roll(owner, -1)
    if not kept[last].all() or not shapely.LinearRing(foot).is_simple:
        return None
    return foot, owner


def _lofted(
    tops: list[FloatArray], feet: list[tuple[FloatArray, IntArray]], block_mm: float, height_mm: float
) -> tuple[FloatArray, IntArray]:
    """Return corners and triangles of a plug whose foot's corners belong to its top's, the foot's block included."""
    import manifold3d

    foot, top = np.vstack([ring for ring, _ in feet]), np.vstack(tops)
    count = len(foot)
    corners = np.vstack(
        [_at(foot, 0.0), _at(foot, block_mm), _at(top, block_mm + height_mm)],
    )
    triangles = [
        np.asarray(manifold3d.triangulate([ring for ring, _ in feet]))[:, ::-1],
        np.asarray(manifold3d.triangulate(tops)) + 2 * count,
    ]
    begun, begun_top = 0, 2 * count
    for (ring, owner), above in zip(feet, tops, strict=True):
        here = np.arange(len(ring)) + begun
        there = np.roll(here, -1)
        over = owner + begun_top
        triangles += _wall(here, there, count)
        triangles.append(np.column_stack([here + count, there + count, over]))
        leans = owner != np.roll(owner, -1)
        triangles.append(np.column_stack([there + count, np.roll(over, -1), over])[leans])
        begun, begun_top = begun + len(ring), begun_top + len(above)
    return corners, np.concatenate(triangles).astype(np.int64)


def _at(ring: FloatArray, height: float) -> FloatArray:
    return np.column_stack([ring, np.full(len(ring), height)])


def _wall(here: IntArray, there: IntArray, up: int) -> list[IntArray]:
    """Return an upright wall between corners and those `up` further, which stand above them."""
    return [np.column_stack([here, there, there + up]), np.column_stack([here, there + up, here + up])]


def _stacked(part: Polygon, block_mm: float, height_mm: float, draft_mm: float) -> tuple[FloatArray, IntArray]:
    """Return corners and triangles of a plug by cross-sections, each inside the one below.

    What lies between two of them is divided into triangles in the plane; each corner then gets its own section's
    height, so that the flank is a surface without folds.
    """
    import manifold3d
    import shapely

    count = int(np.ceil(draft_mm / _STEP_MM))
    sections = [
        shapely.MultiPolygon(polygons_of(_coarse(shapely.buffer(part, draft_mm * (1 - k / count), quad_segs=32))))
        for k in range(count + 1)
    ]
    heights = [block_mm + height_mm * k / count for k in range(count + 1)]
    pieces = [*_covered(sections[0], 0.0, down=True), *_covered(sections[-1], heights[-1], down=False)]
    for one in sections[0].geoms:
        for ring in _rings(one):
            here = np.arange(len(ring))
            wall = np.concatenate(_wall(here, np.roll(here, -1), len(ring)))
            pieces.append((np.vstack([_at(ring, 0.0), _at(ring, block_mm)]), wall))
    for lower, upper, low, high in zip(sections, sections[1:], heights, heights[1:], strict=False):
        raised = {tuple(point) for point in shapely.get_coordinates(upper).tolist()}
        for one in polygons_of(lower.difference(upper), settle=False):
            rings = _rings(one)
            flat = np.vstack(rings)
            z = np.array([high if tuple(point) in raised else low for point in flat.tolist()])
            pieces.append((np.column_stack([flat, z]), np.asarray(manifold3d.triangulate(rings), dtype=np.int64)))
    starts = np.cumsum([0, *[len(corners) for corners, _ in pieces[:-1]]])
    corners = np.vstack([corners for corners, _ in pieces])
    triangles = np.concatenate([faces + start for (_, faces), start in zip(pieces, starts, strict=True)])
    whole, where = np.unique(corners, axis=0, return_inverse=True)
    return whole, where.reshape(-1)[triangles]


def _coarse(section: Geometry) -> Geometry:
    """Leave out corners that a former's sheet, tenths of a millimetre thick, never shows; every section has them."""
    return section.simplify(_COARSE_MM)


def _covered(section: Geometry, height: float, *, down: bool) -> list[tuple[FloatArray, IntArray]]:
    import manifold3d

    found = []
    for part in polygons_of(section, settle=False):
        rings = _rings(part)
        faces = np.asarray(manifold3d.triangulate(rings), dtype=np.int64)
        found.append((_at(np.vstack(rings), height), faces[:, ::-1] if down else faces))
    return found
