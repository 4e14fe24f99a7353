"""Scans and photos by which stated uncertainties are judged: one a number, drawn from what the world is like.

Nothing here knows what the package takes for granted. Scans: real materials on uneven lids (`lid_scenes`), 150 to 600
dpi, axes apart, blur from sharp to soft, drivers that sharpen, JPEG, half with a shade, some with print that crosses
the edge, some with another tone curve than the file would make one believe. Photos: lenses of phones (`LENSES`), focal
length longer near by, EXIF's whole millimetres, items of 0.5 to 6 mm, light that falls off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .camera import camera
from .flatbed import AffineMap
from .lid import LidScene
from .lid_light import Lid, Sensor
from .lid_scenes import MATERIALS, with_wide_holes
from .lid_shapes import scaled
from .lid_things import Print, Shade, Thing
from .light import linear_light
from .photo import Photo, PhotoScene
from .photo_scenes import Artwork
from .scenes import shape_of
from .shapes import Shape, rectangle
from .worn import SmoothBend

SHAPES = ("key-fob", "tag", "heart", "plaque", "pebble", "hook", "star", "scalloped", "heptagon", "id1-card", "1-euro")
PX_AT_MOST = 1.6e6
GAP_MM, MARGIN_MM = 5.0, 5.0
# Main cameras of phones: 35 mm equivalent, k1, k2, k3 of directions X/Z. The first is an open calibration (repository
# mmamustafa/computer-vision, iPhone_Calibration.m: 0.168, -0.717, 1.63) drawn with two terms out to where its pictures
# held places; the others are from memory, after calibrations people publish of phones.
LENSES = (
    (28.7, 0.13, -0.17, 0.0),
    (24.0, 0.02, -0.04, 0.0),
    (26.0, 0.05, -0.10, 0.05),
    (23.0, 0.04, -0.06, 0.0),
    (27.0, 0.10, -0.25, 0.15),
    (25.0, -0.01, 0.02, 0.0),
    (28.0, -0.03, 0.05, 0.0),
    (26.0, 0.09, -0.20, 0.10),
    (24.0, 0.0, 0.0, 0.0),
    (26.0, 0.01, -0.03, 0.02),
)
SENSOR_PX = (2016, 1512)


@dataclass(frozen=True, eq=False)
class ScanCase:
    """A scan and what is true of it."""

    name: str
    pixels: np.ndarray
    truth: Shape  # as placed, mm
    side_mm: float  # of the plain square
    dpi: float  # what the scanner claims
    curve_stated: bool
    tags: frozenset[str]


class _Scan(LidScene):
    """A lid scene whose scanner has its own x and y scale and a skew."""

    stretch = (1.0, 1.0)
    skew = 0.0
    bend: SmoothBend | None = None
    at_mm = (0.0, 0.0)  # the picture's lower-left corner on the glass

    def _map(self, shape, per_mm: float) -> AffineMap | _BentMap:
        sx, sy = np.multiply(self.stretch, per_mm)
        plain = AffineMap(np.array([[sx, sx * self.skew], [0.0, -sy]]), np.array([-0.5, shape[0] - 0.5]))
        return plain if self.bend is None else _BentMap(plain, self.bend, self.at_mm)


@dataclass(frozen=True, eq=False)
class _BentMap:
    """A map of places that seem to be elsewhere on the glass; straight sides stay so, their ends are moved."""

    plain: AffineMap
    bend: SmoothBend
    at_mm: tuple[float, float]

    def to_px(self, points_mm):
        points = np.asarray(points_mm, float)
        return self.plain.to_px(points + self.bend.off_mm(points + self.at_mm))


def scan_case(number: int, *, bent: bool = False) -> ScanCase:
    """Return the scan of this number, perhaps on a glass that is bent."""
    rng = np.random.default_rng([number, 31013])
    shape = with_wide_holes(scaled(shape_of(SHAPES[number % len(SHAPES)]), rng.uniform(0.5, 1.0)))
    side = float(rng.uniform(20, 40))
    place, size = _laid(shape, side, rng)
    dpi = float(rng.choice((150, 200, 300, 300, 400, 600)))
    dpi = min(dpi, 25.4 * math.sqrt(PX_AT_MOST / (size[0] * size[1])))
    bright = rng.uniform(225, 252)
    scene = _Scan(*size, dpi=dpi, seed=number, blur_px=math.exp(rng.uniform(math.log(0.5), math.log(1.6))))
    if bent:
        own = np.random.default_rng([number, 31014])
        scene.bend = SmoothBend(own)
        scene.at_mm = tuple(own.uniform(0, np.maximum(np.subtract(SmoothBend.GLASS_MM, size), 0)).tolist())
    scene.stretch, scene.skew = tuple(1 + rng.uniform(-0.005, 0.005, 2)), math.radians(rng.uniform(-0.1, 0.1))
    scene.lid = Lid(
        bright, bright - rng.uniform(0, 25), rng.uniform(0, 360), rng.uniform(0.7, 1.8), bend=rng.uniform(0, 0.02),
        tint=(1.0, rng.uniform(0.97, 1.0), rng.uniform(0.93, 1.0)), mottle=rng.uniform(0, 0.006),
        texture=rng.choice((0.0, 0.01)),
    )  # fmt: skip
    tags = set()
    jpeg = int(rng.integers(80, 96)) if rng.uniform() < 0.5 else None
    sharpen = rng.uniform(0.2, 0.6) if rng.uniform() < 0.3 else 0.0
    scene.sensor = Sensor(rng.uniform(0.6, 2.5), rng.uniform(0, 0.004), rng.uniform(0, 0.003), sharpen, jpeg)
    tags |= {word for word, is_so in (("jpeg", jpeg), ("sharpened", sharpen)) if is_so}
    names = [n for n in MATERIALS if n not in ("birch", "maple", "yellow acrylic")]
    colour, look = MATERIALS[names[rng.integers(len(names))]]
    look = {**look, "grain_deg": rng.uniform(0, 180)}
    if rng.uniform() < 0.5:
        offset = rng.uniform(0.05, 0.4, 2) * rng.choice((-1, 1), 2)
        look["shade"] = Shade(rng.uniform(0.03, 0.15), rng.uniform(0.2, 0.9), tuple(offset.tolist()))
        tags.add("shade")
    angle = rng.uniform(0, 360)
    if rng.uniform() < 0.2:
        look["prints"] = (_band(shape, place[1], angle, rng),)
        tags.add("print")
    scene.add_square(side, place[0], rng.uniform(0, 90))
    scene.things.append(Thing(shape.placed(place[1], angle), tuple(rng.uniform(0.85, 1.1) * np.array(colour)), **look))
    scene.dirt = {"specks": int(rng.integers(0, 20)), "hairs": 0}
    picture = scene.render()
    stated = rng.uniform() < 0.5
    pixels = picture.pixels
    if not stated and rng.uniform() < 0.4:
        pixels, _ = _by_gamma(pixels, rng.choice((1.8, 2.2, 2.2, 2.2))), tags.add("gamma")
    return ScanCase(f"scan {number} {shape.name}", pixels, picture.shapes[0], side, dpi, stated, frozenset(tags))


def _laid(shape: Shape, side: float, rng):
    """Return the places of square and item, and the picture's size, mm."""
    half = 0.75 * side
    radius = float(np.hypot(*shape.outer.polygon(1e-2).T).max())
    height = 2 * max(half, radius) + 2 * MARGIN_MM
    square = (MARGIN_MM + half, rng.uniform(MARGIN_MM + half, height - MARGIN_MM - half))
    item = (MARGIN_MM + 2 * half + GAP_MM + radius, rng.uniform(MARGIN_MM + radius, height - MARGIN_MM - radius))
    return (square, item), (item[0] + radius + MARGIN_MM, height)


def _band(shape: Shape, centre, angle: float, rng) -> Print:
    """Return a printed band that runs over an edge."""
    x0, y0, x1, y1 = shape.bounds()
    wide = rng.uniform(0.05, 0.2) * (x1 - x0)
    at = rng.uniform(0.25, 0.75) * (x1 - x0) + x0
    band = rectangle(wide, 3 * (y1 - y0)).placed((at, (y0 + y1) / 2), 0.0).placed((0, 0), angle).placed(centre, 0.0)
    return Print(band.polygon(1.0), tuple(rng.uniform(0.05, 0.35) * np.ones(3)))


def _by_gamma(pixels, gamma: float):
    """Return the codes that a scanner with a plain power for its curve gives."""
    table = np.rint(255 * linear_light(np.arange(256)) ** (1 / gamma)).astype(np.uint8)
    return table[pixels]


@dataclass(frozen=True, eq=False)
class PhotoTruth:
    """A photo and what is true of it."""

    name: str
    photo: Photo
    truth: Shape
    height_mm: float
    side_mm: float | None  # of the plain square; None on a mat
    exif_35mm: int
    print_scale: tuple[float, float] = (1.0, 1.0)  # true over drawn size of the mat


def phone_case(number: int, *, artwork: Artwork | None = None) -> PhotoTruth:
    """Return the photo of this number, beside a plain square of about 50 mm or on a mat."""
    rng = np.random.default_rng([number, 60289])
    nominal, k1, k2, k3 = LENSES[rng.integers(len(LENSES))]
    nominal *= 1 + rng.uniform(-0.015, 0.015)  # one phone of a kind from another
    field = rng.uniform(240, 380) if artwork is None else rng.uniform(340, 400)
    tilt = abs(rng.normal(0, 6))
    size = np.array(SENSOR_PX)
    straight = nominal / math.hypot(36, 24) * math.hypot(*size)
    distance = field * straight / size[0]
    focal = straight * (1 + rng.uniform(4.2, 6.9) / distance)  # the lens moves out to focus near by
    eye = camera(
        tuple(rng.uniform(-15, 15, 2)), distance, tilt_deg=tilt, tilt_towards_deg=rng.uniform(0, 360),
        roll_deg=rng.uniform(-10, 10), focal_px=focal, size_px=SENSOR_PX,
        principal_shift_px=rng.normal(0, 0.004 * size[0], 2), k1=k1, k2=k2, k3=k3,
    )  # fmt: skip
    look = {"light": rng.uniform(-0.12, 0.12, 2), "vignette": rng.uniform(0.1, 0.3)}
    ground = rng.uniform(0.65, 0.85) * np.array([1.0, 0.99, 0.96]) if artwork is None else (0.3, 0.22, 0.15)
    blur, noise = rng.uniform(0.6, 1.3), rng.uniform(0.8, 2.5)
    scene = PhotoScene(eye, background=ground, blur_px=blur, noise_codes=noise, seed=number, **look)
    side, stretch = None, (1.0, 1.0)
    if artwork is None:
        side = float(50 + rng.uniform(-1, 1))
        scene.add_square(side, (-48, rng.uniform(-20, 20)), rng.uniform(0, 90))
        place = (rng.uniform(30, 50), rng.uniform(-20, 20))
    else:
        stretch = tuple(1 + rng.normal(0, 0.002, 2))
        _mat(scene, artwork, stretch, rng)
        place = tuple(rng.uniform(-12, 12, 2))
    height = math.exp(rng.uniform(math.log(0.5), math.log(6.0)))
    shape = with_wide_holes(scaled(shape_of(SHAPES[number % len(SHAPES)]), rng.uniform(0.6, 1.0)))
    colours = ((0.42, 0.24, 0.11), (0.05, 0.05, 0.06), (0.08, 0.14, 0.45), (0.30, 0.30, 0.30), (0.5, 0.06, 0.05))
    truth = scene.add_item(
        shape, place, rng.uniform(0, 360), height_mm=height, reflectance=colours[rng.integers(5)],
        wall=rng.uniform(0.5, 0.95),
    )  # fmt: skip
    name = f"{'photo' if artwork is None else 'mat'} {number} {shape.name} {nominal:.1f} mm, {height:.1f} mm high"
    return PhotoTruth(name, scene.render(), truth, height, side, round(nominal), stretch)


def _mat(scene: PhotoScene, artwork: Artwork, stretch, rng) -> None:
    """Print the mat: scaled as printers and paper do, inks spread, each black patch a little off its place."""
    scene.add_paper(*artwork.sheet_mm, (0, 0))
    off = rng.choice((0.0, 0.02))
    for rings in artwork.black:
        shift = rng.normal(0, off, 2) if off else np.zeros(2)
        scene.add_polygon([np.asarray(r) * stretch + shift for r in rings], 0.04)


__all__ = ["PhotoTruth", "ScanCase", "phone_case", "scan_case"]
