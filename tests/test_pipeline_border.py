"""Items that fill the picture or run out of it, and strips that are no items."""

import numpy as np
import pytest

from digitize.errors import OutlineError
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from digitize.silhouette.background import estimate_background
from tests.rendered import scanned
from tests.sweeps import sweep
from tests.truth.flatbed import Scene
from tests.truth.shapes import Shape, rectangle

DPI = 150.0
NO_SQUARE = Settings(dpi=(DPI, DPI))


def page(lid, **look):
    return Scene(60, 40, **{"dpi_x": DPI, "background": lid, "gradient": (0.05, 0.05), "seed": 3} | look)


@sweep(
    ("margin", "lid", "colour"),
    [(m, *look) for m in (1.0, 2.0, 6.0) for look in ((0.03, 0.6), (0.02, 0.9), (0.06, 0.45), (0.85, 0.1))],
    [(1.0, 0.06, 0.45), (1.0, 0.85, 0.1), (2.0, 0.03, 0.6), (6.0, 0.02, 0.9), (6.0, 0.85, 0.1)],
)
def test_an_item_that_fills_the_picture_but_for_a_rim_is_found(margin, lid, colour):
    made = page(lid)
    made.add_item(Shape(rectangle(60 - 2 * margin, 40 - 2 * margin)), (30, 20), 0, colour)
    (item,) = outline_picture(scanned(made)[0], NO_SQUARE).result.items
    assert (item.width_mm, item.height_mm) == pytest.approx((60 - 2 * margin, 40 - 2 * margin), abs=0.03)
    assert item.findings == ()


@pytest.mark.parametrize("colour", [0.6, (0.7, 0.6, 0.4)])
def test_a_light_item_along_most_of_a_dark_lids_border_is_found_beside_the_square(colour):
    made = Scene(200, 150, dpi_x=DPI, background=0.03, seed=3, gradient=(0.05, 0.05))
    made.add_paper(26, 22, (16, 30), 0, 0.88)
    made.add_square(14, (16, 30), 0)
    made.add_item(Shape(rectangle(160, 148, 3)), (115, 75), 0, colour)
    (item,) = outline_picture(scanned(made)[0], Settings(square_mm=(14, 14))).result.items
    assert (item.width_mm, item.height_mm) == pytest.approx((160, 148), abs=0.05)


@pytest.mark.parametrize(("lid", "colour"), [(0.03, 0.6), (0.85, 0.1)])
def test_an_item_out_of_the_picture_on_three_sides_is_refused_for_that(lid, colour):
    # which is lid and which is item cannot be told; neither outline can be measured, nor is a sliver of it given
    made = page(lid, dpi_x=300)
    made.add_item(Shape(rectangle(50, 44)), (36, 20), 0, colour)
    with pytest.raises(OutlineError, match="runs out of the picture"):
        outline_picture(scanned(made)[0], Settings(dpi=(300, 300)))


def test_what_is_thinner_than_dust_or_a_few_pixels_is_no_item():
    from types import SimpleNamespace

    from digitize.recipe.trace import _is_sliver

    def sliver(width_mm, *, dust_mm=1.0, pixel_mm=0.04, length_mm=48.0):
        at = SimpleNamespace(estimate=SimpleNamespace(facts=SimpleNamespace(mm_per_px=(pixel_mm, pixel_mm))))
        ring = np.array([(0, 0), (length_mm, 0), (length_mm, width_mm), (0, width_mm)], float)
        return _is_sliver(ring, at, Settings(square_mm=(15, 15), dust_mm=dust_mm))

    assert sliver(0.024)
    assert not sliver(0.4)
    assert sliver(0.4, dust_mm=2.0)
    assert sliver(0.4, pixel_mm=0.2)
    assert not sliver(0.4, dust_mm=0.1)


def test_a_narrow_rim_of_background_is_not_blurred_into_what_lies_beside_it():
    seen = np.full((120, 180, 3), 0.1, np.float32)
    rim = np.ones(seen.shape[:2], bool)
    rim[3:-3, 3:-3] = False
    seen[rim] = 0.85
    found = estimate_background(seen, np.ones(seen.shape[:2], bool), seed=(0.85, 0.85, 0.85))
    assert np.abs(found.light[rim] - 0.85).max() < 0.01
