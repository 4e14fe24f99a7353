"""Items that a hand makes one of two, or two of one, and whatever else is done to them, step by step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import replace
from functools import partial

import numpy as np

from ..edge.drawn import Line, along_edge, straight
from ..edge.pieces import joined, parted
from ..edge.spliced import bridged, nearest
from ..hand.steps import Step
from ..measure.profiles import CLEAR_BLURS, USUAL_BLUR_PX, light_between
from ..records import Contour, FloatArray, Picture
from .by_hand import CHOSEN_PX, LOST, SET_PX, Piece, bridge_sd_px, carry_out, line_for, reach_px

_BESIDE_PX = 10.0  # beyond the blur: where the light on either side of a cut is taken, which a hand set nearly there
_LEAST_STEP = 0.02  # of linear light, full 1, between both sides: below, there is no edge to follow
_END_PX = 20  # of a cut along an edge, within which it comes from where a hand set it
_MOSTLY = 0.5  # part of a cut without an edge, from which it is straight


def correct_together(
    picture: Picture, pieces: Sequence[Piece], steps: Sequence[Step], *, blur_px: float | None, mm_per_px: float
) -> tuple[list[Piece], list[Step]]:
    """Carry out steps, those about borders left aside, on items that they join or split.

    Parameters
    ----------
    picture, blur_px, mm_per_px
        As for `by_hand.correct`.
    pieces
        The items as they were seen.
    steps
        That belong to any of them, in their order.

    Returns
    -------
    list of Piece, list of Step
        The items that are left, and the steps that found nothing to correct.
    """
    found, undone = list(pieces), []
    for step in steps:
        ends = step.at[:2] if step.do == "join" else (step.at[0], step.at[-1])
        of = [_near(found, place, reach_px(mm_per_px)) for place in ends]
        if step.do == "join":
            done = _join(picture, found, step, of, blur_px)
        elif step.do == "split":
            done = of[0] is not None and of[0] is of[1] and _split(picture, found, step, of[0], blur_px)
        else:
            piece = of[0] or _around(found, step.at[0])
            done = piece is not None and carry_out(picture, piece, step, blur_px=blur_px, mm_per_px=mm_per_px)
        if not done:
            undone.append(step)
    return found, undone


def _join(picture: Picture, pieces: list[Piece], step: Step, of: Sequence[Piece | None], blur_px: float | None) -> bool:
    """Put one piece in the place of two."""
    one, other = of
    if one is None or other is None or one is other:
        return False
    places = np.array(step.at, dtype=np.float64)
    outline = joined(one.contours[0], other.contours[0], places)
    if outline is None:
        return False
    one.tally.sd_px = max(one.tally.sd_px, other.tally.sd_px)
    if other.tally.place_px is not None:
        one.tally.add(other.tally.sd_px, other.tally.moved_px, np.array(other.tally.place_px), other.tally.lost)
    ends = [places[:2], places[2:]]
    for pair in ends:
        outline = _across(picture, outline, step, pair, blur_px, one)
    one.contours = (outline, *one.contours[1:], *other.contours[1:])
    pieces.remove(other)
    return True


def _across(
    picture: Picture, outline: Contour, step: Step, pair: FloatArray, blur_px: float | None, piece: Piece
) -> Contour:
    """Draw one of the lines across a gap as the step has it, and count in what it leaves unsure."""
    blur = blur_px or outline.blur_px or USUAL_BLUR_PX
    done = bridged(outline, pair, partial(line_for, picture, outline, step, blur))
    if done is None:  # the two places touch
        piece.tally.add(SET_PX, 0.0, pair[0])
        return outline
    drawn, far, line = done
    piece.tally.add(bridge_sd_px(step, outline, pair, line), far, pair.mean(axis=0), line.lost)
    return drawn


def _split(picture: Picture, pieces: list[Piece], step: Step, piece: Piece, blur_px: float | None) -> bool:
    """Put two pieces in the place of one."""
    outline, places = piece.contours[0], np.array(step.at, dtype=np.float64)
    ends = [outline.points_px[nearest(outline.points_px, place)[0]] for place in (places[0], places[-1])]
    through = np.vstack([ends[0], places[1:-1], ends[1]])
    blur = blur_px or outline.blur_px or USUAL_BLUR_PX
    line = straight(through) if step.along == "straight" else _cut(picture, outline, through, blur)
    two = parted(outline, line.points_px[0], line.points_px[-1], line)
    shares = None if two is None else _shared(piece.contours[1:], two)
    if two is None or shares is None:
        return False
    gaps = SET_PX * min(line.lost / LOST, 1.0)
    sd_px = SET_PX if line.lost >= 1.0 or step.along == "straight" else math.hypot(CHOSEN_PX, gaps, _fitted(line))
    at = pieces.index(piece)
    made = []
    for outer, holes in zip(two, shares, strict=True):
        part = Piece((outer, *holes), copy(piece.tally), piece.is_dropped)
        part.tally.add(sd_px, 0.0, through[len(through) // 2])
        made.append(part)
    pieces[at : at + 1] = made
    return True


def _cut(picture: Picture, outline: Contour, through: FloatArray, blur_px: float) -> Line:
    """Return the edge between two items that touch, or straight lines where there is none; `lost` tells how much.

    Its ends are where it meets the outline, not where a hand set them nearby.
    """
    plain = straight(through)
    outward = _step_across(picture, plain.points_px, blur_px)
    if float(np.abs(outward).max()) < _LEAST_STEP:
        return replace(plain, lost=1.0)
    before, after = through[1] - through[0], through[-1] - through[-2]
    found = along_edge(picture, through, before, after, outward=outward, blur_px=blur_px)
    met = None if found.lost > _MOSTLY else _met(outline, found)
    return replace(plain, lost=1.0) if met is None else met


def _met(outline: Contour, line: Line) -> Line | None:
    """Return a line without its ends, gone on straight to the outline from there; None where it does not come to it."""
    away = min(_END_PX, len(line.points_px) // 4)
    kept, sd = line.points_px[away:-away], line.sd_px[away:-away]
    if away < 2 or len(kept) < 2 * away:
        return line
    ends = [_end(outline, kept[0], kept[0] - kept[away]), _end(outline, kept[-1], kept[-1] - kept[-1 - away])]
    if ends[0] is None or ends[1] is None:
        return None
    first, last = (
        straight(np.array([ends[0], kept[0]])).points_px[:-1],
        straight(np.array([kept[-1], ends[1]])).points_px[1:],
    )
    points = np.vstack([first, kept, last])
    return Line(points, np.concatenate([np.zeros(len(first)), sd, np.zeros(len(last))]), line.lost)


def _end(outline: Contour, place: FloatArray, way: FloatArray) -> FloatArray | None:
    """Return where a line from a place, along a way, first meets the outline; None where it does not soon."""
    import shapely

    ray = shapely.LineString([place, place + way * (3 * _END_PX / max(float(np.hypot(*way)), 1e-9))])
    met = shapely.intersection(ray, shapely.LinearRing(outline.points_px))
    found = shapely.get_coordinates(met)
    if not len(found):
        return None
    first = found[int(np.hypot(*(found - place).T).argmin())]
    return np.asarray(outline.points_px[nearest(outline.points_px, first)[0]])


def _step_across(picture: Picture, line: FloatArray, blur_px: float) -> FloatArray:
    """Light on the one side of a line less that on the other, (C,): outward as along an outline counter-clockwise."""
    along = line[-1] - line[0]
    along = along / max(float(np.hypot(*along)), 1e-9)
    away = (CLEAR_BLURS * blur_px + _BESIDE_PX) * np.array([-along[1], along[0]])
    out, within = light_between(picture, line + away), light_between(picture, line - away)
    return np.asarray(np.median(out, axis=0) - np.median(within, axis=0))


def _fitted(line: Line) -> float:
    return float(np.sqrt(np.mean(line.sd_px**2)))


def _shared(
    holes: Sequence[Contour], two: tuple[Contour, Contour]
) -> tuple[tuple[Contour, ...], tuple[Contour, ...]] | None:
    """Return the holes of either part; None where the cut runs through one."""
    import shapely

    areas = [shapely.Polygon(outer.points_px) for outer in two]
    shares: tuple[list[Contour], list[Contour]] = ([], [])
    for hole in holes:
        inside = [area.contains(shapely.Polygon(hole.points_px)) for area in areas]
        if not any(inside):
            return None
        shares[inside.index(True)].append(hole)
    return tuple(shares[0]), tuple(shares[1])


def _near(pieces: Sequence[Piece], place: tuple[float, float], reach: float) -> Piece | None:
    """Return the piece whose line is the nearest to a place, and near."""
    at = np.array(place, dtype=np.float64)
    away = [min(nearest(contour.points_px, at)[1] for contour in piece.contours) for piece in pieces]
    best = int(np.argmin(away))
    return pieces[best] if away[best] <= reach else None


def _around(pieces: Sequence[Piece], place: tuple[float, float]) -> Piece | None:
    """Return the piece around a place."""
    import shapely

    held = [one for one in pieces if shapely.Polygon(one.contours[0].points_px).covers(shapely.Point(place))]
    return held[0] if held else None
