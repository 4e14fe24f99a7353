"""Items of a hue in deep shade: what the shade does to the light beside them moves neither the item nor its edge."""

import numpy as np
import pytest

from digitize.edge.trace import trace_edge
from digitize.silhouette.shade import departure_from_shade
from tests.backgrounds import background_of
from tests.test_candidates import found_in, page, scanned
from tests.truth.shapes import Shape, rectangle

WOOD, PALE_WOOD, GREY = (0.45, 0.3, 0.2), (0.62, 0.5, 0.38), (0.4, 0.4, 0.4)


def off_um(colour, *, shade, shade_mm, blur_px, grain=0.15):
    """Signed distances of the edge that is found from the tag's, um; the tag's shade falls to one side."""
    made = page(background=0.8, blur_px=blur_px)
    look = {"shadow": shade, "shadow_mm": shade_mm, "shadow_shift_mm": (2.0, 1.0), "grain": grain}
    tag = made.add_item(Shape(rectangle(30, 20, 4)), (35, 25), 12, colour, **look)
    picture, rendered = scanned(made)
    (region,) = found_in(picture).regions
    traced = trace_edge(picture, region.mask, region.mask_origin, region.chains[0], is_hole=False)
    return 1000 * tag.signed_distance(rendered.to_mm(traced.contour.points_px))


@pytest.mark.parametrize(("colour", "most_um"), [(WOOD, 80), (PALE_WOOD, 130)])
def test_wood_in_a_shade_as_dark_as_itself_is_found_whole(colour, most_um):
    off = off_um(colour, shade=0.65, shade_mm=4.0, blur_px=2.5)
    assert np.quantile(np.abs(off), 0.95) < most_um  # whole, and by a fifth of a pixel where its grain lets it
    assert abs(np.median(off)) < 25


def test_shade_beside_pale_wood_hardly_moves_its_edge():
    in_shade = off_um(PALE_WOOD, shade=0.5, shade_mm=2.0, blur_px=2.5, grain=0.0)
    assert np.quantile(np.abs(in_shade), 0.95) < 50


def test_grey_shade_is_no_departure_and_a_hue_in_it_is():
    lid = np.full((1, 4, 3), 0.8, np.float32)
    light = np.array([[GREY, (0.3, 0.3, 0.3), (0.45, 0.3, 0.2), (0.03, 0.03, 0.03)]], np.float32)
    told = departure_from_shade(light, background_of(lid, np.full(3, 1e-4, np.float32)), np.s_[:, :])[0]
    # the least that counts is 0.022 of the light in the shade, 0.317 and 0.24, and 0.006
    assert told == pytest.approx([0.0, 0.0, 0.1780 / 0.01297, np.sqrt(3) * 0.21 / 0.01128], rel=0.01, abs=0.01)
