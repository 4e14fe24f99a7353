"""Mean light along the normals of an outline, stretch by stretch: faint things show out of the noise there."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..measure.profiles import light_between
from ..records import Contour, FloatArray, Picture

REACH_MM = 3.0  # as far as a second border is looked for, by the users' wishes
STRETCHES = 24
SAMPLING_PX = 0.39  # what sampling between pixels, and places known to a tenth of one, add to the blur; from renders
_SPACING_MM = 0.5
_MOST_A_STRETCH, _LEAST_A_STRETCH = 16, 5  # profiles
_STEP_PX = 0.5  # near the border
NEAR_PX = 10.0
_FAR_STEP_MM = 0.06  # along a profile beyond, but a pixel at least


@dataclass(frozen=True, slots=True)
class Stretch:
    """Mean light along the normals of one stretch."""

    at_px: FloatArray  # (K,) positive outward
    light: FloatArray  # (K, C)
    noise: float  # standard deviation of one value, all channels
    inside: FloatArray  # (C,) some way in
    outside: FloatArray  # (C,) some way out


def stretches_of(contour: Contour, mm_per_px: float) -> list[np.ndarray]:
    """Return indices of the points whose profiles are taken, for each stretch; none beside corners."""
    count = len(contour.points_px)
    away = int(np.ceil(4 * contour.blur_px)) + 3
    clear = np.ones(count, bool)
    for corner in contour.corners:
        clear[(corner + np.arange(-away, away + 1)) % count] = False
    edges = np.linspace(0, count, STRETCHES + 1).astype(int)
    found = []
    for first, last in pairwise(edges.tolist()):
        at = np.arange(first, last)[clear[first:last]]
        step = max(1, round(_SPACING_MM / mm_per_px), len(at) // _MOST_A_STRETCH)
        if len(at) // step < _LEAST_A_STRETCH:
            step = max(1, len(at) // _LEAST_A_STRETCH)
        found.append(at[::step])
    return found


def mean_profile(picture: Picture, points: FloatArray, normals: FloatArray, mm_per_px: float) -> Stretch | None:
    """Return the mean light along normals at some points; None of too few, or where they leave the picture."""
    if len(points) < _LEAST_A_STRETCH:
        return None
    reach = REACH_MM / mm_per_px
    near = np.arange(-NEAR_PX, NEAR_PX + _STEP_PX / 2, _STEP_PX)
    far = np.arange(NEAR_PX + 1.0, max(reach, NEAR_PX + 3.0), max(1.0, round(_FAR_STEP_MM / mm_per_px)))
    at = np.concatenate([-far[::-1], near, far])
    places = points[:, None, :] + at[None, :, None] * normals[:, None, :]
    most = np.array([picture.width_px - 1, picture.height_px - 1])
    known = np.asarray(((places >= 0) & (places <= most)).all(axis=(0, 2)), dtype=np.bool_)
    light = light_between(picture, places.reshape(-1, 2)).reshape(len(points), len(at), -1)
    # the middle of what the profiles show: a neighbour or a speck on few of them does not count
    ordered = np.sort(light, axis=0)
    low, high = ordered[len(points) // 4], ordered[(3 * len(points)) // 4]
    kept = (light >= low - (high - low) - 0.01) & (light <= high + (high - low) + 0.01)
    mean = (light * kept).sum(axis=0) / np.maximum(kept.sum(axis=0), 1)
    if not known[np.abs(at) <= NEAR_PX].all():
        return None
    at, mean = at[known], mean[known]
    steps = mean[1:] - mean[:-1]
    noise = 1.4826 * float(np.median(np.abs(steps - np.median(steps, axis=0)))) / np.sqrt(2.0)
    out, within = at > 0.5 * at.max(), at < 0.5 * at.min()
    return Stretch(at, mean, max(noise, 2e-4), np.median(mean[within], axis=0), np.median(mean[out], axis=0))


def outward_normals(points: FloatArray, half: int = 4) -> FloatArray:
    """Unit normals out of the item, for points in a picture (y down) that run counter-clockwise seen y up; (N, 2)."""
    along = np.roll(points, -half, axis=0) - np.roll(points, half, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])
