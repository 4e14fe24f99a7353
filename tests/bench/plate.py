"""How long plates of many pockets take: processor time of laying them out and checking them, by their number.

    python tests/bench/plate.py

The aim is a hundred pockets in under 2 s of one core.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from digitize.plate.check import checked
from tests.plates import kind, tag
from tests.test_plate import plate_of

BEDS_MM = ((350.0, 240.0), (700.0, 480.0), (1400.0, 960.0))


def main():
    one = kind(tag())
    print("pockets  as many as fit, s")
    for bed_mm in BEDS_MM:
        begin = time.process_time()
        plate, _ = plate_of(one, bed_mm=bed_mm, as_many_as_fit=True)
        checked(plate)
        print(f"{len(plate.places):7d}  {time.process_time() - begin:8.2f}")


if __name__ == "__main__":
    main()
