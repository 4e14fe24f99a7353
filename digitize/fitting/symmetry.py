"""Mirror and rotation symmetry of a ring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitize.fitting.distance import distances_to
from digitize.fitting.ring import checked_ring
from digitize.records import FloatArray

_POINTS = 2048
_LIKELY = 0.999  # of a perfect match, for a closer look
_MOST_TRIED = 24
_MOST_TURNS = 36


@dataclass(frozen=True, slots=True)
class Symmetry:
    """What leaves a ring where it is, within a tolerance."""

    centre_mm: tuple[float, float]
    turns: int  # rotations by 360 / turns degrees; 1 for none, 0 for any (a circle)
    turn_deviation_mm: float  # largest distance after one such rotation; 0 if there is none
    axes_deg: tuple[float, ...]  # mirror axes through the centre, 0 <= angle < 180; empty for a circle: any
    axis_deviations_mm: tuple[float, ...]  # largest distance after each mirroring


def symmetries(ring_mm: FloatArray, *, tolerance_mm: float = 0.02) -> Symmetry:
    """Find the rotations and mirror axes of a ring about its centroid.

    Points evenly spaced along the ring are complex numbers z(s) about the centroid. A rotation shows as a peak
    of the correlation of z with itself, a mirror axis as a peak of the correlation of z with z backwards,
    conjugated; the phase at the peak is the angle. Each is then tried and its largest distance measured.

    Parameters
    ----------
    ring_mm : (N, 2)
    tolerance_mm
        Twice this is allowed between the ring and its image: both carry the error of the edge.

    Raises
    ------
    UsageError
        If the ring is no ring.
    """
    ring = checked_ring(ring_mm)
    even = _even(ring)
    centre = _centroid(ring)
    z = (even - centre) @ np.array([1, 1j])
    limit = 2 * tolerance_mm
    radius = np.abs(z)
    if np.ptp(radius) <= limit:
        return Symmetry((float(centre[0]), float(centre[1])), 0, float(np.ptp(radius)), (), ())
    turns, turned = _rotation(z, ring, centre, limit)
    axes, mirrored = _mirrors(z, ring, centre, limit)
    return Symmetry((float(centre[0]), float(centre[1])), turns, turned, axes, mirrored)


def _rotation(z: np.ndarray, ring: FloatArray, centre: FloatArray, limit: float) -> tuple[int, float]:
    """Return the highest order of rotation that holds, and its deviation."""
    spectrum = np.fft.fft(z)
    match = np.fft.ifft(np.abs(spectrum) ** 2)
    angles = [angle % (2 * np.pi) for angle in _peaks(match) if abs(angle) > 1e-2]
    orders = sorted({round(2 * np.pi / angle) for angle in angles} - {0, 1}, reverse=True)
    for order in [order for order in orders if order <= _MOST_TURNS]:
        away = _deviation(z * np.exp(2j * np.pi / order), ring, centre)
        if away <= limit:
            return order, away
    return 1, 0.0


def _mirrors(
    z: np.ndarray, ring: FloatArray, centre: FloatArray, limit: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    spectrum = np.fft.fft(z)
    found: list[tuple[float, float]] = []
    for rough in _peaks(np.fft.ifft(spectrum**2)):
        phase = _settled(rough, np.conj(z), ring, centre)
        away = _deviation(np.exp(1j * phase) * np.conj(z), ring, centre)
        if away <= limit:
            found.append((float(np.degrees(phase / 2) % 180), away))
    found.sort()
    return tuple(angle for angle, _ in found), tuple(away for _, away in found)


def _peaks(match: np.ndarray) -> list[float]:
    """Return the phases at the peaks of a cyclic correlation, between samples by a parabola."""
    size = np.abs(match)
    peak = np.flatnonzero((size >= np.roll(size, 1)) & (size > np.roll(size, -1)) & (size > _LIKELY * size.max()))
    phases = []
    for k in peak[np.argsort(-size[peak])][:_MOST_TRIED]:
        before, here, after = size[k - 1], size[k], size[(k + 1) % len(size)]
        shift = (before - after) / 2 / (before - 2 * here + after)
        slope = np.angle(match[(k + 1) % len(size)] / match[k - 1]) / 2
        phases.append(float(np.angle(match[k]) + shift * slope))
    return phases


def _settled(phase: float, image: np.ndarray, ring: FloatArray, centre: FloatArray) -> float:
    """Return the phase near `phase` at which the image, turned by it, lies closest: twice the foot of a parabola."""
    few = image[::4]
    for reach in (1e-3, 2e-4):
        turns = phase + reach * np.array([-1.0, 0.0, 1.0])
        low, here, high = (np.mean(_distances(np.exp(1j * turn) * few, ring, centre) ** 2) for turn in turns)
        bend = low - 2 * here + high
        if bend > 0:
            phase += float(np.clip((low - high) / 2 / bend, -2, 2)) * reach
    return phase


def _distances(image: np.ndarray, ring: FloatArray, centre: FloatArray) -> FloatArray:
    return distances_to(ring, np.column_stack([image.real, image.imag]) + centre)


def _deviation(image: np.ndarray, ring: FloatArray, centre: FloatArray) -> float:
    return float(_distances(image, ring, centre).max())


def _centroid(ring: FloatArray) -> FloatArray:
    """Return the centroid (2,) of the area, less sensitive to noise than that of the points."""
    import shapely

    return np.asarray(shapely.get_coordinates(shapely.centroid(shapely.polygons(ring)))[0])


def _even(ring: FloatArray) -> FloatArray:
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    places = np.arange(_POINTS) * along[-1] / _POINTS
    return np.column_stack([np.interp(places, along, closed[:, k]) for k in (0, 1)])
