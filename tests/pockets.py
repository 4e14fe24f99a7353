"""A pocket of a ring by `cut_pocket`, for tests that look at the path and not at the item's own curves."""

from __future__ import annotations

from digitize.cutting.make import cut_pocket
from digitize.cutting.ways import Cutting
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.records import Pocket


def pocket_of(ring, holes=(), *, tolerance_mm: float = 0.02, ideal: bool = False, **values) -> Pocket:
    """Return the pocket of a ring and its holes; `values` are those of a `Cutting`."""
    rings = tuple(map(make_ring, (ring, *holes)))
    curves = tuple(fit_curve(one, tolerance_mm=tolerance_mm) for one in rings)
    return cut_pocket(rings, curves, Cutting(**values), tolerance_mm=tolerance_mm, ideal=ideal)
