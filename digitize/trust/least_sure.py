"""Where an outline's edge is least sure: a few places of each ring, apart from one another."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..records import Contour, FloatArray, LeastSure

MOST = 3  # places of a ring


def least_sure(contours: Iterable[Contour], mm_per_px: float) -> tuple[tuple[LeastSure, ...], ...]:
    """Return of every contour the least sure place of each third of it, the least sure first."""
    return tuple(
        tuple(
            LeastSure((float(one.points_px[k, 0]), float(one.points_px[k, 1])), 2 * float(one.sd_px[k]) * mm_per_px)
            for k in _peaks(one.sd_px)
        )
        for one in contours
    )


def _peaks(sd_px: FloatArray) -> list[int]:
    """Return the highest places of as many equal stretches of a contour as there are places, highest first."""
    stretches = np.array_split(np.arange(len(sd_px)), MOST)
    peaks = [int(stretch[np.argmax(sd_px[stretch])]) for stretch in stretches if len(stretch)]
    return sorted(peaks, key=lambda index: -float(sd_px[index]))
