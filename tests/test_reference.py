"""Which reference a scan holds and the scale it gives: plain squares and the coded ring card, rendered as polygons."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from digitize.card.kinds import card_layout
from digitize.errors import ScaleError, UsageError
from digitize.reading.reduced import reduce_picture
from digitize.reference.locate import locate_reference
from digitize.settings import Settings
from tests.rendered import scanned
from tests.sweeps import sweep
from tests.truth.flatbed import Scene
from tests.truth.lid_shapes import window

SCALE_TARGET = 1e-4


def locate(picture, **asked):
    return locate_reference(picture, reduce_picture(picture), Settings.of(asked))


def scene(width=44, height=40, dpi=300.0, **look):
    return Scene(width, height, **{"dpi_x": dpi, "blur_px": 0.8, "noise_codes": 1.5, "background": 0.85, **look})


def scan(made, dpi=300):
    """Render as a scanner would save it, with its nominal density."""
    return scanned(made, dpi=dpi)


def scale_errors(estimate, rendered):
    """Relative error of the x and the y scale."""
    return np.array(estimate.facts.mm_per_px) * np.array(rendered.dpi) / 25.4 - 1


# --- one plain square --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [0, 14, 29, 45, 63, 88])
def test_one_square_is_found_at_any_rotation(angle):
    made = scene(dpi_x=301.5, dpi_y=298.5, seed=angle)
    made.add_square(24, (22.3, 19.6), angle)
    picture, rendered = scan(made)
    located = locate(picture, square_mm=(24, 24))
    assert np.abs(scale_errors(located.estimate, rendered)).max() < 2 * SCALE_TARGET
    assert located.estimate.facts.reference == "plain square 24 x 24 mm"
    assert located.estimate.facts.measured
    assert located.estimate.findings == ()
    true = rendered.to_px(rendered.squares[0].points)
    gap = np.linalg.norm(located.squares_px[0][:, None] - true[None], axis=2).min(axis=1)
    assert gap.max() < 0.05
    assert located.marks_px == ()


@pytest.mark.parametrize(
    ("square", "ground"),
    [(0.8, 0.03), ((0.5, 0.04, 0.04), (0.85, 0.84, 0.8)), ((0.03, 0.07, 0.28), (0.22, 0.36, 0.62)), (0.3, 0.75)],
    ids=["light on dark", "red on white", "blue on blue", "grey on grey"],
)
def test_squares_of_any_colour_are_found(square, ground):
    made = scene(background=ground)
    made.add_square(24, (22, 20), 10, square)
    picture, rendered = scan(made)
    assert np.abs(scale_errors(locate(picture, square_mm=(24, 24)).estimate, rendered)).max() < 2 * SCALE_TARGET


def test_a_dark_square_on_its_light_sheet_is_the_square():
    made = scene(background=0.04)
    made.add_paper(34, 33, (22, 20), 5)
    made.add_square(22, (22, 20), 5)
    picture, rendered = scan(made)
    assert np.abs(scale_errors(locate(picture, square_mm=(22, 22)).estimate, rendered)).max() < 2 * SCALE_TARGET


def test_stated_sides_of_a_rectangle_are_taken_as_x_and_y():
    made = scene()
    made.add_square((25, 24.2), (22, 20), 0)
    picture, rendered = scan(made)
    located = locate(picture, square_mm=(25, 24.2))
    assert np.abs(scale_errors(located.estimate, rendered)).max() < 2 * SCALE_TARGET


# --- what is no reference ----------------------------------------------------------------------------------------


def refused(picture, **asked):
    with pytest.raises(ScaleError) as caught:
        locate(picture, **asked)
    assert caught.value.exit_code == 4
    return str(caught.value)


def test_without_reference_and_density_there_is_no_scale():
    picture, _ = scan(scene(20, 20))
    said = refused(picture)
    assert "its scale is unknown" in said
    assert "--square 50" in said
    assert "--dpi 300" in said
    assert "--dpi" not in refused(scanned(scene(20, 20))[0])


def test_density_is_trusted_only_when_said():
    picture, _ = scan(scene(20, 20))
    located = locate(picture, dpi=(300, 300))
    assert located.estimate.facts.mm_per_px == pytest.approx((25.4 / 300,) * 2)
    assert [f.code for f in located.estimate.findings] == ["scale-from-density"]
    assert located.squares_px == ()


def test_two_densities_are_taken_as_x_and_y():
    """A fax's fine mode (ITU-T T.4): 204 dots an inch along a line, 196 lines an inch."""
    picture, _ = scan(scene(20, 20))
    scale = locate(picture, dpi=(204, 196)).estimate.scale
    right, down = scale.to_mm(np.array([[204.0, 0.0], [0.0, 196.0]])) - scale.to_mm(np.zeros((1, 2)))
    assert right == pytest.approx((25.4, 0), abs=1e-9)
    assert down == pytest.approx((0, -25.4), abs=1e-9)


def test_an_empty_picture_has_no_square():
    assert "No reference square was found" in refused(scan(scene(20, 20))[0], square_mm=(10, 10))


def several():
    made = scene(70, 40)
    made.add_square(24, (20, 20), 10)
    made.add_square(16, (52, 21), 30)
    return scan(made)


def test_several_squares_are_listed_with_their_sizes_and_none_is_picked():
    picture, rendered = several()
    said = refused(picture, square_mm=(24, 24))
    assert said.startswith("2 shapes in the picture may be the reference square; none was picked")
    assert "--square-at X,Y" in said
    places = {tuple(float(v) for v in m) for m in re.findall(r"at (\d+),(\d+) px: (\d+) x (\d+) px", said)}
    for ring, side in zip(rendered.squares, (24, 16), strict=True):
        x, y = rendered.to_px(ring.points).mean(axis=0)
        assert any(abs(p[0] - x) < 3 and abs(p[1] - y) < 3 and abs(p[2] - side * 300 / 25.4) < 3 for p in places)
    assert "24.0 x 24.0 mm by the file's density" in said
    assert "16.0 x 16.0 mm" in said


@cache
def beside_a_window():
    made = scene(80, 44)
    made.add_square(16, (13, 21), 10)
    made.add_item(window(48, 26, 4), (50, 21), 8, reflectance=0.2)  # two openings of 18 x 18 mm
    return scan(made)


def test_openings_of_an_item_are_no_squares_beside_one_as_large_as_was_said():
    picture, rendered = beside_a_window()
    located = locate(picture, square_mm=(16, 16))
    assert np.abs(scale_errors(located.estimate, rendered)).max() < 2 * SCALE_TARGET


@pytest.mark.parametrize("side", [18.0, 25.0])
def test_openings_of_an_item_may_be_meant_where_the_square_is_not_as_large_as_was_said(side):
    picture, _ = beside_a_window()
    assert "3 shapes in the picture may be the reference square" in refused(picture, square_mm=(side, side))
    assert "3 shapes" in refused(replace(picture, density=None), square_mm=(16, 16))


@pytest.mark.parametrize(("index", "side"), [(0, 24), (1, 16)])
def test_the_square_pointed_at_is_taken(index, side):
    picture, rendered = several()
    place = tuple(float(v) for v in rendered.to_px(rendered.squares[index].points).mean(axis=0))
    located = locate(picture, square_mm=(side, side), square_at_px=place)
    assert np.abs(scale_errors(located.estimate, rendered)).max() < 3 * SCALE_TARGET


def test_pointing_at_nothing_is_said():
    picture, _ = several()
    said = refused(picture, square_mm=(24, 24), square_at_px=(5, 5))
    assert "at 5,5 px" in said
    assert "24.0 x 24.0 mm by the file's density" in said
    assert "16.0 x 16.0 mm" in said


@pytest.mark.parametrize("turn", [0, 20])
def test_a_covered_corner_is_measured_by_the_rest_and_said(turn):
    made = scene()
    ring = made.add_square(24, (22, 20), turn)
    corner = ring.points[2]
    from tests.truth.shapes import circle

    made.add_polygon([circle(4, corner).polygon(0.002)], (0.7, 0.62, 0.5))
    picture, rendered = scan(made)
    located = locate(picture, square_mm=(24, 24))
    assert np.abs(scale_errors(located.estimate, rendered)).max() < 5e-4
    (finding,) = located.estimate.findings
    assert finding.code == "reference-covered"
    assert finding.attention
    assert np.linalg.norm(np.array(finding.place_px) - rendered.to_px(corner[None])[0]) < 5


def test_a_corner_covered_over_a_third_of_two_sides_is_measured_and_said():
    from tests.truth.shapes import circle

    made = scene()
    ring = made.add_square(24, (22, 20), 0)
    made.add_polygon([circle(9, ring.points[2]).polygon(0.002)], (0.7, 0.62, 0.5))
    picture, rendered = scan(made)
    located = locate(picture, square_mm=(24, 24))
    assert np.abs(scale_errors(located.estimate, rendered)).max() < 5e-4
    assert [f.code for f in located.estimate.findings] == ["reference-covered"]


def test_two_covered_corners_are_too_many():
    made = scene()
    ring = made.add_square(24, (22, 20), 0)
    from tests.truth.shapes import circle

    for corner in ring.points[[1, 3]]:
        made.add_polygon([circle(5, corner).polygon(0.002)], (0.7, 0.62, 0.5))
    assert "rounded or covered corners" in refused(scan(made)[0], square_mm=(24, 24))


@pytest.mark.parametrize("lack", [1.0, 6.0, 12.0])
@pytest.mark.parametrize(("square", "ground"), [(0.03, 0.85), (0.8, 0.03)])
def test_a_square_cut_by_the_border_is_refused(square, ground, lack):
    made = scene(background=ground)
    made.add_square(24, (12 - lack, 20), 0, square)
    refused(scan(made)[0], square_mm=(24, 24))


@pytest.mark.parametrize("sides", [(24, 12), (24, 21), (30, 24)])
def test_half_a_square_and_other_rectangles_are_refused(sides):
    made = scene()
    made.add_square(sides, (22, 20), 12)
    refused(scan(made)[0], square_mm=(24, 24))


@pytest.mark.parametrize("sides", [(24, 21), (24, 23)])
def test_a_rectangle_is_refused_also_where_the_file_names_no_density(sides):
    made = scene()
    made.add_square(sides, (22, 20), 12)
    refused(scanned(made)[0], square_mm=(24, 24))


def test_a_square_slightly_off_is_refused_for_its_sides():
    made = scene()
    made.add_square((24, 23), (22, 20), 0)
    said = refused(scan(made)[0], square_mm=(24, 24))
    assert "its sides differ by 4" in said
    assert "(limit 3.5 %)" in said


def test_what_is_no_square_is_named_with_its_sides():
    made = scene(60, 40)
    made.add_square((20, 24), (22, 20), 7)
    for picture in (scan(made)[0], scanned(made)[0]):
        said = refused(picture, square_mm=(20, 20))
        a, b, off = (float(v) for v in re.search(r"sides of (\d+) x (\d+) px, (\d+) % off", said).groups())
        assert (a, b) == pytest.approx((20 * 300 / 25.4, 24 * 300 / 25.4), abs=3)
        assert off == 20
        assert "--square 49.8x48.9" in said


@pytest.mark.parametrize("turn", [0, 7, -20])
@pytest.mark.parametrize(("square", "ground"), [(0.03, 0.85), (0.8, 0.03)])
def test_a_square_cut_by_the_border_is_said_to_be(turn, square, ground):
    made = scene(60, 40, background=ground)
    made.add_square(20, (6, 20), turn, square)
    said = refused(scan(made)[0], square_mm=(20, 20))
    assert "is cut by the picture's border" in said


def touched(turn, light, *, size=(70, 50)):
    """A rectangle lies over a tenth of a millimetre of a whole side."""
    made = scene(*size)
    made.add_square(20, (22, 25), turn)
    a = np.radians(turn)
    centre = np.array([22, 25]) + np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) @ (19.9, -3)
    made.add_square((20, 30), centre, turn, light)
    return scan(made)[0]


@sweep(
    ("size", "light", "turn"),
    [(size, light, turn) for size in ((70, 50), (90, 50)) for light in (0.03, 0.05, 0.3) for turn in (0, 10)],
    [((70, 50), 0.03, 10), ((70, 50), 0.3, 0), ((90, 50), 0.05, 0), ((90, 50), 0.3, 10)],
)
def test_a_square_that_something_touches_is_refused_for_that(turn, light, size):
    said = refused(touched(turn, light, size=size), square_mm=(20, 20))
    assert re.search("an item touches or covers it|is touched or covered along one side", said)
    x, y = (float(v) for v in re.search(r"at (\d+),(\d+) px", said).groups())
    assert abs(x - 22 * 300 / 25.4) < 40
    assert abs(y - (50 - 25) * 300 / 25.4) < 40


def test_a_pale_thing_along_one_side_of_the_square_is_said():
    (finding,) = locate(touched(0, 0.6), square_mm=(20, 20)).estimate.findings
    assert finding.code == "reference-touched"
    assert finding.attention
    assert abs(finding.place_px[0] - 31.9 * 300 / 25.4) < 5
    assert finding.value == pytest.approx((0.6 - 0.03) / (0.85 - 0.03), abs=0.02)


@pytest.mark.parametrize("blur", [0.5, 0.8, 1.2])
@pytest.mark.parametrize(("square", "ground"), [(0.03, 0.85), (0.8, 0.03)])
def test_a_whole_square_half_a_millimetre_from_the_border_is_measured(blur, square, ground):
    made = scene(60, 40, blur_px=blur, background=ground)
    made.add_square(24, (12.5, 20), 0, square)
    picture, rendered = scan(made)
    located = locate(picture, square_mm=(24, 24))
    assert np.abs(scale_errors(located.estimate, rendered)).max() < SCALE_TARGET
    assert located.estimate.findings == ()


def test_a_square_too_near_the_border_is_refused_for_that():
    made = scene(60, 40)
    made.add_square(24, (12.15, 20), 0)
    said = refused(scan(made)[0], square_mm=(24, 24))
    assert re.search(r"has only about \d px between one side and the picture's border", said)


def test_a_disc_and_a_patterned_square_are_no_reference():
    from tests.truth.shapes import circle

    made = scene()
    made.add_polygon([circle(24, (22, 20)).polygon(0.001)])
    refused(scan(made)[0], square_mm=(24, 24))
    made = scene()
    made.add_square(24, (22, 20), 0)
    for k in range(3):
        made.add_paper(3, 22, (15 + 7 * k, 20), 0, 0.7)
    assert "uneven colour" in refused(scan(made)[0], square_mm=(24, 24))


def test_density_that_disagrees_is_said():
    made = scene()
    made.add_square(24, (22, 20), 12)
    picture, _ = scan(made, dpi=300 * 96 / 72)
    (finding,) = locate(picture, square_mm=(24, 24)).estimate.findings
    assert finding.code == "density-disagrees"


# --- the ring card -----------------------------------------------------------------------------------------------

SINGLE = card_layout("single", "a4")


@cache
def card_loops():
    """The single's ring, code and bars about the middle of its cut line, as polygons with holes; mm."""
    import shapely

    x0, y0, x1, y1 = SINGLE.card_box_mm
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    polygons = []
    for fill in SINGLE.fills:
        a, b, c, d = fill.box_mm
        if not (x0 < (a + c) / 2 < x1 and y0 < (b + d) / 2 < y1):
            continue
        area = shapely.Polygon(fill.loops[0])
        for loop in fill.loops[1:]:
            area = shapely.symmetric_difference(area, shapely.Polygon(loop))
        for part in shapely.get_parts(area):
            rings = (part.exterior, *part.interiors)
            polygons.append(tuple(np.array(r.coords)[:-1] - middle for r in rings))
    return polygons, (x1 - x0, y1 - y0)


def turned(points, degrees, centre):
    a = np.radians(degrees)
    return points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + centre


def card_scene(angle, *, stretch=(1.0, 1.0), paper=0.88, ink=0.05, dpi=200.0, dpi_y=None, size=None, ground=0.6):
    """The card lying on the glass, printed `stretch` times too large in its own x and y."""
    polygons, (w, h) = card_loops()
    a = np.radians(angle)
    reach = 4 + np.array([w * abs(np.cos(a)) + h * abs(np.sin(a)), w * abs(np.sin(a)) + h * abs(np.cos(a))])
    size = reach if size is None else size
    made = scene(*size, dpi_x=dpi, dpi_y=dpi_y, background=ground, seed=round(angle))
    centre = reach / 2
    made.add_paper(w, h, centre, angle, paper)
    for rings in polygons:
        made.add_polygon([turned(r * stretch, angle, centre) for r in rings], ink)
    return made


@pytest.fixture(scope="module")
def upright_card():
    return scan(card_scene(0, dpi_y=199.0), dpi=200)


@pytest.mark.parametrize("angle", [0, 17, 90, 135, 180, 251])
def test_the_card_is_recognised_at_any_rotation(angle):
    picture, rendered = scan(card_scene(angle, dpi_y=201.0), dpi=200)
    located = locate(picture)
    assert np.abs(scale_errors(located.estimate, rendered)).max() < SCALE_TARGET
    assert located.estimate.facts.reference == "ring card (single, a4), not measured"
    assert not located.estimate.facts.measured
    assert [f.code for f in located.estimate.findings] == ["card-not-measured"]
    assert len(located.squares_px) == 1
    assert located.marks_px


def test_card_marks_cover_all_ink(upright_card):
    import cv2

    picture, _ = upright_card
    located = locate(picture)
    covered = np.zeros(picture.pixels.shape[:2], np.uint8)
    for polygon in (*located.squares_px, *located.marks_px):
        cv2.fillPoly(covered, [np.rint(polygon).astype(np.int32)], 1)
    covered = cv2.dilate(covered, np.ones((3, 3), np.uint8))
    inked = (picture.pixels.max(axis=2) < 120) & (covered == 0)
    assert inked.sum() == 0


@pytest.mark.parametrize("measured", [(54.0, 54.0), (100.0, 100.0), (54.0, 100.0)])
def test_readings_of_ring_and_bars_mean_the_same(upright_card, measured):
    picture, rendered = upright_card
    located = locate(picture, measured_mm=measured)
    assert np.abs(scale_errors(located.estimate, rendered)).max() < SCALE_TARGET
    assert located.estimate.facts.measured
    assert "measured" in located.estimate.facts.reference
    assert located.estimate.findings == ()


@pytest.mark.parametrize("angle", [0, 90, 30])
def test_a_print_that_is_stretched_is_measured_and_right(angle):
    stretch = np.array([0.996, 1.003])
    picture, rendered = scan(card_scene(angle, stretch=stretch), dpi=200)
    by_ring = locate(picture, measured_mm=tuple(54 * stretch))
    by_bar = locate(picture, measured_mm=tuple(100 * stretch))
    for located in (by_ring, by_bar):
        assert np.abs(scale_errors(located.estimate, rendered)).max() < SCALE_TARGET
        assert abs(located.estimate.scale.skew_deg) < 0.02
    if angle != 30:
        unmeasured = scale_errors(locate(picture).estimate, rendered)
        expected = 1 / stretch - 1 if angle == 0 else 1 / stretch[::-1] - 1
        assert unmeasured == pytest.approx(expected, abs=SCALE_TARGET)


def test_spread_of_the_ink_changes_nothing_by_bar_nor_by_ring():
    # the ring 0.1 mm wider on every side, as spreading toner makes it: outer side 54.2, inner 45.8
    polygons, (w, h) = card_loops()
    made = scene(w + 4, h + 4, dpi_x=200, background=0.6)
    centre = np.array([w + 4, h + 4]) / 2
    made.add_paper(w, h, centre, 0, 0.88)
    for rings in polygons:
        rings = [np.array(r) for r in rings]
        if np.ptp(rings[0][:, 0]) == pytest.approx(54):
            middle = rings[0].mean(axis=0)
            rings = [
                middle + (r - middle) * (1 + k * 0.2 / np.ptp(r[:, 0])) for r, k in zip(rings, (1, -1), strict=True)
            ]
        made.add_polygon([r + centre for r in rings], 0.05)
    picture, rendered = scan(made, dpi=200)
    for asked in ({}, {"measured_mm": (100.0, 100.0)}, {"measured_mm": (54.2, 54.2)}):
        assert np.abs(scale_errors(locate(picture, **asked).estimate, rendered)).max() < SCALE_TARGET


def test_two_readings_that_no_flatbed_can_show_are_told_as_readings_of_the_card(upright_card):
    with pytest.raises(ScaleError, match=r"is not square in the picture.*say both: --measured"):
        locate(upright_card[0], measured_mm=(49.8, 53.8))


def test_readings_of_nothing_on_the_card_are_refused(upright_card):
    with pytest.raises(
        UsageError, match=r"says 70 mm in X: on this card the ring is drawn 54 mm .* the check bar 100 mm"
    ):
        locate(upright_card[0], measured_mm=(70.0, 54.0))


@pytest.mark.parametrize(
    ("measured", "limit_words"),
    [
        ((50.0, 50.0), ("You measured 50 mm in X and Y,", "drawn 54 mm", "-7.4 %", "middle of the frame (50 mm)")),
        # A4 drawn, Letter's height printed: 279.4 / 297, ISO 216 and 11 inch; nearer to the mid-line as well
        ((50.8, 50.8), ("-5.9 %", "middle of the frame", "'fit to page'")),
        ((52.5, 54.0), ("You measured 52.5 mm in X,", "-2.8 %", "probably printed with 'fit to page'")),
        ((97.3, 97.3), ("the check bar is drawn 100 mm", "-2.7 %", "probably printed with 'fit to page'")),
    ],
)
def test_readings_far_from_the_drawing_are_believed_and_said(upright_card, measured, limit_words):
    picture = replace(upright_card[0], density=None)
    found = [f for f in locate(picture, measured_mm=measured).estimate.findings if f.code == "reading-unlikely"]
    assert len(found) == 1
    assert found[0].attention
    for words in limit_words:
        assert words in found[0].message
    assert ("middle of the frame" in found[0].message) == (min(measured) < 52)


def test_a_far_reading_that_the_density_bears_out_is_a_remark():
    picture, _ = scan(card_scene(0, stretch=(0.96, 0.96)), dpi=200)
    (finding,) = locate(picture, measured_mm=(51.84, 51.84)).estimate.findings
    assert finding.code == "reading-unlikely"
    assert not finding.attention
    assert locate(replace(picture, density=None), measured_mm=(51.84, 51.84)).estimate.findings[0].attention


def test_a_square_out_of_square_is_said_and_made_unsure_where_no_density_confirms_it():
    made = scene()
    made.add_square((24, 24.7), (22, 20), 0)
    picture, _ = scanned(made)
    estimate = locate(picture, square_mm=(24, 24)).estimate
    (finding,) = estimate.findings
    assert finding.code == "axes-differ"
    assert finding.attention
    assert finding.value == pytest.approx(24.7 / 24 - 1, abs=1e-3)
    # k = 2 covers the larger of the two errors that are possible
    assert 2 * estimate.budget[-1].length_per_mm >= 0.999 * (24.7 / 24 - 1)


def test_scanners_whose_axes_differ_are_not_suspected_when_the_file_says_so():
    made = scene(dpi_y=309)
    made.add_square(24, (22, 20), 0)
    picture, _ = scan(made, dpi=(300, 309))
    assert locate(picture, square_mm=(24, 24)).estimate.findings == ()
    blind = locate(replace(picture, density=None), square_mm=(24, 24)).estimate
    assert [f.code for f in blind.findings] == ["axes-differ"]


# --- options left unused -----------------------------------------------------------------------------------------


def unused(picture, **asked):
    found = [f for f in locate(picture, **asked).estimate.findings if f.code == "option-not-used"]
    assert not any(f.attention for f in found)
    return " ".join(f.message for f in found)


def test_readings_of_a_card_beside_a_plain_square_and_a_density_are_remarked():
    made = scene()
    made.add_square(24, (22, 20), 10)
    picture, _ = scan(made)
    assert unused(picture, square_mm=(24, 24)) == ""
    assert unused(picture, square_mm=(24, 24), measured_mm=(53.8, 53.9)).startswith("--measured 53.8x53.9 was not used")
    assert unused(picture, square_mm=(24, 24), dpi=(300, 300)).startswith("--dpi 300 was only compared")


def test_a_square_said_beside_our_ring_card_is_remarked(upright_card):
    picture, _ = upright_card
    assert unused(picture) == ""
    assert "--square 50 was not used" in unused(picture, square_mm=(50, 50))
    assert "--square 20 was not used" in unused(picture, square_mm=(20, 20), measured_mm=(54, 54))
    assert "--disc 20 was not used" in unused(picture, disc_mm=20)
    # as a reading of the print it is used
    assert unused(picture, square_mm=(53.8, 53.9)) == ""


def test_a_square_that_is_no_length_of_the_card_in_the_picture_is_asked_about(upright_card):
    said = refused(upright_card[0], square_mm=(20, 20))
    assert "holds our ring card, of which --square 20 x 20 is no length" in said
    assert "--square-at X,Y" in said


def test_a_ring_half_covered_is_refused():
    made = card_scene(0)
    made.add_paper(30, 120, (58, 60), 0, 0.3)
    said = refused(scan(made, dpi=200)[0])
    assert "card" in said


def test_two_cards_are_refused():
    # ring, code and all of the A4 single beside the Letter one
    w, h = card_loops()[1]
    letter = card_layout("single", "letter")
    made = card_scene(0, size=(2 * w + 12, h + 4), dpi=150)
    x0, y0, x1, y1 = letter.card_box_mm
    shift = np.array([1.5 * w + 8, h / 2 + 2]) - ((x0 + x1) / 2, (y0 + y1) / 2)
    made.add_paper(w, h, (1.5 * w + 8, h / 2 + 2), 0, 0.88)
    import shapely

    for fill in letter.fills:
        if fill.role not in ("ring", "code"):
            continue
        area = shapely.Polygon(fill.loops[0])
        for loop in fill.loops[1:]:
            area = shapely.symmetric_difference(area, shapely.Polygon(loop))
        for part in shapely.get_parts(area):
            made.add_polygon([np.array(r.coords)[:-1] + shift for r in (part.exterior, *part.interiors)], 0.05)
    assert "rings of several cards" in refused(scan(made, dpi=200)[0])


def test_the_same_card_twice_is_refused_with_both_places():
    polygons, (w, h) = card_loops()
    made = card_scene(0, size=(2 * w + 12, h + 4), dpi=150)
    made.add_paper(w, h, (1.5 * w + 8, h / 2 + 2), 0, 0.88)
    for rings in polygons:
        made.add_polygon([r + np.array([1.5 * w + 8, h / 2 + 2]) for r in rings], 0.05)
    said = refused(scan(made, dpi=150)[0])
    assert said.startswith("Two reference cards of the same kind")
    assert len(re.findall(r"\d+,\d+", said)) == 2
