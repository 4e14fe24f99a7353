"""The picture made small by a whole factor: what things are looked for in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from .background import Float32Array
from .opencv import cv
from .records import FloatArray, Picture

_TARGET_PX = 1800  # long side


@dataclass(frozen=True, slots=True)
class Reduced:
    """The picture area-averaged by a whole factor."""

    codes: npt.NDArray[Any]  # (h, w, C)
    light: Float32Array  # (h, w, C)
    factor: int

    def to_full(self, points: FloatArray) -> FloatArray:
        """Map reduced px to full-resolution px."""
        return self.factor * points + (self.factor - 1) / 2.0

    def to_reduced(self, points_px: FloatArray) -> FloatArray:
        """Map full-resolution px to reduced px."""
        return (points_px - (self.factor - 1) / 2.0) / self.factor


def reduce_picture(picture: Picture) -> Reduced:
    """Average the picture by the whole factor that brings its long side near 1800 px."""
    factor = max(1, round(max(picture.width_px, picture.height_px) / _TARGET_PX))
    h, w = picture.height_px // factor, picture.width_px // factor
    channels = picture.pixels.shape[2]
    if factor == 1:
        codes = picture.pixels
    else:
        whole = picture.pixels[: h * factor, : w * factor]
        codes = cv().resize(whole, (w, h), interpolation=cv().INTER_AREA).reshape(h, w, channels)
    light = np.empty(codes.shape, np.float32)
    for channel in range(channels):
        light[..., channel] = picture.to_linear[:, channel][codes[..., channel]]
    return Reduced(codes, light, factor)
