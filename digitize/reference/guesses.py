"""Four guessed corners: whether they can be a square's; and, of many guesses at once, which are worth refining."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..measure.ragged import EndToEnd
from ..records import BoolArray, FloatArray

_LEAST_SIDE_PX = 10.0  # smaller ones are dust and letters
LEAST_SEEN = 0.4  # part of a side that must be seen
_WELL_SEEN, _SIDES_SEEN = 0.8, 2  # part that must be seen of two sides
_START_SLACK = 2.0  # a first guess of corners may be this much farther off than refined ones
_OFF_PART, _OFF_PX = 0.06, 2.0  # of a ratio of sides: a flatbed's axes differ by up to 0.02; over the shortest side
_OFF_DEG, _OFF_DEG_PX = 4.0, 60.0  # of an angle; over the shortest side, for corners told to a px
_OBLIQUE_LOG, _OBLIQUE_DEG = 0.5, 30.0  # what 45 degrees of tilt make of ratio (log) and angles of a square
_MIDDLE = 0.08, 0.92  # of a side: its corners are rounded by blur
_BINS, _BINS_SEEN = 40, 35.0  # a side's length is counted in bins; so many lie in its middle
_BAND_PX, _BAND_PART = 2.5, 0.06  # how far from the guessed side (px, or part of its length) its border is looked for
_ROUNDING = 1e-6  # of a limit: guesses that rounding alone could tell apart are kept


@dataclass(frozen=True, slots=True)
class Asked:
    """What a reference square looks like."""

    aspect: float  # width over height
    oblique: bool  # photographed, at up to 45 degrees
    every: bool = False  # also where it looks another size at another level


def is_square_like(corners: FloatArray, asked: Asked, *, is_guess: bool) -> bool:
    """Whether four corners can be the reference: sides and angles within what a flatbed (or a camera) does."""
    a, b, c, d = lengths = _lengths(corners)
    least = min(lengths)
    if least < _LEAST_SIDE_PX:
        return False
    ratio = (a + c) / (b + d)
    off = min(abs(math.log(ratio / asked.aspect)), abs(math.log(ratio * asked.aspect)))
    if asked.oblique:
        return off < _OBLIQUE_LOG and _off_deg(corners) < _OBLIQUE_DEG
    opposite, slack = max(abs(math.log(a / c)), abs(math.log(b / d))), _START_SLACK if is_guess else 1.0
    limit = (_OFF_PART + _OFF_PX / least) * slack
    return off < limit and opposite < limit and _off_deg(corners) < (_OFF_DEG + _OFF_DEG_PX / least) * slack


def _lengths(corners: FloatArray) -> tuple[float, ...]:
    """As `side_lengths`, in a fifth of the time."""
    places = corners.tolist()
    return tuple(math.dist(places[k], places[(k + 1) % 4]) for k in range(4))


def _off_deg(corners: FloatArray) -> float:
    """By how much an angle is off a right one, at most; as `corner_angles_deg`."""
    places, off = corners.tolist(), 0.0
    for k, (x, y) in enumerate(places):
        (ax, ay), (bx, by) = places[k - 3], places[k - 1]
        ax, ay, bx, by = ax - x, ay - y, bx - x, by - y
        off = max(off, abs(math.degrees(math.atan2(abs(ax * by - ay * bx), ax * bx + ay * by)) - 90.0))
    return off


def in_order_round(corners: FloatArray) -> FloatArray:
    """Four corners each of guesses (G, 4, 2), one after the other round their middle, from any one on."""
    x, y = np.moveaxis(corners - corners.mean(axis=1)[:, None], 2, 0)
    order = np.argsort(np.arctan2(y, x), axis=1, kind="stable")
    return np.take_along_axis(corners, order[..., None], axis=1)


def may_be_square_like(corners: FloatArray, asked: Asked) -> BoolArray:
    """As `is_square_like` of guesses (G, 4, 2) in order round; some more are let pass, by rounding alone; (G,)."""
    on, back = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    lengths = np.hypot(on[..., 0], on[..., 1])
    least = np.maximum(lengths.min(axis=1), 1e-9)
    a, b, c, d = np.maximum(lengths, 1e-9).T
    cross = np.abs(on[..., 0] * back[..., 1] - on[..., 1] * back[..., 0])
    turned = np.abs(np.degrees(np.arctan2(cross, (on * back).sum(axis=2))) - 90.0).max(axis=1)
    # which side counts as the width depends on where the ring begins: either may
    off = np.abs(np.abs(np.log((a + c) / (b + d))) - abs(math.log(asked.aspect)))
    room = 1.0 + _ROUNDING
    if asked.oblique:
        near = (off < _OBLIQUE_LOG * room) & (turned < _OBLIQUE_DEG * room)
    else:
        limit = (_OFF_PART + _OFF_PX / least) * _START_SLACK * room
        near = (off < limit) & (turned < (_OFF_DEG + _OFF_DEG_PX / least) * _START_SLACK * room)
        near &= np.maximum(np.abs(np.log(a / c)), np.abs(np.log(b / d))) < limit
    return np.asarray(near & (least * room >= _LEAST_SIDE_PX))


def may_be_seen(corners: FloatArray, borders: Sequence[FloatArray]) -> BoolArray:
    """Whether the sides of guesses could be seen well enough if every place near them lay on their lines; (G,).

    Parameters
    ----------
    corners
        (G, 4, 2) px, in order round.
    borders
        Of each guess: the places (N, 2) of the border that it was made from.
    """
    found, well = np.zeros(len(corners), bool), np.zeros(len(corners), np.int64)
    left, rings = np.arange(len(corners)), EndToEnd.of(borders)
    px = np.concatenate(borders).T if borders else np.zeros((2, 0))
    for k in range(4):
        if not len(left):
            return found
        start, way = corners[left, k], corners[left, (k + 1) % 4] - corners[left, k]
        length = np.sqrt((way**2).sum(axis=1))
        seen = _seen(px, rings, start, way / length[:, None], length)
        well[left] += seen >= _WELL_SEEN
        on = np.flatnonzero(seen >= LEAST_SEEN)
        if len(on) < len(left):
            left, (rings, rows) = left[on], rings.picked(on)
            px = px[:, rows]
    found[left] = well[left] >= _SIDES_SEEN
    return found


def _seen(px: FloatArray, rings: EndToEnd, start: FloatArray, along: FloatArray, length: FloatArray) -> FloatArray:
    """Part of one side of each guess beside which places (2, N) of its border lie; (G,)."""
    x, y = px[0] - rings.rows(start[:, 0]), px[1] - rings.rows(start[:, 1])
    cosine, sine = rings.rows(along[:, 0]), rings.rows(along[:, 1])
    t, d = (x * cosine + y * sine) / rings.rows(length), y * cosine - x * sine
    near = np.flatnonzero(is_near(t, d, rings.rows(length)))
    bins = np.zeros((len(length), _BINS), bool)
    bins[rings.owner[near], (t[near] * _BINS).astype(np.int64)] = True
    return np.asarray(bins.sum(axis=1) / _BINS_SEEN)


def is_near(t: FloatArray, d: FloatArray, length: FloatArray) -> BoolArray:
    """Which places lie near the middle of a side, by how far on along it (parts of its length) and how far off."""
    return np.asarray((t > _MIDDLE[0]) & (t < _MIDDLE[1]) & (np.abs(d) < np.maximum(_BAND_PX, _BAND_PART * length)))


def part_seen(t: FloatArray) -> float:
    """Part of a side that places (N,) back, so far on along it."""
    return len(set((t * _BINS).astype(np.int64).tolist())) / _BINS_SEEN


def is_seen_enough(parts: Sequence[float]) -> bool:
    """Whether of all sides enough is seen, and of two sides most."""
    return min(parts) >= LEAST_SEEN and sum(part >= _WELL_SEEN for part in parts) >= _SIDES_SEEN
