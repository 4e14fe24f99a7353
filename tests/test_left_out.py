"""What is not outlined, or perhaps not one item, is said: on the card, too small, two colours, seen inside out."""

import json

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from shapely import Point, box
from shapely.affinity import rotate, translate

from digitize.document.document import document_bytes, read_document
from digitize.errors import OutlineError
from digitize.reading.array import picture_from_pixels
from digitize.reading.reduced import Reduced
from digitize.recipe.outline import outline_picture
from digitize.settings import Settings
from digitize.silhouette.left_out import along_border
from digitize.silhouette.two_colours import perhaps_two_colours
from samples.card_on_glass import lay_card
from tests.rendered import scanned
from tests.truth.flatbed import Scene
from tests.truth.shapes import Shape, circle, rectangle

CARD_DPI = 200
LOOK = {"dpi_x": 300.0, "blur_px": 0.8, "noise_codes": 1.5, "background": 0.85, "seed": 5}


def outlined(made, **asked):
    return outline_picture(scanned(made)[0], Settings.of(asked)).result


def said(result):
    return {finding.code: finding for finding in result.all_findings}


# --- on the ring card --------------------------------------------------------------------------------------------


def ring_card(*items, background=0.85, dpi=CARD_DPI):
    """The cut-out card on the left, its sheet reaching from about 10 to 80 mm, and items 20 mm square."""
    made = Scene(150, 118, **{**LOOK, "dpi_x": dpi, "background": background})
    lay_card(made, (45, 58), angle_deg=-3)
    made.add_item(Shape(rectangle(30, 20)), (125, 60), 8, 0.05)
    for place in items:
        made.add_item(Shape(rectangle(20, 20)), place, 8, 0.2)
    return made


# a dark item on a dark lid has edges that are less sure in coarser scans
@pytest.mark.parametrize(("background", "dpi"), [(0.85, CARD_DPI), (0.93, CARD_DPI), (0.045, 300)])
def test_a_card_on_which_nothing_lies_is_not_mentioned(background, dpi):
    result = outlined(ring_card(background=background, dpi=dpi))
    assert set(said(result)) <= {"card-not-measured"}
    assert len(result.items) == 1


@pytest.mark.parametrize("background", [0.85, 0.93])
def test_an_item_on_the_cards_sheet_is_missed_aloud(background):
    result = outlined(ring_card((66, 20), background=background))
    assert len(result.items) == 1
    finding = said(result)["card-touched"]
    assert finding.attention
    px_mm = 25.4 / CARD_DPI
    assert np.array(finding.place_px) * px_mm == pytest.approx((66, 118 - 20), abs=3)


def test_an_item_just_over_the_edge_of_the_cards_sheet_is_measured_and_said():
    result = outlined(ring_card((91, 26)))
    cut = [item for item in result.items if any(f.code == "touches-card" and f.attention for f in item.findings)]
    assert len(cut) == 1
    assert cut[0].width_mm < 22.5  # of 22.6 mm: what lies on the card is not measured


def test_an_item_that_the_cards_sheet_takes_much_of_gets_no_outline():
    """No wrong outline in silence, nor one with a word: more than a quarter of its edge is the sheet's."""
    result = outlined(ring_card((80, 26)))
    assert len(result.items) == 1
    assert said(result)["card-touched"].attention
    (failed,) = result.failed
    assert "The item touches the reference or lies over its sheet" in failed.reason.message
    assert np.array(failed.box_px[:2]) * 25.4 / CARD_DPI == pytest.approx((80, 118 - 26 - 11), abs=3)


def test_an_item_clear_of_the_cards_sheet_is_not_said():
    result = outlined(ring_card((98, 26)))
    assert len(result.items) == 2
    assert set(said(result)) == {"card-not-measured"}


# --- on a plain square's sheet -----------------------------------------------------------------------------------


def plain_card(background=0.6):
    made = Scene(100, 50, **{**LOOK, "background": background})
    made.add_paper(34, 34, (22, 25), 0, 0.92)
    made.add_square(20, (22, 25), 0)
    return made


def test_the_only_item_on_a_plain_squares_sheet_is_named_as_the_reason():
    made = plain_card()
    made.add_item(Shape(rectangle(20, 30)), (46, 22), 0, 0.05)
    with pytest.raises(OutlineError, match="lies on the reference card"):
        outlined(made, square_mm=(20.0, 20.0))


def test_print_beside_a_plain_square_is_not_mentioned():
    made = plain_card()
    made.add_item(Shape(rectangle(20, 30)), (75, 25), 7, 0.05)
    made.add_polygon([np.array([[8, 9.5], [36, 9.5], [36, 12], [8, 12]])], 0.05)  # a bar 2.5 mm broad
    result = outlined(made, square_mm=(20.0, 20.0))
    assert len(result.items) == 1
    assert not said(result)


def test_specks_beside_the_square_do_not_make_a_card():
    made = Scene(80, 40, **LOOK)
    made.add_square(15, (15, 20), 7)
    made.add_item(Shape(rectangle(24, 20)), (55, 20), 7, 0.1)
    made.add_polygon([np.array([[7, 29], [9, 29], [9, 30], [8, 30], [8, 31], [7, 31]])], 0.735)  # no convex shape
    assert "card-touched" not in said(outlined(made, square_mm=(150.0, 150.0)))


@pytest.mark.parametrize("what", ["square", "card"])
def test_pointing_at_the_reference_is_answered(what):
    made, asked, place = ring_card(), {}, (30.0, 15.0)
    if what == "square":
        made, asked, place = plain_card(), {"square_mm": (20.0, 20.0)}, (22.0, 25.0)
    picture, rendered = scanned(made)
    x, y = (float(v) for v in rendered.to_px(np.array([place]))[0])
    with pytest.raises(OutlineError, match=f"lies on the reference {what} itself"):
        outline_picture(picture, Settings.of({"item_at_px": (x, y), **asked}))


# --- too small ---------------------------------------------------------------------------------------------------


def beside_square(*items, dust=0):
    made = Scene(90, 50, **LOOK)
    made.add_square(20, (20, 25), 7)
    made.add_item(Shape(rectangle(24, 20)), (55, 25), 7, 0.1)
    for shape, place in items:
        made.add_item(Shape(shape), place, 0, 0.2)
    if dust:
        made.add_dust(dust, dust // 5)
    return made


def test_small_blanks_are_counted_and_the_option_named():
    made = beside_square((rectangle(3, 3), (80, 10)), (circle(2), (80, 20)))
    finding = said(outlined(made, square_mm=(20.0, 20.0)))["left-out-too-small"]
    assert not finding.attention
    assert finding.value == 2
    assert "3.0 x 3.0 mm" in finding.message
    assert "--dust 0.3" in finding.message
    assert len(outlined(made, square_mm=(20.0, 20.0), dust_mm=0.3).items) == 3


def test_dust_hairs_and_stains_are_not_counted():
    assert not said(outlined(beside_square(dust=60), square_mm=(20.0, 20.0)))
    made = beside_square((rectangle(4, 1.2), (80, 10)))
    assert not said(outlined(made, square_mm=(20.0, 20.0)))


# --- two colours -------------------------------------------------------------------------------------------------


def test_two_items_that_lie_flush_are_told_by_their_colours():
    made = beside_square()
    made.layers.pop()
    made.items.pop()
    made.add_item(Shape(rectangle(20, 30)), (50, 25), 0, 0.2)
    made.add_item(Shape(rectangle(20, 30)), (70, 25), 0, 0.3)
    finding = said(outlined(made, square_mm=(20.0, 20.0)))["perhaps-two-items"]
    assert finding.attention
    assert finding.value == pytest.approx(np.sqrt(0.3) - np.sqrt(0.2), abs=0.01)


def blank(shape=(80, 120)):
    light = np.full((*shape, 3), 0.3, np.float32) + np.random.default_rng(1).normal(0, 0.01, (*shape, 3))
    own = np.zeros(shape, bool)
    own[5:-5, 5:-5] = True
    return light.astype(np.float32), own


@pytest.mark.parametrize("angle_deg", [0, 30, 90])
def test_the_colours_are_told_at_any_angle(angle_deg):
    light, own = blank()
    y, x = np.mgrid[: own.shape[0], : own.shape[1]]
    a = np.radians(angle_deg)
    light[(x - 60) * np.cos(a) + (y - 40) * np.sin(a) > 5] *= 1.6
    assert [f.code for f in perhaps_two_colours(light, own, 0.1)] == ["perhaps-two-items"]


@pytest.mark.parametrize("look", ["plain", "print", "stripes", "lit aslant", "hem", "speckled"])
def test_one_item_of_several_shades_is_not_taken_for_two(look):
    light, own = blank()
    if look == "print":
        light[25:55, 30:90] = 0.05
    elif look == "stripes":
        light[:, (np.arange(120) // 12) % 2 == 0] *= 1.6
    elif look == "lit aslant":
        light *= np.linspace(0.6, 1.4, 120, dtype=np.float32)[None, :, None]
    elif look == "hem":
        light[:, :9] *= 0.4
    elif look == "speckled":
        light[np.random.default_rng(2).random(own.shape) < 0.3] *= 1.8
    assert perhaps_two_colours(light, own, 0.1) == ()


# --- inside out --------------------------------------------------------------------------------------------------


def test_a_background_that_the_rim_denies_is_said():
    made = Scene(80, 40, **LOOK)
    made.add_square(15, (15, 20), 7)
    made.add_item(Shape(rectangle(24, 20), (circle(6),)), (55, 20), 7, 0.04)
    inside_out = outlined(made, square_mm=(15.0, 15.0), background="dark")
    assert [item.width_mm for item in inside_out.items] == pytest.approx([6.0], abs=0.02)  # the hole
    assert said(inside_out)["background-unlike-rim"].attention
    assert "mostly lighter" in said(inside_out)["background-unlike-rim"].message
    assert "background-unlike-rim" not in said(outlined(made, square_mm=(15.0, 15.0), background="light"))


# --- in the document ---------------------------------------------------------------------------------------------


def test_the_document_says_what_was_left_out_and_where():
    made = beside_square()
    made.add_polygon([np.array([[0, 0], [90, 0], [90, 2], [0, 2]])], 0.25)  # a strip along the lower border
    written = document_bytes(outlined(made, square_mm=(20.0, 20.0)))
    (strip,) = json.loads(written)["left_out"]
    px_mm = 25.4 / 300
    assert strip["why"] == "rim"
    assert strip["area_mm2"] == pytest.approx(90 * 2, rel=0.1)
    assert np.array(strip["box_px"]) * px_mm == pytest.approx([0, 48, 90, 50], abs=0.3)
    (along,) = strip["along_px"]  # the middle of 2 mm, from end to end
    assert np.array(along) * px_mm == pytest.approx([0, 49, 90, 49], abs=0.3)
    assert document_bytes(read_document(written).result) == written
    # the sheet's origin: lower left corner of the box round the item, 24 x 20 mm about (55, 25), turned by 7 degrees
    turned = np.array([[np.cos(np.radians(7)), np.sin(np.radians(7))], [np.sin(np.radians(7)), np.cos(np.radians(7))]])
    corner = np.array([55, 25]) - turned @ [12, 10]
    place = np.array([strip["place_px"][0] * px_mm, 50 - strip["place_px"][1] * px_mm])
    assert strip["place_mm"] == pytest.approx(place - corner, abs=0.15)


def test_a_frame_is_followed_along_each_side_it_runs_along_and_no_corner_is_a_side():
    """A page of 400 x 300 px: a dark frame 6 px wide at the left and below, the upper right corner free of it."""
    own = np.zeros((300, 400), bool)
    own[:, :6] = own[-6:] = True
    light = Reduced(np.zeros((300, 400, 1)), np.zeros((300, 400, 1), np.float32), 2)
    assert along_border(own, (0, 0), light) == ((6.0, 0.0, 6.0, 600.0), (0.0, 594.0, 800.0, 594.0))
    assert along_border(own[::-1, ::-1], (0, 0), light) == ((794.0, 0.0, 794.0, 600.0), (0.0, 6.0, 800.0, 6.0))
    assert along_border(own[100:200, :6], (0, 100), light) == ((6.0, 200.0, 6.0, 400.0),)
    assert along_border(own[:50, :6], (60, 60), light) == ()


@pytest.mark.parametrize(("thing", "softness_px", "said_so"), [(1, 1.0, True), (0, 1.0, False), (1, 25.0, False)])
def test_a_thing_cut_by_the_border_is_told_from_the_dark_frame_it_lies_in(thing, softness_px, said_so):
    """Strips of 1.5 and 2 mm at the right and below, page 80 x 60 mm; 12 x 10 mm of something at the right."""
    page, item, cut = np.zeros((3, 600, 800))
    page[-20:], page[:, -15:] = 0.9, 1.0
    item[200:400, 200:450] = 1.0
    cut[240:340, 680:] = thing
    shown = np.maximum(gaussian_filter(page, 1.0), gaussian_filter(cut, softness_px))
    codes = (
        240 - 200 * np.maximum(shown, gaussian_filter(item, 1.0)) + np.random.default_rng(1).normal(0, 1, (600, 800))
    )
    pixels = np.clip(np.rint(codes), 0, 255).astype(np.uint8)[..., None].repeat(3, axis=2)
    result = outline_picture(picture_from_pixels(pixels), Settings(dpi=(254, 254))).result
    (finding,) = [one for one in result.findings if one.code == "left-out"]
    assert finding.attention == said_so
    cuts = [one for one in result.left_out if one.why == "cut"]
    assert len(cuts) == said_so
    for one in cuts:
        assert one.area_mm2 == pytest.approx(12 * 10, rel=0.15)
        assert one.place_px == pytest.approx((740, 290), abs=25)


# --- blocks of a compressed picture --------------------------------------------------------------------------------


@pytest.mark.parametrize(("blur_px", "items"), [(0.0, 1), (1.0, 2)])
def test_a_faint_step_too_sharp_for_a_lens_is_a_compressed_pictures_block(blur_px, items):
    """On blocks of 8 x 8 px, one code apart (ISO/IEC 10918-1), a patch of whole blocks six codes darker."""
    codes = np.full((600, 800), 243.0)
    codes -= np.random.default_rng(3).integers(0, 2, (75, 100)).repeat(8, 0).repeat(8, 1)
    patch, thing = np.zeros((2, 600, 800))
    patch[240:288, 520:584], thing[150:400, 100:350] = 1.0, 1.0
    codes -= 6 * (gaussian_filter(patch, blur_px) if blur_px else patch)
    codes += (60 - codes) * gaussian_filter(thing, 1.0)
    pixels = np.rint(codes).astype(np.uint8)[..., None].repeat(3, axis=2)
    result = outline_picture(picture_from_pixels(pixels), Settings(dpi=(150, 150))).result
    assert len(result.items) == items
    assert len(result.left_out) == 2 - items


# --- pale parts of an item ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("light", "wide"), [(0.70, 12.0), (0.74, 12.0), (0.74, 3.0)])
def test_a_pale_part_with_a_clean_edge_that_was_taken_for_shade_is_said(light, wide):
    made = Scene(90, 60, dpi_x=300.0, background=0.8, blur_px=0.8, noise_codes=1.0, seed=2)
    made.add_item(Shape(rectangle(48, 30)), (45, 30), 5, (0.55, 0.42, 0.28))
    middle = (24 - wide / 2) * np.array([np.cos(np.radians(5)), np.sin(np.radians(5))]) + (45, 30)
    made.add_polygon([rectangle(wide, 30).placed(tuple(middle), 5).points], light)
    found = outlined(made, dpi=300)
    one = said(found)["left-out-crisp"]
    assert one.attention
    assert one.value == pytest.approx(wide * 30, rel=0.1)
    assert any(left.why == "crisp" for left in found.left_out)


def test_a_grey_stripe_of_a_wooden_disc_is_a_part_of_it():
    made = Scene(60, 50, dpi_x=600.0, background=0.72, blur_px=1.5, noise_codes=1.0, seed=2)
    made.add_item(Shape(circle(24)), (30, 25), 0, (0.17, 0.1, 0.05))
    disc, stripe = Point(30, 25).buffer(12, quad_segs=64), box(-20, 4, 20, 9)
    stripe = translate(rotate(stripe, 30, origin=(0, 0)), 30, 25).intersection(disc)
    made.add_polygon([np.array(stripe.exterior.coords)[:-1]], 0.28)
    (item,) = outlined(made, dpi=600).items
    assert (item.calipers.length_mm, item.calipers.width_mm) == pytest.approx((24.0, 24.0), abs=0.08)


def test_shade_that_falls_off_is_not_taken_for_a_part():
    made = Scene(90, 60, dpi_x=300.0, background=0.8, blur_px=0.8, noise_codes=1.0, seed=2)
    made.add_item(
        Shape(rectangle(48, 30)),
        (45, 30),
        5,
        (0.55, 0.42, 0.28),
        shadow=0.25,
        shadow_mm=1.5,
        shadow_shift_mm=(2.0, 2.0),
    )
    assert "left-out-crisp" not in said(outlined(made, dpi=300))
