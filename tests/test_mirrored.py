"""Which side is up: the parity of imaged face and cut, told in words, the geometry exchanged and mapped back."""

import json
from pathlib import Path

import numpy as np
import pytest
import shapely

import digitize
from digitize.document.document import read_document
from digitize.settings import Settings
from digitize.write.preview.marks import AXES, axes_marks, draw_axes
from digitize.write.preview.view import View
from digitize.write.preview.words import _facts
from tests.made import tag

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
SCAN = SAMPLES / "night" / "tags-01.jpg"


@pytest.mark.parametrize(
    ("imaged", "cut", "mirrored"),
    [("print", "front", False), ("back", "front", True), ("print", "back", True), ("back", "back", False)],
)
def test_each_that_is_the_other_way_round_exchanges_once(imaged, cut, mirrored):
    assert Settings(imaged_face=imaged, cut_from=cut).mirrored is mirrored


@pytest.fixture(scope="module")
def results():
    asked = {"square_mm": 25, "clearance_mm": 0.2}
    return {
        "plain": digitize.outline(SCAN, **asked),
        "back": digitize.outline(SCAN, **asked, imaged_face="back"),
        "upright": digitize.outline(SCAN, **asked, imaged_face="back", upright=True),
        "both": digitize.outline(SCAN, **asked, imaged_face="back", cut_from="back"),
    }


def polygon(item):
    return shapely.Polygon(item.exterior_mm, item.holes_mm)


def test_every_item_is_its_own_mirror_image(results):
    """Judged by another library: the one, its x turned round, covers the other."""
    for one, other in zip(results["plain"].items, results["back"].items, strict=True):
        turned = shapely.affinity.affine_transform(polygon(one), [-1, 0, 0, 1, one.width_mm, 0])
        assert turned.symmetric_difference(polygon(other)).area < 1e-9
        assert other.exterior_mm.min(axis=0) == pytest.approx((0, 0), abs=1e-9)
        assert shapely.LinearRing(other.exterior_mm).is_ccw
        assert not any(shapely.LinearRing(hole).is_ccw for hole in other.holes_mm)


def test_the_sheet_is_exchanged_as_a_whole(results):
    """Which lay right lies left, at the same distance."""
    plain, back = results["plain"].items, results["back"].items
    right = max(item.sheet_mm[0] + item.width_mm for item in plain)
    for one, other in zip(plain, back, strict=True):
        assert other.sheet_mm[0] == pytest.approx(right - one.sheet_mm[0] - one.width_mm)
        assert other.sheet_mm[1] == pytest.approx(one.sheet_mm[1])


@pytest.mark.parametrize("how", ["back", "upright"])
def test_its_frame_leads_back_to_where_it_lay(results, how):
    """`as_laid` from `origin_px` finds the edge that was measured in the picture, at 200 dpi."""
    px = 25.4 / 200
    for item, plain in zip(results[how].items, results["plain"].items, strict=True):
        places = item.as_laid(item.exterior_mm) + np.array(item.origin_px) * (px, -px)
        lay = plain.exterior_mm + np.array(plain.origin_px) * (px, -px)
        assert shapely.hausdorff_distance(shapely.LinearRing(places), shapely.LinearRing(lay)) < 0.02


def test_both_exchanges_leave_all_as_it_was_and_are_said(results):
    for one, other in zip(results["plain"].items, results["both"].items, strict=True):
        assert np.array_equal(one.exterior_mm, other.exterior_mm)
    said = {finding.code: finding.message for finding in results["both"].findings}
    assert "both exchanges together" in said["face-and-cut"]
    assert "face-and-cut" not in {finding.code for finding in results["plain"].findings}


def test_the_narrowest_check_picture_has_room_to_say_it(results):
    """What comes before the words in the line of facts is but the number of items."""
    for name, is_said in (("plain", False), ("back", True)):
        told = _facts(results[name].result).split("  ·  ")
        assert told[0] == f"{len(results[name].items)} items"
        assert ("exchanged" in told[1]) is is_said


def test_the_document_tells_and_reads_it_back(tmp_path, results):
    digitize.outline(SCAN, square_mm=25, imaged_face="back").save(tmp_path, formats="json,dxf,svg")
    text = (tmp_path / "tags-01.json").read_text()
    assert json.loads(text)["face"] == {"imaged": "back", "mirrored": True}
    read = read_document(text.encode()).result
    assert (read.imaged, read.mirrored, {item.mirrored for item in read.items}) == ("back", True, {True})
    assert "left and right exchanged" in (tmp_path / "tags-01.svg").read_text()


def test_a_place_goes_to_the_right_way_round():
    """By hand: 3 mm from the right edge of a frame that begins at the picture's right is 3 mm to its left."""
    item = tag()
    assert item.as_laid(np.array([[3.0, 2.0]])).tolist() == [[3.0, 2.0]]
    from dataclasses import replace

    assert replace(item, mirrored=True).as_laid(np.array([[3.0, 2.0]])).tolist() == [[-3.0, 2.0]]


@pytest.mark.parametrize(("name", "way"), [("back", -1), ("upright", -1), ("both", 1)])
def test_the_files_axes_are_drawn_where_picture_and_cut_differ(results, name, way):
    """The short arrow runs along the files' x: leftwards in the picture once left and right are exchanged."""
    result = results[name]
    assert axes_marks(results["plain"].result, results["plain"].scale) == []
    found = axes_marks(result.result, result.scale)
    assert len(found) == len(result.items)
    for (origin, x, y), item in zip(found, result.items, strict=True):
        assert origin == pytest.approx(item.origin_px, abs=1e-6)
        assert way * (x - origin)[0] > 0.9 * np.linalg.norm(x - origin)
        assert (origin - y)[1] > 0.9 * np.linalg.norm(y - origin)  # up in the picture


def test_arrows_are_drawn_from_the_corner():
    view = View(np.zeros((120, 120, 3), np.uint8), 1.0)
    draw_axes(view, [np.array([(100.0, 100.0), (90.0, 100.0), (100.0, 90.0)])])
    y, x = np.nonzero((view.pixels == AXES).all(axis=2))
    assert 64 <= x.min() <= 68  # 34 to the left
    assert 46 <= y.min() <= 50  # 52 up
    assert max(x.max(), y.max()) <= 106
