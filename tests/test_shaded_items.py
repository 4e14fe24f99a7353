"""Items in photos with a crisp shadow along one side: the border is asked about, and the figure reaches both."""

import numpy as np
import pytest
import shapely

from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from tests.test_camera_photo import LINES_MM, eye, read, scene_of, score
from tests.truth.scenes import shape_of

AT, TURN = (40, -5), 30


def seen(tmp_path, wide_mm, height_mm, *, at=AT, distance=300.0, light=0.4, all_round=(), **look):
    """What comes of a pebble whose shadow falls so far to the right."""
    scene = scene_of(eye(distance=distance))
    scene.add_square((50, 50), (-45, 5), 20)
    shape = shape_of("pebble")
    for beyond_mm, left in all_round:
        outline = shapely.Polygon(shape.placed(at, TURN).outer.polygon(1e-3)).buffer(beyond_mm)
        scene.add_polygon([np.array(outline.exterior.coords)[:-1]], (left,) * 3)
    if wide_mm:
        scene.add_polygon([shape.placed((at[0] + wide_mm, at[1]), TURN).outer.polygon(1e-3)], (light,) * 3)
    truth = scene.add_item(shape, at, TURN, height_mm=height_mm, **look)
    settings = Settings(square_mm=(50.0, 50.0), item_height_mm=height_mm, tolerance_mm=LINES_MM)
    result = outline_picture(read(tmp_path, scene), settings).result
    off, item = score(result, truth)
    looks = {one.code for one in item.findings if one.attention}
    looks |= {line.name for line in item.uncertainty.budget} & {"second border", "soft edge"}
    return off.p95_um, 1000 * item.uncertainty.profile_k2_mm, looks


@pytest.mark.parametrize("height_mm", [0.0, 3.0])
def test_a_wall_is_no_second_border_and_a_shadow_is(tmp_path, height_mm):
    off_um, stated_um, looks = seen(tmp_path, 0.0, height_mm)
    assert off_um < stated_um < 50
    assert looks == set()
    off_um, stated_um, looks = seen(tmp_path, 0.8, height_mm)
    assert 150 < off_um < stated_um  # the shadow is taken for the item's
    assert looks == {"shadow-suspected", "second border"}


def test_a_wall_far_lighter_than_the_item_is_no_second_border(tmp_path):
    off_um, stated_um, looks = seen(tmp_path, 0.0, 3.0, at=(60, -5), distance=260.0, reflectance=0.08, wall=3.0)
    assert off_um < stated_um < 100
    assert looks == set()


@pytest.mark.parametrize(("wide_mm", "light"), [(0.4, 0.15), (0.6, 0.4), (2.0, 0.15)])
def test_a_narrow_shadow_and_one_nearly_as_dark_as_the_item_are_told_by_their_one_side(tmp_path, wide_mm, light):
    off_um, stated_um, looks = seen(tmp_path, wide_mm, 0.0, light=light)
    assert 100 < off_um < stated_um
    assert looks == {"shadow-suspected", "second border"}


@pytest.mark.parametrize("light", [0.3, 0.5])
def test_a_shadow_all_round_is_a_second_border(tmp_path, light):
    off_um, stated_um, looks = seen(tmp_path, 0.0, 0.0, all_round=[(0.8, light)])
    assert 300 < off_um < stated_um
    assert looks == {"shadow-suspected", "second border"}


def test_an_edge_far_softer_than_the_square_is_said_and_held(tmp_path):
    steps = [(0.15 * k, 0.1 * k) for k in range(7, 0, -1)]
    off_um, stated_um, looks = seen(tmp_path, 0.0, 0.0, all_round=steps)
    assert 200 < off_um < stated_um
    assert looks == {"shadow-suspected", "soft edge"}


def test_a_soft_shadow_is_said_and_held(tmp_path):
    off_um, stated_um, looks = seen(tmp_path, 0.0, 0.0, shadow=0.5, shadow_mm=1.5)
    assert off_um < stated_um < 150
    assert looks == {"shadow-suspected"}
