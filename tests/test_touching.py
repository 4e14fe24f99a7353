"""Outlines of two items in touch are said to be that; designed inner corners are not."""

import numpy as np
import pytest
import shapely

from digitize.edge.touching import perhaps_two
from tests.truth import zoo
from tests.truth.shapes import Shape, circle, rectangle, rounded

STEP_MM = 0.08  # between points of a dense outline at 300 dpi


def dense(outline):
    """Points of a polygon's outer ring, counter-clockwise, as near as a scan gives them."""
    ring = shapely.geometry.polygon.orient(outline, 1.0).exterior
    return shapely.get_coordinates(shapely.segmentize(ring, STEP_MM))[:-1]


def body(shape, at=(0.0, 0.0), angle=0.0):
    return shapely.Polygon(shape.outer.placed(at, angle).polygon(1e-3))


def together(*bodies):
    """Outline of bodies in touch; blur fills the narrowest of the gap."""
    return dense(shapely.union_all(bodies).buffer(0.05).buffer(-0.05))


def said(ring):
    return [(finding.code, finding.attention) for finding in perhaps_two(ring)]


FOB = Shape(rounded([(-16, -20), (15, -20), (17, 2), (5, 24), (-5, 24), (-18, 0)], [9, 7, 12, 5, 5, 12]))
PAIRS = {
    "fob and rectangle": together(body(FOB), body(Shape(rectangle(20, 30)), (26.2, -3))),
    "coin and small coin": together(body(zoo.coin("2-euro")), body(Shape(circle(12)), (18.6, 0))),
    "disc and rectangle": together(body(Shape(circle(20))), body(Shape(rectangle(15, 40)), (17.3, 0))),
    "corner on a side": together(body(Shape(rectangle(20, 20)), angle=45), body(Shape(rectangle(30, 10)), (0, 18.8))),
    "like halves": together(body(Shape(circle(20))), body(Shape(circle(20)), (19.9, 0))),
}


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("angle_deg", [0, 37])
def test_two_items_in_touch_are_said(pair, angle_deg):
    ring = PAIRS[pair] @ turned(angle_deg)
    assert said(ring) == [("perhaps-two-items", True)]
    assert "two items that touch" in perhaps_two(ring)[0].message


def turned(angle_deg):
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[c, s], [-s, c]])


def test_the_width_between_the_corners_is_told():
    # two circles of radius r at a distance d cross in two points 2 sqrt(r^2 - d^2 / 4) apart
    crossing = shapely.union_all([body(Shape(circle(20))), body(Shape(circle(20)), (19.0, 0))])
    (finding,) = perhaps_two(dense(crossing))
    assert finding.value == pytest.approx(2 * np.sqrt(10**2 - 9.5**2), abs=4 * STEP_MM)


@pytest.mark.parametrize("name", [*zoo.BLANKS, *zoo.PUBLISHED])
def test_blanks_of_one_piece_are_not(name):
    shape = {**zoo.BLANKS, **zoo.PUBLISHED}[name]()
    assert said(dense(body(shape))) == []


ONE_PIECE = {
    "T": [(-3, 0), (3, 0), (3, 20), (15, 20), (15, 26), (-15, 26), (-15, 20), (-3, 20)],
    "arrow": [(-3, 0), (3, 0), (3, 20), (12, 20), (0, 40), (-12, 20), (-3, 20)],
    "L": [(0, 0), (30, 0), (30, 10), (10, 10), (10, 40), (0, 40)],
}


@pytest.mark.parametrize("name", ONE_PIECE)
def test_designed_inner_corners_are_not(name):
    assert said(dense(shapely.Polygon(ONE_PIECE[name]))) == []


def test_a_tab_in_its_cleft_is_not():
    # an ear of 3 % of the area at a disc
    assert said(together(body(Shape(circle(30))), body(Shape(circle(5)), (17.3, 0)))) == []


def notched(opening_deg, depth, *, length=60.0, lean_deg=0.0):
    """A strip 20 mm wide with two V cut into it across from each other, a third of the way along it.

    An opening of 60 degrees is an inner corner that turns by 120; leaning, the two point past one another.
    """
    at, half = length / 3, np.radians(opening_deg / 2)
    left, right = (depth * np.tan(side * half + np.radians(lean_deg)) for side in (-1, 1))
    top = [(length, 20), (at - left, 20), (at, 20 - depth), (at - right, 20), (0, 20)]
    low = [(0, 0), (at - right, 0), (at, depth), (at - left, 0), (length, 0)]
    return dense(shapely.Polygon([*low, *top]))


@pytest.mark.parametrize(
    ("opening_deg", "depth", "length", "two"),
    [
        (50, 4.0, 60, True),  # a cleft, sharper than any corner of a square cutter
        (90, 4.0, 60, False),  # a notch cut by a square corner
        (90, 7.0, 60, False),  # the neck is 6 mm of 20
        (90, 8.5, 60, True),  # the neck is 3 mm of 20
        (153, 8.6, 150, True),  # beside a narrow neck a turn by 27 degrees will do
        (166, 8.6, 260, False),  # one by 14 is a waist
    ],
)
def test_clefts_and_necks_are_two_items_and_notches_are_not(opening_deg, depth, length, two):
    assert bool(said(notched(opening_deg, depth, length=length))) == two


def test_clefts_that_point_past_one_another_are_not():
    assert said(notched(30, 4.0, lean_deg=0)) != []
    assert said(notched(30, 4.0, lean_deg=58)) == []
