"""A full circle through a ring, and how well it explains it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..measure.rings import rolled
from ..records import FloatArray
from ..steady import few_unknowns

_GROUP = 64  # stretches around the circle for the mean of neighbours
_STEPS = 6
_SETTLED = 1e-9  # of the radius: a step that changes nothing


@dataclass(frozen=True, slots=True)
class CircleFit:
    """A circle, how far single points and means of neighbours stray from it, and their spread, in mm."""

    centre: FloatArray  # (2,)
    radius: float
    worst_mm: float
    worst_mean_mm: float
    sd_mm: float


def fit_circle(ring: FloatArray) -> CircleFit:
    """Fit a circle by least squares of the radial distances, each point weighted by the ring it stands for.

    Gauss-Newton from the weighted centroid; for a full circle it converges in a few steps and has no
    essential bias (Chernov 2010, section 6.8: of the order of the noise squared over the radius).
    """
    sides = np.hypot(*(rolled(ring, -1) - ring).T)
    weight = sides + rolled(sides, 1)
    centre = np.average(ring, axis=0, weights=weight)
    radius = float(np.average(np.hypot(*(ring - centre).T), weights=weight))
    for _ in range(_STEPS):
        step = _step(ring, weight, centre, radius)
        centre, radius = centre + step[:2], radius + float(step[2])
        if np.abs(step).max() < _SETTLED * radius:
            break
    away = ring - centre
    off = np.hypot(*away.T) - radius
    sector = np.floor((np.arctan2(away[:, 1], away[:, 0]) / (2 * np.pi) + 0.5) * _GROUP).astype(int) % _GROUP
    held = np.maximum(np.bincount(sector, minlength=_GROUP), 1)
    means = np.bincount(sector, off, minlength=_GROUP) / held
    return CircleFit(
        centre, radius, float(np.abs(off).max()), float(np.abs(means).max()), float(np.sqrt(np.mean(off**2)))
    )


def _step(ring: FloatArray, weight: FloatArray, centre: FloatArray, radius: float) -> FloatArray:
    """Return the change (3,) of centre and radius that lowers the squares most."""
    away = (ring - centre).T
    distance = np.maximum(np.hypot(away[0], away[1]), 1e-12)
    root = np.sqrt(weight)
    slopes = np.stack((away[0] / distance * root, away[1] / distance * root, root))
    return few_unknowns(slopes.T, (distance - radius) * root)
