"""Which samples of profiles across an edge show one side alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..measure.profiles import Profiles
from ..measure.ragged import EndToEnd
from ..records import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Rough:
    """The border of an item or a hole as its pixels have it, along which its edge is looked for."""

    mask: npt.NDArray[np.uint8]  # (h, w) crop, 1 on the item
    origin: tuple[int, int]  # px of the crop's first pixel
    chain: npt.NDArray[np.int64]  # (N, 2) whole px of the item's border pixels, in order
    is_hole: bool  # whether it runs round a hole
    rim_px: float | None = (
        None  # width of a rim within it: the edge is its outer one, from the rim's light to the ground's
    )


def pure_samples(
    borders: Sequence[Rough], rings: EndToEnd, profiles: Profiles, margin: FloatArray
) -> tuple[BoolArray, BoolArray]:
    """Tell which samples show only the item, and only what is beyond it: far enough from this edge and the next.

    Parameters
    ----------
    borders
        R of them: their masks are asked.
    rings
        Where the profiles of each are.
    profiles
        N profiles of K pixels.
    margin
        (N,) px across the edge that its blur reaches.

    Returns
    -------
    inside, outside
        (N, K) each.
    """
    reach = profiles.reach
    offsets = np.arange(-reach, reach + 1)
    item = _on_item(borders, rings, profiles, offsets)
    depth = _run_length(item[:, reach::-1])  # pixels of item going inward from the middle
    clear = _run_length(~item[:, reach + 1 :])  # pixels of background going outward
    along = (margin / profiles.cosine)[:, None]  # the margin is meant across the edge
    guard = np.ceil(along) - 1
    distance = np.abs(offsets)
    endless_in, endless_out = (depth == reach + 1)[:, None], (clear == reach)[:, None]
    inside = (offsets <= 0.5 - along) & (endless_in | (distance < depth[:, None] - guard))
    outside = (offsets >= 0.5 + along) & (endless_out | (distance <= clear[:, None] - guard))
    return inside, outside


def _on_item(
    borders: Sequence[Rough], rings: EndToEnd, profiles: Profiles, offsets: npt.NDArray[np.int64]
) -> BoolArray:
    """Which samples (N, K) are of the item, by the mask of their own border."""
    origin = rings.rows(np.array([one.origin for one in borders]))
    size = rings.rows(np.array([one.mask.shape for one in borders]))
    start = profiles.base_px - origin
    x = start[:, 0, None] + offsets * profiles.step[:, 0, None]
    y = start[:, 1, None] + offsets * profiles.step[:, 1, None]
    wide, high = size[:, 1, None], size[:, 0, None]
    known = (x >= 0) & (y >= 0) & (x < wide) & (y < high)
    place = np.clip(y, 0, high - 1) * wide + np.clip(x, 0, wide - 1)
    item = np.empty(place.shape, bool)
    for one, at in zip(borders, rings.slices, strict=True):
        item[at] = one.mask.reshape(-1).take(place[at])
    return np.asarray(item & known)


def _run_length(flags: npt.NDArray[Any]) -> npt.NDArray[np.int64]:
    """Number of leading True values in each row."""
    return np.asarray(np.where(flags.all(axis=1), flags.shape[1], (~flags).argmax(axis=1)), dtype=np.int64)
