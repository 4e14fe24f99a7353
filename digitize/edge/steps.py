"""One step or two across a border: held against its mean profile, near where they melt into one and farther off.

Near the border two steps of the picture's own blur are held against a single one of any blur, and against one with a
soft shade about it, stretch by stretch, or all stretches at once where the edge is softer than the picture. Farther off
a second step counts where the band between both differs little from the ground.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..records import FloatArray
from ..steady import least_squares, norm, orthonormal, product
from .stretches import NEAR_PX, IntArray, Stretch

_LEAST_STEP = 0.015  # of full light: a fainter second step is not told from a lid's unevenness
_NOISES = 6.0  # standard deviations of the mean that a step must be clear by
_PALE = 0.6  # of the item's contrast to the ground: a band that differs more is the item's own
_BETTER = 0.4  # rest of two steps over that of one, below which there are two
_LEAST_REST = 0.0025  # of the contrast, of a single step's rest: less is the lens's own blur
_SURELY = 1.0 - 1e-6  # of such a rest: what rounding leaves
_LEAST_PART = 0.02  # of the contrast, of either of two steps that have melted into one
# Rest of two steps over that of the one that fits best, and over that of one with a shade about it. Of mean profiles
# of dark things with rims of 0.1 mm at 300 dpi, light of 0.30 to 0.74 on a ground of 0.80, blurs of 0.6 to 1.2 px: up
# to 0.58 and 0.27, of the palest at a blur of 0.9 px 0.44 of the latter; of things that are only softer than their
# reference 0.9 of the former; of 95 edges of random scans, ordinary and hard, 1.03 times as soft as their reference
# and softer, 0.50 of the latter, at least.
_CLEARLY_TWO, _CLEARLY_NO_SHADE = 0.65, 0.46
_LEAST_BEYOND = 12  # samples on one side, fewer of which show nothing
_CLEARLY = 0.5  # of what a straight trend leaves
_PLACE_STEP_PX = 0.75  # of the places tried for a step farther off
_BLURS = (1.0, 1.4, 2.0, 3.0, 4.5, 7.0, 10.0)  # of it, times the picture's
_SOFT = 1.5  # times the picture's blur: a softer second step is shade
_THAN_SHADE = 0.92  # rest of two steps over that of one with a soft shade about it, below which it is no shade


def singly_explained(stretches: Sequence[Stretch], ground: FloatArray, item: FloatArray, sigma: float) -> list[bool]:
    """Of which stretches a single step clearly explains the border: `near_steps` would find no two there."""
    found, size = [False] * len(stretches), norm(item - ground)
    for numbers in _alike(stretches):
        at = stretches[numbers[0]].at_px
        near = np.abs(at) <= _near_px(sigma)
        light = np.stack([stretches[k].light[near] for k in numbers])
        values = product(light - ground, item - ground) / max(size, 1e-12) ** 2
        left = (values**2).sum(axis=1)
        parts = np.einsum("nk,msk->nms", values, _spanned_singly(tuple(at[near].tolist()), sigma))
        single = np.sqrt(np.maximum(left - (parts**2).sum(axis=2).max(axis=1), 0.0) / values.shape[1])
        noise = np.array([stretches[k].noise for k in numbers])
        for k, rest, most in zip(numbers, single.tolist(), _single_rest(noise, size).tolist(), strict=True):
            found[k] = rest < _SURELY * most
    return found


def near_steps(
    one: Stretch, ground: FloatArray, item: FloatArray, sigma: float, *, sure: bool
) -> tuple[float, float] | None:
    """Two steps that have melted into one: offsets of the inner and the outer; None if a single one explains it."""
    near = np.abs(one.at_px) <= _near_px(sigma)
    at, axis = one.at_px[near], item - ground
    size = norm(axis)
    if size < 4 * _LEAST_STEP:
        return None
    value = product(one.light[near] - ground, axis) / size**2
    around = tuple(at.tolist())
    single = float(rest_of(value, _spanned_singly(around, sigma)).min())
    if single < float(_single_rest(np.array(one.noise), size)):
        return None
    sizes = (sigma,) if sure else _times(sigma, 0.7, 0.85, 1.0)
    tried = [(rest_of(value, _spanned_doubly(around, s)), s) for s in sizes]
    rest, best = min(tried, key=lambda pair: float(pair[0].min()))
    k = int(rest.argmin())
    if rest[k] > _BETTER * single or rest[k] > _THAN_SHADE * float(rest_of(value, _spanned_soft(around, sigma)).min()):
        return None
    if sure and rest[k] > _CLEARLY_TWO * _rest_of_one(value, at, sigma):
        return None
    parts = least_squares(basis_of(at, _DOUBLES[k : k + 1], best)[0], value)[1:]
    if min(parts) < max(_LEAST_PART, _LEAST_STEP / size) or parts.sum() > 1.6:
        return None
    inner, outer = _DOUBLES[k].tolist()
    return inner, outer


def _near_px(sigma: float) -> float:
    """How far from the border two steps may lie that have melted into one."""
    return min(NEAR_PX, 4.0 * sigma + 5.0)


def _single_rest(noise: FloatArray, size: float) -> FloatArray:
    """What a single step leaves of a stretch at the least where there are two."""
    return np.maximum(_LEAST_REST, 2.0 * noise / max(size, 1e-12))


def melted_steps(
    known: Sequence[Stretch], ground: FloatArray, item: FloatArray, sigma: float
) -> tuple[float, float] | None:
    """Two steps that have melted into one all round an edge that is softer than the picture: places as `near_steps`.

    One stretch shows no more than that a single, softer step leaves a little; their mean tells which of both it is.
    """
    axis = item - ground
    size = norm(axis)
    if size < 4 * _LEAST_STEP:
        return None
    near = np.abs(known[0].at_px) <= _near_px(sigma)
    at = known[0].at_px[near]  # the same of all: a stretch is seen so near or not at all
    seen = [one.light[np.abs(one.at_px) <= at[-1]] for one in known]
    value = np.median([product(light - ground, axis) / size**2 for light in seen], axis=0)
    around = tuple(at.tolist())
    places = _DOUBLES[int(rest_of(value, _spanned_doubly(around, sigma)).argmin())] + _FINE_PX
    bases = basis_of(at, places, sigma)
    rest = rest_of(value, spanning(bases))
    best = int(rest.argmin())
    if rest[best] > _CLEARLY_NO_SHADE * float(rest_of(value, _spanned_soft(around, sigma)).min()):
        return None
    if rest[best] > _CLEARLY_TWO * _rest_of_one(value, at, sigma):
        return None
    parts = least_squares(bases[best], value)[1:]
    if min(parts) < max(_LEAST_PART, _LEAST_STEP / size) or parts.sum() > 1.6:
        return None
    inner, outer = places[best].tolist()
    return inner, outer


_ONE_PX, _ONE_BLURS = np.arange(-1.5, 1.51, 0.15), np.geomspace(0.86, 2.5, 28)  # neighbours differ by 4 %
_NEARER_PX, _NEARER = np.arange(-0.1, 0.11, 0.025), np.arange(0.98, 1.021, 0.005)
_FINE_PX = np.array([(a, b) for a in np.arange(-0.2, 0.21, 0.05) for b in np.arange(-0.2, 0.21, 0.05)])
_SINGLES = np.arange(-3.0, 3.01, 0.2)[:, None]
_DOUBLES = np.array([(a, a + w) for a in np.arange(-4.5, 1.01, 0.125) for w in np.arange(0.8, 6.6, 0.2)])
_SHADED = np.array([(a, a + w) for a in np.arange(-1.5, 1.51, 0.125) for w in np.arange(-2.0, 8.1, 1.0)])


def basis_of(at: FloatArray, places: FloatArray, sigma: float) -> FloatArray:
    """(M, K, 1 + S): a level, and a blurred step that falls outward at each of the S places of M cases."""
    steps = normal_cdf((places[:, None, :] - at[None, :, None]) / sigma)
    return np.concatenate([np.ones((len(places), len(at), 1)), steps], axis=2)


def _times(sigma: float, *factors: float) -> tuple[float, ...]:
    return tuple(sigma * factor for factor in factors)


def spanning(bases: FloatArray) -> FloatArray:
    """Orthonormal rows (M, S, K) that span the columns of each basis (M, K, S), laid along the memory."""
    return np.ascontiguousarray(np.swapaxes(orthonormal(bases), 1, 2))


@lru_cache(maxsize=16)
def _spanned_singly(at: tuple[float, ...], sigma: float) -> FloatArray:
    """What spans single steps of several blurs: the same for all stretches of a picture."""
    blurs = _times(sigma, 0.85, 1.0, 1.2, 1.5, 1.9, 2.5)
    return spanning(np.concatenate([basis_of(np.array(at), _SINGLES, blur) for blur in blurs]))


def _rest_of_one(value: FloatArray, at: FloatArray, sigma: float) -> float:
    """Rest of the single step that explains a border best, of any blur and place."""
    cases, spanned = _ones(tuple(at.tolist()), sigma)
    place, blur = cases[int(rest_of(value, spanned).argmin())].tolist()
    near = np.array([(place + by, blur * times) for by in _NEARER_PX for times in _NEARER])
    return float(rest_of(value, spanning(_stepped(at, near))).min())


@lru_cache(maxsize=4)
def _ones(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, FloatArray]:
    """Places and blurs (M, 2) of single steps near the border taken, and the rows that span each, (M, 2, K)."""
    cases = np.array([(place, sigma * times) for place in _ONE_PX for times in _ONE_BLURS])
    return cases, spanning(_stepped(np.array(at), cases))


def _stepped(at: FloatArray, cases: FloatArray) -> FloatArray:
    """(M, K, 2): a level, and a step at each place with each blur, (M, 2)."""
    steps = normal_cdf((cases[:, None, 0] - at[None, :]) / cases[:, None, 1])
    return np.stack([np.ones_like(steps), steps], axis=2)


@lru_cache(maxsize=16)
def _spanned_doubly(at: tuple[float, ...], sigma: float) -> FloatArray:
    """Likewise for two steps."""
    return spanning(basis_of(np.array(at), _DOUBLES, sigma))


@lru_cache(maxsize=16)
def _spanned_soft(at: tuple[float, ...], sigma: float) -> FloatArray:
    """Likewise for a step with a shade about it: a second one that is much softer."""
    found = []
    for times in (2.5, 4.0, 6.5, 10.0):
        steps = [normal_cdf((_SHADED[:, k, None] - np.array(at)) / (sigma * s)) for k, s in ((0, 1.0), (1, times))]
        found.append(np.stack([np.ones_like(steps[0]), *steps], axis=2))
    return spanning(np.concatenate(found))


def rest_of(value: FloatArray, spanned: FloatArray) -> FloatArray:
    """RMS of what each case leaves of the value (K,) by least squares; (M,). Of each: rows that span it, (M, S, K)."""
    part = np.einsum("k,msk->ms", value, spanned)
    left = float(product(value, value)) - (part**2).sum(axis=1)
    return np.asarray(np.sqrt(np.maximum(left, 0.0) / len(value)))


def changing_sides(stretches: Sequence[Stretch], sigma: float) -> list[tuple[float, ...]]:
    """On which sides of the border (-1 inward, 1 outward) the light of each stretch changes at all farther off."""
    sides: list[tuple[float, ...]] = [()] * len(stretches)
    for numbers in _alike(stretches):
        light = np.stack([stretches[k].light for k in numbers])
        noise = np.array([stretches[k].noise for k in numbers])
        for side in (-1.0, 1.0):
            beyond = _beyond(stretches[numbers[0]].at_px, sigma, side)
            if len(beyond) < _LEAST_BEYOND:
                continue
            size = np.sqrt((_change(light[:, beyond])[0] ** 2).sum(axis=1))
            for k in np.flatnonzero(size >= np.maximum(_least_change(light.shape[2]), _NOISES * noise)).tolist():
                sides[numbers[k]] += (side,)
    return sides


def _alike(stretches: Sequence[Stretch]) -> list[list[int]]:
    """Numbers of stretches that were seen at the same places."""
    alike: dict[int, list[int]] = {}
    for k, one in enumerate(stretches):
        alike.setdefault(id(one.at_px), []).append(k)
    return list(alike.values())


def far_step(
    one: Stretch, ground: FloatArray, item: FloatArray, sigma: float, sides: tuple[float, ...]
) -> tuple[float, float] | None:
    """A second step beyond the border's own blur: offsets of the inner and the outer of both."""
    size = norm(item - ground)
    best: tuple[float, tuple[float, float]] | None = None
    clear = _clear_px(sigma)
    for side in sides:
        place = _sharp_step(one, sigma, side)
        if place is None:
            continue
        before, after = _level(one, place - clear, sigma), _level(one, place + clear, sigma)
        step = norm(after - before)
        if step < max(_least_change(len(ground)), _NOISES * one.noise):
            continue
        band, beyond = (before, after) if side > 0 else (after, before)  # the band lies between both borders
        off = norm(band - ground)
        if off > _PALE * size or off < _NOISES * one.noise:
            continue
        if side > 0 and norm(beyond - ground) > 0.5 * off:
            continue  # a neighbour, or a lid that changes
        if side < 0 and norm(beyond - item) > norm(band - item):
            continue
        if best is None or step > best[0]:
            best = step, (place, 0.0) if side < 0 else (0.0, place)
    return None if best is None else best[1]


def _level(one: Stretch, at: float, sigma: float) -> FloatArray:
    near = np.abs(one.at_px - at) <= max(1.0, 0.6 * sigma)
    if not near.any():
        near = np.abs(one.at_px - at) == np.abs(one.at_px - at).min()
    return np.asarray(one.light[near].mean(axis=0))


def _clear_px(sigma: float) -> float:
    """From where on the border's own blur is not seen."""
    return 2.6 * sigma + 1.0


def _least_change(channels: int) -> float:
    return _LEAST_STEP * float(np.sqrt(channels))


def _beyond(at: FloatArray, sigma: float, side: float) -> IntArray:
    """Which samples lie clear of the border on one side of it, from it outward."""
    found = np.flatnonzero(side * at > _clear_px(sigma))
    return found if side > 0 else found[::-1]


def _change(light: FloatArray) -> tuple[FloatArray, FloatArray]:
    """By how much light (..., K, C) beside the border differs from that farthest off; and the latter, (..., C) each."""
    far = np.median(light[..., -light.shape[-2] // 4 :, :], axis=-2)
    return light[..., :3, :].mean(axis=-2) - far, far


def _sharp_step(one: Stretch, sigma: float, side: float) -> float | None:
    """Place of the step that explains best how the light changes beyond the border; None if none as sharp as that does.

    A step of the picture's own blur is held against softer ones, as shades are, and against a straight trend.
    """
    beyond = _beyond(one.at_px, sigma, side)
    at, light = side * one.at_px[beyond], one.light[beyond]
    toward, far = _change(light)
    value = product(light - far, toward) / norm(toward) ** 2
    cases, spanned = _far_cases(tuple(at.tolist()), sigma)
    rest = rest_of(value, spanned)
    k = int(rest.argmin())
    place, blur = cases[k].tolist()
    place += _PLACE_STEP_PX * _vertex(rest[[k - len(_BLURS), k, k + len(_BLURS)]] ** 2) if _inner(k, rest) else 0.0
    sharp = blur <= _SOFT * sigma and place > at[0] + sigma and rest[k] < _CLEARLY * _off_trend(at, value)
    return side * place if sharp else None


def _off_trend(at: FloatArray, value: FloatArray) -> float:
    """RMS of what a straight trend leaves."""
    x, y = at - at.mean(), value - value.mean()
    trend = float(product(x, y)) / max(float(product(x, x)), 1e-12)
    return float(np.sqrt(np.mean((y - trend * x) ** 2)))


def _inner(k: int, rest: FloatArray) -> bool:
    return len(_BLURS) <= k < len(rest) - len(_BLURS)


def _vertex(three: FloatArray) -> float:
    """Return where the parabola through values at -1, 0, 1 is least, where the middle one is the least."""
    bend = float(three[0] - 2.0 * three[1] + three[2])
    return float(np.clip(0.5 * (three[0] - three[2]) / bend, -0.5, 0.5)) if bend > 0 else 0.0


@lru_cache(maxsize=32)
def _far_cases(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, FloatArray]:
    """Places and blurs of single steps, (M, 2), and the rows that span each, (M, 2, K)."""
    reach = np.array(at)
    # a soft step may have its middle before the samples, its far half only is seen
    places = np.arange(reach[0] - 8.0 * sigma, reach[-4] - sigma, _PLACE_STEP_PX)
    cases = np.array([(place, sigma * blur) for place in places for blur in _BLURS])
    return cases, spanning(_stepped(reach, cases))
