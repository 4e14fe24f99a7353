"""What calipers read: closed forms, other libraries, and whole pictures set upright."""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

import digitize
from digitize.measure.jaws import convex_hull, extents, jaws
from digitize.opencv import cv
from digitize.recipe.rings import Rings
from digitize.recipe.upright import set_upright
from digitize.records import turning
from digitize.write.preview.marks import outline_marks
from tests.made import circle_ring, rounded_ring

WITHIN = 0.02
TURNS = st.floats(-math.pi, math.pi)
HEXAGON = np.array([(10 * math.cos(k * math.pi / 3), 10 * math.sin(k * math.pi / 3)) for k in range(6)])
TRIANGLE = np.array([(0.0, 0.0), (30.0, 0.0), (15.0, 15 * math.sqrt(3))])
ELLIPSE = np.array([(30 * math.cos(t), 20 * math.sin(t)) for t in np.linspace(0, math.tau, 4000, endpoint=False)])
HALF = np.array([(20 * math.cos(t), 20 * math.sin(t)) for t in np.linspace(0, math.pi, 3001)])
# length and width; the ellipse and the half disc to the chords between their points
KNOWN = {
    "hexagon": (HEXAGON, 20.0, 10 * math.sqrt(3)),  # across corners, across flats
    "triangle": (TRIANGLE, 30.0, 15 * math.sqrt(3)),  # side, height
    "ellipse": (ELLIPSE, 60.0, 40.0),
    "half disc": (HALF, 40.0, 20.0),
    "tag": (rounded_ring(60, 40, 6), 60.0, 40.0),
    "square": (rounded_ring(50, 50, 3), 50.0, 50.0),
    "L": (np.array([(0, 0), (50, 0), (50, 10), (10, 10), (10, 30), (0, 30.0)]), 50.0, 30.0),
}


@pytest.mark.parametrize("name", KNOWN)
@given(TURNS)
def test_known_shapes_read_as_the_formulas_say_however_they_lie(name, turn):
    ring, length, width = KNOWN[name]
    read = jaws(ring @ turning(turn) + (1000.0, -300.0), within=WITHIN)
    assert (read.length, read.width) == pytest.approx((length, width), abs=1e-4)
    assert not read.is_round
    assert abs(read.turn) <= math.pi / 4 + 1e-9
    upright = jaws(ring @ turning(turn + read.turn), within=WITHIN)
    assert abs(upright.turn) < 0.002  # it is upright now
    assert (upright.length, upright.width) == pytest.approx((read.length, read.width), abs=1e-9)


POINTS = st.integers(0, 2**32 - 1).map(lambda seed: np.random.default_rng(seed).normal(size=(60, 2)) * (30.0, 12.0))


@given(POINTS)
def test_hull_and_extents_are_those_of_other_libraries(points):
    hull, other = convex_hull(points), shapely.convex_hull(shapely.multipoints(points))
    assert shapely.area(shapely.polygons(hull)) == pytest.approx(shapely.area(other), rel=1e-12)
    assert len(hull) == len(other.exterior.coords) - 1
    angles = np.linspace(-4, 7, 90)
    along = points @ np.array([np.cos(angles), np.sin(angles)])
    assert extents(hull, angles) == pytest.approx(np.ptp(along, axis=0), abs=1e-9)


@given(POINTS)
def test_no_direction_reads_less_and_the_length_is_along_the_jaws(points):
    read = jaws(points, within=1e-9)
    angles = np.linspace(0, math.pi, 7201)
    widths = np.ptp(points @ np.array([np.cos(angles), np.sin(angles)]), axis=0)
    step = math.pi / 7200 * float(np.ptp(points, axis=0).max())
    assert widths.min() - step <= read.width <= widths.min() + 1e-9
    frame = points @ turning(-read.direction)
    assert np.ptp(frame, axis=0) == pytest.approx((read.length, read.width), abs=1e-9)


@given(TURNS, st.floats(20, 100), st.floats(5, 19))
def test_a_rectangle_is_the_least_rectangle_of_other_libraries(turn, length, width):
    ring = rounded_ring(length, width, 2.0, count=30) @ turning(round(turn, 3))
    read = jaws(ring, within=WITHIN)
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.polygons(ring)))
    sides = sorted(np.hypot(*np.diff(box, axis=0)[:2].T))
    assert sides == pytest.approx([read.width, read.length], abs=1e-6)
    assert sorted(cv().minAreaRect(ring.astype(np.float32))[1]) == pytest.approx(sides, abs=1e-3)


def test_what_is_round_reads_its_diameter_twice_and_is_not_turned():
    noise = np.random.default_rng(4).normal(scale=0.003, size=(2000, 1))
    ring = circle_ring(7, 9, 20.0, count=2000)
    read = jaws((ring - (7, 9)) * (1 + noise / 20), within=WITHIN)
    assert (read.is_round, read.direction, read.turn) == (True, 0.0, 0.0)
    assert read.length == read.width == pytest.approx(40.0, abs=0.025)
    # F. Reuleaux's triangle has the same width in every direction, its side
    arcs = [
        corner + 30 * np.array([(math.cos(t), math.sin(t)) for t in np.linspace(a, a + math.pi / 3, 300)])
        for corner, a in zip(TRIANGLE, (0.0, 2 * math.pi / 3, 4 * math.pi / 3), strict=True)
    ]
    read = jaws(np.concatenate(arcs), within=WITHIN)
    assert read.is_round
    assert read.length == pytest.approx(30.0, abs=1e-3)


@pytest.fixture(scope="module")
def fobs():
    given = {"square_mm": 30, "clearance_mm": 0.2, "kerf_mm": 0.18}
    picture = "samples/fobs.jpg"
    return digitize.outline(picture, **given), digitize.outline(picture, upright=True, **given)


def test_upright_changes_the_frame_and_nothing_else(fobs):
    laid, upright = fobs
    assert all(item.rotation_deg == 0 for item in laid.items)
    assert any(abs(item.rotation_deg) > 1 for item in upright.items)
    drawn = [
        {item.name: one.exterior for item, one in zip(here.items, outline_marks(here.result, here.scale), strict=True)}
        for here in fobs
    ]
    for one, two in zip(laid.items, upright.items, strict=True):
        assert two.calipers.length_mm == pytest.approx(one.calipers.length_mm, abs=1e-9)
        assert two.calipers.width_mm == pytest.approx(one.calipers.width_mm, abs=1e-9)
        assert two.symmetry.axes_deg == pytest.approx((90,), abs=0.01)  # the fobs have one mirror axis, and hang by it
        assert two.area_mm2 == pytest.approx(one.area_mm2, rel=1e-9)
        for here, there in ((laid, one), (upright, two)):
            zero = here.scale.to_mm(np.array([there.origin_px]))
            back = here.scale.to_px(there.as_laid(there.exterior_mm) + zero)
            assert np.abs(back - there.contours[0].points_px).max() < 1e-6
        (said,) = [finding for finding in two.findings if finding.code == "set-upright"]
        assert said.value == pytest.approx(abs(two.rotation_deg))
        (drawn_one, drawn_two) = (marks[two.name] for marks in drawn)
        assert Polygon(drawn_one).hausdorff_distance(Polygon(drawn_two)) < 0.5  # px: each within the tolerance
        assert two.pocket.curves[0].points_mm.min(axis=0) == pytest.approx((-0.11, -0.11), abs=0.05)


def test_the_document_tells_sizes_figures_and_turn(fobs):
    _, upright = fobs
    for item, written in zip(upright.items, json.loads(upright.to_document())["items"], strict=True):
        assert written["placement"]["rotation_deg"] == pytest.approx(item.rotation_deg, abs=1e-8)
        read = written["calipers"]
        assert read["length_mm"] == pytest.approx(item.calipers.length_mm, abs=1e-4)
        stated = written["uncertainty_mm"]["length_k2"]
        k2 = math.hypot(stated["offset"], stated["per_metre"] * read["width_mm"] / 1000)
        assert read["width_k2_mm"] == pytest.approx(k2, abs=1e-6)
        frame = item.exterior_mm @ turning(-math.radians(read["direction_deg"]))
        assert np.ptp(frame, axis=0) == pytest.approx((read["length_mm"], read["width_mm"]), abs=1e-3)


def test_what_would_come_too_close_upright_lies_in_rows_and_it_is_said():
    """Slips in an echelon, in reading order: upright each reaches beside its neighbour."""
    at = [(0, 0), (14, 8), (28, 16), (42, 24)]
    slip = rounded_ring(60, 12, 2) @ turning(math.radians(40))
    work = [placed(slip - slip.min(axis=0) + place) for place in at]
    upright, (said,) = set_upright(work, within_mm=WITHIN)
    assert (said.code, said.attention) == ("upright-rows", False)
    boxes = [shapely.box(*rings.corner, *(rings.corner + rings.own[0].max(axis=0))) for rings in upright]
    apart = [one.distance(other) for n, one in enumerate(boxes) for other in boxes[:n]]
    assert min(apart) == pytest.approx(10.0)
    assert [rings.own[0].max(axis=0) for rings in upright] == [pytest.approx((60, 12), abs=1e-6)] * 4
    assert [box.centroid.y for box in boxes] == sorted((box.centroid.y for box in boxes), reverse=True)
    assert [rings.turn for rings in upright] == [pytest.approx(-math.radians(40), abs=1e-4)] * 4
    far, said = set_upright([placed(slip), placed(slip + np.array((0.0, 70.0)))], within_mm=WITHIN)
    assert said == ()
    middle = slip.min(axis=0) + np.ptp(slip, axis=0) / 2
    assert far[0].corner + np.array((30, 6)) == pytest.approx(middle, abs=1e-6)


def placed(ring_mm):
    low = ring_mm.min(axis=0)
    return Rings((), low, (ring_mm - low,), ((),), ())
