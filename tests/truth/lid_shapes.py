"""More things that are laid on a scanner: leaves, thin rings, sticks, washers; and any shape in another size."""

from __future__ import annotations

import math

import numpy as np

from .shapes import Ring, Shape, circle, rectangle, ring, rounded, slot


def scaled(shape: Shape, factor: float) -> Shape:
    """Return the shape `factor` times as large; arcs stay arcs."""
    outer, *holes = (Ring(r.points * factor, r.bulges) for r in shape.rings)
    return Shape(outer, tuple(holes), shape.name)


def thin_ring(outer_mm: float, wall_mm: float = 1.2) -> Shape:
    """Return a ring with a thin wall, e.g. a key ring."""
    return Shape(circle(outer_mm), (circle(outer_mm - 2 * wall_mm),), f"ring-{outer_mm:g}")


def washer(outer_mm: float, inner_mm: float) -> Shape:
    return Shape(circle(outer_mm), (circle(inner_mm),), "washer")


def stick(length_mm: float, width_mm: float) -> Shape:
    return Shape(slot(length_mm, width_mm), (), "stick")


def plate(width_mm: float, height_mm: float, *, radius=1.0, hole_mm: float = 0.0) -> Shape:
    """Return a rectangular tag, with a hole near its left end if `hole_mm`."""
    holes = (circle(hole_mm, (-width_mm / 2 + 2 + hole_mm, 0)),) if hole_mm else ()
    return Shape(rectangle(width_mm, height_mm, radius), holes, "plate")


def wedge(length_mm: float, height_mm: float) -> Shape:
    """Return a blade that ends in a sharp point."""
    x, y = length_mm / 2, height_mm / 2
    return Shape(rounded([(-x, -y), (x, -0.6 * y), (0.2 * x, y), (-x, 0.8 * y)], [2, 0, 3, 0.5]), (), "wedge")


def notched(width_mm: float, height_mm: float, notch_mm: float) -> Shape:
    """Return a plate with three sharp notches in its long sides, as deep as they are wide."""
    x, y, n = width_mm / 2, height_mm / 2, notch_mm / 2
    low = [(p, q) for c in (-0.5 * x, 0.5 * x) for p, q in ((c - n, -y), (c, -y + 2 * n), (c + n, -y))]
    high = [(n, y), (0, y - 2 * n), (-n, y)]
    return Shape(ring([(-x, -y), *low, (x, -y), (x, y), *high, (-x, y)]), (), "notched")


def window(width_mm: float, height_mm: float, bar_mm: float) -> Shape:
    """Return a frame with two large openings."""
    w, h = (width_mm - 3 * bar_mm) / 2, height_mm - 2 * bar_mm
    x = (w + bar_mm) / 2
    return Shape(
        rectangle(width_mm, height_mm, 1.5), tuple(rectangle(w, h, 0.5, (s * x, 0)) for s in (-1, 1)), "window"
    )


def leaf(length_mm: float, rng, *, stem: bool = True) -> Shape:
    """Return an outline like a leaf's: uneven, finely toothed, with a stem; points 0.25 mm apart, no arcs."""
    t = np.linspace(0, 1, max(40, int(length_mm / 0.25)))
    half = length_mm * rng.uniform(0.16, 0.26)
    x = length_mm * (t - 0.5)
    profile = half * np.sin(math.pi * t ** rng.uniform(0.75, 1.1)) ** rng.uniform(0.8, 1.2)
    teeth = rng.uniform(0.0, 0.35) * np.abs(np.sin(math.pi * length_mm / rng.uniform(2, 4) * t)) * np.sin(math.pi * t)
    bend = rng.uniform(-0.06, 0.06) * length_mm * np.sin(math.pi * t)
    upper = bend + profile + teeth + _wave(t, rng, 0.03 * half)
    lower = bend - profile - teeth + _wave(t, rng, 0.03 * half)
    foot = rng.uniform(0.5, 1.0) if stem else 0.2
    # the stem runs out into the blade, which is nowhere near it narrower than the stem
    upper = np.maximum(upper, foot * np.clip(1 - 5 * t, -1e3, 1))
    lower = np.minimum(lower, -foot * np.clip(1 - 5 * t, -1e3, 1))
    back, forth = list(zip(x, upper, strict=True))[::-1], list(zip(x, lower, strict=True))
    points = [*forth[:-1], (x[-1], bend[-1]), *back[1:]]
    if stem:
        reach = rng.uniform(0.08, 0.2) * length_mm
        points += [(x[0] - reach, 0.6 * foot), (x[0] - reach, -0.6 * foot)]
    return Shape(ring(_simple(points)), (), "leaf")


def _wave(t, rng, amount: float):
    waves = sum(np.sin(2 * math.pi * (k * t + rng.uniform())) / k for k in (2, 3, 5))
    return amount * waves * np.sin(math.pi * t)


def _simple(points):
    """Return the ring without crossings, counter-clockwise."""
    import shapely

    polygon = shapely.Polygon(points).buffer(0)
    if polygon.geom_type != "Polygon":
        polygon = max(polygon.geoms, key=lambda part: part.area)
    return np.array(shapely.geometry.polygon.orient(polygon).exterior.coords)[:-1]


def outline_points(outline: Ring, sagitta_mm: float):
    """Return a polygon (N, 2) inscribed in the ring; a ring without arcs is its own."""
    return outline.polygon(sagitta_mm) if outline.bulges.any() else outline.points


def polygon_of(shape: Shape, sagitta_mm: float = 2e-4):
    """Return a shape as a shapely polygon in mm, chords at most `sagitta_mm` off its arcs."""
    import shapely

    return shapely.Polygon(
        outline_points(shape.outer, sagitta_mm), [outline_points(hole, sagitta_mm) for hole in shape.holes]
    )
