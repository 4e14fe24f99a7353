"""A flatbed scan rendered from exact shapes.

The plane is in mm, y up, origin at the lower-left corner of the picture. The scanner maps it to pixels with its own
x and y scale and a skew (the y axis leans by `skew_deg`). Layers are painted in linear light in the order they were
added, each with its exactly blurred coverage; dust comes last; then noise, the sRGB curve and rounding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .light import jpeg_bytes, paint, png_bytes, shade, smooth_noise, to_pixels
from .raster import Patch, blurred_coverage
from .shapes import Ring, Shape, rectangle, ring

SAGITTA_PX = 1e-5


@dataclass(frozen=True, eq=False)
class AffineMap:
    """px = matrix @ mm + offset."""

    matrix: np.ndarray  # (2, 2)
    offset: np.ndarray  # (2,)

    def to_px(self, points_mm):
        return np.asarray(points_mm, float) @ self.matrix.T + self.offset

    def to_mm(self, points_px):
        return (np.asarray(points_px, float) - self.offset) @ np.linalg.inv(self.matrix).T


@dataclass(frozen=True, eq=False)
class Layer:
    """One thing painted on the scan."""

    rings: tuple[Ring, ...]
    reflectance: tuple[float, float, float]
    grain: float = 0.0
    grain_deg: float = 0.0
    shadow: float = 0.0
    shadow_mm: float = 1.0
    shadow_shift_mm: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Rendered:
    """The picture and what is true in it."""

    pixels: np.ndarray  # (H, W, 3) uint8
    map: AffineMap
    items: tuple[Shape, ...]  # placed, mm, in the order they were added
    squares: tuple[Ring, ...]  # placed, mm
    reflectances: tuple[tuple[float, float, float], ...]  # of the items
    dpi: tuple[float, float]

    def to_mm(self, points_px):
        return self.map.to_mm(points_px)

    def to_px(self, points_mm):
        return self.map.to_px(points_mm)


class Scene:
    """What lies on the glass, and how the scanner sees it.

    `background` is the lid's reflectance at the centre; `gradient` (x, y) its relative change from the centre to the
    right and upper border. `blur_px` is the Gaussian's standard deviation, a number or (x, y), without the pixel.
    """

    def __init__(
        self,
        width_mm: float,
        height_mm: float,
        *,
        dpi_x: float = 600.0,
        dpi_y: float | None = None,
        skew_deg: float = 0.0,
        background=(0.85, 0.85, 0.85),
        gradient=(0.0, 0.0),
        blur_px=0.8,
        noise_codes: float = 1.5,
        seed: int = 0,
    ):
        self.dpi = (dpi_x, dpi_x if dpi_y is None else dpi_y)
        per_mm = np.array(self.dpi) / 25.4
        self.shape = (round(height_mm * per_mm[1]), round(width_mm * per_mm[0]))
        matrix = np.array([[per_mm[0], per_mm[0] * math.tan(math.radians(skew_deg))], [0.0, -per_mm[1]]])
        self.map = AffineMap(matrix, np.array([-0.5, self.shape[0] - 0.5]))
        self.size_mm = (width_mm, height_mm)
        self.background, self.gradient = _colour(background), gradient
        self.blur_px, self.noise_codes = blur_px, noise_codes
        self.rng = np.random.default_rng(seed)
        self.layers: list[Layer] = []
        self.dust: list[Layer] = []
        self.items: list[Shape] = []
        self.squares: list[Ring] = []
        self.reflectances: list[tuple[float, float, float]] = []

    def add_item(self, shape: Shape, centre_mm, angle_deg=0.0, reflectance=(0.05, 0.05, 0.05), **look) -> Shape:
        """Place an item and return it as placed; `look`: grain, grain_deg, shadow, shadow_mm, shadow_shift_mm."""
        placed = shape.placed(centre_mm, angle_deg)
        self.layers.append(Layer(placed.rings, _colour(reflectance), **look))
        self.items.append(placed)
        self.reflectances.append(_colour(reflectance))
        return placed

    def add_square(self, side_mm, centre_mm, angle_deg=0.0, reflectance=0.03) -> Ring:
        """Place a plain square (or a rectangle, `side_mm` = (x, y)) and return it as placed."""
        placed = rectangle(*np.broadcast_to(side_mm, 2)).placed(centre_mm, angle_deg)
        self.squares.append(placed)
        self.layers.append(Layer((placed,), _colour(reflectance)))
        return placed

    def add_paper(self, width_mm, height_mm, centre_mm, angle_deg=0.0, reflectance=0.88) -> None:
        """Place a sheet of paper, e.g. the card a square is printed on; add it before what lies on it."""
        self.layers.append(Layer((rectangle(width_mm, height_mm).placed(centre_mm, angle_deg),), _colour(reflectance)))

    def add_polygon(self, rings_mm, reflectance=0.03) -> None:
        """Paint any polygon: the outer ring (N, 2) first, then its holes."""
        self.layers.append(Layer(tuple(ring(points) for points in rings_mm), _colour(reflectance)))

    def add_dust(self, count: int, hairs: int = 0, *, clear_mm: float = 0.5, light: bool = False) -> None:
        """Scatter specks of 0.03 to 0.3 mm and hairs, none nearer than `clear_mm` to an item or a square."""
        made = 0
        while made < count + hairs:
            points = _hair(self.rng) if made >= count else _speck(self.rng)
            points = points + self.rng.uniform((2, 2), np.subtract(self.size_mm, 2))
            if not self._is_clear(points, clear_mm):
                continue
            shade = self.rng.uniform(0.75, 0.95) if light else self.rng.uniform(0.02, 0.4)
            self.dust.append(Layer((ring(points),), _colour(shade)))
            made += 1

    def _is_clear(self, points, clear_mm: float) -> bool:
        rings = [r for item in self.items for r in item.rings] + self.squares
        return all(np.abs(r.signed_distance(points)).min() > clear_mm for r in rings)

    def render(self) -> Rendered:
        """Render the scan; call it once, the noise goes on from the scene's own random numbers."""
        canvas = self._lid()
        for layer in self.layers + self.dust:
            self._paint(canvas, layer)
        pixels = to_pixels(canvas, self.noise_codes, self.rng)
        return Rendered(pixels, self.map, tuple(self.items), tuple(self.squares), tuple(self.reflectances), self.dpi)

    def _lid(self):
        h, w = self.shape
        x = np.linspace(-self.gradient[0], self.gradient[0], w, dtype=np.float32)
        y = np.linspace(self.gradient[1], -self.gradient[1], h, dtype=np.float32)
        return (1 + y[:, None] + x)[..., None] * np.array(self.background, np.float32)

    def _paint(self, canvas, layer: Layer) -> None:
        polygons = [self._polygon(r) for r in layer.rings]
        if layer.shadow:
            per_mm = self.dpi[0] / 25.4
            shift = np.multiply(layer.shadow_shift_mm, (per_mm, -per_mm))
            shade(canvas, [points + shift for points in polygons], layer.shadow_mm * per_mm, layer.shadow)
        patch = blurred_coverage(polygons, self.shape, self.blur_px)
        colour = np.array(layer.reflectance, np.float32)
        if layer.grain:
            colour = colour * (1 + layer.grain * self._grain(patch, layer.grain_deg))[..., None]
        paint(canvas, patch, colour)

    def _polygon(self, outline: Ring):
        per_mm = max(self.dpi) / 25.4 * 1.05
        return self.map.to_px(outline.polygon(SAGITTA_PX / per_mm))

    def _grain(self, patch: Patch, angle_deg: float):
        """Return wood-like stripes with unit deviation, smooth over several pixels."""
        h, w = patch.values.shape
        a = math.radians(angle_deg)
        y, x = np.mgrid[:h, :w].astype(np.float32)
        across = y * math.cos(a) + x * math.sin(a) + 25 * smooth_noise((h, w), (250, 250), self.rng)
        phases = self.rng.uniform(0, 2 * math.pi, 3)
        stripes = sum(np.sin(across * (2 * math.pi / p) + f) for p, f in zip((19, 47, 113), phases, strict=True))
        return 0.6 * stripes + 0.5 * smooth_noise((h, w), (12, 12), self.rng)


def _colour(value) -> tuple[float, float, float]:
    return tuple(float(v) for v in np.broadcast_to(value, 3))


def _speck(rng):
    angles = np.sort(rng.uniform(0, 2 * math.pi, 9))
    radii = 0.5 * math.exp(rng.uniform(math.log(0.03), math.log(0.3))) * rng.uniform(0.6, 1.0, 9)
    return np.stack([radii * np.cos(angles), radii * np.sin(angles)], 1)


def _hair(rng):
    t = np.linspace(0, 1, 40)
    heading = rng.uniform(0, 2 * math.pi) + np.cumsum(rng.normal(0, 0.12, 40))
    line = rng.uniform(2, 8) * np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) / len(t), axis=0)
    width = rng.uniform(0.02, 0.06)
    side = width / 2 * np.stack([-np.sin(heading), np.cos(heading)], 1)
    return np.concatenate([line + side, (line - side)[::-1]])


def save_png(path, rendered: Rendered, dpi=None) -> None:
    """Write the scan as PNG with its density in pHYs (`dpi`, a number or (x, y), in place of the true one)."""
    density = rendered.dpi if dpi is None else np.broadcast_to(dpi, 2).tolist()
    Path(path).write_bytes(png_bytes(rendered.pixels, density))


def save_jpeg(path, rendered: Rendered, quality: int = 92, dpi=None) -> None:
    """Write the scan as JPEG with its density rounded to whole dpi."""
    density = rendered.dpi if dpi is None else np.broadcast_to(dpi, 2).tolist()
    Path(path).write_bytes(jpeg_bytes(rendered.pixels, quality, density))
