"""Lens profiles: made from rendered photos of the mat, against the truth and OpenCV; written, read, refused."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from digitize.camera.profile import LensProfile, profile_bytes, profile_lines, read_lens_profile
from digitize.card.kinds import card_layout
from digitize.errors import PictureError, ScaleError, UsageError
from digitize.reading.picture import picture_from_bytes
from digitize.recipe.lens import make_lens_profile
from digitize.seal import is_sealed
from tests.truth.camera import camera
from tests.truth.photo import PhotoScene, save_photo

SIZE = (1800, 1350)
FOCAL, K1, K2, SHIFT = 1390.0, 0.035, -0.012, (6.0, -4.0)
LAYOUT = card_layout("mat", "a4")
TILTS = ((0, 0, 0), (20, 30, 0), (22, 120, 4), (18, 210, -3), (21, 300, 2))

PROFILE = LensProfile(
    device='Lantern Row "Pocket 12"',
    width_px=4032,
    height_px=3024,
    focal_per_width=0.7688123,
    centre_x=0.0021,
    centre_y=-0.0013,
    k1=0.031,
    k2=-0.0042,
    sd=(0.0006, 0.0002, 0.0003, 0.0008, 0.002),
    residual_px=0.021,
    pictures=8,
)


def eye_at(tilt, towards, roll):
    return camera(
        (0, 0), 340, tilt_deg=tilt, tilt_towards_deg=towards, roll_deg=roll, focal_px=FOCAL, size_px=SIZE,
        principal_shift_px=SHIFT, k1=K1, k2=K2,
    )  # fmt: skip


def on_table(points):
    """Card places, turned so that the sheet's long side lies along the picture's rows."""
    return (np.asarray(points) - (LAYOUT.width_mm / 2, LAYOUT.height_mm / 2)) @ np.array([[0.0, 1.0], [-1.0, 0.0]])


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mat")
    made = []
    for i, tilt in enumerate(TILTS):
        scene = PhotoScene(eye_at(*tilt), background=(0.35, 0.28, 0.2), vignette=0.15, noise_codes=1.2, seed=i)
        scene.add_paper(LAYOUT.height_mm, LAYOUT.width_mm, (0, 0))
        for fill in LAYOUT.fills:
            scene.add_polygon([on_table(loop) for loop in fill.loops], 0.04)
        path = folder / f"mat-{i}.jpg"
        save_photo(path, scene.render())
        made.append(picture_from_bytes(path.read_bytes(), path.name))
    return made


@pytest.fixture(scope="module")
def made(pictures):
    return make_lens_profile(pictures)


def test_profile_of_photos_is_the_truth_s_lens(made):
    """Within 2.5 of its own deviations, floors of our systematic errors added, and sure enough to be of use."""
    sd = np.hypot(made.sd, (2e-4, 1e-4, 1e-4, 3e-4, 6e-4))
    assert abs(made.focal_per_width * SIZE[0] / FOCAL - 1) < 2.5 * sd[0]
    assert abs(made.centre_x * SIZE[0] - SHIFT[0]) < 2.5 * sd[1] * SIZE[0]
    assert abs(made.centre_y * SIZE[0] - SHIFT[1]) < 2.5 * sd[2] * SIZE[0]
    assert abs(made.k1 - K1) < 2.5 * sd[3]
    assert abs(made.k2 - K2) < 2.5 * sd[4]
    assert made.sd[0] < 0.002
    assert made.sd[3] < 0.003
    assert made.residual_px < 0.05
    assert (made.device, made.pictures) == ("Lantern Row Pocket 12", 5)


def test_profile_agrees_with_opencv(made):
    """OpenCV's calibration from the exact corners of the same rings in the same views."""
    mm = np.vstack([ring.outer_corners_mm for ring in LAYOUT.rings])
    flat = np.column_stack([mm * (1, -1), np.zeros(len(mm))]).astype(np.float32)
    seen = [eye_at(*tilt).to_px(on_table(mm)).astype(np.float32) for tilt in TILTS]
    flags = cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3 | cv2.CALIB_FIX_ASPECT_RATIO
    first = np.array([[1400.0, 0, 900], [0, 1400, 675], [0, 0, 1]])
    flags |= cv2.CALIB_USE_INTRINSIC_GUESS
    rms, matrix, bent, *_ = cv2.calibrateCamera([flat] * len(seen), seen, SIZE, first, np.zeros(5), flags=flags)
    assert rms < 0.01
    assert made.focal_per_width * SIZE[0] == pytest.approx(matrix[0, 0], rel=1.5e-3)
    centre = np.array([made.centre_x, made.centre_y]) * SIZE[0] + (np.array(SIZE) - 1) / 2
    assert centre == pytest.approx(matrix[:2, 2], abs=2.0)
    r2 = 0.4  # near the corners of the picture
    assert made.k1 * r2 + made.k2 * r2**2 == pytest.approx(bent.ravel()[0] * r2 + bent.ravel()[1] * r2**2, abs=4e-4)


def test_straight_views_alone_make_no_profile(pictures):
    with pytest.raises(ScaleError, match=r"tilted by 20 to 30 degrees"):
        make_lens_profile([pictures[0]] * 3)


def test_too_few_photos(pictures):
    with pytest.raises(PictureError, match="at least 3 photos"):
        make_lens_profile(pictures[:2])


def test_photos_of_two_sizes(pictures):
    other = replace(pictures[1], pixels=pictures[1].pixels[:, :1500].copy())
    with pytest.raises(PictureError, match="different sizes"):
        make_lens_profile([*pictures[:2], other])


def test_photo_without_the_mat(pictures):
    blank = replace(pictures[1], pixels=np.full_like(pictures[1].pixels, 128), name="blank.jpg")
    with pytest.raises(ScaleError, match=r"blank\.jpg: 0 rings"):
        make_lens_profile([*pictures[:2], blank])


# --- the file ----------------------------------------------------------------------------------------------------


def test_written_and_read(tmp_path):
    path = tmp_path / "phone.toml"
    path.write_bytes(profile_bytes(PROFILE))
    assert read_lens_profile(path) == PROFILE
    assert is_sealed(path.read_bytes())
    assert profile_bytes(PROFILE) == profile_bytes(PROFILE)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: "no toml at all", "no TOML"),
        (lambda text: text.replace("digitize-lens", "other"), "expected a lens profile"),
        (lambda text: text.replace("k1 = 0.031", "k1 = 31.0"), "k1 = 31.0"),
        (lambda text: text.replace("[lens]", "[glass]"), "missing"),
        (lambda text: text.replace("width_px = 4032", 'width_px = "wide"'), "width_px"),
        (lambda text: text.replace("focal_per_width = 0.7", "focal_per_width = -0.7"), "focal_per_width"),
        (lambda text: text.replace("k2 = -0.00420000", "k2 = nan"), "k2"),
    ],
)
def test_a_file_that_is_none_is_refused(tmp_path, change, words):
    path = tmp_path / "phone.toml"
    path.write_text(change(profile_bytes(PROFILE).decode()))
    with pytest.raises(UsageError, match=words):
        read_lens_profile(path)


def test_no_file(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        read_lens_profile(tmp_path / "none.toml")


# --- another picture ---------------------------------------------------------------------------------------------


def test_the_same_picture_at_half_size():
    whole, half = PROFILE.knowledge(4032, 3024), PROFILE.knowledge(2016, 1512)
    assert half.lens.focal_px == pytest.approx(whole.lens.focal_px / 2)
    assert np.subtract(half.lens.centre_px, (1007.5, 755.5)) == pytest.approx(
        np.subtract(whole.lens.centre_px, (2015.5, 1511.5)) / 2
    )
    assert half.lens.k1 == whole.lens.k1
    assert half.sd[1] == pytest.approx(whole.sd[1] / 2)


def test_a_profile_s_focal_length_is_that_of_its_own_distance():
    """A lens of 4 mm, made sharp at 400 instead of 300 mm, moves by 4^2 (1 / 300 - 1 / 400) mm: a part of 0.0033."""
    known = replace(PROFILE, sd=(0.0, *PROFILE.sd[1:])).knowledge(4032, 3024)
    assert known.sd[0] == pytest.approx(4 * (1 / 300 - 1 / 400), rel=0.15)
    assert replace(PROFILE, sd=(0.01, *PROFILE.sd[1:])).knowledge(4032, 3024).sd[0] == pytest.approx(0.0104, rel=0.02)


def test_upright_picture_of_a_lying_profile():
    """Turned by a program that does not tell to which side: the middle, with the offset as deviation."""
    turned = PROFILE.knowledge(3024, 4032)
    assert turned.lens.centre_px == (1511.5, 2015.5)
    assert turned.sd[1] >= 4032 * np.hypot(0.0021, 0.0013)
    assert turned.lens.focal_px == pytest.approx(0.7688123 * 4032)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_principal_point_turns_with_the_picture(orientation):
    """A mark put on the principal point lies there in the upright picture, as Pillow turns it by EXIF."""
    from PIL import Image, ImageOps

    sensor = np.zeros((302, 403), np.uint8)
    x, y = 60, 210
    sensor[y, x] = 255
    image = Image.fromarray(sensor)
    tags = Image.Exif()
    tags[0x0112] = orientation
    image.info["exif"] = tags.tobytes()
    upright = np.asarray(ImageOps.exif_transpose(image))
    off = (x - 201, y - 150.5)
    profile = replace(
        PROFILE, width_px=403, height_px=302, centre_x=off[0] / 403, centre_y=off[1] / 403, sd=(0, 0.001, 0.002, 0, 0)
    )
    known = profile.knowledge(upright.shape[1], upright.shape[0], orientation)
    assert known.lens.centre_px == pytest.approx(tuple(np.argwhere(upright)[0][::-1]))
    lying = orientation <= 4
    assert known.sd[1:3] == pytest.approx((0.403, 0.806) if lying else (0.806, 0.403))


def test_a_profile_of_upright_photos_is_that_of_the_sensor(pictures, made):
    """The same photos marked as turned by 180 degrees: the sensor's principal point lies on the other side."""
    turned = [replace(p, camera=replace(p.camera, orientation=3)) for p in pictures]
    other = make_lens_profile(turned)
    assert (other.centre_x, other.centre_y) == pytest.approx((-made.centre_x, -made.centre_y))
    same = other.knowledge(*SIZE, 3)
    assert same.lens.centre_px == pytest.approx(made.knowledge(*SIZE).lens.centre_px)


def test_photos_held_in_two_ways(pictures):
    other = replace(pictures[1], camera=replace(pictures[1].camera, orientation=3))
    with pytest.raises(PictureError, match="the same way up"):
        make_lens_profile([*pictures[:2], other])


def test_cropped_picture_is_refused():
    with pytest.raises(UsageError, match="cropped"):
        PROFILE.knowledge(4032, 2268)


def test_lines_for_a_person():
    text = "\n".join(profile_lines(PROFILE))
    assert "8 photos" in text
    assert "3099.9 px +- 0.12 %" in text
    assert "k1 +0.03100 +- 0.00160" in text
