"""Real scans in more forms: other casts and files, JPEG of every quality, on the ground's own colour, out of focus.

    python -m tests.bench.real_forms                         # all forms of the scans that are there
    python -m tests.bench.real_forms --only A2.jpeg --change jpeg_10 blurred --keep FOLDER

What is measured, and what the exit code tells, is as of `real_changed`.
"""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.real_changed import Change, Scan, main, moved, with_codes


def _on_ground(scan: Scan, degrees: float) -> Scan:
    """Turned about the middle, what comes in filled with the median colour of the upper and lower edge."""
    import cv2

    h, w = scan.pixels.shape[:2]
    edge = np.concatenate([scan.pixels[2:6], scan.pixels[-6:-2]]).reshape(-1, 3)
    cos, sin = np.cos(np.radians(degrees)), abs(np.sin(np.radians(degrees)))
    size = int(w * cos + h * sin) + 4, int(h * cos + w * sin) + 4
    matrix = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), degrees, 1.0)
    matrix[:, 2] += (size[0] - w) / 2, (size[1] - h) / 2
    colour = tuple(np.median(edge, axis=0).astype(int).tolist())
    return moved(scan, cv2.warpAffine(scan.pixels, matrix, size, flags=cv2.INTER_CUBIC, borderValue=colour), matrix)


def turned_4_on_ground(scan: Scan) -> Scan:
    return _on_ground(scan, 4.0)


def turned_2_back_on_ground(scan: Scan) -> Scan:
    return _on_ground(scan, -2.0)


def cast_blue(scan: Scan) -> Scan:
    return with_codes(scan, scan.pixels * (0.80, 0.92, 1.0))


def cast_green(scan: Scan) -> Scan:
    return with_codes(scan, scan.pixels * (0.88, 1.0, 0.85) + (0, 0, 5))


def cast_warm(scan: Scan) -> Scan:
    return with_codes(scan, 255 * (scan.pixels / 255.0) ** (0.8, 1.0, 1.5))


def vignetted(scan: Scan) -> Scan:
    h, w = scan.pixels.shape[:2]
    y, x = np.mgrid[:h, :w]
    square = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / ((w / 2) ** 2 + (h / 2) ** 2)
    return with_codes(scan, 255 * ((scan.pixels / 255.0) ** 2.2 * (1 - 0.55 * square)[..., None]) ** (1 / 2.2))


def banded(scan: Scan) -> Scan:
    return with_codes(scan, scan.pixels * (1 + 0.02 * np.sin(np.arange(scan.pixels.shape[1]) / 7))[:, None])


def sharpened(scan: Scan) -> Scan:
    import cv2

    light = scan.pixels.astype(np.float32)
    return with_codes(scan, light + 1.2 * (light - cv2.GaussianBlur(light, (0, 0), 1.2)))


def blurred(scan: Scan) -> Scan:
    import cv2

    return with_codes(scan, cv2.GaussianBlur(scan.pixels, (0, 0), 2.0))


def clipped(scan: Scan) -> Scan:
    return with_codes(scan, scan.pixels * 1.35)


def inverted(scan: Scan) -> Scan:
    return with_codes(scan, 255.0 - scan.pixels)


def with_alpha(scan: Scan) -> Scan:
    return dataclasses.replace(scan, mode="RGBA")


def with_palette(scan: Scan) -> Scan:
    return dataclasses.replace(scan, mode="P")


def webp_40(scan: Scan) -> Scan:
    return dataclasses.replace(scan, suffix=".webp", saved={"quality": 40})


def _jpeg(quality: int) -> Change:
    def saved(scan: Scan) -> Scan:
        return dataclasses.replace(scan, suffix=".jpg", saved={"quality": quality})

    saved.__name__ = f"jpeg_{quality}"
    return saved


FORMS: tuple[Change, ...] = (
    turned_4_on_ground, turned_2_back_on_ground, cast_blue, cast_green, cast_warm, vignetted, banded, sharpened,
    blurred, clipped, inverted, with_alpha, with_palette, webp_40, *map(_jpeg, (10, 15, 20, 25, 50)),
)  # fmt: skip

if __name__ == "__main__":
    raise SystemExit(main(FORMS))
