"""What calipers read of an item, and how sure that is."""

from __future__ import annotations

import math

from ..measure.jaws import jaws
from ..records import Calipers, FloatArray, Uncertainty
from .uncertainty import of_length_k2_mm


def calipers_of(exterior_mm: FloatArray, uncertainty: Uncertainty, *, tolerance_mm: float) -> Calipers:
    """Return what calipers read of an exterior (N, 2); widths that differ by less than the tolerance are one."""
    read = jaws(exterior_mm, within=tolerance_mm)
    k2 = (of_length_k2_mm(uncertainty, read.length), of_length_k2_mm(uncertainty, read.width))
    return Calipers(read.length, read.width, math.degrees(read.direction), *k2)
