"""Random phone photos within stated limits, one a seed, with their truth.

``photo_case(seed)``: 12 MP over a field of 300 to 400 mm, tilt up to 10 degrees, |k1| up to 0.05, principal point off
by up to 20 px, an item of 3 mm with upright walls beside a plain square of 50 mm. With ``artwork`` the item lies in
the middle of a printed mat instead: its sheet and its black polygons, in mm about the sheet's centre, come from the
caller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .camera import Camera, camera
from .photo import Photo, PhotoScene
from .scenes import shape_of
from .shapes import Shape

SHAPES = ("key-fob", "tag", "heart", "plaque", "pebble", "hook", "star", "scalloped", "heptagon", "gear")
COLOURS = ((0.42, 0.24, 0.11), (0.05, 0.05, 0.06), (0.08, 0.14, 0.45), (0.30, 0.30, 0.30), (0.5, 0.06, 0.05))
SENSOR = (4032, 3024)
SQUARE_MM = 50.0


@dataclass(frozen=True, eq=False)
class Artwork:
    """A printed mat: sheet size, and black polygons (outer ring first, then holes), mm about the sheet's centre."""

    sheet_mm: tuple[float, float]
    black: tuple[tuple[np.ndarray, ...], ...]


@dataclass(frozen=True, eq=False)
class PhotoCase:
    """A photo and what is true of it."""

    name: str
    photo: Photo
    truth: Shape  # as placed, mm
    height_mm: float
    square_mm: float | None  # None on a mat
    blur_px: float
    noise_codes: float
    field_mm: float
    tilt_deg: float

    @property
    def camera(self) -> Camera:
        return self.photo.camera


def photo_case(
    seed: int, *, artwork: Artwork | None = None, height_mm: float = 3.0, straight_lens: bool = False
) -> PhotoCase:
    """Return the photo number `seed`; shapes and colours go round, everything else is drawn."""
    rng = np.random.default_rng([seed, 4093])
    field, tilt = rng.uniform(300 if artwork is None else 350, 400), rng.uniform(0, 10)
    blur, noise = rng.uniform(0.6, 1.0), rng.uniform(0.8, 2.0)
    eye = _camera(rng, field, tilt, straight_lens)
    scene = PhotoScene(
        eye,
        background=rng.uniform(0.72, 0.82) * np.array([1.0, 0.99, 0.96]) if artwork is None else (0.3, 0.22, 0.15),
        light=rng.uniform(-0.12, 0.12, 2),
        vignette=rng.uniform(0.1, 0.3),
        blur_px=blur,
        noise_codes=noise,
        seed=seed,
    )
    turn = rng.uniform(0, 360)
    if artwork is None:
        scene.add_square(SQUARE_MM, (-45, rng.uniform(-15, 15)), rng.uniform(0, 90))
        place = (rng.uniform(35, 45), rng.uniform(-15, 15))
    else:
        scene.add_paper(*artwork.sheet_mm, (0, 0))
        for rings in artwork.black:
            scene.add_polygon(rings, 0.04)
        place = tuple(rng.uniform(-8, 8, 2))
    shape = shape_of(SHAPES[seed % len(SHAPES)])
    truth = scene.add_item(
        shape, place, turn, height_mm=height_mm, reflectance=COLOURS[seed % len(COLOURS)], wall=rng.uniform(0.6, 0.9)
    )
    name = f"{seed:02d} {shape.name} {tilt:.1f} deg, {field:.0f} mm"
    square = SQUARE_MM if artwork is None else None
    return PhotoCase(name, scene.render(), truth, height_mm, square, blur, noise, field, tilt)


def _camera(rng, field_mm: float, tilt_deg: float, straight_lens: bool) -> Camera:
    focal = rng.uniform(24.5, 28.0) / math.hypot(36, 24) * math.hypot(*SENSOR)
    k1, k2 = (0.0, 0.0) if straight_lens else (rng.uniform(-0.05, 0.05), rng.uniform(-0.01, 0.01))
    return camera(
        tuple(rng.uniform(-10, 10, 2)),
        field_mm * focal / SENSOR[0],
        tilt_deg=tilt_deg,
        tilt_towards_deg=rng.uniform(0, 360),
        roll_deg=rng.uniform(-8, 8),
        focal_px=focal,
        size_px=SENSOR,
        principal_shift_px=rng.uniform(-14, 14, 2),
        k1=k1,
        k2=k2,
    )


__all__ = ["Artwork", "PhotoCase", "photo_case"]
