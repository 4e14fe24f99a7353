"""How a scanner's codes follow the light, told by the edges of a card: through the right curve a blurred step is even.

Blur happens in light, and a lens' and a sensor's are the same to both sides: the light across a straight edge, held
against itself turned about its middle, is one. A power of the stated light that makes it so is looked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from ..records import FloatArray
from ..steady import product

_LOGS = np.linspace(-0.7, 0.7, 57)
_STEP = float(_LOGS[1] - _LOGS[0])
POWERS = np.exp(_LOGS)
_GROUPS = 8  # of edges, of which one at a time is left out
_STEP_PX = 0.1  # between the places across an edge at which light is averaged
_LEAST = 5  # pixels in each step across an edge
_NEAR_PX, _FAR_PX = 3.5, 6.0  # what is compared; and where one side alone is seen
_MORE_PX = 1.5  # beyond what is compared: room for the middle's shifts
_ALONE_SD, _LEAST_SD = 0.1, 0.002  # of the power: told by one edge alone, and never known better than this
_SHIFT_PX = 0.05  # between tried middles
_SHIFTS = np.arange(-24, 25) * _SHIFT_PX  # of the middle
_KERNEL_PX = 0.3  # by which light is smoothed; even itself, so that it keeps what is even
_NEAR = 5  # powers on either side of the lowest in which parts look for theirs
_BLURS_PX = np.arange(0.4, 2.5, 0.05)
_OFF = np.arange(0.0, _NEAR_PX, _STEP_PX)
_CENTRES = np.arange(-_FAR_PX - 1.0, _FAR_PX + 1.0 + _STEP_PX / 2, _STEP_PX)


@dataclass(frozen=True, slots=True)
class Edge:
    """Pixels across straight edges: distance from the edge, positive to the lighter side, and stated light."""

    off_px: FloatArray  # (N,), within `reach_px`
    light: FloatArray  # (N,)


def reach_px() -> float:
    """How far off an edge pixels are of use."""
    return _FAR_PX + _MORE_PX


def tone_of(edges: Sequence[Edge]) -> tuple[float, float]:
    """Return the power of the stated light that makes the edges even, and its standard uncertainty.

    All edges together, each without what its noise alone makes uneven; how sure that is, from some of them at a time.
    A step from dark to light is nearly even at a second power too: of both, the one that leaves a plain blur holds.

    Raises
    ------
    ValueError
        If no edge can be used, or together they are even at none of `POWERS`.
    """
    found = [shape for edge in edges if (shape := _shape(edge)) is not None]
    if not found:
        raise ValueError("expected at least one edge that shows both sides")
    uneven, unlike = np.array(found).transpose(1, 0, 2)
    total = uneven.sum(axis=0)
    valleys = [k for k in range(1, len(POWERS) - 1) if total[k] <= min(total[k - 1], total[k + 1])]
    if not valleys:
        raise ValueError("no power makes the edges even")
    k = min(valleys, key=lambda one: float(unlike[:, one].sum()))
    near = slice(max(k - _NEAR, 0), k + _NEAR + 1)
    middle, count = near.start + _lowest(total[near]), min(_GROUPS, len(uneven))
    # what is left when a group is left out scatters by so much less (the jackknife of groups)
    parts = [_lowest(np.delete(uneven, np.s_[n::count], axis=0).sum(axis=0)[near]) for n in range(count) if count > 1]
    sd = float(np.std(parts) * np.sqrt(count - 1)) * _STEP if parts else _ALONE_SD
    return float(np.exp(_LOGS[0] + middle * _STEP)), max(sd, _LEAST_SD)


def _shape(edge: Edge) -> tuple[FloatArray, FloatArray] | None:
    """How uneven a step is at each power, and how unlike a blurred one, mean squares; None if it has gaps."""
    which = np.rint((edge.off_px - _CENTRES[0]) / _STEP_PX).astype(np.int64)
    held = (which >= 0) & (which < len(_CENTRES))
    which, light = which[held], np.maximum(edge.light[held], 1e-5)
    count = np.bincount(which, minlength=len(_CENTRES))
    if count.min() < _LEAST:
        return None
    shapes = np.array([_shape_by(light**power, which, count) for power in POWERS])
    return shapes[:, 0], shapes[:, 1]


def _shape_by(light: FloatArray, which: npt.NDArray[np.int64], count: npt.NDArray[np.int64]) -> tuple[float, float]:
    """The same of one power's light, at the middle that suits it best."""
    mean = np.bincount(which, light, len(count)) / count
    noise = np.maximum(np.bincount(which, light**2, len(count)) / count - mean**2, 0.0) / count
    dark, bright = mean[_CENTRES < -_FAR_PX + 0.5].mean(), mean[_CENTRES > _FAR_PX - 0.5].mean()
    step = (mean - dark) / (bright - dark)
    one, other = _sides()
    near = np.abs(_CENTRES) <= _SHIFTS[-1]
    k = _nearest_shift(float(_CENTRES[near][np.abs(step[near] - 0.5).argmin()]))
    for _ in range(2):
        before, own, after = product(one[k - 1 : k + 2] + other[k - 1 : k + 2], step) - 1.0
        along = (after - before) / (2 * _SHIFT_PX)
        off = float(product(own, along)) / float(product(along, along))
        k = _nearest_shift(float(_SHIFTS[k]) - off)
    # between two shifts it changes in a straight line: what that cannot take away is left
    left = product(own, own) - off * float(product(own, along))
    noisy = (product((one[k] + other[k]) ** 2, noise)).sum() / (bright - dark) ** 2
    unlike = ((_plain_steps() - product(one[k] - other[k], step)) ** 2).mean(axis=1).min()
    return float((left - noisy) / len(own)), float(unlike)


def _nearest_shift(at_px: float) -> int:
    return int(np.clip(round((at_px - _SHIFTS[0]) / _SHIFT_PX), 1, len(_SHIFTS) - 2))


@cache
def _sides() -> tuple[FloatArray, FloatArray]:
    """What takes, for each shift, the smoothed step at places on the lighter side of the middle, and on the other."""
    return _taken(1.0), _taken(-1.0)


def _taken(side: float) -> FloatArray:
    places = _SHIFTS[:, None, None] + side * _OFF[None, :, None]
    weights = np.exp(-0.5 * ((places - _CENTRES) / _KERNEL_PX) ** 2)
    return np.asarray(weights / weights.sum(axis=2, keepdims=True))


@cache
def _plain_steps() -> FloatArray:
    """The lighter side less the other of steps with a normal blur, (M, K)."""
    return np.array([[math.erf(x / blur / math.sqrt(2.0)) for x in _OFF] for blur in _BLURS_PX])


def _lowest(values: FloatArray) -> float:
    """Where equally spaced values are lowest, by the parabola through the three there."""
    k = int(np.clip(values.argmin(), 1, len(values) - 2))
    a, b, c = values[k - 1 : k + 2].tolist()
    bend = a - 2 * b + c
    return k + 0.5 * (a - c) / bend if bend > 0.0 else float(k)
