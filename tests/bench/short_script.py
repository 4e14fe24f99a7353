"""The short script that many would write for the job: threshold, follow the borders, one scale, one SVG.

    python tests/bench/short_script.py PICTURE SVG SQUARE_MM

Something to be faster and leaner than, not something to be as exact as: of a photo it knows nothing.
"""

from __future__ import annotations

import sys

import cv2


def main(picture: str, svg: str, square_mm: str) -> None:
    """Write every dark thing of a size as a polygon in millimetres."""
    codes = cv2.imread(picture)
    grey = cv2.cvtColor(codes, cv2.COLOR_BGR2GRAY)
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
    borders, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    whole = [i for i, border in enumerate(borders) if cv2.contourArea(border) > 200]
    outer = [i for i in whole if tree[0][i][3] < 0]
    square = max(outer, key=lambda i: cv2.contourArea(borders[i]) / max(*cv2.minAreaRect(borders[i])[1], 200) ** 2)
    mm = 2 * float(square_mm) / sum(cv2.minAreaRect(borders[square])[1])
    high, wide = grey.shape
    with open(svg, "w", encoding="utf-8") as file:
        file.write(f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide * mm}mm" height="{high * mm}mm">\n')
        for i in whole:
            around = cv2.approxPolyDP(borders[i], 0.5, True)[:, 0]
            file.write(f'<polygon points="{" ".join(f"{x * mm:.3f},{y * mm:.3f}" for x, y in around)}"/>\n')
        file.write("</svg>\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
