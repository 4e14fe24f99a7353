"""The recipe: from a decoded picture to its outlines. The command, the batch and the page all call it."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, replace

import numpy as np

from ..edge.trace import trace_edge
from ..errors import OutlineError
from ..measure.rings import signed_area
from ..reading.reduced import reduce_picture
from ..records import Contour, FailedItem, Finding, FloatArray, Item, Picture, Result, Scale
from ..reference.locate import Located, locate_reference
from ..reference.picture_limits import with_limits
from ..settings import Settings, background_codes
from ..silhouette.clutter import has_edge, left_out_without_edge
from ..silhouette.find import Ask, Region, Silhouettes, find_silhouettes
from ..words.say import finding_of, step_of
from .describe import describe, draw
from .rings import Rings, failed_item, hole_left_out, lost_words, place_rings, too_much_lost

_CUT = ("cut-by-border", "touches-card")  # findings that say why an edge is not all there
_SLIVER_DUSTS, _SLIVER_PX = 0.3, 3.0  # an outline of less mean width is no item


@dataclass(frozen=True, slots=True)
class Outlined:
    """A result, and the scale that maps it back into its picture."""

    result: Result
    scale: Scale


def outline_picture(picture: Picture, settings: Settings, *, empty: Picture | None = None) -> Outlined:
    """Find the true-size outlines of all items in a picture.

    Parameters
    ----------
    picture
        From `digitize.reading.picture.read_picture`.
    settings
        What the user asked for.
    empty
        The same view without the item, for photos of clear, glossy or patterned things.

    Raises
    ------
    ScaleError
        If there is no trustworthy scale.
    OutlineError
        If there is no item to outline.
    """
    reduced = reduce_picture(picture)
    located = locate_reference(picture, reduced, settings)
    if located.camera is None:
        located = replace(located, estimate=with_limits(located.estimate, picture))
    scale, facts = located.estimate.scale, located.estimate.facts
    looked_at = picture
    if empty is not None:
        from .photo import picture_less_background

        looked_at = picture_less_background(picture, empty, located, settings)
        reduced = reduce_picture(looked_at)
    traced: dict[int, Rings] = {}
    failed: dict[int, FailedItem] = {}
    cut: list[Region] = []

    def trace(region: Region) -> bool:
        """Trace an item as soon as it is seen."""
        rings = _trace(looked_at, region, located, settings)
        if isinstance(rings, FailedItem):
            failed[id(region.chains)] = rings
        elif rings is not None:
            traced[id(region.chains)] = rings
        if not isinstance(rings, Rings) and any(finding.code == "cut-by-border" for finding in region.findings):
            cut.append(region)
        return rings is not None or located.camera is not None  # what is lost of a photo is said

    asked = _ask(looked_at, settings, located)
    seen = find_silhouettes(looked_at, reduced, located.squares_px, located.marks_px, asked, on_region=trace)
    if located.camera is not None:
        seen = _without_lost(seen, {*traced, *failed})
    work = [
        traced[id(region.chains)].with_findings(region.findings)
        for region in seen.regions
        if id(region.chains) in traced
    ]
    unsound = tuple(failed[id(region.chains)] for region in seen.regions if id(region.chains) in failed)
    if not work:
        said = "" if cut and settings.item_at_px is None else _none_sound(unsound)
        raise OutlineError(said or _nothing_found(seen, settings, is_cut=bool(cut)))
    sheet_origin = np.min([rings.origin for rings in work], axis=0)
    items = tuple(
        describe(
            f"{_stem(picture.name)}-{i + 1}",
            rings,
            draw(rings.own, rings.corners, settings),
            located.estimate,
            sheet_origin,
        )
        for i, rings in enumerate(work)
    )
    if any(item.pocket is not None for item in items):
        from ..cutting.check import with_checks

        items = with_checks(items, settings.cutting, lambda item, at_mm: _place_px(scale, item, at_mm))
    result = Result(
        source_name=picture.name,
        source_sha256=picture.sha256,
        width_px=picture.width_px,
        height_px=picture.height_px,
        scale=facts,
        items=items,
        tolerance_mm=settings.tolerance_mm,
        findings=(*picture.findings, *located.estimate.findings, *seen.findings, *_remarks(settings)),
        left_out=seen.left_out,
        failed=unsound,
    )
    return Outlined(result, scale)


def _without_lost(seen: Silhouettes, traced: Container[int]) -> Silhouettes:
    """Leave out, and say so, what has no edge that could be traced."""
    lost = [region.box_px for region in seen.regions if id(region.chains) not in traced]
    if not lost:
        return seen
    kept = tuple(region for region in seen.regions if id(region.chains) in traced)
    return Silhouettes(kept, (*seen.findings, left_out_without_edge(lost)), seen.left_out)


def _remarks(settings: Settings) -> tuple[Finding, ...]:
    """What the options themselves leave to be said."""
    cutting = settings.cutting
    if cutting.way is not None or "clearance_mm" not in cutting.typical:
        return ()
    return (finding_of("no-clearance", value=0.0, attention=False, kerf=cutting.kerf_mm),)


def _place_px(scale: Scale, item: Item, at_mm: tuple[float, float]) -> tuple[float, float]:
    """Where a place of an item's frame lies in the picture."""
    zero = scale.to_mm(np.array([item.origin_px]))
    x, y = scale.to_px(zero + at_mm)[0].tolist()
    return x, y


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
        within_px=located.sheet_px,
        of_photo=located.camera is not None,
    )


def _linear(picture: Picture, codes: tuple[int, int, int]) -> tuple[float, ...]:
    """Linear light of an 8-bit colour by the picture's own curve; grey pictures take the mean code."""
    channels = picture.to_linear.shape[1]
    shown = codes if channels == 3 else (round(sum(codes) / 3),)
    top = len(picture.to_linear) - 1
    return tuple(float(picture.to_linear[round(code * top / 255), c]) for c, code in enumerate(shown))


def _trace(picture: Picture, region: Region, located: Located, settings: Settings) -> Rings | FailedItem | None:
    """Trace an item's borders and map them; None when what is there is no item, by its outer border."""
    traced = [
        trace_edge(picture, region.mask, region.mask_origin, chain, is_hole=i > 0)
        for i, chain in enumerate(region.chains)
    ]
    outer, followed = traced[0], [one for one in traced if one is not None]
    if located.camera is not None and (outer is None or not has_edge(outer.contour)):
        return None
    if outer is None:
        return _unfollowed(region, located, settings)
    findings = list(region.findings)
    findings += [finding for one in followed for finding in one.findings]
    findings += [
        hole_left_out(chain.astype(np.float64)) for one, chain in zip(traced, region.chains, strict=True) if one is None
    ]
    contours = tuple(one.contour for one in followed)
    rings = _mapped(picture, contours, tuple(findings), located, settings)
    if isinstance(rings, Rings) and located.camera is None and _is_sliver(rings.own[0], located, settings):
        return None
    lost = too_much_lost(contours, [one.lost for one in followed])
    because = next((finding.message for finding in region.findings if finding.code in _CUT), "")
    return failed_item(contours[0].points_px, lost_words(lost), because=because) if lost else rings


def _mapped(
    picture: Picture, contours: tuple[Contour, ...], findings: tuple[Finding, ...], located: Located, settings: Settings
) -> Rings | FailedItem:
    """Map an item's contours into its own frame."""
    scale = located.estimate.scale
    if located.camera is not None:
        from .photo import map_rings

        rings, corners, more, budget = map_rings(picture, located.camera, scale, contours, settings)
        return place_rings(contours, rings, corners, (*findings, *more), budget, dust_mm=settings.dust_mm)
    rings = tuple(scale.to_mm(contour.points_px) for contour in contours)
    corners = tuple(contour.corners for contour in contours)
    return place_rings(contours, rings, corners, findings, dust_mm=settings.dust_mm)


def _unfollowed(region: Region, located: Located, settings: Settings) -> FailedItem | None:
    """What becomes of a patch of a scan whose border is no edge on most of its way: None if it is a mere sliver."""
    chain = region.chains[0].astype(np.float64)
    if any(finding.code == "cut-by-border" for finding in region.findings):
        return None  # said by itself
    if len(chain) < 8 or _is_sliver(located.estimate.scale.to_mm(chain), located, settings):
        return None
    return failed_item(chain, "it has no edge that can be followed on most of its way")


def _is_sliver(ring_mm: FloatArray, located: Located, settings: Settings) -> bool:
    """Whether an outline is on the whole thinner than dust is wide, or than two sides of an edge can be told apart.

    A strip of width w has an area of w times half its perimeter.
    """
    steps = np.roll(ring_mm, -1, axis=0) - ring_mm
    width_mm = 2.0 * abs(signed_area(ring_mm)) / float(np.linalg.norm(steps, axis=1).sum())
    pixel_mm = float(np.mean(located.estimate.facts.mm_per_px))
    return width_mm < max(_SLIVER_DUSTS * settings.dust_mm, _SLIVER_PX * pixel_mm)


def _advised(finding: Finding) -> str:
    return f"{finding.message} {step_of(finding.code)}"


def _none_sound(failed: tuple[FailedItem, ...]) -> str:
    """What to say where items were seen and none is sound."""
    if not failed:
        return ""
    others = f" So it is with {len(failed) - 1} more." if len(failed) > 1 else ""
    return f"No outline can be given. {_advised(failed[0].reason)}{others}"


def _nothing_found(seen: Silhouettes, settings: Settings, *, is_cut: bool) -> str:
    if settings.item_at_px is not None:
        x, y = settings.item_at_px
        if seen.findings and seen.findings[0].code == "left-out-without-edge":
            return f"No item with a clear edge was found at {x:g},{y:g} px. {_advised(seen.findings[0])}"
        return f"No item was found at {x:g},{y:g} px. Point inside the item, or say the background's colour."
    if seen.findings and seen.findings[0].code.startswith("left-out") and not is_cut:
        return f"No whole item was found. {_advised(seen.findings[0])}"
    if seen.findings and seen.findings[0].code == "card-touched":
        return f"No item was found clear of the reference card. {_advised(seen.findings[0])}"
    if seen.findings and not is_cut:
        return f"No item was found. {_advised(seen.findings[0])}"
    if is_cut:
        return (
            "What was found runs out of the picture along most of its outline, so that it cannot be measured. Move it "
            "inward, with some background all round, and take the picture again."
        )
    return (
        "No item was found beside the reference. If there is one, its colour is close to the background's: lay it on "
        "paper of another colour, or say --background light, dark or #rrggbb, or --item-at X,Y."
    )
