"""How long plates of many pockets take: processor time of laying them out and checking them, by their number.

    python tests/bench/plate.py
    python tests/bench/plate.py --shapes 100      # as many random shapes, as many as fit, held against overlaps

The aim is a hundred pockets in under 2 s of one core.
"""

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from digitize.plate.check import checked
from tests.plates import kind, tag
from tests.test_plate import never_overlapping, plate_of

BEDS_MM = ((350.0, 240.0), (700.0, 480.0), (1400.0, 960.0))


def shapes(count):
    """Lay random stars, and say how many more go in by shape than in straight rows."""
    more = []
    for seed in range(count):
        drawn = np.random.default_rng(seed)
        corners = int(drawn.integers(5, 12))
        angles = 2 * np.pi * np.arange(corners) / corners
        points = drawn.uniform(4, 20, corners)[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
        more.append(never_overlapping(points, float(drawn.uniform(0.2, 6)), tuple(drawn.uniform(90, 220, 2))))
    print(f"{count} shapes, none over another; more than straight rows: median {np.median(more):g}, most {max(more)}")


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("--shapes", type=int, default=0)
    count = asked.parse_args().shapes
    if count:
        shapes(count)
        return
    one = kind(tag())
    print("pockets  as many as fit, s")
    for bed_mm in BEDS_MM:
        begin = time.process_time()
        plate, _ = plate_of(one, bed_mm=bed_mm, as_many_as_fit=True)
        checked(plate)
        print(f"{len(plate.places):7d}  {time.process_time() - begin:8.2f}")


if __name__ == "__main__":
    main()
