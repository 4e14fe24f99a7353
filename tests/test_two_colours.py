"""When an item's two colours are two items: a plate 100 x 60 px painted by hand, its step, share and places varied."""

from __future__ import annotations

import numpy as np
import pytest

from digitize.silhouette.two_colours import perhaps_two_colours

NOISE = 0.004  # linear light
PIXEL_MM = 0.2


def plate(scale=1):
    """Light 0.30 all over, and where the item lies."""
    light = np.full((80 * scale, 120 * scale, 3), 0.30, np.float32)
    own = np.zeros(light.shape[:2], bool)
    own[10 * scale : -10 * scale, 10 * scale : -10 * scale] = True
    return light, own


def said(light, own, pixel_mm=PIXEL_MM, noise=NOISE):
    grain = np.random.default_rng(5).normal(0, noise, light.shape)
    found = perhaps_two_colours((light + grain).astype(np.float32), own, pixel_mm)
    return found[0] if found else None


def lighter(step):
    """0.30 with a step in the square root of light, as eyes and codes have it (0.05: 13 codes of 255)."""
    return (np.sqrt(0.30) + step) ** 2


@pytest.mark.parametrize(("step", "two"), [(0.03, False), (0.08, True), (0.15, True)])
def test_a_shade_of_difference_is_none(step, two):
    light, own = plate()
    light[:, 60:] = lighter(step)
    finding = said(light, own, noise=0.001)
    assert bool(finding) == two
    if two:
        assert finding.value == pytest.approx(step, abs=0.005)


@pytest.mark.parametrize(("columns", "two"), [(4, False), (15, True), (50, True)])
def test_a_hem_is_no_item(columns, two):
    """4, 15 and 50 of 100 columns; a blank beside another is no strip of a few per cent."""
    light, own = plate()
    light[:, : 10 + columns] = lighter(0.2)
    assert bool(said(light, own)) == two


def test_grain_as_wide_as_the_step_is_one_item():
    light, own = plate()
    light[:, 60:] = lighter(0.12)
    assert said(light, own)
    assert not said(light, own, noise=0.05)  # of light: 0.045 of its root either side, of a step of 0.12


def test_what_lies_in_crumbs_is_a_pattern():
    light, own = plate()
    light[:, 60:] = lighter(0.2)
    light[12:32, 14:34] = light[48:68, 30:50] = lighter(0.2)  # 400 px each beside 3000: 79 % in one piece
    assert not said(light, own)


@pytest.mark.parametrize(("rows", "two"), [((10, 70), True), ((13, 67), False)])
def test_what_the_item_surrounds_is_an_inlay(rows, two):
    """Across all of the width it may be an item between two others' halves; framed it is a print."""
    light, own = plate()
    left = 10 if two else 16
    light[rows[0] : rows[1], left:50] = lighter(0.2)
    assert bool(said(light, own)) == two


def test_an_inlay_that_begins_at_the_edge_is_no_item():
    """50 x 12 px of 100 x 60, its short side on the rim: a tenth of its border is the item's own."""
    light, own = plate()
    light[34:46, 10:60] = lighter(0.2)
    assert not said(light, own)
    light[10:34, 10:60] = light[34:46, 10:60] = lighter(0.2)  # a quarter of the item, two of its sides on the rim
    assert said(light, own)


def test_a_print_that_runs_out_over_the_edge_is_a_print():
    """34 x 54 px of it within the item, and a tongue 10 px wide to the rim: 6 % of its border is the item's own."""
    light, own = plate()
    light[13:67, 16:50] = light[35:45, 10:16] = lighter(0.2)
    assert not said(light, own)


def test_the_pieces_areas_are_told_in_square_millimetres():
    """Painted four times as fine, looked at thinned: 40 x 60 and 60 x 60 px of 0.2 mm are 96 and 144 mm2."""
    light, own = plate(4)
    light[:, 200:] = lighter(0.2)
    words = said(light, own, PIXEL_MM / 4).message
    numbers = [float(word) for word in words.replace("(", " ").split() if word.isdigit()]
    assert sorted(numbers) == pytest.approx([96, 144], rel=0.08)


@pytest.mark.parametrize(("columns", "two"), [(13, True), (10, True), (6, False)])
def test_a_part_of_a_tenth_counts_and_one_of_a_twentieth_does_not(columns, two):
    light, own = plate()
    light[:, 110 - columns :] = lighter(0.15)
    assert bool(said(light, own)) == two
