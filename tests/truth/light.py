"""From linear light to the bytes of a picture: noise, the sRGB curve, rounding, PNG and JPEG."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np

from .raster import Patch, blurred_coverage

STRIP = 256  # rows turned into codes at once, to spare memory


def srgb_codes(linear):
    """Return unrounded 8-bit codes of linear light 0..1 (IEC 61966-2-1)."""
    linear = np.asarray(np.maximum(linear, 0))
    # exp and log in single precision cost a tenth of a power and err by less than 1e-3 of a code
    curve = np.asarray(np.maximum(linear, 1e-6))
    np.log(curve, out=curve)
    curve *= np.float32(1 / 2.4)
    np.exp(curve, out=curve)
    curve *= 1.055
    curve -= 0.055
    dark = linear <= 0.0031308
    curve[dark] = 12.92 * linear[dark]
    curve *= 255
    return curve


def linear_light(codes):
    """Return linear light of 8-bit sRGB codes (IEC 61966-2-1)."""
    value = np.asarray(codes, float) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def to_pixels(linear, noise_codes: float, rng):
    """Return (H, W, C) uint8 codes of linear light, with Gaussian noise of `noise_codes` added before rounding."""
    pixels = np.empty(linear.shape, np.uint8)
    for i in range(0, len(linear), STRIP):
        codes = srgb_codes(linear[i : i + STRIP])
        if noise_codes:
            codes += np.float32(noise_codes) * rng.standard_normal(codes.shape, np.float32)
        pixels[i : i + STRIP] = np.clip(np.rint(codes), 0, 255)
    return pixels


def paint(canvas, patch, colour) -> None:
    """Cover `canvas` (H, W, C) by `colour` (C,) or (h, w, C) where `patch` says how much."""
    rows, columns = patch.slices
    alpha = patch.values.astype(np.float32)[..., None]
    under = canvas[rows, columns]
    under += alpha * (np.asarray(colour, np.float32) - under)


def add_light(canvas, patch, light) -> None:
    """Add `light` (C,) to `canvas` in the shares of `patch`."""
    canvas[patch.slices] += patch.values.astype(np.float32)[..., None] * np.asarray(light, np.float32)


def shade(canvas, rings_px, sigma_px: float, amount: float) -> None:
    """Darken `canvas` by a soft shadow of a polygon: no part of the truth, so it is worked out on a coarser grid."""
    from scipy.ndimage import zoom

    step = max(1, round(sigma_px / 1.5))
    small = (canvas.shape[0] // step + 1, canvas.shape[1] // step + 1)
    patch = blurred_coverage([(r - (step - 1) / 2) / step for r in rings_px], small, sigma_px / step)
    values = np.clip(zoom(patch.values, step, order=1, grid_mode=True, mode="nearest"), 0, 1)
    row, column = patch.row * step, patch.column * step
    values = values[: canvas.shape[0] - row, : canvas.shape[1] - column]
    paint(canvas, Patch(row, column, amount * values), np.zeros(canvas.shape[2]))


def smooth_noise(shape, cell, rng):
    """Return (h, w) float32 noise of about unit deviation that varies over about `cell` = (rows, columns) pixels."""
    rows, columns = (_spline_weights(n, c) for n, c in zip(shape, cell, strict=True))
    grid = rng.standard_normal((rows.shape[1], columns.shape[1])).astype(np.float32)
    return 2 * (rows @ grid @ columns.T)


def _spline_weights(n: int, cell: float):
    """Return (n, K) weights of cubic B-splines, one knot every `cell` pixels."""
    knots = np.arange(-2, n / cell + 3)
    u = np.abs(np.arange(n)[:, None] / cell - knots)
    near, far = 2 / 3 - u**2 + u**3 / 2, (2 - u) ** 3 / 6
    return np.where(u < 1, near, np.where(u < 2, far, 0)).astype(np.float32)


def png_bytes(pixels, density=None) -> bytes:
    """Return a PNG (ISO/IEC 15948); `density` = (x, y) pixels per inch goes into pHYs as whole pixels per metre.

    Rows are neither filtered nor packed: that would take longer than all that reads them.
    """
    pixels = np.ascontiguousarray(np.squeeze(pixels))
    height, width, colour = *pixels.shape[:2], 0 if pixels.ndim == 2 else 2  # grey or RGB
    rows = np.zeros((height, 1 + pixels[0].size), np.uint8)  # each begins with its filter, 0
    rows[:, 1:] = pixels.reshape(height, -1)
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, colour, 0, 0, 0))]
    if density is not None:
        per_metre = [round(value / 0.0254) for value in density]
        chunks.append((b"pHYs", struct.pack(">IIB", *per_metre, 1)))
    chunks += [(b"IDAT", zlib.compress(rows, 0)), (b"IEND", b"")]
    framed = [
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(framed)


def jpeg_bytes(pixels, quality: int, density=None, exif: bytes = b"") -> bytes:
    """Return a JPEG without colour subsampling above quality 90, as most cameras and scanners write it."""
    from PIL import Image

    stream = io.BytesIO()
    extra = {} if density is None else {"dpi": tuple(round(d) for d in density)}
    subsampling = 0 if quality > 90 else 2
    Image.fromarray(np.squeeze(pixels)).save(
        stream, "JPEG", quality=quality, subsampling=subsampling, exif=exif, **extra
    )
    return stream.getvalue()
