"""The project's own printed mat as polygons for the photo renderer: what is printed, not how it is found."""

from __future__ import annotations

import numpy as np

from digitize.card.kinds import card_layout
from tests.truth.photo_scenes import Artwork


def mat_artwork(paper: str = "a4") -> Artwork:
    """Return the mat lying on its side (the sheet's top to the left), so that it fills a picture wider than high."""
    layout = card_layout("mat", paper)
    centre = np.array([layout.width_mm, layout.height_mm]) / 2
    black = []
    for fill in layout.fills:
        loops = [np.array(loop, float) - centre for loop in fill.loops]
        black += [tuple(_on_its_side(ring) for ring in rings) for rings in _even_odd(loops)]
    return Artwork((layout.height_mm, layout.width_mm), tuple(black))


def _on_its_side(points):
    """Turn by a quarter counter-clockwise."""
    return np.stack([-points[:, 1], points[:, 0]], 1)


def _even_odd(loops):
    """Return polygons (outer ring, holes ...) of the area within an odd number of loops."""
    import shapely

    area = shapely.Polygon(loops[0])
    for loop in loops[1:]:
        area = shapely.symmetric_difference(area, shapely.Polygon(loop))
    for part in shapely.get_parts(area):
        yield [np.array(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
