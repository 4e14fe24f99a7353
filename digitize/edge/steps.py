"""One step or two across a border: held against its mean profile, near where two steps melt into one.

Near the border two steps of the picture's own blur are held against a single one of any blur, and against one with a
soft shade about it, stretch by stretch, or all stretches at once where the edge is softer than the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..records import BoolArray, FloatArray
from ..steady import least_squares, norm, product
from .spans import Spans, rests_of_each, spanning
from .stretches import NEAR_PX, IntArray, Stretch

Two = tuple[float, float]  # px, where the inner and the outer of two steps lie

LEAST_STEP = 0.015  # of full light: a fainter second step is not told from a lid's unevenness
NOISES = 6.0  # standard deviations of the mean that a step must be clear by
_BETTER = 0.4  # rest of two steps over that of one, below which there are two
_LEAST_REST = 0.0025  # of the contrast, of a single step's rest: less is the lens's own blur
_SURELY = 1.0 - 1e-6  # of such a rest: what rounding leaves
_LEAST_PART = 0.02  # of the contrast, of either of two steps that have melted into one
_NARROWED = 0.7, 0.85, 1.0  # of the border's blur, that two steps in it have
_MOST_OF_BOTH = 1.6  # of the whole, that two steps by least squares come to; more is one against another
_MELTED_BLURS = 4.0  # and 5 px: as far from the border two steps may lie that have melted into one
_SHADES = 2.5, 4.0, 6.5, 10.0  # times as soft as the border
# Rest of two steps over that of the one that fits best, and over that of one with a shade about it. Of mean profiles
# of dark things with rims of 0.1 mm at 300 dpi, light of 0.30 to 0.74 on a ground of 0.80, blurs of 0.6 to 1.2 px: up
# to 0.58 and 0.27, of the palest at a blur of 0.9 px 0.44 of the latter; of things that are only softer than their
# reference 0.9 of the former; of 95 edges of random scans, ordinary and hard, 1.03 times as soft as their reference
# and softer, 0.50 of the latter, at least.
_CLEARLY_TWO, _CLEARLY_NO_SHADE = 0.65, 0.46
_THAN_SHADE = 0.92  # rest of two steps over that of one with a soft shade about it, below which it is no shade
_AT_ONCE = 32  # stretches held against single steps of their own


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

    def values(self, numbers: IntArray, near: slice) -> FloatArray:
        """Where some of the stretches' light lies between ground (0) and item (1), (n, K) at the places `near`."""
        axis, size = self.item[numbers] - self.ground[numbers], np.maximum(self.size[numbers], 1e-12)
        light = np.stack([self.stretches[k].light[near] for k in numbers.tolist()]) - self.ground[numbers, None]
        return np.asarray(np.einsum("nkc,nc->nk", light, axis) / (size**2)[:, None])


def singly_explained(of: Against, sigma: float) -> BoolArray:
    """Of which stretches a single step clearly explains the border: `near_steps` would find no two there; (N,)."""
    found, most = np.zeros(len(of.stretches), bool), _single_rest(of.noise, of.size)
    for numbers in alike(of.stretches):
        at = of.stretches[numbers[0]].at_px
        near = _near(at, sigma)
        around, value = tuple(at[near].tolist()), of.values(numbers, near)
        # nearly all are explained by one of few, about where the border was taken and as sharp as the picture
        found[numbers] = _usual(around, sigma).least(value)[0] < _SURELY * most[numbers]
        left = np.flatnonzero(~found[numbers])
        rest, _ = _spanned_singly(around, sigma).least(value[left])
        found[numbers[left]] = rest < _SURELY * most[numbers[left]]
    return found


def near_steps(of: Against, sigma: float, *, sure: bool) -> list[Two | None]:
    """Two steps that have melted into one, of each stretch: offsets of the inner and the outer.

    None where a single one explains it.
    """
    found: list[Two | None] = [None] * len(of.stretches)
    size, most = of.size, _single_rest(of.noise, of.size)
    for together in alike(of.stretches):
        numbers = together[size[together] >= 4 * LEAST_STEP]
        at = of.stretches[together[0]].at_px
        near = _near(at, sigma)
        around = tuple(at[near].tolist())
        if not len(numbers):
            continue
        value = of.values(numbers, near)
        single, _ = _spanned_singly(around, sigma).least(value)
        left = single >= most[numbers]
        numbers, value, single = numbers[left], value[left], single[left]
        sizes = (sigma,) if sure else _times(sigma, *_NARROWED)
        tried = [_spanned_doubly(around, s).least(value) for s in sizes]
        best = np.argmin([rest for rest, _ in tried], axis=0)
        every = np.arange(len(numbers))
        rest, case = (np.array(one)[best, every] for one in zip(*tried, strict=True))
        two = rest <= _BETTER * single
        two[two] = rest[two] <= _THAN_SHADE * _spanned_soft(around, sigma).least(value[two])[0]
        if sure:
            two[two] = ~(rest[two] > _CLEARLY_TWO * _rests_of_one(value[two], at[near], sigma))
        for k in np.flatnonzero(two).tolist():
            places = _DOUBLES[int(case[k])]
            if _are_two(basis_of(at[near], places[None], sizes[int(best[k])])[0], value[k], float(size[numbers[k]])):
                found[int(numbers[k])] = (float(places[0]), float(places[1]))
    return found


def _are_two(basis: FloatArray, value: FloatArray, size: float) -> bool:
    """Whether of two steps by least squares each is one, and both together are the whole."""
    parts = least_squares(basis, value)[1:]
    return bool(parts.min() >= max(_LEAST_PART, LEAST_STEP / size) and parts.sum() <= _MOST_OF_BOTH)


def _near(at: FloatArray, sigma: float) -> slice:
    """Which of a stretch's places (K,), from the innermost out, lie so near."""
    found = np.flatnonzero(np.abs(at) <= _near_px(sigma))
    return slice(int(found[0]), int(found[-1]) + 1)


def _near_px(sigma: float) -> float:
    """How far from the border two steps may lie that have melted into one."""
    return min(NEAR_PX, _MELTED_BLURS * sigma + 5.0)


def _single_rest(noise: FloatArray, size: FloatArray) -> FloatArray:
    """What a single step leaves of each stretch at the least where there are two; (N,)."""
    return np.maximum(_LEAST_REST, 2.0 * noise / np.maximum(size, 1e-12))


def melted_steps(known: Sequence[Stretch], ground: FloatArray, item: FloatArray, sigma: float) -> Two | None:
    """Two steps that have melted into one all round an edge that is softer than the picture: places as `near_steps`.

    One stretch shows no more than that a single, softer step leaves a little; their mean tells which of both it is.
    """
    axis = item - ground
    size = norm(axis)
    if size < 4 * LEAST_STEP:
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
    if rest > _CLEARLY_TWO * _rests_of_one(value[None], at, sigma)[0] or not _are_two(bases[best], value, size):
        return None
    inner, outer = places[best].tolist()
    return inner, outer


_ONE_PX, _ONE_BLURS = np.arange(-1.5, 1.51, 0.15), np.geomspace(0.86, 2.5, 28)  # neighbours differ by 4 %
_NEARER_PX, _NEARER = np.arange(-0.1, 0.11, 0.025), np.arange(0.98, 1.021, 0.005)
_FINE_PX = np.array([(a, b) for a in np.arange(-0.2, 0.21, 0.05) for b in np.arange(-0.2, 0.21, 0.05)])
_SINGLES, _SINGLE_BLURS = np.arange(-3.0, 3.01, 0.2)[:, None], (0.85, 1.0, 1.2, 1.5, 1.9, 2.5)
_USUAL_PX, _USUAL_BLUR = 0.5, 1.3  # of those, the ones that are tried first
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
    blurs = _times(sigma, *_SINGLE_BLURS)
    return Spans.of(spanning(np.concatenate([basis_of(np.array(at), _SINGLES, blur) for blur in blurs])))


@lru_cache(maxsize=16)
def _usual(at: tuple[float, ...], sigma: float) -> Spans:
    """Those of `_spanned_singly` that explain most borders: about as sharp as the picture, near the border taken."""
    singles = np.tile(_SINGLES[:, 0], len(_SINGLE_BLURS))
    blurs = np.repeat(_SINGLE_BLURS, len(_SINGLES))
    return _spanned_singly(at, sigma).picked(np.flatnonzero((np.abs(singles) < _USUAL_PX) & (blurs < _USUAL_BLUR)))


def _rests_of_one(values: FloatArray, at: FloatArray, sigma: float) -> FloatArray:
    """Rest of the single step that explains each border best, of any blur and place; values (N, K), (N,)."""
    cases, spanned = _ones(tuple(at.tolist()), sigma)
    by, times = (one.ravel() for one in np.meshgrid(_NEARER_PX, _NEARER, indexing="ij"))
    found = np.empty(len(values))
    for first in range(0, len(values), _AT_ONCE):
        some = values[first : first + _AT_ONCE]
        best = cases[spanned.least(some)[1]]
        near = np.stack([best[:, :1] + by, best[:, 1:] * times], axis=2)
        rows = spanning(stepped(at, near.reshape(-1, 2))).reshape(len(some), len(by), 2, len(at))
        found[first : first + _AT_ONCE] = rests_of_each(some, rows).min(axis=1)
    return found


@lru_cache(maxsize=4)
def _ones(at: tuple[float, ...], sigma: float) -> tuple[FloatArray, Spans]:
    """Places and blurs (M, 2) of single steps near the border taken, and what spans each."""
    cases = np.array([(place, sigma * times) for place in _ONE_PX for times in _ONE_BLURS])
    return cases, Spans.of(spanning(stepped(np.array(at), cases)))


def stepped(at: FloatArray, cases: FloatArray) -> FloatArray:
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
    for times in _SHADES:
        steps = [normal_cdf((_SHADED[:, k, None] - np.array(at)) / (sigma * s)) for k, s in ((0, 1.0), (1, times))]
        found.append(np.stack([np.ones_like(steps[0]), *steps], axis=2))
    return Spans.of(spanning(np.concatenate(found)))


def alike(stretches: Sequence[Stretch]) -> list[IntArray]:
    """Numbers of stretches that were seen at the same places."""
    alike: dict[bytes, list[int]] = {}
    names: dict[int, bytes] = {}
    for k, one in enumerate(stretches):
        name = names.setdefault(id(one.at_px), one.at_px.tobytes())
        alike.setdefault(name, []).append(k)
    return [np.array(numbers) for numbers in alike.values()]
