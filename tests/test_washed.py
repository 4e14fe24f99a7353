"""Photos with glare over an edge, which is said, and sharpened ones, whose bright rims are no shadows."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from digitize.edge.washed import soft_stretches, washed_outs
from digitize.reading.picture import picture_from_bytes
from digitize.recipe.outline import outline_picture
from digitize.records import Contour, frozen_array
from digitize.settings import Settings
from tests.rendered import as_picture, codes_of
from tests.test_camera_photo import LINES_MM, eye, scene_of, score
from tests.truth.light import linear_light
from tests.truth.photo import save_photo
from tests.truth.scenes import shape_of

RADIUS_PX, BLUR_PX, SECTOR = 60.0, 0.9, np.radians(20)


def disc(*, blur_px=BLUR_PX, ground=0.8):
    """A dark disc whose edge has another blur, or another ground, in a sector to the right; its contour."""
    from scipy.special import ndtr

    y, x = np.mgrid[:200, :200] - 100.0
    here = np.abs(np.arctan2(y, x)) < SECTOR / 2
    light = np.where(here, ground, 0.8)
    light = 0.1 + (light - 0.1) * ndtr((np.hypot(x, y) - RADIUS_PX) / np.where(here, blur_px, BLUR_PX))
    turn = -2 * np.pi * np.arange(377) / 377
    points = frozen_array(100 + RADIUS_PX * np.column_stack([np.cos(turn), np.sin(turn)]), columns=2)
    contour = Contour(points, np.full(377, 0.02), (), is_hole=False, blur_px=BLUR_PX, contrast=0.7)
    return as_picture(codes_of(np.repeat(light[..., None], 3, axis=2), noise_codes=1.0)), contour


@pytest.mark.parametrize("blur_px", [3.0, 5.0])
def test_a_soft_stretch_is_found_and_where(blur_px):
    picture, contour = disc(blur_px=blur_px)
    (soft,) = soft_stretches(picture, [contour], mm_per_px=0.1)
    assert soft.long_mm == pytest.approx(0.1 * RADIUS_PX * SECTOR, abs=0.6)
    assert np.allclose(soft.place_px, (160, 100), atol=12)


def test_neither_a_clean_edge_is_soft_nor_a_faint_one_that_is_as_sharp():
    for look in ({}, {"ground": 0.4}, {"ground": 0.25}):
        picture, contour = disc(**look)
        assert soft_stretches(picture, [contour], mm_per_px=0.1) == [None]
    assert washed_outs(picture, [contour], mm_per_px=0.1) != [None]  # so faint that it is said as such


@cache
def pebble():
    """A photo of a pebble, and the truth."""
    scene = scene_of(eye())
    scene.add_square((50, 50), (-45, 5), 20)
    truth = scene.add_item(shape_of("pebble"), (40, -5), 30, height_mm=0.0)
    return scene.render(), truth


def outlined(tmp_path, pixels):
    """How far the outline is off, the largest and what 95 % hold, um, what is stated, and the LOOKs."""
    photo, truth = pebble()
    save_photo(tmp_path / "photo.jpg", replace(photo, pixels=pixels))
    picture = picture_from_bytes((tmp_path / "photo.jpg").read_bytes(), "photo.jpg")
    settings = Settings(square_mm=(50.0, 50.0), item_height_mm=0.0, tolerance_mm=LINES_MM)
    off, item = score(outline_picture(picture, settings).result, truth)
    looks = {one.code for one in item.findings if one.attention}
    return float(np.abs(off.distances_um).max()), off.p95_um, 1000 * item.uncertainty.profile_k2_mm, looks


def test_glare_over_an_edge_in_a_photo_is_said(tmp_path):
    photo, truth = pebble()
    (x, y), scale = photo.camera.to_px(truth.outer.points[:1])[0], 5.0
    rows, columns = np.mgrid[: photo.pixels.shape[0], : photo.pixels.shape[1]]
    glare = np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * (1.2 * scale) ** 2))[..., None]
    light = linear_light(photo.pixels.astype(float))
    largest, _, _, looks = outlined(tmp_path, photo.pixels)
    assert largest < 100
    assert looks == set()
    largest, _, _, looks = outlined(tmp_path, codes_of(light + np.maximum(0.78 - light, 0) * glare))
    assert largest > 500  # a bite that no one could fill for sure
    assert looks == {"edge-washed-out"}


@pytest.mark.parametrize(("radius_px", "share"), [(2.0, 1.0), (5.0, 0.3), (10.0, 0.3)])
def test_what_a_phone_sharpens_has_bright_rims_and_no_shadow(tmp_path, radius_px, share):
    pixels = pebble()[0].pixels.astype(np.float32)
    sharper = np.clip(pixels + share * (pixels - cv2.GaussianBlur(pixels, (0, 0), radius_px)), 0, 255).astype(np.uint8)
    _, off_um, stated_um, looks = outlined(tmp_path, sharper)
    assert off_um < stated_um
    assert stated_um > 60  # the trend of the light counts as ever
    assert looks == set()
