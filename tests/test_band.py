"""The mask at full resolution: half-way level along the edge, holes, shade and specks; truth by exact coverage."""

import numpy as np
import pytest

from digitize.reading.reduced import reduce_picture
from digitize.silhouette.band import decide_band, fill_specks, follow_borders, local_levels, open_shaded_holes
from tests.rendered import as_picture, box_px, circle_px, codes_of, mask_of, polygon_px
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage


def scene(rings, shape=(160, 240), *, inside=(0.1, 0.1, 0.1), outside=(0.85, 0.85, 0.85), noise=1.5, blur=0.8):
    canvas = np.broadcast_to(np.array(outside, np.float32), (*shape, 3)).copy()
    paint(canvas, blurred_coverage(rings, shape, blur), inside)
    return as_picture(codes_of(canvas, noise_codes=noise))


def decided(rings, factor, off=1.0, **look):
    """Mask of a drawn polygon at full resolution, from a coarse mask that is `off` coarse pixels too small."""
    shape = (160, 240)
    picture = scene(rings, shape, **look)
    h, w = shape[0] // factor, shape[1] // factor
    light = np.stack([picture.to_linear[:, c][picture.pixels[..., c]] for c in range(3)], axis=2)
    light = light[: h * factor, : w * factor].reshape(h, factor, w, factor, 3).mean(axis=(1, 3)).astype(np.float32)
    true = mask_of(rings, shape)
    coarse = true[: h * factor, : w * factor].reshape(h, factor, w, factor).mean(axis=(1, 3)) > 0.5
    import cv2

    own = cv2.erode(coarse.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=round(off)) > 0 if off else coarse
    clear = cv2.dilate(coarse.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    behind = np.broadcast_to(np.array(look.get("outside", (0.85,) * 3), np.float32), light.shape)
    levels = local_levels(light, behind, own, clear)
    return decide_band(picture, factor, own, (0, 0), levels), true[: h * factor, : w * factor], levels


@pytest.mark.parametrize("factor", [1, 2, 4])
@pytest.mark.parametrize(
    "look",
    [
        {},
        {"inside": (0.45,) * 3, "outside": (0.8,) * 3, "noise": 3.0},
        {"inside": (0.06,) * 3, "outside": (0.025,) * 3},
        {"inside": (0.03, 0.07, 0.28), "outside": (0.22, 0.36, 0.62)},
    ],
    ids=["dark", "low contrast", "on black", "blue"],
)
def test_pixels_are_item_where_it_covers_half_of_them(look, factor):
    rings = [polygon_px((118.3, 81.1), 62, 7, 12), circle_px((118, 80), 22)]
    mask, true, levels = decided(rings, factor, **look)
    wrong = np.argwhere(mask != true)
    # a pixel just at half coverage may go either way, further off none may
    exact = blurred_coverage(rings, true.shape, 0.0)
    share = np.zeros(true.shape)
    share[exact.slices] = exact.values
    assert len(wrong) < 0.12 * 2 * np.pi * (62 + 22)
    assert all(0.2 < share[y, x] < 0.8 for y, x in wrong) or look.get("noise")
    assert abs(int(mask.sum()) - int(true.sum())) < 0.06 * 2 * np.pi * (62 + 22)
    inside, outside = look.get("inside", (0.1,) * 3), look.get("outside", (0.85,) * 3)
    assert levels.contrast == pytest.approx(np.linalg.norm(np.subtract(inside, outside)), rel=0.05)


def test_levels_are_1_on_the_item_and_0_beyond_it():
    picture = scene([circle_px((120, 80), 50)], noise=0)
    light = reduce_picture(picture).light[:]
    own = mask_of([circle_px((120, 80), 48)], (160, 240)) > 0
    clear = mask_of([circle_px((120, 80), 53)], (160, 240)) == 0
    levels = local_levels(light, np.full_like(light, 0.85), own, clear)
    value = (levels.gain[..., :3] * light).sum(axis=2) - levels.gain[..., 3]
    assert value[own].min() > 0.97
    assert np.abs(value[clear]).max() < 0.03


# --- holes, specks, borders --------------------------------------------------------------------------------------


def test_specks_smaller_than_dust_are_filled_and_holes_kept():
    own = np.zeros((60, 80), bool)
    own[5:55, 5:75] = True
    own[20:23, 20:23] = False
    own[20:40, 40:60] = False
    filled = fill_specks(own, 10.0)  # less twice the 2 px over which its rim's blur reaches: under 18 px2
    assert filled[20:23, 20:23].all()
    assert not filled[20:40, 40:60].any()
    assert not filled[:5].any()
    assert np.array_equal(fill_specks(own, 0.0), own)


def shaded_plate(hole_light, item=(0.42, 0.24, 0.11)):
    """A plate whose mask hides a hole through which the background is seen at `hole_light` of its light."""
    light = np.full((80, 120, 3), 0.85, np.float32)
    light[10:70, 10:110] = item
    light[30:50, 50:70] = 0.85 * hole_light
    own = np.zeros((80, 120), bool)
    own[10:70, 10:110] = True
    return light, np.full_like(light, 0.85), own


def test_a_hole_in_the_items_own_shade_is_opened():
    opened = open_shaded_holes(*shaded_plate(0.75), 5.0)
    assert not opened[32:48, 52:68].any()
    assert opened[12:28, 12:108].all()


@pytest.mark.parametrize("item", [(0.42, 0.24, 0.11), (0.1, 0.1, 0.1)])
def test_a_plain_plate_stays_whole(item):
    light, behind, own = shaded_plate(0.75, item)
    light[30:50, 50:70] = item
    assert np.array_equal(open_shaded_holes(light, behind, own, 5.0), own)


@pytest.mark.parametrize(("slope", "is_hole"), [(False, True), (True, False)])
def test_a_pale_place_that_the_item_fades_into_is_no_hole(slope, is_hole):
    """A grey item seen in one channel's worth of colour: only a step around it tells a hole from a pale place."""
    light, behind, own = shaded_plate(0.75, (0.42, 0.42, 0.42))
    if slope:
        y, x = np.mgrid[:80, :120]
        far = np.maximum(np.abs(y - 39.5), np.abs(x - 59.5))
        fading = np.clip(0.64 - 0.22 * (far - 4.0) / 24.0, 0.42, 0.64)
        light[own] = np.repeat(fading[..., None], 3, axis=2)[own]
    opened = open_shaded_holes(light, behind, own, 5.0)
    assert (not opened[39, 59]) == is_hole


def test_a_coloured_print_is_no_hole():
    light, behind, own = shaded_plate(0.75)
    light[30:50, 50:70] = (0.75, 0.6, 0.3)  # pale, but not the background's colour
    assert np.array_equal(open_shaded_holes(light, behind, own, 5.0), own)


def test_a_shaded_patch_smaller_than_dust_is_left():
    light, behind, own = shaded_plate(0.75)
    light[30:50, 50:70] = (0.42, 0.24, 0.11)
    light[38:40, 58:60] = 0.64
    assert np.array_equal(open_shaded_holes(light, behind, own, 5.0), own)


def test_borders_are_followed_outer_first_and_in_place():
    mask = mask_of([box_px((60.2, 40.2), (80, 50)), circle_px((45, 40), 10), circle_px((80, 40), 6)], (90, 130))
    (chains,) = follow_borders(mask, (1000, 500), dust_px=4.0, least_px2=200.0)
    assert len(chains) == 3
    outer = chains[0] - (1000, 500)
    assert mask[outer[:, 1], outer[:, 0]].all()
    assert outer.min(axis=0).tolist() == [21, 16]
    centres = sorted(((c.min(axis=0) + c.max(axis=0)) / 2 - (1000, 500)).tolist() for c in chains[1:])
    assert np.array(centres) == pytest.approx(np.array([(45, 40), (80, 40)]), abs=1)


def test_parts_large_enough_for_an_item_are_each_followed():
    mask = mask_of([circle_px((30, 30), 20)], (60, 160)) | mask_of([circle_px((80, 30), 15)], (60, 160))
    mask |= mask_of([circle_px((110, 30), 4)], (60, 160))
    assert len(follow_borders(mask, (0, 0), dust_px=4.0, least_px2=200.0)) == 2


def test_the_size_of_an_item_is_that_of_its_pixels():
    """Half-way between the lights a thing is as large in a dark scan as in a bright one; its blurred rim is not."""
    small = {"dust_px": 8.0, "least_px2": 400.0}
    assert follow_borders(mask_of([circle_px((20, 20), 10.8)], (40, 40)), (0, 0), **small) == []  # 366 px
    assert len(follow_borders(mask_of([circle_px((20, 20), 11.5)], (40, 40)), (0, 0), **small)) == 1  # 415 px


def test_dust_has_no_borders():
    small = {"dust_px": 8.0, "least_px2": 400.0}
    assert follow_borders(np.zeros((20, 20), np.uint8), (0, 0), **small) == []
    assert follow_borders(mask_of([circle_px((10, 10), 2)], (20, 20)), (0, 0), **small) == []
    plate = mask_of([box_px((40, 40), 60), circle_px((40, 40), 2)], (80, 80))
    (chains,) = follow_borders(plate, (0, 0), **small)
    assert len(chains) == 1
