"""Shade told from item, on light made by hand: a dark core, and a soft skirt of known colour beside it."""

import dataclasses

import cv2
import numpy as np
import pytest

from digitize.reading.reduced import Blocks, reduce_picture
from digitize.silhouette.background import Background
from digitize.silhouette.shade import above_blocks, departure_from, let_shade_go, with_own_hue

from .backgrounds import background_of
from .rendered import as_picture

H, W = 120, 200
PX_MM = 0.1
CORE = slice(0, 60)  # columns of the item
SKIRT = slice(60, 100)  # 4 mm that grow lighter toward the background
LID = 0.8


def look(colour, *, core=0.05, noise=0.002):
    """Light and what differs: beside the core the skirt loses the parts `colour` of the lid's light."""
    light = np.full((H, W, 3), LID, np.float32)
    x = np.arange(W)
    lost = np.clip((SKIRT.stop - x) / (SKIRT.stop - SKIRT.start), 0, 1)
    light *= 1 - lost[None, :, None] * np.asarray(colour, np.float32)
    light[:, CORE] = core
    light += np.random.default_rng(1).normal(0, noise, light.shape).astype(np.float32)
    differs = np.zeros((H, W), bool)
    differs[:, : SKIRT.stop - 2] = True
    return light, differs


def rest_of(light, differs, **of):
    behind = np.full_like(light, LID)
    noise = np.full(light.shape[2], 0.002, np.float32)
    return let_shade_go(light, background_of(behind, noise), differs, np.ones((H, W), bool), pixel_mm=PX_MM, **of)


@pytest.mark.parametrize("depth", [0.2, 0.4, 0.6])
def test_a_neutral_skirt_is_shade(depth):
    rest = rest_of(*look((depth,) * 3))
    assert rest[:, CORE].all()
    assert rest[:, SKIRT].mean() < 0.1


@pytest.mark.parametrize("colour", [(0.4, 0.4, 0.15), (0.15, 0.4, 0.4), (0.5, 0.3, 0.3)])
def test_a_coloured_skirt_is_item(colour):
    light, differs = look(colour)
    # near its end the skirt has no colour to speak of; where it has, it stays
    told = slice(SKIRT.start, SKIRT.start + 20)
    assert rest_of(light, differs)[:, told].mean() > 0.98


def test_deep_shade_may_be_tinted_a_little():
    # as on the leaves scan of the open data: ratios 0.40, 0.43 and 0.34 of the lid's red, green and blue
    assert rest_of(*look((0.60, 0.57, 0.64)))[:, SKIRT].mean() < 0.1


@pytest.mark.parametrize("channels", [1, 3])
def test_what_is_lighter_than_the_lid_is_no_shade(channels):
    light, differs = look((-0.2,) * 3)
    light = np.ascontiguousarray(light[..., :channels])
    assert np.array_equal(rest_of(light, differs), differs)


def test_a_soft_thing_without_a_core_stays():
    light, differs = look((0.5,) * 3, core=LID)
    differs[:, CORE] = False
    assert np.array_equal(rest_of(light, differs), differs)


def test_there_is_no_way_through_a_gap_of_two_pixels():
    # a flat grey item with shade below; above, its edge is lost along six rows, of which two are clear of the edges
    light, differs = look((0.3,) * 3, core=0.35 * LID)
    light[:75, SKIRT], differs[:75, SKIRT] = LID, False
    light[50:55, 20:60] = np.linspace(0.35, 0.99, 40)[:, None] * LID
    light[:, :20] = 0.02  # a print, so that the item would not lose most of itself
    rest = rest_of(light, differs)
    assert rest[:, CORE].mean() > 0.97
    assert rest[80:, SKIRT].mean() < 0.2


@pytest.mark.parametrize(
    ("core", "goes"), [((0.5, 0.1, 0.1), True), ((0.1, 0.1, 0.3), True), ((0.3, 0.25, 0.2), True), (0.2, False)]
)
@pytest.mark.parametrize("width", [15, 40])
def test_a_shadow_as_sharp_as_the_item_is_told_by_the_item_s_hue(core, goes, width):
    """Evenly half dark, its outer edge blurred as the item's: beside a grey item it may as well be part of it."""
    light = np.full((H, W, 3), LID, np.float32)
    light[:, SKIRT.start : SKIRT.start + width] *= 0.5
    light[:, CORE] = core
    light = cv2.GaussianBlur(light, (0, 0), 2.6)
    light += np.random.default_rng(1).normal(0, 0.002, light.shape).astype(np.float32)
    differs = np.zeros((H, W), bool)
    differs[:, : SKIRT.start + width + 2] = True
    rest = rest_of(light, differs)
    assert rest[:, : CORE.stop - 3].mean() > 0.95
    shadow = rest[:, SKIRT.start + 3 : SKIRT.start + width - 3].mean()
    assert shadow < 0.05 if goes else shadow > 0.98


@pytest.mark.parametrize("depth", [0.8, 0.9])
def test_where_less_than_three_tenths_of_the_light_is_left_it_is_no_shade(depth):
    """Falling off evenly over 40 columns from `depth` lost: more than 0.7 of the light is lost in so many of them."""
    rest = rest_of(*look((depth,) * 3))
    dark = int(40 * (1 - 0.7 / depth))
    assert rest[:, SKIRT.start : SKIRT.start + dark - 1].mean() > 0.99
    assert rest[:, SKIRT.start + dark + 4 : SKIRT.stop].mean() < 0.05


def test_shade_does_not_go_as_far_as_black():
    rest = rest_of(*look((0.95,) * 3))
    assert rest[:, SKIRT.start : SKIRT.start + 8].all()


# --- what a high cut took off with the shade ----------------------------------------------------------------------


def leaf(*, pale=(0.36, 0.34, 0.12), hole=(0.45, 0.44, 0.43)):
    """Light, the item that a high cut left, and the rest of its patch: a pale part of the leaf, a hole, and shade."""
    light = np.full((H, W, 3), LID, np.float32)
    light[20:100, 20:160] = (0.10, 0.20, 0.02)  # the leaf
    light[100:112, 15:165] = LID * 0.5  # its shade
    light[20:100, 20:60] = pale  # to the leaf's edge
    light[50:62, 35:50] = hole
    patch = np.zeros((H, W), bool)
    patch[20:112, 15:165] = True
    kept = np.zeros((H, W), bool)
    kept[20:100, 60:160] = True
    patch[20:100, 15:20] = patch[20:100, 160:165] = False
    return light, kept, patch & ~kept


def with_hue(light, kept, dropped):
    behind = background_of(np.full_like(light, LID), np.full(3, 0.002, np.float32))
    return with_own_hue(light, behind, kept, dropped)


def test_a_pale_part_of_a_leaf_comes_back_and_its_shade_and_hole_do_not():
    whole = with_hue(*leaf())
    assert whole[21:99, 21:159].mean() > 0.97
    assert not whole[52:60, 37:48].any()  # the lid, in the leaf's own shade
    assert not whole[101:].any()


def test_a_tinged_place_that_the_leaf_encloses_is_no_hole():
    assert with_hue(*leaf(hole=(0.42, 0.40, 0.28)))[21:99, 21:159].all()


def test_what_is_grey_stays_out():
    light, kept, dropped = leaf(pale=(0.4, 0.4, 0.39))
    assert np.array_equal(with_hue(light, kept, dropped), kept)
    assert np.array_equal(
        with_own_hue(light[:, :, :1], background_of(light[:, :, :1], np.zeros(1)), kept, dropped), kept
    )


@pytest.mark.parametrize("faint", [False, True])
def test_a_block_that_was_rounded_to_another_step_counts_for_nothing(faint):
    plain = as_picture(np.full((80, 96, 3), 200, np.uint8))
    picture = dataclasses.replace(plain, block_steps=(5.0, 6.9))  # as at quality 20
    codes = picture.pixels.copy()
    codes[32:48, 32:48] += np.floor(Blocks.of(picture).off).astype(np.uint8)
    reduced = reduce_picture(dataclasses.replace(picture, pixels=codes))
    fitted = background_of(reduce_picture(plain).light[:], np.full(3, 5e-4, np.float32)).fitted
    assert departure_from(reduced.light, Background(fitted), faint=faint).max() > 1
    calmed = above_blocks(fitted, reduced, faint=faint)
    assert departure_from(reduced.light, Background(calmed), faint=faint).max() < 1
    assert above_blocks(fitted, reduce_picture(plain), faint=faint) is fitted


@pytest.mark.parametrize(("colour", "gone"), [((0.04, 0.08, 0.02), True), ((0.05, 0.05, 0.05), False)])
def test_a_dark_leaf_has_a_hue_of_its_own_beside_which_grey_shade_is_let_go(colour, gone):
    """Of nearly black light channels hardly lie apart; as parts of that light they do. Grey things keep such shade."""
    x, y = np.meshgrid(np.arange(W), np.arange(H))
    thrown = 0.5 * np.clip(0.5 - (np.hypot(x - 70, y - 64) - 20) / 8, 0, 1)
    leaf = np.hypot(x - 60, y - 60) <= 20
    light = np.where(leaf[..., None], colour, LID * (1 - thrown)[..., None]).astype(np.float32)
    light = cv2.GaussianBlur(light, (0, 0), 0.7)
    light += np.random.default_rng(1).normal(0, 0.002, light.shape).astype(np.float32)
    differs = np.abs(light - LID).max(axis=2) > 0.05
    rest = rest_of(light, differs, of_photo=True)
    assert rest[leaf].mean() > 0.99
    assert (rest[differs & ~leaf].mean() < 0.3) == gone
