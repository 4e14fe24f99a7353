"""Smooth a noisy closed contour without moving it: local quadratics, as long as the data allow."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from ..measure.rings import rolled
from ..records import FloatArray
from ..steady import pseudo_inverse

IntArray = npt.NDArray[np.intp]

HALF_WINDOWS = (2, 4, 8, 16, 32)


@cache
def quadratic_weights(half: int, derivative: int = 0) -> FloatArray:
    """Weights of a least-squares quadratic over 2 `half` + 1 even steps: value (0) or derivative (1, 2) in the middle.

    Savitzky and Golay, Analytical Chemistry 36 (1964) 1627.
    """
    t = np.arange(-half, half + 1, dtype=np.float64)
    design = np.column_stack([np.ones_like(t), t, t**2])
    row = pseudo_inverse(design)[derivative] * (1.0, 1.0, 2.0)[derivative]
    row.setflags(write=False)
    return np.asarray(row)


def correlate_closed(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted sum over neighbours of a closed sequence; `values` (N, C), odd number of `weights`; (N, C)."""
    half = len(weights) // 2
    if 2 * half + 1 > len(values):
        raise ValueError("the sequence is shorter than the window")
    padded = np.concatenate([values[-half:], values, values[:half]]).T.astype(np.float64, order="C")
    count, (row, one) = len(values), padded.strides
    # views of all windows, as numpy.lib.stride_tricks makes them in ten times as long
    windows = np.ndarray((len(padded), count, len(weights)), np.float64, padded, strides=(row, one, one))
    return np.asarray(np.einsum("cnk,k->nc", windows, weights))


def smooth_closed(
    points: FloatArray, normals: FloatArray, noise: float, *, longest: int = 32
) -> tuple[FloatArray, FloatArray]:
    """Smooth even points of a closed curve with the longest window that the noise cannot tell from shorter ones.

    A window is accepted while its estimate stays within 2.5 standard deviations of every shorter window's
    estimate (Lepski's rule), so straight and round stretches are averaged over many points and features keep
    their shape.

    Parameters
    ----------
    points
        (N, 2), about evenly spaced.
    normals
        (N, 2) unit normals; only movement along them counts.
    noise
        Standard deviation of a point along its normal.
    longest
        Longest half window to try.

    Returns
    -------
    points, sd
        (N, 2) smoothed points and (N,) their standard deviation along the normal.
    """
    halves = [h for h in HALF_WINDOWS if h <= longest and 2 * h + 1 < len(points)]
    if not halves:
        return points, np.full(len(points), noise)
    best = correlate_closed(points, quadratic_weights(halves[0]))
    gains = [float(np.sqrt((quadratic_weights(h) ** 2).sum())) for h in halves]
    sd = np.full(len(points), gains[0] * noise)
    alive = np.ones(len(points), bool)
    estimates = [best]
    for half, gain in zip(halves[1:], gains[1:], strict=True):
        estimate = correlate_closed(points, quadratic_weights(half))
        for earlier, earlier_gain in zip(estimates, gains, strict=False):
            moved = np.abs(((estimate - earlier) * normals).sum(axis=1))
            alive &= moved <= 2.5 * noise * earlier_gain
        accepted = _shrunk(alive, max(1, half // 4))
        best = np.where(accepted[:, None], estimate, best)
        sd = np.where(accepted, gain * noise, sd)
        estimates.append(estimate)
    return best, sd


def _shrunk(
    alive: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], reach: int
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """True where all neighbours within `reach` are True (closed), so the window does not flicker."""
    count = np.concatenate([alive[-reach:], alive, alive[:reach]]).astype(np.int64)
    total = np.concatenate([[0], np.cumsum(count)])
    width = 2 * reach + 1
    return np.asarray(total[width:] - total[:-width] == width)


def resample_closed(points: FloatArray, step: float, *, path: FloatArray | None = None) -> FloatArray:
    """Even steps of about `step` along a closed polyline; `path` (N, 2) may give smoother points to measure on."""
    ruler = points if path is None else path
    length = np.maximum(np.linalg.norm(rolled(ruler, -1) - ruler, axis=1), 1e-9)
    s = np.concatenate([[0.0], np.cumsum(length)])
    count = max(8, round(s[-1] / step))
    target = np.arange(count) * (s[-1] / count)
    at = np.clip(np.searchsorted(s, target, side="right") - 1, 0, len(points) - 1)
    return _hermite(points, length, at, (target - s[at]) / length[at])


def _hermite(points: FloatArray, length: FloatArray, at: IntArray, part: FloatArray) -> FloatArray:
    """Cubic through the points of a closed sequence: `part` (0..1) of the way from point `at` to the next.

    Straight chords would pull arcs inward by an eighth of the squared chord over the radius. The slope at a
    point is that of the parabola through it and its neighbours.
    """
    before = rolled(length, 1)
    chord = (rolled(points, -1) - points) / length[:, None]
    share = (before / (before + length))[:, None]
    slope = share * chord + (1 - share) * rolled(chord, 1)
    following = (at + 1) % len(points)
    t, h = part[:, None], length[at][:, None]
    return np.asarray(
        (1 + 2 * t) * (1 - t) ** 2 * points[at]
        + t * (1 - t) ** 2 * h * slope[at]
        + t**2 * (3 - 2 * t) * points[following]
        + t**2 * (t - 1) * h * slope[following]
    )


def closed_normals(points: FloatArray, half: int) -> FloatArray:
    """Unit normals of a closed sequence, to the right of its direction of travel in (x, y); (N, 2)."""
    half = min(half, (len(points) - 1) // 2)
    tangent = correlate_closed(points, quadratic_weights(half, 1))
    length = np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    tangent = tangent / length
    return np.column_stack([tangent[:, 1], -tangent[:, 0]])
