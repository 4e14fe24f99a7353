"""The truth is tested too: exact shapes, renderer and score against closed forms and with planted faults."""

import io
import math

import numpy as np
import pytest

from tests.sweeps import sweep
from tests.truth import light, zoo
from tests.truth.flatbed import Scene, save_png
from tests.truth.raster import blurred_coverage, coverage
from tests.truth.score import compare
from tests.truth.shapes import circle, rectangle, ring, slot

ALL_SHAPES = {**zoo.BLANKS, **zoo.PUBLISHED}
FRAME = (200, 220)


# --- shapes against published sizes and closed forms -------------------------------------------------------------


def test_id1_card_has_the_area_and_perimeter_of_its_published_sizes():
    card = zoo.id1_card()  # ISO/IEC 7810: 85.60 x 53.98 mm, corner radius 3.18 mm
    assert card.area == pytest.approx(85.60 * 53.98 - (4 - math.pi) * 3.18**2, abs=1e-9)
    assert card.area == pytest.approx(4612.007, abs=5e-4)
    assert card.perimeter == pytest.approx(273.701, abs=1e-3)


def test_constant_width_heptagon_follows_barbier_and_has_one_width():
    coin = zoo.heptagon_coin()
    assert coin.perimeter == pytest.approx(math.pi * 27.3, abs=1e-9)  # Barbier's theorem
    assert coin.area == pytest.approx(27.3**2 / 2 * (math.pi - 7 * math.tan(math.pi / 14)), abs=1e-9)
    assert (coin.perimeter, coin.area) == (pytest.approx(85.77, abs=0.005), pytest.approx(575.3, abs=0.05))
    points = coin.outer.polygon(1e-8)
    angles = np.linspace(0, math.pi, 37)
    across = points @ np.stack([np.cos(angles), np.sin(angles)])
    np.testing.assert_allclose(np.ptp(across, axis=0), 27.3, atol=1e-6)


@pytest.mark.parametrize(("n", "size"), [(4, (210, 297)), (5, (148, 210)), (6, (105, 148)), (7, (74, 105))])
def test_a_sizes_are_those_of_iso_216(n, size):
    x0, y0, x1, y1 = zoo.a_sheet(n).bounds()
    assert (x1 - x0, y1 - y0) == pytest.approx(size)


@sweep("name", ALL_SHAPES, ("key-fob", "heart", "pebble", "hook", "heptagon", "2-euro"))
def test_shapes_agree_with_their_fine_polygons(name):
    import shapely

    shape = ALL_SHAPES[name]().placed((3.3, -2.1), 33.0)
    polygon = shapely.Polygon(shape.outer.polygon(1e-7), [h.polygon(1e-7) for h in shape.holes])
    assert polygon.is_valid
    assert all(r.area > 0 for r in shape.rings)
    assert shape.area == pytest.approx(polygon.area, abs=2e-5)
    assert shape.perimeter == pytest.approx(polygon.exterior.length, abs=2e-6)
    points = np.random.default_rng(5).uniform(-40, 40, (800, 2))
    there = shapely.contains_xy(polygon, *points.T)
    expected = np.where(there, -1, 1) * shapely.distance(shapely.points(points), polygon.boundary)
    np.testing.assert_allclose(shape.signed_distance(points), expected, atol=2e-7)
    on_edge, normals = shape.outer.sample(0.5)
    assert np.abs(shape.outer.signed_distance(on_edge)).max() < 1e-12
    middle = [piece.at([0.4])[0][0] for piece in shape.outer.pieces]  # not at a corner
    outward = [piece.at([0.4])[1][0] @ [[0, -1], [1, 0]] for piece in shape.outer.pieces]
    np.testing.assert_allclose(shape.outer.signed_distance(np.add(middle, 1e-3 * np.array(outward))), 1e-3, atol=1e-9)
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1)


def test_signed_distance_holds_at_the_height_of_corners_and_crests():
    r = slot(10, 4)  # its corners and the level points of its arcs have these very heights
    points = np.array([(x, y) for y in (-2.0, 0.0, 2.0) for x in (-20.0, -5.5, 5.5, 20.0)])
    assert (r.signed_distance(points) > 0).all()
    assert r.signed_distance(np.array([[0.0, 0.0], [4.9, 0.0]])) == pytest.approx([-2, -0.1])


# --- coverage --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["key-fob", "star", "scalloped", "heptagon", "slotted"])
def test_coverage_adds_up_to_the_area(name):
    import shapely

    shape = ALL_SHAPES[name]().placed((110.37, 99.81), 17.0)
    rings = [r.polygon(1e-7) for r in shape.rings]
    area = shapely.Polygon(rings[0], rings[1:]).area
    assert area == pytest.approx(shape.area, abs=2e-5)
    for patch in (coverage(rings, FRAME), blurred_coverage(rings, FRAME, (0.6, 1.1))):
        assert patch.values.sum() == pytest.approx(area, abs=1e-6)
        assert patch.values.min() > -1e-5
        assert patch.values.max() < 1 + 1e-5


def test_coverage_of_single_pixels_is_known():
    patch = coverage([[(0.25, 0.0), (2.0, 0.0), (2.0, 1.25), (0.25, 1.25)]], (3, 4))
    expected = [[0.125, 0.5, 0.25, 0], [0.1875, 0.75, 0.375, 0]]
    np.testing.assert_allclose(patch.values, np.array(expected)[:, : patch.values.shape[1]], atol=1e-12)
    triangle = coverage([[(-0.5, -0.5), (0.5, -0.5), (-0.5, 0.5)]], (1, 1))
    assert triangle.values == pytest.approx(0.5)


def test_coverage_of_a_slanted_half_plane_is_known():
    slope, level = 0.3, 40.0  # y < level + slope x: crosses at most one pixel boundary a column here
    far = 300.0
    rings = [[(-far, -far), (far, -far), (far, level + slope * far), (-far, level - slope * far)]]
    patch = coverage(rings, FRAME)
    x = np.arange(10)
    np.testing.assert_allclose(patch.values[:, :10].sum(0), level + slope * x + 0.5, atol=1e-9)


def test_coverage_cut_by_the_picture_is_that_of_the_cut_shape():
    big = circle(150, (30, 20)).polygon(1e-5)
    whole = coverage([big + 100], (400, 400)).values
    for make in (lambda p, s: coverage([p], s), lambda p, s: blurred_coverage([p], s, 0.9)):
        patch = make(big, (60, 70))
        frame = np.zeros((60, 70))
        frame[patch.slices] = patch.values
        reference = np.zeros((400, 400))
        full = make(big + 100, (400, 400))
        reference[full.slices] = full.values
        np.testing.assert_allclose(frame, reference[100:160, 100:170], atol=1e-9)
    assert whole.max() <= 1 + 1e-9


@pytest.mark.parametrize("sigma", [0.5, 0.8, 1.5])
def test_blurred_step_is_the_integral_of_the_normal_distribution(sigma):
    from scipy.integrate import quad
    from scipy.special import ndtr

    edge, far = 30.37, 500.0
    rings = [[(edge, -far), (far, -far), (far, far), (edge, far)]]
    patch = blurred_coverage(rings, (40, 60), sigma)
    row = patch.values[20]
    for i, value in enumerate(row):
        x = patch.column + i
        expected = quad(lambda u: ndtr((u - edge) / sigma), x - 0.5, x + 0.5, epsabs=1e-12)[0]
        assert value == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("angle", [0.0, 7.0, 30.0, 45.0, 83.0, 90.0])
@pytest.mark.parametrize("phase", [0.0, 0.21, 0.5])
def test_blurred_edge_lies_where_it_was_drawn_at_any_angle_and_phase(angle, phase):
    """The centroid of the difference across the edge, summed over a window, gives the edge to 1e-3 px."""
    a = math.radians(angle)
    normal, along = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
    base = np.array([50.0, 50.0]) + phase * normal
    far = 400.0
    rings = [np.array([base - far * along, base + far * along, base + far * along + far * normal,
                       base - far * along + far * normal])]  # fmt: skip
    patch = blurred_coverage(rings, (101, 101), 0.8)
    frame = np.zeros((101, 101))
    frame[patch.slices] = patch.values
    y, x = np.mgrid[:101, :101]
    distance = (np.stack([x, y], -1) - base) @ normal
    if abs(normal[0]) >= abs(normal[1]):  # along the axis that crosses the edge more steeply
        crossing = 100.5 - frame.sum(1) - 0.0
        expected = base[0] - (np.arange(101) - base[1]) * normal[1] / normal[0]
    else:
        crossing = 100.5 - frame.sum(0)
        expected = base[1] - (np.arange(101) - base[0]) * normal[0] / normal[1]
    inner = (expected > 10) & (expected < 90)
    assert inner.sum() > 50
    np.testing.assert_allclose(crossing[inner], expected[inner], atol=1e-3)
    assert np.all(frame[distance > 8] > 1 - 1e-5)
    assert np.all(np.abs(frame[distance < -8]) < 1e-5)


def test_blurred_coverage_agrees_with_supersampled_areas():
    from scipy.ndimage import gaussian_filter1d

    n = 15
    shape = zoo.star().placed((33.4, 30.2), 8)
    rings = [r.polygon(1e-8) for r in shape.rings]
    fine = coverage([(points + 0.5) * n - 0.5 for points in rings], (70 * n, 70 * n))
    frame = np.zeros((70 * n, 70 * n))
    frame[fine.slices] = fine.values
    for axis in (0, 1):
        frame = gaussian_filter1d(frame, 0.7 * n, axis=axis, truncate=7)
    expected = frame.reshape(70, n, 70, n).mean((1, 3))
    patch = blurred_coverage(rings, (70, 70), 0.7)
    np.testing.assert_allclose(patch.values, expected[patch.slices], atol=4e-4)


# --- light -----------------------------------------------------------------------------------------------------


def test_srgb_curve_has_the_values_of_the_standard():
    # IEC 61966-2-1: code 118 is 18 % grey, 188 half; the straight part has slope 12.92
    codes = light.srgb_codes(np.array([0.0, 0.001, 0.18, 0.5, 1.0], np.float32))
    np.testing.assert_allclose(codes, [0, 3.2946, 117.64, 187.516, 255], atol=6e-3)
    every = np.arange(256)
    np.testing.assert_allclose(light.srgb_codes(light.linear_light(every).astype(np.float32)), every, atol=2e-3)


def test_noise_has_the_deviation_asked_for():
    pixels = light.to_pixels(np.full((300, 300, 3), 0.3, np.float32), 2.0, np.random.default_rng(1))
    assert pixels.std() == pytest.approx(math.sqrt(4 + 1 / 12), rel=0.01)
    assert pixels.mean() == pytest.approx(float(light.srgb_codes(np.float32(0.3))), abs=0.02)


# --- scan ------------------------------------------------------------------------------------------------------


def small_scene(**options):
    scene = Scene(30, 20, dpi_x=200, dpi_y=202, skew_deg=0.3, noise_codes=0, blur_px=0, **options)
    scene.add_item(zoo.coin("1-cent"), (18, 9), 5, (0.1, 0.2, 0.3))
    scene.add_square((4, 3), (5, 12), 30)
    return scene


def test_scan_maps_there_and_back_with_its_two_scales_and_skew():
    picture = small_scene().render()
    h, w = picture.pixels.shape[:2]
    assert (w, h) == (round(30 / 25.4 * 200), round(20 / 25.4 * 202))
    mm = np.array([(0, 0), (10, 0), (0, 10)])
    px = picture.to_px(mm)
    np.testing.assert_allclose(px[0], (-0.5, h - 0.5))
    np.testing.assert_allclose(px[1] - px[0], (10 / 25.4 * 200, 0), atol=1e-12)
    np.testing.assert_allclose(px[2] - px[0], (10 / 25.4 * 200 * math.tan(math.radians(0.3)), -10 / 25.4 * 202))
    np.testing.assert_allclose(picture.to_mm(px), mm, atol=1e-12)


def test_scan_shows_items_and_squares_where_they_lie():
    picture = small_scene().render()
    linear = light.linear_light(picture.pixels)
    lid, coin = linear[0, 0, 0], linear[round(picture.to_px([(18, 9)])[0, 1]), round(picture.to_px([(18, 9)])[0, 0]), 0]
    assert (lid, coin) == (pytest.approx(0.85, abs=4e-3), pytest.approx(0.1, abs=2e-3))  # codes are whole
    share = (lid - linear[..., 0]) / (lid - coin)
    y, x = np.mgrid[: share.shape[0], : share.shape[1]]
    disc = np.hypot(*(picture.to_mm(np.stack([x, y], -1).reshape(-1, 2)) - (18, 9)).T).reshape(share.shape) < 10
    found = [(share * v)[disc].sum() / share[disc].sum() for v in (x, y)]
    np.testing.assert_allclose(picture.to_mm([found]), [(18, 9)], atol=1e-3)
    # pixels of known area: mm per px from the two scales
    assert share[disc].sum() * 25.4**2 / (200 * 202) == pytest.approx(picture.items[0].area, rel=2e-4)
    inside = picture.to_px(np.array([(5, 12), (3.4, 11.0), (6.6, 13.0), (2.6, 12.0)])).round().astype(int)
    assert [bool(linear[v, u, 1] < 0.1) for u, v in inside] == [True, True, True, False]


def test_same_seed_same_scan_other_seed_other_noise():
    def pixels(seed):
        scene = Scene(10, 8, dpi_x=150, noise_codes=2, seed=seed)
        scene.add_item(zoo.coin("1-cent"), (4, 4), 0, (0.2, 0.1, 0.1), grain=0.1, shadow=0.3)
        scene.add_dust(3, 1)
        return scene.render().pixels

    np.testing.assert_array_equal(pixels(4), pixels(4))
    assert (pixels(4) != pixels(5)).mean() > 0.3


@pytest.mark.parametrize("lid_and_item", [(0.9, 0.05), (0.8, 0.45)])
def test_level_line_in_linear_light_finds_the_edge_without_bias(lid_and_item):
    """scikit-image's marching squares as the outside reference: bias below 0.1 um, RMS below 1 um at 600 dpi."""
    from skimage.measure import find_contours

    lid, item = lid_and_item
    scene = Scene(48, 44, dpi_x=600, dpi_y=598, skew_deg=0.1, background=(lid,) * 3, blur_px=0.7, noise_codes=0.5)
    truth = scene.add_item(zoo.pebble(), (24, 22), 25, (item,) * 3)
    picture = scene.render()
    share = light.linear_light(picture.pixels).mean(-1)
    line = max(find_contours(share, (lid + item) / 2), key=len)[:-1, ::-1]
    score = compare(picture.to_mm(line), [], truth)
    assert abs(score.bias_um) < 0.1
    assert score.rms_um < 1
    assert score.turned_deg == pytest.approx(0, abs=1e-3)
    assert score.moved_mm == pytest.approx((0, 0), abs=2e-4)


def test_dust_keeps_clear_of_edges():
    scene = Scene(60, 50, seed=2)
    item = scene.add_item(zoo.key_fob(), (30, 25))
    scene.add_dust(30, 5, clear_mm=0.7)
    for layer in scene.dust:
        assert np.abs(item.signed_distance(layer.rings[0].points)).min() > 0.7


def test_png_carries_its_density(tmp_path):
    from PIL import Image

    save_png(tmp_path / "scan.png", small_scene().render())
    with Image.open(io.BytesIO((tmp_path / "scan.png").read_bytes())) as picture:
        assert picture.info["dpi"] == pytest.approx((200, 202), abs=0.02)  # pHYs holds whole pixels per metre


# --- score, with planted faults ----------------------------------------------------------------------------------


def measured(shape, grow=0.0, spacing=0.03):
    """Return rings of the shape grown outwards (holes shrunk) by `grow` mm along the exact normals."""
    rings = []
    for i, r in enumerate(shape.rings):
        points, normals = r.sample(spacing)
        rings.append(points + normals * (grow if i == 0 else -grow))
    return rings[0], rings[1:]


def moved(rings, angle_deg, shift):
    a = math.radians(angle_deg)
    turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    return rings[0] @ turn + shift, [h @ turn + shift for h in rings[1]]


SMOOTH = zoo.pebble().placed((12, 30), 20)
FOB = zoo.key_fob().placed((12, 30), 20)


@pytest.mark.parametrize("first", [0, 60, 171])
def test_perfect_outline_scores_nothing_wherever_it_lies_and_begins(first):
    outer, holes = measured(FOB, spacing=0.037)  # its points are not those it is compared with
    score = compare(*moved((np.roll(outer, first, axis=0), holes), 1.5, (100, -20)), FOB)
    assert score.max_um < 0.1
    assert score.turned_deg == pytest.approx(-1.5, abs=1e-4)


@pytest.mark.parametrize("grow_um", [5.0, -5.0])
@pytest.mark.parametrize("shape", [SMOOTH, FOB, zoo.slotted()], ids=["no-hole", "hole", "two-holes"])
def test_grown_outline_scores_its_growth(shape, grow_um):
    score = compare(*moved(measured(shape, grow_um / 1000), 0.4, (1, 2)), shape)
    for stats in (score, score.measured_to_truth, score.truth_to_measured):
        assert stats.bias_um == pytest.approx(grow_um, abs=0.05)
        assert stats.rms_um == pytest.approx(5, abs=0.05)
        assert stats.p95_um == pytest.approx(5, abs=0.05)


def test_wrong_scale_is_not_fitted_away():
    outer, holes = measured(FOB)
    score = compare(outer * 1.001, [h * 1.001 for h in holes], FOB)
    assert score.max_um > 12  # 0.1 % of 45 mm, half on each side


def test_lost_corner_shows_in_the_maximum_and_as_a_corner():
    star = zoo.star()
    outer, holes = measured(star)
    tip = star.outer.corners()[np.argmax(star.outer.corners()[:, 1])]
    cut = outer[np.linalg.norm(outer - tip, axis=1) > 0.06]
    score = compare(cut, holes, star)
    flanks = cut[np.argsort(np.linalg.norm(cut - tip, axis=1))[:2]]
    assert score.max_um == pytest.approx(1000 * math.dist(flanks.mean(0), tip), abs=4)
    assert score.max_at_corner_um == score.max_um
    assert score.truth_to_measured.max_um > score.measured_to_truth.max_um
    assert score.max_elsewhere_um < 3


@pytest.mark.parametrize("where", [0, -1, 500])
def test_dent_is_seen_anywhere_also_in_the_last_piece(where):
    outer, holes = measured(SMOOTH)
    outer = outer.copy()
    outer[where] += 0.08 * (outer.mean(0) - outer[where]) / np.linalg.norm(outer.mean(0) - outer[where])
    score = compare(outer, holes, SMOOTH)
    assert score.max_um == pytest.approx(80, abs=8)


def test_missing_piece_between_last_and_first_point_is_seen():
    outer, holes = measured(SMOOTH)
    score = compare(outer[40:], holes, SMOOTH)  # the first arc (radius 8 mm) closed by a chord 1.2 mm long
    assert score.truth_to_measured.max_um > 15


def test_oversized_hole_counts_as_a_smaller_item():
    outer, _ = measured(FOB)
    hole = circle(5.02).placed((0, 19), 0).placed((12, 30), 20)
    score = compare(outer, [hole.polygon(1e-6)], FOB)
    assert score.max_um == pytest.approx(10, abs=0.5)
    assert score.bias_um < 0


def test_missing_hole_is_refused():
    with pytest.raises(ValueError, match="0 holes measured, 1 in truth"):
        compare(measured(FOB)[0], [], FOB)


def test_square_turned_by_more_than_its_symmetry_stays_itself():
    card = zoo.id1_card()
    assert compare(*moved(measured(card), 12, (5, 5)), card).max_um < 0.1
    assert rectangle(2, 2).area == 4
    assert ring([(0, 0), (1, 0), (1, 1)]).area == 0.5
