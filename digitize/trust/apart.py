"""How far two outlines lie apart once one is laid on the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import UsageError
from ..records import FloatArray, Item
from .align import Placement, align, evenly, signed_distances

_POINTS = 4000  # looked at on each ring
_PAIRED = 0.25  # of the longer side: outlines that differ by more are of different things
_NEAR = 0.95  # part of the places that lie nearer than is said


@dataclass(frozen=True, slots=True)
class Apart:
    """Two outlines, the second laid on the first; distances positive where the second lies outside."""

    placement: Placement
    points_mm: FloatArray  # (N, 2) evenly along the first, its frame
    off_mm: FloatArray  # (N,) how far the second lies outside there
    mean_mm: float  # signed: size
    rms_mm: float
    near_mm: float  # 95 % lie nearer, both ways
    most_mm: float  # the largest, both ways


def apart(first: Item, second: Item, *, over: bool = False) -> Apart:
    """Lay an item's exterior on another's and measure how far they lie apart, both ways.

    Raises
    ------
    UsageError
        If they are of such different size that nothing is to be compared.
    """
    sizes = [
        float(max(one.width_mm, one.height_mm, np.hypot(one.width_mm, one.height_mm) / 2)) for one in (first, second)
    ]
    if abs(sizes[0] - sizes[1]) > _PAIRED * max(sizes):
        said = [f"{one.name} ({one.width_mm:.1f} x {one.height_mm:.1f} mm)" for one in (first, second)]
        raise UsageError(
            f"{said[0]} and {said[1]} are of different things. Say which items to compare: --item and --other-item."
        )
    placed = align(first.exterior_mm, second.exterior_mm, over=over)
    ring = placed.moved(second.exterior_mm)
    ring = ring[::-1] if over else ring
    points = evenly(first.exterior_mm, _POINTS)
    off = -signed_distances(ring, points)
    back = signed_distances(first.exterior_mm, evenly(ring, _POINTS))
    both = np.abs(np.concatenate([off, back]))
    return Apart(
        placed,
        points,
        off,
        mean_mm=float((off.mean() + back.mean()) / 2),
        rms_mm=float(np.sqrt(np.mean(both**2))),
        near_mm=float(np.quantile(both, _NEAR)),
        most_mm=float(both.max()),
    )
