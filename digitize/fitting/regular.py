"""What is regular about an item: ideal shapes and symmetry, told and, where asked for, written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice

from ..records import Circle, Curve, Finding, IdealShape, Pocket, Symmetry
from ..words.say import finding_of
from .fit import Joins, fit_curve
from .ring import Ring, make_ring
from .shapes import Shape, recognise_all
from .symmetrise import largest_move, symmetric_curve, symmetrised_rings
from .symmetry import symmetries_of
from .together import together


@dataclass(frozen=True, slots=True)
class Regular:
    """What was recognised of an item's rings."""

    shapes: tuple[Shape | None, ...]  # exterior first
    symmetry: Symmetry | None  # None: there is none, or the exterior is a circle


def look(items: Sequence[tuple[Ring, ...]], *, tolerance_mm: float) -> list[Regular]:
    """Recognise ideal shapes that explain items' rings within the tolerance, and the exteriors' symmetry."""
    shapes = iter(recognise_all([ring for rings in items for ring in rings], uncertainty_mm=tolerance_mm))
    each = [(rings, tuple(islice(shapes, len(rings)))) for rings in items]
    return together(_looked_at(rings, known, tolerance_mm) for rings, known in each)


async def _looked_at(rings: tuple[Ring, ...], shapes: tuple[Shape | None, ...], tolerance_mm: float) -> Regular:
    if shapes[0] is not None and shapes[0].kind == "circle":
        return Regular(shapes, None)
    found = await symmetries_of(rings[0], tolerance_mm=tolerance_mm, holes=rings[1:])
    return Regular(shapes, found if found.turns > 1 or found.axes_deg else None)


@dataclass(frozen=True, slots=True)
class Even:
    """An item made symmetric."""

    rings: tuple[Ring, ...]
    path: Curve  # of the exterior, exactly symmetric
    symmetry: Symmetry  # with how far the path lies from the measured edge at most


def evened(rings: tuple[Ring, ...], symmetry: Symmetry, *, tolerance_mm: float, joins: Joins = "smooth") -> Even | None:
    """Return an item's rings made symmetric, and the exterior's path; None if it would move too far (2 tolerances)."""
    import shapely

    even_mm = symmetrised_rings(tuple(ring.points_mm for ring in rings), symmetry)
    if not shapely.LinearRing(even_mm[0]).is_simple:
        return None
    even = tuple(make_ring(points, ring.corners) for points, ring in zip(even_mm, rings, strict=True))
    fitted = fit_curve(even[0], tolerance_mm=tolerance_mm, joins=joins)
    path = symmetric_curve(fitted, symmetry, within_mm=2 * tolerance_mm)
    moved = math.inf if path is None else largest_move(path, rings[0].points_mm)
    if path is None or moved > 2 * tolerance_mm:
        return None
    return Even(even, path, replace(symmetry, moved_mm=moved))


def even_pocket(pocket: Pocket, symmetry: Symmetry, *, tolerance_mm: float) -> Pocket:
    """Return a pocket whose outer path is exactly symmetric, unless something hangs on where it runs.

    One whose path is another comes without its wall, which was that of the path before.
    """
    if pocket.leads or pocket.reliefs or pocket.notches or pocket.plug_top or len(pocket.curves) != 1:
        return pocket
    path = symmetric_curve(pocket.curves[0], symmetry, within_mm=2 * tolerance_mm)
    return pocket if path is None else replace(pocket, curves=(path,), wall=())


def told_shapes(
    shapes: tuple[Shape | None, ...], curves: tuple[Curve, ...], *, ideal: bool
) -> tuple[IdealShape | None, ...]:
    """Return what is said of the shapes; empty where there is none. A circle is written as one anyway."""
    if all(shape is None for shape in shapes):
        return ()
    return tuple(
        None if shape is None else shape.record(written=ideal or isinstance(curve, Circle))
        for shape, curve in zip(shapes, curves, strict=True)
    )


def about_regular(
    seen: Regular, even: Even | None, path: Curve, *, ideal: bool, symmetric: bool, tolerance_mm: float
) -> tuple[Finding, ...]:
    """What is to be said where ideal shapes or a symmetric outline were asked for."""
    found: tuple[Finding, ...] = ()
    if ideal and seen.shapes[0] is None:
        found += (_no_shape(tolerance_mm),)
    is_ideal = ideal and seen.shapes[0] is not None
    if symmetric and not is_ideal and not isinstance(path, Circle):
        found += (_no_symmetry(seen, tolerance_mm) if even is None else _made_symmetric(even),)
    return found


def _no_shape(tolerance_mm: float) -> Finding:
    return finding_of("no-ideal-shape", limit=tolerance_mm, attention=False)


def _no_symmetry(seen: Regular, tolerance_mm: float) -> Finding:
    return finding_of(
        "no-symmetry",
        limit=2 * tolerance_mm,
        attention=False,
        case=None if seen.symmetry is None else "unmade",
    )


def _made_symmetric(even: Even) -> Finding:
    moved = even.symmetry.moved_mm or 0.0
    holes = "" if even.symmetry.with_holes else "; its holes, which do not share the symmetry, are as measured"
    return finding_of("made-symmetric", value=moved, attention=False, holes=holes)
