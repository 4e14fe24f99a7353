"""A flatbed as they are: its carriage off in scale, its places bent smoothly, its codes off the curve it states.

Shares no code with the package; straight sides are drawn in short pieces, each end where the scanner sees it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .flatbed import SAGITTA_PX, AffineMap, Rendered, Scene
from .light import to_pixels
from .shapes import Ring

LONGEST_MM = 1.5


@dataclass(frozen=True, eq=False)
class Worn:
    """What is wrong with a scanner; sizes in mm on the glass."""

    carriage: float = 0.002  # larger along y, part
    bend_mm: float = 0.05  # amplitude along either axis
    phase: float = 0.0
    tone: float = 1.0  # codes are those of light to this power
    glass_mm: tuple[float, float] = (216.0, 297.0)

    def bent(self, points_mm):
        """Where places (N, 2) of the glass seem to be."""
        x, y = np.asarray(points_mm, float).T
        u, v = x / self.glass_mm[0], y / self.glass_mm[1]
        dx = np.sin(2.9 * u + self.phase) + 0.3 * np.cos(2.3 * v - self.phase) * (2 * u - 1)
        dy = np.cos(3.4 * v + 0.7 + self.phase) + 0.3 * np.sin(2.1 * u + 0.4)
        return np.column_stack([x + self.bend_mm * dx, y * (1 + self.carriage) + self.bend_mm * dy])


class SmoothBend:
    """What an affine map leaves of an A3 glass: polynomials of degree 2 to 4, 0.03 mm root mean square along an axis.

    That figure is published of an A3 scanner with a lens (ISPRS 2004); how smooth it is was not: each polynomial
    that is orthogonal to the affine ones has as much of it as any other.
    """

    GLASS_MM = (297.0, 420.0)  # ISO 216
    RMS_MM = 0.03

    def __init__(self, rng) -> None:
        orders = [(i, j) for i in range(5) for j in range(5) if 2 <= i + j <= 4]
        self._parts = np.zeros((2, 5, 5))
        for i, j in orders:  # a Legendre polynomial of order n has mean square 1 / (2 n + 1)
            scale = self.RMS_MM * math.sqrt((2 * i + 1) * (2 * j + 1) / len(orders))
            self._parts[:, i, j] = rng.normal(0.0, scale, 2)

    def off_mm(self, points_mm):
        """How far off places (N, 2) of the glass seem to be."""
        u, v = (2.0 * np.asarray(points_mm, float) / self.GLASS_MM - 1.0).T
        return np.column_stack([np.polynomial.legendre.legval2d(u, v, part) for part in self._parts])


@dataclass(frozen=True, eq=False)
class WornMap:
    """The affine map of what seems to be."""

    affine: AffineMap
    worn: Worn

    def to_px(self, points_mm):
        return self.affine.to_px(self.worn.bent(points_mm))

    def to_mm(self, points_px):
        wanted = self.affine.to_mm(points_px)
        found = wanted.copy()
        for _ in range(40):
            found = found + wanted - self.worn.bent(found)
        return found


class WornScene(Scene):
    """What lies on such a scanner's glass."""

    def __init__(self, worn: Worn, *, dpi: float, **look):
        super().__init__(*worn.glass_mm, dpi_x=dpi, **look)
        self.worn = worn
        self.map = WornMap(self.map, worn)

    def add_card(self, fills, box_mm, centre_mm, angle_deg, *, reflectance=0.04, stretch=(1.0, 1.0)) -> None:
        """Lay a printed card: loops of each inked area, mm, cut out along a box; `stretch` is what its printer did."""
        x0, y0, x1, y1 = box_mm
        middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        self.add_paper((x1 - x0) * stretch[0], (y1 - y0) * stretch[1], centre_mm, angle_deg)
        a = math.radians(angle_deg)
        turn = np.array([(math.cos(a), math.sin(a)), (-math.sin(a), math.cos(a))])
        for loops in fills:
            rings = [(np.asarray(loop) - middle) * stretch @ turn + centre_mm for loop in loops]
            self.add_polygon(rings, reflectance)

    def render(self) -> Rendered:
        canvas = self._lid()
        for layer in self.layers + self.dust:
            self._paint(canvas, layer)
        pixels = to_pixels(np.maximum(canvas, 0.0) ** self.worn.tone, self.noise_codes, self.rng)
        return Rendered(pixels, self.map, tuple(self.items), tuple(self.squares), tuple(self.reflectances), self.dpi)

    def _polygon(self, outline: Ring):
        per_mm = max(self.dpi) / 25.4 * 1.05
        return self.map.to_px(outline.polygon(SAGITTA_PX / per_mm, LONGEST_MM))
