"""How far a reference's sides bend, told from the medians of their quarters."""

import numpy as np

from digitize.camera import estimate


def test_the_medians_of_the_quarters_of_sides_are_those_of_numpy():
    """`numpy.array_split` and `numpy.median`, side by side and quarter by quarter, are the judge."""
    rng = np.random.default_rng(0)
    for count in (1, 2, 7, 8):
        side = rng.permutation(np.repeat(rng.permutation(2 * count)[:count], rng.integers(1, 14, count)))
        rest = rng.normal(size=len(side)).round(1)  # some alike
        parts = [part for k in np.unique(side) for part in np.array_split(rest[side == k], 4) if len(part)]
        assert estimate._medians(rest, estimate._quarters(side)).tolist() == [float(np.median(part)) for part in parts]
