"""A ring card in a photo, cut out or on its whole sheet: where there is no sheet, none of its print hides an item."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from digitize.card.kinds import card_layout
from digitize.card.parts import lies_in
from digitize.recipe.outline import outline_picture
from digitize.records import CameraTag
from digitize.settings import Settings
from tests.rendered import as_picture
from tests.truth import zoo
from tests.truth.camera import camera
from tests.truth.photo import PhotoScene

LAYOUT = card_layout("single", "a4")
MIDDLE = np.array(LAYOUT.rings[0].centre_mm)
RIGHT, ABOVE = (88.0, 0.0), (8.0, 62.0)  # both lie on print of the sheet, if that is there


def photo(items, *, whole_sheet: bool):
    """Return a photo of the card with items of 3 mm round it, each a place and a turn from the ring's middle."""
    view = camera((30, 0), 390, tilt_deg=4, tilt_towards_deg=50, focal_px=1900, size_px=(2400, 1800))
    scene = PhotoScene(view, background=(0.55, 0.52, 0.48), noise_codes=1.2, seed=5)
    x0, y0, x1, y1 = (0, 0, LAYOUT.width_mm, LAYOUT.height_mm) if whole_sheet else LAYOUT.card_box_mm
    scene.add_paper(x1 - x0, y1 - y0, np.array([(x0 + x1) / 2, (y0 + y1) / 2]) - MIDDLE)
    for fill in LAYOUT.fills:
        if whole_sheet or lies_in(fill.box_mm, LAYOUT.card_box_mm):
            for part in shapely.get_parts(area_of(fill.loops)):
                scene.add_polygon([np.array(r.coords)[:-1] - MIDDLE for r in (part.exterior, *part.interiors)], 0.04)
    for x0, y0, x1, y1 in (text.box_mm for text in LAYOUT.texts if whole_sheet):  # words as strokes of their length
        stroke = [(x0, y0 + 1), (x1, y0 + 1), (x1, y1 - 1), (x0, y1 - 1)]
        scene.add_polygon([np.array(stroke) - MIDDLE], 0.04)
    look = {"height_mm": 3.0, "reflectance": (0.06, 0.1, 0.3)}
    truths = [scene.add_item(zoo.key_fob(), at, turn, **look) for at, turn in items]
    taken = CameraTag(focal_35mm=view.focal_35mm)
    return replace(as_picture(scene.render().pixels), camera=taken), truths


def area_of(loops):
    """Even-odd area."""
    area = shapely.Polygon()
    for loop in loops:
        area = shapely.symmetric_difference(area, shapely.Polygon(loop))
    return area


def outlined(picture):
    settings = Settings(measured_mm=(54.0, 54.0), item_height_mm=3.0, taken_with="camera")
    return outline_picture(picture, settings).result


@pytest.mark.parametrize("at", [RIGHT, ABOVE])
def test_an_item_beside_a_cut_out_card_is_whole(at):
    picture, (truth,) = photo([(at, 15)], whole_sheet=False)
    (item,) = outlined(picture).items
    assert item.area_mm2 == pytest.approx(truth.area, rel=0.01)  # it was cut through, and lost a third of its area
    assert len(item.holes_mm) == len(truth.holes)


def test_the_print_of_a_whole_sheet_is_no_item():
    clear = ((112.0, -83.0), 105.0)  # on the sheet, off its print
    picture, (truth,) = photo([clear], whole_sheet=True)
    areas = [item.area_mm2 for item in outlined(picture).items]
    assert areas == [pytest.approx(truth.area, rel=0.01)]
