"""Sharp corners put back where they were, round ones left round; rendered from exact coverage."""

import numpy as np
import pytest

from digitize.edge.corners import MIN_TURN_DEG, Edges, find_corners, wedge_gap
from digitize.edge.sides import Places, Sides, lead_in, run_beyond
from digitize.measure.ragged import EndToEnd
from tests.near import distances
from tests.rendered import as_picture, circle_px, codes_of, polygon_px, traced
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage
from tests.truth.shapes import rounded

CORNER_PX = 0.95  # target: 40 um at 600 dpi
PX_MM = 25.4 / 600
SHAPE = (230, 250)
CENTRE = np.array([124.6, 115.3])


def half_level_of_a_wedge(angle):
    """Depth on the bisector, in sigmas, at which half of a unit Gaussian lies in the wedge, by SciPy.

    A place at depth u lies u sin(angle / 2) inside both sides; the distances to them correlate by -cos(angle).
    """
    from scipy.optimize import brentq
    from scipy.stats import multivariate_normal

    both = multivariate_normal([0, 0], [[1, -np.cos(angle)], [-np.cos(angle), 1]], allow_singular=True)
    return brentq(lambda u: both.cdf([u * np.sin(angle / 2)] * 2) - 0.5, 0, 8)


@pytest.mark.parametrize("angle", [20, 36, 45, 60, 72, 90, 108, 120, 135, 150, 155])
def test_half_level_of_a_blurred_corner_agrees_with_the_bivariate_normal(angle):
    expected = half_level_of_a_wedge(np.radians(angle))
    assert wedge_gap(np.radians(180 - angle)) == pytest.approx(expected, abs=0.01)
    assert wedge_gap(-np.radians(180 - angle)) == wedge_gap(np.radians(180 - angle))


def test_half_level_of_a_right_corner_is_known_in_closed_form():
    # Two independent sides: Phi(d)^2 = 1/2, so d = Phi^-1(0.70711) = 0.5450 (tables), and u = d sqrt(2).
    assert wedge_gap(np.pi / 2) == pytest.approx(0.5450 * np.sqrt(2), abs=0.003)
    assert wedge_gap(0) == pytest.approx(0, abs=1e-6)


def places_of(points):
    return Places(EndToEnd([len(points)]), points)


def one_side(curve, meeting, start, toward):
    return Sides(np.array([0]), curve[None], np.array([meeting]), np.array([start]), toward)


@pytest.mark.parametrize("upward", [1.0, -1.0])
@pytest.mark.parametrize(
    ("bend", "off_px", "is_beyond"),
    [(0.0, -0.3, False), (0.0, 0.3, False), (0.03, 0.0, True), (-0.03, 0.0, False), (0.0, 0.8, True)],
)
def test_places_beyond_a_corner_tell_that_it_was_put_back_too_far_in(upward, bend, off_px, is_beyond):
    """A side along x that runs on to 0 bends inward by bend t^2, or not; the places go straight on, `off_px` out."""
    x = np.arange(-15.0, 25.0)
    places = np.column_stack([x, np.full(len(x), -upward * off_px)])
    side = np.array([(10.0, 0.0), (1.0, 0.0), (0.0, upward * bend)])  # from x = 10 outward
    other = np.array([(3.0, upward * 4.0), (0.6, upward * 0.8), (0.0, 0.0)])  # the item's other side
    found = run_beyond(places_of(places), one_side(side, -10.0, 25, -1), other[None], np.array([0.02]))
    assert found.tolist() == [is_beyond]


# --- sharp corners -----------------------------------------------------------------------------------------------


def rhombus(angle_deg, turn_deg, side=80.0):
    """Corners (4, 2) px of a rhombus with inner angles `angle_deg` and its supplement, and those angles."""
    half = np.radians(angle_deg / 2)
    x, y = side * np.cos(half), side * np.sin(half)
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return np.array([(x, 0), (0, y), (-x, 0), (0, -y)]) @ turn + CENTRE, np.array([angle_deg, 180 - angle_deg] * 2)


def corner_errors(ring, places, **look):
    """Distance of each true corner from the nearest restored one, px (inf when none was restored)."""
    contour = traced([ring], SHAPE, **look)[0].contour
    restored = contour.points_px[list(contour.corners)]
    if not len(restored):
        return np.full(len(places), np.inf), contour
    return np.linalg.norm(places[:, None] - restored[None], axis=2).min(axis=1), contour


@pytest.mark.parametrize("blur", [0.6, 0.9, 1.2])
@pytest.mark.parametrize("angle", [36, 45, 60, 75, 90])
def test_sharp_corners_are_restored(angle, blur):
    errors = []
    for turn in (0, 13, 45, 71):
        ring, _ = rhombus(angle, turn)
        error, contour = corner_errors(ring, ring, blur_px=blur, noise_codes=1.5, seed=turn)
        assert len(contour.corners) == 4
        errors.append(error)
    assert np.max(errors) <= CORNER_PX
    assert np.median(errors) <= 0.1


@pytest.mark.parametrize("angle", [30, 150])
def test_blunt_and_acute_corners_are_restored(angle):
    for turn in (5, 33):
        ring, angles = rhombus(angle, turn)
        error, _ = corner_errors(ring, ring[angles >= 36], blur_px=0.8, noise_codes=1.5, seed=turn)
        assert error.max() <= CORNER_PX


def kite(angle_deg, turn_deg, long=90.0):
    """A triangle with a tip of that angle between two sides, px; the tip first, and which way it points."""
    a, b = np.radians([angle_deg / 2, turn_deg])
    ring = long * np.array([(0.0, 0.0), (np.sin(a), np.cos(a)), (-np.sin(a), np.cos(a))])
    ring = (ring - ring.mean(axis=0)) @ np.array([(np.cos(b), np.sin(b)), (-np.sin(b), np.cos(b))]) + (90.3, 89.6)
    out = ring[0] - ring[1:].mean(axis=0)
    return ring, out / np.hypot(*out)


@pytest.mark.parametrize(("angle", "least"), [(60, 0.04), (36, 0.09)])
def test_a_soft_tip_comes_out_as_long_as_it_is(angle, least):
    off = []
    for number in range(6):
        ring, out = kite(angle, 57.0 * number)
        canvas, body = np.full((180, 180, 3), 0.85, np.float32), blurred_coverage([ring], (180, 180), 1.2)
        paint(canvas, body, np.full((*body.values.shape, 3), 0.1, np.float32))
        picture = as_picture(codes_of(canvas, noise_codes=1.0, seed=number))
        contour = traced([ring], (180, 180), picture=picture)[0].contour
        found = contour.points_px[list(contour.corners)] - ring[0]
        off.append(float(found[np.hypot(*found.T).argmin()] @ out))
    assert np.sqrt(np.mean(np.square(off))) < least


def test_inside_corners_are_restored_too():
    # an L and a star: reentrant corners of 90 and 252 degrees
    ell = np.array([(0, 0), (120, 0), (120, 50), (50, 50), (50, 120), (0, 120)], float)
    ell += (60.3, 50.8)
    error, contour = corner_errors(ell, ell, blur_px=0.8, noise_codes=1.5)
    assert len(contour.corners) == 6
    assert error.max() <= 0.3
    radii = np.where(np.arange(10) % 2, 38.0, 86.0)[:, None]
    star = CENTRE + radii * (polygon_px((0, 0), 1, 10, 12))
    error, contour = corner_errors(star, star, blur_px=0.8, noise_codes=1.5)
    assert len(contour.corners) == 10
    assert error.max() <= CORNER_PX


def test_corners_between_arcs_are_restored():
    # scallops of 30 px radius meeting in sharp notches
    count = 8
    bulges = np.full(count, 0.5)
    from tests.truth.shapes import ring

    shape = ring(polygon_px(CENTRE, 75, count, 9), bulges)
    error, contour = corner_errors(shape.polygon(1e-4), shape.corners(), blur_px=0.8, noise_codes=1.5)
    assert len(contour.corners) == count
    assert error.max() <= CORNER_PX


def test_light_items_on_dark_have_their_corners_restored():
    ring, _ = rhombus(72, 20)
    error, _ = corner_errors(ring, ring, inside=0.7, outside=0.04, blur_px=0.9, noise_codes=1.5)
    assert error.max() <= 0.3


def test_low_contrast_and_noise_keep_corners_within_the_target():
    ring, _ = rhombus(80, 20)
    error, _ = corner_errors(ring, ring, inside=0.45, outside=0.8, blur_px=1.2, noise_codes=3)
    assert error.max() <= CORNER_PX


def test_the_corner_is_one_of_the_points_and_the_sides_run_straight_into_it():
    ring, _ = rhombus(60, 13)
    _, contour = corner_errors(ring, ring, blur_px=0.9)
    points, count = contour.points_px, len(contour.points_px)
    steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    assert steps.max() < 2.5
    for apex in contour.corners:
        for sign in (-1, 1):
            side = points[(apex + sign * np.arange(1, 8)) % count]
            along = side[-1] - points[apex]
            normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
            assert np.abs((side - points[apex]) @ normal).max() < 0.05


# --- round corners -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("radius_mm", [0.15, 0.25, 0.5, 1.0])
@pytest.mark.parametrize("angle", [60, 90, 120])
def test_rounded_corners_are_not_sharpened(angle, radius_mm, request):
    if (angle, radius_mm) == (120, 0.15):  # apex and arc are 0.55 px (23 um) apart
        reason = "a blunt corner of 0.15 mm radius is taken for a sharp one"
        request.applymarker(pytest.mark.xfail(strict=True, reason=reason))
    for turn in (0, 20, 45):
        ring, angles = rhombus(angle, turn)
        shape = rounded(ring, radius_mm / PX_MM)
        contour = traced([shape.polygon(1e-4)], SHAPE, blur_px=0.8, noise_codes=1.5, seed=turn)[0].contour
        restored = contour.points_px[list(contour.corners)]
        wanted = ring[angles == angle]
        gaps = np.linalg.norm(restored[:, None] - wanted[None], axis=2).min(axis=1) if len(restored) else np.array([])
        assert not (gaps < 6).any(), (turn, np.round(gaps, 2))


@pytest.mark.parametrize("radius_mm", [0.15, 0.3])
def test_outline_of_a_rounded_corner_stays_on_it(radius_mm):
    ring, _ = rhombus(90, 20)
    shape = rounded(ring, radius_mm / PX_MM)
    contour = traced([shape.polygon(1e-4)], SHAPE, blur_px=0.8)[0].contour
    assert np.abs(shape.signed_distance(contour.points_px)).max() <= CORNER_PX


def grain(seed, size_px, amount):
    """Light of an uneven surface, (H, W, 1), 1 on average."""
    from scipy.ndimage import gaussian_filter

    noise = gaussian_filter(np.random.default_rng(seed).normal(size=SHAPE), size_px)
    return (1 + amount * noise / noise.std())[..., None]


def off_px(ring, contour, apart_from=()):
    """Largest distance between a true ring and a contour, either way, 3.5 px about some places left out."""
    import shapely

    rings = [shapely.segmentize(shapely.linearrings(points), 0.25) for points in (ring, contour.points_px)]
    kept = []
    for one in rings:
        points = shapely.points(shapely.get_coordinates(one))
        kept.append(
            points[shapely.distance(points, shapely.multipoints(apart_from)) > 3.5] if len(apart_from) else points
        )
    return max(distances(kept[0], rings[1]).max(), distances(kept[1], rings[0]).max())


@pytest.mark.parametrize("radius", [7, 9])
@pytest.mark.parametrize("angle", [60, 110, 130])
def test_small_roundings_of_grainy_things_stay_round(angle, radius):
    for turn in (0, 20, 45, 71):
        ring = rounded(rhombus(angle, turn)[0], radius).polygon(1e-3)
        light = 0.85 * grain(turn + 1, 4, 0.02) * np.ones(3)
        paint(light, blurred_coverage([ring], SHAPE, 0.7), (0.0,) * 3)
        cover = np.zeros((*SHAPE, 1))
        patch = blurred_coverage([ring], SHAPE, 0.7)
        cover[patch.slices] = patch.values[..., None]
        light = light + cover * 0.25 * grain(turn + radius, 3, 0.06)
        contour = traced([ring], SHAPE, picture=as_picture(codes_of(light, noise_codes=1.5, seed=turn)))[0].contour
        assert off_px(ring, contour) < 0.35, turn


@pytest.mark.parametrize("turn", [0, 20, 33, 70])
def test_no_corner_is_put_across_two_bends(turn):
    # 20 degrees one way and, 10 px on, 45 the other: sides fitted from farther off meet beyond both
    step = 10 * np.array([np.cos(np.radians(20)), -np.sin(np.radians(20))])
    far = step + 45 * np.array([np.cos(np.radians(25)), np.sin(np.radians(25))])
    a = np.radians(turn)
    ring = np.array([(-70, 0), (0, 0), step, far, (80, 60), (-70, 60)]) - (0, 30)
    ring = ring @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + CENTRE
    contour = traced([ring], SHAPE, blur_px=0.8, noise_codes=1.5, seed=turn)[0].contour
    assert off_px(ring, contour, ring) < 0.3


def test_a_side_is_run_on_only_where_what_was_seen_lies_on_it():
    """Places 1 px apart along a straight side, the other side in sight from 4 px before the corner, 15 px on."""
    side = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]])  # place, direction, bend
    seen = np.column_stack([-np.arange(20.0), np.zeros(20)])
    bent = seen + np.where(np.arange(20) > 7, 0.4, 0.0)[:, None] * (0, 1)
    clear, noise = np.array([4.0]), np.array([0.02])
    assert lead_in(places_of(seen), one_side(side, -15.0, 0, 1), clear, noise)
    assert not lead_in(places_of(bent), one_side(side, -15.0, 0, 1), clear, noise)
    assert lead_in(places_of(bent), one_side(side, -10.0, 0, 1), clear, noise)  # it bends beyond


@pytest.mark.parametrize("radius", [5, 8, 12, 25, 90])
@pytest.mark.parametrize("noise", [0, 3])
def test_circles_have_no_corners(radius, noise):
    found = traced([circle_px(CENTRE, radius)], SHAPE, blur_px=0.8, noise_codes=noise)[0]
    assert found.contour.corners == ()


def test_shallow_bends_are_left_alone():
    # turns of 180 / 10 = 18 degrees, under the least that counts
    assert MIN_TURN_DEG > 18
    contour = traced([polygon_px(CENTRE, 90, 20, 4)], SHAPE, blur_px=0.8, noise_codes=1)[0].contour
    assert contour.corners == ()


def test_short_contours_are_searched_without_complaint():
    points = polygon_px((0, 0), 4, 25)
    edges = Edges(EndToEnd([len(points)]), points, points, np.array([0.9]), np.array([0.01]))
    assert find_corners(edges, lambda ring, places, about: np.zeros(places.shape[:2])) == [[]]
