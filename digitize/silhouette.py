"""Which pixels are item: background subtracted, shade let go, parts told from dust, card and one another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from .background import Background, BoolArray, Float32Array, estimate_background
from .band import ByteArray, IntArray, decide_band, fill_specks, follow_borders, local_levels, open_shaded_holes
from .opencv import cv
from .records import Finding, FloatArray, Picture

_TARGET_PX = 1800  # long side of the picture that things are looked for in
_ITEM_LEAST, _ITEM_AREA, _ITEM_THICKNESS = 5.0, 12.0, 1.5  # least length, area and width of an item, in dusts
_RIM_MM = 6.0  # a thinner strip along the picture's border is no item
_PAPER_PART = 0.35  # of the picture: a larger sheet around the reference is the background itself


@dataclass(frozen=True, slots=True)
class Reduced:
    """The picture area-averaged by a whole factor."""

    codes: npt.NDArray[Any]  # (h, w, C)
    light: Float32Array  # (h, w, C)
    factor: int

    def to_full(self, points: FloatArray) -> FloatArray:
        """Map reduced px to full-resolution px."""
        return self.factor * points + (self.factor - 1) / 2.0

    def to_reduced(self, points_px: FloatArray) -> FloatArray:
        """Map full-resolution px to reduced px."""
        return (points_px - (self.factor - 1) / 2.0) / self.factor


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


def reduce_picture(picture: Picture) -> Reduced:
    """Average the picture by the whole factor that brings its long side near 1800 px."""
    factor = max(1, round(max(picture.width_px, picture.height_px) / _TARGET_PX))
    h, w = picture.height_px // factor, picture.width_px // factor
    channels = picture.pixels.shape[2]
    if factor == 1:
        codes = picture.pixels
    else:
        whole = picture.pixels[: h * factor, : w * factor]
        codes = cv().resize(whole, (w, h), interpolation=cv().INTER_AREA).reshape(h, w, channels)
    light = np.empty(codes.shape, np.float32)
    for channel in range(channels):
        light[..., channel] = picture.to_linear[:, channel][codes[..., channel]]
    return Reduced(codes, light, factor)


def find_silhouettes(
    picture: Picture,
    reduced: Reduced,
    references_px: tuple[FloatArray, ...],
    marks_px: tuple[FloatArray, ...],
    ask: Ask,
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
    """
    shape = reduced.light.shape[:2]
    squares = _polygons_mask(shape, [_grown(reduced.to_reduced(q), 2.5) for q in references_px])
    printed = squares | _polygons_mask(shape, [_grown(reduced.to_reduced(q), 1.0) for q in marks_px])
    field, background = _field_and_background(reduced, printed, squares, ask)
    differs = _differs(reduced.light, background) & field & ~printed
    differs = _let_shade_go(reduced.light, background, differs, field)
    labels, parts, card = _parts(differs, squares, field, reduced, background, ask)
    regions = [_region(picture, reduced, background, labels, part, differs, field, ask) for part in parts]
    kept = [region for region in regions if region is not None]
    kept = _chosen(kept, ask)
    ordered = _reading_order(kept)
    flagged = _flag_neighbours(ordered, ask)
    return Silhouettes(tuple(flagged), tuple(card))


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


def _field_and_background(
    reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask
) -> tuple[BoolArray, Background]:
    """Where items may lie, and the background there: the large sheet that carries the reference, else all."""
    if ask.within_px is not None:
        return _on_sheet(reduced, printed, squares, ask)
    everything = np.ones(printed.shape, bool)
    background = estimate_background(reduced.light, ~printed, seed=ask.background)
    if not squares.any() or ask.background is not None:
        return everything, background
    sheet = _sheet_around(reduced, squares, printed)
    if sheet is None or sheet.mean() < _PAPER_PART:
        return everything, background
    paper = np.median(reduced.light[_rim(squares) & ~printed], axis=0)
    if (np.abs(np.sqrt(paper) - np.sqrt(np.median(background.light, axis=(0, 1)))) < 0.06).all():
        return everything, background
    return sheet, estimate_background(reduced.light, sheet & ~printed, seed=tuple(float(v) for v in paper))


def _on_sheet(reduced: Reduced, printed: BoolArray, squares: BoolArray, ask: Ask) -> tuple[BoolArray, Background]:
    """Field and background on the sheet whose place is known."""
    assert ask.within_px is not None
    sheet = _polygons_mask(printed.shape, [reduced.to_reduced(ask.within_px)])
    kernel = np.ones((9, 9), np.uint8)
    sheet = np.asarray(cv().erode(sheet.astype(np.uint8), kernel, borderType=cv().BORDER_REPLICATE) > 0)
    rim = _rim(squares) & ~printed & sheet
    seed = ask.background
    if seed is None and rim.any():
        seed = tuple(float(v) for v in np.median(reduced.light[rim], axis=0))
    return sheet, estimate_background(reduced.light, sheet & ~printed, seed=seed)


def _rim(squares: BoolArray, width: int = 6) -> BoolArray:
    """Pixels just around the squares."""
    grown = cv().dilate(squares.astype(np.uint8), np.ones((2 * width + 1, 2 * width + 1), np.uint8))
    return np.asarray((grown > 0) & ~squares)


def _sheet_around(reduced: Reduced, squares: BoolArray, printed: BoolArray) -> BoolArray | None:
    """The connected stretch of the colour that surrounds the reference, holes filled, rim taken off."""
    rim = _rim(squares) & ~printed
    if not rim.any():
        return None
    step = max(1, round(max(squares.shape) / 450))
    coded = np.sqrt(np.clip(reduced.light[::step, ::step], 0, 1))
    paper = np.sqrt(np.median(reduced.light[rim], axis=0))
    alike = ((np.abs(coded - paper) < 0.16).all(axis=2) | printed[::step, ::step]).astype(np.uint8)
    _, labels = cv().connectedComponents(alike, connectivity=4)
    held = labels[squares[::step, ::step]]
    if not held.size:
        return None
    sheet = (labels == np.bincount(held).argmax()).astype(np.uint8)
    contours, _ = cv().findContours(sheet, cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    filled = np.zeros(sheet.shape, np.uint8)
    cv().drawContours(filled, [max(contours, key=cv().contourArea)], -1, 1, cv().FILLED)
    kernel = np.ones((5, 5), np.uint8)
    inner = cv().erode(filled, kernel, borderType=cv().BORDER_CONSTANT, borderValue=1)
    size = (squares.shape[1], squares.shape[0])
    return np.asarray(cv().resize(inner, size, interpolation=cv().INTER_NEAREST) > 0)


def _differs(light: Float32Array, background: Background) -> BoolArray:
    """Pixels whose colour leaves the background by more than its noise and a floor."""
    return np.asarray(_distance(light, background) > 1.0)


def _distance(light: Float32Array, background: Background) -> Float32Array:
    """Colour distance to the background in units of the least difference that counts; (h, w)."""
    total = np.zeros(light.shape[:2], np.float32)
    for channel in range(light.shape[2]):
        level = background.light[..., channel]
        limit = np.maximum(6.0 * background.noise[channel], 0.006 + 0.022 * np.clip(level, 0, 1))
        total += ((light[..., channel] - level) / limit) ** 2
    return np.asarray(np.sqrt(total), dtype=np.float32)


def _mean_channel(light: Float32Array) -> Float32Array:
    """Mean over the channels; (h, w)."""
    channels = light.shape[2]
    weights = np.full((1, channels), 1.0 / channels, np.float32)
    return np.asarray(cv().transform(light, weights), dtype=np.float32).reshape(light.shape[:2])


def _let_shade_go(light: Float32Array, background: Background, differs: BoolArray, field: BoolArray) -> BoolArray:
    """Take out shade: the same part of the light lost in all channels, and softly, from the background inward."""
    ratio = _mean_channel(light) / np.maximum(_mean_channel(background.light), 0.02)
    smooth = cv().GaussianBlur(ratio, (5, 5), 1.0)
    gx, gy = cv().Sobel(smooth, cv().CV_32F, 1, 0, scale=0.125), cv().Sobel(smooth, cv().CV_32F, 0, 1, scale=0.125)
    shade = differs & (ratio < 1.0) & (ratio > 0.3) & (cv().magnitude(gx, gy) < 0.02)
    if not shade.any():
        return differs
    if light.shape[2] > 1:
        part = light[shade] / np.maximum(background.light[shade], 0.02)
        shade[shade] = (part.max(axis=1) < 1.0) & (np.ptp(part, axis=1) < 0.05)
    clear = ~differs & field
    count, labels = cv().connectedComponents((shade | clear).astype(np.uint8), connectivity=4)
    from_outside = np.zeros(count, bool)
    from_outside[labels[clear]] = True
    reached = from_outside[labels] & shade
    if not reached.any():
        return differs
    rest = differs & ~reached
    # a part that would lose most of itself is a soft-edged grey item, not shade
    count, parts = cv().connectedComponents(differs.astype(np.uint8))
    before = np.bincount(parts[differs], minlength=count)
    lost = np.bincount(parts[rest], minlength=count) < 0.4 * before
    return np.asarray(rest | (differs & lost[parts]))


@dataclass(frozen=True, slots=True)
class _Part:
    """One connected part of the reduced mask."""

    label: int
    box: tuple[int, int, int, int]  # x, y, w, h in reduced px
    findings: tuple[Finding, ...]


def _parts(
    differs: BoolArray, squares: BoolArray, field: BoolArray, reduced: Reduced, background: Background, ask: Ask
) -> tuple[npt.NDArray[np.int32], list[_Part], list[Finding]]:
    """Connected parts that are items: neither dust, nor hair, nor the card and its paper."""
    _, labels, stats, _ = cv().connectedComponentsWithStats(differs.astype(np.uint8), connectivity=8)
    pixel_mm = ask.mm_per_px * reduced.factor
    paper = _paper_colour(reduced, squares)
    near_squares = _rim(squares, 3) if squares.any() else squares
    parts, card = [], []
    for label in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[label])
        own = labels[y : y + h, x : x + w] == label
        if max(w, h) * pixel_mm < _ITEM_LEAST * ask.dust_mm or area * pixel_mm**2 < _ITEM_AREA * ask.dust_mm**2:
            continue
        thickness = _thickness(own) * pixel_mm
        if thickness < _ITEM_THICKNESS * ask.dust_mm:
            continue
        if _is_rim((x, y, w, h), thickness, pixel_mm, labels.shape):
            continue
        verdict = _is_card(own, (x, y, w, h), squares, near_squares, reduced, paper)
        if verdict == "card":
            card += _card_covered(own, (x, y), squares, reduced)
            continue
        findings = []
        if verdict == "touching":
            findings.append(_finding_touches_card((x, y, w, h), reduced))
        if _touches_border(own, (x, y), field):
            findings.append(_finding_cut((x, y, w, h), reduced))
        parts.append(_Part(label, (x, y, w, h), tuple(findings)))
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


def _paper_colour(reduced: Reduced, squares: BoolArray) -> Float32Array | None:
    if not squares.any():
        return None
    return np.asarray(np.median(reduced.light[_rim(squares)], axis=0), dtype=np.float32)


def _is_card(
    own: BoolArray,
    box: tuple[int, int, int, int],
    squares: BoolArray,
    near_squares: BoolArray,
    reduced: Reduced,
    paper: Float32Array | None,
) -> str:
    """Tell "card" (encloses the reference, or a stretch of its paper beside it) from "touching" and "item"."""
    if paper is None:
        return "item"
    x, y, w, h = box
    window = squares[y : y + h, x : x + w]
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    filled = np.zeros(own.shape, np.uint8)
    cv().drawContours(filled, contours, -1, 1, cv().FILLED)
    if (
        window.any()
        and (filled[window] > 0).mean() > 0.5
        and window.sum() > 0.5 * squares.sum() / max(1, _count(squares))
    ):
        return "card"
    light = reduced.light[y : y + h, x : x + w][own]
    same = float((np.abs(np.sqrt(np.clip(light, 0, 1)) - np.sqrt(paper)) < 0.07).all(axis=1).mean())
    touching = bool((near_squares[y : y + h, x : x + w] & own).any())
    if same > 0.6 and (touching or _beside(box, squares)):
        return "card"
    return "touching" if touching else "item"


def _count(squares: BoolArray) -> int:
    return int(cv().connectedComponents(squares.astype(np.uint8))[0]) - 1


def _beside(box: tuple[int, int, int, int], squares: BoolArray) -> bool:
    """Whether a box lies within half a side of a reference square's box on all sides."""
    x, y, w, h = box
    ys, xs = np.nonzero(squares)
    reach = 0.5 * np.sqrt(squares.sum() / max(1, _count(squares)))
    return bool(x > xs.min() - reach and y > ys.min() - reach and x + w < xs.max() + reach and y + h < ys.max() + reach)


def _card_covered(own: BoolArray, origin: tuple[int, int], squares: BoolArray, reduced: Reduced) -> list[Finding]:
    """A finding when the card's sheet is not the plain convex piece that a card is."""
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    outline = max(contours, key=cv().contourArea)
    area, hull = cv().contourArea(outline), cv().contourArea(cv().convexHull(outline))
    if area > 0.93 * hull:
        return []
    place = reduced.to_full(outline[:, 0, :].mean(axis=0) + np.array(origin))
    return [
        Finding(
            "card-touched",
            f"Something lies on the reference card or touches it: its sheet fills {100 * area / hull:.0f} % of its "
            "hull. What touches the card is not measured; lay it clear of the card.",
            value=float(area / hull),
            limit=0.93,
            place_px=(float(place[0]), float(place[1])),
        )
    ]


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


def _region(
    picture: Picture,
    reduced: Reduced,
    background: Background,
    labels: npt.NDArray[np.int32],
    part: _Part,
    differs: BoolArray,
    field: BoolArray,
    ask: Ask,
) -> Region | None:
    """Decide the band along the part's edge at full resolution and follow its borders."""
    x, y, w, h = part.box
    margin = 14
    x0, y0 = max(0, x - margin), max(0, y - margin)
    x1, y1 = min(labels.shape[1], x + w + margin), min(labels.shape[0], y + h + margin)
    window = (slice(y0, y1), slice(x0, x1))
    dust = ask.dust_mm / (ask.mm_per_px * reduced.factor)
    own = labels[window] == part.label
    own = open_shaded_holes(reduced.light[window], background.light[window], own, dust)
    own = fill_specks(own, dust)
    clear = field[window] & ~differs[window]
    levels = local_levels(reduced.light[window], background.light[window], own, clear)
    mask = decide_band(picture, reduced.factor, own, (x0, y0), levels)
    origin = (x0 * reduced.factor, y0 * reduced.factor)
    chains = follow_borders(mask, origin, ask.dust_mm / ask.mm_per_px)
    if not chains:
        return None
    low, high = chains[0].min(axis=0), chains[0].max(axis=0)
    box = (int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1)
    return Region(chains, mask, origin, box, part.findings)


def _chosen(regions: list[Region], ask: Ask) -> list[Region]:
    """The item the user pointed at, or all."""
    if ask.item_at_px is None:
        return regions
    point = ask.item_at_px
    hit = [r for r in regions if cv().pointPolygonTest(r.chains[0].astype(np.float32), point, True) > -2]
    return hit[:1]


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
    own = regions[index]
    limit = 0.5 / ask.mm_per_px
    x0, y0, x1, y1 = own.box_px
    best = np.inf
    for i, other in enumerate(regions):
        a, b, c, d = other.box_px
        if i == index or a > x1 + limit or c < x0 - limit or b > y1 + limit or d < y0 - limit:
            continue
        chain = other.chains[0][::3]
        inside = (chain[:, 0] > x0 - limit) & (chain[:, 0] < x1 + limit)
        inside &= (chain[:, 1] > y0 - limit) & (chain[:, 1] < y1 + limit)
        outline = own.chains[0].astype(np.float32)
        for x, y in chain[inside]:
            best = min(best, -cv().pointPolygonTest(outline, (float(x), float(y)), True))
    return float(best * ask.mm_per_px) if best < limit else None


def _with_finding(region: Region, gap_mm: float) -> Region:
    finding = Finding(
        "items-close",
        f"The item comes within {max(gap_mm, 0):.2f} mm of another (limit 0.5 mm): they may touch, and each shades the "
        "other's edge. Lay them further apart.",
        value=gap_mm,
        limit=0.5,
    )
    return Region(region.chains, region.mask, region.mask_origin, region.box_px, (*region.findings, finding))
