"""Photos: corners between a wall that is seen and one that is not, sizes against the truth; small holes half hidden.

The scenes are of `tests/bench/coverage.py`, at 0.11 to 0.16 mm a pixel; each came out two to five times as far off
before what its sentence says was seen to.
"""

from __future__ import annotations

import math
from functools import cache

import pytest

from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.bench.coverage import of_photo, picture_of
from tests.test_camera_photo import FOCAL, eye, scene_of
from tests.truth.score import compare
from tests.truth.shapes import Shape, ring


@pytest.mark.parametrize(
    ("number", "off_mm"),
    [
        (721, 0.10),  # a star: profiles near its tips meet the other side; 0.270 mm short before
        (765, 0.09),  # a star whose tips are none in the picture: foot and top lie beside each other; 0.161
        (853, 0.08),  # a star of which the edge stage makes a tip of foot and top together; 0.179
        (729, 0.12),  # a plaque with hollow corners, of whose arc two points are left beside a tip; 0.213
    ],
)
def test_tips_are_not_cut_short(number, off_mm):
    (found,) = of_photo(number)
    assert found.note == ""
    assert max(abs(error) for error, _ in found.sizes) < off_mm


@pytest.mark.parametrize("number", [827, 907])
def test_a_small_hole_of_which_a_lens_is_seen_is_none_of_dust(number):
    """Holes of 1.9 and 3.0 mm through 4.2 and 4.6 mm: 1.5 mm2 of lid are seen, the rim's tails over most of it."""
    (found,) = of_photo(number)
    assert found.note == ""
    assert len(found.item.holes_mm) == 1
    assert found.flagged  # what joins both sides of the lens is a guess


@cache
def triangle(half_mm, height_mm, within_mm=0.5):
    """A triangle 52 mm long whose tip points along the picture: said to be 3 mm high, 48 mm beside the camera's foot.

    Of the tip's two walls the outer is hidden, the inner is seen. What comes of it, and how far it is off at most, mm.
    """
    scene = scene_of(eye(focal_px=2 * FOCAL, size_px=(4000, 3000)))
    scene.add_square(50, (-48, 0), 3)
    corners = [(-half_mm, -22.0), (half_mm, -22.0), (0.0, 30.0)]
    truth = scene.add_item(Shape(ring(corners)), (48, 0), 0, height_mm=height_mm)
    said = Settings(
        square_mm=(50, 50), item_height_mm=3.0, height_within_mm=within_mm, tolerance_mm=0.02, taken_with="camera"
    )
    (item,) = outline_picture(picture_of(scene.render().pixels), said).result.items
    return item, 1e-3 * compare(item.exterior_mm, [], truth).max_um


@pytest.mark.parametrize("half_mm", [9.0, 20.0])  # the tip's angle 20 and 42 degrees
@pytest.mark.parametrize("height_mm", [2.5, 3.5])
def test_at_a_tip_between_a_wall_seen_and_one_hidden_a_wrong_height_is_covered(half_mm, height_mm):
    """0.5 mm wrong moves one side by 0.08 mm and leaves the other: the tip moves by more, the sharper it is."""
    item, off_mm = triangle(half_mm, height_mm)
    lines = {one.name: one for one in item.uncertainty.budget}
    assert off_mm < item.uncertainty.profile_k2_mm < 2.5 * off_mm
    assert off_mm > 1.4 * 2 * lines["item height"].profile_mm  # by the whole edge's figure it was not


def test_how_far_a_tip_moves_is_what_its_sides_say():
    """The side moves by 0.5 / 297 of 48 mm, and the best shift gives both sides half: d / 2 / sin(a / 2)."""
    item, _ = triangle(9.0, 3.5)
    lines = {one.name: one for one in item.uncertainty.budget}
    half_angle = math.atan(9 / 52)
    d = 0.5 / 297 * 48 * math.cos(half_angle)
    tip = lines["item height at corners"]
    assert tip.profile_mm * math.sqrt(3) == pytest.approx(d / 2 / math.sin(half_angle), rel=0.2)
    assert d / 2 / math.sin(half_angle) == pytest.approx(0.23, abs=0.01)
    assert tip.length_mm > lines["item height"].length_mm  # the item is longest at its tip


def test_corners_whose_walls_are_all_seen_or_all_hidden_have_no_such_line():
    scene = scene_of(eye())
    scene.add_square(50, (-48, 0), 3)
    scene.add_item(Shape(ring([(-9, -22), (9, -22), (0, 30)])), (40, 0), 0, height_mm=3.0)
    picture = picture_of(scene.render().pixels)
    for said in ({"item_height_mm": 0.0, "height_within_mm": 0.5}, {"edge_height_mm": 3.0}, {}):
        (item,) = outline_picture(picture, Settings(square_mm=(50, 50), taken_with="camera", **said)).result.items
        assert "item height at corners" not in {one.name for one in item.uncertainty.budget}
