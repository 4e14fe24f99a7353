"""What a hand takes for an item, and borders that it draws: held against rendered shapes, whose edges are known."""

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter

from digitize.api import outline
from digitize.document.document import document_bytes, read_document
from digitize.errors import OutlineError, UsageError
from digitize.hand.steps import Corrections, Step
from digitize.reading.array import picture_from_pixels
from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.review.shown import shown_result, shown_unmade
from digitize.settings import Settings
from digitize.write.preview.picture import check_png_bytes
from digitize.write.words import notes
from tests.rendered import as_picture, codes_of, polygon_px
from tests.test_by_hand import (
    BESIDE,
    DISC,
    DPI,
    GROUND,
    ITEM,
    MIDDLE,
    MM,
    RADIUS,
    SAMPLES,
    SHAPE,
    box,
    by_hand_mm,
    codes,
    off_disc,
    on_disc,
    outlined,
    painted,
)
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage

SMALL, SMALL_RADIUS = (24.0, 24.0), 14.0  # px: 1.2 mm across, under the dust of 1 mm
TAKE = Step(do="item", at=((26.0, 22.0),))
SQUARE = box(60, 60, 240, 200)  # px
ROUND = tuple(on_disc(angle, RADIUS + 3) for angle in range(0, 360, 45))


def small(radius=SMALL_RADIUS, light=ITEM):
    """A disc under the size of dust beside a large one."""
    return painted(DISC, (polygon_px(SMALL, radius, 180), light))


@pytest.fixture(scope="module")
def faded():
    """A square whose right half goes over into the ground."""
    canvas = np.broadcast_to(np.float32(GROUND), (*SHAPE, 3)).copy()
    paint(canvas, blurred_coverage([np.asarray(SQUARE)], SHAPE, 0.8), np.full(3, ITEM))
    ground = np.clip((np.arange(SHAPE[1]) - 150) / 90, 0, 1)[None, :, None]
    return as_picture(codes_of((canvas * (1 - ground) + ground * GROUND).astype(np.float32)), dpi=DPI)


def smallest(result):
    return min(result.items, key=lambda one: one.area_mm2)


def found(result, code):
    return [one for one in result.all_findings if one.code == code]


# --- what was left out, taken for an item ---------------------------------------------------------------------------


def test_a_thing_under_the_size_of_dust_is_taken_and_measured_as_any_other():
    picture = small()
    plain, made = outlined(picture).result, outlined(picture, TAKE)
    assert [one.why for one in plain.left_out] == ["small"]
    item, disc = made.result.items
    assert made.result.left_out == ()
    assert np.abs(off_disc(item, 0, SMALL, SMALL_RADIUS)).max() < 0.05
    assert item.area_mm2 == pytest.approx(np.pi * (SMALL_RADIUS * MM) ** 2, rel=5e-3)
    assert np.array_equal(disc.exterior_mm, plain.items[0].exterior_mm)
    assert by_hand_mm(item) == []  # nobody has moved its edge
    (said,) = found(made.result, "by-hand-item")
    assert "too small" in said.message
    assert not said.attention
    assert any("taken for an item by hand" in line for line in notes(made.result, made.result.items, width=200))
    assert [one["taken"] for one in shown_result(made.result, made.scale)["items"]] == [True, False]


def test_even_a_speck_is_taken_and_one_of_a_few_pixels_is_refused_in_words():
    item = outlined(small(5.0), TAKE).result.items[0]
    assert item.width_mm == pytest.approx(10 * MM, rel=0.05)
    result = outlined(small(2.0), Step(do="item", at=(SMALL,))).result
    assert len(result.items) == 1
    assert "too small to be measured" in result.failed[0].reason.message


def test_a_thin_strip_is_taken():
    item = outlined(painted(DISC, (box(15, 10, 23, 250), ITEM)), Step(do="item", at=((19, 100),))).result.items[0]
    assert (item.width_mm, item.height_mm) == pytest.approx((8 * MM, 240 * MM), abs=0.02)


def test_a_soft_patch_is_taken_to_its_half_level_and_said_to_be_none_too_sure():
    canvas = np.broadcast_to(np.float32(GROUND), (*SHAPE, 3)).copy()
    paint(canvas, blurred_coverage([np.asarray(DISC[0])], SHAPE, 0.8), np.full(3, ITEM))
    paint(canvas, blurred_coverage([polygon_px((36, 36), 16.0, 180)], SHAPE, 4.0), np.full(3, 0.5))
    picture = as_picture(codes_of(canvas), dpi=DPI)
    assert len(outlined(picture).result.items) == 1
    item = smallest(outlined(picture, Step(do="item", at=((36, 36),))).result)
    # the half level of a disc under such a blur lies sigma^2 / 2R inside its edge: 0.5 px
    off = np.abs(off_disc(item, 0, (36, 36), 16.0 - 4.0**2 / 32.0))
    assert np.median(off) < 1.5
    assert np.quantile(off, 0.95) * MM < item.uncertainty.profile_k2_mm
    assert max(by_hand_mm(item)) > MM
    assert [one.attention for one in item.findings if one.code == "by-hand-soft"] == [True]


def test_of_what_is_nested_the_thing_with_an_edge_is_meant():
    """A sharp speck on a wide pale stain: the stain is what was left out."""
    canvas = np.broadcast_to(np.float32(GROUND), (*SHAPE, 3)).copy()
    paint(canvas, blurred_coverage([np.asarray(DISC[0])], SHAPE, 0.8), np.full(3, ITEM))
    paint(canvas, blurred_coverage([polygon_px((34, 34), 24.0, 180)], SHAPE, 7.0), np.full(3, 0.7))
    paint(canvas, blurred_coverage([polygon_px((36, 36), 7.0, 180)], SHAPE, 0.8), np.full(3, ITEM))
    item = smallest(outlined(as_picture(codes_of(canvas), dpi=DPI), Step(do="item", at=((37, 35),))).result)
    assert np.abs(off_disc(item, 0, (36, 36), 7.0)).max() < 0.5


def test_what_the_border_cuts_is_taken_as_far_as_it_is_seen_and_said():
    picture = painted(DISC, (box(-20, 20, 50, 36), ITEM))
    item = smallest(outlined(picture, Step(do="item", at=((7, 30),))).result)
    assert (item.width_mm, item.height_mm) == pytest.approx((50 * MM, 16 * MM), abs=0.05)
    assert [one.attention for one in item.findings if one.code == "cut-by-border"] == [True]


def test_a_strip_along_the_border_is_refused_in_words():
    result = outlined(painted(DISC, (box(-20, 290, 340, 320), 0.3)), Step(do="item", at=((150, 295),))).result
    assert len(result.items) == 1
    (failed,) = result.failed
    assert "could not be measured" in failed.reason.message
    assert "border of the picture" in failed.reason.message


@pytest.mark.parametrize(("place", "attention"), [((285, 20), True), (MIDDLE, False)])
def test_where_nothing_was_left_out_it_is_said_and_nothing_changes(place, attention):
    picture = small()
    result, plain = outlined(picture, Step(do="item", at=(place,))).result, outlined(picture).result
    (said,) = found(result, "by-hand-no-item")
    assert (said.place_px, said.attention) == (place, attention)
    assert ("already" in said.message.split("card")[0]) is not attention
    assert np.array_equal(result.items[0].exterior_mm, plain.items[0].exterior_mm)
    assert result.left_out == plain.left_out


def test_in_an_items_hole_there_is_nothing_to_take_and_it_is_not_called_an_item():
    result = outlined(painted(DISC, (polygon_px(MIDDLE, 30.0, 180), GROUND)), Step(do="item", at=(MIDDLE,))).result
    assert len(result.items[0].holes_mm) == 1
    (said,) = found(result, "by-hand-no-item")
    assert "there is nothing to take" in said.message
    assert said.attention


def test_a_taken_item_is_mended_dropped_and_pointed_at_like_any_other():
    picture, pull = small(), Step(do="move", at=((38.0, 24.0), (40.0, 24.0)))
    assert by_hand_mm(outlined(picture, TAKE, pull).result.items[0])
    assert len(outlined(picture, TAKE, Step(do="drop", at=(SMALL,))).result.items) == 1
    (only,) = outlined(picture, TAKE, item_at_px=SMALL).result.items
    assert only.width_mm < 2
    (other,) = outlined(picture, TAKE, item_at_px=MIDDLE).result.items
    assert other.width_mm > 7


# --- items without an outline, mended -------------------------------------------------------------------------------


def test_a_failed_item_shows_its_line_and_where_it_could_not_be_measured(faded):
    with pytest.raises(OutlineError, match="could not be measured") as refused:
        outlined(faded)
    (failed,) = refused.value.failed
    assert len(failed.rings_px) == 1
    right = max(failed.lost_px, key=len)
    assert right[:, 0].min() > 150  # where it is sharp it was measured
    assert np.ptp(right[:, 1]) > 100
    (shown,) = shown_unmade(refused.value)["failed"]
    assert len(shown["rings"][0]) == 2 * len(failed.rings_px[0])
    assert shown["lost"]


def test_beside_a_sound_item_it_is_drawn_as_far_as_it_was_followed(faded):
    pixels = faded.pixels.copy()
    pixels[225:285, 20:300] = pixels[100, 80]
    picture = as_picture(pixels, dpi=DPI)
    made = outlined(picture)
    (failed,) = made.result.failed
    assert failed.rings_px
    view = check_png_bytes(picture, made.result, made.scale)
    told = json.loads(document_bytes(made.result))["failed"]
    assert set(told[0]) == {"box_px", "reason"}
    again = read_document(document_bytes(made.result)).result
    assert again.failed[0].rings_px == ()  # nothing is written of it but where it is
    assert view != check_png_bytes(picture, again, made.scale)


def test_bridged_where_it_could_not_be_measured_it_is_sound(faded):
    step = Step(do="bridge", at=((150, 60), (240, 60), (240, 200), (150, 200)), along="straight")
    result = outlined(faded, step).result
    assert result.failed == ()
    (item,) = result.items
    assert item.area_mm2 == pytest.approx(180 * 140 * MM**2, rel=2e-3)
    assert by_hand_mm(item)
    assert "edge-unclear" not in codes(result)


def test_one_that_is_mended_in_part_has_still_failed_with_what_is_left(faded):
    with pytest.raises(OutlineError, match="could not be measured") as refused:
        outlined(faded, Step(do="bridge", at=((80, 60), (100, 60)), along="straight"))
    assert len(refused.value.failed[0].lost_px) > 0


def test_a_failed_item_is_dropped(faded):
    with pytest.raises(OutlineError, match="Every item was dropped by hand"):
        outlined(faded, Step(do="drop", at=((100, 130),)))


# --- borders that a hand draws --------------------------------------------------------------------------------------


@pytest.mark.parametrize("turned", [False, True])
def test_a_border_drawn_beside_the_edge_lies_on_it(turned):
    result = outlined(painted(DISC), Step(do="draw", at=ROUND[::-1] if turned else ROUND)).result
    (item,) = result.items
    assert np.abs(off_disc(item)).max() < 0.05
    (sd,) = by_hand_mm(item)
    assert sd < 0.3 * MM
    assert item.contours[0].by_hand.all()
    assert "by-hand-without-edge" not in codes(result)
    assert "100 % of it lies on an edge" in found(result, "by-hand")[0].message


def test_a_border_drawn_as_a_whole_screen_shows_it_finds_the_edge_too():
    """Zoomed out, a pixel of the screen is several of the picture: the places lie 8 px off."""
    places = tuple(on_disc(angle, RADIUS + 8) for angle in range(0, 360, 60))
    (item,) = outlined(painted(DISC), Step(do="draw", at=places)).result.items
    assert np.abs(off_disc(item)).max() < 0.05


def test_corners_that_are_drawn_beside_their_places_are_sharp():
    places = ((63, 58), (238, 61), (242, 203), (58, 197))
    (item,) = outlined(painted((SQUARE, ITEM)), Step(do="draw", at=places)).result.items
    assert len(item.contours[0].corners) == 4
    corners = shapely.MultiPoint(item.contours[0].points_px[list(item.contours[0].corners)])
    assert max(corners.distance(shapely.Point(place)) for place in SQUARE) < 0.3


def test_drawn_straight_it_runs_through_the_places():
    places = ((63.0, 58.0), (238.0, 61.0), (242.0, 203.0), (58.0, 197.0))
    result = outlined(painted((SQUARE, ITEM)), Step(do="draw", at=places, along="straight")).result
    line = shapely.LinearRing(places)
    assert shapely.distance(line, shapely.points(result.items[0].contours[0].points_px)).max() < 1e-6
    assert "by-hand-without-edge" not in codes(result)  # that was asked for


def test_where_there_is_no_edge_it_is_straight_and_said_and_less_sure(faded):
    result = outlined(faded, Step(do="draw", at=((61, 59), (239, 61), (240, 200), (60, 200)))).result
    (item,) = result.items
    assert result.failed == ()
    assert item.area_mm2 == pytest.approx(180 * 140 * MM**2, rel=0.01)
    (said,) = found(result, "by-hand-without-edge")
    assert 0.2 < said.value < 0.5  # a quarter of the way round and what fades beside it
    (sd,) = by_hand_mm(item)
    assert 2 * sd >= 0.9 * MM
    right = [place for place in item.contours[0].points_px if place[0] > 220 and 80 < place[1] < 180]
    assert np.ptp(np.array(right)[:, 0]) < 1.5


def test_a_border_takes_the_place_of_what_was_seen_there_its_holes_aside():
    hole = (MIDDLE[0] - 45, MIDDLE[1])
    picture = painted(DISC, (polygon_px(hole, 18.0, 180), GROUND), BESIDE)
    first, second = sorted(outlined(picture, Step(do="draw", at=ROUND)).result.items, key=lambda one: one.width_mm)
    assert first.contours[0].by_hand is None
    assert np.abs(off_disc(second, 1, hole, 18.0)).max() < 0.1


def test_on_the_bare_ground_all_of_it_is_a_guess():
    picture = painted(DISC)
    result = outlined(picture, Step(do="draw", at=((262, 20), (312, 20), (312, 60), (262, 60)))).result
    item = smallest(result)
    assert item.area_mm2 == pytest.approx(50 * 40 * MM**2, rel=0.02)
    assert found(result, "by-hand-without-edge")[0].value == pytest.approx(1.0)


def test_a_border_that_crosses_itself_is_left_aside_and_said():
    result = outlined(painted(DISC), Step(do="draw", at=(on_disc(0), on_disc(120), on_disc(60), on_disc(240)))).result
    assert "crosses itself" in found(result, "by-hand-no-item")[0].message
    assert by_hand_mm(result.items[0]) == []


def test_steps_before_a_border_are_overtaken_and_those_after_it_count():
    picture, pull = painted(DISC), Step(do="move", at=(on_disc(30), on_disc(30, RADIUS + 4)))
    draw = Step(do="draw", at=ROUND)
    before, after = outlined(picture, pull, draw).result, outlined(picture, draw, pull).result
    assert np.abs(off_disc(before.items[0])).max() < 0.05
    assert off_disc(after.items[0]).max() == pytest.approx(4.0, abs=0.1)
    assert "by-hand-nothing" not in codes(before)
    assert len(outlined(picture, draw, Step(do="draw", at=ROUND[::-1])).result.items) == 1


# --- in files -------------------------------------------------------------------------------------------------------


def test_the_document_holds_the_steps_and_the_same_comes_out_again(tmp_path):
    from PIL import Image

    picture = tmp_path / "disc.png"
    Image.fromarray(small().pixels).save(picture)
    steps = Corrections(steps=(TAKE, Step(do="draw", at=ROUND)))
    made = document_bytes(outline(picture, dpi=DPI, by_hand=steps).result)
    told = json.loads(made)
    assert told["options"]["by_hand"] == steps.plain()
    assert len(told["items"]) == 2
    assert document_bytes(outline(picture, **read_document(made).result.options).result) == made


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"do": "item", "at": [[1, 2], [3, 4]]}, "needs 1 place, not 2"),
        ({"do": "draw", "at": [[1, 2], [3, 4]]}, "needs 3 to 200 places"),
        ({"do": "draw", "at": [[1, 2], [3, 4], [5, 1]], "along": "curved"}, "one of edge, straight, not curved"),
    ],
)
def test_a_step_that_cannot_be_meant_is_refused(told, says):
    with pytest.raises(UsageError, match=says):
        Step.of(told)


def test_a_hole_under_the_size_of_dust_is_taken_too():
    hole = (MIDDLE[0] + 30, MIDDLE[1])
    picture = painted(DISC, (polygon_px(hole, 6.0, 90), GROUND))
    assert outlined(picture).result.items[0].holes_mm == ()
    (item,) = outlined(picture, Step(do="take", at=(hole,))).result.items
    assert np.abs(off_disc(item, 1, hole, 6.0)).max() < 0.1


def test_in_a_photo_what_was_left_out_as_too_thin_is_taken():
    """A dark bar of 70 x 10 px beside the badge."""
    photo = read_picture(SAMPLES / "badge.jpg")
    pixels = photo.pixels.copy()
    pixels[746:756, 1154:1224] //= 3
    photo, asked = replace(photo, pixels=pixels), {"measured_mm": (54, 54), "item_height_mm": 0}
    plain = outline_picture(photo, Settings(**asked)).result
    assert [one.why for one in plain.left_out] == ["thin"]
    step = Step(do="item", at=((1190.0, 750.0),))
    made = outline_picture(photo, Settings(**asked, by_hand=Corrections(steps=(step,)))).result
    assert len(made.items) == len(plain.items) + 1
    assert made.left_out == ()
    assert np.ptp(smallest(made).contours[0].points_px, axis=0) == pytest.approx((70, 10), abs=0.3)
    assert "by-hand-item" in codes(made)


def test_of_a_thing_in_a_strip_along_the_border_the_thing_alone_is_taken():
    """12 x 10 mm of something that runs out at the right through a strip 1.5 mm wide, page 80 x 60 mm."""
    page, cut, item = np.zeros((3, 600, 800))
    page[-20:], page[:, -15:], cut[240:340, 680:], item[200:400, 200:450] = 0.9, 1.0, 1.0, 1.0
    shown = gaussian_filter(np.maximum(np.maximum(page, cut), item), 1.0)
    codes_seen = np.rint(240 - 200 * shown + np.random.default_rng(1).normal(0, 1, (600, 800)))
    picture = picture_from_pixels(np.clip(codes_seen, 0, 255).astype(np.uint8)[..., None].repeat(3, axis=2))
    step = Corrections(steps=(Step(do="item", at=((740.0, 290.0),)),))
    (failed,) = outline_picture(picture, Settings(dpi=(254, 254), by_hand=step)).result.failed
    assert "border of the picture" in failed.reason.message  # 10 of its 44 mm all round are missing, and its corners
    assert failed.box_px[0] == pytest.approx(680, abs=2)
    assert np.ptp(failed.rings_px[0][:, 1]) < 140
