"""A ring made ready for fitting, once for all that is fitted to it: checked, without repeats, dense, and how noisy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..errors import UsageError
from ..measure.ragged import TO_SD, median
from ..measure.rings import rolled, signed_area
from ..records import FloatArray
from ..steady import pseudo_inverse

_LEAST_POINTS = 400  # round a ring made dense
_LONG_STEPS, _MOST_POINTS = 3, 20_000  # of the middle step: a longer one is filled; and points in all, for the work
_ROUGH_SDS = 4  # of the noise: a ring that strays so far from its smooth self is rough there


@dataclass(frozen=True, slots=True)
class Ring:
    """A checked ring, the same made dense about its middle, and its noise; `make_ring` makes it.

    The noise is what differs from point to point: that decides whether single points may stray, and what averaging
    gains. It is estimated from the places themselves, since the standard deviation that the edge stage states of each
    place holds what neighbours share as well (0.3 to 0.6 um beside 0.01 to 0.07 um on clean scans).
    """

    points_mm: FloatArray  # (N, 2) as given
    corners: tuple[int, ...]  # indices of sharp corners in those
    middle_mm: FloatArray  # (2,), mean of the points
    dense_mm: FloatArray  # (M, 2) about the middle: no point repeated, long sides divided
    dense_corners: tuple[int, ...]  # where the corners went
    sd_mm: float  # standard deviation of the noise across the edge

    @property
    def clockwise(self) -> bool:
        """Whether it runs as holes do."""
        return signed_area(self.dense_mm) < 0


def make_ring(points_mm: FloatArray, corners: tuple[int, ...] = (), *, sd_mm: float | None = None) -> Ring:
    """Check a ring and make it ready.

    Parameters
    ----------
    points_mm : (N, 2)
        Points of a simple closed ring, either direction.
    corners
        Indices of points known to be sharp corners.
    sd_mm
        Standard deviation of the noise across the edge; estimated from the ring if not given.

    Raises
    ------
    UsageError
        If it is no ring: wrong shape, not finite, fewer than 3 points, or no extent.
    """
    points = checked_ring(points_mm)
    middle = points.mean(axis=0)
    dense, at = dense_ring(points - middle, corners)
    return Ring(points, corners, middle, dense, at, noise_sd(dense) if sd_mm is None else sd_mm)


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
    if any(column.max() == column.min() for column in ring.T):
        raise UsageError("the ring has no width or no height: it encloses nothing that could be cut")
    return ring


def dense_ring(ring: FloatArray, corners: tuple[int, ...]) -> tuple[FloatArray, tuple[int, ...]]:
    """Return the ring without repeated points and with long sides divided, and where its corners went."""
    differs = ring != rolled(ring, 1)
    keep = differs[:, 0] | differs[:, 1]
    place = np.cumsum(keep) - 1
    ring = ring[keep]
    wanted = {int(place[corner % len(place)]) % len(ring) for corner in corners}
    sides = rolled(ring, -1) - ring
    lengths = np.hypot(*sides.T)
    longest = max(_LONG_STEPS * median(lengths), lengths.sum() / _MOST_POINTS)
    longest = min(longest, lengths.sum() / _LEAST_POINTS)
    if lengths.max() <= longest:
        return ring, tuple(sorted(wanted))
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
    third = rolled(ring, -1) - 3 * ring + 3 * rolled(ring, 1) - rolled(ring, 2)
    along = rolled(ring, -step) - rolled(ring, step)
    across = third[:, 0] * along[:, 1] - third[:, 1] * along[:, 0]
    across = across / np.maximum(np.hypot(*along.T), 1e-12)
    return float(TO_SD * median(np.abs(across)) / np.sqrt(20))


def smoothed_ring(
    ring: FloatArray, *, sd_mm: float, residue_mm: float, most: int = 8, corners: npt.ArrayLike = ()
) -> tuple[FloatArray, npt.NDArray[np.bool_], float]:
    """Average out the noise between the points of a dense ring, and leave its corners as they are.

    Each point is replaced by the value there of the parabola through its neighbours (Savitzky and Golay 1964),
    which leaves lines and arcs in place. Where half as many neighbours give something else, by more than noise
    explains, the ring is no arc but has a corner: all points whose parabola saw it keep their places.

    Parameters
    ----------
    ring : (N, 2)
    sd_mm
        Standard deviation of the noise.
    residue_mm
        Noise that does no harm: the window is no wider than needed.
    most
        Neighbours on each side, at most.
    corners
        Indices of points known to be corners.

    Returns
    -------
    ring : (N, 2)
    smooth : (N,)
        Which points were replaced.
    sd_mm
        Standard deviation of the noise left in those.
    """
    half = int(np.clip(np.ceil(1.1 * (sd_mm / max(residue_mm, 1e-12)) ** 2), 0, most))
    if sd_mm <= residue_mm or len(ring) < 8 * half:
        return ring, np.zeros(len(ring), dtype=bool), sd_mm
    wide, narrow = _parabola_weights(half, half), _parabola_weights((half + 1) // 2, half)
    smooth, finer = _averaged(ring, wide), _averaged(ring, narrow)
    noise = sd_mm * float(np.sqrt(np.sum((wide - narrow) ** 2)))
    rough = np.hypot(*(smooth - finer).T) > _ROUGH_SDS * noise + 1e-9
    rough[np.asarray(corners, dtype=np.intp)] = True
    near = np.any([rolled(rough, k) for k in range(-half, half + 1)], axis=0) if rough.any() else rough
    return np.where(near[:, None], ring, smooth), ~near, sd_mm * float(np.sqrt(np.sum(wide**2)))


def _parabola_weights(half: int, size: int) -> FloatArray:
    """Return (2 size + 1,) the weights of neighbours in the middle of a parabola through 2 half + 1 of them."""
    places = np.arange(-half, half + 1)
    weights = pseudo_inverse(np.column_stack([np.ones(len(places)), places, places**2]))[0]
    return np.pad(weights, size - half)


def _averaged(ring: FloatArray, weights: FloatArray) -> FloatArray:
    half = len(weights) // 2
    shifts = range(-half, half + 1)
    return sum((w * rolled(ring, -k) for w, k in zip(weights, shifts, strict=True)), np.zeros_like(ring))
