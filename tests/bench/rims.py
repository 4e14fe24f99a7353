"""Dark things with a paler rim: the outer edge within 10 um, or both borders said and the figure reaching to the other.

    python -m tests.bench.rims                  # 300 and 600 dpi, blur 0.8 px
    python -m tests.bench.rims --blurs 0.6 1.0 1.2 --dpi 300

Rims of six reflectances on a ground of 0.80, three widths, two things a scan. Returns 1 where one is neither.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from itertools import product
from pathlib import Path

import numpy as np

from tests.bench.found import outline_of
from tests.near import distances
from tests.truth.lid_cases import SQUARE_MM, dark_item_with_pale_rim

LIGHTS, WIDTHS_MM = (0.50, 0.55, 0.60, 0.65, 0.70, 0.74), (0.1, 0.2, 0.5)
NEAR_MM = 0.010


def measured(light: float, width_mm: float, dpi: float, blur_px: float):
    """Yield the distance that 95 % of a thing's outer edge hold, the stated one (mm), and whether both are said."""
    picture = dark_item_with_pale_rim(light, width_mm, dpi=dpi, blur_px=blur_px)
    with tempfile.TemporaryDirectory() as folder:
        found = outline_of(picture.save(Path(folder) / "scan"), square_mm=SQUARE_MM, tolerance_mm=0.05)
    said = [{one.code for one in item.findings if one.attention} for item in found.outlines.items]
    for item, codes in zip(found.items, said, strict=True):
        places = picture.to_mm(np.array(item.polygon_px.exterior.coords)[:-1])
        off = min((distances(places, true.exterior) for true in picture.items), key=np.median)
        yield float(np.quantile(off, 0.95)), item.stated_mm, "second-border" in codes


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--dpi", type=float, nargs="+", default=(300.0, 600.0))
    parser.add_argument("--blurs", type=float, nargs="+", default=(0.8,), help="px")
    options = parser.parse_args()
    counts = {"measured": 0, "said": 0, "neither": 0}
    for dpi, blur, width, light in product(options.dpi, options.blurs, WIDTHS_MM, LIGHTS):
        rows = list(measured(light, width, dpi, blur))
        counts["neither"] += 2 - len(rows)
        for off, stated, is_said in rows:
            kind = "measured" if off <= NEAR_MM else "said" if is_said and off <= stated else "neither"
            counts[kind] += 1
            print(
                f"{dpi:.0f} dpi, blur {blur} px, {width} mm of {light}: {off:.4f} of {stated:.4f} mm, {kind}",
                flush=True,
            )
    print(f"within 10 um: {counts['measured']}; said and covered: {counts['said']}; neither: {counts['neither']}")
    return 1 if counts["neither"] else 0


if __name__ == "__main__":
    sys.exit(main())
