"""A phone photo of flat things and of upright-walled items on the plane z = 0.

An item is a prism: its outline swept from z = 0 to its height. What it hides of the plane is the union of its bottom,
its top and its walls, each projected from the camera onto the plane; a hole shows the plane where no wall stands in
the way. All layers are polygons on the plane z = 0 until the camera maps them to px; coverage, blur, noise and codes
are those of the flatbed renderer. Light falls off smoothly and is multiplied in after the blur.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .camera import Camera
from .light import add_light, jpeg_bytes, paint, shade, to_pixels
from .raster import blurred_coverage
from .shapes import Ring, Shape, rectangle

SAGITTA_MM = 1e-5
LONGEST_MM = 0.3  # of a chord, so that the lens may bend straight edges


@dataclass(frozen=True, eq=False)
class Flat:
    """A polygon printed or lying on the plane."""

    rings: tuple[np.ndarray, ...]  # mm, outer first
    reflectance: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Prism:
    """An item with upright walls."""

    shape: Shape  # as placed
    height_mm: float
    reflectance: tuple[float, float, float]
    wall: float  # reflectance of the walls as a share of the top's
    shadow: float
    shadow_mm: float


@dataclass(frozen=True, eq=False)
class Photo:
    """The picture and what is true in it."""

    pixels: np.ndarray  # (H, W, 3) uint8, upright
    camera: Camera
    prisms: tuple[Prism, ...]
    squares: tuple[Ring, ...]

    @property
    def items(self) -> tuple[Shape, ...]:
        return tuple(prism.shape for prism in self.prisms)


class PhotoScene:
    """What lies on the table, and how the phone sees it.

    `background` is the table's reflectance; `light` = (x, y) the relative change of light from the centre to the right
    and upper border; `vignette` the loss of light in the picture's corners. `blur_px` is the Gaussian's deviation.
    """

    def __init__(
        self,
        camera: Camera,
        *,
        background=(0.75, 0.75, 0.75),
        light=(0.0, 0.0),
        vignette: float = 0.0,
        blur_px=0.8,
        noise_codes: float = 1.5,
        seed: int = 0,
    ):
        self.camera, self.background = camera, _colour(background)
        self.light, self.vignette = light, vignette
        self.blur_px, self.noise_codes = blur_px, noise_codes
        self.rng = np.random.default_rng(seed)
        self.flats: list[Flat] = []
        self.prisms: list[Prism] = []
        self.squares: list[Ring] = []

    def add_polygon(self, rings_mm, reflectance=0.03) -> None:
        """Paint a polygon on the plane: outer ring (N, 2) first, then its holes."""
        self.flats.append(Flat(tuple(_dense(np.asarray(r, float)) for r in rings_mm), _colour(reflectance)))

    def add_paper(self, width_mm, height_mm, centre_mm, angle_deg=0.0, reflectance=0.88) -> None:
        self.add_polygon([rectangle(width_mm, height_mm).placed(centre_mm, angle_deg).points], reflectance)

    def add_square(self, side_mm, centre_mm, angle_deg=0.0, reflectance=0.03) -> Ring:
        """Place a plain square (or rectangle) and return it as placed."""
        placed = rectangle(*np.broadcast_to(side_mm, 2)).placed(centre_mm, angle_deg)
        self.squares.append(placed)
        self.add_polygon([placed.points], reflectance)
        return placed

    def add_ring_square(self, outer_mm, inner_mm, centre_mm, angle_deg=0.0, reflectance=0.03) -> None:
        """Place a square frame."""
        self.add_polygon(
            [rectangle(s, s).placed(centre_mm, angle_deg).points for s in (outer_mm, inner_mm)], reflectance
        )

    def add_item(
        self, shape: Shape, centre_mm, angle_deg=0.0, *, height_mm: float, reflectance=(0.3, 0.18, 0.1),
        wall: float = 0.7, shadow: float = 0.0, shadow_mm: float = 1.5,
    ) -> Shape:  # fmt: skip
        """Place an item with upright walls and return its outline as placed."""
        placed = shape.placed(centre_mm, angle_deg)
        self.prisms.append(Prism(placed, height_mm, _colour(reflectance), wall, shadow, shadow_mm))
        return placed

    def render(self) -> Photo:
        """Render the photo; call it once."""
        shape = (self.camera.height_px, self.camera.width_px)
        canvas = np.empty((*shape, 3), np.float32)
        canvas[:] = self.background
        for flat in self.flats:
            paint(canvas, self._covered(flat.rings), flat.reflectance)
        for prism in self.prisms:
            self._stand(canvas, prism)
        canvas *= self._light_field()[..., None]
        pixels = to_pixels(canvas, self.noise_codes, self.rng)
        return Photo(pixels, self.camera, tuple(self.prisms), tuple(self.squares))

    def _covered(self, rings_mm):
        shape = (self.camera.height_px, self.camera.width_px)
        return blurred_coverage([self.camera.to_px(r) for r in rings_mm], shape, self.blur_px)

    def _stand(self, canvas, prism: Prism) -> None:
        """Paint the walls' colour over all that the prism hides, then exchange it for the top's on the top."""
        if prism.shadow:
            base = [self.camera.to_px(r) for r in _rings(prism.shape)]
            shade(canvas, base, _px_per_mm(self.camera) * prism.shadow_mm, prism.shadow)
        top = np.array(prism.reflectance)
        paint(canvas, self._covered(hidden_rings(prism.shape, prism.height_mm, self.camera)), prism.wall * top)
        raised = [self.camera.raised(r, prism.height_mm) for r in _rings(prism.shape)]
        add_light(canvas, self._covered(raised), (1 - prism.wall) * top)

    def _light_field(self):
        h, w = self.camera.height_px, self.camera.width_px
        x = np.linspace(-1, 1, w, dtype=np.float32)
        y = np.linspace(1, -1, h, dtype=np.float32)[:, None]
        fall = (x**2 * w**2 + y**2 * h**2) / (w**2 + h**2)
        return (1 + self.light[0] * x + self.light[1] * y) * (1 - self.vignette * fall)


def hidden_rings(shape: Shape, height_mm: float, camera: Camera):
    """Return the rings (outer first) of what a prism hides of the plane z = 0, seen from the camera.

    Raises
    ------
    ValueError
        If it falls into several pieces.
    """
    import shapely

    bottom = _rings(shape)
    top = [camera.raised(r, height_mm) for r in bottom]
    if height_mm == 0:
        return bottom
    parts = [shapely.Polygon(rings[0], rings[1:]) for rings in (bottom, top)]
    for low, high in zip(bottom, top, strict=True):
        parts += _walls(low, high)
    whole = shapely.union_all(shapely.make_valid(np.array(parts)), grid_size=1e-9)
    if whole.geom_type != "Polygon":
        raise ValueError(f"the prism hides a {whole.geom_type}")
    specks = [r for r in whole.interiors if shapely.Polygon(r).area > 1e-4]
    return [np.array(r.coords)[:-1] for r in (whole.exterior, *specks)]


def _walls(low, high):
    """Return what lies between two rings, point by point: quads, those side by side that face the same way as one."""
    import shapely

    quads = np.stack([low, np.roll(low, -1, 0), np.roll(high, -1, 0), high], 1)
    facing = shapely.is_ccw(shapely.linearrings(quads))
    first = np.flatnonzero(facing != np.roll(facing, 1))
    first = first if len(first) else np.array([0])
    walls = []
    for start, end in zip(first, np.r_[first[1:], first[0] + len(low)], strict=True):
        place = np.arange(start, end + 1) % len(low)
        whole = shapely.Polygon(np.vstack([low[place], high[place[::-1]]]))
        walls += [whole] if whole.is_valid and len(place) <= len(low) else list(shapely.polygons(quads[place[:-1]]))
    return walls


def _rings(shape: Shape):
    return [r.polygon(SAGITTA_MM, LONGEST_MM) for r in shape.rings]


def _dense(points):
    """Return the closed polygon with points at most `LONGEST_MM` apart."""
    after = np.roll(points, -1, axis=0)
    n = np.maximum(np.ceil(np.linalg.norm(after - points, axis=1) / LONGEST_MM), 1).astype(int)
    which = np.repeat(np.arange(len(points)), n)
    t = (np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n)) / n[which]
    return points[which] + t[:, None] * (after - points)[which]


def _px_per_mm(camera: Camera) -> float:
    return camera.focal_px / camera.eye_mm[2]


def _colour(value) -> tuple[float, float, float]:
    return tuple(float(v) for v in np.broadcast_to(value, 3))


TURNS = {1: 0, 3: 2, 6: 1, 8: 3}  # EXIF orientation: quarter turns counter-clockwise from upright to stored


def save_photo(path, photo: Photo, *, quality: int = 92, orientation: int = 1, exif: bool = True) -> None:
    """Write the photo as JPEG with the camera's EXIF: rounded focal lengths, 72 dpi filler, orientation."""
    stored = np.rot90(photo.pixels, TURNS[orientation])
    tags = _exif(photo.camera, orientation) if exif else b""
    Path(path).write_bytes(jpeg_bytes(np.ascontiguousarray(stored), quality, (72, 72), tags))


def _exif(camera: Camera, orientation: int) -> bytes:
    """EXIF as phones write it: focal length in hundredths of a mm, 35 mm equivalent in whole mm (Exif 2.3)."""
    from PIL import Image
    from PIL.TiffImagePlugin import IFDRational

    tags = Image.Exif()
    tags[0x010F], tags[0x0110] = "Lantern Row", "Pocket 12"  # Make, Model: invented
    tags[0x0112] = orientation
    details = tags.get_ifd(0x8769)
    crop = math.hypot(camera.width_px, camera.height_px) * 0.0014 / math.hypot(36, 24)  # a sensor of 1.4 um pixels
    details[0x920A] = IFDRational(round(100 * camera.focal_35mm * crop), 100)  # FocalLength
    details[0xA405] = round(camera.focal_35mm)  # FocalLengthIn35mmFilm
    return tags.tobytes()
