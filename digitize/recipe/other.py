"""What else an item's border may be in a scan: a second one, or one above the glass; said, and in the budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..edge.curve import CurveDoubt
from ..edge.runner import RunnerUp, moved_by
from ..edge.shape import Unclean, unclean_steps
from ..edge.spliced import set_by_hand, stretch_between
from ..edge.stretches import Stretch
from ..edge.trace import Traced, trace_rim
from ..edge.washed import Washed, washed_outs
from ..records import Contour, Contribution, Finding, FloatArray, Picture, frozen_array
from ..reference.locate import Located
from ..settings import Settings
from ..trust.lift import SoftEdge, lift_contributions, lift_finding, slight_softness, softness_mm
from ..trust.uncertainty import tone_curve
from ..words.say import finding_of
from .beside import Beside
from .rings import MOST_LOST

LOOK_MM = 0.05  # from the taken border to the other: nearer, nobody need look
# Standard uncertainty of a chosen border over the distance of both: all round, and where stretches show one only. From
# renders of rims 0.1 to 1 mm wide.
_NEARLY_ALL, _ALL_ROUND, _HERE_AND_THERE = 0.95, 0.03, 0.2
# The same of an outer one all round, nearer to the inner one than so many blurs: of rims of 0.1 mm at 300 dpi that are
# nearly as light as the ground it lay off by up to half of that, the inner one by less than a tenth.
_MELTED_BLURS, _MELTED = 2.0, 0.15
_LIKELIER = 0.8  # weight of linear light, from which it is said
_RATHER, _SKEWED_BLURS = 0.5, 2.0  # from such a weight on two borders, so many blurs apart, are one that is skewed
_HOLE_STARTS = (1.0, 0.5, 0.0)  # of the rim's width from a hole's border as found, into the hole: its edge is near one
_LIKE = 0.6  # least of two widths or strengths over the other, of rims of one kind
_OVER_PX, _OVER = 4.0, 2.0  # along which a line goes over to the other border: at least, and over their distance
_WHICH = "two borders are plausible; --edge outer or inner says which is meant"
_SAME_PX = 0.4  # a border so near to the taken one is the taken one


@dataclass(frozen=True, slots=True)
class Bordered:
    """An item's contours, with what else its border may be."""

    contours: tuple[Contour, ...]
    findings: tuple[Finding, ...] = ()
    budget: tuple[Contribution, ...] = ()
    other_px: tuple[FloatArray, ...] = ()
    two: RunnerUp | None = None  # where which of the two is meant is still open


def with_other_border(
    picture: Picture,
    contours: tuple[Contour, ...],
    located: Located,
    settings: Settings,
    beside: Beside,
    rim: RunnerUp | None = None,
    *,
    is_measured: bool = False,
) -> Bordered:
    """Look for a second border of an item in a scan, and at how soft the one taken is; take the other if asked to.

    Of two borders that run all round the outer one is the item's until another is asked for. `rim` is what the
    silhouette showed of a second one: it holds where the edge shows none, or where it `is_measured` along the edge.
    """
    estimate = located.estimate
    pixel = float(np.mean(estimate.facts.mm_per_px))
    doubt, two = beside.doubt, beside.two
    if two is not None and doubt is not None and _is_skewed(two, doubt, estimate.blur_px or contours[0].blur_px):
        two = None
    if rim is not None and (two is None or is_measured):
        two = rim
    if two is not None and two.share > _NEARLY_ALL:
        contours, two = _from_outer(picture, contours, two, estimate.blur_px)
    holes: list[Traced | None] = [None] * (len(contours) - 1)
    if two is not None and two.share > _NEARLY_ALL:
        holes = _rims_of_holes(picture, contours, two, estimate.blur_px)
    contours = (contours[0], *(c if rim is None else rim.contour for c, rim in zip(contours[1:], holes, strict=True)))
    if two is not None and settings.edge is not None:
        outer = settings.edge == "outer"
        # what looked like a shade beside the border is the band between both
        moved = replace(contours[0], points_px=frozen_array(two.moved(contours[0], outer=outer), columns=2), shade=0.0)
        inner = tuple(
            contour if outer or rim is None else _within(contour, rim)
            for contour, rim in zip(contours[1:], holes, strict=True)
        )
        blur = estimate.blur_px or contours[0].blur_px
        left = left_over(two, pixel, outer_blur_px=blur if outer else 0.0)
        return Bordered((moved, *inner), (_chosen(two, settings.edge, pixel),), left)
    soft = softness_mm(contours, estimate.blur_px, pixel)
    seen_before = beside if beside.is_of(contours) else None
    washed = said_of_washed(
        washed_outs(picture, contours, mm_per_px=pixel) if seen_before is None else seen_before.washed
    )
    if two is not None and two.farthest_px() * pixel >= soft:
        said = (_said(two, contours[0], pixel), *washed)
        return Bordered(contours, said, covering(two, pixel), lines_of(two, contours[0]), two)
    of_curve = _of_curve(doubt, contours[0], located)
    if seen_before is not None:
        unclean = said_of_shape(seen_before.unclean, pixel)
    else:
        unclean = of_shape(picture, contours, estimate.blur_px, pixel, beside.light if beside.begins(contours) else ())
    edge = SoftEdge(soft, contours[0].contrast / math.sqrt(picture.pixels.shape[2]), (estimate.blur_px or 0.0) * pixel)
    # of two reasons for one doubt the larger is told
    seen = max(
        (lift_finding(edge, contours), unclean[0]), key=lambda said: max((f.value or 0.0 for f in said), default=0.0)
    )
    return Bordered(
        contours,
        (*seen, *of_curve[0], *washed),
        (*lift_contributions(edge), *slight_softness(contours, estimate.blur_px, pixel), *unclean[1], *of_curve[1]),
    )


def with_border_chosen(
    seen: Bordered, start: FloatArray, end: FloatArray, *, outer: bool, mm_per_px: float
) -> Bordered:
    """Take the outer or the inner of two borders along the shorter way round between two places, as a hand chose.

    Beside both ends the line goes over from one border to the other. What was chosen is in doubt no longer.

    Returns
    -------
    Bordered
        The same object where there are no two borders along that way.
    """
    two, contour = seen.two, seen.contours[0]
    stretch = stretch_between(contour.points_px, start, end)
    if two is None or stretch is None:
        return seen
    at = stretch.inside(len(contour.points_px))
    chosen = np.zeros(len(contour.points_px), bool)
    chosen[at] = True
    if not (two.doubtful & chosen).any():
        return seen
    by = np.zeros(len(contour.points_px))
    by[at] = (two.outer_px if outer else two.inner_px)[at]
    far = float(np.abs(by).max())
    along = np.minimum(np.arange(len(at)), np.arange(len(at))[::-1]) / max(_OVER_PX, _OVER * far)
    by[at] *= 0.5 - 0.5 * np.cos(np.pi * np.minimum(along, 1.0))
    points = frozen_array(moved_by(contour.points_px, by), columns=2)
    moved = set_by_hand(replace(contour, shade=0.0) if far else contour, points, at)
    # as a whole outer or inner border here and there; what is not chosen stays in doubt
    budget = left_over(two, mm_per_px, outer_blur_px=contour.blur_px if outer else 0.0)
    left = replace(two, doubtful=two.doubtful & ~chosen)
    if not left.doubtful.any():
        return Bordered((moved, *seen.contours[1:]), (), budget)
    said = (_said(left, contour, mm_per_px),)
    covered = (*(one for one in seen.budget if one.name == "chosen border"), *covering(left, mm_per_px), *budget)
    return Bordered((moved, *seen.contours[1:]), said, covered, lines_of(left, contour), left)


def _is_outer(rim: RunnerUp) -> bool:
    """Whether the border taken is a rim's outer one."""
    return not rim.outer_px.any()


def _from_outer(
    picture: Picture, contours: tuple[Contour, ...], two: RunnerUp, blur_px: float | None
) -> tuple[tuple[Contour, ...], RunnerUp]:
    """Take the outer of two borders all round: traced anew between the band's own light and the ground's, or moved."""
    if _is_outer(two):
        return contours, two
    line = moved_by(contours[0].points_px, np.where(two.doubtful, two.outer_px, np.median(two.outer_px[two.doubtful])))
    traced = trace_rim(picture, line, rim_px=two.apart_px(), blur_px=blur_px)
    if traced is not None and traced.rim_px is not None and traced.lost < MOST_LOST:
        return (traced.contour, *contours[1:]), RunnerUp.of_rim(traced.rim_px, is_outside=False, share=two.share)
    moved = replace(contours[0], points_px=frozen_array(line, columns=2))
    return (moved, *contours[1:]), two.from_outer()


def _rims_of_holes(
    picture: Picture, contours: tuple[Contour, ...], two: RunnerUp, blur_px: float | None
) -> list[Traced | None]:
    """Each hole's own edge to the ground where a rim like the exterior's runs round it, else None."""
    width = two.apart_px()
    found: list[Traced | None] = []
    for hole in contours[1:]:
        lines = [moved_by(hole.points_px, np.full(len(hole.points_px), part * width)) for part in _HOLE_STARTS]
        tried = [trace_rim(picture, line, rim_px=width, blur_px=blur_px, is_hole=True) for line in lines]
        alike = [one for one in tried if one is not None and _is_like(one, contours[0], width)]
        found.append(min(alike, key=lambda one: one.lost, default=None))
    return found


def _is_like(rim: Traced, exterior: Contour, width_px: float) -> bool:
    """Whether a hole's rim is as wide and as strong as the exterior's, nearly all round."""
    assert rim.rim_px is not None
    own = float(np.median(rim.rim_px))
    strong = rim.contour.contrast > _LIKE * exterior.contrast
    return rim.lost < MOST_LOST and _LIKE < own / width_px < 1.0 / _LIKE and strong


def _within(contour: Contour, rim: Traced) -> Contour:
    """A hole's contour at its rim's other edge."""
    assert rim.rim_px is not None
    return replace(contour, points_px=frozen_array(moved_by(contour.points_px, -rim.rim_px), columns=2))


def _is_skewed(two: RunnerUp, doubt: CurveDoubt, blur_px: float) -> bool:
    """Whether two near borders are rather one that a wrong curve to light has skewed."""
    return doubt.weight > _RATHER and two.apart_px() < _SKEWED_BLURS * blur_px


def _of_curve(
    doubt: CurveDoubt | None, edge: Contour, located: Located
) -> tuple[tuple[Finding, ...], tuple[Contribution, ...]]:
    """What the curve to light may do to an edge, where the file states none."""
    if doubt is None:
        return (), ()
    pixel = float(np.mean(located.estimate.facts.mm_per_px))
    off = doubt.shift_px * pixel
    width, height = np.ptp(located.estimate.scale.to_mm(edge.points_px), axis=0).tolist()
    budget = tone_curve(edge, pixel, (width, height), located.estimate.edge, more_mm=doubt.sd_px * pixel)
    if doubt.weight < _LIKELIER:
        return (), (budget,)
    return (finding_of("curve-unlikely", value=off, limit=LOOK_MM, attention=off > LOOK_MM),), (budget,)


def of_shape(
    picture: Picture,
    contours: tuple[Contour, ...],
    blur_px: float | None,
    mm_per_px: float,
    light: Sequence[Stretch | None] = (),
) -> tuple[tuple[Finding, ...], tuple[Contribution, ...]]:
    """What it may do to an edge that it is no clean step but a bevel or a shadow close by: said, and its line.

    `light` is what was seen along the exterior's stretches.
    """
    return said_of_shape(
        unclean_steps(picture, contours, blur_px=blur_px, mm_per_px=mm_per_px, lights=(light,)), mm_per_px
    )


def said_of_shape(
    seen: Sequence[Unclean | None], mm_per_px: float
) -> tuple[tuple[Finding, ...], tuple[Contribution, ...]]:
    """As `of_shape`, of what was seen of an item's contours."""
    worst = max((one for one in seen if one is not None), key=lambda one: one.off_px, default=None)
    if worst is None:
        return (), ()
    off = worst.off_px * mm_per_px
    note = "no clean step from item to ground: a bevel, a see-through edge, a shadow close by"
    budget = Contribution("shape of the edge", profile_mm=0.5 * off, length_mm=off, note=note, acts="all round")
    if off <= LOOK_MM:
        return (), (budget,)
    return (finding_of("edge-shape", value=off, limit=LOOK_MM, place_px=worst.place_px),), (budget,)


def said_of_washed(seen: Sequence[Washed | None]) -> tuple[Finding, ...]:
    """What is to be said of stretches where the edge is so faint that the line there is a guess."""
    faint = [one for one in seen if one is not None]
    if not faint:
        return ()
    worst = max(faint, key=lambda one: one.long_mm)
    return (finding_of("edge-washed-out", value=worst.long_mm, limit=0.0, place_px=worst.place_px),)


def covering(two: RunnerUp, mm_per_px: float, note: str = _WHICH) -> tuple[Contribution, ...]:
    """A contribution that reaches, at k = 2, from the border taken to the other."""
    half = 0.5 * two.farthest_px() * mm_per_px
    return (Contribution("second border", profile_mm=half, length_mm=2.0 * half, note=note, acts="all round"),)


def left_over(two: RunnerUp, mm_per_px: float, *, outer_blur_px: float = 0.0) -> tuple[Contribution, ...]:
    """What the border that was asked for may still be off: more where stretches show one border only.

    So it is, too, where the outer one was asked for, in a picture of this blur, and both have melted into one.
    """
    part = _ALL_ROUND if two.share > _NEARLY_ALL else _HERE_AND_THERE
    if two.apart_px() < _MELTED_BLURS * outer_blur_px:
        part = max(part, _MELTED)
    left = part * two.apart_px() * mm_per_px
    note = f"two borders along {100 * two.share:.0f} % of the edge"
    return (Contribution("chosen border", profile_mm=left, length_mm=2.0 * left, note=note, acts="all round"),)


def _taken(two: RunnerUp) -> str:
    inner, outer = (float(np.median(by[two.doubtful])) for by in (two.inner_px, two.outer_px))
    if abs(inner) < _SAME_PX and abs(inner) <= abs(outer):
        return "the inner one was taken"
    return "the outer one was taken" if abs(outer) < _SAME_PX else "a line between them was taken"


def _said(two: RunnerUp, contour: Contour, mm_per_px: float) -> Finding:
    x, y = contour.points_px[int(np.argmax(two.doubtful))].tolist()
    far = two.farthest_px() * mm_per_px
    return finding_of(
        "second-border",
        value=far,
        limit=LOOK_MM,
        place_px=(x, y),
        attention=far > LOOK_MM,
        apart=two.apart_px() * mm_per_px,
        part=100 * two.share,
        taken=_taken(two),
    )


def _chosen(two: RunnerUp, edge: str, mm_per_px: float) -> Finding:
    apart = two.apart_px() * mm_per_px
    return finding_of(
        "second-border", case="chosen", value=apart, attention=False, apart=apart, part=100 * two.share, edge=edge
    )


def lines_of(two: RunnerUp, contour: Contour) -> tuple[FloatArray, ...]:
    """The border that was not taken, stretch by stretch; of a line taken between both, both."""
    found: list[FloatArray] = []
    for by, outer in ((two.inner_px, False), (two.outer_px, True)):
        if abs(float(np.median(by[two.doubtful]))) < _SAME_PX:
            continue
        points = two.moved(contour, outer=outer)
        ends = np.flatnonzero(np.diff(np.concatenate([[False], two.doubtful, [False]]).astype(np.int8)))
        found += [frozen_array(points[a:b], columns=2) for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a > 1]
    return tuple(found)
