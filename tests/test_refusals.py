"""What is said of a card or square that will not do; and a hair over the code, which does no harm.

Pictures: the samples, which are rendered, with a hair drawn on them or a part cut away.
"""

import functools
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from digitize.errors import ScaleError
from digitize.reading.picture import read_picture
from digitize.reading.reduced import reduce_picture
from digitize.recipe.outline import outline_picture
from digitize.reference.codes import find_codes
from digitize.reference.locate import grey, locate_reference
from digitize.settings import Settings
from tests.test_camera_photo import beside_square, read, score
from tests.truth.light import png_bytes

ROOT = Path(__file__).resolve().parents[1]
DATA = Path(os.environ.get("DIGITIZE_DATA") or ROOT.parent / "shared" / "data")
HALF_SHEET = DATA / "20220621_161331.jpg"  # half a note of 79 mm, one side torn, turned by EXIF
SCAN, PHOTO = "tag.jpg", "badge.jpg"
ASKED = {
    SCAN: Settings(measured_mm=(53.9, 53.8)),
    PHOTO: Settings(measured_mm=(54.0, 54.0), item_height_mm=3.2),
}


def sample(name):
    return cv2.imread(str(ROOT / "samples" / name))[:, :, ::-1].copy()


def as_picture(pixels, tmp_path, dpi=300):
    path = tmp_path / "changed.png"
    path.write_bytes(png_bytes(np.ascontiguousarray(pixels), (dpi, dpi) if dpi else None))
    return read_picture(path)


def corners(picture):
    reduced = reduce_picture(picture)
    (seen,) = find_codes(grey(reduced))
    return reduced.to_full(seen.corners_px)


def with_hair(name, ends, *, width=3):
    pixels = sample(name)
    cv2.line(pixels, *ends, (90, 80, 70), width, cv2.LINE_AA)
    return pixels


def test_a_hair_over_a_corner_of_the_code_moves_no_corner(tmp_path):
    before = corners(read_picture(ROOT / "samples" / PHOTO))
    after = corners(as_picture(with_hair(PHOTO, ((640, 1310), (890, 1500))), tmp_path, dpi=None))
    assert np.abs(after - before).max() < 4  # 12 px where the detector's corner is believed


def test_a_card_with_a_hair_over_its_code_is_measured_by(tmp_path):
    picture = as_picture(with_hair(PHOTO, ((640, 1310), (890, 1500))), tmp_path, dpi=None)
    (item,) = outline_picture(picture, ASKED[PHOTO]).result.items
    (whole,) = outline_picture(as_picture(sample(PHOTO), tmp_path, dpi=None), ASKED[PHOTO]).result.items
    assert abs(item.width_mm - whole.width_mm) < 0.01
    assert abs(item.height_mm - whole.height_mm) < 0.01


@pytest.mark.parametrize(
    ("name", "part", "side"),
    [
        (SCAN, (slice(None), slice(260, None)), "left"),
        (SCAN, (slice(260, None), slice(None)), "upper"),
        (PHOTO, (slice(0, 1550), slice(None)), "lower"),
    ],
)
def test_a_card_whose_frame_is_cut_by_the_border_is_called_that(tmp_path, name, part, side):
    picture = as_picture(sample(name)[part], tmp_path, dpi=300 if name == SCAN else None)
    with pytest.raises(ScaleError, match=f"The {side} border of the picture cuts the reference card"):
        locate_reference(picture, reduce_picture(picture), ASKED[name])


@pytest.mark.parametrize(("name", "columns"), [(SCAN, slice(500, None)), (PHOTO, slice(680, None))])
def test_a_card_whose_code_is_cut_by_the_border_is_pointed_at(tmp_path, name, columns):
    picture = as_picture(sample(name)[:, columns], tmp_path, dpi=300 if name == SCAN else None)
    with pytest.raises(ScaleError, match="is cut by the border: if it is the card, move it inward"):
        locate_reference(picture, reduce_picture(picture), ASKED[name])


def test_a_card_whose_code_is_covered_is_pointed_at(tmp_path):
    pixels = sample(SCAN)
    cv2.circle(pixels, (540, 530), 130, (200, 190, 180), -1)
    picture = as_picture(pixels, tmp_path)
    with pytest.raises(ScaleError, match=r"whose code can be read .* clean its code"):
        locate_reference(picture, reduce_picture(picture), ASKED[SCAN])


def test_nothing_like_a_card_is_pointed_at_where_there_is_none(tmp_path):
    picture = as_picture(sample(SCAN)[:, 1040:], tmp_path)
    with pytest.raises(ScaleError, match="no reference card of ours, and no --square"):
        locate_reference(picture, reduce_picture(picture), Settings())


def test_half_a_square_said_by_both_sides_is_measured_by(tmp_path):
    scene, truth = beside_square(side=(50.0, 25.0))
    with pytest.raises(ScaleError, match=r"half a square.* such as --square 25x50"):
        outline_picture(read(tmp_path, scene), Settings(square_mm=(50.0, 50.0), item_height_mm=3.0))
    half = Settings(square_mm=(50.0, 25.0), item_height_mm=3.0)
    found, _ = score(outline_picture(read(tmp_path, scene), half).result, truth)
    assert found.p95_um < 120  # the aim of a photo with one square and the focal length from EXIF


@pytest.mark.open_data(HALF_SHEET)
@pytest.mark.parametrize(
    ("sides", "words"),
    [
        ((79.0, 79.0), r"about 5\d\d x 11\d\d px, half a square: .* such as --square 39.5x79"),
        ((39.5, 79.0), r"No 39.5 x 79 mm sheet fit to measure by .* has rounded or covered corners"),
        ((79.0, 39.5), r"No 79 x 39.5 mm sheet fit to measure by .* has rounded or covered corners"),
    ],
)
def test_a_torn_half_of_a_note_is_told_what_is_wrong_with_it(sides, words):
    picture, reduced = half_sheet()
    with pytest.raises(ScaleError, match=words):
        locate_reference(picture, reduced, Settings(square_mm=sides))


@functools.cache
def half_sheet():
    picture = read_picture(HALF_SHEET)
    return picture, reduce_picture(picture)
