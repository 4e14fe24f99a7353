"""From several blanks to one outline: their mean, its pocket from the largest, its print area from the smallest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..cutting.ways import NO_POCKET
from ..fitting.ring import make_ring
from ..measure.rings import area_and_centroid
from ..records import Finding, FloatArray, Item, LotFacts, LotSample, Result, frozen_array
from ..settings import Settings
from ..trust.calipers import calipers_of
from ..trust.lot import Lot, Sample, combined, make_lot
from ..words.say import finding_of
from .describe import Drawn, draw

_PART, _CONFIDENCE = 0.95, 0.95  # of all blanks, and how sure: what is usual for tolerance intervals


@dataclass(frozen=True, slots=True)
class Blank:
    """One blank of a lot, and the result it is from."""

    result: Result
    item: Item


@dataclass(frozen=True, slots=True)
class _Rings:
    """A lot's rings in one frame, exterior first."""

    mean: tuple[FloatArray, ...]
    largest: tuple[FloatArray, ...]  # with the smallest holes: what every blank lies within
    smallest: tuple[FloatArray, ...]  # with the largest holes: what lies within every blank


def outline_lot(blanks: Sequence[Blank], settings: Settings, *, name: str, either_face: bool = True) -> Result:
    """Return the outline of a lot.

    Parameters
    ----------
    blanks
        At least one; the frame, scale and source of the result are those of the first.
    settings
        How pocket and print area are made.
    name
        Of the item.
    either_face
        Whether a blank may have lain on its other face.

    Raises
    ------
    UsageError
        If they are clearly not of one kind.
    """
    lot = make_lot([one.item.name for one in blanks], [one.item.exterior_mm for one in blanks], either_face=either_face)
    rings, about_holes = _rings(lot, blanks)
    item = _item(name, rings, lot, blanks, settings)
    shift = rings.mean[0].min(axis=0)
    first = blanks[0].result
    return replace(
        first,
        items=(replace(item, findings=(*about_holes, *item.findings, *_findings(lot, item))),),
        tolerance_mm=settings.tolerance_mm,
        findings=(),
        left_out=(),
        failed=(),
        options={},
        lot=_facts(lot, blanks, shift),
    )


def _rings(lot: Lot, blanks: Sequence[Blank]) -> tuple[_Rings, tuple[Finding, ...]]:
    """Return the rings with their holes, where every blank has as many."""
    counts = sorted({len(one.item.holes_mm) for one in blanks})
    if len(counts) > 1:
        said = finding_of("lot-holes-differ", value=counts[-1], counts=" or ".join(map(str, counts)))
        return _Rings((lot.mean_mm,), (lot.largest_mm,), (lot.smallest_mm,)), (said,)
    moved = [
        [_as_shell(sample.carried(hole)) for hole in one.item.holes_mm]
        for sample, one in zip(lot.samples, blanks, strict=True)
    ]
    mean, largest, smallest = [lot.mean_mm], [lot.largest_mm], [lot.smallest_mm]
    for hole in moved[0]:
        same = [min(holes, key=lambda other: _apart(other, hole)) for holes in moved]
        found = combined(same)
        mean.append(found.mean_mm[::-1])
        largest.append(found.smallest_mm[::-1])
        smallest.append(found.largest_mm[::-1])
    return _Rings(tuple(mean), tuple(largest), tuple(smallest)), ()


def _as_shell(ring: FloatArray) -> FloatArray:
    return ring if area_and_centroid(ring)[0] > 0 else ring[::-1]


def _apart(ring: FloatArray, other: FloatArray) -> float:
    return float(np.hypot(*(ring.mean(axis=0) - other.mean(axis=0))))


def _item(name: str, rings: _Rings, lot: Lot, blanks: Sequence[Blank], settings: Settings) -> Item:
    """Put the lot's item together; where its rings cross none is made (`Item` refuses them)."""
    origin = rings.mean[0].min(axis=0)
    plain = replace(settings, cutting=NO_POCKET, bleed_mm=None, inset_mm=None)

    def drawn(of: tuple[FloatArray, ...], asked: Settings) -> Drawn:
        return draw(tuple(make_ring(ring - origin) for ring in of), asked)

    mean = drawn(rings.mean, plain)
    own = tuple(frozen_array(ring - origin, columns=2) for ring in rings.mean)
    areas = [area_and_centroid(ring) for ring in own]
    area = sum(a for a, _ in areas)
    centroid = sum((a * c for a, c in areas), np.zeros(2)) / area
    width, height = own[0].max(axis=0).tolist()
    base = max((one.item for one in blanks), key=lambda item: item.uncertainty.profile_k2_mm)
    return replace(
        blanks[0].item,
        name=name,
        exterior_mm=own[0],
        holes_mm=own[1:],
        path=mean.curves[0],
        hole_paths=mean.curves[1:],
        width_mm=width,
        height_mm=height,
        area_mm2=float(area),
        perimeter_mm=float(np.linalg.norm(np.roll(own[0], -1, axis=0) - own[0], axis=1).sum()),
        centroid_mm=(float(centroid[0]), float(centroid[1])),
        calipers=calipers_of(own[0], base.uncertainty, tolerance_mm=settings.tolerance_mm),
        uncertainty=base.uncertainty,
        contours=(),
        other_px=(),
        pocket=drawn(rings.largest, replace(settings, bleed_mm=None, inset_mm=None)).pocket,
        print_area=drawn(rings.smallest, replace(settings, cutting=NO_POCKET)).print_area,
        print_offset_mm=settings.print_offset_mm,
        shapes=mean.shapes,
        symmetry=mean.symmetry,
        findings=mean.findings,
    )


def _facts(lot: Lot, blanks: Sequence[Blank], shift: FloatArray) -> LotFacts:
    factor = lot.factor(_PART, _CONFIDENCE)
    return LotFacts(
        tuple(_sample(sample, one) for sample, one in zip(lot.samples, blanks, strict=True)),
        float(lot.spread_mm.max()),
        frozen_array(lot.range_mm),
        factor if math.isfinite(factor) else None,
        frozen_array(lot.largest_mm - shift, columns=2),
        frozen_array(lot.smallest_mm - shift, columns=2),
    )


def _sample(sample: Sample, blank: Blank) -> LotSample:
    return LotSample(
        blank.item.name,
        blank.result.source_name,
        blank.result.source_sha256,
        math.degrees(sample.placement.turn_rad),
        sample.placement.over,
        sample.larger_mm,
        sample.form_mm,
        sample.most_mm,
        sample.is_odd,
    )


def _findings(lot: Lot, item: Item) -> tuple[Finding, ...]:
    odd = [sample for sample in lot.samples if sample.is_odd]
    found = []
    if odd:
        who = ", ".join(sample.name for sample in odd) + (" is" if len(odd) == 1 else " are")
        found.append(finding_of("lot-odd-sample", value=max(sample.most_mm for sample in odd), who=who))
    if len(lot.samples) == 1:
        found.append(finding_of("lot-small", value=0.0, attention=False, samples=1, were="was", case="one"))
    else:
        needed = float((lot.factor(_PART, _CONFIDENCE) * lot.spread_mm).max())
        if needed > float(lot.off_mm.max()):
            found.append(finding_of("lot-small", value=needed, attention=False, samples=len(lot.samples), were="were"))
    return tuple(found)
