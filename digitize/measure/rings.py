"""The geometry of closed rings."""

from __future__ import annotations

import numpy as np

from ..records import FloatArray


def signed_area(points: FloatArray) -> float:
    """Shoelace area of a closed ring, positive counter-clockwise in a y-up frame."""
    x, y = points[:, 0] - points[:, 0].mean(), points[:, 1] - points[:, 1].mean()
    return float(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
