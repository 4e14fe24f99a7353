"""The corner piece at zero that a plate is pushed against, and the key by which a plate put in turned stands off.

In inward coordinates: from the zero corner into the bed, along its width and along its height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..errors import UsageError
from ..records import Path, frozen_array

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

RELIEF_MM = 2.0  # radius that is free about the inner corner, so that neither dust nor a burr keeps the plate off
KEY_ROOM_MM = 0.2  # about the tongue, on each side (common practice, no source)
KEY_DEEPER_MM = 0.5  # the notch than the tongue
_AT = 2 / 3  # of the arm, where the tongue stands


@dataclass(frozen=True, slots=True)
class Corner:
    """A corner piece, and its key."""

    arm_mm: float  # from zero along both edges
    wide_mm: float
    key_mm: float | None = None  # width of the tongue; None: no key

    def __post_init__(self) -> None:
        """Refuse a tongue that finds no room on the arm; `ValueError`."""
        if self.arm_mm < 3 * RELIEF_MM or self.wide_mm < 2 * RELIEF_MM:
            raise ValueError(f"a corner piece needs arms of {3 * RELIEF_MM:g} mm and {2 * RELIEF_MM:g} mm of width")
        if self.key_mm is not None and not 2.0 <= self.key_mm <= self.arm_mm / 3:
            raise ValueError(f"the key should be 2 mm wide to a third of the arm, {self.arm_mm / 3:g} mm")

    @property
    def tongue(self) -> tuple[float, float, float] | None:
        """Where along the width the tongue stands, half its width and how far it reaches in; None without a key."""
        return None if self.key_mm is None else (self.arm_mm * _AT, self.key_mm / 2, self.key_mm / 2)

    @property
    def notch(self) -> tuple[float, float, float] | None:
        """The same of the notch in the plate's edge."""
        if self.tongue is None:
            return None
        at, half, deep = self.tongue
        return at, half + KEY_ROOM_MM, deep + KEY_DEEPER_MM

    def check(self, size_mm: tuple[float, float]) -> None:
        """Refuse a notch that a plate of a size would also have where it lies turned over; `UsageError`."""
        if self.notch is None:
            return
        at, half, _ = self.notch
        if at + half >= size_mm[0] or abs(2 * at - size_mm[0]) < 4 * half:
            raise UsageError(
                f"The key stands {at:g} mm from zero: on a plate {size_mm[0]:g} mm wide it would fit turned over as "
                "well, or not at all. Say a corner piece with other arms: --corner-piece 60x15."
            )


def corner_path(corner: Corner, sweep_mm: float) -> Path:
    """Return the edge of the corner piece, counter-clockwise, grown by half of what beam or cutter take away."""
    s = sweep_mm / 2
    out, arm = -corner.wide_mm - s, corner.arm_mm + s
    radius = RELIEF_MM - s
    begin = math.sqrt(max(radius**2 - s**2, 0.0))  # where the relief leaves the edge that the plate touches
    points = [(out, out), (arm, out), (arm, s)]
    if corner.tongue is not None:
        at, half, deep = corner.tongue
        points += [(at + half + s, s), (at + half + s, deep + s), (at - half - s, deep + s), (at - half - s, s)]
    points += [(begin, s), (s, begin), (s, arm), (out, arm)]
    bulges = [0.0] * len(points)
    swept = 2 * math.pi - (math.pi / 2 - 2 * math.asin(s / radius)) if radius > s else math.pi
    bulges[points.index((begin, s))] = -math.tan(swept / 4)
    return Path(frozen_array(points, columns=2), frozen_array(bulges))


def edge_points(corner: Corner | None, size_mm: tuple[float, float], grown_mm: float) -> list[tuple[float, float]]:
    """Return the corners of a plate's edge, its notch included, grown outward, counter-clockwise."""
    (width, height), g = size_mm, grown_mm
    points = [(-g, -g)]
    if corner is not None and corner.notch is not None:
        at, half, deep = corner.notch
        points += [(at - half + g, -g), (at - half + g, deep - g), (at + half - g, deep - g), (at + half - g, -g)]
    return [*points, (width + g, -g), (width + g, height + g), (-g, height + g)]


def notch_region(corner: Corner | None) -> Geometry | None:
    """Return what the notch takes of the plate."""
    import shapely

    if corner is None or corner.notch is None:
        return None
    at, half, deep = corner.notch
    return shapely.box(at - half, 0.0, at + half, deep)
