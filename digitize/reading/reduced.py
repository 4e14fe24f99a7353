"""The picture made small by a whole factor: what things are looked for in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..records import Float32Array, FloatArray, Picture

_BESIDE = 2  # codes to either side, between which a curve's slope is taken
_TARGET_MPX = 1.9  # an A4 scan at 600 dpi by 4, a photo of 12 Mpx by 3


class Light(Protocol):
    """Linear light (h, w, C) float32 of which parts are asked for as of an array; an array is one."""

    @property
    def shape(self) -> tuple[int, ...]:
        """(h, w, C)."""

    def __getitem__(self, at: Any, /) -> Any:
        """Part of it, as of an array."""


@dataclass(frozen=True, slots=True)
class LightOfCodes:
    """Linear light of codes, worked out where it is asked for: held as float32 it takes four times their room."""

    codes: npt.NDArray[Any]  # (h, w, C) uint8 or uint16
    to_linear: npt.NDArray[np.float32]  # (256 or 65536, C)

    @property
    def shape(self) -> tuple[int, ...]:
        """(h, w, C)."""
        return self.codes.shape

    def __getitem__(self, at: Any, /) -> Float32Array:
        """Return the light of a part that keeps all channels: a window, every n-th pixel, chosen ones."""
        codes = self.codes[at]
        return linear_light(codes.reshape(-1, 1, codes.shape[-1]), self.to_linear).reshape(codes.shape)


@dataclass(frozen=True, slots=True)
class Blocks:
    """How far the mean of a JPEG's block may be off, as it was rounded: seen from afar that is a patch of its own."""

    off: FloatArray  # (C,) codes, at the most
    to_linear: npt.NDArray[np.float32]  # (256, C)

    @classmethod
    def of(cls, picture: Picture) -> Blocks | None:
        """Return those of a picture; None where none are stated.

        Half a step of brightness and colour, by ITU-T T.871 (JFIF) on red, green and blue; they add as squares.
        """
        light, hue = (0.5 * step for step in picture.block_steps)
        if not (light or hue) or picture.pixels.dtype != np.uint8:
            return None
        hues = np.array([1.402, math.hypot(0.344136, 0.714136), 1.772])
        off = np.hypot(light, hues * hue if picture.pixels.shape[2] == 3 else np.zeros(1))
        return cls(off, picture.to_linear)

    def off_at(self, level: Float32Array) -> Float32Array:
        """Return how far linear light may be off at a level (C,); (C,)."""
        codes = np.array([np.searchsorted(table, one) for table, one in zip(self.to_linear.T, level, strict=True)])
        codes = np.clip(codes, _BESIDE, 255 - _BESIDE)
        channels = np.arange(len(codes))
        rise = self.to_linear[codes + _BESIDE, channels] - self.to_linear[codes - _BESIDE, channels]
        return np.asarray(self.off * rise / (2 * _BESIDE), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Reduced:
    """The picture area-averaged by a whole factor."""

    codes: npt.NDArray[Any]  # (h, w, C)
    light: Light  # (h, w, C)
    factor: int
    blocks: Blocks | None = None  # of a JPEG

    def to_full(self, points: FloatArray) -> FloatArray:
        """Map reduced px to full-resolution px."""
        return self.factor * points + (self.factor - 1) / 2.0

    def to_reduced(self, points_px: FloatArray) -> FloatArray:
        """Map full-resolution px to reduced px."""
        return (points_px - (self.factor - 1) / 2.0) / self.factor


def reduce_picture(picture: Picture) -> Reduced:
    """Average the picture by the whole factor that brings it near 1.9 Mpx."""
    mpx = 1e-6 * picture.width_px * picture.height_px
    factor = max(1, min(round(math.sqrt(mpx / _TARGET_MPX)), picture.width_px, picture.height_px))
    h, w = picture.height_px // factor, picture.width_px // factor
    channels = picture.pixels.shape[2]
    if factor == 1:
        codes = picture.pixels
    else:
        whole = picture.pixels[: h * factor, : w * factor]
        codes = cv().resize(whole, (w, h), interpolation=cv().INTER_AREA).reshape(h, w, channels)
    return Reduced(codes, LightOfCodes(codes, picture.to_linear), factor, Blocks.of(picture))


def linear_light(codes: npt.NDArray[Any], to_linear: npt.NDArray[np.float32]) -> Float32Array:
    """Return the linear light of a picture's part.

    Parameters
    ----------
    codes
        (h, w, C) uint8 or uint16.
    to_linear
        (256 or 65536, C) table.
    """
    channels = codes.shape[2]
    if codes.dtype == np.uint8:
        table = to_linear.reshape(1, 256, channels) if channels > 1 else to_linear[:, 0]
        return np.asarray(cv().LUT(np.ascontiguousarray(codes), table), dtype=np.float32).reshape(codes.shape)
    return np.stack([to_linear[:, c][codes[..., c]] for c in range(channels)], axis=2)
