"""What a scan itself cannot show: too few pixels a millimetre, or two levels where an edge needs the ones between."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ..records import Contribution, Finding, Picture, eight_bit
from ..words.say import SURE_MM, finding_of
from .scale import ScaleEstimate

LEAST_PX_PER_MM = 3.0  # 76 dpi
_SMALLEST_HOLE_PX = 8.0  # smaller ones may be lost in coarse pictures; at 36 dpi holes 7 px wide are
# A threshold leaves an edge anywhere within about half a pixel: 1 / sqrt(12); and all edges to the same side.
TWO_LEVEL_SD_PX = 0.3
_TWO_SHARE = 0.95  # of the pixels at two levels
_DIRECT = 0.7  # of the steps from one level to the other without a pixel between
_NEAR = 0.1  # of the way between the levels
_LEAST_STEPS = 20
_LEAST_APART = 64  # of 255
_LOOKED_AT_PX = 200_000


def with_limits(estimate: ScaleEstimate, picture: Picture) -> ScaleEstimate:
    """Say what the picture's own coarseness leaves unsure (of items by `trust/blunt`), and add that of two levels."""
    pixel_mm = float(np.mean(estimate.facts.mm_per_px))
    findings, budget = [], []
    if 1.0 / pixel_mm < LEAST_PX_PER_MM:
        findings.append(_coarse(pixel_mm))
    if has_two_levels(picture):
        findings.append(_two_levels(pixel_mm))
        sd_mm = TWO_LEVEL_SD_PX * pixel_mm
        budget.append(Contribution("two levels", sd_mm, 2 * sd_mm, note="both ends alike", acts="all round"))
    return replace(estimate, findings=(*estimate.findings, *findings), budget=(*estimate.budget, *budget))


def has_two_levels(picture: Picture) -> bool:
    """Whether a picture is line art: two levels, and edges that jump from one to the other.

    Blur alone leaves at least one pixel between at most edges of a scan in grey, also of a clean one. Looked at in
    whole rows, evenly spread, of one channel.
    """
    h, w, channels = picture.pixels.shape
    rows = picture.pixels[:: max(1, h * w // _LOOKED_AT_PX), :, channels // 2]
    codes = eight_bit(rows)
    count = np.bincount(codes.ravel(), minlength=256)
    low, high = _two_peaks(count)
    if high - low < _LEAST_APART:
        return False
    part = (np.arange(256) - low) / (high - low)
    level_of = np.where(np.abs(part) < _NEAR, 1, np.where(np.abs(part - 1) < _NEAR, 2, 0)).astype(np.int8)
    if count[level_of > 0].sum() < _TWO_SHARE * codes.size:
        return False
    return _jumps(level_of[codes])


def _two_peaks(count: npt.NDArray[np.int64]) -> tuple[int, int]:
    """The most frequent code and the most frequent far from it, in order."""
    first = int(count.argmax())
    rest = count.copy()
    rest[max(first - _LEAST_APART // 2, 0) : first + _LEAST_APART // 2] = 0
    second = int(rest.argmax())
    return min(first, second), max(first, second)


def _jumps(level: npt.NDArray[np.int8]) -> bool:
    """Whether most ways out of level 1 or 2 along the rows lead straight to the other, not to what lies between (0)."""
    here, there = level[:, :-1], level[:, 1:]
    direct = int((here * there == 2).sum())
    between = int(((here > 0) & (there == 0)).sum())
    return direct > _LEAST_STEPS and direct > _DIRECT * (direct + between)


def _coarse(pixel_mm: float) -> Finding:
    return finding_of(
        "picture-coarse",
        value=1 / pixel_mm,
        limit=LEAST_PX_PER_MM,
        dpi=25.4 / pixel_mm,
        hole_mm=_SMALLEST_HOLE_PX * pixel_mm,
    )


def _two_levels(pixel_mm: float) -> Finding:
    off_mm = 2 * TWO_LEVEL_SD_PX * pixel_mm
    return finding_of("two-level", value=off_mm, limit=SURE_MM, attention=off_mm > SURE_MM)
