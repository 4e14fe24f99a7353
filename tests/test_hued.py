"""Things of a hue of their own amid shade, ink and glare, on light made by hand; and a real photo of plants."""

import cv2
import numpy as np
import pytest

import digitize
from digitize.reading.reduced import Blocks, Reduced
from digitize.silhouette.background import Fitted
from digitize.silhouette.clutter import strokes_of
from digitize.silhouette.hued import patches_of_hue
from tests.test_camera import data_folder

H, W = 160, 240
PX_MM = 0.2
PAPER = np.array([0.62, 0.55, 0.5], np.float32)
LEAF, INK, GLARE = (0.12, 0.30, 0.06), (0.05, 0.06, 0.09), (1.5, 1.5, 1.45)  # of the paper's light
PLACE, OTHER = (70, 80), (170, 80)


def disc(place, radius):
    x, y = np.meshgrid(np.arange(W), np.arange(H))
    return np.hypot(x - place[0], y - place[1]) <= radius


def seen(*things, shade=0.3, paper=PAPER, blocks=None, taken=None, dust_mm=1.0):
    """What is found of things (mask, part of the paper's light), a deep and crisp shadow over the lower half."""
    part = np.ones((H, W, 1), np.float32)
    part[60:] = shade
    light = paper * part * np.ones((H, W, 3), np.float32)
    for mask, colour in things:
        light[mask] = light[mask] * np.array(colour, np.float32)
    light = cv2.GaussianBlur(light, (0, 0), 0.7)
    light += np.random.default_rng(2).normal(0, 0.001, light.shape).astype(np.float32)
    reduced = Reduced(np.zeros((H, W, 3), np.uint8), np.clip(light, 0, 1), 1, blocks)
    lid = np.full((H, W, 3), paper, np.float32)
    behind = Fitted(lid, (W, H), np.full(3, 0.01, np.float32), paper)
    taken = np.zeros((H, W), bool) if taken is None else taken
    free = np.ones((H, W), bool)
    return patches_of_hue(reduced, behind, free, taken, pixel_mm=PX_MM, dust_mm=dust_mm)


def is_all_of(found, mask):
    kernel = np.ones((5, 5), np.uint8)
    wide, core = cv2.dilate(mask.astype(np.uint8), kernel), cv2.erode(mask.astype(np.uint8), kernel)
    return not found[wide == 0].any() and bool(found[core > 0].all())


def test_a_leaf_in_a_shadow_is_found_alone_beside_ink_and_glare():
    leaf = disc(PLACE, 14)
    assert is_all_of(seen((leaf, LEAF), (disc(OTHER, 14), INK), (disc((200, 30), 12), GLARE)), leaf)


@pytest.mark.parametrize(
    "otherwise",
    [
        {"taken": disc((70, 100), 8)},  # a part of what was found
        {"dust_mm": 3.0},  # 25 mm2 are dust then
        {"paper": PAPER * 0.2},
        {"blocks": Blocks(np.full(3, 130.0), np.zeros((256, 3), np.float32))},  # a JPEG's colours may be off by more
    ],
)
def test_a_leaf_is_none_where(otherwise):
    assert not seen((disc(PLACE, 14), LEAF), **otherwise).any()


def test_a_nearly_black_middle_is_the_leaf_s_own_and_a_shaded_gap_is_not():
    lobes, middle = disc((48, 90), 14) | disc((96, 90), 14), disc((72, 90), 12)
    vein = np.zeros((H, W), bool)
    vein[87:93, 48:96] = True
    assert is_all_of(seen((lobes | vein, LEAF), (middle & ~(lobes | vein), (0.02, 0.02, 0.02))), lobes | vein | middle)
    lobes = disc((57, 90), 14) | disc((87, 90), 14)
    gap = disc((72, 80), 4) & ~lobes
    stem = np.zeros((H, W), bool)
    stem[88:94, 60:84] = True
    found = seen((lobes | stem, LEAF), (gap & ~stem, (0.6, 0.6, 0.6)))
    assert is_all_of(found, lobes | stem)


def test_strokes_are_told_from_the_shade_in_their_loops():
    mask = disc(PLACE, 14)
    stroke = mask & ~disc(PLACE, 7)
    light = np.where(stroke[mask][:, None], 0.05, 0.3).astype(np.float32) * np.ones(3, np.float32)
    assert (strokes_of(mask, light, PAPER) == stroke).all()
    print_ = np.where(disc(PLACE, 6)[mask][:, None], 0.05, 0.3).astype(np.float32) * np.ones(3, np.float32)
    assert (strokes_of(mask, print_, PAPER) == mask).all()  # dark print on something pale: all of that is the thing


@pytest.mark.open_data(str(data_folder() / "p5.jpg"))
def test_plants_in_a_dish_are_found_however_the_phone_is_held(tmp_path):
    """massivejords/Agar-plate-leaf-area, MIT: by half a turn the dish's shadow was taken for all there is."""
    from PIL import Image

    photo = Image.open(data_folder() / "p5.jpg")
    path = tmp_path / "turned.jpg"
    photo.rotate(180).save(path, quality=93, exif=photo.getexif().tobytes())
    found = digitize.outline(path, square_mm=10, tolerance_mm=0.3)
    large, small = sorted((item.area_mm2 for item in found.items), reverse=True)
    assert large == pytest.approx(52.5, rel=0.1)  # as the photo as it is has them
    assert small == pytest.approx(20.5, rel=0.1)
