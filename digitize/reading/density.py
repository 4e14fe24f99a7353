"""Which of a file's claims of pixel density to believe."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..records import CameraTag, Density, Finding
from ..words.say import finding_of

MM_PER_INCH = 25.4  # exactly, since 1959
_LEAST = 10 / MM_PER_INCH  # px/mm; below 10 dpi no scanner works: such values are placeholders
_MOST = 25_400 / MM_PER_INCH  # a pixel of 1 um
_ROUNDED = 0.001  # part by which a limit that was rounded in the file may be passed
_MOST_UNEVEN = 4.0  # fax scans reach 2.1
_FILLER_DPI = 72.0  # what programs write when they know nothing
_SAME_DPI = 0.05  # files keep whole pixels a metre, 0.025 dpi apart


@dataclass(frozen=True, slots=True)
class Claim:
    """A density as the file states it, along the stored rows and columns (before any turning)."""

    x_px_per_mm: float
    y_px_per_mm: float
    source: str

    @property
    def dpi(self) -> str:
        """Both values in dots per inch, as text."""
        x, y = self.x_px_per_mm * MM_PER_INCH, self.y_px_per_mm * MM_PER_INCH
        return f"{x:.5g} dpi" if x == y else f"{x:.5g} x {y:.5g} dpi"

    @property
    def is_filler(self) -> bool:
        """Whether this is the 72 dpi that programs write when they know nothing."""
        return all(abs(value * MM_PER_INCH - _FILLER_DPI) < _SAME_DPI for value in (self.x_px_per_mm, self.y_px_per_mm))


def choose_density(claims: tuple[Claim, ...], camera: CameraTag | None) -> tuple[Claim | None, tuple[Finding, ...]]:
    """Return the claim to believe, or None, and remarks on those that are not believed.

    Earlier claims come before later ones, except that 72 dpi gives way to any other value. A photo (a focal
    length is recorded) has no density of its own; with a maker's name only, 72 dpi is filler.
    """
    good: list[Claim] = []
    remarks: list[Finding] = []
    for claim in claims:
        reason = _objection(claim, camera)
        if reason:
            remarks.append(_remark(claim, reason))
        else:
            good.append(claim)
    good.sort(key=lambda claim: claim.is_filler)
    return (good[0] if good else None), tuple(remarks)


def upright(claim: Claim, *, swapped: bool) -> Density:
    """Return the claim as the density of the upright picture; `swapped` if turning exchanged its axes."""
    x, y = claim.x_px_per_mm, claim.y_px_per_mm
    return Density(y, x, claim.source) if swapped else Density(x, y, claim.source)


def _objection(claim: Claim, camera: CameraTag | None) -> str:
    x, y = claim.x_px_per_mm, claim.y_px_per_mm
    if not (math.isfinite(x) and math.isfinite(y) and x > 0 and y > 0):
        return "is not a positive number"
    if min(x, y) < _LEAST * (1 - _ROUNDED) or max(x, y) > _MOST * (1 + _ROUNDED):
        return "is outside 10 to 25400 dpi"
    if max(x, y) > _MOST_UNEVEN * min(x, y):
        return f"differs more than {_MOST_UNEVEN:g} times between the axes"
    if camera is not None and (camera.focal_mm or camera.focal_35mm):
        return "stands in a photo, where a pixel has no fixed size"
    if camera is not None and claim.is_filler:
        return "is what cameras write for want of a better value"
    return ""


def _remark(claim: Claim, reason: str) -> Finding:
    return finding_of("density-ignored", attention=False, source=claim.source, dpi=claim.dpi, why=reason)
