"""Which pixels are item: background subtracted, shade let go, parts told from dust, card and one another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Finding, FloatArray, LeftOut, Picture, Why
from ..words.say import finding_of
from .background import Background, estimate_background, goes_on, unlike_rim
from .band import (
    IntArray,
    decide_band,
    fill_specks,
    follow_borders,
    local_levels,
    open_shaded_holes,
    rim_levels,
    trim_pale,
)
from .candidates import Settled, settle
from .card_place import CardPlace, place_card, require_clear_of_card
from .clutter import is_of_lines, left_out_as_lines, left_out_without_edge, without_clutter
from .holes import perhaps_holes, perhaps_print
from .left_out import Reasons, account, said_of
from .on_page import fills, is_sheet, page_of, said_of_page
from .parts import Part, Parts, find_parts
from .pieces import ITEM_AREA, Small, is_closed_band, left_out_as_small, small_piece, thickness
from .regions import Region, flag_neighbours, in_reading_order
from .rims import pale_rim
from .shade import departure_from, let_shade_go, with_own_hue
from .sheet import on_known_card, paper_colour
from .two_colours import perhaps_two_colours
from .ways import Ask, ways_to_look

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
    on_region: Callable[[Region], bool] = lambda region: True,
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
    on_region
        Called with each item as soon as its pixels are decided, so that others may go on with it: before
        the items are ordered and looked at side by side. Where it returns False the region is none after all.
    """
    if ask.item_at_px is not None:
        require_clear_of_card(ask.item_at_px, references_px, marks_px)
    card_at = place_card(reduced, references_px, marks_px)
    squares, printed = card_at.squares, card_at.whole
    looked, background, more = _looked_for(picture, reduced, card_at, ask, on_region)
    flagged = flag_neighbours(in_reading_order(looked.kept), ask.mm_per_px)
    card = looked.card
    if not card and card_at.sheet.any():
        paper = paper_colour(reduced, squares)
        card = on_known_card(card_at.sheet, card_at.print, reduced, background, paper, _speck_px(reduced, ask))
    if ask.background is not None and ask.within_px is None and not ask.of_photo:
        # seen inside out, what is taken for the card's sheet is none
        card = unlike_rim(reduced.light, ~printed, background, ask.background) or card
    if ask.item_at_px is not None:
        return Silhouettes(tuple(flagged), (*card, *looked.clutter))
    remarks = left_out_as_small(looked.small, ask.dust_mm)
    said = (*card, *more, *looked.clutter, *_said(looked, picture, ask), *remarks)
    return Silhouettes(tuple(flagged), said, looked.left_out)


@dataclass(frozen=True, slots=True)
class _Looked:
    """What a look at the picture gave."""

    kept: list[Region] = dataclass_field(default_factory=list)
    card: list[Finding] = dataclass_field(default_factory=list)
    clutter: list[Finding] = dataclass_field(default_factory=list)
    small: list[Small] = dataclass_field(default_factory=list)
    left_out: tuple[LeftOut, ...] = ()
    has_lines: bool = False  # writing was found on it, and left out


def _looked_for(
    picture: Picture, reduced: Reduced, card_at: CardPlace, ask: Ask, on_region: Callable[[Region], bool]
) -> tuple[_Looked, Background, tuple[Finding, ...]]:
    """Look on one background after the other until things are found; also on which, and what is to be said of it.

    What stands out by itself comes first; only where nothing does, what is faint. Where what stands out is most of the
    picture and runs out of it, it may be the lid going on beyond a clipped or shaded part: the border's other colours
    of the lid's hue are tried, and taken where whole things lie on one.
    """
    looked = _Looked()
    first: tuple[_Looked, Background] | None = None
    written_on: Background | None = None
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
        looked = _look(picture, reduced, card_at, faint, field, background, ask, on_region, looked)
        written_on = background if looked.has_lines else written_on
        if first is not None and looked.kept and not any(map(_is_cut, looked.kept)):
            return looked, background, (finding_of("lid-goes-on"),)
        if first is None and any(_runs_out(region, picture) for region in looked.kept) and _is_free(ask):
            first, looked = (looked, background), _Looked()
        if first is None and (looked.kept or looked.card):
            break
    if first is None and _is_free(ask):
        return _on_page(looked, picture, reduced, card_at, background, ask, on_region)
    return (looked, background, ()) if first is None else (*first, ())


def _on_page(
    looked: _Looked,
    picture: Picture,
    reduced: Reduced,
    card_at: CardPlace,
    ground: Background,
    ask: Ask,
    on_region: Callable[[Region], bool],
) -> tuple[_Looked, Background, tuple[Finding, ...]]:
    """Where a sheet fills the picture, look for what lies on it; else, or where nothing does, what was found before."""
    page = None if card_at.whole.any() else page_of(looked.kept, reduced)
    if page is None:
        return looked, ground, ()  # a sheet round the reference has been looked at, what lies beside it is an item
    paper = estimate_background(reduced.light, page)
    on_it = _look(picture, reduced, card_at, False, page, paper, ask, on_region, looked)
    things = [region for region in on_it.kept if not _is_cut(region)]
    if not things:
        return looked, ground, ()
    if not is_sheet(page, things, reduced, ground, ask.mm_per_px * reduced.factor):
        return looked, ground, (said_of_page(things, is_taken=False),) if fills(page) else ()
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
    background: Background,
    ask: Ask,
    on_region: Callable[[Region], bool],
    before: _Looked,
) -> _Looked:
    """Look for items on one background; what the looks before it saw of card, clutter and small things is kept."""
    pixel_mm = ask.mm_per_px * reduced.factor
    departure = departure_from(reduced.light, background, faint=faint)
    departure[~field | card_at.whole] = 0.0
    is_rim_none = ask.background is None and ask.item_at_px is None
    settled = settle(departure, field, pixel_mm=pixel_mm, dust_mm=ask.dust_mm, border_is_rim=is_rim_none)
    settled = _with_own_hue(settled, reduced, background)
    differs = let_shade_go(reduced.light, background, settled.differs, field, pixel_mm=pixel_mm)
    parts = find_parts(
        differs,
        card_at,
        field,
        reduced,
        background,
        pixel_mm=pixel_mm,
        dust_mm=ask.dust_mm,
        speck_px=_speck_px(reduced, ask),
        of_photo=ask.of_photo,
    )
    asked, clutter = _asked_for(parts.items, reduced, ask)
    kept: list[Region] = []
    lost: list[Region] = []
    lines: list[Part] = []
    for part in asked:
        found = _regions(picture, reduced, background, parts.labels, part, differs, field, ask)
        if found and _is_of_lines(found[0], reduced, background, ask):
            lines.append(part)
            continue
        if not found and not ask.of_photo:
            parts = parts.less(part, _as_small(parts, part, reduced, background, ask))
        for region in found if ask.item_at_px is None else _pointed_at(found, ask.item_at_px)[: 1 - len(kept)]:
            (kept if on_region(region) else lost).append(region)
    if lines:
        parts = parts.thin(lines)
        clutter.append(left_out_as_lines([_box_on_picture(part, reduced) for part in lines], ask.dust_mm))
    left_out: tuple[LeftOut, ...] = ()
    if ask.item_at_px is None:
        reasons = _reasons(settled, settled.differs & ~differs, parts, asked, lost, reduced.factor)
        apart = card_at.whole | np.isin(parts.labels, parts.card_labels)
        left_out = account(departure, reasons, kept, apart, reduced, pixel_mm=pixel_mm, dust_mm=ask.dust_mm)
    return _Looked(
        kept,
        before.card or parts.card,
        clutter if kept or not before.clutter else before.clutter,
        before.small if faint else before.small or parts.small,
        left_out if kept or not faint else before.left_out,
        bool(lines),
    )


def _is_of_lines(region: Region, reduced: Reduced, background: Background, ask: Ask) -> bool:
    """Whether what was found in a photo, and not pointed at, is writing or a streak of light."""
    if not ask.of_photo or ask.item_at_px is not None:
        return False
    (x, y), (h, w), factor = region.mask_origin, region.mask.shape, reduced.factor
    at = slice(y // factor, (y + h) // factor), slice(x // factor, (x + w) // factor)
    small = cv().resize(region.mask, (at[1].stop - at[1].start, at[0].stop - at[0].start), interpolation=0) > 0
    wide_mm, pixel_mm = thickness(small) * ask.mm_per_px * factor, ask.mm_per_px * factor
    if not small.any() or is_closed_band(small, wide_mm, pixel_mm, ask.dust_mm):
        return False
    ground = np.median(background.light[at][small], axis=0)
    return is_of_lines(region.mask, reduced.light[at][small], ground, dust_mm=ask.dust_mm, mm_per_px=ask.mm_per_px)


def _box_on_picture(part: Part, reduced: Reduced) -> tuple[int, int, int, int]:
    x, y, w, h = (reduced.factor * v for v in part.box)
    return x, y, x + w, y + h


def _as_small(parts: Parts, part: Part, reduced: Reduced, background: Background, ask: Ask) -> Small | None:
    """What to say of a part that at the half-way level is smaller than an item: its blurred border made it larger."""
    x, y, w, h = part.box
    own = parts.labels[y : y + h, x : x + w] == part.label
    pixel_mm = ask.mm_per_px * reduced.factor
    return small_piece(own, part.box, reduced, background, pixel_mm, ask.dust_mm)


def _with_own_hue(settled: Settled, reduced: Reduced, background: Background) -> Settled:
    """Give items back the pale places of their own hue that a high cut took off with their shade."""
    dropped = np.zeros_like(settled.differs)
    for one in settled.dropped:
        if one.reason == "soft":
            x, y, w, h = one.box
            dropped[y : y + h, x : x + w] |= one.mask
    differs = with_own_hue(reduced.light, background, settled.differs, dropped & ~settled.differs)
    return replace(settled, differs=differs)


def _reasons(
    settled: Settled, shade: BoolArray, parts: Parts, asked: list[Part], lost: list[Region], factor: int
) -> Reasons:
    """Why what is no item is none, as far as the stages can tell."""
    reasons = Reasons(shade.shape)
    for one in reversed(settled.dropped):  # the outer ones come last, and the inner ones tell more
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


def _said(looked: _Looked, picture: Picture, ask: Ask) -> tuple[Finding, ...]:
    """What is to be said of patches that were left out."""
    if not ask.of_photo:
        areas = [float(np.count_nonzero(region.mask)) * ask.mm_per_px**2 for region in looked.kept]
        size_px = picture.width_px, picture.height_px
        return said_of(looked.left_out, areas, ask.dust_mm, size_px=size_px, mm_per_px=ask.mm_per_px)
    least = ITEM_AREA * ask.dust_mm**2
    boxes = [one.box_px for one in looked.left_out if one.why in ("soft", "stain") and one.area_mm2 >= least]
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


def _dust_px(reduced: Reduced, ask: Ask) -> float:
    """Size of dust, reduced px."""
    return ask.dust_mm / (ask.mm_per_px * reduced.factor)


def _regions(
    picture: Picture,
    reduced: Reduced,
    background: Background,
    labels: npt.NDArray[np.int32],
    part: Part,
    differs: BoolArray,
    field: BoolArray,
    ask: Ask,
) -> list[Region]:
    """Decide the part's edge at full resolution and follow its borders; it may fall into several items."""
    x, y, w, h = part.box
    margin = 14
    x0, y0 = max(0, x - margin), max(0, y - margin)
    x1, y1 = min(labels.shape[1], x + w + margin), min(labels.shape[0], y + h + margin)
    window = (slice(y0, y1), slice(x0, x1))
    light, behind = reduced.light[window], background.light[window]
    dust = _dust_px(reduced, ask)
    own = labels[window] == part.label
    own = fill_specks(open_shaded_holes(light, behind, own, dust), dust)
    levels = local_levels(light, behind, own, field[window] & ~differs[window])
    own = trim_pale(light, own, levels)
    mask = decide_band(picture, reduced.factor, own, (x0, y0), levels)
    origin = (x0 * reduced.factor, y0 * reduced.factor)
    least = ITEM_AREA * (ask.dust_mm / ask.mm_per_px) ** 2
    found = follow_borders(mask, origin, dust_px=ask.dust_mm / ask.mm_per_px, least_px2=least)
    rim = pale_rim(picture, found[0][0], ask.mm_per_px) if len(found) == 1 and not ask.of_photo else None
    if rim is not None and rim.is_sure:
        wide = 2 * max(1, round(rim.width_px / reduced.factor)) + 1
        own = cv().dilate(own.astype(np.uint8), cv().getStructuringElement(cv().MORPH_ELLIPSE, (wide, wide))) > 0
        mask |= decide_band(picture, reduced.factor, own, (x0, y0), rim_levels(light, behind, own, rim.light))
        found = follow_borders(mask, origin, dust_px=ask.dust_mm / ask.mm_per_px, least_px2=least)
        rim = replace(rim, is_outside=False)  # the outer border is taken
    findings, pixel_mm = part.findings, ask.mm_per_px * reduced.factor
    if len(found) == 1:
        findings += perhaps_holes(
            light, behind, own, pixel_mm=pixel_mm, dust_mm=ask.dust_mm, place_px=origin, factor=reduced.factor
        )
    if len(found) == 1 and not ask.of_photo:  # a photo shows the sides of what is thick, in another shade
        findings += perhaps_two_colours(light, own, pixel_mm)
        findings += perhaps_print(
            light, behind, found[0][1:], pixel_mm=pixel_mm, origin=(x0, y0), factor=reduced.factor
        )
    return [Region(chains, mask, origin, _box_of(chains[0]), findings, rim) for chains in found]


def _box_of(chain: IntArray) -> tuple[int, int, int, int]:
    low, high = chain.min(axis=0), chain.max(axis=0)
    return int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1


def _pointed_at(regions: list[Region], place: tuple[float, float]) -> list[Region]:
    """Regions that hold the place, or come within 2 px of it."""
    return [r for r in regions if cv().pointPolygonTest(r.chains[0].astype(np.float32), place, True) > -2]
