"""Photos from end to end on small rendered ones: found, measured, said, refused."""

from __future__ import annotations

import pickle
import subprocess
import sys
import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from digitize.camera.profile import LensProfile
from digitize.card.kinds import card_layout
from digitize.errors import DigitizeError, OutlineError, ScaleError, UsageError
from digitize.reading.picture import picture_from_bytes
from digitize.recipe.outline import outline_picture
from digitize.records import CameraTag
from digitize.reference import camera_findings
from digitize.settings import Settings
from tests.truth.camera import camera
from tests.truth.photo import PhotoScene, save_photo
from tests.truth.scenes import shape_of
from tests.truth.score import compare

SIZE = (2000, 1500)
SMALL = (1000, 750)  # the same view; what is refused, or said of the whole, does not need more
NEAR = (1100, 825)  # the middle of it, as large a pixel: a square beside an item does not need more
FOCAL = 1390.0 * 2000 / 1800
MAT = card_layout("mat", "a4")
LINES_MM = 0.3  # tolerance of lines and arcs: what is judged are edges as measured
SQUARE = Settings(square_mm=(50.0, 50.0), item_height_mm=3.0, tolerance_mm=LINES_MM)
ON_MAT = Settings(measured_mm=(100.0, 100.0), item_height_mm=3.0, tolerance_mm=LINES_MM)
PROFILE = LensProfile("", *NEAR, FOCAL / NEAR[0], 0.0, 0.0, 0.03, 0.0, (1e-3, 2e-4, 2e-4, 5e-4, 1e-3), 0.02, 8)


def eye(tilt=7.0, distance=300.0, **changes):
    given = {"tilt_towards_deg": 60, "roll_deg": 4, "focal_px": FOCAL, "size_px": NEAR, "k1": 0.03} | changes
    return camera((0, 0), distance, tilt_deg=tilt, **given)


def wide_eye(tilt=7.0, distance=330.0, **changes):
    return eye(tilt, distance, **{"size_px": SIZE} | changes)


def small_eye(tilt=7.0, distance=300.0, **changes):
    return eye(tilt, distance, **{"focal_px": FOCAL / 2, "size_px": SMALL} | changes)


def scene_of(seen, **look):
    given = {"background": (0.78, 0.77, 0.75), "vignette": 0.15, "noise_codes": 1.2, "seed": 3} | look
    return PhotoScene(seen, **given)


@cache
def rendered(scene: bytes):
    """A scene's photo; several tests look at the same one."""
    return pickle.loads(scene).render()


def read(tmp_path, scene, **how):
    photo = rendered(pickle.dumps(scene)) if type(scene) is PhotoScene else scene.render()
    save_photo(tmp_path / "photo.jpg", photo, **how)
    return picture_from_bytes((tmp_path / "photo.jpg").read_bytes(), "photo.jpg")


@cache
def made(scene: bytes, settings: Settings):
    with tempfile.TemporaryDirectory() as folder:
        return outline_picture(read(Path(folder), pickle.loads(scene)), settings)


def outlined(scene, settings):
    """What comes of a scene's photo, for all tests that look at the same one."""
    return made(pickle.dumps(scene), settings)


def codes(result):
    return [finding.code for finding in result.all_findings]


def beside_square(seen=None, *, side=(50.0, 50.0), height=3.0, shape="key-fob", at=(-45, 5), turn=20, **look):
    scene = scene_of(seen or eye(), **look)
    scene.add_square(side, at, turn)
    truth = scene.add_item(shape_of(shape), (40, -5), 30, height_mm=height)
    return scene, truth


def on_mat(seen=None, *, moved=None, shape="tag", covered=None):
    """Scene with an item on the mat, turned to lie along the picture's rows; ring number `moved` 0.5 mm off."""
    scene = scene_of(seen or wide_eye(), background=(0.3, 0.22, 0.15))
    turn, middle = np.array([[0.0, 1.0], [-1.0, 0.0]]), np.array([MAT.width_mm, MAT.height_mm]) / 2
    scene.add_paper(MAT.height_mm, MAT.width_mm, (0, 0))
    for fill in MAT.fills:
        loops = [np.asarray(loop) for loop in fill.loops]
        if moved is not None and np.linalg.norm(loops[0].mean(0) - MAT.rings[moved].centre_mm) < 20:
            loops = [loop + np.array([0.5, 0.3]) for loop in loops]
        scene.add_polygon([(loop - middle) @ turn for loop in loops], 0.04)
    if covered is not None:
        scene.add_paper(26, 12, (np.array(MAT.rings[covered].centre_mm) - middle - (0, 16)) @ turn, 90, reflectance=0.3)
    return scene, scene.add_item(shape_of(shape), (5, -4), 40, height_mm=3.0)


def score(result, truth):
    item = max(result.items, key=lambda one: one.area_mm2)
    return compare(item.exterior_mm, item.holes_mm, truth, any_turn=True), item


# --- measured ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("profile", [None, PROFILE], ids=["EXIF", "profile"])
def test_square_beside_an_item(tmp_path, profile):
    scene, truth = beside_square()
    result = outlined(scene, replace(SQUARE, lens=profile)).result
    found, item = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 40  # 0.17 mm a pixel
    assert found.max_um < 90
    within = np.abs(found.distances_um) <= 1000 * item.uncertainty.profile_k2_mm
    assert within.mean() > 0.93
    assert result.scale.kind == "camera"
    assert "taken-as-photo" in codes(result)
    lines = {c.name: c for c in item.uncertainty.budget}
    assert {"focal length", "lens", "pose", "item height", "edge noise"} <= lines.keys()
    # two readings of 0.02 mm (k = 1) over 50 mm each: their mean is known better by the root of 2
    assert lines["card reading"].length_per_mm == pytest.approx(0.02 / 50 / np.sqrt(2))


@pytest.mark.parametrize("orientation", [6])
def test_mat_round_an_item(tmp_path, orientation):
    scene, truth = on_mat()
    result = outline_picture(read(tmp_path, scene, orientation=orientation), ON_MAT).result
    found, _ = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 25
    assert found.max_um < 90
    assert "ring card (mat, a4), measured 100 x 100 mm" in result.scale.reference
    assert result.scale.residual_mm < 0.005


@pytest.mark.parametrize("orientation", [6])
def test_profile_of_lying_photos_serves_an_upright_one(tmp_path, orientation):
    """Made with the phone held lying, used on a photo taken upright: the principal point turns along."""
    x, y = 40.0, -28.0  # of the sensor's principal point from its middle, px: 2 % of the picture
    upright = (-y, x) if orientation == 6 else (y, -x)
    seen = eye(tilt=9.0, distance=400, size_px=NEAR[::-1], principal_shift_px=upright)
    scene, truth = beside_square(seen)
    picture = read(tmp_path, scene, orientation=orientation)
    assert (picture.width_px, picture.height_px) == NEAR[::-1]
    profile = replace(PROFILE, centre_x=x / NEAR[0], centre_y=y / NEAR[0])
    known = profile.knowledge(picture.width_px, picture.height_px, picture.camera.orientation)
    assert known.lens.centre_px == pytest.approx(scene.camera.principal_px)
    found, item = score(outline_picture(picture, replace(SQUARE, lens=profile)).result, truth)
    assert found.p95_um < 45
    assert (np.abs(found.distances_um) <= 1000 * item.uncertainty.profile_k2_mm).mean() > 0.93
    wrong = replace(profile, centre_x=-x / NEAR[0], centre_y=-y / NEAR[0])
    unlike, _ = score(outline_picture(picture, replace(SQUARE, lens=wrong)).result, truth)
    assert unlike.p95_um > 1.3 * found.p95_um


def test_plane_keeps_rows_along_x(tmp_path):
    """The outline lies in the document as it lies in the picture, whatever the card's turn."""
    scene, _ = on_mat(small_eye(tilt=0.0, distance=330, roll_deg=30))
    made = outlined(scene, ON_MAT)
    middle = np.array([[500.0, 375.0], [501.0, 375.0], [500.0, 374.0]])
    a, right, up = made.scale.to_mm(middle)
    assert (right - a) / np.linalg.norm(right - a) == pytest.approx((1, 0), abs=2e-3)
    assert (up - a) / np.linalg.norm(up - a) == pytest.approx((0, 1), abs=2e-3)


def test_edge_height_is_a_plane(tmp_path):
    """An item whose widest line lies 3 mm up, nothing below it: a sheet lifted by 3 mm."""
    seen = eye()
    scene = scene_of(seen)
    scene.add_square(50.0, (-45, 5), 20)
    truth = shape_of("pebble").placed((40, -5), 30)
    scene.add_polygon([seen.raised(truth.outer.polygon(1e-4, 0.3), 3.0)], (0.3, 0.18, 0.1))
    picture = read(tmp_path, scene)
    settings = Settings(square_mm=(50.0, 50.0), edge_height_mm=3.0)
    found, _ = score(outline_picture(picture, settings).result, truth)
    assert found.p95_um < 40
    flat, _ = score(outline_picture(picture, Settings(square_mm=(50.0, 50.0), item_height_mm=0.0)).result, truth)
    assert flat.p95_um > 150


def test_same_picture_same_result(tmp_path):
    picture = read(tmp_path, beside_square(small_eye())[0])
    one, two = (outline_picture(picture, SQUARE).result.items[0] for _ in range(2))
    assert np.array_equal(one.exterior_mm, two.exterior_mm)
    assert one.uncertainty == two.uncertainty


# --- said --------------------------------------------------------------------------------------------------------


def test_height_not_said(tmp_path):
    scene, _ = beside_square(small_eye())
    result = outlined(scene, Settings(square_mm=(50.0, 50.0))).result
    finding = next(f for f in result.all_findings if f.code == "item-height-missing")
    # 100 mm from the point below the camera a mm of height is 100 / Z mm; Z = 300 cos 7
    assert finding.value == pytest.approx(100 / (300 * np.cos(np.radians(7))), rel=0.02)
    assert finding.attention


def test_bent_mat_is_said_and_its_ring_named(tmp_path):
    scene, truth = on_mat(moved=2)
    result = outlined(scene, ON_MAT).result
    left_out = [f for f in result.all_findings if f.code == "ring-left-out"]
    assert len(left_out) == 1
    turn, middle = np.array([[0.0, 1.0], [-1.0, 0.0]]), np.array([MAT.width_mm, MAT.height_mm]) / 2
    place = scene.camera.to_px(((np.array(MAT.rings[2].centre_mm) - middle) @ turn)[None])[0]
    assert left_out[0].place_px == pytest.approx(tuple(place), abs=10)
    assert score(result, truth)[0].p95_um < 25


def test_card_not_measured_is_said(tmp_path):
    scene, _ = on_mat(small_eye(distance=330))
    result = outlined(scene, replace(ON_MAT, measured_mm=None)).result
    assert "card-not-measured" in codes(result)
    assert result.items[0].uncertainty.length_per_metre_k2_mm >= 6.0


def test_focal_length_that_is_not_true(tmp_path):
    """EXIF of another lens: the tilted mat tells."""
    scene, _ = on_mat(wide_eye(tilt=20.0))
    picture = read(tmp_path, scene)
    wrong = replace(picture, camera=CameraTag(focal_35mm=picture.camera.focal_35mm * 1.3))
    assert "focal-disagrees" in codes(outline_picture(wrong, ON_MAT).result)
    assert "focal-disagrees" not in codes(outline_picture(picture, ON_MAT).result)


def test_a_camera_that_states_its_focal_plane_and_no_equivalent_is_known(tmp_path):
    """A long zoom from 0.7 m, 6 % longer than it says: its barrel bends the corners by a hundredth."""
    seen = small_eye(2.0, 700.0, focal_px=3000.0, k1=0.22)
    scene, truth = beside_square(seen, height=0.0)
    picture = read(tmp_path, scene, exif=False)
    tag = CameraTag(focal_mm=70.0, focal_px=3000.0 / 1.06, taken_px=(float(seen.width_px), float(seen.height_px)))
    options = replace(SQUARE, item_height_mm=0.0, taken_with="camera")
    blind = outline_picture(replace(picture, camera=None), options).result
    known = outline_picture(replace(picture, camera=tag), options).result
    assert "focal-unknown" in codes(blind)
    assert not {"focal-unknown", "focal-disagrees"} & set(codes(known))
    found, item = score(known, truth)
    assert found.p95_um < 1000 * item.uncertainty.profile_k2_mm
    assert item.uncertainty.profile_k2_mm < 0.6 * score(blind, truth)[1].uncertainty.profile_k2_mm


@pytest.mark.parametrize("height", [48.0, 48.5])
def test_card_smaller_than_said_in_one_direction(tmp_path, height):
    """A 50 x 48 mm square said to be 50 x 50 is refused or asked about, never measured by in silence.

    A pose fits any three of its sides exactly: throwing out the fourth must not pass for a good fit.
    """
    scene, _ = beside_square(small_eye(), side=(50.0, height))
    with pytest.raises(ScaleError, match=rf"said to be 50 x 50 mm, .* about 50 x {height:.1f}"):
        outlined(scene, SQUARE)


def test_card_a_little_smaller_than_said_in_one_direction(tmp_path):
    """50 x 49.4 mm said to be 50 x 50: 1.2 %, asked about, and the doubt is in the uncertainty."""
    scene, _ = beside_square(side=(50.0, 49.4))
    result = outlined(scene, SQUARE).result
    finding = next(f for f in result.all_findings if f.code == "square-not-as-said")
    assert abs(finding.value) == pytest.approx(0.012, abs=0.003)
    assert result.items[0].uncertainty.length_per_metre_k2_mm > 9


# --- scan or photo -----------------------------------------------------------------------------------------------


def test_options_decide(tmp_path):
    picture = read(tmp_path, beside_square(small_eye(tilt=0.0, k1=0.0, roll_deg=0))[0])
    assert outline_picture(picture, Settings(square_mm=(50.0, 50.0))).result.scale.kind == "camera"
    flat = outline_picture(picture, Settings(square_mm=(50.0, 50.0), taken_with="flatbed")).result
    assert flat.scale.kind == "flatbed"
    bare = replace(picture, camera=None)
    assert outline_picture(bare, Settings(square_mm=(50.0, 50.0))).result.scale.kind == "flatbed"
    assert outline_picture(bare, Settings(square_mm=(50.0, 50.0), taken_with="camera")).result.scale.kind == "camera"


def test_perspective_tells_a_photo_without_exif(tmp_path):
    scene, truth = beside_square(eye(tilt=20.0), height=0.0)
    picture = read(tmp_path, scene, exif=False)
    assert picture.camera is None or picture.camera.focal_35mm is None
    result = outline_picture(picture, Settings(square_mm=(50.0, 50.0))).result
    assert result.scale.kind == "camera"
    assert {"taken-as-photo", "focal-unknown"} <= set(codes(result))
    found, item = score(result, truth)
    assert found.p95_um < 2000 * item.uncertainty.profile_k2_mm


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"item_height_mm": 3.0, "edge_height_mm": 2.0}, "one of them"),
        ({"item_height_mm": 3.0, "taken_with": "flatbed"}, "not for --flatbed"),
        ({"item_height_mm": -1.0}, "--item-height"),
        ({"edge_height_mm": float("nan")}, "--edge-height"),
    ],
)
def test_options_that_cannot_be_meant(given, words):
    with pytest.raises(UsageError, match=words):
        Settings.of(given)


def test_scans_do_not_import_the_camera():
    code = (
        "import sys; import digitize.recipe.outline, digitize.run, digitize.reference.locate, digitize.silhouette.find;"
        "print([m for m in sys.modules if m.startswith('digitize.camera')"
        " or m in ('digitize.edge.height', 'digitize.reference.photo', 'digitize.recipe.photo')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- refused, each with its own sentence -------------------------------------------------------------------------


def refused(tmp_path, scene, settings, words, kind: type[DigitizeError] = ScaleError, **how):
    with pytest.raises(kind, match=words):
        outline_picture(read(tmp_path, scene, **how), settings)


def test_no_square(tmp_path):
    scene = scene_of(small_eye())
    scene.add_item(shape_of("pebble"), (40, -5), 30, height_mm=3.0)
    refused(tmp_path, scene, SQUARE, "No reference square was found in the photo")


def test_no_reference_at_all(tmp_path):
    refused(tmp_path, scene_of(small_eye()), Settings(item_height_mm=3.0), "shows no reference card of ours")


def test_square_cut_off(tmp_path):
    refused(tmp_path, beside_square(small_eye(), at=(-183, 5), turn=4)[0], SQUARE, "cut off by the picture's border")


def test_half_a_square(tmp_path):
    refused(tmp_path, beside_square(small_eye(), side=(50.0, 25.0))[0], SQUARE, "half a square")


def test_square_covered(tmp_path):
    """A finger over a corner."""
    scene, _ = beside_square(small_eye())
    scene.add_polygon([np.array([(-35, -60), (-5, -60), (-5, -2), (-35, -2)])], (0.5, 0.3, 0.2))
    refused(tmp_path, scene, SQUARE, r"is covered, cut off or in shade: .* over [34]\d % only \(at least 50 %")


def test_square_covered_so_that_no_square_is_left(tmp_path):
    scene, _ = beside_square(small_eye())
    scene.add_polygon([np.array([(-80, -30), (-45, -30), (-30, 40), (-80, 40)])], (0.78, 0.77, 0.75))
    refused(tmp_path, scene, SQUARE, r"No reference square .* uncovered corners")


@pytest.mark.parametrize("colour", [(0.5, 0.3, 0.2), (0.78, 0.77, 0.75)], ids=["finger", "paper"])
def test_square_covered_a_little(tmp_path, colour):
    """Measured by the rest of its sides, and said."""
    scene, truth = beside_square()
    scene.add_polygon([np.array([(-47, 25), (-37, 25), (-37, 60), (-47, 60)])], colour)
    result = outlined(scene, SQUARE).result
    assert "reference-covered" in codes(result)
    item = min(result.items, key=lambda one: abs(one.area_mm2 - truth.area))
    assert compare(item.exterior_mm, item.holes_mm, truth, any_turn=True).p95_um < 60
    assert "reference-covered" not in codes(outlined(beside_square()[0], SQUARE).result)


def test_square_too_small(tmp_path):
    side = 54.0 * 388.5 / SIZE[0]  # 54 px: the field is 388.5 mm wide
    scene, _ = beside_square(side=(side, side))
    refused(tmp_path, scene, replace(SQUARE, square_mm=(side, side)), r"only 5\d px a side .* Go nearer")


def test_smallest_square_is_found_in_a_large_photo(tmp_path):
    side = 66.0 * 388.5 / 4032
    scene, truth = beside_square(eye(size_px=(4032, 3024), focal_px=FOCAL * 4032 / SIZE[0]), side=(side, side))
    result = outlined(scene, replace(SQUARE, square_mm=(side, side))).result
    found, item = score(result, truth)
    assert (np.abs(found.distances_um) <= 1000 * item.uncertainty.profile_k2_mm).mean() > 0.9


def test_seen_too_obliquely(tmp_path):
    scene, _ = on_mat(wide_eye(tilt=50.0, distance=420))
    refused(tmp_path, scene, ON_MAT, r"seen (49|50|51) degrees from straight above")
    scene, _ = beside_square(small_eye(tilt=50.0, distance=420))
    refused(tmp_path, scene, SQUARE, r"seen (49|50|51) degrees from straight above")


def test_seen_so_obliquely_that_it_looks_like_half_a_square(tmp_path):
    scene, _ = beside_square(small_eye(tilt=60.0, tilt_towards_deg=110, roll_deg=0, distance=420), at=(-20, 5))
    refused(tmp_path, scene, SQUARE, r"seen from too far aside: .* more than 45 degrees")


@pytest.mark.parametrize(("blur_px", "soft"), [(1.7, False), (2.8, True)])
def test_soft_photo_is_measured_and_said(tmp_path, blur_px, soft):
    """The width from 10 to 90 % of an edge blurred by a Gaussian is 2.563 deviations: 7.2 px of 2.8."""
    scene, truth = beside_square(blur_px=blur_px)
    result = outlined(scene, SQUARE).result
    said = [f for f in result.all_findings if f.code == "picture-soft"]
    assert len(said) == soft
    if soft:
        assert said[0].attention
        assert said[0].value == pytest.approx(7.2, abs=0.4)
    found, item = score(result, truth)
    assert (np.abs(found.distances_um) <= 1000 * item.uncertainty.profile_k2_mm).mean() > 0.9


def test_too_blurred(tmp_path):
    refused(
        tmp_path,
        beside_square(small_eye(), blur_px=4.5)[0],
        SQUARE,
        r"too blurred: the card's edges are over 10 px wide",
    )
    scene, _ = on_mat()
    scene.blur_px = 4.5
    refused(tmp_path, scene, ON_MAT, r"too blurred: the card's edges are over [56] px wide")


def lifted(seen, points, height_mm):
    """Places of the plane that hide points at heights (N,) above it."""
    (x, y, z), high = seen.eye_mm, np.asarray(height_mm, float)[:, None]
    return (x, y) + (np.asarray(points) - (x, y)) * (z / (z - high))


def with_curled_square(rise_mm, seen=None):
    """A 50 mm square whose left and right rims are bent up by `rise_mm`, along a parabola."""
    scene, _ = beside_square(seen)
    scene.flats.clear()
    edge = np.linspace(-25, 25, 101)
    rim = np.full(101, 25.0)
    sides = np.vstack([np.column_stack(p)[:-1] for p in ((edge, -rim), (rim, edge), (-edge, rim), (-rim, -edge))])
    c, s = np.cos(np.radians(20)), np.sin(np.radians(20))
    placed = sides @ np.array([[c, s], [-s, c]]) + (-45, 5)
    scene.add_polygon([lifted(scene.camera, placed, rise_mm * (sides[:, 0] / 25) ** 2)])
    return scene


def test_square_curled_is_said(tmp_path):
    flat = outlined(with_curled_square(0.0, small_eye()), SQUARE).result
    assert "card-not-flat" not in codes(flat)
    for rise in (1.0, 4.0):
        bent = outlined(with_curled_square(rise, small_eye()), SQUARE).result
        finding = next(f for f in bent.all_findings if f.code == "card-not-flat")
        assert "is bent by" in finding.message
        assert finding.attention
        assert bent.items[0].uncertainty.profile_k2_mm > 1.5 * flat.items[0].uncertainty.profile_k2_mm


@pytest.mark.parametrize(("px", "mm_per_px", "looks"), [(0.20, 0.05, False), (0.20, 0.2, True), (0.09, 0.4, True)])
def test_whether_a_card_is_flat_enough_is_told_in_mm(px, mm_per_px, looks):
    """What a bent reference moves an outline by does not depend on how many pixels that is."""
    camera = SimpleNamespace(solution=SimpleNamespace(rms_px=0.4 * px), bend_px=px)
    (finding,) = camera_findings._not_flat(camera, 0.4 * px * mm_per_px)
    assert finding.attention == looks
    assert finding.attention == (finding.value > 0.05)
    assert f"bent by {px * mm_per_px:.3f} mm" in finding.message


def test_a_square_that_curls_by_half_a_millimetre_is_looked_at(tmp_path):
    flat, bent = (outlined(with_curled_square(rise), SQUARE).result for rise in (0.0, 0.5))
    finding = next(f for f in bent.all_findings if f.code == "card-not-flat")
    off = [abs(getattr(bent.items[0], side) - getattr(flat.items[0], side)) / 2 for side in ("width_mm", "height_mm")]
    assert finding.attention
    assert 0.5 * max(off) < finding.value < 2 * max(off)


def test_square_curled_too_much(tmp_path):
    refused(tmp_path, with_curled_square(8.0), SQUARE, r"miss their places by 2\.\d px .* curled")


@pytest.mark.parametrize("shape", ["curled", "a corner up"])
def test_mat_not_flat_is_said(tmp_path, shape):
    """Both short sides 2 mm up along a parabola; one ring's corner of the sheet folded up by 6 mm."""
    scene, _ = on_mat(small_eye(distance=330))
    half = MAT.height_mm / 2  # the sheet's long side lies along x
    flats, scene.flats = scene.flats, []
    for flat in flats:
        rings = []
        for ring in flat.rings:
            if shape == "curled":
                rise = 2.0 * (ring[:, 0] / half) ** 2
            else:
                rise = 6.0 * np.clip((ring[:, 0] + ring[:, 1] - 130) / 100, 0, None)
            rings.append(lifted(scene.camera, ring, rise))
        scene.add_polygon(rings, flat.reflectance)
    result = outlined(scene, ON_MAT).result
    said = [f for f in result.all_findings if f.code in ("card-not-flat", "ring-left-out") and f.attention]
    assert said
    if shape == "a corner up":
        x, y = scene.camera.to_px(np.array([[half - 15, MAT.width_mm / 2 - 15]]))[0]
        assert any(f.place_px is not None and np.hypot(f.place_px[0] - x, f.place_px[1] - y) < 150 for f in said)


def test_height_without_a_focal_length(tmp_path):
    scene, _ = beside_square(small_eye(tilt=3.0))
    refused(tmp_path, scene, SQUARE, "how far away the camera was", exif=False)


def test_several_squares(tmp_path):
    scene, _ = beside_square(small_eye())
    scene.add_square(40.0, (-40, -70), 10)
    refused(tmp_path, scene, SQUARE, "2 shapes in the picture may be the reference square")


def test_nothing_on_the_mat(tmp_path):
    scene, _ = on_mat(small_eye(distance=330))
    scene.prisms.clear()
    refused(tmp_path, scene, ON_MAT, "No item was found", OutlineError)


# --- the same view without the item ------------------------------------------------------------------------------


def patterned(seen, *, item: bool, seed: int):
    """A striped cloth with a square on it, and perhaps an item of much the same colour."""
    scene = scene_of(seen, background=(0.45, 0.45, 0.45), seed=seed)
    for x in range(-180, 180, 12):
        scene.add_polygon([np.array([(x, -140), (x + 6, -140), (x + 6, 140), (x, 140)])], (0.36, 0.38, 0.42))
    scene.add_polygon([np.array([(-20, -100), (60, -105), (62, -95), (-18, -88)])], (0.1, 0.1, 0.15))  # lies there too
    scene.add_paper(66, 66, (-55, 5), 20)
    scene.add_square(50.0, (-55, 5), 20)
    truth = shape_of("pebble").placed((45, -5), 30)
    if item:
        scene.add_item(shape_of("pebble"), (45, -5), 30, height_mm=3.0, reflectance=(0.2, 0.3, 0.4), wall=0.9)
    return scene, truth


def test_background_photo_takes_a_pattern_away(tmp_path):
    """With the empty view the pebble comes out whole; without it what is found on the stripes is something else."""
    with_item, truth = patterned(wide_eye(distance=300.0), item=True, seed=1)
    picture, empty = (
        read(tmp_path, with_item),
        read(tmp_path, patterned(wide_eye(distance=300.0), item=False, seed=2)[0]),
    )
    result = outline_picture(picture, SQUARE, empty=empty).result
    found, item = score(result, truth)
    assert len(result.items) == 1
    assert found.p95_um < 85  # half a pixel
    assert item.area_mm2 == pytest.approx(truth.area, rel=0.003)
    alone = outline_picture(picture, SQUARE).result
    assert all(abs(one.area_mm2 / truth.area - 1) > 0.05 for one in alone.items)


def test_background_photo_from_another_place(tmp_path):
    picture = read(tmp_path, patterned(wide_eye(distance=300.0), item=True, seed=1)[0])
    moved = camera((0.8, 0.0), 300, tilt_deg=7, tilt_towards_deg=60, roll_deg=4, focal_px=FOCAL, size_px=SIZE, k1=0.03)
    empty = read(tmp_path, patterned(moved, item=False, seed=2)[0])
    with pytest.raises(ScaleError, match=r"camera moved by [34]\.\d px"):
        outline_picture(picture, SQUARE, empty=empty)


def test_background_photo_of_another_size(tmp_path):
    picture = read(tmp_path, patterned(small_eye(), item=True, seed=1)[0])
    empty = replace(picture, pixels=np.ascontiguousarray(picture.pixels[:700]))
    with pytest.raises(DigitizeError, match="take both in the same way"):
        outline_picture(picture, SQUARE, empty=empty)
