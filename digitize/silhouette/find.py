"""Which pixels are item: background subtracted, shade let go, parts told from dust, card and one another."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, ByteArray, Finding, FloatArray, Picture
from ..words.say import finding_of
from .background import Background, border_colours, estimate_background, unlike_rim
from .band import IntArray, decide_band, fill_specks, follow_borders, local_levels, open_shaded_holes, trim_pale
from .card_place import CardPlace, place_card, polygons_mask, require_clear_of_card
from .clutter import without_clutter
from .pieces import ITEM_AREA, ITEM_THICKNESS, Small, is_rim, left_out_as_small, size_of, small_piece, thickness
from .shade import differs_from, let_shade_go
from .sheet import card_covered, is_card, on_known_card, paper_colour, rim_of, sheet_around, touches_card
from .two_colours import perhaps_two_colours

_AT_SHEET_MM = 2.0  # of the strip beside the card's sheet: an item there is cut off by it
_CLOSE_MM = 0.75  # between items: a narrower gap is blurred, and both edges draw back from it
_WRITING_MM = 0.5  # width of a pen's stroke
_PAPER_PART = 0.35  # of the picture: a larger sheet around the reference is the background itself


@dataclass(frozen=True, slots=True)
class Region:
    """One item's pixels: closed border chains at full resolution, exterior first."""

    chains: tuple[IntArray, ...]  # each (N, 2) px (x, y), pixels of the item along its border
    mask: ByteArray  # (h, w) crop, 1 = item
    mask_origin: tuple[int, int]  # px of the crop's first pixel
    box_px: tuple[int, int, int, int]  # x0, y0, x1, y1
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Silhouettes:
    """All items of a picture in reading order, with what was seen besides."""

    regions: tuple[Region, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Ask:
    """What the user says about where to look."""

    background: tuple[float, ...] | str | None = None  # linear-light colour, "light", "dark" or None
    item_at_px: tuple[float, float] | None = None
    dust_mm: float = 1.0
    mm_per_px: float = 25.4 / 600
    within_px: FloatArray | None = None  # (N, 2) polygon that items lie in, where it is known (a mat's sheet)
    of_photo: bool = False  # what runs out of the picture is clutter then


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
    kept: list[Region] = []
    card: list[Finding] = []
    clutter: list[Finding] = []
    small: list[Small] = []
    # what stands out by itself first; only where nothing does, what is faint
    for faint, field, background in _looks(reduced, printed, squares, ask):
        if faint and clutter:
            break
        differs = differs_from(reduced.light, background, faint=faint) & field & ~printed
        differs = let_shade_go(reduced.light, background, differs, field, pixel_mm=ask.mm_per_px * reduced.factor)
        labels, parts, said, tiny = _parts(differs, card_at, field, reduced, background, ask)
        card = card or said
        small = small if faint else small or tiny
        parts, left_out = _asked_for(parts, reduced, ask)
        kept = []
        for part in parts:
            found = _regions(picture, reduced, background, labels, part, differs, field, ask)
            for region in found if ask.item_at_px is None else _pointed_at(found, ask.item_at_px)[: 1 - len(kept)]:
                if on_region(region):
                    kept.append(region)
        clutter = left_out if kept or not clutter else clutter
        if kept or card:
            break
    flagged = _flag_neighbours(_reading_order(kept), ask)
    if not card and card_at.sheet.any():
        paper = paper_colour(reduced, squares)
        card = on_known_card(card_at.sheet, card_at.print, reduced, background, paper, _speck_px(reduced, ask))
    if ask.background is not None and ask.within_px is None and not ask.of_photo:
        # seen inside out, what is taken for the card's sheet is none
        card = unlike_rim(reduced.light, ~printed, background, ask.background) or card
    remarks = () if ask.item_at_px is not None else left_out_as_small(small, ask.dust_mm)
    return Silhouettes(tuple(flagged), (*card, *clutter, *remarks))


def _speck_px(reduced: Reduced, ask: Ask) -> float:
    """Size of what does not count on a card, reduced px: writing is there, whatever --dust says."""
    return max(ask.dust_mm, _WRITING_MM) / (ask.mm_per_px * reduced.factor)


def _asked_for(parts: list[_Part], reduced: Reduced, ask: Ask) -> tuple[list[_Part], list[Finding]]:
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


def _looks(
    reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask
) -> Iterator[tuple[bool, BoolArray, Background]]:
    """Ways to look for items, to be tried until one finds some: whether faint ones count, the field, the background."""
    seen = []
    for field, background in _fields(reduced, printed, squares, ask):
        seen.append((field, background))
        yield False, field, background
    for field, background in seen:
        yield True, field, background


def _fields(
    reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask
) -> Iterator[tuple[BoolArray, Background]]:
    """Where items may lie and the background there, the likelier first.

    The sheet around the reference if it is large, all of the picture, and that with the border's other colours.
    """
    if ask.within_px is not None:
        yield _on_sheet(reduced, printed, squares, ask)
        return
    everything = np.ones(printed.shape, bool), estimate_background(reduced.light, ~printed, seed=ask.background)
    sheet = None if ask.background is not None else _large_sheet(reduced, squares, printed, everything[1])
    if sheet is not None:
        yield sheet
    yield everything
    if ask.background is None:
        tried = np.median(everything[1].light[::8, ::8], axis=(0, 1))
        for colour in border_colours(reduced.light, ~printed):
            if np.abs(np.sqrt(colour) - np.sqrt(np.clip(tried, 0, 1))).max() > 0.06:
                yield everything[0], estimate_background(reduced.light, ~printed, seed=colour)


def _large_sheet(
    reduced: Reduced, squares: BoolArray, printed: BoolArray, lid: Background
) -> tuple[BoolArray, Background] | None:
    """The sheet around the reference and its colour, where it is large and no continuation of the lid."""
    rim = rim_of(squares) & ~printed
    if not rim.any():
        return None
    paper = np.median(reduced.light[rim], axis=0)
    behind = np.median(lid.light[::8, ::8], axis=(0, 1))
    if (np.abs(np.sqrt(paper) - np.sqrt(np.clip(behind, 0, 1))) < 0.06).all():
        return None
    sheet = sheet_around(reduced, squares, printed, behind)
    if sheet is None or sheet.mean() < _PAPER_PART:
        return None
    return sheet, estimate_background(reduced.light, sheet & ~printed, seed=tuple(float(v) for v in paper))


def _on_sheet(reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask) -> tuple[BoolArray, Background]:
    """Field and background on the sheet whose place is known."""
    assert ask.within_px is not None
    sheet = polygons_mask(printed.shape, [reduced.to_reduced(ask.within_px)])
    kernel = np.ones((9, 9), np.uint8)
    sheet = np.asarray(cv().erode(sheet.astype(np.uint8), kernel, borderType=cv().BORDER_REPLICATE) > 0)
    rim = rim_of(squares) & ~printed & sheet
    seed = ask.background
    if seed is None and rim.any():
        seed = tuple(float(v) for v in np.median(reduced.light[rim], axis=0))
    return sheet, estimate_background(reduced.light, sheet & ~printed, seed=seed)


@dataclass(frozen=True, slots=True)
class _Part:
    """One connected part of the reduced mask."""

    label: int
    box: tuple[int, int, int, int]  # x, y, w, h in reduced px
    area: int  # reduced px
    is_cut: bool  # by the border of the field
    findings: tuple[Finding, ...]

    def comes_near(self, x: float, y: float) -> bool:
        """Whether a place (reduced px) lies in the box or just beside it."""
        left, top, width, height = self.box
        return left - 3 <= x <= left + width + 3 and top - 3 <= y <= top + height + 3


def _parts(
    differs: BoolArray, card_at: CardPlace, field: BoolArray, reduced: Reduced, background: Background, ask: Ask
) -> tuple[npt.NDArray[np.int32], list[_Part], list[Finding], list[Small]]:
    """Connected parts that are items: neither dust, nor hair, nor the card and its paper; what is only too small."""
    _, labels, stats, _ = cv().connectedComponentsWithStats(differs.astype(np.uint8), connectivity=8)
    pixel_mm = ask.mm_per_px * reduced.factor
    squares, sheet = card_at.squares, card_at.sheet
    paper = paper_colour(reduced, squares)
    near_squares = rim_of(squares, 3) if squares.any() else squares
    near_sheet = rim_of(sheet, 2) if sheet.any() else sheet
    parts, card, small = [], [], []
    for label in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[label])
        size = size_of((x, y, w, h), area, pixel_mm, ask.dust_mm)
        if size == "dust" or (size == "small" and ask.of_photo):
            continue
        own = labels[y : y + h, x : x + w] == label
        if size == "small":
            small.append(small_piece(own, (x, y, w, h), reduced, background, pixel_mm, ask.dust_mm))
            continue
        wide = thickness(own) * pixel_mm
        if wide < ITEM_THICKNESS * ask.dust_mm or is_rim((x, y, w, h), wide, pixel_mm, labels.shape):
            continue
        verdict = is_card(own, (x, y, w, h), squares, near_squares, reduced, paper)
        if verdict in ("card", "paper"):
            if verdict == "card":
                known = paper if not ask.of_photo else None  # a photo's paper has many shades
                card += card_covered(own, (x, y), card_at.print, reduced, known, _speck_px(reduced, ask))
            continue
        findings = []
        at_sheet = np.count_nonzero(near_sheet[y : y + h, x : x + w] & own) * pixel_mm > _AT_SHEET_MM
        if verdict == "touching" or at_sheet:
            findings.append(touches_card(_box_centre((x, y, w, h), reduced), sheet=verdict != "touching"))
        cut = _touches_border(own, (x, y), field)
        if cut:
            findings.append(_finding_cut((x, y, w, h), reduced))
        parts.append(_Part(label, (x, y, w, h), area, cut, tuple(findings)))
    return labels, parts, card, [piece for piece in small if piece is not None]


def _touches_border(own: BoolArray, origin: tuple[int, int], field: BoolArray) -> bool:
    x, y = origin
    h, w = own.shape
    whole = np.pad(field, 1)
    inner = whole[y : y + h, x + 1 : x + w + 1] & whole[y + 2 : y + h + 2, x + 1 : x + w + 1]
    inner &= whole[y + 1 : y + h + 1, x : x + w] & whole[y + 1 : y + h + 1, x + 2 : x + w + 2]
    return bool((own & ~inner).any())


def _box_centre(box: tuple[int, int, int, int], reduced: Reduced) -> tuple[float, float]:
    x, y, w, h = box
    centre = reduced.to_full(np.array([x + w / 2.0, y + h / 2.0]))
    return float(centre[0]), float(centre[1])


def _finding_cut(box: tuple[int, int, int, int], reduced: Reduced) -> Finding:
    return finding_of("cut-by-border", place_px=_box_centre(box, reduced))


def _regions(
    picture: Picture,
    reduced: Reduced,
    background: Background,
    labels: npt.NDArray[np.int32],
    part: _Part,
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
    findings = part.findings
    if len(found) == 1 and not ask.of_photo:  # a photo shows the sides of what is thick, in another shade
        findings += perhaps_two_colours(light, own, ask.mm_per_px * reduced.factor)
    return [Region(chains, mask, origin, _box_of(chains[0]), findings) for chains in found]


def _box_of(chain: IntArray) -> tuple[int, int, int, int]:
    low, high = chain.min(axis=0), chain.max(axis=0)
    return int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1


def _pointed_at(regions: list[Region], place: tuple[float, float]) -> list[Region]:
    """Regions that hold the place, or come within 2 px of it."""
    return [r for r in regions if cv().pointPolygonTest(r.chains[0].astype(np.float32), place, True) > -2]


def _reading_order(regions: list[Region]) -> list[Region]:
    """Rows from the top, each from the left; a row is what overlaps its first item by half its height."""
    rest = sorted(regions, key=lambda r: (r.box_px[1], r.box_px[0]))
    ordered: list[Region] = []
    while rest:
        top, bottom = rest[0].box_px[1], rest[0].box_px[3]
        row = [r for r in rest if 0.5 * (r.box_px[1] + r.box_px[3]) < bottom and r.box_px[3] > top]
        ordered += sorted(row, key=lambda r: r.box_px[0])
        rest = [r for r in rest if all(r is not other for other in row)]
    return ordered


def _flag_neighbours(regions: list[Region], ask: Ask) -> list[Region]:
    """Flag items that all but touch one another."""
    return [
        _with_finding(region, near) if (near := _nearest_gap_mm(i, regions, ask)) is not None else region
        for i, region in enumerate(regions)
    ]


def _nearest_gap_mm(index: int, regions: list[Region], ask: Ask) -> float | None:
    """Gap to the nearest other item where it is under `_CLOSE_MM`, else None."""
    import shapely

    own = regions[index]
    limit = _CLOSE_MM / ask.mm_per_px
    x0, y0, x1, y1 = own.box_px
    near = [
        other
        for i, other in enumerate(regions)
        if i != index
        and other.box_px[0] <= x1 + limit
        and other.box_px[2] >= x0 - limit
        and other.box_px[1] <= y1 + limit
        and other.box_px[3] >= y0 - limit
    ]
    if not near:
        return None
    outline = shapely.linearrings(own.chains[0])
    gap = min(float(shapely.distance(outline, shapely.linearrings(other.chains[0]))) for other in near)
    return gap * ask.mm_per_px if gap < limit else None


def _with_finding(region: Region, gap_mm: float) -> Region:
    finding = finding_of("items-close", value=max(gap_mm, 0.0), limit=_CLOSE_MM)
    return Region(region.chains, region.mask, region.mask_origin, region.box_px, (*region.findings, finding))
