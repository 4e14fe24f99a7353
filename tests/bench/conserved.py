"""What differs from the lid in a picture and is neither item nor said as left out: found by other means than ours.

The lid is what lies clear of all that was found, smoothed over some millimetres; noise is the scatter about it. Each
patch that stands out of it, and in which a circle as wide as dust finds room, has to be accounted for.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

SMOOTH_MM = 6.0
CLEAR_MM = 1.5  # from what was found: blur, glow
NOISES = 8.0
LEAST_CODES = 12.0
PX_MM = 0.25  # of the reduced picture, about
RIM_MM = 8.0  # from the picture's border: what lies so near may be part of a rim, whose box is the picture's own
SHADY = ("shade", "soft", "pale")
DEEP = 0.6  # of what items stand out by: what stands out more is no shade
SHARE = 0.5  # of a patch: more of it in items, and it is theirs


def unaccounted(pixels, dpi: float, result, dust_mm: float = 1.0) -> list[tuple[float, float, float]]:
    """Return (x px, y px, mm2) of each patch that is neither item nor left out.

    Parameters
    ----------
    pixels
        (H, W, 3) uint8.
    dpi
        Of the picture.
    result
        With items' contours, and what was left out.
    dust_mm
        Patches without room for a circle of this diameter do not count.
    """
    step = max(1, round(PX_MM * dpi / 25.4))
    h, w = (n // step * step for n in pixels.shape[:2])
    grey = pixels[:h, :w].astype(np.float64).mean(axis=2)
    grey = grey.reshape(h // step, step, w // step, step).mean(axis=(1, 3))
    px_mm = 25.4 / dpi * step
    items = _filled(result, grey.shape, step)
    held = ndimage.binary_dilation(items, iterations=max(1, round(CLEAR_MM / px_mm)))
    clear = ~held
    for one in result.left_out:
        clear[_within(one.box_px, step)] &= _is_frame(one, dpi)
    if result.scale.corners_px is not None:
        (x0, y0), (x1, y1) = result.scale.corners_px.min(axis=0), result.scale.corners_px.max(axis=0)
        clear[_within((x0, y0, x1, y1), step)] = False
    lid = _smooth(grey, clear, SMOOTH_MM / px_mm)
    off = np.abs(grey - lid)
    noise = 1.4826 * float(np.median(off[clear]))
    depth = float(np.median(off[items])) if items.any() else float(np.percentile(off, 99))
    shady = tuple(one for one in result.left_out if one.why in SHADY)
    found = []
    for mask, left_out in (
        (off > max(NOISES * noise, LEAST_CODES), result.left_out),
        (off > max(NOISES * noise, LEAST_CODES, DEEP * depth), tuple(x for x in result.left_out if x not in shady)),
    ):
        for box, area in _patches(mask, held, step, px_mm, dust_mm):
            rim = RIM_MM * dpi / 25.4
            edge = box[0] <= rim or box[1] <= rim or box[2] >= w - rim or box[3] >= h - rim
            if not any(_holds(one, box, area, dpi, at_edge=edge) for one in left_out):
                found.append(((box[0] + box[2]) / 2, (box[1] + box[3]) / 2, area))
    return found


def _patches(mask, held, step: int, px_mm: float, dust_mm: float):
    """Yield box (px of the picture) and area (mm2) of each patch larger than dust that is not mostly held already."""
    reach = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    labels, _ = ndimage.label(mask, np.ones((3, 3)))
    for number, at in enumerate(ndimage.find_objects(labels), 1):
        own = labels[at] == number
        if (reach[at] * own).max() >= 0.5 * dust_mm / px_mm + 1.0 and held[at][own].mean() <= SHARE:
            box = (at[1].start * step, at[0].start * step, at[1].stop * step, at[0].stop * step)
            yield box, float(own.sum()) * px_mm**2


def _filled(result, shape, step: int):
    from PIL import Image, ImageDraw

    mask = Image.new("1", shape[::-1])
    for item in result.items:
        ImageDraw.Draw(mask).polygon([tuple(place) for place in item.contours[0].points_px / step], fill=1)
    return np.array(mask)


def _within(box, step: int) -> tuple[slice, slice]:
    x0, y0, x1, y1 = (int(v) // step for v in box)
    return slice(y0, y1 + 1), slice(x0, x1 + 1)


def _is_frame(one, dpi: float) -> bool:
    """Whether a patch fills little of its box: a rim round the picture, whose box says nothing of its place."""
    x0, y0, x1, y1 = one.box_px
    return one.area_mm2 < 0.3 * (x1 - x0) * (y1 - y0) * (25.4 / dpi) ** 2


def _holds(one, box, area_mm2: float, dpi: float, *, at_edge: bool) -> bool:
    margin = 1.0 * dpi / 25.4
    x0, y0, x1, y1 = one.box_px
    inside = x0 - margin <= box[0] and y0 - margin <= box[1] and box[2] <= x1 + margin and box[3] <= y1 + margin
    return inside and one.area_mm2 > 0.4 * area_mm2 and (at_edge or one.why != "rim" or not _is_frame(one, dpi))


def _smooth(grey, clear, sigma: float):
    weight = clear.astype(np.float64)
    total, share = (_blurred(one, sigma) for one in (grey * weight, weight))
    far = _blurred(grey * weight, 6 * sigma) / np.maximum(_blurred(weight, 6 * sigma), 1e-9)
    return np.where(share > 0.02, total / np.maximum(share, 1e-9), far)


def _blurred(values, sigma: float):
    """Gaussian blur, worked out on cells of a quarter of its width, which is as smooth."""
    cell = max(1, int(sigma / 4))
    h, w = (-(-n // cell) for n in values.shape)
    padded = np.pad(values, ((0, h * cell - values.shape[0]), (0, w * cell - values.shape[1])), mode="edge")
    coarse = ndimage.gaussian_filter(padded.reshape(h, cell, w, cell).mean(axis=(1, 3)), sigma / cell)
    return ndimage.zoom(coarse, cell, order=1, grid_mode=True, mode="nearest")[: values.shape[0], : values.shape[1]]
