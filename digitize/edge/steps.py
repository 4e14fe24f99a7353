"""One step or two across a border: held against its mean profile, near where they melt into one and farther off.

Near the border two steps of the picture's own blur are held against a single one of any blur, and against one with a
soft shade about it, stretch by stretch, or all stretches at once where the edge is softer than the picture. Farther off
a second step counts where the band between both differs little from the ground.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..records import BoolArray, FloatArray
from ..steady import least_squares, norm, product
from .spans import Spans, spanning
from .stretches import NEAR_PX, IntArray, Stretch

Two = tuple[float, float]  # px, where the inner and the outer of two steps lie

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


@dataclass(frozen=True, slots=True)
class Against:
    """Stretches, those of one item or of many, and what lies on either side of each one's border."""

    stretches: Sequence[Stretch]
    ground: FloatArray  # (N, C) linear light
    item: FloatArray  # (N, C)

    @property
    def size(self) -> FloatArray:
        """(N,) contrasts."""
        return np.asarray(np.sqrt(((self.item - self.ground) ** 2).sum(axis=1)))

    @property
    def noise(self) -> FloatArray:
        """(N,) of a stretch's values."""
        return np.array([one.noise for one in self.stretches])

    def picked(self, numbers: IntArray) -> Against:
        """Some of them."""
        return Against([self.stretches[k] for k in numbers.tolist()], self.ground[numbers], self.item[numbers])

    def values(self, numbers: IntArray, near: BoolArray) -> FloatArray:
        """Where some of the stretches' light lies between ground (0) and item (1), (n, K) at the places `near`."""
        axis, size = self.item[numbers] - self.ground[numbers], np.maximum(self.size[numbers], 1e-12)
        light = np.stack([self.stretches[k].light[near] for k in numbers.tolist()]) - self.ground[numbers, None]
        return np.asarray(np.einsum("nkc,nc->nk", light, axis) / (size**2)[:, None])


def singly_explained(of: Against, sigma: float) -> BoolArray:
    """Of which stretches a single step clearly explains the border: `near_steps` would find no two there; (N,)."""
    found, most = np.zeros(len(of.stretches), bool), _single_rest(of.noise, of.size)
    for numbers in _alike(of.stretches):
        at = of.stretches[numbers[0]].at_px
        near = np.abs(at) <= _near_px(sigma)
        rest, _ = _spanned_singly(tuple(at[near].tolist()), sigma).least(of.values(numbers, near))
        found[numbers] = rest < _SURELY * most[numbers]
    return found


def near_steps(of: Against, sigma: float, *, sure: bool) -> list[Two | None]:
    """Two steps that have melted into one, of each stretch: offsets of the inner and the outer.

    None where a single one explains it.
    """
    found: list[Two | None] = [None] * len(of.stretches)
    size, most = of.size, _single_rest(of.noise, of.size)
    for alike in _alike(of.stretches):
        numbers = alike[size[alike] >= 4 * _LEAST_STEP]
        at = of.stretches[alike[0]].at_px
        near = np.abs(at) <= _near_px(sigma)
        around = tuple(at[near].tolist())
        if not len(numbers):
            continue
        value = of.values(numbers, near)
        single, _ = _spanned_singly(around, sigma).least(value)
        left = single >= most[numbers]
        numbers, value, single = numbers[left], value[left], single[left]
        sizes = (sigma,) if sure else _times(sigma, 0.7, 0.85, 1.0)
        tried = [_spanned_doubly(around, s).least(value) for s in sizes]
        best = np.argmin([rest for rest, _ in tried], axis=0)
        every = np.arange(len(numbers))
        rest, case = (np.array(one)[best, every] for one in zip(*tried, strict=True))
        two = rest <= _BETTER * single
        two[two] = rest[two] <= _THAN_SHADE * _spanned_soft(around, sigma).least(value[two])[0]
        for k in np.flatnonzero(two).tolist():
            if sure and rest[k] > _CLEARLY_TWO * _rest_of_one(value[k], at[near], sigma):
                continue
            places = _DOUBLES[int(case[k])]
            if _are_two(basis_of(at[near], places[None], sizes[int(best[k])])[0], value[k], float(size[numbers[k]])):
                found[int(numbers[k])] = (float(places[0]), float(places[1]))
    return found


def _are_two(basis: FloatArray, value: FloatArray, size: float) -> bool:
    """Whether of two steps by least squares each is one, and both together are the whole."""
    parts = least_squares(basis, value)[1:]
    return bool(parts.min() >= max(_LEAST_PART, _LEAST_STEP / size) and parts.sum() <= 1.6)


def _near_px(sigma: float) -> float:
    """How far from the border two steps may lie that have melted into one."""
    return min(NEAR_PX, 4.0 * sigma + 5.0)


def _single_rest(noise: FloatArray, size: FloatArray) -> FloatArray:
    """What a single step leaves of each stretch at the least where there are two; (N,)."""
    return np.maximum(_LEAST_REST, 2.0 * noise / np.maximum(size, 1e-12))


def melted_steps(known: Sequence[Stretch], ground: FloatArray, item: FloatArray, sigma: float) -> Two | None:
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
    places = _DOUBLES[int(_spanned_doubly(around, sigma).least(value[None])[1][0])] + _FINE_PX
    bases = basis_of(at, places, sigma)
    (rest,), (best,) = Spans.of(spanning(bases)).least(value[None])
    if rest > _CLEARLY_NO_SHADE * _spanned_soft(around, sigma).least(value[None])[0][0]:
        return None
    if rest > _CLEARLY_TWO * _rest_of_one(value, at, sigma) or not _are_two(bases[best], value, size):
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


@lru_cache(maxsize=16)
def _spanned_singly(at: tuple[float, ...], sigma: float) -> Spans:
    """What spans single steps of several blurs: the same for all stretches of a picture."""
    blurs = _times(sigma, 0.85, 1.0, 1.2, 1.5, 1.9, 2.5)
    return Spans.of(spanning(np.concatenate([basis_of(np.array(at), _SINGLES, blur) for blur in blurs])))


def _rest_of_one(value: FloatArray, at: FloatArray, sigma: float) -> float:
    """Rest of the single step that explains a border best, of any blur and place."""
    cases, spanned = _ones(tuple(at.tolist()), sigma)
    place, blur = cases[int(spanned.least(value[None])[1][0])].tolist()
    near = np.array([(place + by, blur * times) for by in _NEARER_PX for times in _NEARER])
    return float(Spans.of(spanning(_stepped(at, near))).least(value[None])[0][0])


@lru_cache(maxsize=4)
def _ones(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, Spans]:
    """Places and blurs (M, 2) of single steps near the border taken, and what spans each."""
    cases = np.array([(place, sigma * times) for place in _ONE_PX for times in _ONE_BLURS])
    return cases, Spans.of(spanning(_stepped(np.array(at), cases)))


def _stepped(at: FloatArray, cases: FloatArray) -> FloatArray:
    """(M, K, 2): a level, and a step at each place with each blur, (M, 2)."""
    steps = normal_cdf((cases[:, None, 0] - at[None, :]) / cases[:, None, 1])
    return np.stack([np.ones_like(steps), steps], axis=2)


@lru_cache(maxsize=16)
def _spanned_doubly(at: tuple[float, ...], sigma: float) -> Spans:
    """Likewise for two steps."""
    return Spans.of(spanning(basis_of(np.array(at), _DOUBLES, sigma)))


@lru_cache(maxsize=16)
def _spanned_soft(at: tuple[float, ...], sigma: float) -> Spans:
    """Likewise for a step with a shade about it: a second one that is much softer."""
    found = []
    for times in (2.5, 4.0, 6.5, 10.0):
        steps = [normal_cdf((_SHADED[:, k, None] - np.array(at)) / (sigma * s)) for k, s in ((0, 1.0), (1, times))]
        found.append(np.stack([np.ones_like(steps[0]), *steps], axis=2))
    return Spans.of(spanning(np.concatenate(found)))


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


def _alike(stretches: Sequence[Stretch]) -> list[IntArray]:
    """Numbers of stretches that were seen at the same places."""
    alike: dict[bytes, list[int]] = {}
    names: dict[int, bytes] = {}
    for k, one in enumerate(stretches):
        name = names.setdefault(id(one.at_px), one.at_px.tobytes())
        alike.setdefault(name, []).append(k)
    return [np.array(numbers) for numbers in alike.values()]


def far_steps(of: Against, sigma: float, sides: Sequence[tuple[float, ...]]) -> list[Two | None]:
    """A second step beyond each border's own blur, on the sides named: offsets of the inner and the outer of both."""
    best: list[tuple[float, Two] | None] = [None] * len(of.stretches)
    size, clear = of.size, _clear_px(sigma)
    for side in sorted({side for own in sides for side in own}):
        for k, place in _sharp_steps(of.stretches, [k for k, own in enumerate(sides) if side in own], sigma, side):
            one, ground, item = of.stretches[k], of.ground[k], of.item[k]
            before, after = _level(one, place - clear, sigma), _level(one, place + clear, sigma)
            step = norm(after - before)
            if step < max(_least_change(len(ground)), _NOISES * one.noise):
                continue
            band, beyond = (before, after) if side > 0 else (after, before)  # the band lies between both borders
            off = norm(band - ground)
            if off > _PALE * size[k] or off < _NOISES * one.noise:
                continue
            if side > 0 and norm(beyond - ground) > 0.5 * off:
                continue  # a neighbour, or a lid that changes
            if side < 0 and norm(beyond - item) > norm(band - item):
                continue
            held = best[k]
            if held is None or step > held[0]:
                best[k] = step, (place, 0.0) if side < 0 else (0.0, place)
    return [None if one is None else one[1] for one in best]


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


def _sharp_steps(
    stretches: Sequence[Stretch], numbers: Sequence[int], sigma: float, side: float
) -> Iterator[tuple[int, float]]:
    """Places of the steps that explain best how light changes beyond borders, where one as sharp as those does.

    A step of the picture's own blur is held against softer ones, as shades are, and against a straight trend. Yields
    the number of a stretch, and the place.
    """
    for alike in _alike([stretches[k] for k in numbers]):
        own = [numbers[k] for k in alike.tolist()]
        beyond = _beyond(stretches[own[0]].at_px, sigma, side)
        at = side * stretches[own[0]].at_px[beyond]
        light = np.stack([stretches[k].light[beyond] for k in own])
        toward, far = _change(light)
        value = np.einsum("nkc,nc->nk", light - far[:, None], toward) / (toward**2).sum(axis=1)[:, None]
        cases, spanned = _far_cases(tuple(at.tolist()), sigma)
        least, best = spanned.least(value)
        sharp = (cases[best, 1] <= _SOFT * sigma) & (least < _CLEARLY * _off_trend(at, value))
        for n in np.flatnonzero(sharp).tolist():
            k, place = int(best[n]), float(cases[best[n], 0])
            if len(_BLURS) <= k < len(cases) - len(_BLURS):
                around = spanned.rests(value[n : n + 1])[0][[k - len(_BLURS), k, k + len(_BLURS)]]
                place += _PLACE_STEP_PX * _vertex(around**2)
            if place > at[0] + sigma:
                yield own[n], side * place


def _off_trend(at: FloatArray, values: FloatArray) -> FloatArray:
    """RMS of what a straight trend leaves of values (N, K); (N,)."""
    x, y = at - at.mean(), values - values.mean(axis=1)[:, None]
    trend = np.einsum("k,nk->n", x, y) / max(float(product(x, x)), 1e-12)
    return np.asarray(np.sqrt(np.mean((y - trend[:, None] * x) ** 2, axis=1)))


def _vertex(three: FloatArray) -> float:
    """Return where the parabola through values at -1, 0, 1 is least, where the middle one is the least."""
    bend = float(three[0] - 2.0 * three[1] + three[2])
    return float(np.clip(0.5 * (three[0] - three[2]) / bend, -0.5, 0.5)) if bend > 0 else 0.0


@lru_cache(maxsize=32)
def _far_cases(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, Spans]:
    """Places and blurs of single steps, (M, 2), and what spans each."""
    reach = np.array(at)
    # a soft step may have its middle before the samples, its far half only is seen
    places = np.arange(reach[0] - 8.0 * sigma, reach[-4] - sigma, _PLACE_STEP_PX)
    cases = np.array([(place, sigma * blur) for place in places for blur in _BLURS])
    return cases, Spans.of(spanning(_stepped(reach, cases)))
