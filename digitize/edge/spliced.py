"""A contour with a stretch of it replaced or pulled elsewhere: what a hand did to it, point by point."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..measure.ragged import IntArray
from ..records import BoolArray, Contour, FloatArray, frozen_array
from ..steady import product
from .corners import MIN_TURN_DEG
from .drawn import Line

_LOOK_PX = 6  # points along which the direction beside a corner is taken
_LEAST_PULL_PX, _PULL = 12.0, 4.0  # how far along it a line is pulled with a point, at least and over the pull
_LEAST_LEFT = 24  # points of a ring


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a closed line of N points, from one to another in its direction."""

    first: int
    last: int
    is_turned: bool  # the places that mark it come in the opposite order

    def inside(self, count: int) -> IntArray:
        """Return the numbers of its points, ends included."""
        return np.asarray((self.first + np.arange((self.last - self.first) % count + 1)) % count)

    def outside(self, count: int) -> IntArray:
        """Return the numbers of the others and its ends, from its last to its first."""
        return np.asarray((self.last + np.arange((self.first - self.last) % count + 1)) % count)


def nearest(points: FloatArray, place: FloatArray) -> tuple[int, float]:
    """Return the number of the point nearest to a place, and its distance."""
    away = np.hypot(*(points - place).T)
    index = int(away.argmin())
    return index, float(away[index])


def stretch_between(points: FloatArray, start: FloatArray, end: FloatArray) -> Stretch | None:
    """Return the shorter way round between the points nearest to two places; None where that is one point."""
    a, b = nearest(points, start)[0], nearest(points, end)[0]
    if a == b:
        return None
    lengths = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    forward = float(lengths[Stretch(a, b, False).inside(len(points))[:-1]].sum())
    return Stretch(a, b, False) if 2 * forward <= float(lengths.sum()) else Stretch(b, a, True)


def bridged(
    contour: Contour,
    places: FloatArray,
    make: Callable[[Stretch, FloatArray], Line],
    *,
    stretch: Stretch | None = None,
) -> tuple[Contour, float, Line] | None:
    """Replace the shorter way round between the first and the last of some places.

    Parameters
    ----------
    contour
        That runs near the first and the last place.
    places
        (K, 2) px; the line ends on the contour's points nearest to the first and the last.
    make
        Makes the line through places that are in the contour's direction.
    stretch
        What is replaced, where it is another way round than the shorter one.

    Returns
    -------
    tuple or None
        The contour, how far off it the replaced points lay at most (px), and the line; None where nothing is replaced
        or nothing would be left.
    """
    points = contour.points_px
    stretch = stretch or stretch_between(points, places[0], places[-1])
    if stretch is None or stretch.first == stretch.last:
        return None
    kept, gone = stretch.outside(len(points)), stretch.inside(len(points))
    inner = places[1:-1][::-1] if stretch.is_turned else places[1:-1]
    ordered = np.vstack([points[stretch.first], inner, points[stretch.last]])
    line = make(stretch, ordered)
    drawn = line.points_px[1:-1]
    if len(kept) + len(drawn) < _LEAST_LEFT or len(kept) < 3:
        return None
    ring = np.vstack([points[kept], drawn])
    sd = np.concatenate([contour.sd_px[kept], line.sd_px[1:-1]])
    hand = np.concatenate([drawn_by_hand(contour)[kept], np.ones(len(drawn), bool)])
    places_at = [0, len(kept) - 1, *(len(kept) - 1 + nearest(line.points_px, one)[0] for one in inner)]
    made = replace(
        contour,
        points_px=frozen_array(ring, columns=2),
        sd_px=frozen_array(sd),
        corners=_corners(contour, kept, ring, places_at),
        by_hand=frozen_flags(hand),
    )
    return made, _farthest(points[gone], line.points_px), line


def pulled(contour: Contour, start: FloatArray, end: FloatArray) -> tuple[Contour, float]:
    """Pull a contour's point nearest to a place onto another, its neighbours with it, less with distance.

    Returns
    -------
    tuple
        The contour, and how far the point was pulled, px.
    """
    points = contour.points_px
    index, _ = nearest(points, start)
    by = end - points[index]
    far = float(np.hypot(*by))
    lengths = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    along = np.concatenate([[0.0], np.cumsum(np.roll(lengths, -index))[:-1]])
    along = np.roll(np.minimum(along, lengths.sum() - along), index)
    reach = min(max(_LEAST_PULL_PX, _PULL * far), float(lengths.sum()) / 4)
    weight = np.where(along < reach, 0.5 + 0.5 * np.cos(np.pi * np.minimum(along / reach, 1.0)), 0.0)
    moved = replace(
        contour,
        points_px=frozen_array(points + weight[:, None] * by, columns=2),
        by_hand=frozen_flags(drawn_by_hand(contour) | (weight > 0)),
    )
    return moved, far


def drawn_by_hand(contour: Contour) -> BoolArray:
    """Return which of a contour's points a hand set, (N,)."""
    return np.zeros(len(contour.points_px), bool) if contour.by_hand is None else contour.by_hand


def set_by_hand(contour: Contour, points_px: FloatArray, at: IntArray) -> Contour:
    """Return a contour with points (N, 2) that a hand chose at some of its places."""
    hand = drawn_by_hand(contour).copy()
    hand[at] = True
    return replace(contour, points_px=points_px, by_hand=frozen_flags(hand))


def hand_runs(hand: BoolArray) -> list[IntArray]:
    """Return the numbers of a closed line's points, run by run of those that a hand set."""
    if hand.all():
        return [np.arange(len(hand))]
    start = int(np.flatnonzero(~hand)[0])  # a run over the seam is one
    turned = np.roll(hand, -start)
    ends = np.flatnonzero(np.diff(np.concatenate([[False], turned, [False]]).astype(np.int8)))
    return [(start + np.arange(a, b)) % len(hand) for a, b in zip(ends[::2], ends[1::2], strict=True)]


def _corners(contour: Contour, kept: IntArray, ring: FloatArray, places_at: list[int]) -> tuple[int, ...]:
    """Corners of the kept points under their new numbers, and those where a drawn line turns sharply."""
    new = {int(old): number for number, old in enumerate(kept[1:-1], 1)}
    held = [new[corner] for corner in contour.corners if corner in new]
    return tuple(sorted({*held, *(at for at in places_at if turns(ring, at))}))


def turns(ring: FloatArray, at: int) -> bool:
    """Tell whether a closed line turns sharply at one of its points."""
    before, after = ring[at] - ring[at - _LOOK_PX], ring[(at + _LOOK_PX) % len(ring)] - ring[at]
    angle = np.arctan2(before[0] * after[1] - before[1] * after[0], product(before, after))
    return bool(abs(angle) > np.radians(MIN_TURN_DEG))


def _farthest(points: FloatArray, line: FloatArray) -> float:
    """How far points lie off a line at most."""
    import shapely

    return float(shapely.distance(shapely.linestrings(line), shapely.points(points)).max())


def frozen_flags(hand: BoolArray) -> BoolArray:
    """Return flags that nobody changes any more."""
    hand.setflags(write=False)
    return hand
