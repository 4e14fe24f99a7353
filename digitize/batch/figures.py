"""From a result to what the ledger and the reports need of it."""

from __future__ import annotations

from ..records import Finding, Item, Result
from ..run import findings_of
from ..trust.calipers import calipers_of
from ..trust.uncertainty import length_k2_mm
from .task import ItemFigures, Outcome, Warned

_DIGITS = 4  # as in the document, so that the tables say the same of a result that is known by its document only
Rings = tuple[tuple[float, ...], ...]  # of one item on the thumbnail: x, y, x, y ... in its pixels


def outcome_of(
    result: Result, files: tuple[tuple[str, int], ...], sha256: str, rings: tuple[Rings, ...] | None = None
) -> Outcome:
    """Return what came of a picture; where its items lie on the thumbnail, `rings` says, one for each."""
    drawn = ((),) * len(result.items) if rings is None else rings
    return Outcome(
        state="done",
        sha256=sha256,
        reference=result.scale.reference,
        items=tuple(_figures(item, ring, result.tolerance_mm) for item, ring in zip(result.items, drawn, strict=True)),
        warned=tuple(_warned(where, finding) for where, finding in findings_of(result)),
        files=files,
    )


def _figures(item: Item, rings: Rings, tolerance_mm: float) -> ItemFigures:
    """Documents of older versions do not say what calipers read."""
    read = item.calipers or calipers_of(item.exterior_mm, item.uncertainty, tolerance_mm=tolerance_mm)
    return ItemFigures(
        name=item.name,
        width_mm=round(item.width_mm, _DIGITS),
        height_mm=round(item.height_mm, _DIGITS),
        area_mm2=round(item.area_mm2, _DIGITS),
        perimeter_mm=round(item.perimeter_mm, _DIGITS),
        holes=len(item.holes_mm),
        outline_k2_mm=item.uncertainty.profile_k2_mm,
        length_k2_mm=length_k2_mm(item),
        caliper_length_mm=round(read.length_mm, _DIGITS),
        caliper_width_mm=round(read.width_mm, _DIGITS),
        caliper_length_k2_mm=read.length_k2_mm,
        caliper_width_k2_mm=read.width_k2_mm,
        rings=rings,
    )


def _warned(where: str, finding: Finding) -> Warned:
    return Warned(
        where=where,
        code=finding.code,
        message=finding.message,
        attention=finding.attention,
        value=finding.value,
        limit=finding.limit,
        of_photo=finding.of_photo,
    )
