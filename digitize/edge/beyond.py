"""A second step farther off a border than its blur: it counts where the band between both is like the ground."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from ..measure.profiles import CLEAR_BLURS
from ..measure.ragged import medians_along
from ..records import FloatArray
from ..steady import product
from .spans import Spans, spanning
from .steps import LEAST_STEP, NOISES, Against, Two, alike, stepped
from .stretches import IntArray, Stretch

_PALE = 0.6  # of the item's contrast to the ground: a band that differs more is the item's own
_LEAST_BEYOND = 12  # samples on one side, fewer of which show nothing
_CLEARLY = 0.5  # of what a straight trend leaves
_PLACE_STEP_PX = 0.75  # of the places tried for a step farther off
_LEVEL_BLURS = 0.6  # or a px, about a place: where its light is taken
_BLURS = (1.0, 1.4, 2.0, 3.0, 4.5, 7.0, 10.0)  # of it, times the picture's
_SOFT = 1.5  # times the picture's blur: a softer second step is shade


def changing_sides(stretches: Sequence[Stretch], sigma: float) -> list[tuple[float, ...]]:
    """On which sides of the border (-1 inward, 1 outward) the light of each stretch changes at all farther off."""
    sides: list[tuple[float, ...]] = [()] * len(stretches)
    for numbers in alike(stretches):
        light = np.stack([stretches[k].light for k in numbers])
        noise = np.array([stretches[k].noise for k in numbers])
        for side in (-1.0, 1.0):
            beyond = _beyond(stretches[numbers[0]].at_px, sigma, side)
            if len(beyond) < _LEAST_BEYOND:
                continue
            size = np.sqrt((_change(light[:, beyond])[0] ** 2).sum(axis=1))
            for k in np.flatnonzero(size >= np.maximum(_least_change(light.shape[2]), NOISES * noise)).tolist():
                sides[numbers[k]] += (side,)
    return sides


def far_steps(of: Against, sigma: float, sides: Sequence[tuple[float, ...]]) -> list[Two | None]:
    """A second step beyond each border's own blur, on the sides named: offsets of the inner and the outer of both."""
    best: list[tuple[float, Two] | None] = [None] * len(of.stretches)
    for side in sorted({side for own in sides for side in own}):
        for numbers, places in _sharp_steps(
            of.stretches, [k for k, own in enumerate(sides) if side in own], sigma, side
        ):
            sizes = _steps_to_bands(of.picked(numbers), places, sigma, side)
            for k, place, size in zip(numbers.tolist(), places.tolist(), sizes.tolist(), strict=True):
                held = best[k]
                if size and (held is None or size > held[0]):
                    best[k] = size, (place, 0.0) if side < 0 else (0.0, place)
    return [None if one is None else one[1] for one in best]


def _steps_to_bands(of: Against, places: FloatArray, sigma: float, side: float) -> FloatArray:
    """How large steps at places (N,) are, 0 of those with no band like the ground between them and the border; (N,)."""
    at, light = of.stretches[0].at_px, np.stack([one.light for one in of.stretches])
    clear, noise = _clear_px(sigma), NOISES * of.noise
    before, after = _levels(at, light, places - clear, sigma), _levels(at, light, places + clear, sigma)
    band, beyond = (before, after) if side > 0 else (after, before)  # the band lies between both borders
    step, off = _lengths(after - before), _lengths(band - of.ground)
    counts = (step >= np.maximum(_least_change(light.shape[2]), noise)) & (off <= _PALE * of.size) & (off >= noise)
    if side > 0:  # else it is a neighbour, or a lid that changes
        counts &= _lengths(beyond - of.ground) <= 0.5 * off
    else:
        counts &= _lengths(beyond - of.item) <= _lengths(band - of.item)
    return np.where(counts, step, 0.0)


def _lengths(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.add.reduce(np.square(vectors), axis=1)))


def _levels(at: FloatArray, light: FloatArray, places: FloatArray, sigma: float) -> FloatArray:
    """Mean light (N, C) of stretches' (N, K, C) at the samples near a place of each (N,), or at the nearest."""
    away = np.abs(at - places[:, None])
    near = away <= max(1.0, _LEVEL_BLURS * sigma)
    none = ~near.any(axis=1)
    near[none] = away[none] == away[none].min(axis=1, keepdims=True)
    first, count, every = near.argmax(axis=1), np.count_nonzero(near, axis=1), np.arange(len(near))
    total = light[every, first]
    for k in range(1, int(count.max(initial=1))):  # one after the other, as the mean of one stretch adds them up
        some = every[count > k]
        total[some] += light[some, first[some] + k]
    return np.asarray(total / count[:, None])


def _clear_px(sigma: float) -> float:
    """From where on the border's own blur is not seen."""
    return CLEAR_BLURS * sigma + 1.0


def _least_change(channels: int) -> float:
    return LEAST_STEP * float(np.sqrt(channels))


def _beyond(at: FloatArray, sigma: float, side: float) -> IntArray:
    """Which samples lie clear of the border on one side of it, from it outward."""
    found = np.flatnonzero(side * at > _clear_px(sigma))
    return found if side > 0 else found[::-1]


def _change(light: FloatArray) -> tuple[FloatArray, FloatArray]:
    """By how much light (..., K, C) beside the border differs from that farthest off; and the latter, (..., C) each."""
    far = medians_along(np.swapaxes(light[..., -light.shape[-2] // 4 :, :], -1, -2))
    return light[..., :3, :].mean(axis=-2) - far, far


def _sharp_steps(
    stretches: Sequence[Stretch], numbers: Sequence[int], sigma: float, side: float
) -> Iterator[tuple[IntArray, FloatArray]]:
    """Places of the steps that explain best how light changes beyond borders, where one as sharp as those does.

    A step of the picture's own blur is held against softer ones, as shades are, and against a straight trend. Yields
    numbers of stretches seen at the same places (n,), and the places (n,).
    """
    for together in alike([stretches[k] for k in numbers]):
        own = np.asarray(numbers)[together]
        beyond = _beyond(stretches[own[0]].at_px, sigma, side)
        at = side * stretches[own[0]].at_px[beyond]
        light = np.stack([stretches[k].light[beyond] for k in own.tolist()])
        toward, far = _change(light)
        value = np.einsum("nkc,nc->nk", light - far[:, None], toward) / (toward**2).sum(axis=1)[:, None]
        cases, spanned = _far_cases(tuple(at.tolist()), sigma)
        least, best = spanned.least(value)
        sharp = np.flatnonzero((cases[best, 1] <= _SOFT * sigma) & (least < _CLEARLY * _off_trend(at, value)))
        places = cases[best[sharp], 0] + _PLACE_STEP_PX * _finer(spanned, value[sharp], best[sharp])
        there = places > at[0] + sigma
        if there.any():
            yield own[sharp[there]], side * places[there]


def _finer(spanned: Spans, values: FloatArray, best: IntArray) -> FloatArray:
    """How far from the best cases values (n, K) are explained better still, in steps of the places tried; (n,)."""
    found, count = np.zeros(len(best)), len(spanned.which[0])
    within = np.flatnonzero((best >= len(_BLURS)) & (best < count - len(_BLURS)))
    around = best[within, None] + np.array([-len(_BLURS), 0, len(_BLURS)])
    found[within] = _vertices(spanned.rests_of(values[within], around) ** 2)
    return found


def _vertices(threes: FloatArray) -> FloatArray:
    """Where parabolas through values (n, 3) at -1, 0, 1 are least, where the middle ones are the least; (n,)."""
    before, middle, after = threes.T
    bend = before - 2.0 * middle + after
    bent = bend > 0
    return np.where(bent, np.clip(0.5 * (before - after) / np.where(bent, bend, 1.0), -0.5, 0.5), 0.0)


def _off_trend(at: FloatArray, values: FloatArray) -> FloatArray:
    """RMS of what a straight trend leaves of values (N, K); (N,)."""
    x, y = at - at.mean(), values - values.mean(axis=1)[:, None]
    trend = np.einsum("k,nk->n", x, y) / max(float(product(x, x)), 1e-12)
    return np.asarray(np.sqrt(np.mean((y - trend[:, None] * x) ** 2, axis=1)))


@lru_cache(maxsize=32)
def _far_cases(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, Spans]:
    """Places and blurs of single steps, (M, 2), and what spans each."""
    reach = np.array(at)
    # a soft step may have its middle before the samples, its far half only is seen
    places = np.arange(reach[0] - 8.0 * sigma, reach[-4] - sigma, _PLACE_STEP_PX)
    cases = np.array([(place, sigma * blur) for place in places for blur in _BLURS])
    return cases, Spans.of(spanning(stepped(reach, cases)))
