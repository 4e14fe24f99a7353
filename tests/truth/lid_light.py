"""The lid of a flatbed, as it is: uneven, with rims, stains, scratches and print that shows through; and the sensor.

What is drawn here is never an item. Figures follow real scans under open licences (leaves at 100 and 300 dpi): a
lid that falls from code 255 to 213 across the glass, a black strip of 1 mm, a grey band of 4 mm beside it, single
pixels of 0.6 to 1.5 codes of noise, faint lines along and across.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .light import jpeg_bytes, linear_light, paint, smooth_noise, srgb_codes
from .raster import Patch, blurred_coverage

WORDS = ("Delivery note", "4 pcs", "Please sign here", "Art. 20-118", "Sum", "as agreed", "No. 7", "gross 12.40")


@dataclass(frozen=True, slots=True)
class Lid:
    """A lid or a sheet that lies under the items; codes are those of its grey before `tint`."""

    bright: float = 245.0  # code at its brightest side; above 255 the picture is clipped there
    dark: float = 245.0  # code at the other side
    towards_deg: float = 0.0  # where it gets darker, counter-clockwise from +x
    power: float = 1.0  # of the fall-off: above 1 it comes late
    bend: float = 0.0  # share of light lost towards both borders across the fall-off
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)  # of linear light
    mottle: float = 0.0  # deviation of slow unevenness (10 mm), share of light
    texture: float = 0.0  # deviation of fine texture (paper, cloth; 0.3 mm), share of light
    see_through: float = 0.0  # strength of print on the back of the sheet, share of light
    scratches: int = 0
    stains: int = 0


@dataclass(frozen=True, slots=True)
class Strip:
    """What a scanner shows along a border: the end of the lid, the frame, a gap."""

    side: str  # "left", "right", "top", "bottom"
    width_mm: float
    code: float
    soft_mm: float = 0.05
    slant_mm: float = 0.0  # how much wider it is at its other end


@dataclass(frozen=True, slots=True)
class Sensor:
    """What happens to the light on its way to the file."""

    noise_codes: float = 1.0
    streaks: float = 0.0  # deviation of the gain from column to column, share of light
    flicker: float = 0.0  # the same from row to row
    sharpen: float = 0.0  # unsharp mask of the driver: this share of what a blur of 1.2 px takes away
    jpeg: int | None = None  # quality; None writes the pixels as they are


def lid_canvas(lid: Lid, shape, per_mm: float, rng):
    """Return (H, W, 3) float32 linear light of the bare lid."""
    h, w = shape
    a = math.radians(lid.towards_deg)
    x = np.linspace(-0.5, 0.5, w, dtype=np.float32)[None, :]
    y = np.linspace(0.5, -0.5, h, dtype=np.float32)[:, None]
    reach = (abs(math.cos(a)) + abs(math.sin(a))) / 2
    along = np.clip((x * math.cos(a) + y * math.sin(a)) / (2 * reach) + 0.5, 0, 1)
    across = (y * math.cos(a) - x * math.sin(a)) / reach
    grey = linear_light(lid.bright + (lid.dark - lid.bright) * along**lid.power)
    grey = grey * (1 - lid.bend * across**2)
    if lid.mottle:
        grey = grey * (1 + lid.mottle * smooth_noise(shape, (10 * per_mm, 10 * per_mm), rng))
    if lid.texture:
        grey = grey * (1 + lid.texture * fine_noise(shape, 0.3 * per_mm, rng))
    if lid.see_through:
        grey = grey * (1 - lid.see_through * _print_on_the_back(shape, per_mm, rng))
    canvas = (grey[..., None] * np.array(lid.tint)).astype(np.float32)
    _scratch(canvas, lid.scratches, per_mm, rng)
    _stain(canvas, lid.stains, per_mm, rng)
    return canvas


def _print_on_the_back(shape, per_mm: float, rng):
    """Return (H, W) 0..1: lines of words seen mirrored through paper, soft."""
    import cv2

    page = np.zeros(shape, np.uint8)
    scale = per_mm * rng.uniform(2.2, 4.5) / 22  # letters of 2.2 to 4.5 mm
    step = int(scale * 22 * rng.uniform(1.5, 2.6))
    for row in range(step, shape[0], step):
        text = "  ".join(rng.choice(WORDS, 5))
        start = (int(rng.uniform(0, shape[1] * 0.3)), row)
        cv2.putText(page, text, start, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, max(1, int(2.2 * scale)), cv2.LINE_AA)
    soft = cv2.GaussianBlur(page[:, ::-1], (0, 0), 0.3 * per_mm)
    return soft.astype(np.float32) / 255


def _scratch(canvas, count: int, per_mm: float, rng) -> None:
    size = np.array(canvas.shape[1::-1], float)
    for _ in range(count):
        start, heading = rng.uniform((0, 0), size), rng.uniform(0, 2 * math.pi)
        length = rng.uniform(8, 80) * per_mm
        end = start + length * np.array([math.cos(heading), math.sin(heading)])
        side = 0.5 * rng.uniform(0.03, 0.10) * per_mm * np.array([-math.sin(heading), math.cos(heading)])
        ring = np.array([start + side, end + side, end - side, start - side])
        patch = blurred_coverage([ring], canvas.shape[:2], 0.8)
        rows, columns = patch.slices
        amount = rng.uniform(0.04, 0.12) * rng.choice((-1, 1))
        canvas[rows, columns] *= (1 + amount * patch.values[..., None]).astype(np.float32)


def _stain(canvas, count: int, per_mm: float, rng) -> None:
    """Yellowish blotches with soft, uneven borders, 2 to 8 mm."""
    import cv2

    h, w = canvas.shape[:2]
    for _ in range(count):
        size = int(rng.uniform(2, 8) * per_mm)
        y, x = np.mgrid[-1 : 1 : size * 1j, -1 : 1 : size * 1j]
        body = np.clip(1.2 - 1.6 * np.hypot(x, y) + 0.35 * smooth_noise((size, size), (size / 4, size / 4), rng), 0, 1)
        body = cv2.GaussianBlur((body > 0.35).astype(np.float32) * 0.5 + 0.5 * body.astype(np.float32), (0, 0), 2)
        loss = rng.uniform(0.02, 0.09) * np.array((0.5, 0.7, 1.3)) * body[..., None]
        row, column = int(rng.uniform(0, max(h - size, 1))), int(rng.uniform(0, max(w - size, 1)))
        under = canvas[row : row + size, column : column + size]
        under *= (1 - loss[: under.shape[0], : under.shape[1]]).astype(np.float32)


def fine_noise(shape, cell, rng):
    """Return (h, w) float32 noise of unit deviation, alike over about `cell` = (rows, columns) pixels; for small ones.

    As `smooth_noise`, whose cost goes up as cells get small.
    """
    import cv2

    sigma = 0.55 * np.broadcast_to(np.asarray(cell, float), 2)  # the width of a cubic B-spline
    rows, columns = (int(6 * s) // 2 * 2 + 3 for s in sigma)
    white = rng.standard_normal(shape, np.float32).reshape(shape)
    soft = cv2.GaussianBlur(white, (columns, rows), sigmaX=max(sigma[1], 1e-3), sigmaY=max(sigma[0], 1e-3))
    soft = soft.reshape(shape)
    return soft / max(float(soft.std()), 1e-9)


def paint_strip(canvas, strip: Strip, per_mm: float) -> None:
    """Cover a border of `canvas` by the strip."""
    h, w = canvas.shape[:2]
    level = strip.side in ("top", "bottom")
    long, deep = (w, h) if level else (h, w)
    edge = per_mm * (strip.width_mm + strip.slant_mm * np.linspace(0, 1, long))
    depth = np.arange(deep)[:, None]
    share = 1 / (1 + np.exp(np.clip((depth - edge) / max(strip.soft_mm * per_mm, 0.3), -40, 40)))
    share = share if strip.side in ("top", "left") else share[::-1]
    values = share if level else share.T
    paint(canvas, Patch(0, 0, values), np.full(3, linear_light(strip.code)))


def sensed(canvas, sensor: Sensor, rng):
    """Return (H, W, 3) uint8: gain, driver's sharpening, noise, rounding, JPEG and back."""
    gain = 1 + sensor.streaks * fine_noise((1, canvas.shape[1]), (0.01, 1.5), rng)
    gain = gain * (1 + sensor.flicker * fine_noise((canvas.shape[0], 1), (1.5, 0.01), rng))
    codes = srgb_codes(np.minimum(canvas * gain[..., None], 1.2))
    if sensor.sharpen:
        import cv2

        codes = codes + sensor.sharpen * (codes - cv2.GaussianBlur(codes, (0, 0), 1.2))
    # a sensor's noise goes with the root of the light: the code's noise is about level
    codes = codes + np.float32(sensor.noise_codes) * rng.standard_normal(codes.shape, np.float32)
    pixels = np.clip(np.rint(codes), 0, 255).astype(np.uint8)
    return pixels if sensor.jpeg is None else _through_jpeg(pixels, sensor.jpeg)


def _through_jpeg(pixels, quality: int):
    import io

    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(jpeg_bytes(pixels, quality))).convert("RGB"))
