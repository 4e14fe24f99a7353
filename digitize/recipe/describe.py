"""From the rings of one traced item to the item itself: its own frame, curves, pocket, sizes, uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..edge.touching import perhaps_two
from ..fitting.fit import fit_curve
from ..fitting.ragged import RAGGED, lines_if_ragged
from ..fitting.regular import Regular, about_regular, even_pocket, evened, look, told_shapes
from ..records import (
    Contour,
    Contribution,
    Curve,
    Finding,
    FloatArray,
    IdealShape,
    Item,
    Path,
    Pocket,
    Symmetry,
    frozen_array,
)
from ..reference.scale import ScaleEstimate
from ..settings import Settings
from ..trust.uncertainty import combine, edge_contributions


@dataclass(frozen=True, slots=True)
class Rings:
    """One item's rings, exterior first, and what was seen along them."""

    contours: tuple[Contour, ...]
    origin: FloatArray  # (2,), plane frame: lower-left corner of the exterior's box
    own: tuple[FloatArray, ...]  # each (N, 2), mm, item frame
    corners: tuple[tuple[int, ...], ...]  # of each ring
    findings: tuple[Finding, ...]
    budget: tuple[Contribution, ...] = ()  # what a photo's camera adds at this place

    def with_findings(self, findings: tuple[Finding, ...]) -> Rings:
        """Return the same rings with further findings, one of each code."""
        return replace(self, findings=_merged((*self.findings, *findings)))


@dataclass(frozen=True, slots=True)
class Drawn:
    """The curves of one item."""

    curves: tuple[Curve, ...]  # exterior first
    pocket: Pocket | None
    findings: tuple[Finding, ...] = ()
    shapes: tuple[IdealShape | None, ...] = ()  # one a ring; empty where none is one
    symmetry: Symmetry | None = None
    print_area: tuple[Curve, ...] = ()
    print_offset_mm: float | None = None


def place_rings(
    contours: tuple[Contour, ...],
    rings_mm: tuple[FloatArray, ...],
    corners: tuple[tuple[int, ...], ...],
    findings: tuple[Finding, ...],
    budget: tuple[Contribution, ...] = (),
) -> Rings | None:
    """Move rings from the plane frame into the item's own; None when no outer ring is left of them.

    A ring that crosses itself (two edges closer than the blur, a sliver) is replaced by its largest simple part.
    Holes come in reading order as they lie in the picture: that is how people count them.
    """
    untangled = [
        _simple(ring, at, -1.0 if contour.is_hole else 1.0)
        for ring, at, contour in zip(rings_mm, corners, contours, strict=True)
    ]
    if untangled[0] is None:
        return None
    left = [(contour, part) for contour, part in zip(contours, untangled, strict=True) if part is not None]
    kept = [left[0], *(left[1:][k] for k in reading_order([contour.points_px for contour, _ in left[1:]]))]
    if any(part is None or part[0] is not ring for part, ring in zip(untangled, rings_mm, strict=True)):
        findings = (*findings, _tangled())
    findings = (*findings, *perhaps_two(kept[0][1][0]))
    origin = kept[0][1][0].min(axis=0)
    own = tuple(frozen_array(part[0] - origin, columns=2) for _, part in kept)
    return Rings(
        tuple(contour for contour, _ in kept),
        origin,
        own,
        tuple(part[1] for _, part in kept),
        _merged(findings),
        budget,
    )


def reading_order(rings_px: Sequence[FloatArray]) -> list[int]:
    """Return the numbers of rings in reading order.

    Rows from the top, each from the left; a row is what lies across the height of its first ring with half of itself.
    """
    boxes = [(*ring.min(axis=0).tolist(), *ring.max(axis=0).tolist()) for ring in rings_px]
    rest = sorted(range(len(boxes)), key=lambda k: (boxes[k][1], boxes[k][0]))
    ordered: list[int] = []
    while rest:
        _, top, _, bottom = boxes[rest[0]]
        row = {k for k in rest if 0.5 * (boxes[k][1] + boxes[k][3]) < bottom and boxes[k][3] > top}
        ordered += sorted(row, key=lambda k: boxes[k][0])
        rest = [k for k in rest if k not in row]
    return ordered


def _simple(ring: FloatArray, corners: tuple[int, ...], direction: float) -> tuple[FloatArray, tuple[int, ...]] | None:
    """The ring if it does not cross itself, else the outline of its largest part; None if it is inside out.

    `direction` is 1 for a ring that runs counter-clockwise, -1 for a hole.
    """
    import shapely

    area = direction * area_and_centroid(ring)[0]
    if not area > 0:
        return None  # the edge was lost on most of its way
    line = shapely.linearrings(ring)
    if shapely.is_simple(line):
        return ring, corners
    repaired = shapely.make_valid(shapely.Polygon(ring))
    parts = [part for part in shapely.get_parts(repaired) if part.geom_type == "Polygon"]
    parts += [q for part in shapely.get_parts(repaired) if part.geom_type == "MultiPolygon" for q in part.geoms]
    if not parts:
        return None
    largest = max(parts, key=lambda part: float(part.area))
    outline = shapely.get_coordinates(shapely.geometry.polygon.orient(largest, direction).exterior)[:-1]
    return (outline, ()) if len(outline) >= 8 and largest.area > 0.5 * area else None


def _tangled() -> Finding:
    return Finding(
        "edge-tangled",
        "The edge crossed itself at a sliver, a speck or a very narrow gap; its largest simple part is given. Look at "
        "the check picture, clean the glass, or scan at a higher density.",
    )


def _merged(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """One finding of each code, that with the largest value."""
    best: dict[str, Finding] = {}
    for finding in findings:
        held = best.get(finding.code)
        if held is None or (finding.value or 0.0) > (held.value or 0.0):
            best[finding.code] = finding
    return tuple(best.values())


def draw(rings: tuple[FloatArray, ...], corners: tuple[tuple[int, ...], ...], settings: Settings) -> Drawn:
    """Fit lines and arcs to an item's rings, see what is regular about them, make what else is asked for."""
    tolerance = settings.tolerance_mm
    ragged = tuple(lines_if_ragged(ring, tolerance) for ring in rings)
    findings = tuple(_ragged(len(lines), tolerance) for lines in ragged if lines is not None)[:1]
    seen = Regular((None,) * len(rings), None) if findings else look(rings, tolerance_mm=tolerance)
    given: list[Curve | None] = [shape.curve if settings.ideal and shape else None for shape in seen.shapes]
    even = None
    if settings.symmetric and seen.symmetry is not None and given[0] is None:
        even = evened(rings, corners[0], seen.symmetry, tolerance_mm=tolerance)
    used = rings
    if even is not None:
        used, given[0] = even.rings_mm, even.path
    curves = tuple(_curve(*one, tolerance) for one in zip(used, corners, ragged, given, strict=True))
    pocket = _pocket(used, curves, settings)
    if even is not None and pocket is not None:
        pocket = even_pocket(pocket, even.symmetry, tolerance_mm=tolerance)
    about = about_regular(
        seen, even, curves[0], ideal=settings.ideal, symmetric=settings.symmetric, tolerance_mm=tolerance
    )
    return Drawn(
        curves,
        pocket,
        (*findings, *about),
        told_shapes(seen.shapes, curves, ideal=settings.ideal),
        seen.symmetry if even is None else even.symmetry,
        _print_area(used, settings),
        settings.print_offset_mm,
    )


def _curve(
    ring: FloatArray, corners: tuple[int, ...], lines: FloatArray | None, given: Curve | None, tolerance_mm: float
) -> Curve:
    """The curve of one ring: what is given, straight lines if it is ragged, else lines and arcs."""
    if given is not None:
        return given
    if lines is not None:
        return Path(frozen_array(lines, columns=2), frozen_array(np.zeros(len(lines))))
    return fit_curve(ring, tolerance_mm=tolerance_mm, corners=corners)


def _print_area(rings: tuple[FloatArray, ...], settings: Settings) -> tuple[Curve, ...]:
    if settings.print_offset_mm is None:
        return ()
    from ..cutting.print_area import make_print_area

    return make_print_area(
        rings[0], rings[1:], settings.print_offset_mm, tolerance_mm=settings.tolerance_mm, ideal=settings.ideal
    )


def _ragged(lines: int, tolerance_mm: float) -> Finding:
    return Finding(
        "edge-ragged",
        f"The edge is so uneven that {lines} straight lines are needed to follow it within {tolerance_mm:g} mm (over "
        f"{RAGGED[0][0]} count as ragged); no arcs were looked for. Scan at a higher density, or say a larger "
        "--tolerance, such as 0.1.",
        value=float(lines),
        limit=float(RAGGED[0][0]),
    )


def _pocket(rings: tuple[FloatArray, ...], curves: tuple[Curve, ...], settings: Settings) -> Pocket | None:
    if not settings.cutting.wanted:
        return None
    from ..cutting.make import cut_pocket

    return cut_pocket(
        rings[0],
        rings[1:],
        curves,
        settings.cutting,
        tolerance_mm=settings.tolerance_mm,
        ideal=settings.ideal,
    )


def describe(name: str, rings: Rings, drawn: Drawn, estimate: ScaleEstimate, sheet_origin: FloatArray) -> Item:
    """Put an item together."""
    width, height = (float(v) for v in rings.own[0].max(axis=0))
    areas = [area_and_centroid(ring) for ring in rings.own]
    area = sum(a for a, _ in areas)
    centroid = sum((a * c for a, c in areas), np.zeros(2)) / area
    shift = rings.origin - sheet_origin
    place = estimate.scale.to_px(rings.origin[None, :])[0]
    pixel = float(np.mean(estimate.facts.mm_per_px))
    budget = (*estimate.budget, *rings.budget, *edge_contributions(rings.contours, pixel))
    outer = rings.own[0]
    return Item(
        name=name,
        exterior_mm=outer,
        holes_mm=rings.own[1:],
        path=drawn.curves[0],
        hole_paths=drawn.curves[1:],
        sheet_mm=(float(shift[0]), float(shift[1])),
        origin_px=(float(place[0]), float(place[1])),
        width_mm=width,
        height_mm=height,
        area_mm2=float(area),
        perimeter_mm=float(np.linalg.norm(np.roll(outer, -1, axis=0) - outer, axis=1).sum()),
        centroid_mm=(float(centroid[0]), float(centroid[1])),
        uncertainty=combine(budget, max(width, height)),
        contours=rings.contours,
        pocket=drawn.pocket,
        print_area=drawn.print_area,
        print_offset_mm=drawn.print_offset_mm,
        shapes=drawn.shapes,
        symmetry=drawn.symmetry,
        findings=_merged((*rings.findings, *drawn.findings)),
    )


def area_and_centroid(ring: FloatArray) -> tuple[float, FloatArray]:
    """Signed area (counter-clockwise positive) and centroid of a ring, coordinates centred first."""
    middle = ring.mean(axis=0)
    x, y = (ring - middle).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = 0.5 * float(cross.sum())
    centroid = middle + np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (6 * area)
    return area, centroid
