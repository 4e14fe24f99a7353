"""Mean light along the normals of an outline, stretch by stretch: faint things show out of the noise there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ..measure.profiles import light_between
from ..measure.ragged import TO_SD, EndToEnd, medians_along
from ..records import BoolArray, Contour, FloatArray, Picture

IntArray = npt.NDArray[np.int64]

REACH_MM = 3.0  # as far as a second border is looked for, by the users' wishes
STRETCHES = 24  # of a border, each looked at by itself
SAMPLING_PX = 0.39  # what sampling between pixels, and places known to a tenth of one, add to the blur; from renders
_SPACING_MM = 0.5  # between the profiles of a stretch
_MOST_A_STRETCH, _LEAST_A_STRETCH = 16, 5  # profiles
_STEP_PX = 0.5  # near the border
NEAR_PX = 10.0  # either side of the border, where steps may have melted into one
_ROUNDED = 0.01  # of full light, beyond the middle half and as much again: what is farther off is a speck
_LEAST_NOISE = 2e-4  # of full light: of 16-bit codes
_FAR_STEP_MM = 0.06  # along a profile beyond, but a pixel at least


@dataclass(frozen=True, slots=True)
class Stretch:
    """Mean light along the normals of one stretch."""

    at_px: FloatArray  # (K,) positive outward
    light: FloatArray  # (K, C)
    noise: float  # standard deviation of one value, all channels
    inside: FloatArray  # (C,) some way in
    outside: FloatArray  # (C,) some way out


def stretches_along(
    picture: Picture, contours: Sequence[Contour], mm_per_px: float
) -> list[tuple[Stretch | None, ...]]:
    """Return the mean light along the normals of each stretch; None of too few profiles, or of some that end too soon.

    Parameters
    ----------
    picture
        That the contours were traced in.
    contours
        Exteriors.
    mm_per_px
        Size of a pixel.
    """
    reach = REACH_MM / mm_per_px
    near = np.arange(-NEAR_PX, NEAR_PX + _STEP_PX / 2, _STEP_PX)
    far = np.arange(NEAR_PX + 1.0, max(reach, NEAR_PX + 3.0), max(1.0, round(_FAR_STEP_MM / mm_per_px)))
    at = np.concatenate([-far[::-1], near, far])
    stretches = [stretches_of(contour, mm_per_px) for contour in contours]
    enough = [[one for one in own if len(one) >= _LEAST_A_STRETCH] for own in stretches]
    seen = [means_along(picture, [contour], [own], at) for contour, own in zip(contours, enough, strict=True) if own]
    means, known = (np.concatenate(one) for one in zip(*seen, strict=True)) if seen else (None, None)
    made = iter([] if means is None or known is None else _made(at, means, known))
    return [tuple(next(made) if len(one) >= _LEAST_A_STRETCH else None for one in own) for own in stretches]


def means_along(
    picture: Picture, contours: Sequence[Contour], stretches: Sequence[Sequence[IntArray]], at: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return the mean light along the normals of each stretch, and where all of its profiles are in the picture.

    What lies far off the middle half of the profiles, a neighbour or a speck on few of them, does not count.

    Parameters
    ----------
    picture
        That the contours were traced in.
    contours
        Exteriors or holes.
    stretches
        Of each contour: indices of the points whose profiles are taken; S of them in all, one at least.
    at
        (K,) px along the outward normal.

    Returns
    -------
    light
        (S, K, C) linear light.
    known
        (S, K).
    """
    rings, outlines = EndToEnd.of([one.points_px for one in contours]), np.concatenate([c.points_px for c in contours])
    starts = rings.starts.tolist()
    points = np.concatenate([one + start for own, start in zip(stretches, starts, strict=True) for one in own])
    from_px, normals = outlines[points], outward_normals(outlines, rings)[points]
    places = np.empty((len(points), len(at), 2))
    for k in (0, 1):
        places[..., k] = from_px[:, k, None] + at * normals[:, k, None]
    light = light_between(picture, places.reshape(-1, 2)).reshape(len(points), -1)
    sizes = np.array([len(one) for own in stretches for one in own])
    ends = np.cumsum(sizes)
    means, known = np.empty((len(sizes), light.shape[1])), np.ones((len(sizes), len(at)), bool)
    inside = _in_picture(picture, places)
    for size in sorted(set(sizes.tolist())):
        alike = np.flatnonzero(sizes == size)
        rows = ends[alike, None] - size + np.arange(size)
        means[alike] = _means([light[rows[:, k]] for k in range(size)])
        if inside is not None:
            known[alike] = inside[rows].all(axis=1)
    return means.reshape(len(sizes), len(at), -1), known


def _in_picture(picture: Picture, places: FloatArray) -> BoolArray | None:
    """Which places (N, K, 2) of profiles are in the picture, (N, K); None if all are."""
    most = np.array([picture.width_px - 1, picture.height_px - 1])
    ends = places[:, [0, -1]]  # a straight line between places in the picture is in it, too
    if ((ends >= 0) & (ends <= most)).all():
        return None
    return np.asarray(((places >= 0) & (places <= most)).all(axis=2), dtype=np.bool_)


def stretches_of(contour: Contour, mm_per_px: float) -> list[IntArray]:
    """Return indices of the points whose profiles are taken, for each stretch; none beside corners."""
    count = len(contour.points_px)
    away = int(np.ceil(4 * contour.blur_px)) + 3
    clear = np.ones(count, bool)
    for corner in contour.corners:
        clear[(corner + np.arange(-away, away + 1)) % count] = False
    edges = np.linspace(0, count, STRETCHES + 1).astype(int)
    every, found = np.arange(count), []
    for first, last in pairwise(edges.tolist()):
        at = every[first:last][clear[first:last]] if contour.corners else every[first:last]
        step = max(1, round(_SPACING_MM / mm_per_px), len(at) // _MOST_A_STRETCH)
        if len(at) // step < _LEAST_A_STRETCH:
            step = max(1, len(at) // _LEAST_A_STRETCH)
        found.append(at[::step])
    return found


def _means(light: list[FloatArray]) -> FloatArray:
    """Mean over P profiles, each (S, V) of S stretches, but for what lies far off the middle half of them; (S, V)."""
    low, high = _quartiles(light)
    reach = high - low
    least, most = low - reach - _ROUNDED, high + reach + _ROUNDED
    total, count = np.zeros_like(low), np.zeros(low.shape, np.int64)
    for one in light:
        kept = (one >= least) & (one <= most)
        total += one * kept
        count += kept
    return np.asarray(total / np.maximum(count, 1))


def _quartiles(light: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """What a quarter of P like arrays lie below and above at each place, as sorting them would show it."""
    laid = list(light)
    for i, j, is_least, is_most in _exchanges(len(light)):
        one, other = laid[i], laid[j]
        laid[i] = np.minimum(one, other) if is_least else one
        laid[j] = np.maximum(one, other) if is_most else other
    return laid[len(laid) // 4], laid[(3 * len(laid)) // 4]


@cache
def _exchanges(count: int) -> tuple[tuple[int, int, bool, bool], ...]:
    """Which of so many values to put in order, pair by pair, so that the quartiles are where they belong.

    K. Batcher's merge exchange (Knuth, The Art of Computer Programming 3, 5.2.2, algorithm M, from memory), without
    what neither quartile depends on: of each pair whether the lesser, and whether the greater is of use.
    """
    top = 1 << max(count - 1, 1).bit_length() - 1
    pairs, p = [], top
    while p:
        q, r, d = top, 0, p
        while True:
            pairs += [(i, i + d) for i in range(count - d) if i & p == r]
            if q == p:
                break
            q, r, d = q // 2, p, q - p
        p //= 2
    needed, found = {count // 4, (3 * count) // 4}, []
    for i, j in reversed(pairs):
        if i in needed or j in needed:
            found.append((i, j, i in needed, j in needed))
            needed |= {i, j}
    return tuple(reversed(found))


def _made(at: FloatArray, means: FloatArray, known: BoolArray) -> list[Stretch | None]:
    """Make stretches of (S, K, C) means; `known` (S, K) tells where all of a stretch's profiles are in the picture."""
    whole = known.all(axis=1)
    found: list[Stretch | None] = [None] * len(means)
    for k in np.flatnonzero(~whole & known[:, np.abs(at) <= NEAR_PX].all(axis=1)).tolist():
        (found[k],) = _whole(at[known[k]], means[k : k + 1, known[k]])
    for k, one in zip(np.flatnonzero(whole).tolist(), _whole(at, means[whole]), strict=True):
        found[k] = one
    return found


def _whole(at: FloatArray, means: FloatArray) -> list[Stretch]:
    """Make stretches of (S, K, C) means that are known everywhere."""
    if not len(means):
        return []
    laid = np.ascontiguousarray(np.swapaxes(means, 1, 2))  # (S, C, K): medians run along the memory
    steps = laid[..., 1:] - laid[..., :-1]
    spread = np.abs(steps - medians_along(steps)[..., None]).reshape(len(steps), -1)
    noise = TO_SD * medians_along(spread) / np.sqrt(2.0)
    out, within = at > 0.5 * at.max(), at < 0.5 * at.min()
    inside, outside = medians_along(laid[..., within]), medians_along(laid[..., out])
    noises = np.maximum(noise, _LEAST_NOISE).tolist()
    return [Stretch(at, *one) for one in zip(means, noises, inside, outside, strict=True)]


def outward_normals(points: FloatArray, rings: EndToEnd | None = None, half: int = 4) -> FloatArray:
    """Unit normals out of the item, for points in a picture (y down) that run counter-clockwise seen y up; (N, 2).

    Of one ring, or of `rings` end to end.
    """
    rings = rings or EndToEnd([len(points)])
    along = points[rings.moved(half)] - points[rings.moved(-half)]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])
