"""By which level published leaf areas were counted: thresholds of grey codes and the half level of light, side by side.

    DIGITIZE_DATA=FOLDER python -m tests.bench.levels

Pixels no brighter than a level, per cent more than the published areas, holes left out. *Intermeans*: the level midway
between the means of both its sides (Ridler and Calvard 1978, IEEE Trans. Systems, Man, and Cybernetics 8, 630-632).
"""

from __future__ import annotations

import sys

import numpy as np

from tests.bench.otsu import otsu_pieces
from tests.bench.real_pictures import PICTURES, Known
from tests.truth.light import linear_light

BESIDE_PX = 20  # about a leaf's middle: its own light
GROUND = 0.8  # quantile of the picture that is lid


def intermeans(codes) -> float:
    """Return the level midway between the mean of the codes up to it and the mean of those above."""
    level, last = float(codes.mean()), np.inf
    while abs(level - last) >= 0.5:
        level, last = 0.5 * float(codes[codes <= level].mean() + codes[codes > level].mean()), level
    return level


def halfway(values, places) -> float:
    """Return the level halfway between leaves and lid."""
    leaf = np.median([values[y - BESIDE_PX : y + BESIDE_PX, x - BESIDE_PX : x + BESIDE_PX] for x, y in places])
    return 0.5 * float(leaf + np.quantile(values, GROUND))


def more(mask, known: Known) -> str:
    """Return by how many per cent the pieces of a mask that hold the leaves are larger than published."""
    import cv2

    labels = cv2.connectedComponents(mask.astype(np.uint8))[1]
    cm2 = (2.54 / known.dpi) ** 2
    areas = [cm2 * np.count_nonzero(labels == labels[y, x]) for x, y in known.places_px]
    return " ".join(f"{100 * (a / b - 1):+6.2f}" for a, b in zip(areas, known.areas_cm2, strict=True))


def main() -> int:
    for known in (one for one in PICTURES if one.areas_cm2):
        pixels = known.pixels()
        if pixels is None:
            print(f"{known.name} is not there ({known.source})")
            continue
        codes = pixels.astype(float).mean(axis=2)
        light = linear_light(pixels.astype(float)).mean(axis=2)
        labels, pieces = otsu_pieces(pixels, known.dpi)
        print(f"{known.name:12} codes, Otsu       {more(np.isin(labels, [label for label, _ in pieces]), known)}")
        print(f"{'':12} codes, intermeans {more(codes <= intermeans(codes), known)}")
        print(f"{'':12} codes, halfway    {more(codes <= halfway(codes, known.places_px), known)}")
        print(f"{'':12} light, halfway    {more(light <= halfway(light, known.places_px), known)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
