"""The recipe: from a decoded picture to its outlines. The command, the batch and the page all call it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .curve import fit_curve
from .edge import trace_edge
from .errors import OutlineError
from .records import (
    Contour,
    Contribution,
    Finding,
    FloatArray,
    Item,
    Picture,
    Pocket,
    Result,
    Scale,
    frozen_array,
)
from .reference import Located, locate_reference
from .settings import Settings, background_codes
from .silhouette import Ask, Region, Silhouettes, find_silhouettes, reduce_picture
from .uncertainty import combine, edge_contributions


@dataclass(frozen=True, slots=True)
class Outlined:
    """A result, and the scale that maps it back into its picture."""

    result: Result
    scale: Scale


@dataclass(frozen=True, slots=True)
class _Rings:
    """One item's rings in the plane frame, with what was seen along them."""

    contours: tuple[Contour, ...]
    rings_mm: tuple[FloatArray, ...]
    findings: tuple[Finding, ...]


def outline_picture(picture: Picture, settings: Settings) -> Outlined:
    """Find the true-size outlines of all items in a picture.

    Parameters
    ----------
    picture
        From `digitize.picture.read_picture`.
    settings
        What the user asked for.

    Raises
    ------
    ScaleError
        If there is no trustworthy scale.
    OutlineError
        If there is no item to outline.
    """
    reduced = reduce_picture(picture)
    located = locate_reference(picture, reduced, settings)
    scale, facts = located.estimate.scale, located.estimate.facts
    seen = find_silhouettes(picture, reduced, located.squares_px, located.marks_px, _ask(picture, settings, located))
    traced = [rings for region in seen.regions if (rings := _trace(picture, region, scale)) is not None]
    if not traced:
        raise OutlineError(_nothing_found(seen, settings))
    sheet_origin = np.min([rings.rings_mm[0].min(axis=0) for rings in traced], axis=0)
    names = [f"{_stem(picture.name)}-{i + 1}" for i in range(len(traced))]
    items = tuple(
        _item(name, rings, scale, facts.mm_per_px, located.estimate.budget, sheet_origin, settings)
        for name, rings in zip(names, traced, strict=True)
    )
    result = Result(
        source_name=picture.name,
        source_sha256=picture.sha256,
        width_px=picture.width_px,
        height_px=picture.height_px,
        scale=facts,
        items=items,
        tolerance_mm=settings.tolerance_mm,
        findings=(*picture.findings, *located.estimate.findings, *seen.findings),
    )
    return Outlined(result, scale)


def _stem(name: str) -> str:
    return name.rsplit(".", 1)[0] or name


def _ask(picture: Picture, settings: Settings, located: Located) -> Ask:
    """What the silhouette stage needs to know, in its own terms."""
    background: tuple[float, ...] | str | None = None
    if settings.background is not None:
        codes = background_codes(settings.background)
        background = codes if isinstance(codes, str) else _linear(picture, codes)
    return Ask(
        background=background,
        item_at_px=settings.item_at_px,
        dust_mm=settings.dust_mm,
        mm_per_px=float(np.mean(located.estimate.facts.mm_per_px)),
    )


def _linear(picture: Picture, codes: tuple[int, int, int]) -> tuple[float, ...]:
    """Linear light of an 8-bit colour by the picture's own curve; grey pictures take the mean code."""
    channels = picture.to_linear.shape[1]
    shown = codes if channels == 3 else (round(sum(codes) / 3),)
    top = len(picture.to_linear) - 1
    return tuple(float(picture.to_linear[round(code * top / 255), c]) for c, code in enumerate(shown))


def _trace(picture: Picture, region: Region, scale: Scale) -> _Rings | None:
    """Trace an item's borders and map them; None when its outer border cannot be traced."""
    contours, findings = [], list(region.findings)
    for i, chain in enumerate(region.chains):
        traced = trace_edge(picture, region.mask, region.mask_origin, chain, is_hole=i > 0)
        if traced is None and i == 0:
            return None
        if traced is not None:
            contours.append(traced.contour)
            findings += traced.findings
    rings = tuple(scale.to_mm(contour.points_px) for contour in contours)
    return _Rings(tuple(contours), rings, tuple(findings))


def _nothing_found(seen: Silhouettes, settings: Settings) -> str:
    if settings.item_at_px is not None:
        x, y = settings.item_at_px
        return f"No item was found at {x:g},{y:g} px. Point inside the item, or say the background's colour."
    if seen.findings:
        return f"No item was found clear of the reference card. {seen.findings[0].message}"
    return (
        "No item was found beside the reference. If there is one, its colour is close to the background's: lay it on "
        "paper of another colour, or say --background light, dark or #rrggbb, or --item-at X,Y."
    )


def _item(
    name: str,
    rings: _Rings,
    scale: Scale,
    mm_per_px: tuple[float, float],
    scale_budget: tuple[Contribution, ...],
    sheet_origin: FloatArray,
    settings: Settings,
) -> Item:
    """One item in its own frame, with curves, pocket and uncertainty."""
    origin = rings.rings_mm[0].min(axis=0)
    own = tuple(frozen_array(ring - origin, columns=2) for ring in rings.rings_mm)
    pixel = float(np.mean(mm_per_px))
    curves = tuple(
        fit_curve(ring, tolerance_mm=settings.tolerance_mm, corners=contour.corners)
        for ring, contour in zip(own, rings.contours, strict=True)
    )
    width, height = (float(v) for v in own[0].max(axis=0))
    areas = [_area_and_centroid(ring) for ring in own]
    area = sum(a for a, _ in areas)
    centroid = sum((a * c for a, c in areas), np.zeros(2)) / area
    shift = origin - sheet_origin
    place = scale.to_px(origin[None, :])[0]
    budget = (*scale_budget, *edge_contributions(rings.contours, pixel))
    return Item(
        name=name,
        exterior_mm=own[0],
        holes_mm=own[1:],
        path=curves[0],
        hole_paths=curves[1:],
        sheet_mm=(float(shift[0]), float(shift[1])),
        origin_px=(float(place[0]), float(place[1])),
        width_mm=width,
        height_mm=height,
        area_mm2=float(area),
        perimeter_mm=float(np.linalg.norm(np.roll(own[0], -1, axis=0) - own[0], axis=1).sum()),
        centroid_mm=(float(centroid[0]), float(centroid[1])),
        uncertainty=combine(budget, max(width, height)),
        contours=rings.contours,
        pocket=_pocket(own, settings),
        findings=rings.findings,
    )


def _pocket(rings: tuple[FloatArray, ...], settings: Settings) -> Pocket | None:
    if settings.clearance_mm is None and settings.kerf_mm is None:
        return None
    from .pocket import make_pocket

    return make_pocket(
        rings[0],
        rings[1:],
        clearance_mm=settings.clearance_mm or 0.0,
        kerf_mm=settings.kerf_mm or 0.0,
        cut_holes=settings.cut_holes,
        tolerance_mm=settings.tolerance_mm,
    )


def _area_and_centroid(ring: FloatArray) -> tuple[float, FloatArray]:
    """Signed area (counter-clockwise positive) and centroid of a ring, coordinates centred first."""
    middle = ring.mean(axis=0)
    x, y = (ring - middle).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = 0.5 * float(cross.sum())
    centroid = middle + np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (6 * area)
    return area, centroid
