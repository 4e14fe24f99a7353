"""Which pixels are item: background subtracted, shade let go, parts told from dust, card and one another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from dataclasses import field as dataclass_field

import numpy as np

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Finding, FloatArray, LeftOut, Picture, Why
from ..words.say import finding_of
from .apart import told_apart
from .asked import Sight, with_asked
from .background import Background, Fitted, estimate_background, goes_on, unlike_rim
from .candidates import Dropped
from .card_place import CardPlace, place_card, require_clear_of_card
from .clutter import is_written, left_out_as_lines, left_out_without_edge, without_clutter
from .decided import Ground, regions_of
from .hued import patches_of_hue
from .left_out import Reasons, account, covered_by, crisp_said, said_of
from .on_page import is_sheet, page_of, said_of_page
from .paper import with_paper_said
from .parts import Part, Parts, find_parts
from .pieces import ITEM_AREA, Small, left_out_as_small, small_piece
from .regions import Border, Region, flag_neighbours, flag_print_in_holes, in_reading_order
from .sheet import on_known_card, paper_colour
from .ways import Ask, ways_to_look

OnRegions = Callable[[Sequence[Region]], Sequence[bool]]
_WRITING_MM = 0.5  # width of a pen's stroke
_AT_SIDE = 0.01  # of the picture's shorter side
_LID_PART = 0.25  # of the picture: what runs out of it on three sides and is as large may be the lid


@dataclass(frozen=True, slots=True)
class Silhouettes:
    """All items of a picture in reading order, with what was seen besides."""

    regions: tuple[Region, ...]
    findings: tuple[Finding, ...] = ()
    left_out: tuple[LeftOut, ...] = ()  # the largest first


def find_silhouettes(
    picture: Picture,
    reduced: Reduced,
    references_px: tuple[FloatArray, ...],
    marks_px: tuple[FloatArray, ...],
    ask: Ask,
    *,
    asked: Sequence[tuple[float, float] | Border] = (),
    on_regions: OnRegions = lambda regions: [True] * len(regions),
) -> Silhouettes:
    """Find the items.

    Parameters
    ----------
    picture
        The picture.
    reduced
        The same, from `reduce_picture`.
    references_px
        (4, 2) outer corners of each reference square, px.
    marks_px
        Polygons (N, 2) covering further printed marks of a known card, px.
    ask
        What the user said.
    asked
        Places px of what was left out and is an item all the same, and borders of items, in the order in which a hand
        asked for them; what comes of each names its number.
    on_regions
        Called with items as soon as their pixels are decided, so that others may go on with them, all together: before
        the items are ordered and looked at side by side. Where it returns False a region is none after all.
    """
    if ask.item_at_px is not None:
        require_clear_of_card(ask.item_at_px, references_px, marks_px)
    card_at = place_card(reduced, references_px, marks_px)
    squares, printed = card_at.squares, card_at.whole
    looked, background, more = _looked_for(picture, reduced, card_at, ask, on_regions)
    kept = looked.kept
    if asked and looked.sight is not None:
        kept = with_asked(kept, asked, picture, reduced, looked.sight, ask)
        kept = kept if ask.item_at_px is None else _pointed_at(kept, ask.item_at_px)[:1]
        more = more if any(one.asked is None for one in kept) else ()  # said of what was seen, of which nothing is left
    flagged = flag_print_in_holes(flag_neighbours(in_reading_order(kept), ask.mm_per_px))
    card = looked.card
    if not card and card_at.sheet.any():
        paper = paper_colour(reduced, squares)
        card = on_known_card(card_at.sheet, card_at.print, reduced, background, paper, _speck_px(reduced, ask))
    if ask.background is not None and ask.within_px is None and not ask.of_photo:
        # seen inside out, what is taken for the card's sheet is none
        card = unlike_rim(reduced.light, ~printed, background, ask.background) or card
    if ask.item_at_px is not None:
        soft = (left_out_without_edge([one.box_px for one in looked.lost]),) if looked.lost and not flagged else ()
        return Silhouettes(tuple(flagged), (*card, *looked.clutter, *soft))
    left_out = _left_out(looked.sight, kept, reduced, ask)
    remarks = left_out_as_small([one for one in looked.small if not _is_asked(kept, one.place_px)], ask.dust_mm)
    clutter = [one for one in looked.clutter if one.value != 1 or not _is_asked(kept, one.place_px)]
    said = (*card, *more, *clutter, *_said(left_out, kept, picture, ask), *remarks)
    return Silhouettes(tuple(flagged), said, left_out)


def _left_out(sight: Sight | None, kept: list[Region], reduced: Reduced, ask: Ask) -> tuple[LeftOut, ...]:
    """What differs from the background and is neither item nor card."""
    if sight is None:
        return ()
    pixel_mm = ask.mm_per_px * reduced.factor
    return account(
        sight.departure,
        sight.reasons,
        kept,
        sight.apart,
        reduced,
        pixel_mm=pixel_mm,
        dust_mm=ask.dust_mm,
        is_scan=not ask.of_photo,
    )


def _is_asked(kept: list[Region], place: tuple[float, float] | None) -> bool:
    """Whether a place lies in what a hand asked for."""
    return place is not None and bool(_pointed_at([one for one in kept if one.asked is not None], place))


class _Seen:
    """Regions that count as seen, and those that are none after all."""

    def __init__(self, on_regions: OnRegions) -> None:
        self._on_regions = on_regions
        self.kept: list[Region] = []
        self.lost: list[Region] = []

    def add(self, regions: Sequence[Region]) -> None:
        """Ask which of them count."""
        for region, counts in zip(regions, self._on_regions(regions), strict=True):
            (self.kept if counts else self.lost).append(region)


@dataclass(frozen=True, slots=True)
class _Looked:
    """What a look at the picture gave."""

    kept: list[Region] = dataclass_field(default_factory=list)
    card: list[Finding] = dataclass_field(default_factory=list)
    clutter: list[Finding] = dataclass_field(default_factory=list)
    small: list[Small] = dataclass_field(default_factory=list)
    sight: Sight | None = None  # what it was decided from
    has_lines: bool = False  # writing was found on it, and left out
    lost: list[Region] = dataclass_field(default_factory=list)  # in a photo, what has no edge


def _looked_for(
    picture: Picture, reduced: Reduced, card_at: CardPlace, ask: Ask, on_regions: OnRegions
) -> tuple[_Looked, Fitted, tuple[Finding, ...]]:
    """Look on one background after the other until things are found; also on which, and what is to be said of it.

    What stands out by itself comes first; only where nothing does, what is faint. Where what stands out is most of the
    picture and runs out of it, it may be the lid going on beyond a clipped or shaded part: the border's other colours
    of the lid's hue are tried, and taken where whole things lie on one.
    """
    looked = _Looked()
    first: tuple[_Looked, Fitted] | None = None
    written_on: Fitted | None = None
    for way in ways_to_look(picture, reduced, card_at, ask):
        faint, field, background = way.faint, way.field, way.background
        if first is None and way.is_apart:
            continue
        if first is not None and (faint or not goes_on(first[1], background)):
            continue
        if faint and looked.clutter:
            break
        if written_on is not None and goes_on(written_on, background):
            continue  # the same paper in another light: what stands out of it there is shade
        looked = _look(picture, reduced, card_at, faint, field, background, ask, on_regions, looked)
        written_on = background if looked.has_lines else written_on
        if first is not None and looked.kept and not any(map(_is_cut, looked.kept)):
            return looked, background, (finding_of("lid-goes-on"),)
        if first is None and any(_runs_out(region, picture) for region in looked.kept) and _is_free(ask):
            first, looked = (looked, background), _Looked()
        if first is None and (looked.kept or looked.card or looked.lost):
            break
    if first is None and _is_free(ask):
        return _on_page(looked, picture, reduced, card_at, background, ask, on_regions)
    return (looked, background, ()) if first is None else (*first, ())


def _on_page(
    looked: _Looked,
    picture: Picture,
    reduced: Reduced,
    card_at: CardPlace,
    ground: Fitted,
    ask: Ask,
    on_regions: OnRegions,
) -> tuple[_Looked, Fitted, tuple[Finding, ...]]:
    """Where a sheet fills the picture, look for what lies on it; else, or where nothing does, what was found before."""
    page = None if card_at.whole.any() else page_of(looked.kept, reduced)
    if page is None:
        return looked, ground, ()  # a sheet round the reference has been looked at, what lies beside it is an item
    paper = estimate_background(reduced.light, page.inside)
    on_it = _look(picture, reduced, card_at, False, page.inside, paper, ask, on_regions, looked)
    things = [region for region in on_it.kept if not _is_cut(region)]
    if not things:
        return looked, ground, ()
    if not is_sheet(page, things, reduced, ground, ask.mm_per_px * reduced.factor):
        return looked, ground, (said_of_page(things, is_taken=False),) if page.fills else ()
    return on_it, paper, (said_of_page(things, is_taken=True),)


def _is_free(ask: Ask) -> bool:
    """Whether the background and the item are ours to find, in a scan."""
    return ask.background is None and ask.item_at_px is None and ask.within_px is None and not ask.of_photo


def _is_cut(region: Region) -> bool:
    return any(finding.code == "cut-by-border" for finding in region.findings)


def _runs_out(region: Region, picture: Picture) -> bool:
    """Whether a region is a large part of the picture and reaches three of its sides."""
    (x0, y0, x1, y1), near = region.box_px, _AT_SIDE * min(picture.width_px, picture.height_px)
    sides = (x0 <= near, y0 <= near, x1 >= picture.width_px - near, y1 >= picture.height_px - near)
    large = np.count_nonzero(region.mask) > _LID_PART * picture.width_px * picture.height_px
    return sum(sides) >= 3 and bool(large)


def _look(
    picture: Picture,
    reduced: Reduced,
    card_at: CardPlace,
    faint: bool,
    field: BoolArray,
    fitted: Fitted,
    ask: Ask,
    on_regions: OnRegions,
    before: _Looked,
) -> _Looked:
    """Look for items on one background; what the looks before it saw of card, clutter and small things is kept.

    Each step makes the background's light anew: to hold it takes more memory than all else that a look holds.
    """
    pixel_mm = ask.mm_per_px * reduced.factor
    departure, settled, lit, differs = told_apart(reduced, card_at, faint, field, fitted, ask)
    parts = _parts_of(differs, card_at, field, reduced, fitted, ask)
    asked, clutter = _asked_for(parts.items, reduced, ask)
    seen = _Seen(on_regions)
    decided: list[Region] = []
    lines: list[Part] = []
    background = Background(fitted)
    ground, taken = Ground(picture, reduced, fitted, parts.labels, field & ~differs), lit & ~differs
    for part, regions in regions_of(ground, asked, ask):
        found = with_paper_said(regions, part, parts.labels, taken, pixel_mm)
        if found and is_written(found[0], reduced, background, ask):
            lines.append(part)
            continue
        if not found and not ask.of_photo:
            parts = parts.less(part, _as_small(parts, part, reduced, background, ask))
        if ask.item_at_px is None:
            decided += found
        else:
            seen.add(_pointed_at(found, ask.item_at_px)[: 1 - len(seen.kept)])
    shade, dropped = settled.differs & ~differs, settled.dropped
    del background, settled, lit, ground, taken  # as large as the picture, and items are traced next
    seen.add(decided)
    if ask.of_photo and (ask.item_at_px is None or not seen.kept):
        seen.add(_of_hue(picture, reduced, card_at, field, fitted, ask, seen.kept))
    kept = seen.kept
    if lines:
        parts = parts.thin(lines)
        clutter.append(left_out_as_lines([_box_on_picture(part, reduced) for part in lines], ask.dust_mm))
    reasons = _reasons(dropped, shade, parts, asked, seen.lost, reduced.factor)
    apart = card_at.whole | np.isin(parts.labels, parts.card_labels)
    sight = Sight(fitted, field, departure, differs, parts.labels, apart, reasons)
    return _Looked(
        kept,
        before.card or parts.card,
        clutter if kept or not before.clutter else before.clutter,
        before.small if faint else before.small or parts.small,
        sight if kept or not faint else before.sight,
        bool(lines),
        seen.lost if ask.of_photo else [],
    )


def _parts_of(
    differs: BoolArray, card_at: CardPlace, field: BoolArray, reduced: Reduced, fitted: Fitted, ask: Ask
) -> Parts:
    """The connected parts of what differs from a background."""
    return find_parts(
        differs,
        card_at,
        field,
        reduced,
        Background(fitted),
        pixel_mm=ask.mm_per_px * reduced.factor,
        dust_mm=ask.dust_mm,
        speck_px=_speck_px(reduced, ask),
        of_photo=ask.of_photo,
    )


def _of_hue(
    picture: Picture,
    reduced: Reduced,
    card_at: CardPlace,
    field: BoolArray,
    fitted: Fitted,
    ask: Ask,
    kept: Sequence[Region],
) -> list[Region]:
    """Whole things of a hue of their own beside those that were found."""
    pixel_mm = ask.mm_per_px * reduced.factor
    taken, _ = covered_by(kept, field.shape, reduced.factor)
    free = field & ~card_at.whole
    differs = patches_of_hue(reduced, fitted, free, taken, pixel_mm=pixel_mm, dust_mm=ask.dust_mm)
    if not differs.any():
        return []
    parts = _parts_of(differs, card_at, field, reduced, fitted, ask)
    asked, _ = _asked_for(parts.items, reduced, ask)
    ground = Ground(picture, reduced, fitted, parts.labels, field & ~differs)
    found = [region for _, regions in regions_of(ground, asked, ask) for region in regions]
    return found if ask.item_at_px is None else _pointed_at(found, ask.item_at_px)[:1]


def _box_on_picture(part: Part, reduced: Reduced) -> tuple[int, int, int, int]:
    x, y, w, h = (reduced.factor * v for v in part.box)
    return x, y, x + w, y + h


def _as_small(parts: Parts, part: Part, reduced: Reduced, background: Background, ask: Ask) -> Small | None:
    """What to say of a part that at the half-way level is smaller than an item: its blurred border made it larger."""
    x, y, w, h = part.box
    own = parts.labels[y : y + h, x : x + w] == part.label
    pixel_mm = ask.mm_per_px * reduced.factor
    return small_piece(own, part.box, reduced, background, pixel_mm, ask.dust_mm)


def _reasons(
    dropped: Sequence[Dropped], shade: BoolArray, parts: Parts, asked: list[Part], lost: list[Region], factor: int
) -> Reasons:
    """Why what is no item is none, as far as the stages can tell."""
    reasons = Reasons(shade.shape)
    for one in reversed(dropped):  # the outer ones come last, and the inner ones tell more
        x, y, w, h = one.box
        reasons.paint(one.mask, one.reason, (slice(y, y + h), slice(x, x + w)))
    reasons.paint(shade, "shade")
    others: dict[int, Why] = {part.label: "cut" if part.is_cut else "many" for part in parts.items if part not in asked}
    others |= parts.others
    if others:
        whys = np.zeros(int(parts.labels.max()) + 1, np.uint8)
        for why in set(others.values()):
            whys[:] = False
            whys[[label for label, said in others.items() if said == why]] = True
            reasons.paint(whys[parts.labels] > 0, why)
    for region in lost:
        x0, y0, x1, y1 = (v // factor for v in region.box_px)
        cut = any(finding.code == "cut-by-border" for finding in region.findings)
        at = slice(y0, y1 + 1), slice(x0, x1 + 1)
        reasons.paint(np.ones_like(reasons.codes[at], dtype=bool), "cut" if cut else "soft", at)
    return reasons


def _said(left_out: tuple[LeftOut, ...], kept: list[Region], picture: Picture, ask: Ask) -> tuple[Finding, ...]:
    """What is to be said of patches that were left out."""
    if not ask.of_photo:
        areas = [float(np.count_nonzero(region.mask)) * ask.mm_per_px**2 for region in kept]
        size_px = picture.width_px, picture.height_px
        said = said_of(left_out, areas, ask.dust_mm, size_px=size_px, mm_per_px=ask.mm_per_px)
        return (*crisp_said(left_out), *said)
    least = ITEM_AREA * ask.dust_mm**2
    boxes = [one.box_px for one in left_out if one.why in ("soft", "stain") and one.area_mm2 >= least]
    return (left_out_without_edge(boxes),) if boxes else ()


def _speck_px(reduced: Reduced, ask: Ask) -> float:
    """Size of what does not count on a card, reduced px: writing is there, whatever --dust says."""
    return max(ask.dust_mm, _WRITING_MM) / (ask.mm_per_px * reduced.factor)


def _asked_for(parts: list[Part], reduced: Reduced, ask: Ask) -> tuple[list[Part], list[Finding]]:
    """Parts that may be meant: near the place pointed at; in a photo what is no clutter."""
    if ask.item_at_px is not None:
        x, y = reduced.to_reduced(np.array(ask.item_at_px))
        return [part for part in parts if part.comes_near(x, y)], []
    if not ask.of_photo:
        return parts, []
    return without_clutter(parts, px=reduced.factor, px_mm=ask.mm_per_px * reduced.factor)


def _pointed_at(regions: list[Region], place: tuple[float, float]) -> list[Region]:
    """Regions that hold the place, or come within 2 px of it."""
    return [r for r in regions if cv().pointPolygonTest(r.chains[0].astype(np.float32), place, True) > -2]
