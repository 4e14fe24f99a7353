"""A ring made ready for fitting: checked, without repeats, dense, and how noisy it is."""

from __future__ import annotations

import numpy as np

from digitize.errors import UsageError
from digitize.records import FloatArray

_LEAST_POINTS = 400


def checked_ring(ring_mm: FloatArray) -> FloatArray:
    """Return the ring as float64 (N, 2).

    Raises
    ------
    UsageError
        If it is no ring: wrong shape, not finite, fewer than 3 points, or no extent.
    """
    ring = np.asarray(ring_mm, dtype=np.float64)
    if ring.ndim != 2 or ring.shape[1] != 2 or len(ring) < 3:
        raise UsageError(f"a ring needs at least 3 points (x, y), got an array of shape {ring.shape}")
    if not np.isfinite(ring).all():
        raise UsageError("the ring holds a coordinate that is not a finite number")
    if not np.ptp(ring, axis=0).all():
        raise UsageError("the ring has no width or no height: it encloses nothing that could be cut")
    return ring


def dense_ring(ring: FloatArray, corners: tuple[int, ...]) -> tuple[FloatArray, tuple[int, ...]]:
    """Return the ring without repeated points and with long sides divided, and where its corners went."""
    keep = np.any(ring != np.roll(ring, 1, axis=0), axis=1)
    place = np.cumsum(keep) - 1
    ring = ring[keep]
    wanted = {int(place[corner % len(place)]) % len(ring) for corner in corners}
    sides = np.roll(ring, -1, axis=0) - ring
    lengths = np.hypot(*sides.T)
    longest = max(3 * float(np.median(lengths)), lengths.sum() / 20_000)
    longest = min(longest, lengths.sum() / _LEAST_POINTS)
    counts = np.maximum(1, np.ceil(lengths / longest).astype(np.intp))
    first = np.cumsum(counts) - counts
    which = np.repeat(np.arange(len(ring)), counts)
    share = (np.arange(counts.sum()) - first[which]) / counts[which]
    return ring[which] + share[:, None] * sides[which], tuple(sorted(int(first[corner]) for corner in wanted))


def noise_sd(ring: FloatArray) -> float:
    """Estimate the standard deviation across the edge, in mm, of noise that differs from point to point.

    Third differences cancel place, direction and curvature; white noise of standard deviation s gives
    them s sqrt(1 + 9 + 9 + 1). The median is deaf to corners. Noise shared by neighbours is not seen.
    """
    step = max(1, min(5, len(ring) // 8))
    third = sum(sign * np.roll(ring, shift, axis=0) for sign, shift in ((1, -1), (-3, 0), (3, 1), (-1, 2)))
    along = np.roll(ring, -step, axis=0) - np.roll(ring, step, axis=0)
    across = third[:, 0] * along[:, 1] - third[:, 1] * along[:, 0]
    across = across / np.maximum(np.hypot(*along.T), 1e-12)
    return float(1.4826 * np.median(np.abs(across)) / np.sqrt(20))
