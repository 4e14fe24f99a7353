"""Rings of one item put into its own frame: holes in reading order, everything that belongs to a ring moves with it."""

import numpy as np
import pytest

from digitize.fitting.ring import make_ring
from digitize.measure.rings import reading_order
from digitize.recipe.describe import describe, draw
from digitize.recipe.rings import place_rings
from digitize.records import Contour, Density
from digitize.reference.scale import scale_from_density
from digitize.settings import Settings
from tests.made import circle_ring, ring, rounded_ring

HEIGHT_PX = 1000
# centres in the picture, px: two rows that a turned scan has made uneven, as a person reads them
READ = [(100, 112), (300, 106), (500, 100), (110, 390), (480, 380)]


def contour(points_mm, *, is_hole):
    points_px = ring(np.asarray(points_mm) * (10.0, -10.0) + (0, HEIGHT_PX))
    return Contour(points_px, ring(np.full(len(points_px), 0.02)), (), is_hole, 0.8, 0.7)


def hole(centre_px, radius_mm):
    x, y = centre_px
    return circle_ring(x / 10, (HEIGHT_PX - y) / 10, radius_mm, clockwise=True)


def test_holes_are_in_reading_order_and_each_keeps_its_corners_and_contour():
    outside = rounded_ring(80, 100, 5)
    holes = [hole(centre, 2.0 + 0.1 * number) for number, centre in enumerate(READ)]
    for order in ([4, 2, 0, 3, 1], [1, 0, 2, 4, 3]):
        rings = (outside, *(holes[k] for k in order))
        contours = tuple(contour(one, is_hole=number > 0) for number, one in enumerate(rings))
        placed = place_rings(contours, rings, ((), *((k,) for k in order)), ())
        assert placed.corners == ((), (0,), (1,), (2,), (3,), (4,))
        for own, seen, wanted in zip(placed.own[1:], placed.contours[1:], holes, strict=True):
            assert np.allclose(own, wanted - outside.min(axis=0))
            assert np.allclose(seen.points_px, wanted * (10.0, -10.0) + (0, HEIGHT_PX))


def test_reading_order_of_a_column_is_from_the_top():
    assert reading_order([(45, y - 5, 55, y + 5) for y in (90, 10, 50)]) == [1, 2, 0]
    assert reading_order([]) == []


def test_a_row_is_read_from_the_left_although_its_boxes_begin_at_different_heights():
    assert reading_order([(60, 8, 70, 30), (10, 10, 20, 20), (30, 40, 40, 60), (40, 0, 50, 25)]) == [1, 3, 0, 2]


def test_a_length_from_tip_to_tip_owes_more_to_its_edges():
    """A square on its corner, whose tips are seen at 45 degrees: they move by the root of 2 as far as its sides."""
    corners = np.array([(10.0, 40.0), (40.0, 10.0), (70.0, 40.0), (40.0, 70.0)])
    part = np.linspace(0, 1, 300, endpoint=False)[:, None]
    outside = np.concatenate([a + part * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])
    placed = place_rings((contour(outside, is_hole=False),), (ring(outside),), ((0, 300, 600, 900),), ())
    drawn = draw((make_ring(placed.own[0], placed.corners[0]),), Settings(dpi=(254, 254)))
    estimate = scale_from_density(Density(10.0, 10.0, "--dpi"), HEIGHT_PX)
    item = describe("fob-1", placed, drawn, estimate, placed.origin)
    (level,) = (line for line in item.uncertainty.budget if line.name == "edge level")
    assert level.length_mm == pytest.approx(np.sqrt(2) * 2 * level.profile_mm, rel=1e-3)
