"""Which pixels are item: background subtracted, shade let go, parts told from dust, card and one another."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .background import Background, BoolArray, border_colours, estimate_background
from .band import (
    ByteArray,
    IntArray,
    decide_band,
    fill_specks,
    follow_borders,
    local_levels,
    open_shaded_holes,
    trim_pale,
)
from .clutter import without_clutter
from .opencv import cv
from .records import Finding, FloatArray, Picture
from .reduced import Reduced
from .shade import differs_from, let_shade_go
from .sheet import card_covered, is_card, paper_colour, rim_of, sheet_around

_ITEM_LEAST, _ITEM_AREA, _ITEM_THICKNESS = 5.0, 12.0, 1.5  # least length, area and width of an item, in dusts
_RIM_MM = 6.0  # a thinner strip along the picture's border is no item
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
    shape = reduced.light.shape[:2]
    squares = _polygons_mask(shape, [_grown(reduced.to_reduced(q), 2.5) for q in references_px])
    printed = squares | _polygons_mask(shape, [_grown(reduced.to_reduced(q), 1.0) for q in marks_px])
    kept: list[Region] = []
    card: list[Finding] = []
    clutter: list[Finding] = []
    # what stands out by itself first; only where nothing does, what is faint
    for faint, field, background in _looks(reduced, printed, squares, ask):
        if faint and clutter:
            break
        differs = differs_from(reduced.light, background, faint=faint) & field & ~printed
        differs = let_shade_go(reduced.light, background, differs, field, pixel_mm=ask.mm_per_px * reduced.factor)
        labels, parts, said = _parts(differs, squares, field, reduced, background, ask)
        card = card or said
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
    return Silhouettes(tuple(flagged), (*card, *clutter))


def _asked_for(parts: list[_Part], reduced: Reduced, ask: Ask) -> tuple[list[_Part], list[Finding]]:
    """Parts that may be meant: near the place pointed at; in a photo what is no clutter."""
    if ask.item_at_px is not None:
        x, y = reduced.to_reduced(np.array(ask.item_at_px))
        return [part for part in parts if part.comes_near(x, y)], []
    if not ask.of_photo:
        return parts, []
    return without_clutter(parts, px=reduced.factor, px_mm=ask.mm_per_px * reduced.factor)


def _grown(polygon: FloatArray, margin: float) -> FloatArray:
    """Polygon moved outward from its centre by about `margin` at its corners' distance."""
    centre = polygon.mean(axis=0)
    arm = polygon - centre
    length = np.linalg.norm(arm, axis=1, keepdims=True)
    return np.asarray(centre + arm * (1 + 1.42 * margin / np.maximum(length, 1e-9)))


def _polygons_mask(shape: tuple[int, ...], polygons: list[FloatArray]) -> BoolArray:
    mask = np.zeros(shape, np.uint8)
    for polygon in polygons:
        cv().fillPoly(mask, [np.rint(polygon * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


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
    sheet = _polygons_mask(printed.shape, [reduced.to_reduced(ask.within_px)])
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
    differs: BoolArray, squares: BoolArray, field: BoolArray, reduced: Reduced, background: Background, ask: Ask
) -> tuple[npt.NDArray[np.int32], list[_Part], list[Finding]]:
    """Connected parts that are items: neither dust, nor hair, nor the card and its paper."""
    _, labels, stats, _ = cv().connectedComponentsWithStats(differs.astype(np.uint8), connectivity=8)
    pixel_mm = ask.mm_per_px * reduced.factor
    paper = paper_colour(reduced, squares)
    near_squares = rim_of(squares, 3) if squares.any() else squares
    parts, card = [], []
    for label in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[label])
        if max(w, h) * pixel_mm < _ITEM_LEAST * ask.dust_mm or area * pixel_mm**2 < _ITEM_AREA * ask.dust_mm**2:
            continue
        own = labels[y : y + h, x : x + w] == label
        thickness = _thickness(own) * pixel_mm
        if thickness < _ITEM_THICKNESS * ask.dust_mm:
            continue
        if _is_rim((x, y, w, h), thickness, pixel_mm, labels.shape):
            continue
        verdict = is_card(own, (x, y, w, h), squares, near_squares, reduced, paper)
        if verdict == "card":
            card += card_covered(own, (x, y), squares, reduced)
            continue
        findings = []
        if verdict == "touching":
            findings.append(_finding_touches_card((x, y, w, h), reduced))
        cut = _touches_border(own, (x, y), field)
        if cut:
            findings.append(_finding_cut((x, y, w, h), reduced))
        parts.append(_Part(label, (x, y, w, h), area, cut, tuple(findings)))
    return labels, parts, card


def _is_rim(box: tuple[int, int, int, int], thickness_mm: float, pixel_mm: float, shape: tuple[int, ...]) -> bool:
    """Whether a part is a strip along the picture's border: the scanner's frame, or the lid's shade."""
    x, y, w, h = box
    at_border = x <= 1 or y <= 1 or x + w >= shape[1] - 1 or y + h >= shape[0] - 1
    return at_border and thickness_mm < _RIM_MM and max(w, h) * pixel_mm > 4 * thickness_mm


def _thickness(own: BoolArray) -> float:
    """Greatest inscribed width, reduced px."""
    filled = np.pad(own.astype(np.uint8), 1)
    return 2.0 * float(cv().distanceTransform(filled, cv().DIST_L2, 3).max()) - 1.0


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
    return Finding(
        "cut-by-border",
        "The item touches the border of the picture (or of the sheet it lies on), so part of its outline is missing. "
        "Move it inward and take the picture again.",
        place_px=_box_centre(box, reduced),
    )


def _finding_touches_card(box: tuple[int, int, int, int], reduced: Reduced) -> Finding:
    return Finding(
        "touches-card",
        "The item touches the reference square: its outline there is not its own. Lay it clear of the card.",
        place_px=_box_centre(box, reduced),
    )


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
    dust = ask.dust_mm / (ask.mm_per_px * reduced.factor)
    own = labels[window] == part.label
    own = fill_specks(open_shaded_holes(light, behind, own, dust), dust)
    levels = local_levels(light, behind, own, field[window] & ~differs[window])
    own = trim_pale(light, own, levels)
    mask = decide_band(picture, reduced.factor, own, (x0, y0), levels)
    origin = (x0 * reduced.factor, y0 * reduced.factor)
    least = _ITEM_AREA * (ask.dust_mm / ask.mm_per_px) ** 2
    found = follow_borders(mask, origin, dust_px=ask.dust_mm / ask.mm_per_px, least_px2=least)
    return [Region(chains, mask, origin, _box_of(chains[0]), part.findings) for chains in found]


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
    """Gap to the nearest other item where it is under 0.5 mm, else None."""
    import shapely

    own = regions[index]
    limit = 0.5 / ask.mm_per_px
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
    finding = Finding(
        "items-close",
        f"The item comes within {max(gap_mm, 0):.2f} mm of another (limit 0.5 mm): they may touch, and each shades the "
        "other's edge. Lay them further apart.",
        value=gap_mm,
        limit=0.5,
    )
    return Region(region.chains, region.mask, region.mask_origin, region.box_px, (*region.findings, finding))
