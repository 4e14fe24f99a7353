"""Edges without smooth stretches: told by how many straight lines they need, and written as those."""

from __future__ import annotations

from ..records import FloatArray

RAGGED = ((80, 0.3), (200, 0.16), (300, 0.08))  # more lines, and more of them a point, than clean outlines need


def lines_if_ragged(ring: FloatArray, tolerance_mm: float) -> FloatArray | None:
    """The ring as straight lines where it has no smooth stretches at this tolerance, else None.

    Searching such a ring for arcs takes long and finds none worth having.
    """
    import shapely

    if len(ring) <= min(most for most, _ in RAGGED):
        return None
    line = shapely.LinearRing(ring)
    # places a quarter of their spacing off are noise of a coarse picture, no raggedness
    coarse = max(tolerance_mm, 0.25 * float(line.length) / len(ring))
    count = len(shapely.get_coordinates(line.simplify(coarse))) - 1
    if not any(count > most and count > part * len(ring) for most, part in RAGGED):
        return None
    lines = line.simplify(tolerance_mm)
    return shapely.get_coordinates(lines)[:-1] if shapely.is_simple(lines) else None
