"""Round patches in an item's own light that may be holes are said; and holes that may be print of another light."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..measure.ragged import TO_SD, median
from ..opencv import cv
from ..records import BoolArray, ByteArray, Finding, Float32Array
from ..steady import norm
from ..words.say import finding_of
from .band import typical_colour

# Renders of holes with floors of 0.6 to 0.95 of the item's light are told; leaves, grain, lines of print and letters
# are not round, not even or not alone.
_STEP = 0.02  # square root of linear light: about 5 codes of 255
_CLEAR = 3.5  # spreads of the item
_LEAST_LIGHT, _MOST_LIGHT = 0.35, 1.6  # of the item's: beyond, it is print, or seen as a hole anyhow
_NEAR_LID = 0.2  # of the way from the lid to the item, roots of light: nearer the lid it may be a floor in other light
_HUES_APART = 0.04  # roots of light, at the item's lightness: nearer hues tell nothing
_HUE = 0.12  # spread of the channels' shares of the item's light: more is another colour
_ROUND = 0.9, 1.1  # area over that of the ellipse in its box
_ASPECT = 1.2  # of the box's sides
_EVEN = 0.3  # spread within over the step
_LEAST_DUSTS = 1.2  # sizes of dust: a smaller patch is a speck
_LEAST_PATCH_PX = 28  # a disc 6 px across
_PART = 0.6  # of the item's shorter side: more is a face or a label
_MOST = 3  # like patches: more are a pattern
_FLOOR = 0.8  # of the lid's light: the lid in a hole's shade, of renders 0.84 and more, is brighter in its middle
_BRIGHTEST = 95.0  # percentile
_LEAST_BEHIND = 0.01  # of light, that a share is told against
_LEAST_INSIDE = 200  # pixels of an item within which a hole is looked for; chosen, no source
_BODY_PIXELS = 5000  # an item's typical light is told from about so many; thinned for the work

_Typical = tuple[Float32Array, Float32Array]  # light of the item, and of the background, (C,) each


def perhaps_holes(
    light: Float32Array,
    behind: Float32Array,
    own: BoolArray,
    *,
    pixel_mm: float,
    dust_mm: float,
    place_px: tuple[float, float],
    factor: int,
) -> tuple[Finding, ...]:
    """Say that round, even patches a little darker, lighter or nearer to the lid's hue than the item may be holes.

    Parameters
    ----------
    light, behind
        (h, w, C) linear light of a crop of the reduced picture, and that of the background there.
    own
        (h, w) the item, without the holes that were found.
    pixel_mm
        Size of these pixels.
    dust_mm
        What counts as dust.
    place_px
        Where the crop begins in the picture.
    factor
        Picture's pixels a pixel of the crop.
    """
    inside = _eroded(own.astype(np.uint8), 5) > 0
    if np.count_nonzero(inside) < _LEAST_INSIDE:
        return ()
    weights = np.full((1, light.shape[2]), 1.0 / light.shape[2], np.float32)
    mean = cv().blur(cv().transform(light, weights).reshape(own.shape), (3, 3))
    few = inside[::4, ::4]
    typical = typical_colour(light[::4, ::4][few]), typical_colour(behind[::4, ::4][few])
    off, least = _departure(np.sqrt(np.maximum(mean, 0, out=mean), out=mean), inside)
    masks = [(off, inside & (sign * off > least)) for sign in (-1, 1)]
    hue = _toward_lid(light, typical)
    if hue is not None:
        off, least = _departure(cv().blur(hue, (3, 3)), inside)
        masks.append((off, inside & (off > least)))
    found = {
        patch: None for off, mask in masks for patch in _round_patches(mask, off, light, typical, pixel_mm, dust_mm)
    }
    most_mm = _PART * min(own.shape) * pixel_mm
    patches = _apart([patch for patch in found if patch[0] < most_mm], pixel_mm)
    if not 0 < len(patches) <= _MOST:
        return ()
    size_mm, x, y = max(patches)
    return (
        finding_of(
            "perhaps-hole",
            value=size_mm,
            place_px=(place_px[0] + factor * x, place_px[1] + factor * y),
            patches="A round patch in the item," if len(patches) == 1 else f"{len(patches)} round patches, up to",
        ),
    )


def _eroded(mask: ByteArray, wide: int) -> ByteArray:
    """A mask (h, w) without its rim; beyond the picture nothing is."""
    return np.asarray(cv().erode(mask, np.ones((wide, wide), np.uint8), borderType=cv().BORDER_CONSTANT, borderValue=0))


def _departure(seen: Float32Array, inside: BoolArray) -> tuple[Float32Array, float]:
    """How far each pixel departs from what is typical within, and how far is more than the item's own spread."""
    body = seen[inside]
    body = body[:: max(1, len(body) // _BODY_PIXELS)]
    middle = np.float32(median(body))
    spread = TO_SD * median(np.abs(body - middle))
    return seen - middle, max(_STEP, _CLEAR * spread)


def _toward_lid(light: Float32Array, typical: _Typical) -> Float32Array | None:
    """How far each pixel's hue lies from the item's toward the lid's, roots of light; None where the hues are alike.

    A hole whose floor is as light as a coloured item shows by its hue alone.
    """
    if light.shape[2] != 3:
        return None
    of_item, of_lid = (np.sqrt(np.maximum(one, 0)) for one in typical)
    way = of_lid * float(of_item.mean() / max(float(of_lid.mean()), 1e-3)) - of_item
    way -= way.mean()
    length = norm(way)
    if length < _HUES_APART:
        return None
    roots = np.sqrt(np.maximum(light, 0))
    turned: Float32Array = cv().transform(roots, (way / length).astype(np.float32)[None, :])
    return turned.reshape(light.shape[:2])


def _apart(patches: list[tuple[float, float, float]], pixel_mm: float) -> list[tuple[float, float, float]]:
    """Patches that are not one another: what is seen by light and by hue lies in the same place."""
    kept: list[tuple[float, float, float]] = []
    for size_mm, x, y in sorted(patches, reverse=True):
        if all(np.hypot(x - other[1], y - other[2]) * pixel_mm > 0.5 * other[0] for other in kept):
            kept.append((size_mm, x, y))
    return kept


def perhaps_print(
    light: Float32Array,
    behind: Float32Array,
    holes_px: Sequence[npt.NDArray[np.int64]],
    *,
    pixel_mm: float,
    origin: tuple[int, int],
    factor: int,
) -> tuple[Finding, ...]:
    """Say that holes in which all is clearly darker than the lid, or nothing has its light, may be print.

    Parameters
    ----------
    light, behind
        (h, w, C) linear light of a crop of the reduced picture, and that of the background there.
    holes_px
        Borders of the holes, each (N, 2) px of the picture.
    pixel_mm
        Size of the crop's pixels.
    origin
        Where the crop begins, its own pixels.
    factor
        Picture's pixels a pixel of the crop.
    """
    doubtful = []
    for hole in holes_px:
        ring = np.rint(hole / factor - origin).astype(np.int32)
        (left, top), (right, bottom) = ring.min(axis=0).tolist(), ring.max(axis=0).tolist()
        within = np.zeros((bottom - top + 1, right - left + 1), np.uint8)
        cv().drawContours(within, [ring - (left, top)], -1, 1, cv().FILLED)
        core = _eroded(within, 5) > 0
        at = slice(top, bottom + 1), slice(left, right + 1)
        if not core.any():
            continue
        share = (light[at][core] / np.maximum(behind[at][core], _LEAST_BEHIND)).mean(axis=1)
        if float(np.percentile(share, _BRIGHTEST)) < _FLOOR:
            size_mm = pixel_mm * max(right - left, bottom - top)
            doubtful.append((size_mm, 1.0 - float(np.median(share)), hole.mean(axis=0).tolist()))
    if not doubtful:
        return ()
    size_mm, darker, (x, y) = max(doubtful)
    return (finding_of("perhaps-print", value=size_mm, place_px=(x, y), darker=100 * darker),)


def _round_patches(
    mask: BoolArray, off: Float32Array, light: Float32Array, typical: _Typical, pixel_mm: float, dust_mm: float
) -> list[tuple[float, float, float]]:
    """Diameter (mm) and centre (px) of the round and even ones among the patches of a mask."""
    if np.count_nonzero(mask) < _LEAST_PATCH_PX:
        return []
    opened = cv().morphologyEx(mask.astype(np.uint8), cv().MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, labels, stats, centres = cv().connectedComponentsWithStats(opened, connectivity=4)
    found = []
    for label in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[label])
        size_mm = 0.5 * (w + h) * pixel_mm
        if size_mm < _LEAST_DUSTS * dust_mm or area < _LEAST_PATCH_PX or max(w, h) > _ASPECT * min(w, h):
            continue
        if not _ROUND[0] < area / (0.25 * np.pi * w * h) < _ROUND[1]:
            continue
        own = np.pad(labels[y : y + h, x : x + w] == label, 1).astype(np.uint8)
        core = cv().erode(own, np.ones((3, 3), np.uint8), iterations=2)[1:-1, 1:-1] > 0
        at = slice(y, y + h), slice(x, x + w)
        if not core.any() or _is_print(light[at][core], off[at][core], typical):
            continue
        found.append((size_mm, float(centres[label, 0]), float(centres[label, 1])))
    return found


def _is_print(light: Float32Array, off: Float32Array, typical: _Typical) -> bool:
    """Whether a patch of (N, C) pixels is uneven, of neither item's nor lid's colour, or far darker or lighter."""
    if float(off.std()) > _EVEN * abs(float(off.mean())):
        return True
    own = np.median(light, axis=0)
    of_item, of_lid = (own / np.maximum(one, _LEAST_BEHIND) for one in typical)
    if np.ptp(of_item) > _HUE and np.ptp(of_lid) > _HUE * float(of_lid.mean()):
        return True
    if _LEAST_LIGHT < float(of_item.mean()) < _MOST_LIGHT:
        return False
    roots = [float(np.sqrt(np.maximum(one, 0)).mean()) for one in (own, *typical)]
    return abs(roots[0] - roots[2]) > _NEAR_LID * abs(roots[1] - roots[2])
