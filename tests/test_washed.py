"""Edges that come about over a longer way in one place: glare that runs out over them, in photos."""

from dataclasses import replace

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


def test_glare_over_an_edge_in_a_photo_is_said(tmp_path):
    scene = scene_of(eye())
    scene.add_square((50, 50), (-45, 5), 20)
    truth = scene.add_item(shape_of("pebble"), (40, -5), 30, height_mm=0.0)
    photo = scene.render()
    (x, y), scale = photo.camera.to_px(truth.outer.points[:1])[0], 5.0
    rows, columns = np.mgrid[: photo.pixels.shape[0], : photo.pixels.shape[1]]
    glare = np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * (1.2 * scale) ** 2))[..., None]
    light = linear_light(photo.pixels.astype(float))
    bright = codes_of(light + np.maximum(0.78 - light, 0) * glare)
    settings = Settings(square_mm=(50.0, 50.0), item_height_mm=0.0, tolerance_mm=LINES_MM)
    seen = {}
    for name, pixels in {"plain": photo.pixels, "glare": bright}.items():
        save_photo(tmp_path / f"{name}.jpg", replace(photo, pixels=pixels))
        picture = picture_from_bytes((tmp_path / f"{name}.jpg").read_bytes(), f"{name}.jpg")
        result = outline_picture(picture, settings).result
        off, item = score(result, truth)
        seen[name] = float(np.abs(off.distances_um).max()), {one.code for one in item.findings if one.attention}
    assert seen["plain"][0] < 100
    assert seen["plain"][1] == set()
    assert seen["glare"][0] > 500  # a bite that no one could fill for sure
    assert seen["glare"][1] == {"edge-washed-out"}
