"""What is item and what is not, in rendered scans whose truth is known: 300 dpi, a few centimetres."""

import numpy as np
import pytest

from digitize.edge.trace import trace_edge
from digitize.reading.reduced import reduce_picture
from digitize.silhouette.find import find_silhouettes
from digitize.silhouette.ways import Ask
from digitize.trust.uncertainty import shade_sd_mm
from samples.render import fob
from tests.rendered import as_picture, scanned
from tests.sweeps import sweep
from tests.truth import zoo
from tests.truth.flatbed import Scene
from tests.truth.shapes import Shape, circle, rectangle, slot

DPI = 300.0
MM_PX = 25.4 / DPI


def scene(width=60, height=40, *, square=None, **look):
    made = Scene(width, height, **{"dpi_x": DPI, "background": 0.88, "blur_px": 0.8, "noise_codes": 1.5, **look})
    if square is not None:
        made.add_square(14, square, 7)
    return made


def pebble(radius=8.0, holes=()):
    return Shape(rectangle(2 * radius, 1.7 * radius, 0.6 * radius), holes, "pebble")


def look_at(made, picture=None, rendered=None, **asked):
    """Silhouettes of a scene, its references told from the truth."""
    if picture is None:
        picture, rendered = scanned(made)
    squares = tuple(rendered.to_px(ring.points) for ring in rendered.squares)
    found = find_silhouettes(picture, reduce_picture(picture), squares, (), Ask(mm_per_px=MM_PX, **asked))
    return found, rendered


def area_mm2(region):
    return float(region.mask.sum()) * MM_PX**2


def assert_is(region, shape, rendered, within_px=1.5):
    """Every border pixel is near the true edge (a start for measuring, in noise), area and holes agree."""
    assert len(region.chains) == len(shape.rings)
    for chain in region.chains:
        distance = shape.signed_distance(rendered.to_mm(chain)) / MM_PX
        assert np.abs(distance).max() < within_px
    assert area_mm2(region) == pytest.approx(shape.area, abs=0.5 * MM_PX * sum(r.perimeter for r in shape.rings))


def codes(region):
    return [f.code for f in region.findings]


# --- colours -----------------------------------------------------------------------------------------------------

LOOKS = {
    "light on white": (0.88, 0.80),
    "white on grey": (0.45, 0.88),
    "blue on blue": ((0.22, 0.36, 0.62), (0.03, 0.07, 0.28)),
    "dark on a black lid": (0.025, 0.06),
    "darker than a black lid": (0.06, 0.025),
    "black on white": (0.88, 0.03),
    "cream on white": ((0.88, 0.88, 0.87), (0.86, 0.82, 0.62)),
    "one brightness": ((0.4, 0.5, 0.4), (0.62, 0.38, 0.4)),
}


@pytest.mark.parametrize("look", LOOKS)
def test_items_of_all_colours_are_found(look):
    ground, colour = LOOKS[look]
    made = scene(background=ground, gradient=(0.02, -0.02))
    item = made.add_item(pebble(9, (circle(4, (3, 1)),)), (34, 20), 24, colour)
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered)
    assert found.regions[0].findings == ()
    assert found.findings == ()


@pytest.mark.parametrize("look", ["light on white", "dark on a black lid"])
def test_nothing_there_is_nothing_found(look):
    found, _ = look_at(scene(background=LOOKS[look][0], gradient=(0.04, 0.04)))
    assert found.regions == ()


def test_a_lid_of_uneven_light_is_no_item_and_hides_none():
    made = scene(gradient=(0.08, -0.06), background=0.8)
    item = made.add_item(pebble(), (30, 20), 10, 0.6)
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered)


# --- several items, dust, holes ----------------------------------------------------------------------------------


def test_items_come_in_reading_order():
    made = scene(90, 70)
    places = [(15, 55), (45, 57), (75, 54), (16, 33), (74, 35), (44, 12)]
    for k in (4, 1, 5, 0, 3, 2):
        made.add_item(pebble(5 + k / 3), places[k], 20 * k, 0.1)
    found, rendered = look_at(made)
    centres = [rendered.to_mm(r.chains[0]).mean(axis=0) for r in found.regions]
    assert np.array(centres) == pytest.approx(np.array(places), abs=0.5)
    for region in found.regions:
        low, high = region.chains[0].min(axis=0), region.chains[0].max(axis=0)
        assert region.box_px == (*low, *(high + 1))


def test_dust_and_hairs_are_ignored():
    made = scene(seed=3)
    item = made.add_item(pebble(), (30, 20), 10, 0.1)
    made.add_dust(60, 8)
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered)


def test_light_dust_on_a_dark_lid_is_ignored():
    made = scene(background=0.03, seed=4)
    item = made.add_item(pebble(), (30, 20), 10, 0.4)
    made.add_dust(60, 8, light=True)
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered)


def test_what_counts_as_dust_can_be_said():
    made = scene()
    made.add_item(Shape(circle(4)), (15, 20), 0, 0.1)
    made.add_item(Shape(circle(12)), (40, 20), 0, 0.1)
    assert len(look_at(made)[0].regions) == 1
    assert len(look_at(made, dust_mm=0.5)[0].regions) == 2
    assert len(look_at(made, dust_mm=3.0)[0].regions) == 0


def test_holes_of_1_and_a_half_millimetres_and_more_are_kept():
    holes = tuple(circle(d, (x, 0)) for d, x in ((1.5, -12), (2, -8), (3, -3), (5, 3)))
    made = scene()
    plate = Shape(rectangle(34, 14, 2), (*holes, slot(8, 1.6, (11, 3))))
    item = made.add_item(plate, (30, 20), 8, 0.1)
    found, rendered = look_at(made)
    assert_is(found.regions[0], item, rendered)


def test_pinholes_are_filled():
    made = scene()
    plate = Shape(rectangle(30, 14, 2), (circle(0.4, (-8, 0)), circle(0.5, (0, 0)), circle(3, (8, 0))))
    made.add_item(plate, (30, 20), 8, 0.1)
    assert len(look_at(made)[0].regions[0].chains) == 2


def test_an_item_within_a_hole_is_not_swallowed():
    made = scene(70, 60)
    ring = made.add_item(Shape(circle(44), (circle(34),)), (35, 30), 0, 0.1)
    disc = made.add_item(Shape(circle(16)), (35, 30), 0, 0.1)
    found, rendered = look_at(made)
    assert len(found.regions) == 2
    first, second = sorted(found.regions, key=area_mm2, reverse=True)
    assert_is(first, ring, rendered)
    assert_is(second, disc, rendered)


# --- flags -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("centre", [(5, 20), (55, 20), (30, 36), (30, 4)])
def test_an_item_cut_by_the_border_is_flagged(centre):
    made = scene()
    made.add_item(pebble(), centre, 0, 0.1)
    found, _ = look_at(made)
    assert [codes(r) for r in found.regions] == [["cut-by-border"]]
    assert found.regions[0].findings[0].attention


def test_an_item_clear_of_the_border_is_not_flagged():
    made = scene()
    made.add_item(pebble(), (9, 20), 0, 0.1)
    assert [codes(r) for r in look_at(made)[0].regions] == [[]]


def test_items_a_blurred_gap_apart_are_flagged_though_their_masks_draw_back_from_it():
    made = scene(80, 50)
    made.add_item(fob(0), (20, 25), 0, 0.05)
    made.add_item(fob(0), (20 + 30.15, 25), 0, 0.05)
    found, _ = look_at(made)
    assert [codes(r) for r in found.regions] == [["items-close"]] * 2


@pytest.mark.parametrize(("gap", "flagged"), [(0.3, True), (2.0, False)])
def test_items_that_nearly_touch_are_flagged(gap, flagged):
    made = scene()
    made.add_item(Shape(circle(16)), (20, 20), 0, 0.1)
    made.add_item(Shape(circle(16)), (36 + gap, 20), 0, 0.1)
    found, _ = look_at(made)
    assert [codes(r) for r in found.regions] == [["items-close"] * flagged] * 2
    if flagged:
        assert found.regions[0].findings[0].value == pytest.approx(gap, abs=2 * MM_PX)


def with_label(things, *, label=0.88):
    """A wooden tag with a label on it, of so much light, and things printed on that."""
    made = scene(noise_codes=2.5)
    made.add_item(Shape(rectangle(44, 28, 3)), (30, 20), 3, (0.45, 0.3, 0.15))
    made.add_paper(30, 16, (30, 20), 3, label)
    for at, width in things:
        made.add_paper(width, 9, (30 + at, 20), 3, 0.04)
    return made


@pytest.mark.parametrize("bars", [[(-9, 1.6), (-4, 2.4), (0, 1.4), (5, 2.8), (10, 1.6)], [(2, 6.0)]])
def test_print_on_a_label_as_pale_as_the_lid_is_said_where_it_comes_out_as_things_in_a_hole(bars):
    """The bars of a bar code, and one block, on a white label of a brown tag on a white lid."""
    found, _ = look_at(with_label(bars))
    tag = max(found.regions, key=area_mm2)
    (said,) = [f for f in tag.findings if f.code == "things-in-hole"]
    assert said.attention
    assert said.value == len(bars) == len(found.regions) - 1
    assert ("A thing lies" in said.message) is (len(bars) == 1)
    assert all("things-in-hole" not in codes(region) for region in found.regions if region is not tag)


def test_things_beside_an_item_with_a_hole_are_not_said_to_lie_in_it():
    made = scene()
    made.add_item(Shape(circle(24), (circle(14, (2, 1)),)), (17, 20), 0, 0.1)
    made.add_item(pebble(4), (38, 14), 0, 0.1)
    made.add_item(pebble(4), (50, 26), 0, 0.1)
    found, _ = look_at(made)
    assert [codes(region) for region in found.regions] == [[]] * 3


def test_an_item_that_touches_the_square_is_flagged():
    made = scene(square=(14, 20))
    made.add_item(Shape(rectangle(18, 10, 2)), (29, 21), 7, (0.45, 0.2, 0.1))
    (region,) = look_at(made)[0].regions
    assert "touches-card" in codes(region)


@pytest.mark.parametrize(
    "paper",
    [
        None,
        0.97,
        0.86,
        0.8,
        0.7,
        0.4,
    ],
)
def test_the_square_is_no_item_and_neither_is_its_paper(paper):
    made = scene(70, 40, background=0.88)
    if paper is not None:
        made.add_paper(26, 22, (18, 20), 7, paper)
    made.add_square(14, (18, 20), 7)
    item = made.add_item(pebble(), (52, 20), 12, 0.1)
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered)
    assert found.regions[0].findings == ()


def test_an_item_that_lies_on_the_card_is_said():
    made = scene(80, 50, background=0.4)
    made.add_paper(30, 26, (22, 24), 0, 0.88)
    made.add_square(14, (18, 24), 0)
    made.add_item(Shape(rectangle(24, 12, 3)), (46, 30), 20, 0.08)
    found, _ = look_at(made)
    said = [f.code for f in found.findings] + [c for r in found.regions for c in codes(r)]
    assert "card-touched" in said or "touches-card" in said


def test_items_on_a_large_sheet_round_the_square_are_found():
    made = scene(90, 60, background=0.03)
    made.add_paper(80, 50, (45, 30), 0, 0.88)
    made.add_square(14, (20, 30), 7)
    item = made.add_item(pebble(), (60, 30), 12, (0.35, 0.2, 0.1))
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered)


# --- shade -------------------------------------------------------------------------------------------------------


def test_a_soft_contact_shadow_does_not_become_item():
    made = scene(background=0.85)
    item = made.add_item(
        pebble(9), (30, 20), 12, (0.42, 0.24, 0.11), shadow=0.3, shadow_mm=0.8, shadow_shift_mm=(0.5, -0.4)
    )
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered, within_px=2.5)


def test_holes_that_lie_in_shade_are_kept():
    made = scene(background=0.85)
    body = Shape(rectangle(26, 20, 4), (circle(5, (-6, 0)), circle(3, (6, 2))))
    item = made.add_item(body, (30, 20), 12, (0.42, 0.24, 0.11), shadow=0.3, shadow_mm=2.0, shadow_shift_mm=(0.2, -0.2))
    found, rendered = look_at(made)
    assert len(found.regions) == 1
    assert_is(found.regions[0], item, rendered, within_px=2.5)


def test_a_grey_item_is_not_taken_for_shade():
    made = scene(background=0.85)
    item = made.add_item(pebble(), (30, 20), 12, 0.55)
    found, rendered = look_at(made)
    assert_is(found.regions[0], item, rendered)


# A blank that does not lie on the glass: its shadow reaches 2 mm out and takes half of the light beside its edge.
LIFTED = {"shadow": 0.5, "shadow_mm": 0.7, "shadow_shift_mm": (1.2, -0.6)}
COLOURS = {"green": (0.05, 0.08, 0.03), "wood": (0.42, 0.24, 0.11), "grey": (0.15,) * 3, "dark": (0.05,) * 3}


def lifted(dpi, colour, **look):
    made = Scene(46, 36, dpi_x=dpi, background=0.85, blur_px=0.8, noise_codes=1.5, gradient=(0.01, 0.01), seed=3)
    item = made.add_item(Shape(rectangle(24, 20.4, 7.2)), (23, 18), 15, COLOURS[colour], **{**LIFTED, **look})
    picture, rendered = scanned(made)
    found = find_silhouettes(picture, reduce_picture(picture), (), (), Ask(mm_per_px=25.4 / dpi))
    return picture, found.regions, rendered, item


@sweep(
    ("dpi", "colour"),
    [(dpi, colour) for dpi in (100, 300, 600) for colour in COLOURS],
    [(100, "green"), (100, "grey"), (300, "wood"), (300, "dark"), (600, "wood")],
)
def test_a_wide_soft_shadow_is_not_item_at_any_density(dpi, colour):
    # 100 dpi shows wood no step beside a shadow that is as dark, so that its shadow is weaker there
    weaker = {"shadow": 0.3} if (dpi, colour) == (100, "wood") else {}
    picture, (region,), rendered, item = lifted(dpi, colour, **weaker)
    off = item.signed_distance(rendered.to_mm(region.chains[0]))
    assert np.abs(off).max() < 0.1 + 1.7 * 25.4 / dpi  # 2 mm when the shadow counts as item
    traced = trace_edge(picture, region.mask, region.mask_origin, region.chains[0], is_hole=False)
    off_um = 1000 * item.signed_distance(rendered.to_mm(traced.contour.points_px))
    # at 100 dpi the shadow falls by half within 3 px: its edge is that much less sure, and said to be
    assert np.quantile(np.abs(off_um), 0.95) < {100: 220, 300: 10, 600: 3}[dpi]
    assert abs(off_um.mean()) < {100: 110, 300: 3, 600: 1}[dpi]
    assert np.quantile(np.abs(off_um), 0.95) < 1.25 * (2000 * shade_sd_mm((traced.contour,), 25.4 / dpi) + 3)


@sweep(
    ("dpi", "blur_mm", "colour"),
    [(dpi, blur_mm, colour) for dpi in (100, 300) for blur_mm in (0.15, 0.3) for colour in ("dark", "grey", "pale")],
    [(100, 0.15, "dark"), (100, 0.3, "pale"), (300, 0.15, "pale"), (300, 0.3, "dark"), (300, 0.3, "grey")],
)
def test_a_neutral_item_out_of_focus_is_not_taken_for_shade(dpi, blur_mm, colour):
    made = Scene(46, 36, dpi_x=dpi, background=0.85, blur_px=blur_mm * dpi / 25.4, noise_codes=1.5, seed=3)
    level = {"dark": 0.05, "grey": 0.35, "pale": 0.6}[colour]
    item = made.add_item(Shape(rectangle(24, 20.4, 7.2)), (23, 18), 15, level)
    made.add_polygon([rectangle(16, 12, 2).placed((23, 18), 15).polygon(1e-3)], 0.03)  # a print, 4 mm from the edge
    picture, rendered = scanned(made)
    (region,) = find_silhouettes(picture, reduce_picture(picture), (), (), Ask(mm_per_px=25.4 / dpi)).regions
    off = item.signed_distance(rendered.to_mm(region.chains[0]))
    assert np.abs(off).max() < 0.35 * blur_mm + 1.7 * 25.4 / dpi
    assert abs(off.mean()) < 0.25 * blur_mm + 0.7 * 25.4 / dpi  # border pixels lie half a pixel inside


# --- what the user says ------------------------------------------------------------------------------------------


def two_halves():
    """An item that covers most of the picture: its colour is the commonest along the border, too."""
    made = scene(60, 40, background=0.85)
    made.add_item(Shape(rectangle(44, 44)), (36, 20), 0, (0.1, 0.15, 0.3))
    return made


def test_the_background_can_be_named():
    found, rendered = look_at(two_halves(), background="light")
    (region,) = found.regions
    assert rendered.to_mm(region.chains[0])[:, 0].min() == pytest.approx(14, abs=0.2)
    assert codes(region) == ["cut-by-border"]
    colour, _ = look_at(two_halves(), background=(0.85, 0.85, 0.85))
    assert colour.regions[0].box_px == region.box_px
    dark, rendered = look_at(two_halves(), background="dark")
    assert rendered.to_mm(dark.regions[0].chains[0])[:, 0].max() == pytest.approx(14, abs=0.2)


def test_the_item_pointed_at_is_the_only_one():
    made = scene()
    made.add_item(pebble(6), (15, 20), 0, 0.1)
    other = made.add_item(pebble(6), (45, 20), 0, 0.1)
    picture, rendered = scanned(made)
    place = tuple(float(v) for v in rendered.to_px(np.array([[45.0, 20.0]]))[0])
    found, _ = look_at(made, picture, rendered, item_at_px=place)
    assert len(found.regions) == 1
    assert_is(found.regions[0], other, rendered)
    assert look_at(made, picture, rendered, item_at_px=(5.0, 5.0))[0].regions == ()


# --- kinds of picture --------------------------------------------------------------------------------------------


def test_grey_16_bit_and_large_pictures_give_the_same_regions():
    made = scene(noise_codes=0.0)
    made.add_item(pebble(9, (circle(4, (3, 1)),)), (30, 20), 24, 0.1)
    picture, rendered = scanned(made)
    plain = look_at(made, picture, rendered)[0].regions[0]
    grey = as_picture(picture.pixels[..., :1])
    deep = as_picture(picture.pixels.astype(np.uint16) * 257)
    for other in (grey, deep):
        found = look_at(made, other, rendered)[0].regions
        assert len(found) == 1
        for one, two in zip(found[0].chains, plain.chains, strict=True):
            assert np.array_equal(one, two)


def test_a_picture_large_enough_to_be_reduced_is_decided_at_full_resolution():
    made = scene(120, 80, dpi_x=600.0)  # 2835 px: looked at in half size
    item = made.add_item(zoo.pebble(), (60, 40), 24, 0.1)
    picture, rendered = scanned(made)
    assert reduce_picture(picture).factor == 2
    found = find_silhouettes(picture, reduce_picture(picture), (), (), Ask(mm_per_px=25.4 / 600))
    (region,) = found.regions
    distance = item.signed_distance(rendered.to_mm(region.chains[0])) * 600 / 25.4
    assert np.abs(distance).max() < 1.5


def test_reduced_pixels_map_to_the_middle_of_those_they_average():
    picture = as_picture(np.random.default_rng(1).integers(0, 256, (1200, 3600, 1), dtype=np.uint8))
    reduced = reduce_picture(picture)
    assert reduced.factor == 2
    assert reduced.codes.shape == (600, 1800, 1)
    assert reduced.to_full(np.array([[0.0, 0.0], [10.0, 4.0]])).tolist() == [[0.5, 0.5], [20.5, 8.5]]
    points = np.random.default_rng(2).uniform(0, 900, (5, 2))
    assert reduced.to_reduced(reduced.to_full(points)) == pytest.approx(points)
    block = picture.pixels[8:10, 20:22, 0].mean()
    assert abs(float(reduced.codes[4, 10, 0]) - block) <= 1
