"""A plain script to stand beside: Otsu's threshold of the grey picture, pieces over 1 cm2 clear of the rim.

Nothing is known to it but the density. Ground is what most of the border shows.
"""

from __future__ import annotations

import numpy as np

LEAST_CM2 = 1.0
RIM_PX = 2


def otsu_pieces(pixels, dpi: float):
    """Return masks' labels (H, W) int32, and of each piece kept its label and area in mm2; `pixels` (H, W, 3) RGB."""
    import cv2

    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    border = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    if np.median(border) > 0:
        mask = 255 - mask
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    mm2 = (25.4 / dpi) ** 2
    x, y, w, h, area = stats.T
    clear = (np.minimum(x, y) >= RIM_PX) & (x + w <= mask.shape[1] - RIM_PX) & (y + h <= mask.shape[0] - RIM_PX)
    kept = np.flatnonzero(clear & (area * mm2 > 100 * LEAST_CM2))
    return labels, [(int(i), float(area[i] * mm2)) for i in kept if i > 0]
