"""What to compare with: a short script as many would write it, and the best a known scale allows.

``plain_outline``: threshold by Otsu on grey codes, follow the border, take the squarest thing for the square,
one scale from its mean side. ``level_line``: the mid-level line in linear light, mapped by the true scale; it shows
what the picture itself holds, apart from the scale and from corners that the blur has rounded.
"""

from __future__ import annotations

import numpy as np

from tests.truth.light import linear_light
from tests.truth.scenes import FlatbedCase

MIN_HOLE_MM2 = 3.0


class NotFoundError(Exception):
    """The script found no square or no item."""


def plain_outline(pixels, square_mm: float):
    """Return (outer ring, holes) in mm, y up."""
    import cv2

    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    areas = np.array([cv2.contourArea(c) for c in contours])
    big = [i for i in np.argsort(-areas) if areas[i] > 0.003 * grey.size and tree[0][i][3] < 0]
    if len(big) < 2:
        raise NotFoundError("fewer than two big things")
    square = max(big, key=lambda i: _squareness(contours[i], areas[i]))
    if _squareness(contours[square], areas[square]) < 0.97:
        raise NotFoundError("nothing square")
    sides = cv2.minAreaRect(contours[square])[1]
    mm = 2 * square_mm / sum(sides)
    item = next(i for i in big if i != square)
    holes = [c for c, t, a in zip(contours, tree[0], areas, strict=True) if t[3] == item and a * mm**2 > MIN_HOLE_MM2]
    return _mm(contours[item], mm), [_mm(c, mm) for c in holes]


def _squareness(contour, area: float) -> float:
    import cv2

    w, h = cv2.minAreaRect(contour)[1]
    return area / max(w, h, 1) ** 2


def _mm(contour, mm: float):
    return contour[:, 0, :] * (mm, -mm)


def level_line(case: FlatbedCase):
    """Return (outer ring, holes) in mm of the mid-level line about the item, by the true scale."""
    from skimage.measure import find_contours

    corners = case.picture.to_px(case.truth.outer.polygon(1e-3))
    low, high = np.floor(corners.min(0) - 12).astype(int), np.ceil(corners.max(0) + 12).astype(int)
    low = np.maximum(low, 0)
    crop = linear_light(np.arange(256))[case.picture.pixels[low[1] : high[1], low[0] : high[0]]]
    lid, item = np.array(case.look.lid), np.array(case.look.item)
    towards = (item - lid) / ((item - lid) @ (item - lid))
    share = (crop - _lid_of(crop, lid, item)) @ towards
    lines = [line[:-1, ::-1] + low for line in find_contours(share, 0.5) if len(line) > 60]
    lines.sort(key=lambda line: -np.ptp(line, axis=0).prod())
    rings = [case.picture.to_mm(line) for line in lines[: len(case.truth.rings)]]
    return rings[0], rings[1:]


def _lid_of(crop, lid, item):
    """Return the lid's light over the crop: its nominal colour times a plane fitted to the lid's pixels."""
    y, x = np.mgrid[: crop.shape[0] : 8, : crop.shape[1] : 8]
    coarse = crop[::8, ::8]
    is_lid = np.abs(coarse - lid).sum(-1) < 0.5 * np.abs(coarse - item).sum(-1)
    matrix = np.stack([np.ones(is_lid.sum()), x[is_lid], y[is_lid]], 1)
    ratio = coarse[is_lid] @ lid / (lid @ lid)
    a, b, c = np.linalg.lstsq(matrix, ratio, rcond=None)[0]
    rows, columns = np.arange(crop.shape[0])[:, None], np.arange(crop.shape[1])
    return (a + b * columns + c * rows)[..., None] * lid
