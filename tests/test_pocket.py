"""The offset against two offset libraries, and the pocket against what clearance and kerf are to achieve."""

from __future__ import annotations

import numpy as np
import pyclipr
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.cutting.pocket import offset_rings, quadrant_segments, quiet_ring
from digitize.errors import UsageError
from digitize.fitting.bulge import curve_area, curve_ring, path_radii
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.fitting.shapes import offset_shape, recognise
from digitize.measure.rings import signed_area
from digitize.records import Circle, Path
from tests import strategies as s
from tests.pockets import pocket_of

TOLERANCE = 0.02
SQUARE = np.array([[0, 0], [20, 0], [20, 20], [0, 20.0]])
_SIDES = [(np.linalg.matrix_power(np.array([[0.0, 1.0], [-1.0, 0.0]]), k), corner) for k, corner in enumerate(SQUARE)]


def circle(radius: float, centre: tuple[float, float] = (0, 0), *, hole: bool = False) -> s.Ring:
    angle = np.linspace(0, 2 * np.pi, int(2 * np.pi * radius / 0.042), endpoint=False) * (-1 if hole else 1)
    return np.array(centre) + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def along(curve: Path | Circle) -> s.Ring:
    """Points on the written path, 0.05 mm apart at most."""
    return shapely.get_coordinates(shapely.segmentize(shapely.Polygon(curve_ring(curve, chord_mm=1e-5)).exterior, 0.05))


def distance_to_edge(points: s.Ring, ring: s.Ring) -> s.Ring:
    return distance_to_edges(points, shapely.Polygon(ring))


def distance_to_edges(points: s.Ring, region: shapely.Geometry) -> s.Ring:
    """By a tree of the edge's sides: hundreds of times faster than a distance to the whole line."""
    lines = [np.asarray(line.coords) for line in shapely.get_parts(region.boundary)]
    tree = shapely.STRtree(shapely.linestrings(np.concatenate([np.stack([line[:-1], line[1:]], 1) for line in lines])))
    return tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)[1]


# the offset


@pytest.mark.parametrize(
    ("outline", "distance"),
    [(s.id1_card(), -2.0), (s.star(5, 30, 13), 3.0), (s.star(5, 30, 13), -0.5), (s.scallops(12, 30, 3.0), 0.11)],
    ids=str,
)
def test_offset_agrees_with_a_second_library(outline: s.Outline, distance: float) -> None:
    """pyclipr (Clipper2) offsets the same ring; its arc tolerance and grid are set far below a micrometre."""
    ring, _ = outline.sampled(spacing=0.2, corners=True)
    ours = offset_rings(ring, (), distance, chord_mm=1e-4)
    engine = pyclipr.ClipperOffset()
    engine.scaleFactor = 1_000_000
    engine.arcTolerance = 100  # in units of the scale: 1e-4 mm
    engine.addPath(ring, pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    theirs = shapely.union_all([shapely.Polygon(path) for path in engine.execute(distance)])
    mine = shapely.union_all([shapely.Polygon(part.exterior_mm, part.holes_mm) for part in ours])
    assert mine.symmetric_difference(theirs).area < 2e-4 * theirs.length
    one, other = (shapely.get_coordinates(g) for g in (mine, theirs))
    assert distance_to_edges(one, theirs).max() < 0.0005
    assert distance_to_edges(other, mine).max() < 0.0005


def test_offset_keeps_direction_and_makes_islands() -> None:
    ring = np.array([[0, 0], [30, 0], [30, 30], [16, 30], [16, 29], [20, 25], [20, 10], [10, 10], [10, 25], [14, 29]])
    ring = np.vstack([ring, [[14, 30], [0, 30.0]]])
    (grown,) = offset_rings(ring, (), 1.5, chord_mm=1e-3)
    assert signed_area(grown.exterior_mm) > 0
    assert len(grown.holes_mm) == 1
    assert signed_area(grown.holes_mm[0]) < 0
    (backwards,) = offset_rings(ring[::-1], (), 1.5, chord_mm=1e-3)
    assert signed_area(backwards.exterior_mm) == pytest.approx(signed_area(grown.exterior_mm))


def test_offset_inward_parts_and_vanishes() -> None:
    dumbbell = np.array([[0, 0], [10, 0], [10, 4], [20, 4], [20, 0], [28, 0], [28, 10], [20, 10], [20, 6], [10, 6]])
    dumbbell = np.vstack([dumbbell, [[10, 10], [0, 10.0]]])
    parts = offset_rings(dumbbell, (), -1.2, chord_mm=1e-3)
    into_neck = np.sqrt(1.2**2 - 1)  # the offset is an arc about the neck's corners, and the neck is 2 mm wide
    widths = [float(np.ptp(part.exterior_mm[:, 0])) for part in parts]
    assert widths == pytest.approx([10 - 1.2 - into_neck, 8 - 1.2 - into_neck], abs=0.002)
    assert offset_rings(dumbbell, (), -6.0, chord_mm=1e-3) == []


def test_holes_shrink_outward_grow_inward_and_close() -> None:
    holes = (circle(4, (6, 10)), circle(1, (15, 10), hole=True))
    for distance, expected in ((0.5, [0.5, 3.5]), (-0.5, [1.5, 4.5]), (1.5, [2.5])):
        (part,) = offset_rings(SQUARE, holes, distance, chord_mm=1e-4)
        radii = sorted(float(np.sqrt(-signed_area(hole) / np.pi)) for hole in part.holes_mm)
        assert radii == pytest.approx(expected, abs=0.002)


def test_corners_are_round() -> None:
    (rounded,) = offset_rings(SQUARE, (), 2.0, chord_mm=1e-4)
    assert shapely.Polygon(rounded.exterior_mm).area == pytest.approx(20**2 + 4 * 20 * 2 + np.pi * 4, abs=0.002)


@pytest.mark.parametrize("radius", [0.05, 0.3, 3.0, 30.0])
@pytest.mark.parametrize("chord", [0.0001, 0.002])
def test_chords_of_round_corners_stray_no_farther_than_asked(radius: float, chord: float) -> None:
    turned = SQUARE @ np.array([[np.cos(0.3), np.sin(0.3)], [-np.sin(0.3), np.cos(0.3)]])
    (part,) = offset_rings(turned, (), radius, chord_mm=chord)
    middles = (part.exterior_mm + np.roll(part.exterior_mm, -1, axis=0)) / 2
    short = radius - distance_to_edge(middles, turned)
    assert short.max() <= chord + 1e-9
    assert short.max() > chord / 10 or quadrant_segments(radius, chord) == 4


# the pocket


@pytest.mark.parametrize("kerf", [0.0, 0.18])
@pytest.mark.parametrize(
    "outline", [s.id1_card(), s.star(5, 30, 13), s.constant_width(7, 27.3), s.wave(8, 20, 6.0)], ids=str
)
def test_every_point_of_the_path_is_the_offset_away_from_the_edge(outline: s.Outline, kerf: float) -> None:
    ring, _ = outline.sampled(noise=0.002, seed=1, corners=True)
    truth, _ = outline.sampled(spacing=0.01, corners=True)
    pocket = pocket_of(ring, clearance_mm=0.2, kerf_mm=kerf)
    (curve,) = pocket.curves
    away = distance_to_edge(along(curve), truth) - (0.2 - kerf / 2)
    assert np.abs(away).max() < TOLERANCE
    assert abs(away.mean()) < 0.001
    reference = shapely.Polygon(truth).buffer(0.2 - kerf / 2, quad_segs=256)
    assert shapely.Polygon(along(curve)).symmetric_difference(reference).area < 0.003 * reference.length


def test_kerf_and_clearance_leave_the_gap_that_was_asked_for() -> None:
    """What is left after the beam: the pocket's wall is clearance away from the item, the peg's from the hole."""
    outside, hole = circle(20), circle(5, (4, 0), hole=True)
    pocket = pocket_of(outside, (hole,), clearance_mm=0.25, kerf_mm=0.2, cut_holes=True)
    beams = [shapely.Polygon(along(curve)).exterior.buffer(0.1, quad_segs=128) for curve in pocket.curves]
    peg_beam, wall_beam = beams
    wall_radius = shapely.Polygon(wall_beam.exterior).bounds[2]
    assert wall_radius == pytest.approx(20 + 0.25, abs=0.002)
    peg = shapely.Polygon(peg_beam.interiors[0])
    assert (peg.bounds[2] - peg.bounds[0]) / 2 == pytest.approx(5 - 0.25, abs=0.002)


def test_chain_shows_each_allowance_once() -> None:
    pocket = pocket_of(circle(10), clearance_mm=0.2, kerf_mm=0.18)
    assert [(link.name, link.offset_mm) for link in pocket.chain] == [("clearance", 0.2), ("kerf", -0.09)]
    (curve,) = pocket.curves
    assert isinstance(curve, Circle)
    assert curve.radius_mm == pytest.approx(10 + sum(link.offset_mm for link in pocket.chain), abs=1e-5)
    assert (pocket.clearance_mm, pocket.kerf_mm, pocket.cutter_mm) == (0.2, 0.18, 0.0)


def test_circle_is_offset_by_formula() -> None:
    ring = circle(10)
    noisy = ring * (1 + 0.0003 * np.random.default_rng(2).standard_normal(len(ring)))[:, None]
    item, (pocket,) = fit_curve(make_ring(noisy)), pocket_of(noisy, clearance_mm=0.5).curves
    assert isinstance(item, Circle)
    assert isinstance(pocket, Circle)
    assert pocket.radius_mm - item.radius_mm == pytest.approx(0.5, abs=1e-4)


IDEAL = [s.id1_card(), s.slot(30, 8), s.polygon("plate", SQUARE * [2, 1]), s.regular(6, 20.0), s.regular(5, 12.0)]


@pytest.mark.parametrize("distance", [0.75, -0.75])
@pytest.mark.parametrize("outline", IDEAL, ids=str)
def test_ideal_shape_is_offset_by_formula(outline: s.Outline, distance: float) -> None:
    """Shapely offsets the outline without noise; a hole's ring runs and moves the other way."""
    ring, _ = outline.sampled(noise=0.002, seed=5, angle=0.7)
    truth, _ = outline.sampled(spacing=0.005, angle=0.7, corners=True)
    reference = shapely.Polygon(truth).buffer(distance, quad_segs=256)
    for direction in (1, -1):
        shape = recognise(make_ring(ring[::direction]))
        assert shape is not None
        curve = offset_shape(shape, distance)
        assert curve is not None
        assert np.sign(curve_area(curve)) == direction
        assert shapely.Polygon(along(curve)).symmetric_difference(reference).area < 0.001 * reference.length
    assert offset_shape(shape, -50.0) is None


def test_ideal_pocket_of_an_ideal_item() -> None:
    ring, _ = s.id1_card().sampled(noise=0.002, seed=6)
    (curve,) = pocket_of(ring, clearance_mm=0.3, kerf_mm=0.2, ideal=True).curves
    assert isinstance(curve, Path)
    assert path_radii(curve)[1::2] == pytest.approx(np.full(4, 3.18 + 0.2), abs=0.003)
    # exactly parallel sides, which a fit does not give
    sides = np.diff(curve.points_mm, axis=0)[::2]
    assert abs(sides[0] @ sides[1]) < 1e-9 * np.hypot(*sides[0]) * np.hypot(*sides[1])
    other, _ = s.wave(8, 20, 6.0).sampled(noise=0.002, seed=7)
    assert len(pocket_of(other, clearance_mm=0.3, ideal=True).curves[0].bulges) == 16


def test_holes_are_not_cut_unless_asked_for_and_inner_cuts_come_first() -> None:
    hole = circle(5, hole=True)
    assert len(pocket_of(circle(20), (hole,), clearance_mm=0.2).curves) == 1
    inner, outer = pocket_of(s.id1_card().sampled()[0], (hole,), clearance_mm=0.2, cut_holes=True).curves
    assert isinstance(inner, Circle)
    assert inner.radius_mm == pytest.approx(4.8, abs=0.001)
    assert curve_area(outer) > 4612


def test_hole_too_small_for_a_peg_is_said() -> None:
    pocket = pocket_of(circle(20), (circle(0.2, hole=True),), clearance_mm=0.3, cut_holes=True)
    assert [finding.code for finding in pocket.findings] == ["peg-too-small"]
    assert len(pocket.curves) == 1


def test_opening_that_closes_is_said() -> None:
    ring = np.array([[0, 0], [30, 0], [30, 30], [15.2, 30], [15.2, 20], [20, 20], [20, 10], [10, 10], [10, 20]])
    ring = np.vstack([ring, [[15, 20], [15, 30], [0, 30.0]]])
    pocket = pocket_of(ring, clearance_mm=0.3)
    assert [finding.code for finding in pocket.findings] == ["opening-closed"]
    assert len(pocket.curves) == 1


def test_outline_narrower_than_the_beam_falls_apart_or_has_no_path() -> None:
    neck = np.array([[0, 0], [10, 0], [10, 4.9], [20, 4.9], [20, 0], [30, 0], [30, 10], [20, 10], [20, 5.1], [10, 5.1]])
    neck = np.vstack([neck, [[10, 10], [0, 10.0]]])
    pocket = pocket_of(neck, clearance_mm=0.0, kerf_mm=0.3)
    assert [finding.code for finding in pocket.findings] == ["pocket-in-parts"]
    assert len(pocket.curves) == 2
    none = pocket_of(circle(0.2), clearance_mm=0.0, kerf_mm=0.5)
    assert [(finding.code, finding.attention) for finding in none.findings] == [("no-path", True)]
    assert none.curves == ()


@pytest.mark.parametrize("widths", [(-0.1, 0.2), (0.1, -0.2), (np.nan, 0.2), (0.1, np.inf)])
def test_widths_that_cannot_be_meant_are_refused(widths: tuple[float, float]) -> None:
    with pytest.raises(UsageError, match=r"--(clearance|kerf) (-0\.1|-0\.2|nan|inf): expected 0 to"):
        pocket_of(circle(10), clearance_mm=widths[0], kerf_mm=widths[1])


def test_arcs_come_out_as_arcs() -> None:
    ring, _ = s.id1_card().sampled(noise=0.002, seed=3)
    (curve,) = pocket_of(ring, clearance_mm=0.5, kerf_mm=0.0).curves
    assert isinstance(curve, Path)
    assert len(curve.bulges) == 8
    (curve,) = pocket_of(s.star(5, 30, 13).sampled(corners=True)[0], clearance_mm=0.5).curves
    assert isinstance(curve, Path)
    assert len(curve.bulges) == 15  # a round corner at each tip


def test_noise_of_the_edge_does_not_push_the_pocket_out() -> None:
    """An offset follows the outermost points: with 5 um of noise the bare offset lies several micrometres out."""
    outline = s.id1_card()
    ring, _ = outline.sampled(noise=0.005, seed=4)
    truth = shapely.Polygon(outline.sampled(spacing=0.01)[0]).buffer(0.5, quad_segs=256)
    bare = offset_rings(ring, (), 0.5, chord_mm=1e-4)[0].exterior_mm
    assert (shapely.Polygon(bare).area - truth.area) / truth.length > 0.003
    quiet = offset_rings(quiet_ring(make_ring(ring)).points_mm, (), 0.5, chord_mm=1e-4)[0].exterior_mm
    assert abs(shapely.Polygon(quiet).area - truth.area) / truth.length < 0.001
    (curve,) = pocket_of(ring, clearance_mm=0.5).curves
    assert abs(curve_area(curve) - truth.area) / truth.length < 0.001


def test_corners_hidden_by_noise_are_those_of_the_known_lines() -> None:
    """No mean can be taken at a corner: single points there lie as far off as their noise, the lines do not."""
    side = np.linspace(0.0, 20.0, 400, endpoint=False)
    edge = np.concatenate([np.column_stack([side, 0 * side]) @ turn + corner for turn, corner in _SIDES])
    noisy = make_ring(edge + np.random.default_rng(4).normal(0.0, 0.01, edge.shape))
    known = Path(SQUARE, np.zeros(4))
    at_corner = shapely.distance(shapely.MultiPoint(SQUARE), shapely.points(noisy.points_mm)) < 0.4

    def off(curve: Path | None, tolerance_mm: float) -> float:
        points = quiet_ring(noisy, curve, tolerance_mm=tolerance_mm).points_mm[at_corner]
        return float(shapely.distance(shapely.Polygon(SQUARE).exterior, shapely.points(points)).max())

    assert off(None, TOLERANCE) > 0.015
    assert off(known, TOLERANCE) < 1e-6
    assert off(known, 0.1) == off(None, TOLERANCE)  # a tolerance that noise does not hide: each point counts as it is


@settings(max_examples=12, deadline=None, derandomize=True)
@given(s.rings(), st.floats(0.05, 3.0))
def test_random_pocket_is_the_offset_away(ring: s.Ring, clearance: float) -> None:
    pocket = pocket_of(ring, clearance_mm=clearance)
    for curve in pocket.curves:
        assert np.abs(distance_to_edge(along(curve), ring) - clearance).max() <= TOLERANCE + 0.001


@settings(max_examples=12, deadline=None, derandomize=True)
@given(s.rings(), st.floats(0.05, 3.0))
def test_out_then_in_covers_the_original_and_in_then_out_lies_inside(ring: s.Ring, distance: float) -> None:
    original = shapely.Polygon(ring)
    for first, covers in ((distance, True), (-distance, False)):
        (part, *_) = offset_rings(ring, (), first, chord_mm=1e-4) or [None]
        if part is None:
            continue
        back = offset_rings(part.exterior_mm, part.holes_mm, -first, chord_mm=1e-4)
        returned = shapely.union_all([shapely.Polygon(b.exterior_mm, b.holes_mm) for b in back])
        inner, outer = (original, returned) if covers else (returned, original)
        assert inner.difference(outer.buffer(0.001)).area < 1e-9


def test_small_rounded_corners_stay_arcs_and_long_sides_straight():
    """A sharp rectangle moved by 0.11 mm: sharp corners again would be within 0.02 mm, if the sides were bent."""
    sides = [(0, 0), (60, 0), (60, 40), (0, 40)]
    ring = np.concatenate(
        [np.linspace(a, b, 1000, endpoint=False) for a, b in zip(sides, [*sides[1:], sides[0]], strict=True)]
    )
    pocket = pocket_of(ring, clearance_mm=0.2, kerf_mm=0.18)
    (path,) = pocket.curves
    straight = path.bulges == 0
    assert straight.sum() == 4
    np.testing.assert_allclose(path.bulges[~straight], np.tan(np.pi / 8), atol=0.005)
    chords = np.roll(path.points_mm, -1, axis=0) - path.points_mm
    assert np.abs(chords[straight]).min(axis=1).max() < 0.0005
