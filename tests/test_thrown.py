"""A band along one side of a border, as a shadow is thrown, by made profiles round a disc whose light is known."""

import numpy as np
import pytest

from digitize.edge.runner import RunnerUp
from digitize.edge.stretches import Stretch, outward_normals, stretches_of
from digitize.edge.thrown import farther_of, find_thrown
from digitize.recipe.outline import outline_picture
from digitize.records import Contour, frozen_array
from digitize.settings import Settings
from tests.bench.shadows import crescent
from tests.rendered import scanned
from tests.truth.flatbed import Scene
from tests.truth.scenes import shape_of
from tests.truth.score import compare

MM_PER_PX, BLUR_PX = 0.1, 0.8
GROUND, ITEM = np.array([0.80, 0.78, 0.74]), np.array([0.30, 0.18, 0.10])
AT = np.concatenate([np.arange(-30.0, -10.0), np.arange(-10.0, 10.01, 0.5), np.arange(11.0, 31.0)])


def disc(radius_px=120.0, count=720):
    turn = -2 * np.pi * np.arange(count) / count  # counter-clockwise seen y up
    points = frozen_array(300 + radius_px * np.column_stack([np.cos(turn), np.sin(turn)]), columns=2)
    return Contour(points, np.full(count, 0.02), (), is_hole=False, blur_px=BLUR_PX, contrast=0.9)


def step(at):
    """How much of the ground's light is seen so far out of an edge."""
    from scipy.special import ndtr

    return ndtr(at / np.hypot(BLUR_PX, 0.39))


def light_of(contour, wide_px, band, *, item=ITEM, ground=GROUND, noise=0.002, seed=5):
    """Stretches whose band is as wide as `wide_px` says of a normal, between item and ground."""
    rng, normals = np.random.default_rng(seed), outward_normals(contour.points_px)
    made = []
    for points in stretches_of(contour, MM_PER_PX):
        wide = np.array([wide_px(one) for one in normals[points]])
        outer, inner = step(AT)[None], step(AT[None] + wide[:, None])
        light = (outer[..., None] * ground + (inner - outer)[..., None] * band + (1 - inner)[..., None] * item).mean(0)
        made.append(Stretch(AT, light + rng.normal(0, noise, light.shape), noise, light[0], ground))
    return made


def found(wide_px, band, hidden=None, **how):
    contour = disc()
    light = light_of(contour, wide_px, band, **how)
    return find_thrown(contour, light, blur_px=BLUR_PX, mm_per_px=MM_PER_PX, hidden=hidden)


def to_the_right(width):
    return lambda normal: width * max(normal[0], 0.0)


@pytest.mark.parametrize("part", [0.2, 0.5])  # of the ground's light; a fifth is darker than the item in two channels
@pytest.mark.parametrize("width", [2.0, 5.0, 15.0])
def test_a_shadow_is_found_with_its_width_and_where_it_lies(width, part):
    two = found(to_the_right(width), part * GROUND)
    inner = (two.inner_px - two.outer_px)[two.doubtful]
    assert inner.min() == pytest.approx(-width, rel=0.2, abs=0.3)
    assert np.abs(np.median(two.outer_px[two.doubtful])) <= 0.5
    normals = outward_normals(disc().points_px)
    assert (normals[two.doubtful, 0] > 0.1).all()
    assert two.doubtful[normals[:, 0] > 0.5].all()
    assert two.share == two.doubtful.mean()


def test_nothing_is_found_along_a_clean_edge_and_a_fainter_shadow_than_noise():
    assert found(to_the_right(0.0), GROUND) is None
    assert found(to_the_right(5.0), 0.97 * GROUND, noise=0.02) is None


def test_a_rim_all_round_is_none():
    assert found(lambda normal: 4.0, 0.4 * GROUND) is None


def test_a_band_on_both_sides_as_a_shaken_picture_has_is_none():
    assert found(lambda normal: 4.0 * abs(normal[0]), 0.4 * GROUND) is None


def test_a_band_of_the_items_own_hue_is_none():
    assert found(to_the_right(4.0), 1.6 * ITEM) is None


def test_a_patch_in_one_place_is_none():
    assert found(lambda normal: 18.0 if normal[0] > 0.97 else 40.0, 0.4 * GROUND, item=0.7 * GROUND) is None


def test_on_black_ground_there_are_no_shadows():
    assert found(to_the_right(5.0), 0.5 * GROUND, item=GROUND, ground=np.zeros(3), noise=0.0) is None


def test_where_walls_lie_is_not_looked_at():
    normals = outward_normals(disc().points_px)
    assert found(to_the_right(5.0), 0.4 * GROUND, hidden=normals[:, 0] > -0.2) is None  # too little is left
    assert found(to_the_right(5.0), 0.4 * GROUND, hidden=normals[:, 1] > 0.5) is not None


def test_a_band_to_the_end_of_what_is_seen_is_none():
    assert found(to_the_right(29.0), 0.4 * GROUND) is None


def test_of_two_findings_the_one_farther_off_counts():
    near, far = (RunnerUp(np.full(4, -by), np.zeros(4), np.ones(4, bool), 1.0) for by in (2.0, 5.0))
    assert farther_of(near, far) is farther_of(far, near) is far
    assert farther_of(near, None) is farther_of(None, near) is near
    assert farther_of(None, None) is None


@pytest.mark.parametrize("light", [0.15, 0.3])
def test_a_wide_dark_shadow_in_a_scan_is_said_and_the_inner_border_can_be_had(light):
    made = Scene(90, 60, dpi_x=300, blur_px=0.8, noise_codes=1.5, background=0.85)
    made.add_square(20, (15, 20))
    shape = shape_of("pebble")
    made.add_polygon([crescent(shape.placed((60, 30), 30).outer.polygon(1e-3), 1.0)], light)
    truth = made.add_item(shape, (60, 30), 30)
    picture, _ = scanned(made, dpi=300)
    off_um = {}
    for edge in (None, "inner"):
        settings = Settings(square_mm=(20.0, 20.0), tolerance_mm=0.1, edge=edge)
        (item,) = outline_picture(picture, settings).result.items
        off_um[edge] = compare(item.exterior_mm, item.holes_mm, truth, any_turn=True).p95_um
        assert off_um[edge] < 1000 * item.uncertainty.profile_k2_mm
        assert {one.code for one in item.findings if one.attention} == (set() if edge else {"second-border"})
    assert off_um["inner"] < 0.4 * off_um[None]
