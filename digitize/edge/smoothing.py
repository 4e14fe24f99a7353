"""Smooth noisy closed contours without moving them: local quadratics, as long as the data allow.

Each is done to many contours at once, which lie end to end, or to one.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from ..measure.ragged import EndToEnd, IntArray
from ..records import BoolArray, FloatArray
from ..steady import pseudo_inverse

HALF_WINDOWS = (2, 4, 8, 16, 32)  # points on either side
_AGREE = 2.5  # standard deviations of a narrower window's mean, within which a wider one's must stay


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
    return correlate_rings(values, EndToEnd([len(values)]), weights)


def correlate_rings(values: FloatArray, rings: EndToEnd, weights: FloatArray) -> FloatArray:
    """As `correlate_closed`, of many sequences end to end."""
    half = len(weights) // 2
    if len(rings) and 2 * half + 1 > int(rings.sizes.min()):
        raise ValueError("the sequence is shorter than the window")
    is_one = len(rings) == 1
    wide = np.concatenate([values[-half:], values, values[:half]]) if is_one else values[rings.padded(half)]
    padded = wide.T.astype(np.float64, order="C")
    count, (row, one) = padded.shape[1] - 2 * half, padded.strides
    # views of all windows, as numpy.lib.stride_tricks makes them in ten times as long
    windows = np.ndarray((len(padded), count, len(weights)), np.float64, padded, strides=(row, one, one))
    found = np.einsum("cnk,k->nc", windows, weights)
    return np.asarray(found if is_one else found[rings.unpadded(half)])


def smooth_rings(
    points: FloatArray, normals: FloatArray, rings: EndToEnd, noise: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Smooth even points of closed curves with the longest window that the noise cannot tell from shorter ones.

    A window is accepted while its estimate stays within 2.5 standard deviations of every shorter window's
    estimate (Lepski's rule), so straight and round stretches are averaged over many points and features keep
    their shape.

    Parameters
    ----------
    points
        (N, 2), about evenly spaced.
    normals
        (N, 2) unit normals; only movement along them counts.
    rings
        R curves end to end.
    noise
        (R,) standard deviation of a point along its normal.

    Returns
    -------
    points, sd
        (N, 2) smoothed points and (N,) their standard deviation along the normal.
    """
    best, sd = np.array(points), rings.rows(noise)
    fitting = np.searchsorted([2 * half + 1 for half in HALF_WINDOWS], rings.sizes)  # windows shorter than each ring
    for _, some, rows in rings.alike(fitting):
        halves = HALF_WINDOWS[: int(np.searchsorted([2 * half + 1 for half in HALF_WINDOWS], some.sizes[0]))]
        if halves:
            best[rows], sd[rows] = _smoothed(points[rows], normals[rows], some, sd[rows], halves)
    return best, sd


def _smoothed(
    points: FloatArray, normals: FloatArray, rings: EndToEnd, noise: FloatArray, halves: tuple[int, ...]
) -> tuple[FloatArray, FloatArray]:
    """Smooth points (N, 2) of rings that are longer than all these windows; `noise` (N,) is that of each point."""
    gains = [float(np.sqrt((quadratic_weights(h) ** 2).sum())) for h in halves]
    best = correlate_rings(points, rings, quadratic_weights(halves[0]))
    sd, alive = gains[0] * noise, np.ones(len(points), bool)
    estimates = [best]
    for half, gain in zip(halves[1:], gains[1:], strict=True):
        estimate = correlate_rings(points, rings, quadratic_weights(half))
        for earlier, earlier_gain in zip(estimates, gains, strict=False):
            moved = np.abs(((estimate - earlier) * normals).sum(axis=1))
            alive &= moved <= _AGREE * noise * earlier_gain
        accepted = _shrunk(alive, rings, max(1, half // 4))
        best = np.where(accepted[:, None], estimate, best)
        sd = np.where(accepted, gain * noise, sd)
        estimates.append(estimate)
    return best, sd


def _shrunk(alive: BoolArray, rings: EndToEnd, reach: int) -> BoolArray:
    """True where all neighbours within `reach` are True (closed), so the window does not flicker."""
    count = alive[rings.padded(reach)].astype(np.int64)
    total = np.concatenate([[0], np.cumsum(count)])
    width = 2 * reach + 1
    return np.asarray((total[width:] - total[:-width] == width)[rings.unpadded(reach)])


def resample_closed(points: FloatArray, step: float) -> FloatArray:
    """Even steps of about `step` along a closed polyline."""
    return resample_rings(points, EndToEnd([len(points)]), step)[0]


def resample_rings(
    points: FloatArray, rings: EndToEnd, step: float, *, path: FloatArray | None = None
) -> tuple[FloatArray, EndToEnd]:
    """Even steps of about `step` along closed polylines; `path` (N, 2) may give smoother points to measure on."""
    ruler = points if path is None else path
    length = np.maximum(np.linalg.norm(ruler[rings.moved(1)] - ruler, axis=1), 1e-9)
    at, part, sizes = [], [], []
    for own in rings.slices:
        s = np.concatenate([[0.0], np.cumsum(length[own])])
        count = max(8, round(s[-1] / step))
        target = np.arange(count) * (s[-1] / count)
        place = np.clip(np.searchsorted(s, target, side="right") - 1, 0, len(s) - 2)
        at.append(place + own.start)
        part.append((target - s[place]) / length[own][place])
        sizes.append(count)
    even = _hermite(points, length, rings, np.concatenate(at), np.concatenate(part))
    return even, EndToEnd(sizes)


def _hermite(points: FloatArray, length: FloatArray, rings: EndToEnd, at: IntArray, part: FloatArray) -> FloatArray:
    """Cubic through the points of closed sequences: `part` (0..1) of the way from point `at` to the next.

    Straight chords would pull arcs inward by an eighth of the squared chord over the radius. The slope at a
    point is that of the parabola through it and its neighbours.
    """
    next_, last = rings.moved(1), rings.moved(-1)
    before = length[last]
    chord = (points[next_] - points) / length[:, None]
    share = (before / (before + length))[:, None]
    slope = share * chord + (1 - share) * chord[last]
    following = next_[at]
    t, h = part[:, None], length[at][:, None]
    return np.asarray(
        (1 + 2 * t) * (1 - t) ** 2 * points[at]
        + t * (1 - t) ** 2 * h * slope[at]
        + t**2 * (3 - 2 * t) * points[following]
        + t**2 * (t - 1) * h * slope[following]
    )


def closed_normals(points: FloatArray, half: int) -> FloatArray:
    """Unit normals of a closed sequence, to the right of its direction of travel in (x, y); (N, 2)."""
    return normals_of_rings(points, EndToEnd([len(points)]), half)


def normals_of_rings(points: FloatArray, rings: EndToEnd, half: int) -> FloatArray:
    """As `closed_normals`, of many sequences end to end."""
    tangent = np.empty_like(points, dtype=np.float64)
    for numbers, some, rows in rings.alike(np.minimum(half, (rings.sizes - 1) // 2)):
        least = min(half, (int(rings.sizes[numbers[0]]) - 1) // 2)
        tangent[rows] = correlate_rings(points[rows], some, quadratic_weights(least, 1))
    length = np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    tangent = tangent / length
    return np.column_stack([tangent[:, 1], -tangent[:, 0]])
