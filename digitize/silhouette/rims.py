"""A paler rim round an item: a second step outside the first, as sharp, nearly all round. The outer one is the edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.profiles import linear_pixels
from ..measure.rings import rolled
from ..records import Float32Array, FloatArray, Picture

_PLACES = 64  # along the border
_AT_ONCE = 8  # borders whose light is held at a time
_REACH_MM = 0.9  # outward: a wider rim is seen in the reduced picture
_MOST_PX, _STEP_PX = 40.0, 0.5
_INSIDE_PX = 12.0  # inward of the border
_BEYOND_PX = 6.0  # of ground, outside the widest rim
_OUT_OF_STEP = 1.6  # blurs from a step's middle to the light before and after it
_OWN = 0.1  # of the item's contrast: light nearer to the item's, or to the ground's, is none of a rim
_ARM_PX = 6  # of the border, either side, that tells its direction
_POOLED = 5  # neighbouring places averaged
_NEAREST = 2.2  # blurs: nearer steps are one to the eye
_LEAST_DROP, _CLEAR = 0.04, 5.0  # of the item's contrast, and of the noise far out
_LEAST_INNER = 0.2  # of it, of a step within: less is the item's own grain
_WHOLE = 0.75  # of the plateau must end in the step: shade goes on
_SHARP = 0.55  # of the steepness of the item's own edge, for its height; a shadow has 0.1 to 0.4
_NARROWEST_PX = 3.0  # two steps nearer than that are one in noise
_ALIKE_PX, _ALIKE_PART = 1.5, 0.1  # px, and of the width: widths of one rim
# Rendered rims of one light have 0.97 to 1.00 of the places, and 0.01 to 0.24 of spread; shade of scanned leaves at
# 100 dpi 0.2 to 0.53, and 0.3 to 0.5.
_ROUND, _EVEN = 0.85, 0.25  # part of the places, and spread of the rim's light over them, to take the outer step
_SEEN, _SEEN_EVEN = 0.6, 0.1  # to say that there is one


@dataclass(frozen=True, slots=True)
class Rim:
    """What lies between an item's inner and outer step, of one light all round or nearly."""

    width_px: float
    is_outside: bool  # of the border taken
    share: float  # of the places looked at
    light: FloatArray  # (C,) linear light of the rim

    @property
    def is_sure(self) -> bool:
        """Whether it lies outside all round: its outer step is the item's edge."""
        return self.is_outside and self.share >= _ROUND


def pale_rims(picture: Picture, chains: Sequence[npt.NDArray[np.int64] | None], mm_per_px: float) -> list[Rim | None]:
    """Look for a second step beside each of many borders.

    Parameters
    ----------
    picture
        The picture.
    chains
        (N, 2) border pixels of each item's outer border, px, in order; None of one that is not looked at.
    mm_per_px
        Size of a pixel.
    """
    found: list[Rim | None] = [None] * len(chains)
    long = [k for k, chain in enumerate(chains) if chain is not None and len(chain) >= 4 * _PLACES]
    at = np.arange(-_INSIDE_PX, min(_REACH_MM / mm_per_px, _MOST_PX) + _BEYOND_PX, _STEP_PX)
    for first in range(0, len(long), _AT_ONCE):
        some = long[first : first + _AT_ONCE]
        own = [chain.astype(np.float64) for k in some if (chain := chains[k]) is not None]
        light = _pooled_light(picture, own, at)
        far, deep = light[:, at > at[-1] - 3.0].mean(axis=1), light[:, at < at[0] + 2.0].mean(axis=1)
        across = deep - far
        value = np.einsum("nkc,nc->nk", light - far[:, None], across)
        value /= np.maximum((across**2).sum(axis=1), 1e-8)[:, None]
        widths, plateaus = _second_steps(value, at)
        for n, k in enumerate(some):
            rows = slice(n * _PLACES, (n + 1) * _PLACES)
            found[k] = _rim(widths[rows], plateaus[rows], value[rows], light[rows])
    return found


def _pooled_light(picture: Picture, chains: Sequence[FloatArray], at: FloatArray) -> Float32Array:
    """Light along the normals at the places of each border in turn, the mean over neighbouring ones; (N, K, C)."""
    places = []
    for chain in chains:
        points, outward = _places(chain)
        places.append(np.rint(points[:, None] + at[:, None] * outward[:, None]).astype(np.int64))
    top = (picture.width_px - 1, picture.height_px - 1)
    x, y = np.moveaxis(np.clip(np.stack(places), 0, top), 3, 0)
    light = linear_pixels(picture, x, y)  # to the nearest pixel: neighbouring places, averaged, lie at other fractions
    near = np.arange(_PLACES)[:, None] + np.arange(_POOLED // 2, -(_POOLED // 2) - 1, -1)
    pooled = light[:, near[:, 0] % _PLACES]
    for one in near.T[1:]:
        pooled += light[:, one % _PLACES]
    pooled /= _POOLED
    return pooled.reshape(-1, len(at), light.shape[3])


def _rim(widths: FloatArray, plateaus: npt.NDArray[np.int64], value: FloatArray, light: Float32Array) -> Rim | None:
    """What the second steps at the places of one border make: widths (N,), and where each plateau is; (N, K) values."""
    good = np.isfinite(widths)
    if good.mean() < _SEEN:
        return None
    width = float(np.median(widths[good]))
    if abs(width) < _NARROWEST_PX:
        return None
    alike = good & (np.abs(widths - width) < _ALIKE_PX + _ALIKE_PART * abs(width))
    if alike.mean() < _SEEN:
        return None
    low, middle, high = np.percentile(value[alike, plateaus[alike]], (20, 50, 80))
    # shade is deeper on one side than on the other
    even = float(high - low) / max(abs(float(middle)), 1e-6)
    all_round = alike.mean() >= _ROUND
    if even > (_EVEN if all_round else _SEEN_EVEN):
        return None
    light_of_rim = np.asarray(np.median(light[alike, plateaus[alike]], axis=0), dtype=np.float64)
    return Rim(abs(width), width > 0, float(alike.mean()), light_of_rim)


def _places(chain: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Evenly chosen places of a closed border, and unit directions outward."""
    pick = np.linspace(0, len(chain), _PLACES, endpoint=False).astype(int)
    along = chain[(pick + _ARM_PX) % len(chain)] - chain[pick - _ARM_PX]
    x, y = chain.T
    area = 0.5 * float((x * rolled(y, -1) - rolled(x, -1) * y).sum())
    outward = np.column_stack([along[:, 1], -along[:, 0]]) * np.sign(area)
    return chain[pick], outward / np.maximum(np.linalg.norm(outward, axis=1), 1e-9)[:, None]


def _second_steps(value: FloatArray, at: FloatArray) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """How far outside of the border a second step lies (N,), px, inside below 0, NaN without; index between the two."""
    fall = -np.gradient(value, _STEP_PX, axis=1)
    first = np.where((at > -3.0) & (at < 3.0), fall, 0.0)
    inner = first.argmax(axis=1)
    rows = np.arange(len(value))
    steepest = np.maximum(first[rows, inner], 1e-6)
    blur = np.clip(1.0 / (np.sqrt(2 * np.pi) * steepest), 0.5, 4.0)  # the inner step is nearly the whole of it
    edge = at[inner][:, None]
    outward = np.where((at[None, :] > edge + _NEAREST * blur[:, None]) & (at < at[-1] - 3.0), fall, -1.0)
    inward = np.where((at[None, :] < edge - _NEAREST * blur[:, None]) & (at > at[0] + 3.0), fall, -1.0)
    noise = value[:, at > at[-1] - 4.0].std(axis=1)
    reach = np.maximum(2, np.rint(_OUT_OF_STEP * blur / _STEP_PX)).astype(np.int64)
    found = []
    for steps, outside in ((outward, True), (inward, False)):
        second = steps.argmax(axis=1)
        before = value[rows, np.maximum(second - reach, 0)]
        after = value[rows, np.minimum(second + reach, len(at) - 1)]
        drop = before - after
        sharp = steps[rows, second] > _SHARP * drop / (np.sqrt(2 * np.pi) * blur)
        # of what is left of the contrast there, the step takes nearly all: shade and grain go on
        whole = drop > _WHOLE * (before if outside else 1.0 - after)
        good = (drop > np.maximum(_LEAST_DROP if outside else _LEAST_INNER, _CLEAR * noise)) & whole & sharp
        good &= before < 1.0 - _OWN if outside else after > _OWN
        found.append((np.where(good, at[second] - at[inner], np.nan), second))
    (out, second), (within, deeper) = found
    widths = np.where(np.isfinite(out), out, within)
    return widths, np.where(np.isfinite(out), inner + second, inner + deeper) // 2
