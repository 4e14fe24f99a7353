"""The renderer of scans as the world makes them: light and areas against closed forms, shapely and planted faults."""

import functools

import numpy as np
import pytest
import shapely

from tests.near import distances
from tests.sweeps import sweep
from tests.truth import lid_cases, zoo
from tests.truth.lid import LidScene
from tests.truth.lid_light import Lid, Sensor, Strip
from tests.truth.lid_scenes import lid_picture, lid_scene
from tests.truth.lid_shapes import leaf, plate, polygon_of, scaled, thin_ring
from tests.truth.lid_things import Rim, Shade
from tests.truth.lid_traits import TRAITS
from tests.truth.light import linear_light
from tests.truth.raster import coverage

QUIET = Sensor(noise_codes=0.0)
EVEN = Lid(240, 240)


def scene_of(shape, angle_deg=17.0, **look) -> LidScene:
    scene = LidScene(60, 50, dpi=300, lid=EVEN, sensor=QUIET, blur_px=0.8)
    scene.add(shape, (30, 25), angle_deg, **look)
    return scene


def light_of(picture):
    return linear_light(picture.pixels.astype(float))


def missing_mm2(picture, colour) -> float:
    """Area from the light that is missing against the bare lid: no edge is looked for."""
    lid = float(linear_light(240))
    share = (lid - light_of(picture).mean(2)) / (lid - np.mean(colour))
    return float(share.sum()) * (25.4 / picture.dpi) ** 2


@pytest.mark.parametrize("name", ["key-fob", "star", "gear", "hook"])
def test_the_light_a_thing_takes_is_its_area(name):
    colour = (0.1, 0.1, 0.1)
    picture = scene_of(zoo.BLANKS[name](), reflectance=colour).render()
    true = picture.items[0].area
    assert true == pytest.approx(picture.shapes[0].area, rel=1e-5)
    # codes are rounded, which is even over the lid but for a bias of one grey: 240 is a whole code
    assert missing_mm2(picture, colour) == pytest.approx(true, rel=2e-3)


def test_a_fault_of_a_tenth_of_a_millimetre_would_be_seen_in_the_area():
    picture = scene_of(zoo.key_fob(), reflectance=(0.1, 0.1, 0.1)).render()
    moved = picture.items[0].buffer(0.1).area
    assert moved > 1.01 * missing_mm2(picture, (0.1, 0.1, 0.1))


def test_lift_softens_the_edge_and_leaves_it_where_it_is():
    sharp = scene_of(zoo.key_fob(), reflectance=(0.1, 0.1, 0.1)).render()
    soft = scene_of(zoo.key_fob(), reflectance=(0.1, 0.1, 0.1), lift_px=3.0).render()
    area = sharp.items[0].area
    assert missing_mm2(soft, (0.1, 0.1, 0.1)) == pytest.approx(area, rel=2e-3)
    steep = [np.abs(np.diff(light_of(p)[..., 0], axis=1)).max() for p in (sharp, soft)]
    # the largest slope of a blurred step goes with 1 / blur, the pixel's own width included
    assert steep[0] / steep[1] == pytest.approx(np.hypot(3.0, np.hypot(0.8, 0.289)) / np.hypot(0.8, 0.289), rel=0.1)


def test_shade_is_grey_falls_on_the_lid_only_and_takes_its_share_of_the_light():
    colour = (0.5, 0.3, 0.1)
    plain = light_of(scene_of(plate(30, 20), reflectance=colour).render())
    scene = scene_of(plate(30, 20), reflectance=colour, shade=Shade(0.25, 0.3, (2.0, 0.0)))
    picture = scene.render()
    ratio = light_of(picture) / plain
    inside = coverage([picture.to_px(np.array(picture.items[0].exterior.coords)[:-1])], picture.pixels.shape[:2])
    core = np.zeros(picture.pixels.shape[:2], bool)
    core[inside.slices] = inside.values == 1
    core = _eroded(core)
    assert np.abs(ratio[core] - 1).max() < 1e-9
    assert ratio.min() == pytest.approx(0.75, abs=0.02)  # of the light that the lid gives without it
    deep = (ratio.mean(2) < 0.8) & (_eroded(_outside(inside, core.shape)))
    spread = ratio[deep].max(1) - ratio[deep].min(1)
    assert deep.sum() > 300
    assert spread.max() < 0.02  # rounding of codes
    columns = np.flatnonzero(deep.any(0))
    assert columns.min() > np.flatnonzero(core.any(0)).mean()  # to the right, where it was sent


def _outside(inside, shape):
    outside = np.ones(shape, bool)
    outside[inside.slices] = inside.values == 0
    return outside


def _eroded(mask):
    import cv2

    return cv2.erode(mask.astype(np.uint8), np.ones((9, 9))).astype(bool)


def test_rim_is_as_wide_and_as_bright_as_said():
    rim = Rim(0.5, (0.6,) * 3)
    picture = scene_of(plate(30, 20, radius=0), 0.0, reflectance=(0.05,) * 3, rim=rim).render()
    row = light_of(picture)[picture.pixels.shape[0] // 2, :, 0]
    per_mm = 300 / 25.4
    dark = ((row - 0.05) < 0.275).sum() / per_mm
    assert dark == pytest.approx(29.0, abs=0.1)  # 30 mm less twice the rim
    assert 0.3 < (np.abs(row - 0.6) < 0.02).sum() / per_mm < 1.0  # twice 0.5 mm less the blur
    lid, pale, body = float(linear_light(240)), 0.6, 0.05
    rim_area = polygon_of(plate(30, 20, radius=0)).area - 29 * 19
    taken = (lid - light_of(picture)[..., 0]).sum() / per_mm**2
    assert taken == pytest.approx((lid - pale) * rim_area + (lid - body) * 29 * 19, rel=2e-3)


def test_the_lid_falls_from_code_to_code_in_its_direction():
    scene = LidScene(60, 50, lid=Lid(250, 215, towards_deg=0), sensor=QUIET)
    scene.add(plate(10, 8), (30, 25))
    pixels = scene.render().pixels
    assert (pixels[:, 0] == 250).all()
    assert (pixels[:, -1] == 215).all()
    level = LidScene(60, 50, lid=Lid(250, 215, towards_deg=90), sensor=QUIET)
    level.add(plate(10, 8), (30, 25))
    assert level.render().pixels[0, 0, 0] == 215  # 90 degrees is up


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_strip_lies_at_its_border_and_has_its_width(side):
    scene = LidScene(60, 50, lid=EVEN, sensor=QUIET, strips=(Strip(side, 2.0, 10, 0.01),))
    scene.add(plate(10, 8), (30, 25))
    grey = scene.render().pixels[..., 0]
    line = {"left": grey[9, :], "right": grey[9, ::-1], "top": grey[:, 9], "bottom": grey[::-1, 9]}[side]
    dark = np.flatnonzero(line < 120)
    assert dark[0] == 0
    assert len(dark) == pytest.approx(2.0 * 300 / 25.4, abs=1.5)


def test_noise_is_as_large_as_said():
    scene = LidScene(40, 40, lid=EVEN, sensor=Sensor(1.5), seed=4)
    scene.add(plate(10, 8), (30, 25))
    corner = scene.render().pixels[-150:, :150].astype(float)
    assert corner.std() == pytest.approx(np.hypot(1.5, 12**-0.5), rel=0.05)


def test_dirt_keeps_clear_of_edges_when_it_is_to():
    scene = LidScene(60, 50, lid=EVEN, sensor=QUIET, dirt={"specks": 150, "hairs": 5, "crumbs": 30}, seed=2)
    scene.add(zoo.key_fob(), (30, 25), reflectance=(0.2, 0.2, 0.2))
    clean = LidScene(60, 50, lid=EVEN, sensor=QUIET, seed=2)
    clean.add(zoo.key_fob(), (30, 25), reflectance=(0.2, 0.2, 0.2))
    picture = scene.render()
    differs = (picture.pixels != clean.render().pixels).any(2)
    rows, columns = np.nonzero(differs)
    assert len(rows) > 500
    away = distances(picture.to_mm(np.stack([columns, rows], 1).astype(float)), picture.items[0].boundary)
    assert away.min() > 0.4 - 5.5 * 0.8 / (300 / 25.4)  # the blur's reach


def test_a_hair_across_and_dirt_at_the_edge_do_lie_there():
    for more in ({"hairs_across": 1}, {"dirt": {"specks": 300, "clear": False}}):
        scene = LidScene(60, 50, lid=EVEN, sensor=QUIET, seed=2, **more)
        scene.add(zoo.key_fob(), (30, 25), reflectance=(0.5, 0.5, 0.5))
        clean = LidScene(60, 50, lid=EVEN, sensor=QUIET, seed=2)
        clean.add(zoo.key_fob(), (30, 25), reflectance=(0.5, 0.5, 0.5))
        picture = scene.render()
        rows, columns = np.nonzero((picture.pixels != clean.render().pixels).any(2))
        places = shapely.points(picture.to_mm(np.stack([columns, rows], 1).astype(float)))
        assert shapely.distance(picture.items[0].boundary, places).min() < 0.1, more


@sweep("number", [1, 2, 23], [23])
def test_a_scene_follows_from_its_number(number):
    assert (lid_picture(number).pixels == lid_picture(number).pixels).all()
    assert lid_scene(number).tags == lid_scene(number).tags


@functools.cache
def scenes():
    return [lid_scene(number) for number in range(120)]


def test_true_items_are_sound_apart_and_inside_the_picture():
    for scene in scenes()[:60]:
        polygons = [polygon_of(thing.shape) for thing in scene.things]
        assert polygons
        frame = shapely.box(0, 0, scene.width_mm, scene.height_mm).buffer(-5)
        for i, polygon in enumerate(polygons):
            assert polygon.is_valid
            assert frame.contains(polygon)
            assert all(polygon.distance(other) > 4.5 for other in polygons[:i])


def test_even_numbers_are_ordinary_odd_ones_hard_and_every_trait_comes():
    hard = set(TRAITS)
    assert not any(scene.tags & hard for scene in scenes()[::2])
    assert all(scene.tags & hard for scene in scenes()[1::2])
    assert set.union(*(scene.tags for scene in scenes())) >= hard


def test_shapes_of_lids_are_what_they_say():
    assert thin_ring(34, 1.2).area == pytest.approx(np.pi / 4 * (34**2 - 31.6**2))
    assert scaled(zoo.gear(), 0.5).area == pytest.approx(zoo.gear().area / 4)
    for seed in range(12):
        polygon = polygon_of(leaf(45, np.random.default_rng(seed)))
        assert polygon.is_valid
        assert 100 < polygon.area < 1200


CASES = (
    (lid_cases.pale_wood_with_shadow, 12),
    (lid_cases.dark_item_with_pale_rim, 2),
    (lid_cases.thin_rings, 3),
    (lid_cases.hole_of_low_contrast, 1),
    (lid_cases.hole_with_shaded_floor, 1),
    (lid_cases.lifted_item, 1),
    (lid_cases.uneven_lid, 4),
    (lid_cases.cut_by_border, 1),
)


@pytest.mark.parametrize(("make", "count"), CASES)
def test_cases_have_their_items_where_the_picture_shows_them(make, count):
    picture = make()
    assert len(picture.items) == count
    lid = np.median(picture.pixels.reshape(-1, 3), axis=0)
    for polygon in picture.items:
        x, y = np.rint(picture.to_px(np.array(polygon.point_on_surface().coords))[0]).astype(int)
        assert np.abs(picture.pixels[y, x] - lid).max() > 20


def test_the_low_hole_has_the_codes_asked_for():
    picture = lid_cases.hole_of_low_contrast(71, 58)
    polygon = picture.items[0]
    hole = np.array(shapely.Polygon(polygon.interiors[1]).centroid.coords)
    x, y = np.rint(picture.to_px(hole)[0]).astype(int)
    assert np.median(picture.pixels[y - 6 : y + 7, x - 6 : x + 7]) == pytest.approx(58, abs=1)
    x, y = np.rint(picture.to_px(hole - (9, 0))[0]).astype(int)
    assert np.median(picture.pixels[y - 6 : y + 7, x - 6 : x + 7]) == pytest.approx(71, abs=1)
