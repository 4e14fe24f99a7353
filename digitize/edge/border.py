"""An item's whole border as a hand drew it: along the picture's edge from place to place, straight where is none."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..measure.profiles import CLEAR_BLURS, light_between
from ..measure.rings import signed_area
from ..records import BoolArray, Contour, FloatArray, Picture, frozen_array
from .drawn import Line, curved, edge_beside, normals_of, straight, way_at
from .spliced import Stretch, bridged, frozen_flags, hand_runs, nearest, turns

_BESIDE_PX = 8.0  # beyond the blur: where the light of either side is taken, of what a hand set nearly on the edge
_LEAST_STEP = 0.02  # of linear light, full 1, between both sides: below, there is no edge to follow
_MOSTLY = 0.5  # part of the way between two places without an edge, from which it is straight
_SHORT_PX = 12.0  # between two places: what is shorter is followed with what lies beside it
_NEAR_PX = 6.0  # from what was drawn to the edge that was meant
_GAP = 12  # points without an edge that are drawn as it was done by hand
_BEYOND = 6  # points beside what has no edge, that are drawn off by it
_LEAST_PX2 = 60.0  # smaller than dust that counts
_TRIED = 50  # places of a line at which it is compared; thinned for the work
_CORNER = math.radians(50.0)  # by which the way from place to place turns at a corner; a round border's turns less


@dataclass(frozen=True, slots=True)
class Around:
    """A closed line, counter-clockwise seen y up."""

    ring_px: FloatArray  # (N, 2) about 1 px apart, within a few px of the edge
    places_px: FloatArray  # (K, 2), that were set
    guessed_px: tuple[FloatArray, ...]  # each (K, 2), the places between which no edge is, in the line's direction


def border_through(picture: Picture, places: FloatArray, *, follows: bool, blur_px: float) -> Around | None:
    """Return a border through places, or near them on the picture's edge.

    Parameters
    ----------
    picture
        The picture.
    places
        (K, 2) px, K >= 3, all round.
    follows
        Whether it runs along the picture's edge where there is one; else straight all round.
    blur_px
        Of the picture.

    Returns
    -------
    Around or None
        None where the places' polygon crosses itself, or encloses next to nothing.
    """
    import shapely

    places = np.clip(places, 0.0, (picture.width_px - 1.0, picture.height_px - 1.0))
    area = signed_area(places)
    if abs(area) < _LEAST_PX2 or not shapely.is_simple(shapely.linearrings(places)):
        return None
    places = places[::-1] if area > 0 else places  # y down: the sign is reversed
    ways = np.roll(places, -1, axis=0) - np.roll(places, 1, axis=0)
    ends = zip(places, np.roll(places, -1, axis=0), ways, np.roll(ways, -1, axis=0), strict=True)
    legs = [_leg(picture, *four, blur_px) if follows else None for four in ends]
    lines = [straight(_pair(places, n)) if leg is None else leg for n, leg in enumerate(legs)]
    ring = frozen_array(np.concatenate([line.points_px[:-1] for line in lines]), columns=2)
    return Around(ring, frozen_array(places, columns=2), _runs(places, np.array([leg is None for leg in legs])))


def _pair(places: FloatArray, number: int) -> FloatArray:
    return places[[number, (number + 1) % len(places)]]


def _leg(
    picture: Picture, start: FloatArray, end: FloatArray, before: FloatArray, after: FloatArray, blur_px: float
) -> Line | None:
    """The edge between two places, about the straight or the smooth way, whichever shows more of one; None of none."""
    pair = np.array([start, end])
    if float(np.hypot(*(end - start))) < _SHORT_PX:
        return straight(pair)
    guides = [straight(pair).points_px, curved(pair, before, after).points_px]
    found = [_beside(picture, guide, blur_px) for guide in guides]
    best = min((line for line in found if line is not None), key=lambda line: line.lost, default=None)
    return None if best is None or best.lost > _MOSTLY else best


def _beside(picture: Picture, guide: FloatArray, blur_px: float) -> Line | None:
    away = (CLEAR_BLURS * blur_px + _BESIDE_PX) * normals_of(guide)
    outward = np.median(light_between(picture, guide + away), axis=0)
    outward -= np.median(light_between(picture, guide - away), axis=0)
    if float(np.abs(outward).max()) < _LEAST_STEP:
        return None
    return edge_beside(picture, guide, outward=outward, blur_px=blur_px)


def _runs(places: FloatArray, lost: BoolArray) -> tuple[FloatArray, ...]:
    """Places along legs that follow one another and have no edge; of all of them, the first once more at the end."""
    count = len(places)
    if lost.all():
        return (frozen_array(places[np.arange(count + 1) % count], columns=2),)
    found = []
    for first in np.flatnonzero(lost & ~np.roll(lost, 1)).tolist():
        legs = next(n for n in range(1, count + 1) if not lost[(first + n) % count])
        found.append(frozen_array(places[(first + np.arange(legs + 1)) % count], columns=2))
    return tuple(found)


def as_drawn(contour: Contour, around: Around, lost: BoolArray) -> tuple[Contour, float]:
    """Return what was traced about a drawn border, all of it set by a hand, and the part of it that lies on no edge.

    Where no edge was found, or one far beside what was drawn, it is as it was drawn.

    Parameters
    ----------
    contour
        As it was traced.
    around
        What was drawn.
    lost
        (N,) at which of its points no edge was found.
    """
    import shapely

    away = shapely.distance(shapely.LinearRing(around.ring_px), shapely.points(contour.points_px))
    off: BoolArray = np.asarray(away > _NEAR_PX)
    for run in hand_runs(lost):
        off[run] |= len(run) > _GAP  # a shorter gap is bridged as in any outline
    if any(np.array_equal(places[0], places[-1]) for places in around.guessed_px):
        off[:] = True
    lone = off.copy()
    for by in range(1, _BEYOND + 1):
        off |= np.roll(lone, by) | np.roll(lone, -by)
    part = float(off.mean())
    if off.all():
        contour = _polygon(contour, around)
    else:
        runs = [contour.points_px[[run[0] - 1, (run[-1] + 1) % len(off)]] for run in hand_runs(off)]
        for ends in runs:
            contour = _along_drawn(contour, around, ends)
    return replace(contour, by_hand=frozen_flags(np.ones(len(contour.points_px), bool))), part


def _along_drawn(contour: Contour, around: Around, ends: FloatArray) -> Contour:
    """A contour that goes from one place to another as it was drawn."""
    ring = around.ring_px
    first, last = (nearest(contour.points_px, end)[0] for end in ends)
    start, stop = (nearest(ring, end)[0] for end in ends)
    way = ring[(start + np.arange((stop - start) % len(ring) + 1)) % len(ring)]
    through = [place for place in around.places_px if nearest(way, place)[1] < 1.0]

    def make(_: Stretch, places: FloatArray) -> Line:
        points = np.vstack([places[:1], way, places[-1:]])
        return Line(points, np.zeros(len(points)))

    places = np.vstack([ends[:1], *(place[None] for place in through), ends[1:]])
    done = bridged(contour, places, make, stretch=Stretch(first, last, False))
    return contour if done is None else done[0]


def off_curved_on(contour: Contour, places: FloatArray) -> float:
    """Return how far straight lines through places (K, 2) lie off one curved on from both sides, at most, px.

    Where the places turn as sharply as at a corner it is taken for one.
    """
    before, after = _way_in(contour, places), _way_out(contour, places)
    corners = [n for n in range(1, len(places) - 1) if _turn(*places[n - 1 : n + 2]) > _CORNER]
    off = 0.0
    for a, b in pairwise([0, *corners, len(places) - 1]):
        part = places[a : b + 1]
        into = before if a == 0 else part[1] - part[0]
        out = after if b == len(places) - 1 else part[-1] - part[-2]
        line, bent = straight(part).points_px, curved(part, into, out).points_px
        off = max(off, *(nearest(line, one)[1] for one in bent[:: max(1, len(bent) // _TRIED)]))
    return off


def _way_in(contour: Contour, places: FloatArray) -> FloatArray:
    """Which way a line runs into a stretch through places: of a closed one, as it comes round."""
    if not np.array_equal(places[0], places[-1]):
        return way_at(contour.points_px, nearest(contour.points_px, places[0])[0], back=True)
    is_corner = _turn(places[-2], places[0], places[1]) > _CORNER
    return np.asarray(places[1] - places[0] if is_corner else places[1] - places[-2])


def _way_out(contour: Contour, places: FloatArray) -> FloatArray:
    if not np.array_equal(places[0], places[-1]):
        return way_at(contour.points_px, nearest(contour.points_px, places[-1])[0], back=False)
    is_corner = _turn(places[-2], places[0], places[1]) > _CORNER
    return np.asarray(places[-1] - places[-2] if is_corner else places[1] - places[-2])


def _turn(before: FloatArray, place: FloatArray, after: FloatArray) -> float:
    """By what angle, radians, lines turn at a place."""
    one, other = place - before, after - place
    across, along = one[0] * other[1] - one[1] * other[0], one[0] * other[0] + one[1] * other[1]
    return abs(math.atan2(across, along))


def _polygon(contour: Contour, around: Around) -> Contour:
    points = around.ring_px
    at = [nearest(points, place)[0] for place in around.places_px]
    return replace(
        contour,
        points_px=points,
        sd_px=frozen_array(np.zeros(len(points))),
        corners=tuple(sorted({one for one in at if turns(points, one)})),
    )
