"""What a flatbed of which no profile is kept stretches otherwise at an item than at the reference."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from ..records import Contribution, FloatArray
from ..steady import inverse, product

# Root mean square along either axis of what an affine map leaves over the glass of an A3 scanner with a lens (ISPRS
# 2004; 0.07 at most there). Of others nothing was read: they are taken to be alike.
BENT_SD_MM = 0.03
# How soon that changes over the glass: the length of a Gaussian covariance that comes near what polynomials of degree 2
# to 4 over 297 x 420 mm do to lengths, as smooth as a scanner's profile takes it to be; from simulations.
ALIKE_MM = 70.0


def scanner_bend(reference_mm: FloatArray, ring_mm: FloatArray) -> Contribution:
    """Return the line for the bend of a glass of which no profile is kept; it grows from the reference on.

    The scale is right on the whole where the reference lies. The place of each end of the item and of each point of the
    reference is off by `BENT_SD_MM`, the more alike the nearer they are; what is left of a length is their weighted sum
    (JCGM 100, 5.2.2).

    Parameters
    ----------
    reference_mm
        (N, 2) places that the scale was fitted to, N >= 3, plane frame.
    ring_mm
        (M, 2) the item's edge, plane frame.
    """
    ends = [ring_mm[[ring_mm[:, axis].argmin(), ring_mm[:, axis].argmax()]] for axis in (0, 1)]
    lengths = [float(pair[1, axis] - pair[0, axis]) for axis, pair in enumerate(ends)]
    off = [_length_sd_mm(reference_mm, pair, axis) for axis, pair in enumerate(ends)]
    away = math.dist(ring_mm.mean(axis=0), reference_mm.mean(axis=0))
    note = f"no profile kept; {away:.0f} mm from the reference"
    return Contribution(
        "scanner bend", length_per_mm=math.hypot(*off) / math.hypot(*lengths), note=note, acts="with length"
    )


def _length_sd_mm(reference_mm: FloatArray, ends_mm: FloatArray, axis: int) -> float:
    """Return how far a length along an axis, told by the scale at the reference, may be off (k = 1)."""
    per_mm = _per_mm(np.ascontiguousarray(reference_mm, dtype=np.float64).tobytes())[:, axis]
    weights = np.concatenate([[-1.0, 1.0], -(ends_mm[1, axis] - ends_mm[0, axis]) * per_mm])
    places = np.concatenate([ends_mm, reference_mm])
    apart = ((places[:, None] - places[None]) ** 2).sum(axis=2)
    alike = np.exp(-apart / (2.0 * ALIKE_MM**2))
    return BENT_SD_MM * math.sqrt(max(0.0, float((weights[:, None] * alike * weights).sum())))


@lru_cache(maxsize=8)  # it is the same for all items of a picture
def _per_mm(reference_mm: bytes) -> FloatArray:
    """Return (N, 2) what each place of the reference adds to the scales fitted along both axes."""
    places = np.frombuffer(reference_mm).reshape(-1, 2)
    own = places - places.mean(axis=0)
    found: FloatArray = product(own, inverse(product(own.T, own)))
    return found
