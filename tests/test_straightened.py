"""Corners that a scanning program filled when it turned a page are no picture; against the corners the turn gives."""

import cv2
import numpy as np
import pytest
import shapely

from digitize.reading.reduced import reduce_picture
from digitize.silhouette.find import find_silhouettes
from digitize.silhouette.straightened import shown_part
from digitize.silhouette.ways import Ask
from tests.rendered import as_picture

W, H, DPI = 600, 800, 100
THINGS = ((100, 150, 220, 330), (330, 420, 480, 650))  # x0, y0, x1, y1 on the page


def page(lid=225, *, rim=0):
    """A scanned page: a grainy lid with two dark things, and a dark rim at its left."""
    codes = np.full((H, W, 3), float(lid))
    for x0, y0, x1, y1 in THINGS:
        codes[y0:y1, x0:x1] = (60, 90, 50)
    codes[:, :rim] = 20
    return np.clip(codes + np.random.default_rng(2).normal(0, 1.5, codes.shape), 0, 255).astype(np.uint8)


def turned(codes, degrees, fill):
    """The page turned on a canvas that just holds it, and its corners there (4, 2)."""
    h, w = codes.shape[:2]
    a = np.radians(degrees)
    size = int(w * abs(np.cos(a)) + h * abs(np.sin(a))), int(h * abs(np.cos(a)) + w * abs(np.sin(a)))
    matrix = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), degrees, 1.0)
    matrix[:, 2] += (np.array(size) - (w, h)) / 2
    made = cv2.warpAffine(codes, matrix, size, flags=cv2.INTER_CUBIC, borderValue=(fill,) * 3)
    return made, cv2.transform(np.array([[(0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1)]], float), matrix)[0]


def part_of(codes):
    picture = as_picture(codes)
    return shown_part(picture, reduce_picture(picture))


@pytest.mark.parametrize("fill", [0, 255, 128])
@pytest.mark.parametrize("degrees", [7.0, -3.0, 1.0])
def test_filled_corners_are_told_from_the_page(fill, degrees):
    codes, corners = turned(page(), degrees, fill)
    part = part_of(codes)
    true = np.zeros(codes.shape[:2], np.uint8)
    cv2.fillPoly(true, [np.rint(corners).astype(np.int32)], 1)
    assert not part[true == 0].any()
    inner = cv2.erode(true, np.ones((9, 9), np.uint8), borderValue=0) > 0
    assert part[inner].all()


def test_a_lid_as_white_as_the_fill_hides_some_of_its_border():
    codes = page()
    codes[200:500, :200] = 255  # clipped, from the border inward
    codes, corners = turned(codes, 5.0, 255)
    page_part = shapely.Polygon(corners).area / codes.shape[0] / codes.shape[1]
    assert part_of(codes).mean() == pytest.approx(page_part, abs=0.02)


@pytest.mark.parametrize(
    "codes",
    [
        page(),
        turned(page(lid=255), 0.0, 255)[0],
        cv2.copyMakeBorder(turned(page(lid=40), 5.0, 255)[0], 20, 20, 20, 20, cv2.BORDER_CONSTANT, value=(255,) * 3),
    ],
    ids=["upright", "clipped", "a board aslant on a white lid"],
)
def test_whatever_else_a_picture_shows_is_all_of_it_picture(codes):
    assert part_of(codes).all()


@pytest.mark.parametrize("fill", [0, 255])
def test_things_on_a_turned_page_are_its_items_and_its_rim_is_none(fill):
    picture = as_picture(turned(page(rim=8), 4.0, fill)[0])
    seen = find_silhouettes(picture, reduce_picture(picture), (), (), Ask(mm_per_px=25.4 / DPI))
    areas = sorted(np.count_nonzero(region.mask) for region in seen.regions)
    assert areas == pytest.approx(sorted((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in THINGS), rel=0.01)
    assert not any(finding.code == "cut-by-border" for region in seen.regions for finding in region.findings)
