"""Crumbs against an item's edge: one with it as far as pixels tell, and said; what is the item's own is not."""

import numpy as np
import pytest

from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.rendered import scanned
from tests.truth.flatbed import Scene
from tests.truth.shapes import Shape, rectangle

BLUE, BROWN = (0.05, 0.11, 0.35), (0.16, 0.13, 0.09)
TURN = np.radians(20.0)
EDGE = np.array([30.0 - 7.0 * np.sin(TURN), 20.0 + 7.0 * np.cos(TURN)])  # middle of the plate's upper side, mm


def said(*specks, reflectance=BROWN):
    """Findings of a blue plate turned by 20 degrees with further patches, each its corners from that middle, mm."""
    made = Scene(60, 40, dpi_x=300.0, background=0.88, blur_px=0.8, noise_codes=1.5, seed=5)
    made.add_item(Shape(rectangle(32, 14, 2)), (30, 20), 20, BLUE)
    along, out = np.array([np.cos(TURN), np.sin(TURN)]), np.array([-np.sin(TURN), np.cos(TURN)])
    for corners in specks:
        made.add_polygon([[EDGE + x * along + y * out for x, y in corners]], reflectance)
    picture, _ = scanned(made, dpi=300)
    found = outline_picture(picture, Settings(dpi=300.0)).result
    return [one for one in found.all_findings if one.code == "edge-crumb"]


@pytest.mark.parametrize("out_mm", [0.4, 0.7])
def test_a_crumb_of_another_colour_that_moves_the_edge_is_said(out_mm):
    (one,) = said([(-0.4, -0.1), (0.35, -0.15), (0.3, out_mm), (-0.3, out_mm)])
    assert one.attention
    assert one.value == pytest.approx(out_mm, abs=0.1)


def test_a_tab_of_the_items_own_colour_is_none():
    assert said([(-0.4, -0.5), (0.4, -0.5), (0.4, 0.6), (-0.4, 0.6)], reflectance=BLUE) == []


def test_print_that_ends_at_the_edge_or_at_a_corner_is_none():
    along_the_edge = [(-1.0, -1.2), (0.0, -1.2), (0.0, 0.0), (-1.0, 0.0)]
    at_the_corner = [(13.0, -2.0), (15.8, -2.0), (15.8, -0.2), (13.0, -0.2)]
    assert said(along_the_edge, at_the_corner) == []
