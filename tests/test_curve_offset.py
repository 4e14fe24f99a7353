"""Offsets of known lines and arcs: their own lines and arcs, against pencil and paper and two offset libraries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyclipr
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.cutting.curve_offset import as_curve, offset_paths
from digitize.cutting.judge import ByCurve
from digitize.cutting.make import cut_pocket
from digitize.cutting.pocket import offset_rings
from digitize.cutting.print_area import make_print_area
from digitize.cutting.sources import Sources, directed
from digitize.cutting.ways import Cutting
from digitize.fitting.bulge import curve_area, curve_ring, make_path, path_kinks, path_radii
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.fitting.track import Track, crossings
from digitize.records import Circle, Path
from tests import strategies as s
from tests.near import distances
from tests.sweeps import sweep

TOLERANCE = 0.02
L_SHAPE = np.array([[0, 0], [60, 0], [60, 20], [25, 20], [25, 45], [0, 45.0]])


def gear(teeth: int = 12, outer: float = 20.0, inner: float = 16.0) -> s.Outline:
    """Four lines a tooth: flank, top, flank, root."""
    step = 2 * np.pi / teeth
    turn = (np.arange(teeth)[:, None] * step + step * np.array([0.1, 0.2, 0.5, 0.6])).ravel()
    radius = np.tile([inner, outer, outer, inner], teeth)
    return s.polygon("gear", radius[:, None] * np.column_stack([np.cos(turn), np.sin(turn)]))


KNOWN = (*s.zoo(), gear(), s.polygon("L", L_SHAPE), s.regular(6, 20.0), s.rounded_rectangle(50, 30, 4))


def pocket_of(ring: s.Ring, **values) -> Path | Circle:
    (curve,) = cut_pocket((make_ring(ring),), (fit_curve(make_ring(ring)),), Cutting(**values)).curves
    return curve


def area_of(curve: Path | Circle) -> shapely.Polygon:
    return shapely.Polygon(curve_ring(curve, chord_mm=1e-4))


def apart(one: shapely.Polygon, other: shapely.Polygon) -> float:
    """The farthest that either edge strays from the other, by shapely, looked at every 0.05 mm."""
    edges = [shapely.segmentize(area.exterior, 0.05) for area in (one, other)]
    return max(float(distances(shapely.get_coordinates(edge), beside).max()) for edge, beside in (edges, edges[::-1]))


def rounded_corners(outline: s.Outline, distance: float) -> int:
    """How many sharp corners of an outline its offset rounds: those it opens, sharp ones more than half the tolerance
    farther out than round ones; |d| (1 / cos(turn / 2) - 1) by the triangle of corner, foot and tip."""
    ends = [piece.at(np.array([0.0, 1e-4, 1 - 1e-4, 1.0])) for piece in outline.pieces]
    leave = np.array([np.arctan2(*(e[1] - e[0])[::-1]) for e in ends])
    reach = np.array([np.arctan2(*(e[3] - e[2])[::-1]) for e in ends])
    turn = (leave - np.roll(reach, 1) + np.pi) % (2 * np.pi) - np.pi
    out = abs(distance) * (1 / np.cos(turn / 2) - 1)
    return int(np.sum((turn * np.sign(distance) > 0.01) & (out > TOLERANCE / 2)))


@pytest.mark.parametrize(("distance", "noise"), [(0.11, 0.01), (1.5, 0.003), (-0.5, 0.01)])  # mm
@sweep("outline", KNOWN, ("constant width 7", "scallops 24", "gear", "L"), ids=str)
def test_known_outline_keeps_its_own_pieces_when_offset(outline: s.Outline, distance: float, noise: float) -> None:
    """Each line stays a line and each arc an arc about its centre; corners that open get arcs of the distance."""
    ring, _ = outline.sampled(noise=noise, seed=1, angle=0.3, corners=True)
    fitted = fit_curve(make_ring(ring))
    (curve,) = make_print_area((make_ring(ring),), distance, curves=(fitted,))
    assert isinstance(curve, Path)
    assert len(curve.bulges) == outline.count + rounded_corners(outline, distance)
    assert np.sum(curve.bulges == 0) == sum(isinstance(piece, s.Line) for piece in outline.pieces)
    truth = shapely.Polygon(outline.sampled(spacing=0.01, angle=0.3, corners=True)[0])
    assert apart(area_of(curve), truth.buffer(distance, quad_segs=512)) < 0.004 + 0.8 * noise


def test_pocket_of_a_rectangle_is_a_rectangle_with_four_equal_arcs() -> None:
    ring, _ = s.polygon("rectangle", np.array([[0, 0], [70, 0], [70, 33.0], [0, 33]])).sampled(noise=0.003, seed=2)
    curve = pocket_of(ring, way="laser", clearance_mm=0.2, kerf_mm=0.18)
    assert isinstance(curve, Path)
    radii = path_radii(curve)
    assert np.sum(curve.bulges == 0) == 4
    assert radii[curve.bulges != 0] == pytest.approx(np.full(4, 0.11), abs=1e-9)
    assert np.degrees(np.abs(path_kinks(curve))).max() < 1e-6


def test_gear_keeps_its_lines_and_its_corners_are_alike() -> None:
    ring, corners = gear().sampled(noise=0.002, seed=3, corners=True)
    fitted = fit_curve(make_ring(ring, corners))
    (curve,) = cut_pocket((make_ring(ring),), (fitted,), Cutting(way="laser", clearance_mm=0.2, kerf_mm=0.18)).curves
    assert isinstance(curve, Path)
    assert np.sum(curve.bulges == 0) == 48
    assert path_radii(curve)[curve.bulges != 0] == pytest.approx(np.full(24, 0.11), abs=1e-9)
    sides = np.roll(curve.points_mm, -1, axis=0) - curve.points_mm
    lines = np.sort(np.arctan2(*sides[curve.bulges == 0].T[::-1]))
    own = np.roll(fitted.points_mm, -1, axis=0) - fitted.points_mm
    assert lines == pytest.approx(np.sort(np.arctan2(*own.T[::-1])), abs=1e-9)  # parallel to the gear's own


def test_five_corners_of_an_l_come_out_alike_and_the_sixth_stays_sharp() -> None:
    ring, _ = s.polygon("L", L_SHAPE).sampled(noise=0.003, seed=4)
    curve = pocket_of(ring, way="laser", clearance_mm=0.2, kerf_mm=0.18)
    assert isinstance(curve, Path)
    assert np.sum(curve.bulges == 0) == 6
    assert path_radii(curve)[curve.bulges != 0] == pytest.approx(np.full(5, 0.11), abs=1e-9)
    kinks = np.degrees(np.abs(path_kinks(curve)))
    assert np.sort(kinks)[-2:] == pytest.approx([0, 90], abs=0.1)


def test_arcs_keep_their_centres_and_vanish_where_the_offset_eats_them() -> None:
    ring, _ = s.rounded_rectangle(50, 30, 4).sampled(noise=0.002, seed=5)
    fitted = fit_curve(make_ring(ring))
    own = np.sort(path_radii(fitted)[fitted.bulges != 0])
    for distance, arcs in ((1.5, 4), (-1.5, 4), (-4.5, 0)):
        (curve,) = make_print_area((make_ring(ring),), distance, curves=(fitted,))
        assert np.sum(curve.bulges == 0) == 4
        assert np.sort(path_radii(curve)[curve.bulges != 0]) == pytest.approx((own + distance)[:arcs], abs=1e-9)


def test_every_way_of_cutting_keeps_the_lines() -> None:
    """60 x 40 mm with sharp corners. Router of 3 mm: corners of the path are sharp, or run out into their reliefs;
    knife: sharp; plug: arcs of clearance and draft, times 1 / (1 - 0.005); notches of 10 mm: arcs of 5 mm less half
    the kerf."""
    ring, _ = s.polygon("plate", np.array([[0, 0], [60, 0], [60, 40], [0, 40.0]])).sampled(noise=0.002, seed=6)
    router = pocket_of(ring, way="router", clearance_mm=0.15, cutter_mm=3.0, relief="diagonal")
    assert len(router.bulges) == 12
    assert not router.bulges.any()
    knife = pocket_of(ring, way="knife", clearance_mm=0.3, least_radius_mm=5.0)
    assert len(knife.bulges) == 4
    assert not knife.bulges.any()
    assert np.ptp(knife.points_mm, axis=0) == pytest.approx([60.6, 40.6], abs=0.003)
    plug = pocket_of(ring, way="former", clearance_mm=0.2, plug_height_mm=5, draft_deg=3, shrink_percent=0.5)
    corner = (0.2 + 5 * np.tan(np.radians(3))) / 0.995
    assert path_radii(plug)[plug.bulges != 0] == pytest.approx(np.full(4, corner), abs=1e-9)
    notched = pocket_of(ring, way="laser", clearance_mm=0.2, kerf_mm=0.18, notches=2, notch_width_mm=10)
    radii = np.sort(path_radii(notched)[notched.bulges != 0])
    assert radii == pytest.approx([*[0.11] * 4, 4.91, 4.91], abs=1e-9)
    assert np.sum(notched.bulges == 0) == 6


def test_inner_corners_of_a_routers_path_are_arcs_of_its_radius() -> None:
    """An L cut by 4 mm: at the inner corner of the item the centre goes around the pocket's own corner."""
    ring, _ = s.polygon("L", L_SHAPE).sampled(noise=0.002, seed=7)
    curve = pocket_of(ring, way="router", clearance_mm=0.3, cutter_mm=4.0, relief="none")
    assert np.sum(curve.bulges == 0) == 6
    assert path_radii(curve)[curve.bulges != 0] == pytest.approx([2.0], abs=1e-9)
    ends = np.array([[-2.0, 0.0], [0.0, -2.0]]) + np.array([25.3, 20.3])  # of the arc, about the pocket's corner
    for end in ends:
        assert np.hypot(*(curve.points_mm - end).T).min() < 0.01


def test_pegs_and_print_areas_of_holes_keep_theirs_too() -> None:
    """A square hole of 12 mm in a card: bleed rounds nothing of it, an inset rounds its corners."""
    ring, _ = s.rounded_rectangle(60, 40, 5).sampled(noise=0.002, seed=8)
    hole, _ = s.polygon("hole", np.array([[-6, -6], [6, -6], [6, 6], [-6, 6.0]])).sampled(noise=0.002, seed=9)
    hole = hole[::-1]
    rings = (make_ring(ring), make_ring(hole))
    curves = tuple(map(fit_curve, rings))
    for distance, arcs in ((1.0, []), (-1.0, [1.0] * 4)):
        inner, outer = make_print_area(rings, distance, curves=curves)
        assert np.sum(inner.bulges == 0) == np.sum(outer.bulges == 0) == 4
        assert curve_area(inner) < 0 < curve_area(outer)
        assert path_radii(inner)[inner.bulges != 0] == pytest.approx(arcs, abs=1e-9)
    peg, _ = cut_pocket(rings, curves, Cutting(clearance_mm=0.3, kerf_mm=0.1, cut_holes=True)).curves
    assert np.ptp(peg.points_mm, axis=0) == pytest.approx([11.5, 11.5], abs=0.004)
    assert len(peg.bulges) == 4


def test_outline_that_merges_or_parts_is_made_of_what_is_left() -> None:
    """A dumbbell with a neck of 2 mm, inset by 1.2 mm, falls in two: each keeps the lines of its half. A mouth of
    1 mm closes under 0.6 mm: the inner edge is of its own."""
    points = np.array([[0, 0], [10, 0], [10, 4], [20, 4], [20, 0], [28, 0], [28, 10], [20, 10], [20, 6], [10, 6]])
    dumbbell, corners = s.polygon("dumbbell", np.vstack([points, [[10, 10], [0, 10.0]]])).sampled(corners=True)
    for edge in make_print_area((make_ring(dumbbell),), -1.2, curves=(fit_curve(make_ring(dumbbell, corners)),)):
        assert np.sum(edge.bulges == 0) == 5  # four sides, the one at the neck in two
        assert path_radii(edge)[edge.bulges != 0] == pytest.approx([1.2, 1.2], abs=1e-6)
    mouth = np.array([[0, 0], [30, 0], [30, 30], [15.5, 30], [15.5, 20], [20, 20], [20, 10], [10, 10], [10, 20]])
    ring, corners = s.polygon("mouth", np.vstack([mouth, [[14.5, 20], [14.5, 30], [0, 30.0]]])).sampled(corners=True)
    inner, _ = make_print_area((make_ring(ring),), 0.6, curves=(fit_curve(make_ring(ring, corners)),))
    assert np.sum(inner.bulges == 0) == 5
    assert curve_area(inner) == pytest.approx(-(8.8 * 8.8), abs=0.5)


def test_without_curves_or_with_wrong_ones_the_dense_offset_is_followed() -> None:
    """A judge that believed any curve would let a pocket of another item through."""
    ring, _ = s.wave(8, 20, 6.0).sampled(noise=0.002, seed=10)
    truth = shapely.Polygon(s.wave(8, 20, 6.0).sampled(spacing=0.01)[0]).buffer(0.5, quad_segs=256)
    fitted = fit_curve(make_ring(ring))
    moved = make_path(fitted.points_mm + np.array([0.03, 0.0]), fitted.bulges)
    bent = make_path(fitted.points_mm, fitted.bulges * np.where(np.arange(len(fitted.bulges)) == 3, 1.02, 1.0))
    for curves in ((), (moved,), (bent,), (Circle((0.0, 0.0), 24.0),)):
        (curve,) = make_print_area((make_ring(ring),), 0.5, curves=curves)
        assert apart(area_of(curve), truth) < TOLERANCE


def test_judge_refuses_what_strays_what_crosses_itself_and_what_misses_a_corner() -> None:
    square = s.even(np.array([[0, 0], [20, 0], [20, 20], [0, 20.0]]), 0.05)
    path = make_path(np.array([[0, 0], [20, 0], [20, 20], [0, 20.0]]), np.zeros(4))
    known = ByCurve((path,))
    assert known.along(square, TOLERANCE) is path
    assert known.along(square, TOLERANCE, (0, 400)) is path
    assert known.along(square, TOLERANCE, (200,)) is None  # no vertex in the middle of a side
    middle = np.where(square[:, 1] == 0, np.abs(square[:, 0] - 10), np.inf)
    bump = square - np.where(middle < 0.12, 0.05, 0.0)[:, None] * [0, 1]
    assert known.along(bump, TOLERANCE) is None
    assert replace(known, noise_mm=0.02).along(bump, TOLERANCE) is not None  # 50 um may then be one noisy place
    wide = square - np.where(middle < 2, 0.05, 0.0)[:, None] * [0, 1]
    assert replace(known, noise_mm=0.02).along(wide, TOLERANCE) is None  # but not forty of them
    crossing = np.array([[0, 0], [20, 0], [20, 20], [10.004, 20], [9.996, 0.004], [9.99, 20], [0, 20.0]])
    assert ByCurve((make_path(crossing, np.zeros(7)),)).along(square, TOLERANCE) is None
    twist = np.array([[0, 0], [10.01, 0], [9.99, 0.001], [9.995, -0.001], [20, 0.0005], [20, 20], [0, 20.0]])
    assert ByCurve((make_path(twist, np.zeros(7)),)).along(square, TOLERANCE) is None


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.floats(0.55, 1.0), min_size=3, max_size=9), st.floats(5, 25), st.floats(0.05, 2.0), st.booleans())
def test_random_polygons_against_a_second_library(radii: list[float], size: float, far: float, inward: bool) -> None:
    """Clipper2 offsets the same polygon; the known path is within what a sharp corner may stand out."""
    turn = 2 * np.pi * np.arange(len(radii)) / len(radii)
    points = size * np.array(radii)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    distance = -far / 4 if inward else far
    dense = [part.exterior_mm for part in offset_rings(points, (), distance, chord_mm=1e-4)]
    paths = offset_paths([make_path(points, np.zeros(len(points)))], distance, dense, tolerance_mm=TOLERANCE)
    engine = pyclipr.ClipperOffset()
    engine.scaleFactor = 1_000_000
    engine.arcTolerance = 100  # in units of the scale: 1e-4 mm
    engine.addPath(points, pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    theirs = [shapely.Polygon(path) for path in engine.execute(distance)]
    assert len(paths) == len(dense) == len(theirs)
    for path, other in zip(paths, sorted(theirs, key=lambda one: -one.area), strict=True):
        assert apart(area_of(path), other) < TOLERANCE / 2 + 0.001
        assert np.sum(path.bulges == 0) <= 2 * len(points)


def test_circle_stays_a_circle_in_either_direction() -> None:
    for hole in (False, True):
        path = directed(Circle((3.0, 4.0), 5.0), hole=hole)
        assert np.sign(curve_area(path)) == (-1 if hole else 1)
        ring = curve_ring(Circle((3.0, 4.0), 4.25 if hole else 5.75), chord_mm=1e-4)[:: -1 if hole else 1]
        (moved,) = offset_paths([path], 0.75, [ring], tolerance_mm=TOLERANCE)
        assert as_curve(moved) == Circle(pytest.approx((3.0, 4.0)), pytest.approx(4.25 if hole else 5.75))
    assert isinstance(as_curve(make_path(np.array([[0, 0], [10, 0.0]]), np.array([1.0, 0.9]))), Path)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.2, 4), st.floats(0, 6.28), st.booleans())
def test_crossings_lie_on_both_and_are_as_many_as_shapely_finds(x, y, radius, angle, circles) -> None:
    one = Track(0j, 0j, 2.0, 1)
    ahead = complex(np.exp(1j * angle))
    other = Track(complex(x, y), 0j, radius, -1) if circles else Track(complex(x, y), ahead)
    disc = shapely.Point(0, 0).buffer(2.0, quad_segs=2000).exterior
    ends = [complex(x, y) + step * ahead for step in (-20, 20)]
    line = shapely.LineString([(z.real, z.imag) for z in ends])
    drawn = shapely.Point(x, y).buffer(radius, quad_segs=2000).exterior if circles else line
    found = crossings(one, other)
    for place in found:
        assert abs(place) == pytest.approx(2.0)
        assert shapely.distance(drawn, shapely.Point(place.real, place.imag)) < 1e-4
    far = abs(complex(x, y))
    grazes = (
        (abs(far - radius) - 2, far + radius - 2, far - 1e-6) if circles else (abs(((x + 1j * y) / ahead).imag) - 2,)
    )
    if min(np.abs(grazes)) > 1e-3:
        assert len(found) == len(shapely.get_coordinates(disc.intersection(drawn)))


def test_owners_are_those_of_shapely() -> None:
    """The nearest piece or vertex of a path of lines and arcs, looked up place by place."""
    fitted = fit_curve(make_ring(s.tag_with_lug().sampled(corners=True)[0]))
    sources = Sources((fitted,))
    places = np.random.default_rng(11).uniform([-8, -24], [84, 24], (400, 2))
    owner, away = sources.owners(places[:, 0] + 1j * places[:, 1])
    line = shapely.LinearRing(curve_ring(fitted, chord_mm=1e-6))
    assert away == pytest.approx(shapely.distance(line, shapely.points(places)), abs=1e-4)
    at_vertex = owner % 2 == 0
    gaps = np.hypot(*(places - fitted.points_mm[owner // 2]).T)
    assert gaps[at_vertex] == pytest.approx(away[at_vertex], abs=1e-9)
    assert 10 < at_vertex.sum() < 390
