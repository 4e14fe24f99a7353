"""A full circle through a ring, and how well it explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..measure.ragged import EndToEnd
from ..records import FloatArray
from ..steady import few_unknowns_each

_GROUP = 64  # stretches around the circle for the mean of neighbours
_STEPS = 6  # at most
_AT_ONCE = 100  # rings: of more the arrays leave the cache
_SETTLED = 1e-9  # of the radius: a step that changes nothing


@dataclass(frozen=True, slots=True)
class CircleFit:
    """A circle, how far single points and means of neighbours stray from it, and their spread, in mm."""

    centre: FloatArray  # (2,)
    radius: float
    worst_mm: float
    worst_mean_mm: float
    sd_mm: float


def fit_circles(rings: Sequence[FloatArray]) -> list[CircleFit]:
    """Fit a circle to each of several rings (N, 2), each the same as if it stood alone.

    By least squares of the radial distances, each point weighted by the ring it stands for: Gauss-Newton from the
    weighted centroid; for a full circle it converges in a few steps and has no essential bias (Chernov 2010, section
    6.8: of the order of the noise squared over the radius).
    """
    return [fit for low in range(0, len(rings), _AT_ONCE) for fit in _fitted(rings[low : low + _AT_ONCE])]


def _fitted(rings: Sequence[FloatArray]) -> list[CircleFit]:
    laid = EndToEnd.of(rings)
    x, y = (np.concatenate([ring[:, axis] for ring in rings]) for axis in (0, 1))
    after, before = laid.moved(1), laid.moved(-1)
    sides = np.hypot(x[after] - x, y[after] - y)
    weight = sides + sides[before]
    centres = np.stack([_average(one, weight, laid) for one in (x, y)], axis=1)
    away = np.hypot(x - laid.rows(centres[:, 0]), y - laid.rows(centres[:, 1]))
    radii = _average(away, weight, laid)
    going, part, columns = np.arange(len(rings)), laid, (x, y, np.sqrt(weight))
    for _ in range(_STEPS):
        step = _step(part, columns, centres[going], radii[going])
        centres[going] += step[:, :2]
        radii[going] += step[:, 2]
        on = np.flatnonzero(np.abs(step).max(axis=1) >= _SETTLED * radii[going])
        if not len(on):
            break
        going, (part, rows) = going[on], part.picked(on)
        columns = (columns[0][rows], columns[1][rows], columns[2][rows])
    return _judged(x - laid.rows(centres[:, 0]), y - laid.rows(centres[:, 1]), centres, radii, laid)


def _average(values: FloatArray, weight: FloatArray, laid: EndToEnd) -> FloatArray:
    return np.asarray(np.add.reduceat(values * weight, laid.starts) / np.add.reduceat(weight, laid.starts))


def _step(
    laid: EndToEnd, columns: tuple[FloatArray, FloatArray, FloatArray], centres: FloatArray, radii: FloatArray
) -> FloatArray:
    """Return the changes (R, 3) of centres and radii that lower the squares most, of points x, y and root weights."""
    x, y, root = columns
    x, y = x - laid.rows(centres[:, 0]), y - laid.rows(centres[:, 1])
    distance = np.maximum(np.hypot(x, y), 1e-12)
    slopes = np.stack((x / distance * root, y / distance * root, root))
    return few_unknowns_each(slopes.T, (distance - laid.rows(radii)) * root, laid.starts)


def _judged(x: FloatArray, y: FloatArray, centres: FloatArray, radii: FloatArray, laid: EndToEnd) -> list[CircleFit]:
    """Return the circles with what points away from their centres say of them."""
    off = np.hypot(x, y) - laid.rows(radii)
    sector = np.floor((np.arctan2(y, x) / (2 * np.pi) + 0.5) * _GROUP).astype(np.int64) % _GROUP
    sector += _GROUP * laid.owner
    held = np.maximum(np.bincount(sector, minlength=_GROUP * len(laid)), 1)
    means = np.bincount(sector, off, minlength=_GROUP * len(laid)) / held
    worst = np.maximum.reduceat(np.abs(off), laid.starts).tolist()
    worst_means = np.abs(means).reshape(-1, _GROUP).max(axis=1).tolist()
    spread = np.sqrt(np.add.reduceat(off**2, laid.starts) / laid.sizes).tolist()
    each = zip(centres, radii.tolist(), worst, worst_means, spread, strict=True)
    return [CircleFit(*one) for one in each]
