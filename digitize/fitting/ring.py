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
    third = np.roll(ring, -1, axis=0) - 3 * ring + 3 * np.roll(ring, 1, axis=0) - np.roll(ring, 2, axis=0)
    along = np.roll(ring, -step, axis=0) - np.roll(ring, step, axis=0)
    across = third[:, 0] * along[:, 1] - third[:, 1] * along[:, 0]
    across = across / np.maximum(np.hypot(*along.T), 1e-12)
    return float(1.4826 * np.median(np.abs(across)) / np.sqrt(20))


def smoothed_ring(ring: FloatArray, *, sd_mm: float, residue_mm: float) -> FloatArray:
    """Return the dense ring with point-to-point noise averaged out and corners left as they are.

    Each point is replaced by the value there of the parabola through its neighbours (Savitzky and Golay 1964),
    which leaves lines and arcs in place. Where that moves a point by more than 4 sd the ring is no arc: a
    corner, and all points whose parabola saw it keep their places.

    Parameters
    ----------
    ring : (N, 2)
    sd_mm
        Standard deviation of the noise.
    residue_mm
        Noise that does no harm: the window (at most 17 points) is no wider than needed.
    """
    half = int(np.clip(np.ceil(1.1 * (sd_mm / residue_mm) ** 2), 0, 8))
    if sd_mm <= residue_mm or len(ring) < 8 * half:
        return ring
    places = np.arange(-half, half + 1)
    design = np.column_stack([np.ones(len(places)), places, places**2])
    weights = np.linalg.pinv(design)[0]
    smooth = sum((w * np.roll(ring, -k, axis=0) for w, k in zip(weights, places, strict=True)), np.zeros_like(ring))
    rough = np.hypot(*(smooth - ring).T) > 4 * sd_mm
    near = np.any([np.roll(rough, k) for k in places], axis=0) if rough.any() else rough
    return np.where(near[:, None], ring, smooth)
