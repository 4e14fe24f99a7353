"""Narrow tips, notches and slits are followed; what may be a hair is cut off and said. Rendered from exact coverage."""

import numpy as np
import pytest
import shapely

from digitize.edge.corners import wedge_gap
from digitize.edge.detours import with_detours
from tests.near import distances
from tests.rendered import traced

SHAPE = (230, 250)
CENTRE = np.array([124.6, 115.3])
OFF_PX = 0.5  # a third of the blur's own width from side to side
AT_CORNER_PX = 3.5  # there the blur rounds: the half level of 40 degrees stays 2 px from the apex
TURNS = (0, 8, 33, 70)
BLUR_PX = 0.7


def plate_with(*feature, turn_deg):
    """Plate of 160 x 80 px with a feature, in px from the middle of one long side, y into the plate; turned."""
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    side = [(x, y - 40) for x, y in feature]
    return np.array([(-80, -40), *side, (80, -40), (80, 40), (-80, 40)], float) @ turn + CENTRE


def wedge(mouth, depth, turn_deg):
    return plate_with((-mouth / 2, 0), (0, depth), (mouth / 2, 0), turn_deg=turn_deg)


def strip(wide, deep, turn_deg):
    h = wide / 2
    return plate_with((-h, 0), (-h, deep), (h, deep), (h, 0), turn_deg=turn_deg)


def farthest(one, other, corners, clear):
    """Largest distance of points on one ring from another, corners left out."""
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(one, 0.25)))
    points = points[shapely.distance(points, corners) > clear]
    return distances(points, other).max()


def seen(ring, seed):
    return traced([ring], SHAPE, blur_px=BLUR_PX, noise_codes=1.5, seed=seed)[0]


def off_px(ring, found, clear=AT_CORNER_PX):
    """Largest distance between the true ring and the traced one, either way, away from corners."""
    true, there = shapely.linearrings(ring), shapely.linearrings(found.contour.points_px)
    corners = shapely.multipoints(ring)
    return max(farthest(true, there, corners, clear), farthest(there, true, corners, clear))


def test_the_corners_left_out_are_no_larger_than_blur_makes_them():
    sigma = np.hypot(BLUR_PX, 12**-0.5)
    sharpest = 2 * np.degrees(np.arctan2(3.5, 14))
    assert wedge_gap(np.radians(180 - sharpest)) * sigma < AT_CORNER_PX


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(("mouth", "depth"), [(10, 10), (7, 10), (8, 14)])
@pytest.mark.parametrize("way", [1, -1], ids=["notch", "tip"])
def test_narrow_notches_and_tips_are_followed(mouth, depth, way, turn):
    ring = wedge(mouth, way * depth, turn)
    found = seen(ring, turn)
    assert off_px(ring, found) < OFF_PX
    assert found.findings == ()


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(("wide", "deep"), [(2.5, 20), (3, 40), (4, 40)])
@pytest.mark.parametrize("way", [1, -1], ids=["slit", "bar"])
def test_slits_and_bars_that_show_both_sides_are_followed(wide, deep, way, turn):
    ring = strip(wide, way * deep, turn)
    found = seen(ring, turn)
    assert off_px(ring, found) < OFF_PX + 0.1
    assert "thin-strip" not in [finding.code for finding in found.findings]


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("way", [1, -1], ids=["slit", "hair"])
def test_what_may_be_a_hair_is_cut_off_and_said(way, turn):
    ring = strip(2.0, way * 40, turn)
    found = seen(ring, turn)
    plate = plate_with(turn_deg=turn)
    foot, tip = (ring[1] + ring[4]) / 2, (ring[2] + ring[3]) / 2
    there = shapely.linearrings(found.contour.points_px)
    assert shapely.distance(shapely.linearrings(plate), shapely.points(found.contour.points_px)).max() < 1.5
    assert shapely.distance(there, shapely.points(foot)) < 1.0
    (finding,) = [f for f in found.findings if f.code == "thin-strip"]
    assert finding.attention
    assert np.linalg.norm(np.array(finding.place_px) - tip) < 4
    assert " 2." in finding.message or " 1." in finding.message
    assert any(f" {long} px long" in finding.message for long in range(35, 42))


# --- by themselves -----------------------------------------------------------------------------------------------


def bordered(middle):
    """Border pixels of a rectangle whose upper side goes along `middle`, (N, 2), and which are good."""
    rest = [(60, y) for y in range(1, 30)] + [(x, 30) for x in range(60, -1, -1)] + [(0, y) for y in range(29, 0, -1)]
    left, right = [(x, 0) for x in range(20)], [(x, 0) for x in range(40, 60)]
    base = np.array([*left, *middle, *right, *rest], float)
    good = np.ones(len(base), bool)
    good[20 : 20 + len(middle)] = False
    return base, good


def followed(middle):
    base, good = bordered(middle)
    return with_detours(base[good], np.flatnonzero(good), base, lambda run: base[run]), base


def test_a_gap_that_is_straight_stays_bridged():
    came, base = followed([(x, 0.4) for x in range(20, 40)])
    assert len(came.places_px) == len(base) - 20
    assert not came.new.any()
    assert came.cut_off == ()


def test_a_bay_is_put_in_where_it_belongs():
    bay = [(20, y) for y in range(1, 10)] + [(x, 10) for x in range(20, 40)] + [(39, y) for y in range(9, 0, -1)]
    came, base = followed(bay)
    assert np.array_equal(came.places_px, base)
    assert came.new.sum() == len(bay)


def test_a_thin_spur_is_measured_and_cut_off():
    spur = [(30.0, -y) for y in range(1, 25)] + [(31.5, -y) for y in range(24, 0, -1)]
    came, base = followed([(x, 0.0) for x in range(20, 30)] + spur + [(x, 0.0) for x in range(32, 40)])
    assert len(came.places_px) < len(base)
    (cut,) = came.cut_off
    assert cut.long_px == pytest.approx(24)
    assert cut.tip_px[1] == pytest.approx(-24)
    assert 0.5 < cut.wide_px < 1.5


def test_nothing_is_put_in_where_there_is_no_half_level():
    base, good = bordered([(20, y) for y in range(1, 10)] + [(39, y) for y in range(9, 0, -1)])
    came = with_detours(base[good], np.flatnonzero(good), base, lambda run: np.full((len(run), 2), np.nan))
    assert len(came.places_px) == good.sum()
