"""From the pixels of one item to its rings in mm, with what was seen along them; or why there are none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..edge.border import Around
from ..edge.crumbs import Crumb
from ..edge.raw import raw_border
from ..edge.runner import RunnerUp
from ..edge.trace import LEAST_CHAIN, Traced
from ..hand.steps import Step
from ..measure.rings import signed_area
from ..records import Contour, Contribution, FailedItem, Finding, FloatArray, Picture
from ..reference.locate import Located
from ..reference.on_glass import beyond_map
from ..settings import Settings
from ..silhouette.clutter import MOST, has_edge
from ..silhouette.regions import Region, calmed
from ..silhouette.rims import Rim
from ..trust.uncertainty import BY_HAND
from ..words.say import SURE_MM, finding_of
from .beside import Beside, look_beside
from .by_hand import Corrected, Piece, correct, drawn_piece
from .edges import Edges, edges_of, seen_beside
from .other import Bordered, of_shape, with_border_chosen, with_other_border
from .other_in_photo import with_other_border_in_photo
from .owners import ADDING
from .pieces import correct_together
from .rings import Rings, failed_item, hole_left_out, lost_words, place_rings, too_much_lost
from .unmeasured import as_followed, still_lost

_CUT = ("cut-by-border", "touches-card")  # findings that say why an edge is not all there
_LEAST_CALM_PX = 3.0  # a narrower smoothing does nothing
# steps between the blocks of a JPEG of quality 30 have 0.06 and 0.3, edges of scans a blur of 0.5 px and more
_BLOCK_CONTRAST, _BLOCK_BLUR_PX = 0.1, 0.4
_NO_EDGE = "it has no edge that can be followed on most of its way"
_TOO_SMALL = "it is too small to be measured: its border is under 24 pixels long"
_SOFT_PX, _SOFT = 2.2, 2.0  # blur of what a hand takes for an item, and over the picture's own, that is no clear edge's
_WITHIN_BLUR = 0.5  # of it: where such a thing ends is anywhere between 16 and 84 % of the step (k = 2: a blur)
_AT_ONCE = 32  # items traced together: what is seen along their edges is held so long
_SLIVER_DUSTS, _SLIVER_PX = 0.3, 3.0  # an outline of less mean width is no item


@dataclass(frozen=True, slots=True)
class Seen:
    """One item's borders as they were seen in the picture, and chosen where there are two."""

    bordered: Bordered
    findings: tuple[Finding, ...]
    undone: tuple[Step, ...]  # about borders
    lost: float  # part of its edge that could not be measured where it is too much, else 0
    because: str  # why that may be
    traced: tuple[Traced, ...]  # the contours as they were measured
    has_edge: bool = True  # False: as its pixels have it, none of it measured

    @property
    def contours(self) -> tuple[Contour, ...]:
        """The exterior first."""
        return self.bordered.contours


def trace_items(
    picture: Picture, regions: Sequence[Region], located: Located, settings: Settings
) -> list[Rings | FailedItem | None]:
    """Trace items as `trace_item` does, their edges together."""
    found: list[Rings | FailedItem | None] = []
    for first in range(0, len(regions), _AT_ONCE):
        some = regions[first : first + _AT_ONCE]
        edges = edges_of(picture, some, located)
        besides = seen_beside(picture, some, edges, located, settings.dust_mm)
        found += [_item(picture, *one, located, settings) for one in zip(some, edges, besides, strict=True)]
    return found


def trace_item(
    picture: Picture, region: Region, located: Located, settings: Settings, steps: Sequence[Step] = ()
) -> Rings | FailedItem | None:
    """Trace an item's borders, correct them by the steps that belong to it, and map them.

    What is too tangled to be followed is smoothed once, by the size of dust, and it is said. None when what is there
    is no item, by its outer border.
    """
    (edges,) = edges_of(picture, [region], located)
    return _item(picture, region, edges, None, located, settings, steps)


def _item(
    picture: Picture,
    region: Region,
    edges: Edges,
    beside: Beside | None,
    located: Located,
    settings: Settings,
    steps: Sequence[Step] = (),
) -> Rings | FailedItem | None:
    """What comes of a region's edges, and of what was seen beside its exterior, if that was looked at."""
    found = _traced(picture, region, edges, located, settings, steps, beside)
    if not isinstance(found, FailedItem) or any(finding.code in _CUT for finding in region.findings):
        return found
    calm = calmed(region, max(settings.dust_mm / float(np.mean(located.estimate.facts.mm_per_px)), _LEAST_CALM_PX))
    if calm is None:
        return found
    (edges,) = edges_of(picture, [calm], located)
    again = _traced(picture, calm, edges, located, settings, steps)
    if not isinstance(again, Rings):
        return found
    return again.with_findings((finding_of("edge-smoothed", value=settings.dust_mm),))


def _traced(
    picture: Picture,
    region: Region,
    edges: Edges,
    located: Located,
    settings: Settings,
    steps: Sequence[Step],
    beside: Beside | None = None,
) -> Rings | FailedItem | None:
    """What comes of a region as it is."""
    seen = _seen(picture, region, edges, located, settings, steps, beside)
    if not isinstance(seen, Seen):
        return seen
    piece = _piece(seen, region, steps)
    by_hand = correct(picture, piece, _others(steps), blur_px=located.estimate.blur_px, mm_per_px=_pixel_mm(located))
    rings = _placed(picture, by_hand, [seen], located, settings)
    if by_hand.is_dropped:
        return rings if isinstance(rings, Rings) else None
    is_seen = region.asked is None and located.camera is None
    if is_seen and isinstance(rings, Rings) and _is_sliver(rings.own[0], located, settings):
        return None
    lost = still_lost([seen], by_hand.contours)
    if seen.lost and not lost and isinstance(rings, Rings):
        rings = replace(rings, findings=tuple(one for one in rings.findings if one.code != "edge-unclear"))
    if lost:
        words = lost_words(lost) if seen.has_edge or lost < seen.lost else _NO_EDGE
        rings = failed_item(seen.bordered.contours[0].points_px, words, because=seen.because)
    return rings if isinstance(rings, Rings) else as_followed(rings, [seen], by_hand.contours)


def _piece(seen: Seen, region: Region, steps: Sequence[Step]) -> Piece:
    """What hands begin from: the contours as they were seen, or about a border that a hand drew."""
    contours, border, outer = seen.bordered.contours, region.drawn, seen.traced[0]
    if border is None:
        return Piece(contours)
    follows = any(step.do == "draw" and step.along == "edge" for step in steps)
    around = Around(border.ring_px, border.places_px, border.guessed_px)
    return drawn_piece(contours, around, outer.unmeasured(contours[0].points_px), follows=follows)


def _others(steps: Sequence[Step]) -> list[Step]:
    """Steps that change contours one after another: not about borders, and not those that made the item."""
    return [step for step in steps if step.do != "border" and step.do not in ADDING]


def trace_together(
    picture: Picture,
    regions: Sequence[Region],
    located: Located,
    settings: Settings,
    steps: Sequence[Step],
    own: Sequence[Sequence[Step]],
) -> tuple[tuple[Rings | FailedItem, ...], tuple[Step, ...]]:
    """Trace items that a hand joins or splits; return what is left, and steps that did nothing.

    Parameters
    ----------
    picture, located, settings
        As for `trace_item`.
    regions
        Of the items.
    steps, own
        All that belong to them, in the order in which they were made; and those of each.
    """
    edges = edges_of(picture, regions, located)
    seen = [
        _seen(picture, region, traced, located, settings, mine)
        for region, traced, mine in zip(regions, edges, own, strict=True)
    ]
    pairs = [(one, region, mine) for one, region, mine in zip(seen, regions, own, strict=True) if isinstance(one, Seen)]
    good = [one for one, _, _ in pairs]
    pieces, undone = correct_together(
        picture,
        [_piece(*three) for three in pairs],
        _others(steps),
        blur_px=located.estimate.blur_px,
        mm_per_px=_pixel_mm(located),
    )
    left = [piece.corrected((), _pixel_mm(located)) for piece in pieces]
    made = [_sound(_placed(picture, one, good, located, settings, apart=True), good, one) for one in left]
    return tuple(made), (*undone, *(step for one in good for step in one.undone))


def _sound(rings: Rings | FailedItem, seen: Sequence[Seen], by_hand: Corrected) -> Rings | FailedItem:
    """The rings of what hands joined or split, unless too much of them could not be measured."""
    lost = still_lost(seen, by_hand.contours)
    if lost and not by_hand.is_dropped:
        because = next((one.because for one in seen if one.because), "")
        rings = failed_item(by_hand.contours[0].points_px, lost_words(lost), because=because)
    return rings if isinstance(rings, Rings) else as_followed(rings, seen, by_hand.contours)


def _seen(
    picture: Picture,
    region: Region,
    traced: Edges,
    located: Located,
    settings: Settings,
    steps: Sequence[Step],
    beside: Beside | None = None,
) -> Seen | FailedItem | None:
    """What an item's traced edges are, those chosen by hand where there are two."""
    rim = region.rim
    outer, is_photo, is_drawn = traced[0], located.camera is not None, region.drawn is not None
    if region.asked is None:
        if is_photo and (outer is None or not has_edge(outer.contour)):
            return None
        if outer is None and not steps:
            return _unfollowed(picture, region, located, settings)
        if outer is not None and _is_of_blocks(outer.contour):
            return None
    is_followed = outer is not None
    if outer is None:
        if len(region.chains[0]) < LEAST_CHAIN:
            return failed_item(region.chains[0].astype(np.float64), _TOO_SMALL)
        outer = raw_border(picture, region.chains[0], is_hole=False, blur_px=located.estimate.blur_px)
    followed = (outer, *(one for one in traced[1:] if one is not None))
    findings = [*region.findings, *(finding for one in followed for finding in one.findings)]
    findings += [
        hole_left_out(chain.astype(np.float64))
        for one, chain in zip(traced[1:], region.chains[1:], strict=True)
        if one is None
    ]
    if is_drawn:  # what of it is no edge is said as the hand's
        findings = [finding for finding in findings if finding.code != "edge-unclear"]
    contours = tuple(one.contour for one in followed)
    if is_followed and not is_photo:  # in a photo a wall is of another light
        (beside,) = (beside,) if beside is not None else look_beside(picture, [contours], located, settings.dust_mm)
        findings += _of_crumbs(beside.crumbs, _pixel_mm(located))
    findings += beyond_map(settings.scanner, contours[0].points_px)
    seen, undone = Bordered(contours), tuple(step for step in steps if step.do == "border")
    if beside is not None:
        if is_drawn:  # which border is meant the hand has said
            seen = Bordered(contours, *of_shape(picture, contours, located.estimate.blur_px, _pixel_mm(located)))
        else:
            hint, is_measured = None if rim is None else _hint(outer, rim), outer.rim_px is not None
            edge = _border_of_all(steps) or settings.edge
            asked = settings if edge == settings.edge else replace(settings, edge=edge)
            seen = with_other_border(picture, contours, located, asked, beside, hint, is_measured=is_measured)
            seen, undone = _with_borders_chosen(seen, steps, _pixel_mm(located))
    elif is_photo and is_followed and not is_drawn:
        seen = with_other_border_in_photo(picture, contours, located, settings.item_height_mm or 0.0)
    if region.asked is not None and not is_drawn:
        seen = _soft(seen, located.estimate.blur_px, _pixel_mm(located))
    lost = too_much_lost(contours, [one.lost for one in followed])
    because = next((finding.message for finding in region.findings if finding.code in _CUT), "")
    return Seen(seen, tuple(findings), undone, lost, because, followed, is_followed)


def _of_crumbs(found: Sequence[Crumb], pixel_mm: float) -> tuple[Finding, ...]:
    """Say of the worst speck that moves an item's edge, where it moves it by more than is left unsaid."""
    worst = max(found, key=lambda one: one.off_px, default=None)
    if worst is None or worst.off_px * pixel_mm < SURE_MM:
        return ()
    off, long = worst.off_px * pixel_mm, worst.long_px * pixel_mm
    return (finding_of("edge-crumb", value=off, limit=SURE_MM, place_px=worst.place_px, long=long),)


def _soft(seen: Bordered, blur_px: float | None, mm_per_px: float) -> Bordered:
    """An item that a hand asked for, with what it is to be said and to count where its border is no clear edge."""
    contour = seen.contours[0]
    blurred = contour.blur_px if contour.blur_px > max(_SOFT_PX, _SOFT * (blur_px or 0.0)) else 0.0
    known = 0.0 if has_edge(contour) else float(np.quantile(contour.sd_px, MOST))
    sd = max(known, _WITHIN_BLUR * blurred) * mm_per_px
    if not sd:
        return seen
    x, y = contour.points_px[int(contour.sd_px.argmax())].tolist()
    said = finding_of("by-hand-soft", value=2.0 * sd, limit=0.0, place_px=(x, y))
    line = Contribution(BY_HAND, sd, 2.0 * sd, note="taken for an item, has no clear edge", acts="all round")
    return replace(seen, findings=(*seen.findings, said), budget=(*seen.budget, line))


def _placed(
    picture: Picture,
    by_hand: Corrected,
    of: Sequence[Seen],
    located: Located,
    settings: Settings,
    *,
    apart: bool = False,
) -> Rings | FailedItem:
    """Map an item's contours into its own frame, with what was said of all it was seen as.

    Where it was joined or split (`apart`), how near its parts lie is no longer of interest.
    """
    scale, contours = located.estimate.scale, by_hand.contours
    said = [finding for seen in of for finding in seen.findings if not (apart and finding.code == "items-close")]
    findings = (*said, *(finding for seen in of for finding in seen.bordered.findings), *by_hand.findings)
    budget = (*_larger([line for seen in of for line in seen.bordered.budget]), *by_hand.budget)
    if located.camera is not None:
        from .photo import map_rings

        rings, corners, more, camera = map_rings(picture, located.camera, scale, contours, settings)
        findings, budget = (*findings, *more), (*budget, *camera)
    else:
        rings = tuple(scale.to_mm(contour.points_px) for contour in contours)
        corners = tuple(contour.corners for contour in contours)
    placed = place_rings(contours, rings, corners, findings, budget, dust_mm=settings.dust_mm)
    if not isinstance(placed, Rings):
        return placed
    other_px = tuple(line for seen in of for line in seen.bordered.other_px)
    undone = (*(step for seen in of for step in seen.undone), *by_hand.undone)
    return replace(placed, other_px=other_px, undone=() if apart else undone, is_dropped=by_hand.is_dropped)


def _larger(lines: Sequence[Contribution]) -> list[Contribution]:
    """Return lines of a budget, of those of one name the largest."""
    best: dict[str, Contribution] = {}
    for line in lines:
        if line.name not in best or line.profile_mm > best[line.name].profile_mm:
            best[line.name] = line
    return list(best.values())


def _pixel_mm(located: Located) -> float:
    return float(np.mean(located.estimate.facts.mm_per_px))


def _border_of_all(steps: Sequence[Step]) -> Literal["outer", "inner"] | None:
    """Which of two borders a hand chose for the item as a whole, the last time."""
    chosen = [step.border for step in steps if step.do == "border" and len(step.at) == 1]
    return chosen[-1] if chosen else None


def _with_borders_chosen(seen: Bordered, steps: Sequence[Step], mm_per_px: float) -> tuple[Bordered, tuple[Step, ...]]:
    """Take the borders that a hand chose for stretches; also which steps found no two borders."""
    undone = []
    for step in steps:
        if step.do != "border":
            continue
        if len(step.at) == 1:
            if not any(finding.code == "second-border" for finding in seen.findings):
                undone.append(step)
            continue
        start, end = np.array(step.at)
        made = with_border_chosen(seen, start, end, outer=step.border == "outer", mm_per_px=mm_per_px)
        if made is seen:
            undone.append(step)
        seen = made
    return seen, tuple(undone)


def _hint(outer: Traced, rim: Rim) -> RunnerUp:
    """The rim as a second border: its width as measured at each point, or as its pixels tell."""
    if outer.rim_px is not None:
        return RunnerUp.of_rim(outer.rim_px, is_outside=False, share=1.0 - outer.lost)
    widths = np.full(len(outer.contour.points_px), rim.width_px)
    return RunnerUp.of_rim(widths, is_outside=rim.is_outside, share=rim.share)


def _unfollowed(picture: Picture, region: Region, located: Located, settings: Settings) -> FailedItem | None:
    """What becomes of a patch of a scan whose border is no edge on most of its way: None if it is a mere sliver."""
    chain = region.chains[0].astype(np.float64)
    if any(finding.code == "cut-by-border" for finding in region.findings):
        return None  # said by itself
    if len(chain) < 8 or _is_sliver(located.estimate.scale.to_mm(chain), located, settings):
        return None
    border = raw_border(picture, region.chains[0], is_hole=False).contour.points_px
    return replace(failed_item(chain, _NO_EDGE), rings_px=(border,), lost_px=(border,))


def _is_of_blocks(contour: Contour) -> bool:
    """Whether a border is too faint and too sharp to have come through a lens: a compressed picture's blocks."""
    return contour.contrast < _BLOCK_CONTRAST and contour.blur_px < _BLOCK_BLUR_PX


def _is_sliver(ring_mm: FloatArray, located: Located, settings: Settings) -> bool:
    """Whether an outline is on the whole thinner than dust is wide, or than two sides of an edge can be told apart.

    A strip of width w has an area of w times half its perimeter.
    """
    steps = np.roll(ring_mm, -1, axis=0) - ring_mm
    width_mm = 2.0 * abs(signed_area(ring_mm)) / float(np.linalg.norm(steps, axis=1).sum())
    pixel_mm = float(np.mean(located.estimate.facts.mm_per_px))
    return width_mm < max(_SLIVER_DUSTS * settings.dust_mm, _SLIVER_PX * pixel_mm)
