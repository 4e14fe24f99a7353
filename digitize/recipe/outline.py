"""The recipe: from a decoded picture to its outlines. The command, the batch and the page all call it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from ..errors import OutlineError
from ..fitting.ring import make_ring
from ..hand.steps import Step
from ..measure.rings import reading_order
from ..reading.reduced import Reduced, reduce_picture
from ..records import Contour, FailedItem, Finding, Item, LeftOut, Picture, Result, Scale
from ..reference.locate import Located, locate_reference
from ..reference.picture_limits import with_limits
from ..settings import Settings, background_codes
from ..silhouette.find import Silhouettes, find_silhouettes
from ..silhouette.pieces import ITEM_LEAST, ITEM_THICKNESS
from ..silhouette.regions import Region
from ..silhouette.ways import Ask
from ..words.say import finding_of, step_of
from .describe import describe, draw_all
from .mirrored import seen_from_the_cut
from .owners import Asked, Owned, asked_by, groups, owners, said_of_all, steps_for
from .rings import Rings
from .softer import beside_the_sharpest
from .trace import trace_item, trace_items, trace_together
from .upright import set_upright

_DUST_MM = 0.2  # from such a --dust on, a smaller one may be what is missing
_MOST_CLEARANCE_MM, _MOST_KERF_MM = 3.0, 1.0  # more is rather a point that slipped: common practice, no source


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
    UsageError
        If it is no scan of the scanner that was named.
    """
    if settings.scanner is not None:
        picture = settings.scanner.seen(picture)
    reduced, looked_at = reduce_picture(picture), picture
    located = _located(picture, reduced, settings)
    if empty is not None:
        looked_at = _compared(picture, empty, located, settings)
        reduced = reduce_picture(looked_at)
    steps = steps_for(picture, settings.by_hand)
    traces, asked = _Traces(looked_at, located, settings, steps), asked_by(looked_at, steps, located.estimate.blur_px)
    seen = find_silhouettes(
        looked_at,
        reduced,
        located.squares_px,
        located.marks_px,
        _ask(looked_at, settings, located),
        asked=asked.what,
        on_regions=traces.add,
    )
    by_hand = traces.correct(seen.regions, asked)
    unsound = traces.failed(seen.regions)
    work, anew = _laid(beside_the_sharpest(looked_at, traces.rings(seen.regions), located), settings)
    items = _items(picture.name, work, located, settings)
    if not items:
        raise _without_items(traces, seen, unsound, picture, settings, of_photo=located.camera is not None)
    result = Result(
        source_name=picture.name,
        source_sha256=picture.sha256,
        width_px=picture.width_px,
        height_px=picture.height_px,
        scale=located.estimate.facts,
        items=items,
        tolerance_mm=settings.tolerance_mm,
        findings=(
            *picture.findings,
            *located.estimate.findings,
            *seen.findings,
            *by_hand,
            *anew,
            *_remarks(settings),
        ),
        left_out=_placed(seen.left_out, items[0], located.estimate.scale),
        failed=unsound,
        options=_told(settings, empty),
        usual=settings.usual,
        imaged=settings.imaged_face,
        mirrored=settings.mirrored,
    )
    return Outlined(result, located.estimate.scale)


def _located(picture: Picture, reduced: Reduced, settings: Settings) -> Located:
    """The reference and the scale; in a scan with what its pixels cannot show."""
    located = locate_reference(picture, reduced, settings)
    if located.camera is not None:
        return located
    return replace(located, estimate=with_limits(located.estimate, picture))


def _compared(picture: Picture, empty: Picture, located: Located, settings: Settings) -> Picture:
    """The photo less the same view without the item."""
    from .photo import picture_less_background

    return picture_less_background(picture, empty, located, settings)


class _Traces:
    """What came of each region that was seen: its rings, why they failed, or nothing."""

    def __init__(self, picture: Picture, located: Located, settings: Settings, steps: Sequence[Step]) -> None:
        self._picture, self._located, self._settings, self._steps = picture, located, settings, steps
        self._found: dict[int, Rings | FailedItem | None] = {}
        self._more: list[Rings | FailedItem] = []  # of items that a hand joined or split
        self.some_cut = False  # whether what runs out of the picture gave no rings
        self.dropped = 0  # items, by hand

    def add(self, regions: Sequence[Region]) -> list[bool]:
        """Trace regions and tell which count as seen."""
        found = trace_items(self._picture, regions, self._located, self._settings)
        for region, one in zip(regions, found, strict=True):
            self._found[id(region.chains)] = one
            if not isinstance(one, Rings):
                self.some_cut |= any(finding.code == "cut-by-border" for finding in region.findings)
        return [one is not None for one in found]

    def correct(self, regions: Sequence[Region], asked: Asked) -> tuple[Finding, ...]:
        """Trace the items again that steps by hand belong to; return what is to be said of steps that did nothing."""
        if not self._steps:
            return ()
        made_by = asked.made_by(regions)
        owned = owners(regions, self._steps, made_by)
        undone = owned.nobodys(self._steps)
        together = groups(regions, self._steps, owned, made_by)
        for numbers in together:
            undone += self._correct_together([regions[n] for n in numbers], numbers, owned)
        apart = {owner for owner in owned.by if owner is not None} - {n for numbers in together for n in numbers}
        for number in sorted(apart):
            mine = owned.of(number, self._steps)
            found = trace_item(self._picture, regions[number], self._located, self._settings, mine)
            if isinstance(found, Rings):
                undone += found.undone
                self.dropped += found.is_dropped
            elif found is None and any(step.do == "drop" for step in mine):
                self.dropped += 1
            self._found[id(regions[number].chains)] = found
        return said_of_all(undone, self.dropped, [self._steps[number] for number in sorted(owned.needless)])

    def _correct_together(self, regions: Sequence[Region], numbers: Sequence[int], owned: Owned) -> Sequence[Step]:
        """Trace items again that steps by hand join or split; return the steps that did nothing."""
        own = [owned.of(n, self._steps) for n in numbers]
        steps = [step for step, owner in zip(self._steps, owned.by, strict=True) if owner in numbers]
        made, undone = trace_together(self._picture, regions, self._located, self._settings, steps, own)
        for region in regions:
            self._found[id(region.chains)] = None
        self._more += made
        self.dropped += sum(isinstance(one, Rings) and one.is_dropped for one in made)
        return undone

    def of(self, region: Region) -> Rings | FailedItem | None:
        """What came of a region; known by its borders, which stay the same objects when findings join it."""
        return self._found.get(id(region.chains))

    def rings(self, regions: Iterable[Region]) -> tuple[Rings, ...]:
        """The sound ones, with what was said of their regions."""
        pairs = [(self.of(region), region.findings) for region in regions]
        found = [rings.with_findings(said) for rings, said in pairs if isinstance(rings, Rings)]
        found += [rings for rings in self._more if isinstance(rings, Rings)]
        if self._more:
            found = [found[k] for k in reading_order([_box_px(rings.contours[0]) for rings in found])]
        return tuple(rings for rings in found if not rings.is_dropped)

    def failed(self, regions: Iterable[Region]) -> tuple[FailedItem, ...]:
        """Those that are not sound."""
        return tuple(one for one in (*map(self.of, regions), *self._more) if isinstance(one, FailedItem))


def _without_items(
    traces: _Traces,
    seen: Silhouettes,
    unsound: tuple[FailedItem, ...],
    picture: Picture,
    settings: Settings,
    *,
    of_photo: bool,
) -> OutlineError:
    """Return what is said where there is no item to outline."""
    if traces.dropped:
        said = "Every item was dropped by hand: there is nothing to write. Take one of those steps back."
    else:
        is_cut = traces.some_cut
        said = "" if is_cut and settings.item_at_px is None else _none_sound(unsound, of_photo=of_photo)
        size = (picture.width_px, picture.height_px)
        said = said or _nothing_found(seen, settings, size, is_cut=is_cut, of_photo=of_photo)
    return OutlineError(said, failed=unsound, left_out=seen.left_out)


def _laid(work: tuple[Rings, ...], settings: Settings) -> tuple[tuple[Rings, ...], tuple[Finding, ...]]:
    """The items' rings as they are to lie on the sheet, and what is to be said of that."""
    said: tuple[Finding, ...] = ()
    if settings.upright:
        work, said = set_upright(work, within_mm=settings.tolerance_mm)
    work, also = seen_from_the_cut(work, settings)
    return work, (*said, *also)


def _items(name: str, all_rings: tuple[Rings, ...], located: Located, settings: Settings) -> tuple[Item, ...]:
    """The items, drawn and described, their pockets checked against one another."""
    if not all_rings:
        return ()
    sheet_origin = np.min([rings.corner for rings in all_rings], axis=0)
    drawn = draw_all([tuple(map(make_ring, rings.own, rings.corners)) for rings in all_rings], settings)
    items = tuple(
        describe(f"{_stem(name)}-{number}", rings, one, located.estimate, sheet_origin)
        for number, (rings, one) in enumerate(zip(all_rings, drawn, strict=True), 1)
    )
    if all(item.pocket is None for item in items):
        return items
    from ..cutting.check import with_checks

    return with_checks(items, settings.cutting, lambda item, at: _place_px(located.estimate.scale, item, at))


def _told(settings: Settings, empty: Picture | None) -> dict[str, Any]:
    """Return the options as the document tells them: a photo without items by its hash too."""
    given: dict[str, Any] = settings.given()
    given.pop("usual", None)  # stands beside them
    if empty is not None and "background_photo" in given:
        given["background_photo"] = {"file": given["background_photo"], "sha256": empty.sha256}
    return given


def _remarks(settings: Settings) -> tuple[Finding, ...]:
    """What the options themselves leave to be said."""
    cutting = settings.cutting
    large = tuple(
        finding_of("allowance-unlikely", value=value, limit=most, what=what)
        for what, value, most in (
            ("clearance", cutting.clearance_mm, _MOST_CLEARANCE_MM),
            ("kerf", cutting.kerf_mm, _MOST_KERF_MM),
        )
        if value is not None and value > most
    )
    if cutting.way is not None or "clearance_mm" not in cutting.typical:
        return large
    return (*large, finding_of("no-clearance", value=0.0, attention=False, kerf=cutting.kerf_mm))


def _place_px(scale: Scale, item: Item, at_mm: tuple[float, float]) -> tuple[float, float]:
    """Where a place of an item's frame lies in the picture."""
    zero = scale.to_mm(np.array([item.origin_px]))
    x, y = scale.to_px(zero + item.as_laid(np.array([at_mm])))[0].tolist()
    return x, y


def _placed(left_out: tuple[LeftOut, ...], item: Item, scale: Scale) -> tuple[LeftOut, ...]:
    """Say where what was left out lies in the sheet frame, in which an item's origin is known."""
    zero, way = scale.to_mm(np.array([item.origin_px]))[0], (-1.0, 1.0) if item.mirrored else (1.0, 1.0)
    places = [item.sheet_mm + (scale.to_mm(np.array([one.place_px]))[0] - zero) * way for one in left_out]
    return tuple(replace(one, place_mm=(float(x), float(y))) for one, (x, y) in zip(left_out, places, strict=True))


def _box_px(contour: Contour) -> tuple[float, float, float, float]:
    (x0, y0), (x1, y1) = contour.points_px.min(axis=0).tolist(), contour.points_px.max(axis=0).tolist()
    return x0, y0, x1, y1


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


def _advised(finding: Finding, *, of_photo: bool) -> str:
    return f"{finding.message} {step_of(finding.code, of_photo=of_photo)}"


def _none_sound(failed: tuple[FailedItem, ...], *, of_photo: bool) -> str:
    """What to say where items were seen and none is sound."""
    if not failed:
        return ""
    others = f" So it is with {len(failed) - 1} more." if len(failed) > 1 else ""
    return f"No outline can be given. {_advised(failed[0].reason, of_photo=of_photo)}{others}"


def _nothing_found(
    seen: Silhouettes, settings: Settings, size_px: tuple[int, int], *, is_cut: bool, of_photo: bool
) -> str:
    advised = partial(_advised, of_photo=of_photo)
    if settings.item_at_px is not None:
        x, y = settings.item_at_px
        if not (0 <= x < size_px[0] and 0 <= y < size_px[1]):
            return f"--item-at {x:g},{y:g} lies outside the picture, which is {size_px[0]} x {size_px[1]} px."
        if seen.findings and seen.findings[0].code == "left-out-without-edge":
            return f"No item with a clear edge was found at {x:g},{y:g} px. {advised(seen.findings[0])}"
        return f"No item was found at {x:g},{y:g} px. Point inside the item, or say the background's colour."
    if seen.findings and seen.findings[0].code.startswith("left-out") and not is_cut:
        small = _small(settings) if seen.findings[0].code == "left-out-as-lines" else ""
        return f"No whole item was found. {advised(seen.findings[0])}{small}"
    if seen.findings and seen.findings[0].code == "card-touched":
        return f"No item was found clear of the reference card. {advised(seen.findings[0])}"
    if seen.findings and not is_cut:
        return f"No item was found. {advised(seen.findings[0])}"
    if is_cut:
        return (
            "What was found runs out of the picture along most of its outline, so that it cannot be measured. Move it "
            "inward, with some background all round, and take the picture again."
        )
    return (
        "No item was found beside the reference. If there is one, its colour is close to the background's: lay it on "
        f"paper of another colour, or say --background light, dark or #rrggbb, or --item-at X,Y.{_small(settings)}"
    )


def _small(settings: Settings) -> str:
    """What is taken for dust, where nothing else is there."""
    if settings.dust_mm < _DUST_MM:
        return ""
    long, wide = ITEM_LEAST * settings.dust_mm, ITEM_THICKNESS * settings.dust_mm
    return (
        f" What is under {long:g} mm long or {wide:g} mm wide counts as dust and lines: if the items are as small, say "
        f"--dust {settings.dust_mm / 2:g}."
    )
