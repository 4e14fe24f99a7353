"""From the rings of one traced item to the item itself: its own frame, curves, pocket, sizes, uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import islice

import numpy as np

from ..edge.spliced import hand_runs
from ..fitting.alike import with_equal_circles
from ..fitting.fit import curve_of
from ..fitting.ragged import RAGGED, lines_if_ragged
from ..fitting.regular import Even, Regular, about_regular, even_pocket, evened, look, told_shapes
from ..fitting.ring import Ring
from ..fitting.together import together
from ..measure.rings import area_and_centroid
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
    turning,
)
from ..reference.picture_limits import LEAST_PX_PER_MM
from ..reference.scale import ScaleEstimate
from ..settings import Settings
from ..steady import product
from ..trust.blunt import coarse_corners, coarse_edge
from ..trust.calipers import calipers_of
from ..trust.glass import scanner_bend
from ..trust.least_sure import least_sure
from ..trust.tips import tip_gain, with_tips
from ..trust.uncertainty import arm_mm, combine, edge_contributions, shade_sd_mm
from ..words.say import SURE_MM, finding_of
from .by_hand import hand_lines
from .curves import apart, crossed, narrow
from .rings import Rings, merged

_MOST_HALO = 0.8  # of a shade, that is lighter than the ground: it is counted, but no one need look; chosen, no source
_TOLD_SHARE = 0.5  # of the stated figure: a shade that makes up less of it is not worth a word


@dataclass(frozen=True, slots=True)
class Drawn:
    """The curves of one item."""

    curves: tuple[Curve, ...]  # exterior first
    pocket: Pocket | None
    tolerance_mm: float
    findings: tuple[Finding, ...] = ()
    shapes: tuple[IdealShape | None, ...] = ()  # one a ring; empty where none is one
    symmetry: Symmetry | None = None
    print_area: tuple[Curve, ...] = ()
    print_offset_mm: float | None = None


def draw(rings: tuple[Ring, ...], settings: Settings) -> Drawn:
    """Fit lines and arcs to an item's rings, see what is regular about them, make what else is asked for."""
    return draw_all((rings,), settings)[0]


def draw_all(items: Sequence[tuple[Ring, ...]], settings: Settings) -> tuple[Drawn, ...]:
    """Draw each of many items as `draw` does, their curves fitted in step."""
    seen = _looked_at(items, settings)
    curves = iter(together(_curve(*one, settings) for item in seen for one in item.to_fit()))
    return tuple(_drawn(item, tuple(islice(curves, len(item.used))), settings) for item in seen)


@dataclass(frozen=True, slots=True)
class _Seen:
    """What is known of an item's rings before lines and arcs are fitted to them."""

    used: tuple[Ring, ...]  # as they are, or made even
    ragged: tuple[FloatArray | None, ...]  # straight lines, where lines and arcs say nothing
    given: tuple[Curve | None, ...]  # what is to be written as it is
    regular: Regular
    even: Even | None
    findings: tuple[Finding, ...]

    def to_fit(self) -> Iterator[tuple[Ring, FloatArray | None, Curve | None, Curve | None]]:
        """Each ring, its straight lines, the curve given, and the curve that it is like."""
        shapes = self.regular.shapes
        like = [shape.curve if shape is not None and self.even is None else None for shape in shapes]
        return zip(self.used, self.ragged, self.given, like, strict=True)


def _looked_at(items: Sequence[tuple[Ring, ...]], settings: Settings) -> list[_Seen]:
    tolerance = settings.tolerance_mm
    ragged = [tuple(lines_if_ragged(ring.points_mm, tolerance) for ring in rings) for rings in items]
    clean = [rings for rings, lines in zip(items, ragged, strict=True) if not _any(lines)]
    seen = iter(look(clean, tolerance_mm=tolerance))
    return [
        _seen(rings, lines, Regular((None,) * len(rings), None) if _any(lines) else next(seen), settings)
        for rings, lines in zip(items, ragged, strict=True)
    ]


def _any(ragged: tuple[FloatArray | None, ...]) -> bool:
    return any(lines is not None for lines in ragged)


def _seen(rings: tuple[Ring, ...], ragged: tuple[FloatArray | None, ...], seen: Regular, settings: Settings) -> _Seen:
    tolerance = settings.tolerance_mm
    findings = tuple(_ragged(len(lines), tolerance) for lines in ragged if lines is not None)[:1]
    given: list[Curve | None] = [shape.curve if settings.ideal and shape else None for shape in seen.shapes]
    even = None
    if settings.symmetric and seen.symmetry is not None and given[0] is None:
        even = evened(rings, seen.symmetry, tolerance_mm=tolerance, joins=settings.joins)
    used = rings
    if even is not None:
        used, given[0] = even.rings, even.path
    return _Seen(used, ragged, tuple(given), seen, even, findings)


def _drawn(item: _Seen, curves: tuple[Curve, ...], settings: Settings) -> Drawn:
    used, seen, even, findings, tolerance = item.used, item.regular, item.even, item.findings, settings.tolerance_mm
    if not settings.ideal:
        curves = with_equal_circles(curves, used, tolerance_mm=tolerance)
    if crossed(curves):
        curves, findings = apart(used, tolerance), (*findings, narrow(tolerance))
    pocket = _pocket(used, curves, settings)
    if even is not None and pocket is not None:
        from ..cutting.wall import with_wall

        pocket = with_wall(even_pocket(pocket, even.symmetry, tolerance_mm=tolerance))
    about = about_regular(
        seen, even, curves[0], ideal=settings.ideal, symmetric=settings.symmetric, tolerance_mm=tolerance
    )
    return Drawn(
        curves,
        pocket,
        tolerance,
        (*findings, *about),
        told_shapes(seen.shapes, curves, ideal=settings.ideal),
        seen.symmetry if even is None else even.symmetry,
        _print_area(used, curves, settings),
        settings.print_offset_mm,
    )


async def _curve(
    ring: Ring, lines: FloatArray | None, given: Curve | None, like: Curve | None, settings: Settings
) -> Curve:
    """The curve of one ring: what is given, straight lines if it is ragged, else lines and arcs, as many as `like`."""
    if given is not None:
        return given
    if lines is not None:
        return Path(frozen_array(lines, columns=2), frozen_array(np.zeros(len(lines))))
    return await curve_of(ring, tolerance_mm=settings.tolerance_mm, joins=settings.joins, like=like)


def _print_area(rings: tuple[Ring, ...], curves: tuple[Curve, ...], settings: Settings) -> tuple[Curve, ...]:
    if settings.print_offset_mm is None:
        return ()
    from ..cutting.print_area import make_print_area

    return make_print_area(
        rings,
        settings.print_offset_mm,
        curves=curves,
        tolerance_mm=settings.tolerance_mm,
        ideal=settings.ideal,
        joins=settings.joins,
    )


def _ragged(lines: int, tolerance_mm: float) -> Finding:
    return finding_of("edge-ragged", value=float(lines), limit=float(RAGGED[0][0]), attention=False)


def _pocket(rings: tuple[Ring, ...], curves: tuple[Curve, ...], settings: Settings) -> Pocket | None:
    if not settings.cutting.wanted:
        return None
    from ..cutting.make import cut_pocket

    return cut_pocket(
        rings,
        curves,
        settings.cutting,
        tolerance_mm=settings.tolerance_mm,
        ideal=settings.ideal,
        joins=settings.joins,
    )


def describe(name: str, rings: Rings, drawn: Drawn, estimate: ScaleEstimate, sheet_origin: FloatArray) -> Item:
    """Put an item together."""
    width, height = (float(v) for v in rings.own[0].max(axis=0))
    areas = [area_and_centroid(ring) for ring in rings.own]
    area = sum(a for a, _ in areas)
    centroid = sum((a * c for a, c in areas), np.zeros(2)) / area
    shift = rings.corner - sheet_origin
    place = estimate.scale.to_px(rings.origin[None, :])[0]
    pixel = float(np.mean(estimate.facts.mm_per_px))
    edge = edge_contributions(rings.contours, pixel, extents_mm=(width, height), reference=estimate.edge)
    outer = rings.own[0]
    is_coarse = pixel * LEAST_PX_PER_MM > 1.0
    edge = (*rings.budget, *edge, *((coarse_edge(rings.contours, pixel),) if is_coarse else ()))
    blunt = coarse_corners(rings.contours, pixel) if is_coarse else ()
    edge = (*with_tips(edge, tip_gain(outer, rings.corners[0])), *blunt)
    budget = (*estimate.budget, *edge, *_beside_reference(rings, estimate))
    uncertainty = combine(budget, arm_mm(rings.own))
    shaded = _shaded(rings.contours, pixel, uncertainty.profile_k2_mm)
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
        uncertainty=uncertainty,
        contours=rings.contours,
        other_px=rings.other_px,
        least_sure=least_sure(rings.contours, pixel),
        pocket=drawn.pocket,
        print_area=drawn.print_area,
        print_offset_mm=drawn.print_offset_mm,
        shapes=drawn.shapes,
        symmetry=drawn.symmetry,
        calipers=calipers_of(outer, uncertainty, tolerance_mm=drawn.tolerance_mm),
        mirrored=rings.mirrored,
        rotation_deg=math.degrees(rings.turn),
        by_hand_mm=hand_lines(
            rings.contours, rings.own, is_turned=rings.mirrored, to_ring=partial(_in_own_frame, rings, estimate)
        ),
        by_hand_px=tuple(line for one in rings.contours for line in _hand_px(one)),
        findings=merged((*rings.findings, *shaded, *drawn.findings)),
    )


def _beside_reference(rings: Rings, estimate: ScaleEstimate) -> tuple[Contribution, ...]:
    """What a scanner of which no profile is kept stretches otherwise here than at the reference."""
    if estimate.places_mm is None:
        return ()
    return (scanner_bend(estimate.places_mm, estimate.scale.to_mm(rings.contours[0].points_px)),)


def _hand_px(contour: Contour) -> list[FloatArray]:
    return [] if contour.by_hand is None else [contour.points_px[run] for run in hand_runs(contour.by_hand)]


def _in_own_frame(rings: Rings, estimate: ScaleEstimate, places_px: FloatArray) -> FloatArray:
    """Where places of the picture lie in an item's own frame, on the plane of the scale."""
    laid: FloatArray = product(estimate.scale.to_mm(places_px) - rings.origin, turning(rings.turn))
    return laid * (-1.0, 1.0) if rings.mirrored else laid


def _shaded(contours: tuple[Contour, ...], mm_per_px: float, stated_k2_mm: float) -> tuple[Finding, ...]:
    """What is to be said of a shade: a person looks where it is most of a large figure, else it is one line of it."""
    off_mm = 2 * shade_sd_mm(contours, mm_per_px)
    worst = max(contours, key=lambda contour: contour.shade)
    place = worst.shade_place_px
    if off_mm <= _TOLD_SHARE * stated_k2_mm or worst.halo > _MOST_HALO:
        return ()
    if off_mm > SURE_MM:
        return (finding_of("shadow-suspected", value=off_mm, limit=SURE_MM, place_px=place),)
    return (finding_of("shade-allowed-for", value=off_mm, limit=SURE_MM, place_px=place, attention=False),)
