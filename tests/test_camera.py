"""Lens, pose and their least squares, against the truth's own camera and against OpenCV."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from digitize.camera import estimate
from digitize.camera.estimate import Print, RingReport, Square, estimate_camera
from digitize.camera.focal import lens_from_exif
from digitize.camera.honest import solve_honestly
from digitize.camera.lens import Lens, focal_from_35mm
from digitize.camera.pose import Pose, focal_from_map, plane_map, pose_from_map, turning
from digitize.camera.scale import CameraScale
from digitize.camera.sides import SidePlaces
from digitize.camera.solve import Evidence, Model, Prior, Sides, residuals, solve
from digitize.errors import ScaleError
from digitize.reading.picture import read_picture
from digitize.records import CameraTag
from tests.truth.camera import Camera, camera

EYE = camera((5, -8), 330, tilt_deg=9, tilt_towards_deg=50, roll_deg=7, k1=0.04, k2=-0.008, principal_shift_px=(9, -12))


def lens_of(eye: Camera) -> Lens:
    return Lens(eye.focal_px, tuple(eye.principal_px), eye.k1, eye.k2, eye.k3)


def scale_of(eye: Camera) -> CameraScale:
    return CameraScale(lens_of(eye), Pose(eye.rotation, eye.translation))


def grid(half: float = 120.0, count: int = 9) -> np.ndarray:
    t = np.linspace(-half, half, count)
    return np.array([(x, y) for x in t for y in t])


# --- lens and mapping --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "bent", [(0.05, 0.0), (-0.05, 0.01), (0.12, -0.03), (-0.2, 0.05), (0.0, 0.0), (0.1, -0.25, 0.15), (0.0, 0.0, 0.02)]
)
def test_lens_and_its_inverse(bent):
    lens = Lens(3100.0, (2010.0, 1490.0), *bent)
    px = np.random.default_rng(1).uniform((0, 0), (4031, 3023), (500, 2))
    assert lens.to_px(lens.to_directions(px)) == pytest.approx(px, abs=1e-8)


def test_beyond_the_fold_of_a_lens_told_badly_places_are_finite_and_in_order():
    """Told by one small square of a real photo: seen radii end at 0.787, the picture's corner lies at 0.797."""
    lens = Lens(3145.6, (2015.0, 1511.8), -0.0696, -0.1274, -0.0158)
    px = np.linspace((2015.0, 1511.8), (4031.0, 3023.0), 200)
    radius = np.hypot(*lens.to_directions(px).T)
    assert np.isfinite(radius).all()
    assert (np.diff(radius) > 0).all()
    inner = radius < 0.75
    assert lens.to_px(lens.to_directions(px))[inner] == pytest.approx(px[inner], abs=1e-8)


def test_lens_is_opencv_s():
    lens = replace(lens_of(EYE), k3=0.05)
    matrix = np.array([[lens.focal_px, 0, lens.centre_px[0]], [0, lens.focal_px, lens.centre_px[1]], [0, 0, 1]])
    rays = np.column_stack([np.random.default_rng(2).uniform(-0.6, 0.6, (200, 2)), np.ones(200)])
    px, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, np.array([lens.k1, lens.k2, 0.0, 0.0, lens.k3]))
    assert lens.to_px(rays[:, :2]) == pytest.approx(px[:, 0], abs=1e-9)


@pytest.mark.parametrize("height", [0.0, 3.0, 25.0])
def test_mapping_is_the_truth_s(height):
    scale = scale_of(EYE).at_height(height)
    px = EYE.to_px(grid(), height)
    assert scale.to_px(grid()) == pytest.approx(px, abs=1e-9)
    assert scale.to_mm(px) == pytest.approx(grid(), abs=1e-9)


@pytest.mark.parametrize("height", [1.0, 3.0, 12.0])
def test_parallax(height):
    """A place at height h is seen Z / (Z - h) farther from the place below the camera."""
    scale = scale_of(EYE)
    px = scale.at_height(height).to_px(grid())
    below, z = EYE.eye_mm[:2], EYE.eye_mm[2]
    assert scale.to_mm(px) == pytest.approx(below + (grid() - below) * z / (z - height), abs=1e-8)
    assert scale.distance_mm == pytest.approx(z, abs=1e-9)


def test_what_is_known_of_a_lens_beforehand():
    """Of 4032 px; a phone's main lens: 27 mm give or take a third, k1 and k2 as phones' pictures have them."""
    unknown, told = lens_from_exif(None, 4032, 3024), lens_from_exif(CameraTag(focal_35mm=26), 4032, 3024)
    assert unknown.sd == pytest.approx([0.35, 12, 12, 0.06, 0.2], rel=0.02)
    # EXIF rounds to whole millimetres (1.1 % of 26), one phone is not another (1 %), and it tells the focal length at
    # infinity: at 250 mm, 5 mm are 5.1 (2 %); squares add
    assert told.sd == pytest.approx([0.025, 12, 12, 0.06, 0.2], rel=0.05)
    assert (unknown.source, told.source) == ("none", "exif")


def test_focal_length_of_exif():
    # 24 x 36 mm has a diagonal of 43.267 mm; 4000 x 3000 px one of 5000 px: 26 mm are 26 / 43.267 x 5000 px.
    assert focal_from_35mm(26, 4000, 3000) == pytest.approx(3004.6, abs=0.1)
    known = lens_from_exif(CameraTag(focal_35mm=26), 4000, 3000)
    assert (known.source, known.sd[0]) == ("exif", 0.026)
    assert lens_from_exif(CameraTag(focal_mm=4.2), 4000, 3000).source == "none"
    assert lens_from_exif(None, 4000, 3000).sd[0] > 0.2


TAKEN = CameraTag(focal_mm=50, focal_px=10_000.0, taken_px=(4800.0, 3200.0))


@pytest.mark.parametrize(("size", "focal"), [((4800, 3200), 10_000), ((3200, 4800), 10_000), ((1200, 800), 2500)])
def test_focal_length_by_the_sensor_is_that_of_the_picture_upright_and_made_smaller(size, focal):
    known = lens_from_exif(TAKEN, *size)
    assert (known.source, known.lens.focal_px) == ("exif", focal)
    # a tenth of the focal length farther out at a tenth of life size; a hundredth of the corner's distance
    assert known.sd[0] == pytest.approx(0.1, abs=0.03)
    corner = (np.hypot(4800, 3200) / 2 / 10_000) ** 2
    assert known.sd[3] * corner == pytest.approx(0.01, rel=0.05)


def test_focal_length_by_the_sensor_gives_way_to_the_equivalent_and_says_nothing_of_what_was_cut():
    both = replace(TAKEN, focal_35mm=26)
    assert lens_from_exif(both, 4800, 3200).lens == lens_from_exif(CameraTag(focal_35mm=26), 4800, 3200).lens
    assert lens_from_exif(TAKEN, 4800, 2700).source == "none"
    assert lens_from_exif(TAKEN, 2000, 2000).source == "none"
    assert lens_from_exif(replace(TAKEN, focal_px=100.0), 4800, 3200).source == "none"
    wide = replace(TAKEN, focal_px=3500.0)  # as a phone's main lens sees, it may bend as one does
    assert lens_from_exif(wide, 4800, 3200).sd[3] == lens_from_exif(both, 4800, 3200).sd[3]


# --- first guesses -----------------------------------------------------------------------------------------------


def corners(side: float = 50.0, at=(0.0, 0.0)) -> np.ndarray:
    h = side / 2
    return np.array([(-h, h), (h, h), (h, -h), (-h, -h)]) + at


def test_pose_of_exact_corners_is_solvepnp_s():
    lens, mm = lens_of(EYE), corners(at=(-40.0, 12.0))
    px = EYE.to_px(mm)
    own = pose_from_map(plane_map(lens.to_directions(px), mm))
    matrix = np.array([[lens.focal_px, 0, lens.centre_px[0]], [0, lens.focal_px, lens.centre_px[1]], [0, 0, 1]])
    _, turn, shift = cv2.solvePnP(
        np.column_stack([mm, np.zeros(4)]), px, matrix, np.array([lens.k1, lens.k2, 0, 0]), flags=cv2.SOLVEPNP_ITERATIVE
    )
    assert own.rotation == pytest.approx(cv2.Rodrigues(turn)[0], abs=1e-5)
    assert own.shift_mm == pytest.approx(shift.ravel(), rel=1e-5, abs=1e-3)
    assert own.rotation == pytest.approx(EYE.rotation, abs=1e-6)
    assert own.tilt_deg == pytest.approx(9.0, abs=1e-4)


def test_places_on_one_line_are_refused():
    along = np.array([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, 0.0)])
    with pytest.raises(ScaleError, match="far aside"):
        plane_map(along, corners())


def test_focal_length_from_perspective():
    eye = camera((0, 0), 300, tilt_deg=25, tilt_towards_deg=40, focal_px=2950)
    matrix = plane_map(eye.to_px(corners()), corners())
    assert focal_from_map(matrix, eye.principal_px) == pytest.approx(2950, rel=1e-6)
    straight = camera((0, 0), 300, focal_px=2950)
    assert focal_from_map(plane_map(straight.to_px(corners()), corners()), straight.principal_px) is None


# --- least squares -----------------------------------------------------------------------------------------------

MAT = [(x, y) for x in (-120, -40, 40, 120) for y in (-80, 80)]


def evidence(eye: Camera, places=MAT, *, side=30.0, noise=0.0, alike=1, seed=0, shifted=()) -> Evidence:
    """Places along the sides of squares as the truth's camera sees them, with noise across the sides.

    So many neighbours are `alike`: they have the same noise.
    """
    rng = np.random.default_rng(seed)
    axis, place, ring, px, of = [], [], [], [], []
    for k, at in enumerate(places):
        c = corners(side, at)
        for i in range(4):
            which = 1 if i % 2 == 0 else 0
            axis.append(which)
            place.append(c[i, which])
            ring.append(k)
            t = np.linspace(0.1, 0.9, 18)[:, None]
            line = c[i] + t * (c[(i + 1) % 4] - c[i])
            moved = line + (0.4 if k in shifted else 0.0)
            seen, ahead = eye.to_px(moved), eye.to_px(moved + 1e-3 * (c[(i + 1) % 4] - c[i]))
            along = (ahead - seen) / np.linalg.norm(ahead - seen, axis=1)[:, None]
            off = noise * np.repeat(rng.standard_normal(18), alike)[:18, None]
            px.append(seen + off * along[:, ::-1] * (1, -1))
            of.append(np.full(18, len(axis) - 1))
    sides = Sides(np.array(axis), np.array(place, float), np.zeros(len(axis)), np.array(ring))
    px = np.concatenate(px)
    return Evidence(sides, px, np.full(len(px), max(noise, 0.01)), np.concatenate(of))


def prior(eye: Camera, *, focal=0.02, centre=12.0, k1=0.03, k2=0.02, aspect=0.0) -> Prior:
    middle = ((eye.width_px - 1) / 2, (eye.height_px - 1) / 2)
    mean = np.array([np.log(eye.focal_px * 1.012), *middle, 0, 0, 0, 0, 0])
    return Prior(mean, np.array([focal, centre, centre, k1, k2, aspect, 0, 0]))


def start(eye: Camera) -> Model:
    lens = Lens(eye.focal_px * 1.012, ((eye.width_px - 1) / 2, (eye.height_px - 1) / 2))
    c = np.concatenate([corners(30, at) for at in MAT])
    return Model(lens, (pose_from_map(plane_map(lens.to_directions(eye.to_px(c)), c)),))


def test_residuals_are_distances_in_px():
    """A side moved by 1 mm on the card lies off by the truth's px a mm."""
    eye = camera((0, 0), 300, focal_px=3000)
    one = evidence(eye, [(0.0, 0.0)])
    moved = Sides(one.sides.axis, one.sides.place_mm + 1.0, one.sides.outward, one.sides.ring)
    off = Evidence(moved, one.places_px, one.sd_px, one.side)
    lens, pose = lens_of(eye), Pose(eye.rotation, eye.translation)
    rest = residuals(off, pose, lens, moved.lines(0, 0), lens.to_directions(off.places_px))
    assert np.abs(rest) == pytest.approx(10.0, abs=1e-9)


def test_exact_places_give_the_exact_camera():
    found = solve((evidence(EYE),), start(EYE), Prior(prior(EYE).mean, np.array([np.inf] * 5 + [0, 0, 0])))
    lens = found.model.lens
    assert lens.focal_px == pytest.approx(EYE.focal_px, rel=1e-6)
    assert lens.centre_px == pytest.approx(EYE.principal_px, abs=5e-3)
    assert (lens.k1, lens.k2) == pytest.approx((EYE.k1, EYE.k2), abs=1e-5)
    assert found.rms_px < 1e-5
    assert found.model.poses[0].rotation == pytest.approx(EYE.rotation, abs=1e-6)


def test_a_third_radial_term_is_told_by_a_mat():
    """Open calibrations of phones have one: with two terms a mat round the item leaves a part in a thousand there."""
    eye = replace(EYE, k1=0.1, k2=-0.25, k3=0.15)
    free = np.array([np.inf] * 5 + [0, 0, np.inf])
    start_there = replace(start(eye), poses=(Pose(eye.rotation, eye.translation),))
    found = solve((evidence(eye),), start_there, Prior(prior(EYE).mean, free))
    assert found.rms_px < 1e-4
    assert found.model.lens.k3 == pytest.approx(0.15, abs=1e-3)
    two_terms = np.array([np.inf] * 5 + [0, 0, 0])
    without = solve((evidence(eye),), start_there, Prior(prior(EYE).mean, two_terms))
    assert without.rms_px > 0.01


@pytest.mark.parametrize("known_part", [1.0, 0.4])
def test_stated_deviations_are_those_that_happen(known_part):
    """Over many draws of the noise the errors of all unknowns, over their deviations, have a spread of 1.

    Also where the places are worse than was said of them: their residuals tell.
    """
    truth = np.array([np.log(EYE.focal_px), *EYE.principal_px, EYE.k1, EYE.k2])
    free = Prior(prior(EYE).mean, np.array([np.inf] * 5 + [0, 0, 0]))
    scores, first = [], start(EYE)
    for seed in range(30):
        seen = evidence(EYE, noise=0.05, seed=seed)
        found = solve((replace(seen, sd_px=known_part * seen.sd_px),), first, free)
        scores.append((found.model.shared[:5] - truth) / np.sqrt(np.diag(found.covariance))[:5])
    spread = np.sqrt((np.array(scores) ** 2).mean(axis=0))
    # 95 % of such spreads lie in 0.75..1.25 for 30 draws (chi-square); five of them, correlated
    assert np.all((spread > 0.65) & (spread < 1.4)), spread


def test_a_card_that_is_not_flat_is_owned_up_to():
    """Edges measured to 0.02 px on a card whose curl moves stretches of a quarter of a side by 0.2 px, all alike.

    Errors over their stated deviations have a spread of about 1, as if each quarter were one place; a solution that
    takes the places for independent is off by more than twice what it says.
    """
    truth = np.array([np.log(EYE.focal_px), *EYE.principal_px, EYE.k1, EYE.k2])
    free = Prior(prior(EYE).mean, np.array([np.inf] * 5 + [0, 0, 0]))
    scores = {solve: [], solve_honestly: []}
    for seed in range(12):
        seen = evidence(EYE, noise=0.2, alike=5, seed=seed)
        for way, came in scores.items():
            found = way((replace(seen, sd_px=np.full(len(seen.sd_px), 0.02)),), start(EYE), free)
            came.append((found.model.shared[:5] - truth) / np.sqrt(np.diag(found.covariance))[:5])
    honest, plain = (np.sqrt((np.array(scores[way]) ** 2).mean()) for way in (solve_honestly, solve))
    assert 0.6 < honest < 1.5
    assert plain > 1.6 * honest


def test_rings_off_their_places_are_owned_up_to():
    """Edges measured to 0.01 px, each ring printed 0.02 mm off its place: as many places as a ring has, it is one.

    Errors over their stated deviations have a spread of about 1 (somewhat more, for eight rings tell how far they lie
    off to a quarter only); a solution that takes the places for independent is off by more than three times that.
    """
    truth = np.array([np.log(EYE.focal_px), *EYE.principal_px, EYE.k1, EYE.k2])
    free = Prior(prior(EYE).mean, np.array([np.inf] * 5 + [0, 0, 0]))
    scores, plain = [], []
    for seed in range(8):
        seen = evidence(EYE, noise=0.01, seed=seed)
        off = np.random.default_rng([seed, 5]).normal(0, 0.02, (len(MAT), 2))
        place = seen.sides.place_mm + off[seen.sides.ring, seen.sides.axis]
        card = replace(seen, sides=replace(seen.sides, place_mm=place))
        for way, came in ((solve_honestly, scores), (solve, plain)):
            found = way((card,), start(EYE), free)
            came.append((found.model.shared[:5] - truth) / np.sqrt(np.diag(found.covariance))[:5])
    honest, plainly = (np.sqrt((np.array(came) ** 2).mean()) for came in (scores, plain))
    assert 0.6 < honest < 1.5
    assert plainly > 3.0 * honest


def test_prior_decides_what_the_card_cannot_tell():
    """Seen straight from above, a flat card says nothing of the focal length: EXIF's stays, with its deviation."""
    eye = camera((0, 0), 330)
    found = solve((evidence(eye, noise=0.02),), start(eye), prior(eye))
    assert found.focal_sd_part == pytest.approx(0.02, rel=0.1)
    assert found.model.lens.focal_px == pytest.approx(eye.focal_px * 1.012, rel=0.004)


def test_a_ring_out_of_place_does_not_pull():
    bad = solve((evidence(EYE, noise=0.02, shifted=(3,)),), start(EYE), prior(EYE))
    good = solve((evidence(EYE, noise=0.02),), start(EYE), prior(EYE))
    assert bad.model.lens.k1 == pytest.approx(good.model.lens.k1, abs=6 * np.sqrt(good.covariance[3, 3]))
    ring = evidence(EYE).sides.ring[evidence(EYE).side]
    rms = [np.sqrt((bad.residual_px[0][ring == k] ** 2).mean()) for k in range(len(MAT))]
    assert int(np.argmax(rms)) == 3
    assert rms[3] > 20 * np.median(rms)
    assert bad.weight[0][ring == 3].max() == 0.0


def test_a_ring_that_is_left_out_last_counts_no_more(monkeypatch):
    """Rings found to be off one after the other: what is solved last is without both of them."""
    at = [(-60.0, -60.0), (60.0, -60.0), (-60.0, 60.0), (60.0, 60.0), (0.0, 0.0)]
    squares = tuple(Square(k, corners(30, xy), EYE.to_px(corners(30, xy)), 0.0, 40.0) for k, xy in enumerate(at))

    def seen(_, edges, **__):
        places = np.stack([edge.points_px for edge in edges])
        count = places.shape[1]
        side = np.repeat(np.arange(len(edges)), count)
        sure = np.ones(len(edges))
        return SidePlaces(
            places.reshape(-1, 2), np.full(len(side), 0.01), side, sure, 0.9, 9.0, sure, np.full(len(edges), 0.01)
        )

    late = iter(([0], [3]))
    monkeypatch.setattr(estimate, "measure_sides", seen)
    monkeypatch.setattr(
        estimate,
        "_outlying",
        lambda *_: [RingReport(k, 1.0, used=False, reason="does not fit the others") for k in next(late)],
    )
    known = lens_from_exif(CameraTag(focal_35mm=33), EYE.width_px, EYE.height_px)
    found = estimate_camera(None, squares, known, Print(lambda _: (1.0, 1.0), 1e-3, 0.0), reach=3)
    assert [report.ring for report in found.rings if report.used] == [1, 2, 4]
    assert set(found.evidence.sides.ring[found.evidence.side]) == {1, 2, 4}


def test_print_s_ratio_is_told_from_tilt():
    """A card printed 0.4 % wider: found from the mat where the prior allows, and lengths follow it."""
    stretched = evidence(EYE)
    place = stretched.sides.place_mm / np.where(stretched.sides.axis == 0, np.exp(0.002), np.exp(-0.002))
    sides = Sides(stretched.sides.axis, place, stretched.sides.outward, stretched.sides.ring)
    card = Evidence(sides, stretched.places_px, stretched.sd_px, stretched.side)
    free = Prior(prior(EYE).mean, np.array([np.inf] * 5 + [0.01, 0, 0]))
    assert solve((card,), start(EYE), free).model.aspect == pytest.approx(0.004, abs=2e-5)


def test_turning():
    assert turning(np.array([0, 0, np.pi / 2])) @ (1, 0, 0) == pytest.approx((0, 1, 0), abs=1e-12)
    third = turning(np.full(3, 2 * np.pi / 3 / np.sqrt(3)))  # about the diagonal: the axes change places
    assert third == pytest.approx(np.array([[0, 0, 1], [1, 0, 0], [0, 1, 0]]), abs=1e-12)


# --- an open data set --------------------------------------------------------------------------------------------

PHOTO, PAGE = "singlemarkersoriginal.jpg", "singlemarkerssource.png"  # OpenCV's tutorial on markers, Apache-2.0


@cache
def data_folder() -> Path:
    """Return the open data folder: $DIGITIZE_DATA, or shared/data beside the clone."""
    given = os.environ.get("DIGITIZE_DATA")
    return Path(given) if given else Path(__file__).resolve().parents[2] / "shared" / "data"


def markers(grey) -> dict[int, np.ndarray]:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    quads, codes, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    return {int(code): quad.reshape(4, 2).astype(float) for code, quad in zip(codes.ravel(), quads, strict=True)}


@pytest.mark.open_data(str(data_folder() / PHOTO))
def test_one_printed_marker_predicts_the_other_five():
    """640 x 480 px, markers 24 to 48 px a side seen from 40 degrees: each in turn is the reference."""
    page = {
        code: np.rint(quad.mean(0) * 2) / 2 * (1, -1)
        for code, quad in markers(cv2.imread(str(data_folder() / PAGE), 0)).items()
    }
    picture = read_picture(data_folder() / PHOTO)
    seen = markers(cv2.imread(str(data_folder() / PHOTO), 0))
    known = lens_from_exif(picture.camera, picture.width_px, picture.height_px)
    ours, plain = [], []
    for code, centre in page.items():
        square = corners(200.0, centre)  # 200 px on the page
        order = _upright(seen[code])
        start = Square(0, square, seen[code][order], 0.0, 3.0)
        scale = estimate_camera(picture, (start,), known, Print(lambda _: (1.0, 1.0), 1e-3, 0.0), reach=3).scale
        homography = cv2.getPerspectiveTransform(
            seen[code][order].astype(np.float32), (square - centre).astype(np.float32)
        )
        for other in page.keys() - {code}:
            true = page[other] - centre
            for errors, places in (
                (ours, scale.to_mm(seen[other])),
                (plain, cv2.perspectiveTransform(seen[other][None], homography.astype(float))[0]),
            ):
                errors.append(np.linalg.norm(places.mean(0) - true) / np.linalg.norm(true))
    assert np.median(ours) < 0.016
    # the smallest marker, 24 px wide, and the farthest, 5.9 sides away: 0.13 px at a corner makes 0.13 / 24.2 * 5.9
    assert max(ours) < 0.032
    assert max(plain) > 2 * max(ours)


def _upright(quad: np.ndarray) -> list[int]:
    """Order of corners top-left, top-right, bottom-right, bottom-left in the picture: the page lies upright in it."""
    top = sorted(range(4), key=lambda i: quad[i, 1])[:2]
    low = [i for i in range(4) if i not in top]
    return [*sorted(top, key=lambda i: quad[i, 0]), *sorted(low, key=lambda i: -quad[i, 0])]
