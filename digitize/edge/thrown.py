"""A band along one side of a border, as a shadow is thrown: wide where that faces one way, none where it does not.

A thing thicker than paper throws a shadow to the side away from the light, and a line at half the light runs round
both. What tells such a band from a rim of the item's own is its shape: across a normal n it is as wide as max(0, n.d)
for one vector d all along the border, and its light is a part of the ground's, of the same hue. One vector for all
stretches is told from noise where single ones, or a band of no contrast in grey, are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..measure.ragged import medians
from ..records import BoolArray, Contour, FloatArray
from ..steady import least_squares, norm, product
from .runner import RunnerUp
from .spans import Spans, spanning
from .stretches import SAMPLING_PX, STRETCHES, Stretch, outward_normals, stretches_of

# Rests over that of single steps, root mean square: a band all round, or on both sides, leaves 0.7 of it. Of
# rendered shadows 2 px wide and wider 0.25 to 0.57, of a hue off the ground's by up to 0.1 of the contrast; of 95
# photos, mats and scans of items without one 0.7 and more, but of patterned ones, whose hue is off by 0.13 at least.
_BETTER, _LEAST_OF_HUE = 0.6, 0.11
_LEAST_STEP = 0.02  # of the contrast, from band to item across most stretches
_DARK, _LIGHT = 0.02, 0.9  # of the ground's light, that a shadow leaves
_LEAST_SEEN = 8  # stretches in which nothing else is known to lie
_LEAST_LIT = 2  # of them across which the band is seen at more than half its width
_LEAST_PX, _WIDEST = 1.0, 0.8  # of the vector: px, and of what is seen inward
_OPEN = 0.9  # of the widest: a band so wide has no end that is seen
_LEAST_REST = 0.006  # of the contrast, of the stretch that a single step explains least: less is the lens's own blur
_NEARLY = 1.3  # times the most that two steps of the picture's blur may leave: others are tried
_ABOUT = (0.9, 1.15)  # of both steps, times the picture's blur
_OTHER_BLURS = (*_ABOUT, 1.4, 1.8)  # of a single step
_APART = 0.03  # of neighbouring blurs
_OUT_PX, _PLACES_PX = 6.0, 0.25  # samples as far outward; between the outer step's places, from the border taken
_BEFORE_PX, _BEYOND_PX = 2.0, 2.0  # the outer step lies so near to it, a wide band's so far beyond
_RATIO = 1.2  # of neighbouring widths tried
_TURN_DEG, _PER_WIDTH = 10.0, 3  # of the vectors tried: between directions, and lengths from one width to the next
_SEEN_PART = 0.3  # of the vector's length, from which on the band is shown


@dataclass(frozen=True, slots=True)
class _Seen:
    """The light along stretches, about the ground's and over the contrast, and how their points face."""

    at_px: FloatArray  # (K,)
    light: FloatArray  # (S, K, C)
    normals: tuple[FloatArray, ...]  # (P, 2) of each of the S
    ground: FloatArray  # (C,) over the contrast

    def facing(self, turns: FloatArray) -> FloatArray:
        """How wide a band thrown by unit vectors is across each stretch, by their angles (T,), radians; (T, S)."""
        ways = np.stack([np.cos(turns), np.sin(turns)])
        return np.stack([np.maximum(product(one, ways), 0.0).mean(axis=0) for one in self.normals], axis=1)


def find_thrown(
    contour: Contour,
    light: Sequence[Stretch | None],
    *,
    blur_px: float | None,
    mm_per_px: float,
    hidden: BoolArray | None = None,
) -> RunnerUp | None:
    """Look for a band within the border taken, along the side of it that faces one way.

    Parameters
    ----------
    contour
        An exterior.
    light
        What was seen along its stretches.
    blur_px
        Of the picture; None where it is not known, and the contour's own is the best guess.
    mm_per_px
        As the stretches were made by.
    hidden
        (N,) where something else is known to lie beside the border, a wall.

    Returns
    -------
    RunnerUp or None
        The band's far side as the inner border.
    """
    seen = _seen(contour, light, mm_per_px, hidden)
    if seen is None:
        return None
    sigma = _rounded(float(np.hypot(blur_px or contour.blur_px, SAMPLING_PX)))
    singles = [_rests(seen, sigma, is_single=True)[0][:, 0]]
    if float(singles[0].max()) < _LEAST_REST**2 * len(seen.at_px):
        return None
    singles += [_rests(seen, sigma * times, is_single=True)[0][:, 0] for times in _OTHER_BLURS]
    most = _BETTER**2 * min(float(one.sum()) for one in singles)
    turns = np.radians(np.arange(0.0, 360.0, _TURN_DEG))
    facing = seen.facing(turns)
    # a vector leaves what faces the other way as it is
    if min(float((single * (facing == 0)).sum(axis=1).min()) for single in singles) > most:
        return None
    found = _best(seen, sigma, facing, turns)
    if found.rest > _NEARLY * most:
        return None
    others = [_best(seen, sigma * times, facing, turns) for times in _ABOUT]
    found = min((found, *others), key=lambda one: one.rest)
    if found.rest > most or not _is_shadow(seen, found):
        return None
    return _as_runner_up(contour, found)


def farther_of(two: RunnerUp | None, thrown: RunnerUp | None) -> RunnerUp | None:
    """The second border that lies farther off: of a shadow's band, single stretches may show a part."""
    if two is None or thrown is None:
        return two or thrown
    return thrown if thrown.farthest_px() > two.farthest_px() else two


def _rounded(sigma: float) -> float:
    """A blur near it, the same of many items."""
    return float(np.exp(_APART * np.round(np.log(sigma) / _APART)))


def _seen(
    contour: Contour, light: Sequence[Stretch | None], mm_per_px: float, hidden: BoolArray | None
) -> _Seen | None:
    points = stretches_of(contour, mm_per_px)
    known = [(one, at) for one, at in zip(light, points, strict=True) if one is not None]
    if len(known) < 0.5 * STRETCHES:
        return None
    ground, item = medians([one.outside for one, _ in known]), medians([one.inside for one, _ in known])
    contrast = norm(item - ground)
    whole = max((one.at_px for one, _ in known), key=len)
    used = [
        (one, at) for one, at in known if len(one.at_px) == len(whole) and not (hidden is not None and hidden[at].any())
    ]
    if len(used) < _LEAST_SEEN or contrast <= 0:
        return None
    near, normals = whole <= _OUT_PX, outward_normals(contour.points_px)
    laid = np.stack([(one.light[near] - ground) / contrast for one, _ in used])
    return _Seen(whole[near], laid, tuple(normals[at] for _, at in used), ground / contrast)


@dataclass(frozen=True, slots=True)
class _Best:
    """The vector that explains most."""

    rest: float  # sum of squares over all stretches
    sigma: float
    vector: FloatArray  # (2,) px
    wide_px: FloatArray  # (S,) across each stretch
    outer_px: FloatArray  # (S,) where the outer step lies


def _best(seen: _Seen, sigma: float, facing: FloatArray, turns: FloatArray) -> _Best:
    """Try vectors of many directions and lengths."""
    rests, places = _rests(seen, sigma)
    widths = _widths(seen.at_px)
    steps = np.arange(len(widths) - 1, step=1.0 / _PER_WIDTH)
    lengths = np.interp(steps, np.arange(len(widths)), widths)
    lengths = lengths[lengths >= _LEAST_PX]
    thrown = _sums(rests, widths, facing[:, None, :] * lengths[None, :, None])
    turn, length = np.unravel_index(int(thrown.argmin()), thrown.shape)
    wide = facing[turn] * lengths[length]
    nearest = np.abs(widths[None, :] - wide[:, None]).argmin(axis=1)
    return _Best(
        float(thrown.min()),
        sigma,
        np.array([np.cos(turns[turn]), np.sin(turns[turn])]) * lengths[length],
        wide,
        places[np.arange(len(wide)), nearest],
    )


def _sums(rests: FloatArray, widths: FloatArray, wide: FloatArray) -> FloatArray:
    """What bands so wide (..., S) leave, of rests (S, W) at some widths (W,); (...)."""
    found = np.zeros(wide.shape[:-1])
    for k, own in enumerate(rests):
        found += np.interp(wide[..., k], widths, own)
    return found


def _rests(seen: _Seen, sigma: float, *, is_single: bool = False) -> tuple[FloatArray, FloatArray]:
    """Sums of squares that bands of the widths tried leave of each stretch, (S, W); and where the outer step lies.

    The first is of no width, a single step; `is_single`: only that one.
    """
    count, samples, channels = seen.light.shape
    values = np.ascontiguousarray(np.swapaxes(seen.light, 1, 2)).reshape(-1, samples)
    cases, spanned = _banded(tuple(seen.at_px.tolist()), sigma, is_single)
    left = (spanned.rests(values) ** 2 * samples).reshape(count, channels, -1).sum(axis=1)
    widths = _widths(seen.at_px)[: 1 if is_single else None]
    rests, places = (np.empty((count, len(widths))) for _ in range(2))
    for k, wide in enumerate(widths.tolist()):
        some = np.flatnonzero(cases[:, 1] == wide)
        best = left[:, some].argmin(axis=1)
        rests[:, k], places[:, k] = left[np.arange(count), some[best]], cases[some[best], 0]
    return rests, places


def _widths(at: FloatArray) -> FloatArray:
    """Widths tried, px: none, and so many as are seen with some of the item beyond."""
    most = _WIDEST * -float(at[0])
    count = max(2, int(np.log(most / _LEAST_PX) / np.log(_RATIO)) + 2)
    return np.concatenate([[0.0], np.geomspace(0.7 * _LEAST_PX, most, count)])


@lru_cache(maxsize=32)
def _banded(at: tuple[float, ...], sigma: float, is_single: bool) -> tuple[FloatArray, Spans]:
    """Cases (M, 2), where the outer step lies and how wide the band is, and what spans each."""
    samples = np.array(at)
    widths = _widths(samples)[: 1 if is_single else None].tolist()
    cases = np.array(
        [
            (place, wide)
            for wide in widths
            for place in np.arange(-_BEFORE_PX, min(wide, _BEYOND_PX) + _BEYOND_PX + 0.01, _PLACES_PX)
        ]
    )
    return cases, Spans.of(spanning(_basis(samples, cases, sigma)[..., : 2 if is_single else 3]))


def _basis(at: FloatArray, cases: FloatArray, sigma: float) -> FloatArray:
    """(M, K, 3): a level, the outer step and the inner one; of no width the inner one is none."""
    outer = normal_cdf((cases[:, None, 0] - at) / sigma)
    inner = normal_cdf((cases[:, None, 0] - cases[:, None, 1] - at) / sigma) * (cases[:, None, 1] > 0)
    return np.stack([np.ones_like(outer), outer, inner], axis=2)


def _is_shadow(seen: _Seen, found: _Best) -> bool:
    """Whether the band has an end, shows across most stretches, and its light is a part of the ground's."""
    lit = np.flatnonzero(found.wide_px > 0.5 * norm(found.vector))
    if len(lit) < _LEAST_LIT or norm(found.vector) > _OPEN * _widths(seen.at_px)[-1]:
        return False
    levels = []
    for k in lit.tolist():
        case = np.array([[found.outer_px[k], found.wide_px[k]]])
        levels.append(least_squares(_basis(seen.at_px, case, found.sigma)[0], seen.light[k]))
    if float(np.median([norm(one[2]) for one in levels])) < _LEAST_STEP:
        return False
    band = medians([one[0] + one[1] + seen.ground for one in levels])
    part = float(product(band, seen.ground) / max(float(product(seen.ground, seen.ground)), 1e-12))
    return _DARK < part < _LIGHT and norm(band - part * seen.ground) < _LEAST_OF_HUE


def _as_runner_up(contour: Contour, found: _Best) -> RunnerUp | None:
    """Both borders at every point that faces the vector's way."""
    wide = np.maximum(product(outward_normals(contour.points_px), found.vector), 0.0)
    doubtful = wide > _SEEN_PART * norm(found.vector)
    if not doubtful.any():
        return None
    lit = found.wide_px > 0.5 * norm(found.vector)
    outer = float(np.median(found.outer_px[lit]))
    return RunnerUp(
        np.where(doubtful, outer - wide, 0.0), np.where(doubtful, outer, 0.0), doubtful, float(doubtful.mean())
    )
