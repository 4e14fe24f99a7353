"""What coarse and two-level pictures leave unsure: rendered from exact areas, measured, against what is stated."""

from dataclasses import replace

import numpy as np
import pytest

from digitize.recipe.outline import outline_picture
from digitize.records import Density
from digitize.reference.picture_limits import has_two_levels, with_limits
from digitize.reference.scale import scale_from_density
from digitize.settings import Settings
from digitize.trust.uncertainty import length_k2_mm
from tests.rendered import as_picture, codes_of, scanned
from tests.truth.flatbed import Scene
from tests.truth.shapes import Shape, circle, rectangle

WIDTH_MM, HEIGHT_MM = 33.3, 21.7


def scene(dpi, *, item=None, turn=4.0, seed=0, **look):
    made = Scene(84, 44, **{"dpi_x": dpi, "blur_px": 0.6, "noise_codes": 1.0, "background": 0.85, "seed": seed, **look})
    made.add_square(30, (20, 22), 4)
    made.add_item(Shape(rectangle(WIDTH_MM, HEIGHT_MM) if item is None else item), (61, 22), turn, 0.05)
    return made


def thresholded(picture, code):
    return as_picture(np.where(picture.pixels[..., :1] > code, 255, 0).astype(np.uint8))


def outlined(picture):
    return outline_picture(picture, Settings(square_mm=(30, 30))).result


def codes(findings):
    return [f.code for f in findings if f.code in ("picture-coarse", "two-level")]


def at(dpi):
    return scale_from_density(Density(dpi / 25.4, dpi / 25.4, "--dpi"), 10)


# --- coarse ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("dpi", "said"), [(36, True), (72, True), (76, True), (77, False), (100, False), (600, False)])
def test_pictures_of_less_than_three_pixels_a_millimetre_are_coarse(dpi, said):
    picture, _ = scanned(Scene(10, 10, dpi_x=100))
    limited = with_limits(at(dpi), picture)
    found = [f for f in limited.findings if f.code == "picture-coarse"]
    assert len(found) == said
    assert len(limited.budget) == len(at(dpi).budget) + said
    if said:
        assert found[0].attention
        assert found[0].value == pytest.approx(dpi / 25.4)
        assert found[0].limit == 3.0
        assert f"{dpi} dpi" in found[0].message


def box_of_rectangle(turn_deg):
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return WIDTH_MM * c + HEIGHT_MM * s, WIDTH_MM * s + HEIGHT_MM * c


@pytest.mark.parametrize(("dpi", "turn"), [(30, 4.0), (30, 30.0), (36, 4.0), (50, 4.0)])  # at 30 degrees 0.18 mm off
def test_the_stated_uncertainty_covers_what_coarse_pictures_are_off(dpi, turn):
    for seed in range(3):
        result = outlined(scanned(scene(dpi, turn=turn, seed=seed))[0])
        assert codes(result.findings) == ["picture-coarse"]
        (item,) = result.items
        width, height = box_of_rectangle(turn)
        assert abs(item.width_mm - width) < length_k2_mm(item)
        assert abs(item.height_mm - height) < length_k2_mm(item)


# --- two levels --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", [70, 110, 150, 200])
def test_line_art_is_said_and_its_uncertainty_covers_where_the_threshold_lay(code):
    # a disc: of sharp corners a threshold takes more than of the edge
    result = outlined(thresholded(scanned(scene(150, item=circle(WIDTH_MM)))[0], code))
    assert codes(result.findings) == ["two-level"]
    (item,) = result.items
    for size in (item.width_mm, item.height_mm):
        assert abs(size - WIDTH_MM) < length_k2_mm(item)
    # an edge lies anywhere within a pixel: at least 1 / sqrt(12) of it as standard deviation (JCGM 100, 4.3.7)
    assert item.uncertainty.profile_k2_mm >= 2 / np.sqrt(12) * 25.4 / 151


def test_line_art_in_colour_grey_of_16_bit_and_after_jpeg_is_line_art():
    import cv2

    grey = thresholded(scanned(scene(150))[0], 128).pixels
    assert has_two_levels(as_picture(np.repeat(grey, 3, axis=2)))
    assert has_two_levels(as_picture(grey.astype(np.uint16) * 257))
    softer = np.where(grey > 0, 240, 20).astype(np.uint8)
    written = cv2.imencode(".jpg", softer, [cv2.IMWRITE_JPEG_QUALITY, 95])[1]
    assert has_two_levels(as_picture(cv2.imdecode(written, cv2.IMREAD_GRAYSCALE)[..., None]))


@pytest.mark.parametrize("blur", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("noise", [0.0, 1.5])
def test_scans_in_grey_are_none_however_clean_and_sharp(blur, noise):
    picture, _ = scanned(scene(150, blur_px=blur, noise_codes=noise))
    assert not has_two_levels(picture)
    assert not has_two_levels(replace(picture, pixels=np.ascontiguousarray(picture.pixels[..., :1])))


def test_one_colour_and_one_pixel_are_no_line_art():
    assert not has_two_levels(as_picture(np.full((1, 1, 1), 7, np.uint8)))
    assert not has_two_levels(as_picture(np.full((90, 90, 3), 255, np.uint8)))
    assert not has_two_levels(as_picture(codes_of(np.full((60, 60, 1), 0.5), noise_codes=2)))
