"""Lines and arcs against outlines whose pieces are known, and the measuring of distance against planted faults."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from ezdxf.math import arc_to_bulge
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.errors import UsageError
from digitize.fitting import fit as fitting
from digitize.fitting.blocks import solve_ring
from digitize.fitting.bulge import (
    bulge_to_sweep,
    curve_area,
    curve_ring,
    make_path,
    moved_circle,
    path_kinks,
    path_points,
    path_radii,
    reversed_curve,
)
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring, noise_sd, smoothed_ring
from digitize.fitting.shapes import recognise
from digitize.measure.rings import signed_area
from digitize.records import Circle, Path
from tests import strategies as s
from tests.near import distances
from tests.sweeps import sweep

TOLERANCE = 0.02
ZOO = s.zoo()
NAMES = [outline.name for outline in ZOO]


def pieces(curve: Path | Circle) -> int:
    return 1 if isinstance(curve, Circle) else len(curve.bulges)


def length_of(curve: Path | Circle) -> float:
    """Shapely's length of the curve drawn with chords."""
    return float(shapely.Polygon(curve_ring(curve, chord_mm=1e-6)).length)


def is_simple(curve: Path | Circle) -> bool:
    return bool(shapely.is_valid(shapely.polygons(curve_ring(curve, chord_mm=1e-3))))


# the fit on known outlines


@pytest.mark.parametrize("noise", [0.0, 0.003], ids=["exact", "3 um"])
@sweep("outline", ZOO, ("constant width 7", "star 5", "scallops 24", "tag with lug"), ids=str)
def test_known_outline_gives_its_own_pieces(outline: s.Outline, noise: float) -> None:
    ring, _ = outline.sampled(noise=noise, seed=1, angle=0.3)
    fitted = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE)
    assert isinstance(fitted, Path)
    assert len(fitted.bulges) == outline.count
    to_ring, from_ring, mean = two_sided_distance(fitted, ring)
    assert max(to_ring, from_ring) <= TOLERANCE
    assert abs(mean) < 0.0003
    truth, _ = outline.sampled(spacing=0.01, angle=0.3, corners=True)
    assert max(two_sided_distance(fitted, truth)[:2]) < 0.001 + 1.2 * noise
    assert is_simple(fitted)
    assert curve_area(fitted) > 0


@sweep("outline", ZOO, ("ID-1 card", "star 12", "wave 8"), ids=str)
def test_noise_of_half_the_tolerance_costs_no_pieces(outline: s.Outline) -> None:
    ring, _ = outline.sampled(noise=0.01, seed=2)
    fitted = fit_curve(make_ring(ring), tolerance_mm=TOLERANCE)
    assert pieces(fitted) <= outline.count + 1
    truth, _ = outline.sampled(spacing=0.01, corners=True)
    to_truth, from_truth, mean = two_sided_distance(fitted, truth)
    # cusps that the samples cut off are missed by a little more than the tolerance
    assert max(to_truth, from_truth) < 1.5 * TOLERANCE
    assert abs(mean) < 0.001


@pytest.mark.parametrize("outline", [o for o in ZOO if o.tangent], ids=[o.name for o in ZOO if o.tangent])
def test_tangent_joints_stay_tangent(outline: s.Outline) -> None:
    ring, _ = outline.sampled(noise=0.003, seed=3)
    fitted = fit_curve(make_ring(ring))
    assert isinstance(fitted, Path)
    assert np.degrees(np.abs(path_kinks(fitted))).max() < 0.5


@pytest.mark.parametrize("outline", [o for o in ZOO if not o.tangent], ids=[o.name for o in ZOO if not o.tangent])
def test_sharp_corners_stay_sharp_and_in_place(outline: s.Outline) -> None:
    ring, corners = outline.sampled(noise=0.002, seed=4, corners=True)
    fitted = fit_curve(make_ring(ring, corners))
    assert isinstance(fitted, Path)
    assert len(fitted.bulges) == outline.count
    gaps = np.hypot(*(outline.starts()[:, None] - fitted.points_mm[None]).transpose(2, 0, 1)).min(axis=1)
    kinks = np.degrees(np.abs(path_kinks(fitted)))
    sharp = np.sort(kinks)[::-1][: outline.count - (2 if outline.name == "tag with lug" else 0)]
    assert sharp.min() > 5
    # a joint of a shallow corner is less sure along the path than across it
    assert gaps.max() < 0.03


def test_corner_given_is_kept_where_a_smooth_joint_would_do() -> None:
    ring, _ = s.rounded_rectangle(40, 25, 5).sampled()
    marked = (100, len(ring) // 2)
    fitted = fit_curve(make_ring(ring, marked))
    for index in marked:
        assert np.hypot(*(fitted.points_mm - ring[index]).T).min() < 0.05


def test_corner_of_two_degrees_is_kept() -> None:
    # 2 degrees over 20 mm sides: 0.17 mm from the straight line
    ring, _ = s.polygon("bent", np.array([[0, 0], [20, 0.35], [40, 0], [40, 20], [0, 20]])).sampled(noise=0.001)
    fitted = fit_curve(make_ring(ring))
    assert pieces(fitted) == 5
    assert np.all(fitted.bulges == 0)


def test_id1_card() -> None:
    """ISO/IEC 7810 ID-1 with corner radius 3.18: area 4612.007 mm2, perimeter 273.701 mm (computed)."""
    ring, _ = s.id1_card().sampled(noise=0.003, seed=5, angle=0.2)
    fitted = fit_curve(make_ring(ring))
    assert isinstance(fitted, Path)
    radii = path_radii(fitted)
    assert np.sum(np.isfinite(radii)) == 4
    assert radii[np.isfinite(radii)] == pytest.approx(3.18, abs=0.010)
    assert curve_area(fitted) == pytest.approx(4612.007, abs=0.05)
    assert length_of(fitted) == pytest.approx(273.701, abs=0.01)


def test_constant_width_heptagon() -> None:
    """Width 27.3: perimeter pi * width = 85.77 (Barbier), area 575.3."""
    ring, corners = s.constant_width(7, 27.3).sampled(noise=0.003, seed=6, corners=True)
    fitted = fit_curve(make_ring(ring, corners))
    assert isinstance(fitted, Path)
    assert len(fitted.bulges) == 7
    assert path_radii(fitted) == pytest.approx(27.3, abs=0.2)
    assert length_of(fitted) == pytest.approx(85.77, abs=0.01)
    assert curve_area(fitted) == pytest.approx(575.3, abs=0.1)


@pytest.mark.parametrize("diameter", [25.75, 23.25], ids=["2 euro", "1 euro"])
def test_circle_is_recognised(diameter: float) -> None:
    """Diameters: Council Regulation (EC) No 975/98."""
    angle = np.linspace(0, 2 * np.pi, int(np.pi * diameter / 0.042), endpoint=False)
    radius = diameter / 2 + 0.003 * np.random.default_rng(7).standard_normal(len(angle))
    fitted = fit_curve(make_ring(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]) + (30, 40)))
    assert isinstance(fitted, Circle)
    assert 2 * fitted.radius_mm == pytest.approx(diameter, abs=0.001)
    assert fitted.centre_mm == pytest.approx((30, 40), abs=0.001)


# the fit on shapes of no lines and arcs


@pytest.mark.parametrize(("a", "b"), [(40.0, 25.0), (12.0, 10.0), (20.0, 8.0)])
def test_ellipse_takes_no_more_arcs_than_theory_asks_for(a: float, b: float) -> None:
    """Joined arcs of length l stray from a curve by k' l^3 (1/6) (1/8) (2/sqrt(27)) where curvature changes at rate k'.

    The largest value of |x^3 - x| on [-1, 1] is 2/sqrt(27) = 0.385: the cubic of an arc that meets its neighbours
    on the curve. The count is the integral of 1 / l, with the l that uses up the tolerance.
    """
    angle = np.linspace(0, 2 * np.pi, 200_001)
    speed = np.hypot(a * np.sin(angle), b * np.cos(angle))
    curvature = a * b / speed**3
    along = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(angle))])
    slope = np.abs(np.gradient(curvature, along))
    # density of pieces 1 / l with l^3 = tolerance * 48 / (0.385 k')
    density = np.cbrt(slope * 0.385 / 48 / TOLERANCE)
    expected = float(np.sum((density[1:] + density[:-1]) / 2 * np.diff(along)))
    fitted = fit_curve(make_ring(s.ellipse(a, b)))
    assert max(two_sided_distance(fitted, s.ellipse(a, b))[:2]) <= TOLERANCE
    assert pieces(fitted) <= np.ceil(expected) + 1


@settings(max_examples=8, deadline=None, derandomize=True)
@given(s.rings(), st.sampled_from([0.01, 0.02, 0.1]))
def test_random_ring_keeps_the_promise(ring: s.Ring, tolerance: float) -> None:
    fitted = fit_curve(make_ring(ring), tolerance_mm=tolerance)
    to_ring, from_ring, mean = two_sided_distance(fitted, ring)
    assert max(to_ring, from_ring) <= tolerance
    assert abs(mean) < max(0.001, tolerance / 20)
    assert is_simple(fitted)
    assert np.sign(curve_area(fitted)) == np.sign(signed_area(ring))


def test_a_ring_three_tolerances_off_a_circle_is_none() -> None:
    assert not isinstance(fit_curve(make_ring(s.ellipse(10.0, 10.06)), tolerance_mm=0.01), Circle)
    assert isinstance(fit_curve(make_ring(s.ellipse(10.0, 10.006)), tolerance_mm=0.01), Circle)
    aslant = s.ellipse(10.0, 10.06) @ np.array([[1, 1], [-1, 1]]) / np.sqrt(2.0)  # as wide as it is high
    assert not isinstance(fit_curve(make_ring(aslant), tolerance_mm=0.01), Circle)


@pytest.mark.parametrize(("bulge", "simple"), [(3e-4, True), (-3e-4, False)])
def test_an_arc_that_crosses_its_neighbour_by_nanometres_at_a_needles_tip_is_seen(bulge: float, simple: bool) -> None:
    """From a tip at (5, 12) back beside the line that comes from (5, 10): by this bulge 4 nm on its other side."""
    points = [(0, 0), (10, 0), (10, 10), (5, 10), (5, 12), (4.9995, 11), (3, 10), (0, 10)]
    path = make_path(np.array(points, float), np.array([0, 0, 0, 0, bulge, 0, 0, 0], float))
    assert fitting.is_simple(path, 0.02) == simple


@pytest.mark.parametrize("outline", [ZOO[0], ZOO[8]], ids=[NAMES[0], NAMES[8]])
def test_count_does_not_depend_on_pose_scale_start_or_direction(outline: s.Outline) -> None:
    ring, _ = outline.sampled(noise=0.002, seed=8)
    turned, _ = outline.sampled(noise=0.002, seed=8, angle=1.1)
    others = {
        "turned": fit_curve(make_ring(turned)),
        "started elsewhere": fit_curve(make_ring(np.roll(ring, 1234, axis=0))),
        "far away": fit_curve(make_ring(ring + np.array([5000.0, -3000.0]))),
        "ten times the size": fit_curve(make_ring(10 * ring), tolerance_mm=10 * TOLERANCE),
        "backwards": fit_curve(make_ring(ring[::-1])),
    }
    assert {name: pieces(fitted) for name, fitted in others.items()} == dict.fromkeys(others, outline.count)
    assert curve_area(others["backwards"]) < 0 < curve_area(others["turned"])


def test_sparse_ring_is_taken_as_the_polyline_it_is() -> None:
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10.0]])
    fitted = fit_curve(make_ring(square))
    assert pieces(fitted) == 4
    assert max(two_sided_distance(fitted, square)[:2]) < 1e-9


def test_needle_thinner_than_the_tolerance_is_kept() -> None:
    # a line up and back along the needle explains its points, but a path does not run backwards
    needle = np.array([[0, 0], [20, 0], [20, 10], [10.01, 10], [10, 30], [9.99, 10], [0, 10]])
    fitted = fit_curve(make_ring(needle))
    assert pieces(fitted) == 7
    assert max(two_sided_distance(fitted, needle)[:2]) <= TOLERANCE


def test_strip_thinner_than_twice_the_tolerance_does_not_fold_over() -> None:
    strip = np.array([[0, 0], [50, 0], [50, 0.03], [0, 0.03]])
    fitted = fit_curve(make_ring(strip))
    assert is_simple(fitted)
    assert max(two_sided_distance(fitted, strip)[:2]) <= TOLERANCE


@pytest.mark.parametrize(
    "ring",
    [np.zeros((5, 2)), np.array([[0, 0], [1, 1.0]]), np.array([[0, 0], [1, np.nan], [2, 0]]), np.zeros((4, 3))],
    ids=["no extent", "two points", "not finite", "three columns"],
)
def test_what_is_no_ring_is_refused(ring: s.Ring) -> None:
    with pytest.raises(UsageError):
        fit_curve(make_ring(ring))


@pytest.mark.parametrize("tolerance", [0.0, -1.0, np.nan, np.inf])
def test_tolerance_must_be_positive(tolerance: float) -> None:
    with pytest.raises(UsageError, match="tolerance"):
        fit_curve(make_ring(s.ellipse(5, 4)), tolerance_mm=tolerance)


# the measuring of distance, with planted faults


CARD, _ = s.id1_card().sampled(spacing=0.02)
CARD_PATH = fit_curve(make_ring(CARD), tolerance_mm=0.005)


def test_distance_of_the_right_curve_is_nearly_nothing() -> None:
    assert np.abs(two_sided_distance(CARD_PATH, CARD)).max() < 0.0002


def test_distance_sees_a_bump_of_the_ring() -> None:
    ring = CARD.copy()
    ring[700] += (0.0, 0.05) if abs(ring[700, 1]) > 20 else (0.05, 0.0)
    to_ring, from_ring, _ = two_sided_distance(CARD_PATH, ring)
    assert from_ring == pytest.approx(0.05, abs=0.002)
    assert to_ring < 0.02  # the path passes beside the spike and never comes to its tip


def test_distance_sees_a_spike_of_the_path() -> None:
    points, bulges = CARD_PATH.points_mm, CARD_PATH.bulges
    spiked = make_path(np.insert(points, 1, points[0] * 1.01, axis=0), np.insert(bulges, 0, 0.0))
    to_ring, from_ring, _ = two_sided_distance(spiked, CARD)
    assert to_ring > 0.25
    assert from_ring < to_ring


@sweep("piece", range(8), (0, 3, 7))
def test_distance_sees_a_wrong_bulge_in_any_piece(piece: int) -> None:
    bulges = CARD_PATH.bulges.copy()
    bulges[piece] += 0.02
    assert min(two_sided_distance(make_path(CARD_PATH.points_mm, bulges), CARD)[:2]) > 0.02


def test_distance_tells_the_side() -> None:
    angle = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    ring = 10 * np.column_stack([np.cos(angle), np.sin(angle)])
    for shift in (-0.003, 0.003):
        to_ring, from_ring, mean = two_sided_distance(Circle((0, 0), 10 + shift), ring)
        assert (to_ring, from_ring, mean) == pytest.approx((0.003, 0.003, shift), abs=2e-4)
        assert two_sided_distance(Circle((0, 0), 10 + shift), ring[::-1])[2] == pytest.approx(shift, abs=2e-4)


def test_mean_agrees_with_the_areas() -> None:
    ring, _ = s.wave(8, 20, 6.0).sampled(noise=0.003, seed=9)
    fitted = fit_curve(make_ring(ring), tolerance_mm=0.05)
    by_area = (curve_area(fitted) - signed_area(ring)) / length_of(fitted)
    assert two_sided_distance(fitted, ring)[2] == pytest.approx(by_area, abs=5e-5)


# bulges


def test_quarter_and_half_circle_have_the_bulges_of_the_dxf_reference() -> None:
    """bulge = tan(angle / 4): 90 degrees 0.414214, semicircle 1."""
    path = make_path(np.array([[1.0, 0], [0, 1], [0, -1]]), np.array([0.41421356237, 1.0, 0.0]))
    assert bulge_to_sweep(path.bulges) == pytest.approx([np.pi / 2, np.pi, 0], abs=1e-9)
    assert path_radii(path) == pytest.approx([1, 1, np.inf], abs=1e-9)
    middles = path_points(path, np.arange(3), np.full(3, 0.5))
    assert middles == pytest.approx(np.array([[0.70710678, 0.70710678], [-1, 0], [0.5, -0.5]]), abs=1e-8)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.tuples(st.floats(-100, 100), st.floats(-100, 100)),
    st.floats(0.1, 1000),
    st.floats(-3.1, 3.1),
    st.floats(0.01, 6.0) | st.floats(-6.0, -0.01),
)
def test_bulge_of_an_arc_gives_the_arc_again(
    centre: tuple[float, float], radius: float, angle: float, sweep: float
) -> None:
    """Ends and bulge as ezdxf writes them for an arc of known centre, radius and angles; a third of it along."""
    start, end, bulge = arc_to_bulge(centre, angle + min(sweep, 0), angle + max(sweep, 0), radius)
    path = make_path(np.array([start, end], dtype=float), np.array([bulge, 0.0]))
    assert bulge_to_sweep(path.bulges)[0] == pytest.approx(abs(sweep), abs=1e-9)
    assert path_radii(path)[0] == pytest.approx(radius, rel=1e-6)
    at = angle + min(sweep, 0) + abs(sweep) / 3
    place = np.array(centre) + radius * np.array([np.cos(at), np.sin(at)])
    assert np.abs(path_points(path, np.array([0]), np.array([1 / 3])) - place).max() < 1e-5 * radius + 1e-9


def test_flattened_curve_keeps_its_chord_error_area_and_length() -> None:
    outline = s.tag_with_lug()
    path = fit_curve(make_ring(outline.sampled(corners=True)[0]))
    for chord in (0.1, 0.01, 0.0001):
        ring = curve_ring(path, chord_mm=chord)
        truth, _ = outline.sampled(spacing=0.005, corners=True)
        assert two_sided_distance(path, ring)[1] < 1.01 * chord + 2e-4
        assert shapely.Polygon(ring).hausdorff_distance(shapely.Polygon(truth)) < chord + 0.005
    assert shapely.Polygon(ring).area == pytest.approx(curve_area(path), abs=0.02)
    assert shapely.Polygon(ring).length == pytest.approx(length_of(path), abs=0.01)


def test_reversed_curve() -> None:
    back = reversed_curve(CARD_PATH)
    assert curve_area(back) == pytest.approx(-curve_area(CARD_PATH))
    assert max(two_sided_distance(back, CARD)[:2]) < 0.0002
    assert reversed_curve(back).bulges == pytest.approx(CARD_PATH.bulges)
    assert moved_circle(Circle((1, 2), 3), 3, -4) == Circle((4, -2), 3)


# parts of the fit


def test_ring_of_blocks_is_solved_like_a_dense_system() -> None:
    rng = np.random.default_rng(10)
    for count in (2, 3, 7, 15, 16, 31, 64, 65):
        diagonal, upper = rng.standard_normal((count, 4, 4)), rng.standard_normal((count, 4, 4))
        diagonal = diagonal + np.swapaxes(diagonal, 1, 2) + 20 * np.eye(4)
        right = rng.standard_normal((count, 4))
        dense = np.zeros((4 * count, 4 * count))
        for k in range(count):
            a, b = slice(4 * k, 4 * k + 4), slice(4 * ((k + 1) % count), 4 * ((k + 1) % count) + 4)
            dense[a, a] += diagonal[k]
            dense[a, b] += upper[k]
            dense[b, a] += upper[k].T
        both = np.stack([right, right[::-1]], axis=2)
        solved = solve_ring(diagonal, upper, both).reshape(4 * count, 2)
        assert solved == pytest.approx(np.linalg.solve(dense, both.reshape(4 * count, 2)))


@pytest.mark.parametrize("noise", [0.001, 0.003, 0.01, 0.02])
def test_noise_is_estimated(noise: float) -> None:
    ring, _ = s.tag_with_lug().sampled(noise=noise, seed=11)
    assert noise_sd(ring) == pytest.approx(noise, rel=0.1)


def test_smoothing_leaves_arcs_and_corners_in_place() -> None:
    outline = s.tag_with_lug()
    ring, _ = outline.sampled(noise=0.003, seed=12, corners=True)
    truth, _ = outline.sampled(spacing=0.02, corners=True)
    smooth, changed, left = smoothed_ring(ring, sd_mm=0.003, residue_mm=0.0005)
    assert changed.mean() > 0.9
    assert noise_sd(smooth) < left < 0.0012
    edge = shapely.Polygon(truth).exterior
    to_truth = distances(smooth[::3], edge)
    assert np.sqrt(np.mean(np.square(to_truth))) < 0.0015
    assert np.max(to_truth) < 0.012


@pytest.mark.parametrize(
    "known",
    [s.id1_card(), s.slot(30, 8), s.polygon("plain", np.array([[0, 0], [70, 0], [70, 33.0], [0, 33]]))],
    ids=str,
)
def test_a_ring_whose_shape_is_known_is_fitted_from_there(known, monkeypatch):
    ring = make_ring(known.sampled(noise=0.002, seed=5)[0])
    looked_for = fit_curve(ring)
    shape = recognise(ring)
    kept = fitting.find_breaks
    monkeypatch.setattr(fitting, "find_breaks", None)
    fitted = fit_curve(ring, like=shape.curve)
    assert len(fitted.bulges) == known.count == len(looked_for.bulges)
    apart = np.abs(fitted.points_mm[:, None] - looked_for.points_mm).max(axis=2).min(axis=1)
    assert apart.max() < 1e-4
    monkeypatch.setattr(fitting, "find_breaks", kept)
    # a path of more pieces than are needed is not followed
    places, bulges = shape.curve.points_mm, shape.curve.bulges
    straight = int(np.flatnonzero(bulges == 0)[0])
    middle = (places[straight] + places[(straight + 1) % len(places)]) / 2
    longer = Path(np.insert(places, straight + 1, middle, axis=0), np.insert(bulges, straight + 1, 0.0))
    assert np.array_equal(fit_curve(ring, like=longer).points_mm, looked_for.points_mm)
