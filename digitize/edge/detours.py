"""Narrow tips, notches and slits, where no profile shows one clean step: the half level itself is followed round them.

A straight line from the last good place before to the first after would cut them off. A strip so thin and long that a
hair on the glass looks the same is cut off, and said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..measure.profiles import light_between
from ..measure.ragged import IntArray
from ..records import BoolArray, FloatArray, Picture
from ..steady import product

_LEAST_PX = 1.0  # a border that departs less from the straight line across is as well told by its neighbours
_HAIR_PX = 2.15  # a hair of 0.09 mm is 2.1 px wide at 600 dpi; a wider strip shows both of its sides
_LONGEST = 8.0  # widths that a narrower one may be long: a tip of 15 degrees is; a hair is longer
_NARROWEST_PX = 1.0  # a narrower strip is the border's own steps
_SAID_PX, _SAID_WIDE_PX = 4.0, 0.5  # length and width from which a strip that was cut off is said: less is noise
_LEAST_CONTRAST = 0.2  # of the border's own: with less there is no edge to follow
_REACH_PX = 2.0  # a border pixel is farther from the half level nowhere

HalfLevel = Callable[[IntArray], FloatArray]
"""(M,) indices of border pixels -> (M, 2) px, the place where the light passes the half level next to each, or NaN."""


def half_level(
    picture: Picture, base: FloatArray, usable: BoolArray, contrast: FloatArray, inner: FloatArray, outer: FloatArray
) -> HalfLevel:
    """Return what finds the half level beside border pixels `base` (N, 2), along the light's own gradient there.

    What was seen at each pixel: whether both sides' light is known (N,), their distance (N,), and they, (N, C).
    """
    clear = usable & (contrast >= _LEAST_CONTRAST * np.median(contrast))

    def find(index: IntArray) -> FloatArray:
        middle, inside, outside = base[index], inner[index], outer[index]
        direction = inside - outside
        gain = direction / np.maximum((direction**2).sum(axis=1), 1e-9)[:, None]

        def value(places: FloatArray) -> FloatArray:
            light = light_between(picture, places.reshape(-1, 2)).reshape(*places.shape[:-1], -1)
            return np.asarray(((light - outside[:, None]) * gain[:, None]).sum(axis=2))

        apart = np.array([(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)], dtype=np.float64)
        around = value(middle[:, None] + apart)
        outward = -(product(around, apart))
        outward = outward / np.maximum(np.linalg.norm(outward, axis=1), 1e-9)[:, None]
        along = np.arange(-_REACH_PX, _REACH_PX + 0.1, 0.25)
        falling = value(middle[:, None] + along[None, :, None] * outward[:, None])
        at = np.where(clear[index], _crossing(falling, along), np.nan)
        return np.asarray(middle + at[:, None] * outward)

    return find


def _crossing(value: FloatArray, along: FloatArray) -> FloatArray:
    """Where each row of `value` (M, K) falls through a half next to 0, in units of `along` (K,); NaN where nowhere."""
    falls = (value[:, :-1] >= 0.5) & (value[:, 1:] < 0.5)
    far = np.where(falls, np.abs(along[:-1] + along[1:]), np.inf)
    best, row = far.argmin(axis=1), np.arange(len(value))
    upper, lower = value[row, best], value[row, best + 1]
    part = (upper - 0.5) / np.maximum(upper - lower, 1e-9)
    place = along[best] + part * (along[best + 1] - along[best])
    return np.where(np.isfinite(far[row, best]), place, np.nan)


@dataclass(frozen=True, slots=True)
class Strip:
    """A way there and back of the border."""

    wide_px: float  # on the whole
    long_px: float  # farthest from the straight line across its foot
    tip_px: tuple[float, float]

    @property
    def is_item(self) -> bool:
        """Whether a hair can be ruled out."""
        return self.wide_px > _HAIR_PX or _NARROWEST_PX < self.wide_px > self.long_px / _LONGEST


@dataclass(frozen=True, slots=True)
class Followed:
    """Places along a border with the half level's put in."""

    places_px: FloatArray  # (K, 2)
    new: BoolArray  # (N,), for which border pixels
    cut_off: tuple[Strip, ...]  # what may be hairs and was left out


def with_detours(places: FloatArray, index: IntArray, base: FloatArray, find: HalfLevel) -> Followed:
    """Put in, between good places, those of the half level wherever the border goes another way than straight.

    Parameters
    ----------
    places
        (K, 2) px, the good places.
    index
        (K,) which border pixel each belongs to, ascending.
    base
        (N, 2) px, all border pixels of the closed border.
    find
        Finds the half level beside border pixels.
    """
    missing = (np.roll(index, -1) - index - 1) % len(base)
    new = np.zeros(len(base), bool)
    pieces: list[FloatArray] = []
    cut_off: list[Strip] = []
    done = 0
    for k in np.flatnonzero(missing >= 2).tolist():
        run = (index[k] + 1 + np.arange(missing[k])) % len(base)
        if _departure(base[run], places[[k, (k + 1) % len(places)]]).max() < _LEAST_PX:
            continue
        detour = find(run)
        run, detour = run[np.isfinite(detour[:, 0])], detour[np.isfinite(detour[:, 0])]
        strip = _strip(places, k, detour)
        if strip is not None and strip.is_item:
            pieces += [places[done : k + 1], detour]
            done = k + 1
            new[run] = True
        elif strip is not None and strip.long_px >= _SAID_PX and strip.wide_px >= _SAID_WIDE_PX:
            cut_off.append(strip)
    return Followed(np.vstack([*pieces, places[done:]]) if pieces else places, new, tuple(cut_off))


def _departure(points: FloatArray, ends: FloatArray) -> FloatArray:
    """Distance of each of `points` (M, 2) from the stretch between two `ends` (2, 2)."""
    way = ends[1] - ends[0]
    part = np.clip(product(points - ends[0], way) / max(float(product(way, way)), 1e-9), 0.0, 1.0)
    return np.asarray(np.linalg.norm(points - ends[0] - part[:, None] * way, axis=1))


def _strip(places: FloatArray, k: int, detour: FloatArray) -> Strip | None:
    """Measure a detour (M, 2) after place `k`; None where it is as good as straight.

    Where good places stand on one of its sides they belong to it: it reaches to the nearest on the other side.
    """
    count = len(places)
    if not len(detour) or _departure(detour, places[[k, (k + 1) % count]]).max() < _LEAST_PX:
        return None
    beside = np.arange(min(len(detour) + 8, count // 2))
    before, after = places[(k - beside) % count], places[(k + 1 + beside) % count]
    back = np.linalg.norm(before - after[0], axis=1)
    on = np.linalg.norm(after - before[0], axis=1)
    i, j = (int(back.argmin()), 0) if back.min() < on.min() else (0, int(on.argmin()))
    around = np.vstack([before[i::-1], detour, after[: j + 1]])
    length = float(np.linalg.norm(np.diff(around, axis=0), axis=1).sum())
    x, y = around.T
    area = 0.5 * abs(float(product(x, np.roll(y, -1)) - product(y, np.roll(x, -1))))
    away = _departure(around, around[[0, -1]])
    tip_x, tip_y = around[int(away.argmax())].tolist()
    return Strip(2.0 * area / length, float(away.max()), (tip_x, tip_y))
