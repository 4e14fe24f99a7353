"""One step or two across a border: held against its mean profile, near where they melt into one and farther off.

Near the border two steps of the picture's own blur are held against a single one of any blur, and against one with a
soft shade about it. Farther off a second step counts where the band between both differs little from the ground.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..records import FloatArray
from ..steady import least_squares, norm, orthonormal, polynomial, product
from .stretches import NEAR_PX, Stretch

_LEAST_STEP = 0.015  # of full light: a fainter second step is not told from a lid's unevenness
_NOISES = 6.0  # standard deviations of the mean that a step must be clear by
_PALE = 0.6  # of the item's contrast to the ground: a band that differs more is the item's own
_BETTER = 0.4  # rest of two steps over that of one, below which there are two
_LEAST_REST = 0.0025  # of the contrast, of a single step's rest: less is the lens's own blur
_LEAST_PART = 0.02  # of the contrast, of either of two steps that have melted into one
_CLEARLY = 0.5  # of what a straight trend leaves
_PLACE_STEP_PX = 0.75  # of the places tried for a step farther off
_BLURS = (1.0, 1.4, 2.0, 3.0, 4.5, 7.0, 10.0)  # of it, times the picture's
_SOFT = 1.5  # times the picture's blur: a softer second step is shade
_THAN_SHADE = 0.92  # rest of two steps over that of one with a soft shade about it, below which it is no shade


def near_steps(
    one: Stretch, ground: FloatArray, item: FloatArray, sigma: float, *, sure: bool
) -> tuple[float, float] | None:
    """Two steps that have melted into one: offsets of the inner and the outer; None if a single one explains it."""
    reach = min(NEAR_PX, 4.0 * sigma + 5.0)
    near = np.abs(one.at_px) <= reach
    at, axis = one.at_px[near], item - ground
    size = norm(axis)
    if size < 4 * _LEAST_STEP:
        return None
    value = product(one.light[near] - ground, axis) / size**2
    around = tuple(at.tolist())
    single = min(
        float(rest_of(value, spanned(around, 1, s)).min()) for s in _times(sigma, 0.85, 1.0, 1.2, 1.5, 1.9, 2.5)
    )
    least = max(_LEAST_REST, 2.0 * one.noise / size)
    if single < least:
        return None
    sizes = (sigma,) if sure else _times(sigma, 0.7, 0.85, 1.0)
    tried = [(rest_of(value, spanned(around, 2, s)), s) for s in sizes]
    rest, best = min(tried, key=lambda pair: float(pair[0].min()))
    k = int(rest.argmin())
    if rest[k] > _BETTER * single or rest[k] > _THAN_SHADE * float(rest_of(value, _spanned_soft(around, sigma)).min()):
        return None
    parts = least_squares(basis_of(at, _DOUBLES[k : k + 1], best)[0], value)[1:]
    if min(parts) < max(_LEAST_PART, _LEAST_STEP / size) or parts.sum() > 1.6:
        return None
    inner, outer = _DOUBLES[k].tolist()
    return inner, outer


_SINGLES = np.arange(-3.0, 3.01, 0.2)[:, None]
_DOUBLES = np.array([(a, a + w) for a in np.arange(-4.5, 1.01, 0.125) for w in np.arange(0.8, 6.6, 0.2)])
_SHADED = np.array([(a, a + w) for a in np.arange(-1.5, 1.51, 0.125) for w in np.arange(-2.0, 8.1, 1.0)])


def basis_of(at: FloatArray, places: FloatArray, sigma: float) -> FloatArray:
    """(M, K, 1 + S): a level, and a blurred step that falls outward at each of the S places of M cases."""
    steps = normal_cdf((places[:, None, :] - at[None, :, None]) / sigma)
    return np.concatenate([np.ones((len(places), len(at), 1)), steps], axis=2)


def _times(sigma: float, *factors: float) -> tuple[float, ...]:
    return tuple(sigma * factor for factor in factors)


@lru_cache(maxsize=16)
def spanned(at: tuple[float, ...], steps: int, sigma: float) -> FloatArray:
    """Orthonormal columns that span each case's basis, (M, K, 1 + S): the same for all stretches of a picture."""
    return orthonormal(basis_of(np.array(at), _SINGLES if steps == 1 else _DOUBLES, sigma))


@lru_cache(maxsize=16)
def _spanned_soft(at: tuple[float, ...], sigma: float) -> FloatArray:
    """Likewise for a step with a shade about it: a second one that is much softer."""
    found = []
    for times in (2.5, 4.0, 6.5, 10.0):
        steps = [normal_cdf((_SHADED[:, k, None] - np.array(at)) / (sigma * s)) for k, s in ((0, 1.0), (1, times))]
        found.append(np.stack([np.ones_like(steps[0]), *steps], axis=2))
    return orthonormal(np.concatenate(found))


def rest_of(value: FloatArray, spanned: FloatArray) -> FloatArray:
    """RMS of what each case leaves of the value by least squares; (M,)."""
    part = product(value, spanned)
    left = float(product(value, value)) - (part**2).sum(axis=1)
    return np.asarray(np.sqrt(np.maximum(left, 0.0) / len(value)))


def far_step(one: Stretch, ground: FloatArray, item: FloatArray, sigma: float) -> tuple[float, float] | None:
    """A second step beyond the border's own blur: offsets of the inner and the outer of both."""
    size = norm(item - ground)
    best: tuple[float, tuple[float, float]] | None = None
    clear = 2.6 * sigma + 1.0
    for side in (-1.0, 1.0):
        place = _sharp_step(one, sigma, clear, side)
        if place is None:
            continue
        before, after = _level(one, place - clear, sigma), _level(one, place + clear, sigma)
        step = norm(after - before)
        if step < max(_LEAST_STEP * np.sqrt(len(ground)), _NOISES * one.noise):
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


def _sharp_step(one: Stretch, sigma: float, clear: float, side: float) -> float | None:
    """Place of the step that explains best how the light changes beyond the border; None if none as sharp as that does.

    A step of the picture's own blur is held against softer ones, as shades are, and against a straight trend.
    """
    away = side * one.at_px
    beyond = np.flatnonzero(away > clear)
    if side < 0:
        beyond = beyond[::-1]
    if len(beyond) < 12:
        return None
    at, light = away[beyond], one.light[beyond]
    far = np.median(light[-len(light) // 4 :], axis=0)
    toward = light[:3].mean(axis=0) - far
    size = norm(toward)
    if size < max(_LEAST_STEP * np.sqrt(len(far)), _NOISES * one.noise):
        return None
    value = product(light - far, toward) / size**2
    cases, spanned = _far_cases(tuple(at.tolist()), sigma)
    rest = rest_of(value, spanned)
    k = int(rest.argmin())
    place, blur = cases[k].tolist()
    place += _PLACE_STEP_PX * _vertex(rest[[k - len(_BLURS), k, k + len(_BLURS)]] ** 2) if _inner(k, rest) else 0.0
    sharp = blur <= _SOFT * sigma and place > at[0] + sigma and rest[k] < _CLEARLY * _off_trend(at, value)
    return side * place if sharp else None


def _off_trend(at: FloatArray, value: FloatArray) -> float:
    """RMS of what a straight trend leaves."""
    trend = product(np.vander(at, 2, increasing=True), polynomial(at, value, 1))
    return float(np.sqrt(np.mean((value - trend) ** 2)))


def _inner(k: int, rest: FloatArray) -> bool:
    return len(_BLURS) <= k < len(rest) - len(_BLURS)


def _vertex(three: FloatArray) -> float:
    """Return where the parabola through values at -1, 0, 1 is least, where the middle one is the least."""
    bend = float(three[0] - 2.0 * three[1] + three[2])
    return float(np.clip(0.5 * (three[0] - three[2]) / bend, -0.5, 0.5)) if bend > 0 else 0.0


@lru_cache(maxsize=32)
def _far_cases(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, FloatArray]:
    """Places and blurs of single steps, (M, 2), and the columns that span each, (M, K, 2)."""
    reach = np.array(at)
    # a soft step may have its middle before the samples, its far half only is seen
    places = np.arange(reach[0] - 8.0 * sigma, reach[-4] - sigma, _PLACE_STEP_PX)
    cases = np.array([(place, sigma * blur) for place in places for blur in _BLURS])
    steps = normal_cdf((cases[:, None, 0] - reach[None, :]) / cases[:, None, 1])
    basis = np.stack([np.ones_like(steps), steps], axis=2)
    return cases, orthonormal(basis)
