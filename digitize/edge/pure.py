"""Which samples of profiles across an edge show one side alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from ..measure.profiles import Profiles


def pure_samples(
    mask: npt.NDArray[np.uint8], origin: tuple[int, int], profiles: Profiles, margin: float
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Tell which samples show only the item, and only what is beyond it: far enough from this edge and the next.

    Parameters
    ----------
    mask
        (h, w) uint8 crop, 1 on the item.
    origin
        px of the crop's first pixel.
    profiles
        N profiles of K pixels.
    margin
        px across the edge that its blur reaches.

    Returns
    -------
    inside, outside
        (N, K) each.
    """
    reach = profiles.reach
    offsets = np.arange(-reach, reach + 1)
    x = profiles.base_px[:, 0, None] + offsets * profiles.step[:, 0, None] - origin[0]
    y = profiles.base_px[:, 1, None] + offsets * profiles.step[:, 1, None] - origin[1]
    known = (x >= 0) & (y >= 0) & (x < mask.shape[1]) & (y < mask.shape[0])
    item = mask[np.clip(y, 0, mask.shape[0] - 1), np.clip(x, 0, mask.shape[1] - 1)] > 0
    item &= known
    depth = _run_length(item[:, reach::-1])  # pixels of item going inward from the middle
    clear = _run_length(~item[:, reach + 1 :])  # pixels of background going outward
    along = margin / profiles.cosine[:, None]  # the margin is meant across the edge
    guard = np.ceil(along) - 1
    distance = np.abs(offsets)
    endless_in, endless_out = (depth == reach + 1)[:, None], (clear == reach)[:, None]
    inside = (offsets <= 0.5 - along) & (endless_in | (distance < depth[:, None] - guard))
    outside = (offsets >= 0.5 + along) & (endless_out | (distance <= clear[:, None] - guard))
    return inside, outside


def _run_length(flags: npt.NDArray[Any]) -> npt.NDArray[np.int64]:
    """Number of leading True values in each row."""
    return np.asarray(np.logical_and.accumulate(flags, axis=1).sum(axis=1), dtype=np.int64)
