"""A sheet, or the lid in its dark frame, fills most of a scan: what lies on it is outlined, and it is said."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from digitize.hand.steps import Corrections, Step
from digitize.reading.array import picture_from_pixels
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings

SHAPE = 700, 900  # px
WOOD, DARK, WHITE = (150, 110, 70), (36, 36, 36), (238, 238, 238)


def scan(things, *, room=(30, 30, 40, 30), dpi=150.0, ground=DARK, **options):
    """A white page, the ground on its four sides (top, bottom, left, right; px), and boxes of a colour on it."""
    page = np.zeros(SHAPE)
    top, bottom, left, right = room
    page[top : SHAPE[0] - bottom, left : SHAPE[1] - right] = 1.0
    codes = np.full((*SHAPE, 3), 1.0) * WHITE
    for (y0, y1, x0, x1), colour in things:
        cover = np.zeros(SHAPE)
        cover[y0:y1, x0:x1] = 1.0
        cover = gaussian_filter(cover, 1.0)[..., None]
        codes = codes * (1 - cover) + cover * colour
    shown = gaussian_filter(page, 1.0)[..., None]
    codes = codes * shown + (1 - shown) * ground + np.random.default_rng(2).normal(0, 1.5, codes.shape)
    picture = picture_from_pixels(np.clip(np.rint(codes), 0, 255).astype(np.uint8))
    return outline_picture(
        picture, Settings(**{"dpi": None if "square_mm" in options else (dpi, dpi)} | options)
    ).result


def said(result):
    return {one.code: one for one in result.findings if one.code in ("things-on-sheet", "perhaps-sheet")}


TAG, KEY = (200, 400, 200, 450), (250, 350, 550, 650)


def test_things_on_a_sheet_are_outlined_and_not_the_sheet():
    result = scan([(TAG, WOOD), (KEY, (40, 60, 150))])
    assert sorted(round(item.width_mm, 1) for item in result.items) == pytest.approx([16.9, 42.3], abs=0.25)
    finding = said(result)["things-on-sheet"]
    assert finding.attention
    assert "2 things" in finding.message
    assert "one thing" in said(scan([(TAG, WOOD)]))["things-on-sheet"].message


def test_a_shade_along_both_sides_of_a_sheets_corner_is_no_thing():
    corner = [((30, 50, 40, 88), (190, 190, 190)), ((30, 78, 40, 60), (190, 190, 190))]
    (item,) = scan([(TAG, WOOD), *corner]).items
    assert item.width_mm == pytest.approx(42.3, abs=0.25)


def drawn(left, top, right, bottom):
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    return Corrections(steps=(Step(do="draw", at=corners),))


def test_a_border_drawn_round_the_sheet_makes_it_the_item_and_nothing_else_is_said():
    things = [(TAG, WOOD), (KEY, (40, 60, 150))]
    result = scan(things, by_hand=drawn(39.5, 29.5, 869.5, 669.5))
    (item,) = result.items
    assert item.width_mm == pytest.approx((900 - 70) * 25.4 / 150, abs=0.2)
    assert not said(result)
    result = scan(things, by_hand=drawn(199.5, 199.5, 449.5, 399.5))  # one of the things: the other stands
    assert sorted(round(item.width_mm, 1) for item in result.items) == pytest.approx([16.9, 42.3], abs=0.25)
    assert "2 things" in said(result)["things-on-sheet"].message


def test_a_page_on_which_the_reference_lies_is_a_sheet_however_small():
    result = scan([((120, 320, 120, 320), DARK), ((400, 500, 500, 700), WOOD)], square_mm=(20.0, 20.0))
    (item,) = result.items  # 0.1 mm a pixel
    assert (item.width_mm, item.height_mm) == pytest.approx((20.0, 10.0), abs=0.1)
    assert not said(result)


@pytest.mark.parametrize(
    ("things", "dpi"), [([(TAG, WOOD)], 300.0), ([(TAG, DARK)], 150.0)], ids=["smaller than paper", "perhaps holes"]
)
def test_what_may_be_a_printed_or_pierced_plate_is_the_item_and_said(things, dpi):
    result = scan(things, dpi=dpi)
    (item,) = result.items
    assert item.width_mm == pytest.approx((900 - 70) * 25.4 / dpi, abs=0.2)
    assert said(result)["perhaps-sheet"].attention


def test_dark_things_on_a_lit_table_that_the_border_cuts_are_outlined():
    result = scan([(TAG, DARK), (KEY, DARK)], room=(0, 120, 160, 140))
    assert sorted(round(item.width_mm, 1) for item in result.items) == pytest.approx([16.9, 42.3], abs=0.25)
    assert said(result)["things-on-sheet"].attention


def test_a_plain_plate_that_fills_the_picture_is_the_item():
    result = scan([])
    (item,) = result.items
    assert item.height_mm == pytest.approx(640 * 25.4 / 150, abs=0.2)
    assert not said(result)
