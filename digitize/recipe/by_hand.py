"""Corrections by hand carried out on the items they belong to: what they move, what they leave unsure, what is said."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from ..edge.border import Around, as_drawn, off_curved_on
from ..edge.drawn import Line, along_edge, curved, straight, way_at
from ..edge.patch import patch_at
from ..edge.spliced import Stretch, bridged, drawn_by_hand, hand_runs, nearest, pulled
from ..edge.trace import trace_edge
from ..hand.steps import Step
from ..measure.profiles import CLEAR_BLURS, USUAL_BLUR_PX, light_between
from ..records import BoolArray, Contour, Contribution, Finding, FloatArray, Picture
from ..trust.uncertainty import BY_HAND
from ..words.say import finding_of

REACH_PX, _REACH_MM = 6.0, 0.1  # from a step's place to the line it is meant to lie on
# Standard uncertainties of what a hand sets, px; common practice, no source: on an enlarged picture a place is set
# within a pixel, and which of two edges is followed along a drawn line is plain to see.
SET_PX, CHOSEN_PX = 0.5, 0.1
_OTHER_FORM = 0.15  # of how far a straight bridge lies from one curved on: a person sees which of the two it is rather
_PULLED = 0.25  # of how far a place was pulled: beside it the edge may still lie where it was, or farther off
LOST = 0.3  # part of a bridge along the edge without one: more is said
_LOST_OF_DRAWN = 0.05  # of a whole border
_INSIDE_PX, _OUTSIDE_PX = 3.0, 3.0  # beyond the blur: where the light of either side is taken


@dataclass(frozen=True, slots=True)
class Corrected:
    """An item's contours as hands left them."""

    contours: tuple[Contour, ...]
    findings: tuple[Finding, ...] = ()
    budget: tuple[Contribution, ...] = ()
    undone: tuple[Step, ...] = ()  # that found nothing to correct
    is_dropped: bool = False  # the item as a whole


@dataclass(slots=True)
class Tally:
    """What the steps come to, while they are carried out."""

    is_drawn: bool = False  # whether a hand drew the whole border
    limit: float = LOST  # what is lost of a line along an edge before it is said
    sd_px: float = 0.0  # the largest
    moved_px: float = 0.0
    place_px: tuple[float, float] | None = None  # where it moved most
    lost: float = 0.0

    def add(self, sd_px: float, moved_px: float, place: FloatArray, lost: float = 0.0) -> None:
        """Count in what one step comes to."""
        self.sd_px, self.lost = max(self.sd_px, sd_px), max(self.lost, lost)
        if self.place_px is None or moved_px > self.moved_px:
            self.moved_px, self.place_px = moved_px, (float(place[0]), float(place[1]))


@dataclass(slots=True, eq=False)
class Piece:
    """What is one item, while steps are carried out."""

    contours: tuple[Contour, ...]
    tally: Tally = field(default_factory=Tally)
    is_dropped: bool = False

    def corrected(self, undone: Sequence[Step], mm_per_px: float) -> Corrected:
        """Return what came of it, with what is to be said."""
        return Corrected(self.contours, *_told(self.contours, self.tally, mm_per_px), tuple(undone), self.is_dropped)


def correct(
    picture: Picture, piece: Piece, steps: Sequence[Step], *, blur_px: float | None, mm_per_px: float
) -> Corrected:
    """Carry out an item's steps, those about borders left aside, one after another.

    Parameters
    ----------
    picture, piece
        The picture, and the item's contours in it, exterior first.
    steps
        That belong to the item.
    blur_px
        Of the picture, where it is known.
    mm_per_px
        Size of a pixel.
    """
    undone = [step for step in steps if not carry_out(picture, piece, step, blur_px=blur_px, mm_per_px=mm_per_px)]
    return piece.corrected(undone, mm_per_px)


def drawn_piece(contours: tuple[Contour, ...], around: Around, lost: BoolArray, *, follows: bool) -> Piece:
    """Return an item whose border a hand drew.

    Parameters
    ----------
    contours
        As they were traced about what was drawn, the exterior first.
    around
        What was drawn.
    lost
        (N,) at which of the exterior's points no edge was found.
    follows
        Whether it was meant to follow one all round.
    """
    made, off_edge = as_drawn(contours[0], around, lost)
    fitted = float(np.sqrt(np.mean(contours[0].sd_px ** 2)))
    forms = [_OTHER_FORM * off_curved_on(contours[0], places) for places in around.guessed_px]
    sure = max((math.hypot(SET_PX, form) for form in forms), default=math.hypot(CHOSEN_PX, fitted))
    at = around.guessed_px[0][0] if around.guessed_px else made.points_px[0]
    tally = Tally(is_drawn=True, limit=_LOST_OF_DRAWN if follows else 1.0)
    tally.add(sure, 0.0, at, off_edge)
    return Piece((made, *contours[1:]), tally)


def carry_out(picture: Picture, piece: Piece, step: Step, *, blur_px: float | None, mm_per_px: float) -> bool:
    """Carry out one step on an item, not about its border nor about others; False where it finds nothing to do."""
    places = np.array(step.at, dtype=np.float64)
    if step.do == "drop":
        kept = _without_hole(piece.contours, places[0])
        piece.is_dropped |= kept is None
        piece.contours = piece.contours if kept is None else kept
        return True
    made = (
        _with_hole(picture, piece.contours, places[0], blur_px)
        if step.do == "take"
        else _redrawn(picture, piece.contours, step, places, reach_px(mm_per_px), blur_px, piece.tally)
    )
    piece.contours = piece.contours if made is None else made
    return made is not None


def reach_px(mm_per_px: float) -> float:
    """How far a step's place may lie from the line it is meant to lie on."""
    return REACH_PX + _REACH_MM / mm_per_px


def _without_hole(contours: tuple[Contour, ...], place: FloatArray) -> tuple[Contour, ...] | None:
    """The contours without the hole that holds a place; None where none does."""
    import shapely

    for number, hole in enumerate(contours[1:], 1):
        if shapely.distance(shapely.Polygon(hole.points_px), shapely.Point(place)) <= 1.0:
            return (*contours[:number], *contours[number + 1 :])
    return None


def _with_hole(
    picture: Picture, contours: tuple[Contour, ...], place: FloatArray, blur_px: float | None
) -> tuple[Contour, ...] | None:
    patch = patch_at(picture, contours, place)
    if patch is None:
        return None
    traced = trace_edge(picture, patch.mask, patch.origin, patch.chain, is_hole=True, blur_px=blur_px)
    return None if traced is None else (*contours, traced.contour)


def _redrawn(
    picture: Picture,
    contours: tuple[Contour, ...],
    step: Step,
    places: FloatArray,
    reach: float,
    blur_px: float | None,
    tally: Tally,
) -> tuple[Contour, ...] | None:
    """The contours with one of them bridged or pulled; None where the places are on none."""
    away = [nearest(one.points_px, places[0])[1] for one in contours]
    number = int(np.argmin(away))
    contour = contours[number]
    if away[number] > reach:
        return None
    if step.do == "move":
        moved, far = pulled(contour, places[0], places[1])
        tally.add(math.hypot(SET_PX, _PULLED * far), far, places[1])
    else:
        if nearest(contour.points_px, places[-1])[1] > reach:
            return None
        blur = blur_px or contour.blur_px or USUAL_BLUR_PX
        done = bridged(contour, places, partial(line_for, picture, contour, step, blur))
        if done is None:
            return None
        moved, far, line = done
        tally.add(bridge_sd_px(step, contour, places, line), far, places[len(places) // 2], line.lost)
    return (*contours[:number], moved, *contours[number + 1 :])


def line_for(picture: Picture, contour: Contour, step: Step, blur_px: float, at: Stretch, through: FloatArray) -> Line:
    """Return the line that a bridge draws through places in the contour's own direction."""
    if step.along == "edge":
        outward = _outward_light(picture, contour, at, blur_px)
        return along_edge(picture, through, *_ways(contour, at), outward=outward, blur_px=blur_px)
    return _by_form(contour, at, through, is_curved=step.along == "curved")


def _by_form(contour: Contour, at: Stretch, through: FloatArray, *, is_curved: bool) -> Line:
    if not is_curved:
        return straight(through)
    return curved(through, *_ways(contour, at))


def _ways(contour: Contour, at: Stretch) -> tuple[FloatArray, FloatArray]:
    """Which way a contour runs into a stretch and out of it."""
    return way_at(contour.points_px, at.first, back=True), way_at(contour.points_px, at.last, back=False)


def bridge_sd_px(step: Step, contour: Contour, places: FloatArray, line: Line) -> float:
    """How sure a bridge is, px (k = 1).

    Along the edge what was fitted tells, and how much was not found; elsewhere the two ways to draw it, straight and
    curved on, differ by what nobody knows.
    """
    if step.along == "edge":
        fitted = float(np.sqrt(np.mean(line.sd_px**2)))
        gaps = SET_PX * line.lost / LOST if line.lost <= LOST else math.hypot(SET_PX, _form_px(contour, places))
        return math.hypot(CHOSEN_PX, fitted, gaps)
    return math.hypot(SET_PX, _form_px(contour, places))


def _form_px(contour: Contour, places: FloatArray) -> float:
    """What a bridge may be off for being straight or curved on: part of how far the two lie apart."""
    ways = [bridged(contour, places, partial(_by_form, contour, is_curved=bent)) for bent in (False, True)]
    lines = [way[2].points_px for way in ways if way is not None]
    step = max(1, len(lines[1]) // 50)
    return _OTHER_FORM * max(nearest(lines[0], one)[1] for one in lines[1][::step])


def _outward_light(picture: Picture, contour: Contour, at: Stretch, blur_px: float) -> FloatArray:
    """Light beyond the edge less that within, (C,), beside both ends of a stretch that is to be drawn anew."""
    points, count = contour.points_px, len(contour.points_px)
    beside = [(at.first - step) % count for step in range(2, 14)] + [(at.last + step) % count for step in range(2, 14)]
    along = points[[(i + 4) % count for i in beside]] - points[[(i - 4) % count for i in beside]]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    normals, clear = np.column_stack([-along[:, 1], along[:, 0]]), CLEAR_BLURS * blur_px
    out = light_between(picture, points[beside] + (clear + _OUTSIDE_PX) * normals)
    within = light_between(picture, points[beside] - (clear + _INSIDE_PX) * normals)
    return np.asarray(np.median(out, axis=0) - np.median(within, axis=0))


def _told(
    contours: tuple[Contour, ...], tally: Tally, mm_per_px: float
) -> tuple[tuple[Finding, ...], tuple[Contribution, ...]]:
    """What is said of what a hand drew, and its line of the budget."""
    if tally.place_px is None:
        return (), ()
    sd = tally.sd_px * mm_per_px
    long, whole = by_hand_px(contours)
    said = finding_of(
        "by-hand",
        case="drawn" if tally.is_drawn else None,
        value=tally.moved_px * mm_per_px,
        place_px=tally.place_px,
        attention=False,
        long=long * mm_per_px,
        part=100 * long / max(whole, 1e-9),
        sure=2 * sd,
        on_edge=100 * (1 - tally.lost),
    )
    length, note = math.sqrt(2) * sd, "where a hand set the edge"
    budget = (Contribution(BY_HAND, sd, length, note=note, acts="side by side"),)
    if tally.lost <= tally.limit:
        return (said,), budget
    lost = finding_of("by-hand-without-edge", value=tally.lost, limit=tally.limit, place_px=tally.place_px)
    return (said, lost), budget


def by_hand_px(contours: Sequence[Contour]) -> tuple[float, float]:
    """Return how much of contours a hand set, and how long they are, px."""
    drawn = whole = 0.0
    for contour in contours:
        sides = np.hypot(*(np.roll(contour.points_px, -1, axis=0) - contour.points_px).T)
        drawn, whole = drawn + float(sides[drawn_by_hand(contour)].sum()), whole + float(sides.sum())
    return drawn, whole


def hand_lines(
    contours: Sequence[Contour],
    rings: Sequence[FloatArray],
    *,
    is_turned: bool,
    to_ring: Callable[[FloatArray], FloatArray],
) -> tuple[FloatArray, ...]:
    """Return the stretches of rings that a hand set, as open lines (N, 2).

    Parameters
    ----------
    contours
        Of which the rings were made.
    rings
        (N, 2) each. One that has lost loops, or was freed of an item's height, has other points: those nearest to
        the contour's are taken.
    is_turned
        Whether the rings run the other way round.
    to_ring
        Maps places of the picture, (N, 2) px, to where the rings lie, at least nearly.
    """
    found: list[FloatArray] = []
    for contour, ring in zip(contours, rings, strict=True):
        if contour.by_hand is None:
            continue
        if len(ring) == len(contour.points_px):
            hand = contour.by_hand[::-1] if is_turned else contour.by_hand
            found += [ring[run] for run in hand_runs(hand)]
            continue
        for run in hand_runs(contour.by_hand):
            near = dict.fromkeys(nearest(ring, place)[0] for place in to_ring(contour.points_px[run]))
            found.append(ring[list(near)])
    return tuple(found)
