"""An item's mask at full resolution: a coarse mask decided anew, along its edge, at the half-way level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.profiles import linear_pixels
from ..measure.ragged import TO_SD, median
from ..opencv import cv
from ..reading.reduced import linear_light
from ..records import BoolArray, ByteArray, Float32Array, FloatArray, Picture
from ..steady import product
from .numbered import AREA, numbered
from .shade import LEAST_BEHIND

IntArray = npt.NDArray[np.int64]

_TAIL_PX = 2.0  # reduced px from half the way to where an item begins to differ from its ground
_TILE, _TILE_PX = 32, 192  # reduced pixels, and full ones at least, a side of the blocks worked at full resolution
_LEAST_SMOOTHING_PX = 0.3  # less does nothing; where it smooths, a block's border shows
_BESIDE = 4  # reduced pixels about a pale place that are looked at
_STEP = 0.3  # of the way from background to item
_BAND = 3  # reduced pixels either side of the coarse edge that are decided at full resolution
_SHADED, _GREY = (0.35, 1.02), 0.06  # of the background's light, and spread over the channels: its shade in a hole
_LEAST_OPEN_PX2, _LEAST_HOLE_PX2 = 6.0, 12.0  # smaller holes are the picture's grain
_MOST_OPEN = 0.1  # of the item: more that is pale and reaches outside is the item's own colour
_LEAST_POWER = 0.02  # of the usual squared difference: below, levels are not told by what is there
_SOME = 5000  # pixels that colours are told from; thinned for the work
_NOISE_PLACES = 400  # along the band at which noise is measured; chosen, no source
_NEAR_PX, _FARTHER_PX = 9, 21  # windows that levels are averaged in
_FARTHER, _LAST = 0.05, 1e-3  # weight of the wider window, and of what is taken where none is
_CALMED, _NOISY = 2.8, 0.1  # px of blur for each contrast of noise, from so much noise on


@dataclass(frozen=True, slots=True)
class Levels:
    """Projection onto the local colour difference of item and background, smooth along the edge.

    ``(gain[..., :C] * light).sum() - gain[..., C]`` is 1 on the item and 0 on the background.
    """

    gain: Float32Array  # (h, w, C + 1)
    contrast: float  # median colour difference along the edge


def typical_colour(colours: Float32Array) -> Float32Array:
    """The medians of the channels of colours (N, C), (C,), as `numpy.median` gives them, in half of the time."""
    return np.array([median(colours[:, k]) for k in range(colours.shape[1])], dtype=np.float32)


def fill_specks(own: BoolArray, dust: float) -> BoolArray:
    """Fill holes that are smaller than dust, also without the tails of the item's blur that lie over their rim."""
    labels, stats = numbered(~own, 4)
    small = stats[:, AREA] < 0.5 * max(dust - 2.0 * _TAIL_PX, 0.0) ** 2
    small[0] = False
    return np.asarray(own | small[labels])


def open_shaded_holes(light: Float32Array, behind: Float32Array, own: BoolArray, dust: float) -> BoolArray:
    """Take out of an item the holes through which the background is seen in the item's own shade.

    Such a place has the background's colour, darkened alike in all channels, lies nearer to it than to the item,
    and is enclosed by the item. Where the item shows the same colour on its outside too (a print's inner
    parts on a pale item), nothing is taken out.

    Parameters
    ----------
    light, behind
        (h, w, C) linear light of the reduced picture and its background.
    own
        (h, w) the item, holes in shade still filled.
    dust
        Size of what is too small to be a hole, reduced px.
    """
    kernel = np.ones((3, 3), np.uint8)
    core = cv().erode(own.astype(np.uint8), kernel, iterations=3, borderValue=1) > 0
    if not core.any():
        return own
    difference = light - behind
    some = _some(difference, core)
    far = np.einsum("nc,nc->n", some, some)
    item = typical_colour(some[far >= median(far)])
    weights = (item / max(float(product(item, item)), 1e-9)).astype(np.float32)[None, :]
    nearness = cv().transform(difference, weights).reshape(own.shape)
    pale = own & (nearness < 0.5)
    ratio = light[pale] / np.maximum(behind[pale], LEAST_BEHIND)
    alike = (ratio.min(axis=1) > _SHADED[0]) & (ratio.max(axis=1) < _SHADED[1]) & (np.ptp(ratio, axis=1) < _GREY)
    pale[pale] = alike
    least = max(0.5 * dust**2, _LEAST_OPEN_PX2)
    if np.count_nonzero(pale) < least:
        return own
    outside = cv().dilate((~_filled(own)).astype(np.uint8), kernel, iterations=2) > 0
    if np.count_nonzero(pale & ~outside) < least:
        return own
    labels, stats = numbered(pale, 4)
    open_to_outside = np.zeros(len(stats), bool)
    open_to_outside[labels[outside & pale]] = True
    area = stats[:, AREA]
    if area[open_to_outside & (np.arange(len(stats)) > 0)].sum() > _MOST_OPEN * own.sum():
        return own
    hole = ~open_to_outside & (area >= least)
    hole[0] = False
    for label in np.flatnonzero(hole).tolist():
        hole[label] = _has_step(nearness, labels == label, own, stats[label])
    return np.asarray(own & ~hole[labels])


def _has_step(nearness: Float32Array, pale: BoolArray, own: BoolArray, stats: IntArray) -> bool:
    """Whether a pale place within an item ends in a step toward it: a hole does, the item's own pale places seldom.

    `nearness` is 1 on the item and 0 on the background.
    """
    x, y, w, h = (int(v) for v in stats[:4])
    at = slice(max(0, y - _BESIDE), y + h + _BESIDE), slice(max(0, x - _BESIDE), x + w + _BESIDE)
    within = pale[at].astype(np.uint8)
    near = cv().dilate(within, np.ones((2 * _BESIDE + 1, 2 * _BESIDE + 1), np.uint8)) > 0
    beside = near & ~(cv().dilate(within, np.ones((3, 3), np.uint8)) > 0) & own[at]
    if not beside.any():
        return True
    return bool(np.median(nearness[at][beside]) - np.median(nearness[at][within > 0]) > _STEP)


def _filled(own: BoolArray) -> BoolArray:
    """The mask with everything it encloses."""
    contours, _ = cv().findContours(own.astype(np.uint8), cv().RETR_EXTERNAL, cv().CHAIN_APPROX_NONE)
    filled = np.zeros(own.shape, np.uint8)
    cv().drawContours(filled, contours, -1, 1, cv().FILLED)
    return filled > 0


def local_levels(light: Float32Array, behind: Float32Array, own: BoolArray, clear: BoolArray) -> Levels:
    """Estimate the colours of item and background along the item's edge.

    Parameters
    ----------
    light
        (h, w, C) linear light of the reduced picture.
    behind
        (h, w, C) background model.
    own
        (h, w) the item.
    clear
        (h, w) what is neither this nor another item.
    """
    kernel = np.ones((3, 3), np.uint8)
    deep = cv().erode(own.astype(np.uint8), kernel, iterations=2, borderValue=1)
    rim = deep & ~cv().erode(deep, kernel, iterations=8, borderValue=1)
    open_ = cv().erode(clear.astype(np.uint8), kernel, iterations=2, borderValue=1)
    # the levels vary slowly: every second pixel is enough
    few = (slice(None, None, 2), slice(None, None, 2))
    typical_item = typical_colour(_some(light, own))
    item = _spread(light[few], rim[few], deep[few], np.broadcast_to(typical_item, light[few].shape))
    back = _spread(light[few], open_[few], open_[few], behind[few])
    difference = item - back
    power = _channel_sum(difference * difference)
    typical = median(power[rim[few] > 0]) if rim[few].any() else float(power.mean())
    floor = np.float32(max(_LEAST_POWER * typical, 1e-6))
    gain = np.asarray(difference / np.maximum(power, floor)[..., None], dtype=np.float32)
    joined = np.concatenate([gain, _channel_sum(gain * back)[..., None]], axis=2)
    size = (light.shape[1], light.shape[0])
    full = cv().resize(np.ascontiguousarray(joined, dtype=np.float32), size, interpolation=cv().INTER_LINEAR)
    return Levels(full, float(np.sqrt(typical)))


def rim_levels(light: Float32Array, behind: Float32Array, own: BoolArray, rim: FloatArray) -> Levels:
    """Levels between a rim of one colour, linear light (C,), and the background just outside of it.

    Parameters
    ----------
    light, behind
        (h, w, C) linear light of the reduced picture and its background.
    own
        (h, w) the item with its rim.
    rim
        The rim's colour.
    """
    outside = ~(cv().dilate(own.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)
    clear = outside.astype(np.uint8)
    back = _spread(light, clear, clear, behind)
    difference = np.asarray(rim.astype(np.float32) - back, dtype=np.float32)
    power = np.maximum(_channel_sum(difference * difference), np.float32(1e-6))
    gain = np.asarray(difference / power[..., None], dtype=np.float32)
    joined = np.concatenate([gain, _channel_sum(gain * back)[..., None]], axis=2)
    return Levels(np.ascontiguousarray(joined, dtype=np.float32), float(np.sqrt(np.median(power))))


def trim_pale(light: Float32Array, own: BoolArray, levels: Levels) -> BoolArray:
    """Take off, from the outside inward, what lies nearer to the background than to the item (blur, narrow gaps)."""
    value = _toward_item(light, levels.gain)
    pale = own & (cv().blur(value, (3, 3)) < 0.5)
    if not pale.any():
        return own
    count, labels = cv().connectedComponents((pale | ~own).astype(np.uint8), connectivity=4)
    from_outside = np.zeros(count, bool)
    from_outside[labels[~own]] = True
    return np.asarray(own & ~(pale & from_outside[labels]))


def _channel_sum(values: Float32Array) -> Float32Array:
    """Sum over the channels of (h, w, C); (h, w)."""
    ones = np.ones((1, values.shape[2]), np.float32)
    return np.asarray(cv().transform(values, ones), dtype=np.float32).reshape(values.shape[:2])


def _each(values: Float32Array, channels: int) -> Float32Array:
    """The same values (h, w) for every channel: NumPy is slow with factors that the channels share; (h, w, C)."""
    return np.asarray(cv().merge([values] * channels), dtype=np.float32).reshape(*values.shape, channels)


def _toward_item(light: Float32Array, gain: Float32Array) -> Float32Array:
    """0 on the background, 1 on the item, by the gain of `Levels`; (h, w)."""
    channels = light.shape[2]
    weights = cv().cvtColor(gain, cv().COLOR_BGRA2BGR) if channels == 3 else np.ascontiguousarray(gain[..., :-1])
    shift: Float32Array = cv().extractChannel(gain, channels)
    return _channel_sum(light * weights) - shift


def _some(values: Float32Array, where: BoolArray) -> Float32Array:
    """Evenly chosen ones of the pixels `where`, five to ten thousand where there are so many; (N, C)."""
    places = np.flatnonzero(where)
    rows, columns = np.divmod(places[:: max(1, len(places) // _SOME)], where.shape[1])
    return values[rows, columns]


def _spread(light: Float32Array, first: ByteArray, second: ByteArray, last: Float32Array) -> Float32Array:
    """Mean light of nearby chosen pixels; where none is near, of farther ones; else `last`."""
    total = _LAST * last.astype(np.float32)
    weight = np.full(light.shape[:2], _LAST, np.float32)
    for chosen, size, share in ((first, _NEAR_PX, 1.0), (second, _FARTHER_PX, _FARTHER)):
        part = chosen.astype(np.float32)
        near = cv().blur(light * _each(part, light.shape[2]), (size, size)).reshape(light.shape)
        total = total + share * near
        weight = weight + share * cv().blur(part, (size, size))
    return np.asarray(total / _each(weight, light.shape[2]), dtype=np.float32)


def decide_band(picture: Picture, factor: int, own: BoolArray, origin: tuple[int, int], levels: Levels) -> ByteArray:
    """Give the item's mask at full resolution: coarse away from its edge, at the half-way level along it.

    Parameters
    ----------
    picture
        The picture.
    factor
        Full-resolution pixels per pixel of `own`.
    own
        (h, w) coarse mask.
    origin
        x, y of its first pixel in the reduced picture.
    levels
        From `local_levels`, same size as `own`.
    """
    h, w = own.shape
    kernel = np.ones((3, 3), np.uint8)
    inside = own.astype(np.uint8)
    mask = cv().resize(inside, (w * factor, h * factor), interpolation=cv().INTER_NEAREST)
    band = cv().dilate(inside, kernel, iterations=_BAND)
    band &= ~cv().erode(inside, kernel, iterations=_BAND, borderValue=1)
    smoothing = _smoothing_px(picture, levels.contrast, band, origin, factor)
    tile = max(_TILE, _TILE_PX // factor) if smoothing <= _LEAST_SMOOTHING_PX else _TILE
    for top in range(0, h, tile):
        for left in range(0, w, tile):
            x, y, wide, high = cv().boundingRect(band[top : top + tile, left : left + tile])
            if not wide:
                continue
            rows, columns = slice(top + y, top + y + high), slice(left + x, left + x + wide)
            item = _tile_item(picture, factor, origin, rows, columns, levels, smoothing)
            where = cv().resize(band[rows, columns], item.shape[::-1], interpolation=cv().INTER_NEAREST)
            part = mask[rows.start * factor : rows.stop * factor, columns.start * factor : columns.stop * factor]
            cv().copyTo(item, where, part)
    return np.asarray(mask)


def _tile_item(
    picture: Picture,
    factor: int,
    origin: tuple[int, int],
    rows: slice,
    columns: slice,
    levels: Levels,
    smoothing_px: float,
) -> ByteArray:
    """Half-way decision for every full-resolution pixel of a tile."""
    gain = levels.gain
    pad = 1 + int(np.ceil(3 * smoothing_px / factor))
    r0, r1 = max(0, rows.start - pad), min(gain.shape[0], rows.stop + pad)
    c0, c1 = max(0, columns.start - pad), min(gain.shape[1], columns.stop + pad)
    size = ((c1 - c0) * factor, (r1 - r0) * factor)
    y, x = (origin[1] + r0) * factor, (origin[0] + c0) * factor
    light = linear_light(picture.pixels[y : y + size[1], x : x + size[0]], picture.to_linear)
    weight = cv().resize(gain[r0:r1, c0:c1], size, interpolation=cv().INTER_LINEAR)
    value = _toward_item(light, weight)
    if smoothing_px > _LEAST_SMOOTHING_PX:
        value = cv().GaussianBlur(value, (0, 0), smoothing_px)
    top, left = (rows.start - r0) * factor, (columns.start - c0) * factor
    height, width = (rows.stop - rows.start) * factor, (columns.stop - columns.start) * factor
    return np.asarray(value[top : top + height, left : left + width] > 0.5).astype(np.uint8)


def _smoothing_px(picture: Picture, contrast: float, band: ByteArray, origin: tuple[int, int], factor: int) -> float:
    """Blur needed for the noise to stay under a tenth of the contrast."""
    ys, xs = np.nonzero(band)
    if len(ys) == 0:
        return 0.0
    pick = np.linspace(0, len(ys) - 1, min(len(ys), _NOISE_PLACES)).astype(int)
    y = np.clip((ys[pick] + origin[1]) * factor, 0, picture.height_px - 1)
    x = np.clip((xs[pick] + origin[0]) * factor, 0, picture.width_px - 4)
    near = linear_pixels(picture, x + np.arange(3)[:, None], np.tile(y, (3, 1))).astype(np.float64)
    bends = np.abs(near[0] - 2 * near[1] + near[2])
    steps = [median(bends[:, k]) * TO_SD / np.sqrt(6.0) for k in range(bends.shape[1])]
    part = float(np.mean(steps)) / max(contrast, 1e-6)
    return float(np.clip(_CALMED * part, 0.5, 4.0)) if part > _NOISY else 0.0


def follow_borders(
    mask: ByteArray, origin: tuple[int, int], *, dust_px: float, least_px2: float
) -> list[tuple[IntArray, ...]]:
    """Follow the borders of every part of the mask that is large enough for an item.

    Parameters
    ----------
    mask
        (h, w), 1 on the item.
    origin
        x, y of its first pixel in the picture.
    dust_px
        Size of what is too small to be a hole.
    least_px2
        Least area of an item.

    Returns
    -------
    list of tuple of (N, 2) int arrays
        Whole px of the item's border pixels: exterior, then holes.
    """
    contours, tree = cv().findContours(mask, cv().RETR_CCOMP, cv().CHAIN_APPROX_NONE)
    if not contours:
        return []
    area = np.array([cv().contourArea(contour) for contour in contours])
    parent = tree[0][:, 3]
    shells = np.flatnonzero(parent < 0)
    # through the middles of its border pixels a thing is half a pixel small all round (G. Pick, 1899, from memory)
    whole = area + 0.5 * np.array([len(contour) for contour in contours]) + 1.0
    shift = np.array(origin, dtype=np.int64)
    found = []
    for shell in shells:
        if whole[shell] < least_px2:
            continue
        holes = np.flatnonzero((parent == shell) & (area > max(_LEAST_HOLE_PX2, 0.5 * dust_px**2)))
        found.append(tuple(contours[i][:, 0, :].astype(np.int64) + shift for i in (shell, *holes)))
    return found
