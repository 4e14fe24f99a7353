"""Whether an edge bears out the curve from codes to light that was taken, where the file states none.

Blur happens in light: taken through the right curve, a blurred step is the same on both sides of its middle; through a
wrong one it is skewed, and its half level lies off the edge. How well one step fits the light, beside how well it fits
the codes as they are, tells which of the two is nearer; how far apart both place the edge is what a wrong one would do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..measure.profiles import normal_cdf
from ..measure.ragged import medians
from ..measure.response import srgb_codes
from ..records import FloatArray
from ..steady import norm, product
from .spans import Spans, spanning
from .stretches import NEAR_PX, SAMPLING_PX, Stretch

_LINEAR_PART = 0.1  # of files that state no curve, those whose codes are linear light; common practice, no source
_BLUR_STEP_PX = 0.002  # alike items share what was worked out for one
_FREE = 10.0  # independent values along a profile near its edge
_LEAST_STEP = 0.02  # of light, or of its root: less is no step


@dataclass(frozen=True, slots=True)
class CurveDoubt:
    """What it would do to an edge if the file's codes were linear light, and how much speaks for that."""

    shift_px: float  # between both places of the edge
    weight: float  # 0: the edge bears out the curve taken, 1: it bears out linear light

    @property
    def sd_px(self) -> float:
        """Standard uncertainty of the edge's place for the chance that the codes are linear light.

        What both leave over is as a sum of `_FREE` squares (its other parts are alike, from texture and shade): odds by
        Bayes, with the share of files that state nothing and are linear beforehand.
        """
        if self.weight >= 1.0:
            return self.shift_px
        odds = _LINEAR_PART / (1.0 - _LINEAR_PART) * (self.weight / (1.0 - self.weight)) ** (0.5 * _FREE)
        return self.shift_px * float(np.sqrt(odds / (1.0 + odds)))


def curve_doubts(lights: Sequence[Sequence[Stretch | None]], blurs_px: Sequence[float]) -> list[CurveDoubt | None]:
    """Hold items' mean profiles in sRGB's light against those in their codes; None where there is no clear profile.

    Parameters
    ----------
    lights
        Of each what was seen along its exterior, in a picture whose file states no curve, so that sRGB's was taken.
    blurs_px
        Of those exteriors.
    """
    found: list[CurveDoubt | None] = [None] * len(lights)
    profiles: list[_Profile] = []
    owners: list[int] = []
    for k, (seen, blur_px) in enumerate(zip(lights, blurs_px, strict=True)):
        two = _profiles(seen, blur_px)
        if two is not None:
            profiles += two
            owners.append(k)
    places = _fitted(profiles)
    for k, (there, rest), (other, other_rest) in zip(owners, places[::2], places[1::2], strict=True):
        power = rest**2 + other_rest**2
        found[k] = CurveDoubt(abs(there - other), rest**2 / power if power > 0 else 0.0)
    return found


@dataclass(frozen=True, slots=True)
class _Profile:
    """How an edge's mean light falls from its item to the ground, in parts of the whole step."""

    at_px: tuple[float, ...]  # (K,)
    value: FloatArray  # (K,), 1 to 0
    sigma: int  # steps of a blur


def _profiles(seen: Sequence[Stretch | None], blur_px: float) -> tuple[_Profile, _Profile] | None:
    """An item's mean profile within its blur, in light and in codes; None where there is no clear one."""
    known = [one for one in seen if one is not None]
    if not known:
        return None
    near = {id(one.at_px): np.abs(one.at_px) <= NEAR_PX for one in known}
    at = known[0].at_px[near[id(known[0].at_px)]]
    light = medians(np.stack([one.light[near[id(one.at_px)]] for one in known]))
    sigma = float(np.hypot(blur_px, SAMPLING_PX))
    # within the blur only: farther off shade and the item's own pattern tell on both alike
    within = np.abs(at) <= 3.5 * sigma
    values = _part_way(light[within]), _part_way(srgb_codes(light[within]))
    if values[0] is None or values[1] is None:
        return None
    places, steps = tuple(at[within].tolist()), round(sigma / _BLUR_STEP_PX)
    return _Profile(places, values[0], steps), _Profile(places, values[1], steps)


def _part_way(values: FloatArray) -> FloatArray | None:
    """Values (K, C) as parts of the step from the last to the first, (K,); None where there is none."""
    axis = values[:3].mean(axis=0) - values[-3:].mean(axis=0)
    size = norm(axis)
    return None if size < _LEAST_STEP else np.asarray(product(values - values[-1], axis) / size**2)


def _fitted(profiles: Sequence[_Profile]) -> list[tuple[float, float]]:
    """Place of the one step that fits each profile best, and what it leaves as a part of its height."""
    found = [(0.0, 0.0)] * len(profiles)
    alike: dict[tuple[tuple[float, ...], int], list[int]] = {}
    for k, one in enumerate(profiles):
        alike.setdefault((one.at_px, one.sigma), []).append(k)
    for key, numbers in alike.items():
        cases, spanned = _singles(*key)
        rests, best = spanned.least(np.stack([profiles[k].value for k in numbers]))
        for k, place, rest in zip(numbers, cases[best, 0].tolist(), rests.tolist(), strict=True):
            found[k] = place, rest
    return found


@lru_cache(maxsize=32)
def _singles(at: tuple[float, ...], sigma: int) -> tuple[FloatArray, Spans]:
    """Places and blurs about `sigma` (steps of a blur) of single steps, (M, 2), and what spans each."""
    blurs = sigma * _BLUR_STEP_PX * np.arange(0.7, 1.5, 0.05)
    cases = np.array([(x, s) for x in np.arange(-2.0, 2.01, 0.05) for s in blurs])
    steps = normal_cdf((cases[:, None, 0] - np.array(at)[None, :]) / cases[:, None, 1])
    return cases, Spans.of(spanning(np.stack([np.ones_like(steps), steps], axis=2)))
