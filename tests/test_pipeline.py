"""The whole recipe on small scans: the same again, wherever the pixels fall, in grey and 16 bits, and with the card."""

import hashlib
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from digitize.document.document import document_bytes
from digitize.errors import OutlineError, ScaleError
from digitize.recipe.outline import outline_picture
from digitize.records import Circle
from digitize.settings import Settings
from tests.near import distances
from tests.rendered import as_picture, circle_px, codes_of, scanned
from tests.test_reference import card_scene
from tests.truth.flatbed import Scene
from tests.truth.light import paint
from tests.truth.raster import blurred_coverage
from tests.truth.score import compare
from tests.truth.shapes import Shape, circle, rectangle, rounded

SQUARE = Settings(square_mm=(15, 15))
DPI = 600.0
UM_PX = 25400 / DPI


def fob():
    body = rounded([(-8, -7), (7, -7), (9, 1), (2, 8), (-9, 5)], [3, 2, 0, 3, 4])
    return Shape(body, (circle(3, (-3, 1)),), "fob")


def scene(width=44, height=26, *, square=True, **look):
    made = Scene(
        width, height, **{"dpi_x": 601.0, "dpi_y": 598.0, "background": 0.86, "blur_px": 0.8, "noise_codes": 1.5} | look
    )
    if square:
        made.add_square(15, (11, 13), 9)
    return made


@cache
def plain():
    """Picture and truth of the plain scan that most tests look at."""
    made = scene(seed=5)
    item = made.add_item(fob(), (31, 13), 14, (0.2, 0.12, 0.06))
    return (*scanned(made, dpi=DPI, name="fob.png"), item)


@cache
def plain_result():
    return outline_picture(plain()[0], SQUARE).result


# --- the result --------------------------------------------------------------------------------------------------


def test_the_outline_is_true_within_the_targets():
    (item,) = plain_result().items
    score = compare(item.exterior_mm, item.holes_mm, plain()[2])
    assert abs(score.bias_um) <= 1.5
    assert score.rms_um <= 3
    assert score.p95_um <= 6
    assert score.max_um <= 40
    assert 1000 * item.uncertainty.profile_k2_mm >= score.p95_um


def test_sizes_follow_from_the_true_shape():
    (item,) = plain_result().items
    truth = plain()[2]
    assert item.area_mm2 == pytest.approx(truth.area, rel=1e-3)
    assert item.perimeter_mm == pytest.approx(truth.perimeter, rel=1e-3)
    assert item.name == "fob-1"
    assert len(item.holes_mm) == 1
    assert isinstance(item.hole_paths[0], Circle)
    assert item.hole_paths[0].radius_mm == pytest.approx(1.5, abs=0.003)
    assert item.exterior_mm.min(axis=0) == pytest.approx([0, 0], abs=1e-12)
    assert item.exterior_mm.max(axis=0) == pytest.approx([item.width_mm, item.height_mm])


def test_the_centroid_is_that_of_the_area_without_the_hole():
    import shapely

    (item,) = plain_result().items
    polygon = shapely.Polygon(item.exterior_mm, item.holes_mm)
    assert polygon.is_valid
    assert item.centroid_mm == pytest.approx((polygon.centroid.x, polygon.centroid.y), abs=1e-9)
    assert item.area_mm2 == pytest.approx(polygon.area, rel=1e-9)


def test_places_in_picture_and_sheet_belong_together():
    outlined = outline_picture(plain()[0], SQUARE)
    item = outlined.result.items[0]
    origin = outlined.scale.to_mm(np.array([item.origin_px]))[0]
    seen = outlined.scale.to_px(item.exterior_mm + origin)
    assert seen == pytest.approx(np.array(item.contours[0].points_px), abs=1e-6)
    assert item.sheet_mm == (0, 0)
    rendered = plain()[1]
    d = plain()[2].signed_distance(rendered.to_mm(item.contours[0].points_px))
    assert np.abs(d).mean() < 0.003


def test_several_items_share_one_sheet():
    made = scene(60, 26, seed=2)
    first = made.add_item(Shape(circle(10)), (29, 13), 0, 0.1)
    second = made.add_item(Shape(rectangle(12, 8, 1)), (48, 14), 0, 0.1)
    items = outline_picture(scanned(made)[0], SQUARE).result.items
    assert [i.name for i in items] == ["scan-1", "scan-2"]
    lows = np.array([s.bounds()[:2] for s in (first, second)])
    assert np.array([i.sheet_mm for i in items]) == pytest.approx(lows - lows.min(axis=0), abs=0.02)
    assert isinstance(items[0].path, Circle)


def test_the_pocket_is_there_when_asked_for():
    asked = Settings.of({"square": 15, "clearance": 0.2, "kerf": 0.18})
    item = outline_picture(plain()[0], asked).result.items[0]
    assert sum(link.offset_mm for link in item.pocket.chain) == pytest.approx(0.2 - 0.09)
    assert plain_result().items[0].pocket is None


@pytest.mark.parametrize("place", [(99999.0, 5.0), (5.0, -1.0)])
def test_a_place_outside_the_picture_is_told_from_one_where_nothing_lies(place):
    picture = plain()[0]
    with pytest.raises(OutlineError) as refused:
        outline_picture(picture, Settings(square_mm=(15, 15), item_at_px=place))
    size = f"{picture.width_px} x {picture.height_px} px"
    assert str(refused.value) == f"--item-at {place[0]:g},{place[1]:g} lies outside the picture, which is {size}."


def test_an_allowance_of_a_slipped_point_is_said():
    """A clearance is 0.15 to 1.0 mm a side, the kerf of a beam or a knife 0.05 to 0.5: 3 and 1 mm are far more."""

    def said(**asked):
        result = outline_picture(plain()[0], Settings.of({"square": 15, **asked})).result
        return [one.message for one in result.findings if one.code == "allowance-unlikely" and one.attention]

    assert said(clearance=5) == [
        "A clearance of 5 mm was said, and more than 3 mm is rare: perhaps a decimal point slipped."
    ]
    assert said(clearance=0.2, kerf=1.8) == [
        "A kerf of 1.8 mm was said, and more than 1 mm is rare: perhaps a decimal point slipped."
    ]
    assert said(clearance=1.0, kerf=0.5) == []


# --- the same again ----------------------------------------------------------------------------------------------


def digest(result):
    return hashlib.sha256(document_bytes(result)).hexdigest()


def test_the_same_input_gives_the_same_result_twice():
    again = outline_picture(plain()[0], SQUARE).result
    assert digest(again) == digest(plain_result())
    assert np.array_equal(again.items[0].exterior_mm, plain_result().items[0].exterior_mm)


# --- wherever the pixels fall ------------------------------------------------------------------------------------


def shifted(shift_px, *, bits=16, channels=3):
    """A square and a fob rendered without noise, everything moved by a fraction of a pixel; and the moved fob, px."""
    shape = (420, 830)
    canvas = np.full((*shape, channels), 0.86, np.float32)
    square = rectangle(300, 300).placed((200.3, 210.4), 9).polygon(0.01) + shift_px
    body = Shape(rounded([(-170, -140), (150, -150), (180, 20), (50, 160), (-170, 110)], [60, 40, 50, 60, 80]))
    body = Shape(body.outer, (circle(70, (-60, 10)),)).placed(np.add((600.2, 205.7), shift_px), 14)
    paint(canvas, blurred_coverage([square], shape, 0.8), (0.03,) * channels)
    paint(canvas, blurred_coverage([r.polygon(1e-4) for r in body.rings], shape, 0.8), (0.1,) * channels)
    return as_picture(codes_of(canvas, bits=bits), dpi=DPI), body


SIDE_MM = 300 * 25.4 / DPI


def outline_px(picture):
    outlined = outline_picture(picture, Settings(square_mm=(SIDE_MM, SIDE_MM))).result
    (item,) = outlined.items
    return item


@cache
def unshifted():
    return outline_px(shifted((0.0, 0.0))[0])


@pytest.mark.parametrize("shift", [(0.5, 0.0), (0.0, 0.25), (0.37, 0.71)])
def test_the_outline_does_not_move_with_the_phase_of_the_pixels(shift):
    moved = outline_px(shifted(shift)[0])
    for one, two in zip(moved.contours, unshifted().contours, strict=True):
        apart = distance_between(one.points_px - shift, two.points_px) * UM_PX
        assert np.sqrt((apart**2).mean()) < 0.5
        assert abs(apart.mean()) < 0.2
    assert moved.width_mm == pytest.approx(unshifted().width_mm, abs=0.001)
    assert moved.height_mm == pytest.approx(unshifted().height_mm, abs=0.001)


def distance_between(points, ring):
    """Distance of each point from a closed polyline, px."""
    import shapely

    return distances(points, shapely.LinearRing(ring))


def test_grey_and_16_bit_pictures_give_the_outline_of_8_bit_colour():
    colour = outline_px(shifted((0.0, 0.0), bits=8)[0])
    for look in ({"bits": 8, "channels": 1}, {"bits": 16, "channels": 3}, {"bits": 16, "channels": 1}):
        other = outline_px(shifted((0.0, 0.0), **look)[0])
        for one, two in zip(other.contours, colour.contours, strict=True):
            apart = distance_between(one.points_px, two.points_px) * UM_PX
            assert np.sqrt((apart**2).mean()) < 1.0
            assert apart.max() < 3.0


def test_a_quarter_turn_of_the_scan_turns_the_outline():
    picture, _, truth = plain()
    turned = as_picture(np.rot90(picture.pixels), dpi=DPI)
    (item,) = outline_picture(turned, SQUARE).result.items
    assert compare(item.exterior_mm, item.holes_mm, truth, any_turn=True).rms_um <= 3
    straight = plain_result().items[0]
    # the picture's axes change places, and with them the direction the mm axes are laid along
    assert (item.width_mm, item.height_mm) == pytest.approx((straight.height_mm, straight.width_mm), abs=0.01)


def test_the_outline_is_never_mirrored():
    picture, _, truth = plain()
    mirrored = as_picture(picture.pixels[:, ::-1], dpi=DPI)
    (item,) = outline_picture(mirrored, SQUARE).result.items
    assert compare(item.exterior_mm, item.holes_mm, truth, any_turn=True).rms_um > 100
    outer = truth.outer.mirrored()
    flipped = Shape(outer, tuple(h.mirrored() for h in truth.holes))
    assert compare(item.exterior_mm, item.holes_mm, flipped, any_turn=True).rms_um <= 3


# --- the card ----------------------------------------------------------------------------------------------------


def beside_the_card(angle, paper, ground, size, at):
    """Result of a scan with the card and one item, and the item; 150 dpi."""
    made = card_scene(angle, paper=paper, ground=ground, size=size, dpi=150.0)
    item = made.add_item(Shape(rectangle(24, 18, 4)), at, 20, (0.45, 0.2, 0.1))
    picture, _ = scanned(made, dpi=150)
    return outline_picture(picture, Settings(measured_mm=(54, 54))).result, item


@pytest.mark.parametrize(
    ("angle", "paper", "ground"),
    [
        (0, 0.88, 0.6),
        (100, 0.88, 0.88),
        (180, 0.88, 0.03),
        (45, 0.86, 0.88),
        (17, 0.84, 0.86),
    ],
)
def test_the_card_is_never_an_item(angle, paper, ground):
    result, item = beside_the_card(angle, paper, ground, (210, 140), (175, 60))
    assert len(result.items) == 1
    score = compare(result.items[0].exterior_mm, (), item)
    assert abs(score.bias_um) < 4
    assert score.rms_um < 8  # 0.05 px at 150 dpi
    assert not [f for f in result.all_findings if f.attention]
    assert result.scale.measured


@pytest.mark.parametrize("ground", [0.6, 0.03])
def test_a_tight_scan_of_card_and_item_has_the_item(ground):
    result, _ = beside_the_card(0, 0.88, ground, (115, 113), (95, 60))
    assert len(result.items) == 1


def test_a_card_alone_has_no_item():
    picture, _ = scanned(card_scene(0), dpi=200)
    with pytest.raises(OutlineError, match="No item was found"):
        outline_picture(picture, Settings())


# --- refusals ----------------------------------------------------------------------------------------------------


def test_without_a_reference_there_is_no_outline():
    with pytest.raises(ScaleError, match="its scale is unknown"):
        outline_picture(plain()[0], Settings())


def test_without_an_item_there_is_no_outline():
    picture, _ = scanned(scene(24, 26), dpi=DPI)
    with pytest.raises(OutlineError, match="No item was found beside the reference"):
        outline_picture(picture, SQUARE)
    with pytest.raises(OutlineError, match=r"under 5 mm long or 1.5 mm wide counts as dust.*say --dust 0.5\.$"):
        outline_picture(picture, SQUARE)
    with pytest.raises(OutlineError, match=r"--item-at X,Y\.$"):
        outline_picture(picture, replace(SQUARE, dust_mm=0.1))
    with pytest.raises(OutlineError, match="No item was found at 5,5 px"):
        outline_picture(plain()[0], Settings(square_mm=(15, 15), item_at_px=(5, 5)))


def test_the_item_pointed_at_and_the_background_named_are_heeded():
    asked = Settings(
        square_mm=(15, 15), item_at_px=plain_result().items[0].contours[0].points_px[0], background="#eeeeee"
    )
    again = outline_picture(plain()[0], asked).result.items[0]
    assert again.width_mm == pytest.approx(plain_result().items[0].width_mm, abs=0.002)


def test_findings_of_the_picture_and_the_scale_come_first():
    picture = as_picture(plain()[0].pixels, dpi=450)
    result = outline_picture(picture, SQUARE).result
    assert [f.code for f in result.findings] == ["density-disagrees"]


def test_a_disc_alone_is_a_circle_of_its_diameter():
    shape = (300, 700)
    canvas = np.full((*shape, 3), 0.86, np.float32)
    paint(canvas, blurred_coverage([rectangle(220, 220).placed((140, 150), 5).polygon(0.01)], shape, 0.8), (0.03,) * 3)
    paint(canvas, blurred_coverage([circle_px((480.4, 150.7), 118)], shape, 0.8), (0.1,) * 3)
    picture = as_picture(codes_of(canvas, noise_codes=1.5), dpi=DPI)
    side = 220 * 25.4 / DPI
    item = outline_picture(picture, Settings(square_mm=(side, side))).result.items[0]
    assert isinstance(item.path, Circle)
    assert item.path.radius_mm == pytest.approx(118 * 25.4 / DPI, abs=0.01 * 25.4 / DPI + 1e-4)
