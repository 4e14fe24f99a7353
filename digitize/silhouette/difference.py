"""A photo less the same view without the item: what is left is the item, whatever it lies on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ..errors import PictureError, ScaleError
from ..opencv import cv
from ..records import FloatArray, Picture
from ..steady import product

MOST_MOVED_PX = 1.5  # between both pictures; by more the camera was moved
GREY = 0.5  # light of what did not change; darker is darker than the background was
_STRIP = 256  # rows worked at once
_LEAST_LIGHT = 0.02  # of full light: darker pixels tell nothing of the exposure
_TOP = 65535  # of 16-bit codes
_GRID = 7  # places along a side that the map between both is told by
_GAIN_PIXELS = 40_000  # exposures are compared at about so many; thinned for the work


def less_background(picture: Picture, empty: Picture, to_empty_px: Callable[[FloatArray], FloatArray]) -> Picture:
    """Return the difference of two photos about mid-grey, in linear light, 16 bit.

    Parameters
    ----------
    picture
        With the item.
    empty
        The same view without it.
    to_empty_px
        Map of (N, 2) px of the picture to px of the empty one, by what is known of the cameras.

    Raises
    ------
    PictureError
        If the two differ in size or channels.
    ScaleError
        If the camera moved between them.
    """
    if picture.pixels.shape != empty.pixels.shape:
        raise PictureError(
            f"The background photo is {empty.width_px} x {empty.height_px} px, the picture {picture.width_px} x "
            f"{picture.height_px}: take both in the same way, one after the other."
        )
    matrix, moved = _registration(picture, to_empty_px)
    if moved > MOST_MOVED_PX:
        raise ScaleError(
            f"The camera moved by {moved:.1f} px between the background photo and the picture (limit "
            f"{MOST_MOVED_PX:g}). Rest the phone on a stand, take both without touching the card, and use the timer."
        )
    gain = _gain(picture, empty)
    codes = np.empty(picture.pixels.shape, np.uint16)
    for top in range(0, picture.height_px, _STRIP):
        rows = slice(top, min(top + _STRIP, picture.height_px))
        light = _light(picture, picture.pixels[rows])
        codes[rows] = _codes(light, gain * _behind(empty, rows, matrix))
    codes.setflags(write=False)
    straight = np.linspace(0, 1, _TOP + 1, dtype=np.float32)
    curve = np.ascontiguousarray(np.repeat(straight[:, None], picture.pixels.shape[2], axis=1))
    return replace(picture, pixels=codes, to_linear=curve)


def _registration(picture: Picture, to_empty_px: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, float]:
    """Projective map of px of the picture to px of the empty one, and how far it moves anything."""
    x, y = np.meshgrid(np.linspace(0, picture.width_px - 1, _GRID), np.linspace(0, picture.height_px - 1, _GRID))
    here = np.column_stack([x.ravel(), y.ravel()])
    there = to_empty_px(here)
    moved = float(np.median(np.linalg.norm(there - here, axis=1)))
    matrix, _ = cv().findHomography(here, there, 0)
    return np.asarray(matrix, dtype=np.float64), moved


def _light(picture: Picture, codes: npt.NDArray[np.uint8 | np.uint16]) -> npt.NDArray[np.float32]:
    light = np.empty(codes.shape, np.float32)
    for channel in range(codes.shape[2]):
        light[..., channel] = picture.to_linear[:, channel][codes[..., channel]]
    return light


def _behind(empty: Picture, rows: slice, matrix: FloatArray) -> npt.NDArray[np.float32]:
    """Light of the empty photo where the picture's rows look, between pixels where it moved."""
    margin = int(np.ceil(MOST_MOVED_PX)) + 6
    first, last = max(0, rows.start - margin), min(empty.height_px, rows.stop + margin)
    light = _light(empty, empty.pixels[first:last])
    shift_in = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, rows.start], [0.0, 0.0, 1.0]])
    shift_out = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, -first], [0.0, 0.0, 1.0]])
    size = (empty.width_px, rows.stop - rows.start)
    flags = cv().INTER_LINEAR | cv().WARP_INVERSE_MAP
    warped = cv().warpPerspective(
        light, product(product(shift_out, matrix), shift_in), size, flags=flags, borderMode=cv().BORDER_REPLICATE
    )
    return np.asarray(warped, dtype=np.float32).reshape(size[1], size[0], -1)


def _gain(picture: Picture, empty: Picture) -> npt.NDArray[np.float32]:
    """Ratio of exposures a channel: the median over a thinned grid, most of which the item does not cover."""
    step = max(1, int(np.sqrt(picture.width_px * picture.height_px / _GAIN_PIXELS)))
    now = _light(picture, picture.pixels[::step, ::step])
    before = _light(empty, empty.pixels[::step, ::step])
    ratios = [
        np.median((now[..., c] / np.maximum(before[..., c], 1e-6))[before[..., c] > _LEAST_LIGHT])
        if (before[..., c] > _LEAST_LIGHT).any()
        else 1.0
        for c in range(now.shape[2])
    ]
    return np.array(ratios, dtype=np.float32)


def _codes(light: npt.NDArray[np.float32], behind: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16]:
    value = GREY + 0.5 * (light - behind)
    return np.asarray(np.rint(np.clip(value, 0.0, 1.0) * _TOP), dtype=np.uint16)
