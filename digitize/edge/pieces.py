"""Two outlines made one across a gap, and one made two along a line: rings of the picture, point by point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..measure.ragged import IntArray
from ..measure.rings import signed_area
from ..records import BoolArray, Contour, FloatArray, frozen_array
from .drawn import Line, straight
from .spliced import drawn_by_hand, nearest, turns

_LEAST_POINTS = 24  # of a ring
_WHOLE = 0.999  # of an outline's area, that its two parts have together


def joined(one: Contour, other: Contour, places: FloatArray) -> Contour | None:
    """Return one outline of two, joined by straight lines across a gap.

    Parameters
    ----------
    one, other
        Outlines apart from one another.
    places
        (4, 2) px: on the one and across on the other at one end of the gap, then the same, in any order, at its other
        end. What lies between them, towards the gap, is left.

    Returns
    -------
    Contour or None
        That of the larger with the other's points; None where no outline that does not cross itself comes of it.
    """
    third, fourth = places[2], places[3]
    if _away(one, third) + _away(other, fourth) > _away(one, fourth) + _away(other, third):
        third, fourth = fourth, third
    at = [nearest(one.points_px, place)[0] for place in (places[0], third)]
    across = [nearest(other.points_px, place)[0] for place in (places[1], fourth)]
    ways = [_around(one, other, *at, *across), _around(one, other, *at[::-1], *across[::-1])]
    return next((way for way in ways if way is not None), None)  # along the near sides none would run the right way


def _around(one: Contour, other: Contour, start: int, end: int, across: int, back: int) -> Contour | None:
    """Along the one from its `start` to its `end`, over to the other's `back`, along it to its `across`, and home."""
    first, second = _run(one, start, end), _run(other, back, across)
    over = straight(np.array([one.points_px[end], other.points_px[back]])).points_px[1:-1]
    home = straight(np.array([other.points_px[across], one.points_px[start]])).points_px[1:-1]
    larger = one if len(first) >= len(second) else other
    return _sound(larger, [(one, first), over, (other, second), home])


def parted(contour: Contour, start: FloatArray, end: FloatArray, line: Line) -> tuple[Contour, Contour] | None:
    """Return the two outlines that a line cuts an outline into.

    Parameters
    ----------
    contour
        The outline.
    start, end
        (2,) px: the line's ends, on the outline.
    line
        From the outline's point nearest to the one to that nearest to the other.

    Returns
    -------
    tuple or None
        Both parts, the line in each; None where it leaves the outline, or nearly nothing on one of its sides.
    """
    first, last = nearest(contour.points_px, start)[0], nearest(contour.points_px, end)[0]
    if first == last:
        return None
    inner, sd = line.points_px[1:-1], line.sd_px[1:-1]
    one = _sound(contour, [(contour, _run(contour, first, last)), inner[::-1]], sd[::-1])
    other = _sound(contour, [(contour, _run(contour, last, first)), inner], sd)
    if one is None or other is None:
        return None
    areas = [abs(signed_area(ring.points_px)) for ring in (one, other, contour)]
    return (one, other) if abs(areas[0] + areas[1] - areas[2]) <= (1 - _WHOLE) * areas[2] + len(inner) else None


def _sound(
    of: Contour, parts: Sequence[tuple[Contour, IntArray] | FloatArray], sd: FloatArray | None = None
) -> Contour | None:
    """Return runs of contours and drawn lines as one contour; None where it is none that can be meant."""
    import shapely

    points, spread, hand, corners, count = [], [], [], list[int](), 0
    for part in parts:
        if isinstance(part, tuple):
            whole, run = part
            held = {int(old): count + number for number, old in enumerate(run)}
            corners += [held[corner] for corner in whole.corners if corner in held]
            points.append(whole.points_px[run])
            spread.append(whole.sd_px[run])
            hand.append(drawn_by_hand(whole)[run])
            count += len(run)
        else:
            points.append(part)
            spread.append(np.zeros(len(part)) if sd is None else sd)
            hand.append(np.ones(len(part), bool))
            count += len(part)
    ring, by_hand = np.vstack(points), _frozen(np.concatenate(hand))
    if len(ring) < _LEAST_POINTS or not shapely.is_simple(shapely.linearrings(ring)):
        return None
    if signed_area(ring) * signed_area(of.points_px) <= 0:
        return None
    seams = np.cumsum([len(one) for one in points])
    ends = {int(seam + step) % count for seam in seams for step in (-1, 0)}
    return replace(
        of,
        points_px=frozen_array(ring, columns=2),
        sd_px=frozen_array(np.concatenate(spread)),
        corners=tuple(sorted({*corners, *(end for end in ends if turns(ring, end))})),
        by_hand=by_hand,
    )


def _run(contour: Contour, start: int, end: int) -> IntArray:
    count = len(contour.points_px)
    return np.asarray((start + np.arange((end - start) % count + 1)) % count)


def _away(contour: Contour, place: FloatArray) -> float:
    return nearest(contour.points_px, place)[1]


def _frozen(hand: BoolArray) -> BoolArray:
    hand.setflags(write=False)
    return hand
