"""An item's height taken out of its silhouette: the exact shadow of a prism, from the truth's own camera, is undone."""

from __future__ import annotations

import numpy as np
import pytest

from digitize.camera.lens import Lens
from digitize.camera.pose import Pose
from digitize.camera.scale import CameraScale
from digitize.edge.height import flat_ring, upright_ring
from digitize.records import Contour
from tests.sweeps import sweep
from tests.truth.camera import camera
from tests.truth.lid_shapes import scaled
from tests.truth.photo import hidden_rings
from tests.truth.scenes import shape_of
from tests.truth.score import compare
from tests.truth.shapes import Shape, circle, rectangle, ring

EYE = camera((0, 0), 330, tilt_deg=8, tilt_towards_deg=40, roll_deg=5, k1=0.04, k2=-0.01)
SCALE = CameraScale(Lens(EYE.focal_px, tuple(EYE.principal_px), EYE.k1, EYE.k2), Pose(EYE.rotation, EYE.translation))
SHAPES = ("key-fob", "tag", "heart", "plaque", "pebble", "hook", "star", "scalloped", "heptagon")
PLACES = [(0.0, 0.0), (60.0, 20.0)]


def silhouette(shape: Shape, height_mm: float, noise_px: float = 0.0, *, eye=EYE) -> list[Contour]:
    """Contours about 1 px apart of what the prism hides, its own corners among the points."""
    rng = np.random.default_rng(4)
    contours = []
    for i, hidden in enumerate(hidden_rings(shape, height_mm, eye)):
        px, corner = _even(eye.to_px(hidden))
        px = px + rng.normal(0, noise_px, px.shape)
        mm = eye.to_plane(px)
        area = (mm[:, 0] * np.roll(mm[:, 1], -1) - np.roll(mm[:, 0], -1) * mm[:, 1]).sum()
        if (area > 0) != (i == 0):
            px, corner = px[::-1], corner[::-1]
        corners = tuple(np.flatnonzero(corner).tolist())
        contours.append(Contour(px, np.full(len(px), 0.02), corners, i > 0, 0.8, 0.5))
    return contours


def _even(points):
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    back, ahead = points - np.roll(points, 1, 0), np.roll(points, -1, 0) - points
    turn = np.arctan2(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (ahead * back).sum(1))
    corners = along[np.flatnonzero(np.abs(turn) > 0.25)]
    at = np.arange(int(along[-1])) * along[-1] / int(along[-1])
    if len(corners):
        at = at[np.abs(at[:, None] - corners).min(1) > 0.4]
    at = np.sort(np.concatenate([at, corners]))
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in range(2)]), np.isin(at, corners)


def measured(shape: Shape, height_mm: float, noise_px: float = 0.0, *, said_mm: float | None = None):
    said = height_mm if said_mm is None else said_mm
    return [upright_ring(contour, SCALE, said) for contour in silhouette(shape, height_mm, noise_px)]


def score(rings, truth):
    return compare(rings[0].points_mm, [r.points_mm for r in rings[1:]], truth)


@pytest.mark.parametrize("place", PLACES)
@sweep("name", SHAPES, ("key-fob", "tag", "plaque", "pebble", "star"))
def test_upright_items_come_out_true(name, place):
    truth = shape_of(name).placed(place, 33)
    found = score(measured(truth, 3.0), truth)
    assert abs(found.bias_um) < 0.3
    assert found.p95_um < 1.0
    assert found.max_um < 12


@pytest.mark.parametrize("name", ["key-fob", "tag", "star", "scalloped", "heptagon"])
def test_noise_stays_noise(name):
    """0.02 px of noise along either axis are some 2 um: nothing more comes of it than three deviations and a bit."""
    truth = shape_of(name).placed((60, 20), 33)
    found = score(measured(truth, 3.0, 0.02), truth)
    assert abs(found.bias_um) < 0.5
    assert found.p95_um < 5
    assert found.max_um < 35


def test_one_plane_alone_is_off_by_what_the_parallax_says():
    """Uncorrected, a disc of 3 mm is too large: its far side by v h / (Z - h), v the distance from below the eye."""
    truth = Shape(circle(60, (110.0, 40.0)))
    contour = silhouette(truth, 3.0)[0]
    below, z = EYE.eye_mm[:2], EYE.eye_mm[2]
    rest = truth.outer.signed_distance(flat_ring(contour, SCALE).points_mm)
    away = np.array([110.0, 40.0]) - below
    far = np.linalg.norm(away) + 30.0
    assert rest.max() == pytest.approx(far * 3.0 / (z - 3.0), rel=0.01)
    on_top = truth.outer.signed_distance(flat_ring(contour, SCALE.at_height(3.0)).points_mm)
    near = np.linalg.norm(away) - 30.0
    assert on_top.max() == pytest.approx(near * 3.0 / z, rel=0.01)


@pytest.mark.parametrize("error", [-0.3, 0.3])
def test_a_wrong_height_shows(error):
    """The correction is no guess: a height read wrongly moves the far edges by its share of the parallax."""
    truth = shape_of("pebble").placed((60, 20), 0)
    good, bad = (score(measured(truth, 3.0, said_mm=3.0 + e), truth).max_um for e in (0.0, error))
    assert good < 1.0
    assert 15 < bad < 120


@pytest.mark.parametrize("tilt", [6, 12, 16, 20, 26])
def test_a_round_hole_of_which_a_lens_is_seen_is_the_whole_hole(tilt):
    """Through 5.9 mm at 22 degrees a hole of 4.2 mm shows a lens less than half as wide, between two of its edges."""
    eye = camera((0, 0), 330, tilt_deg=tilt, tilt_towards_deg=40, k1=0.04, focal_px=2300)
    scale = CameraScale(Lens(eye.focal_px, tuple(eye.principal_px), eye.k1, 0.0), Pose(eye.rotation, eye.translation))
    truth = Shape(rectangle(40, 30), (circle(4.2, (9.0, -4.0)),))
    _, lens = silhouette(truth, 5.9, 0.02, eye=eye)
    hole = upright_ring(lens, scale, 5.9)
    off = np.linalg.norm(hole.points_mm - (9.0, -4.0), axis=1) - 2.1
    assert np.sqrt(np.mean(off**2)) < 0.006
    assert np.abs(off).max() < 0.015
    assert hole.hidden == ("round" if tilt >= 12 else "")
    said_wrong = upright_ring(lens, scale, 5.8)  # both sides nearer by 0.1 mm of height times the tilt, no more
    moved = np.linalg.norm(said_wrong.points_mm - (9.0, -4.0), axis=1) - 2.1
    assert np.abs(moved).max() < 0.015 + 0.1 * np.tan(np.radians(tilt + 2))


def test_a_hole_half_hidden_that_is_not_round_is_a_guess_and_one_that_is_seen_is_none():
    eye = camera((0, 0), 330, tilt_deg=24, tilt_towards_deg=0)
    scale = CameraScale(Lens(eye.focal_px, tuple(eye.principal_px), 0.0, 0.0), Pose(eye.rotation, eye.translation))
    square, disc = rectangle(3.6, 9.0, 0, (9.0, -4.0)), circle(14.0, (-9.0, 4.0))
    contours = silhouette(Shape(rectangle(40, 30), (square, disc)), 6.0, 0.02, eye=eye)
    left_to_right = sorted(contours[1:], key=lambda one: one.points_px[:, 0].mean())
    assert [upright_ring(one, scale, 6.0).hidden for one in (contours[0], *left_to_right)] == ["", "", "guess"]


def test_corners_are_where_they_are():
    truth = Shape(rectangle(40, 30, 0, (50, -30)))
    ring_ = measured(truth, 3.0)[0]
    assert len(ring_.corners) == 4
    for corner in truth.outer.corners():
        assert np.linalg.norm(ring_.points_mm[list(ring_.corners)] - corner, axis=1).min() < 0.002


def test_inside_corner_of_two_kinds_of_wall():
    """An L: the inside corner is hidden where one leg faces the camera and the other does not; both legs tell it."""
    l_shape = Shape(ring([(0, 0), (40, 0), (40, 14), (14, 14), (14, 40), (0, 40)])).placed((40, -60), 80)
    ring_ = measured(l_shape, 4.0)[0]
    inside = l_shape.outer.points[3]
    gap = np.linalg.norm(ring_.points_mm - inside, axis=1).min()
    assert gap < 0.003
    assert np.linalg.norm(ring_.points_mm[list(ring_.corners)] - inside, axis=1).min() < 0.01


def test_a_bend_where_both_planes_meet_is_no_corner():
    """A small pebble: its bend where near and far walls meet is seen, and not made anew as a corner."""
    truth = scaled(shape_of("pebble"), 0.4)
    assert score(measured(truth, 3.0), truth).max_um < 3.0


def test_holes_are_widened():
    """Through a 6 mm hole in 5 mm of wood less is seen than the hole: the part that neither plane shows is bridged."""
    truth = Shape(circle(40, (110, 40)), (circle(6, (110, 40)),))
    contours = silhouette(truth, 5.0)
    away = np.array([110.0, 40.0]) - EYE.eye_mm[:2]
    seen = np.ptp(flat_ring(contours[1], SCALE).points_mm @ away) / np.linalg.norm(away)
    assert seen == pytest.approx(6 - np.linalg.norm(away) * 5 / (EYE.eye_mm[2] - 5), abs=0.06)
    hole = upright_ring(contours[1], SCALE, 5.0)
    assert (hole.source < 0).sum() > 3  # points put in
    assert np.abs(truth.holes[0].signed_distance(hole.points_mm)).max() < 0.01
    assert np.ptp(hole.points_mm, axis=0) == pytest.approx((6.0, 6.0), abs=0.01)


def test_no_height_changes_nothing():
    contour = silhouette(shape_of("tag").placed((20, 10), 10), 0.0)[0]
    ring_ = upright_ring(contour, SCALE, 0.0)
    assert np.array_equal(ring_.points_mm, SCALE.to_mm(contour.points_px))
    assert ring_.corners == contour.corners


def test_sources_name_the_picture_s_points():
    contour = silhouette(shape_of("key-fob").placed((20, 10), 10), 3.0)[0]
    ring_ = upright_ring(contour, SCALE, 3.0)
    low, top = SCALE.to_mm(contour.points_px), SCALE.at_height(3.0).to_mm(contour.points_px)
    known = ring_.source >= 0
    assert known.mean() > 0.9
    expected = np.where(ring_.on_top[known, None], top[ring_.source[known]], low[ring_.source[known]])
    assert np.array_equal(ring_.points_mm[known], expected)
