"""Pins that hold an item by its holes: circles to be made, and set in the base under the sheet."""

from __future__ import annotations

from collections.abc import Sequence

from ..records import Circle, Curve, Finding, FloatArray
from ..words.say import finding_of

LEAST_PIN_MM = 1.0  # diameter; thinner ones bend (common practice, no source)
_EXACT_MM = 0.001  # of a hole's largest inner circle


def pins_for(
    holes_mm: Sequence[FloatArray], hole_curves: Sequence[Curve], clearance_mm: float
) -> tuple[tuple[Circle, ...], tuple[Finding, ...]]:
    """Return a pin for each hole, thinner than the hole by the clearance all round, and what is to be said.

    The pin of a hole that is no circle is that of the largest circle within the hole.
    """
    pins, thin = [], 0
    for ring, curve in zip(holes_mm, hole_curves, strict=True):
        hole = curve if isinstance(curve, Circle) else _largest_within(ring)
        radius = hole.radius_mm - clearance_mm
        if 2 * radius < LEAST_PIN_MM:
            thin += 1
        else:
            pins.append(Circle(hole.centre_mm, radius))
    return tuple(pins), _findings(len(holes_mm), thin)


def _largest_within(ring: FloatArray) -> Circle:
    import shapely

    (x, y), (u, v) = shapely.maximum_inscribed_circle(shapely.Polygon(ring), tolerance=_EXACT_MM).coords
    return Circle((x, y), float(((u - x) ** 2 + (v - y) ** 2) ** 0.5))


def _findings(holes: int, thin: int) -> tuple[Finding, ...]:
    if holes == 0:
        return (finding_of("no-hole-for-pin", attention=False),)
    if thin == 0:
        return ()
    return (finding_of("pin-too-thin", value=thin, limit=0, holes=holes, least=LEAST_PIN_MM),)
