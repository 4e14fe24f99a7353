import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from digitize.records import FailedItem, Finding, LeftOut, Path, Picture
from digitize.seal import is_sealed
from digitize.trust.least_sure import least_sure
from digitize.write.preview.labels import KNOWN, shortened, spelled, width_of, wrapped
from digitize.write.preview.marks import (
    EDGE,
    FAILED,
    LEFT_OUT,
    POCKET,
    Drawn,
    PocketMarks,
    draw_edges,
    outline_marks,
    pocket_marks,
)
from digitize.write.preview.overview import _owners, draw_overview, with_margins
from digitize.write.preview.page import BEYOND, PAD, inner_width, layout_for
from digitize.write.preview.picture import _times, _warnings, check_png_bytes
from digitize.write.preview.places import Place, worst_places
from digitize.write.preview.room import Room, label_items
from digitize.write.preview.view import View, whole, window
from digitize.write.preview.words import key_rows, warning_lines
from tests import made
from tests.made import ring


def picture(pixels, name="lantern row 7.png"):
    array = np.ascontiguousarray(pixels)
    return Picture(name, "5e" * 32, array, np.zeros((256, array.shape[2]), np.float32))


def plain(width, height, *, channels=3, dtype=np.uint8, value=200):
    return picture(np.full((height, width, channels), value, dtype=dtype))


def opened(data):
    image = Image.open(io.BytesIO(data))
    image.verify()  # checks every chunk's CRC
    return Image.open(io.BytesIO(data))


def has_colour(image, colour, *, least):
    near = (np.abs(np.asarray(image).astype(int) - colour) <= 4).all(axis=2)
    return int(near.sum()) >= least


def test_a_png_that_pillow_reads_with_its_mark():
    data = check_png_bytes(plain(2000, 1300), made.result(), made.FlatScale())
    image = opened(data)
    image.load()
    assert image.mode == "RGB"
    assert image.width <= 1600 + 48
    assert image.text["Software"].startswith("digitize ")
    assert is_sealed(data)
    assert has_colour(image, EDGE, least=300)


@pytest.mark.parametrize("size", [(4960, 7016), (7016, 4960), (1600, 1500), (1601, 10)])
def test_the_whole_fits_and_keeps_its_shape(size):
    view = whole(plain(*size, channels=1))
    height, width = view.pixels.shape[:2]
    assert width <= 1600
    assert height <= 1500
    assert width == size[0] // int(view.step)
    assert height == size[1] // int(view.step)


@pytest.mark.parametrize("size", [(1, 1), (1, 40000), (40000, 1), (3, 2), (699, 20)])
def test_odd_sizes_make_a_picture_all_the_same(size):
    data = check_png_bytes(plain(*size), made.result(), made.FlatScale())
    opened(data).load()


@pytest.mark.parametrize(
    ("channels", "dtype", "value"), [(1, np.uint8, 200), (1, np.uint16, 200 * 257), (3, np.uint16, 200 * 257)]
)
def test_grey_and_16_bit_look_the_same_as_8_bit_colour(channels, dtype, value):
    expected = check_png_bytes(plain(2000, 1300), made.result(), made.FlatScale())
    got = check_png_bytes(
        plain(2000, 1300, channels=channels, dtype=dtype, value=value), made.result(), made.FlatScale()
    )
    assert got == expected


@pytest.mark.parametrize(("width", "height"), [(3301, 2207), (500, 300), (100, 60)])
def test_a_place_in_the_picture_is_found_again_in_the_view(width, height):
    rng = np.random.default_rng(7)
    for _ in range(5):
        size = max(4, width // 40)
        x, y = int(rng.integers(size, width - 2 * size)), int(rng.integers(size, height - 2 * size))
        pixels = np.zeros((height, width, 3), dtype=np.uint8)
        pixels[y : y + size, x : x + size] = 255
        view = whole(picture(pixels))
        weights = view.pixels[:, :, 0].astype(float)
        rows, columns = np.indices(weights.shape)
        seen = np.array([(weights * columns).sum(), (weights * rows).sum()]) / weights.sum()
        assert view.placed([(x + (size - 1) / 2, y + (size - 1) / 2)])[0] == pytest.approx(seen, abs=0.02)


@pytest.mark.parametrize("edge", [99.5, 100.0, 100.25])
def test_the_line_in_a_window_stands_on_the_sub_pixel_place(edge):
    # Columns up to 99 are dark, from 100 on light: the sharp edge between them is at x = 99.5.
    pixels = np.full((200, 200, 3), 20, dtype=np.uint8)
    pixels[:, 100:] = 220
    view = window(picture(pixels), (100.0, 100.0), times=8, size=(320, 240))
    change = int(np.argmax(view.pixels[50, :, 0] > 120))
    assert view.placed([(99.5, 100.0)])[0, 0] == pytest.approx(change - 0.5)
    blank = View(np.zeros_like(view.pixels), view.step, view.corner_px)
    line = made.ring([(edge, y) for y in range(-50, 250)] + [(-400, 250), (-400, -50)])
    draw_edges(blank, [Drawn(line, ())])
    bright = blank.pixels[120, :, 0].astype(float)  # red: 255 of the edge's colour, 18 of the dark one about it
    centre = (bright * np.arange(len(bright))).sum() / bright.sum()
    assert centre == pytest.approx(view.placed([(edge, 100.0)])[0, 0], abs=0.15)
    assert bright.max() > 200


def test_a_line_is_drawn_right_through_though_its_points_lie_far_outside():
    blank = View(np.zeros((240, 320, 3), np.uint8), 1 / 8, (79.5, 84.5))
    line = made.ring([(-5000, 100), (9000, 100), (9000, 9000)])
    draw_edges(blank, [Drawn(line, ())])
    row = int(blank.placed([(0, 100)])[0, 1])
    assert (blank.pixels[row, :, 0] > 200).all()


def test_a_line_close_beside_the_view_shows_its_rim():
    view = View(np.zeros((40, 60, 3), np.uint8), 1.0, (-0.5, -0.5))
    rings = [made.ring([(x, y), (x + 9, y), (x + 9, y + 9)]) for x, y in ((60.5, 5), (5, -10.5), (500, 500))]
    draw_edges(view, [Drawn(ring, ()) for ring in rings])
    assert view.pixels[4:7, 58:].any()
    assert view.pixels[:2, 12:17].any()
    assert not view.pixels[5:, :55].any()


def test_drawn_is_what_is_written_not_what_was_measured():
    """The contour lies 30 px beside the outline: no file holds it, and nothing of it is drawn."""
    result = made.result(made.tag(pocket=False))
    beside = tuple(replace(c, points_px=made.ring(c.points_px + 30.0)) for c in result.items[0].contours)
    measured = replace(result, items=(replace(result.items[0], contours=beside),))
    assert np.array_equal(_overview(result), _overview(measured))
    (outline,) = outline_marks(result, made.FlatScale())
    assert np.abs(outline.exterior.min(axis=0) - (400, 2000 - 40 * made.PX_PER_MM)).max() < 1.0
    assert len(outline.holes) == 1


def _overview(result):
    view, scale = whole(plain(4000, 2600)), made.FlatScale()
    draw_overview(view, result, outline_marks(result, scale), pocket_marks(result, scale), [])
    return view.pixels


def test_what_failed_is_struck_out_and_said_first():
    reason = Finding("item-failed", "What lies at 3000,500 px got no outline.", place_px=(3000.0, 500.0))
    result = replace(made.result(made.tag(pocket=False)), failed=(FailedItem((2700.0, 300.0, 3300.0, 700.0), reason),))
    red = (np.abs(_overview(result).astype(int) - FAILED) <= 60).all(axis=2)
    rows, columns = np.nonzero(red)
    assert (columns.min() * 3, columns.max() * 3) == pytest.approx((2700, 3300), abs=9)
    assert (rows.min() * 3, rows.max() * 3) == pytest.approx((300, 700), abs=9)
    assert _warnings(result)[0].startswith(reason.message)
    data = check_png_bytes(plain(4000, 2600), result, made.FlatScale())
    assert is_sealed(data)


def test_what_was_left_out_is_boxed_in_grey_and_numbered():
    stain = LeftOut((2700, 300, 3300, 700), (3000.0, 500.0), 60.0, "stain")
    strip = LeftOut((0, 0, 4000, 2600), (3900.0, 2400.0), 30.0, "rim")
    speck = LeftOut((1000, 300, 1060, 340), (1030.0, 320.0), 40.0, "stain")  # of an item of 2,375 mm2 under 2 %
    left_out = (strip, stain, replace(stain, why="shade"), speck)
    result = replace(made.result(made.tag(pocket=False)), left_out=left_out)
    bare = replace(result, left_out=())
    grey = (np.abs(_overview(result).astype(int) - LEFT_OUT) <= 12).all(axis=2)
    changed = (_overview(result) != _overview(bare)).any(axis=2)
    assert changed[90:240, 890:1110].any()  # a third of the picture's px
    assert grey[92:102, 950:1050].any(axis=0).mean() > 0.9  # the upper side of the stain's box
    assert not changed[:75].any()  # the strip is marked at its place, not by its box
    along = replace(strip, along_px=((3900.0, 300.0, 3900.0, 2400.0), (0.0, 2550.0, 4000.0, 2550.0)))
    grey = (np.abs(_overview(replace(result, left_out=(along,))).astype(int) - LEFT_OUT) <= 12).all(axis=2)
    assert grey[100:800, 1296:1304].any(axis=1).mean() > 0.97  # and all along, where that is known
    assert grey[846:854].any(axis=0).mean() > 0.97
    view, scale = whole(plain(4000, 2600)), made.FlatScale()
    *_, numbers = draw_overview(view, result, outline_marks(result, scale), pocket_marks(result, scale), [])
    assert [badge for _, badge, _ in numbers] == ["1", "2"]
    (left, top, right, bottom) = numbers[1][0]
    assert 880 < (left + right) / 2 < 1130
    assert 80 < (top + bottom) / 2 < 260


def test_a_window_beyond_the_border_is_grey_there():
    view = window(plain(50, 50, value=255), (0.0, 0.0), times=8, size=(320, 160))
    assert tuple(view.pixels[5, 5]) == (128, 128, 128)
    assert tuple(view.pixels[-5, -5]) == (255, 255, 255)
    # The picture's corner is the outer corner of its first pixel.
    left, top = view.placed([(-0.5, -0.5)])[0] + 0.5
    assert tuple(view.pixels[int(top), int(left)]) == (255, 255, 255)
    assert tuple(view.pixels[int(top) - 1, int(left) - 1]) == (128, 128, 128)


def test_a_window_wholly_outside_is_grey():
    assert (window(plain(50, 50), (-900.0, 4000.0), times=8, size=(80, 80)).pixels == 128).all()


def test_paths_to_cut_come_back_into_the_picture():
    result = made.result(made.tag(origin_px=(400.0, 2000.0)))
    (path,) = pocket_marks(result, made.FlatScale()).paths
    # 60.22 x 40.22 mm from (-0.11, -0.11) on, 600 / 25.4 px a mm, y up from the origin's 2000 px.
    per_mm = 600 / 25.4
    assert path.min(axis=0) == pytest.approx((400 - 0.11 * per_mm, 2000 - 40.11 * per_mm))
    assert path.max(axis=0) == pytest.approx((400 + 60.11 * per_mm, 2000 + 0.11 * per_mm))


def test_print_areas_come_back_into_the_picture_with_and_without_a_pocket():
    # 62 x 42 mm from (-1, -1) on, 600 / 25.4 px a mm, y up from the origin's 2000 px.
    for item in (made.tag(origin_px=(400.0, 2000.0)), replace(made.tag(origin_px=(400.0, 2000.0)), pocket=None)):
        (area,) = pocket_marks(made.result(item), made.FlatScale()).prints
        per_mm = 600 / 25.4
        assert area.min(axis=0) == pytest.approx((400 - per_mm, 2000 - 41 * per_mm))
        assert area.max(axis=0) == pytest.approx((400 + 61 * per_mm, 2000 + per_mm))


def test_worst_places_findings_first_then_the_highest_sd_far_apart():
    result = made.result()
    places = worst_places(result)
    assert len(places) == 3
    assert places[0].at_px == (700.0, 1999.0)
    assert (places[0].code, places[0].why) == ("shadow-suspected", "Shadow at the edge")
    assert (places[1].code, places[1].why) == (None, "Item 1: least sure edge, ±0.003 mm")
    for n, a in enumerate(places):
        for b in places[n + 1 :]:
            assert np.hypot(*np.subtract(a.at_px, b.at_px)) >= 60


def test_each_edge_is_shown_before_any_is_shown_twice():
    sure, hole = made.tag().contours
    less_sure = replace(hole, sd_px=made.ring(hole.sd_px * 5))
    item = replace(made.tag(), least_sure=least_sure((sure, less_sure), 1 / made.PX_PER_MM), findings=())
    first, second, third = (p.at_px for p in worst_places(made.result(item, made.fob(), findings=())))
    assert first in {tuple(p) for p in hole.points_px.tolist()}
    assert second not in {tuple(p) for p in hole.points_px.tolist()}
    assert third not in {tuple(p) for p in hole.points_px.tolist()}


def test_a_remark_comes_after_what_needs_a_look():
    remark = Finding("dust", "a speck", place_px=(50.0, 50.0), attention=False)
    places = worst_places(made.result(findings=(remark,)))
    assert [p.why for p in places[:2]] == ["Shadow at the edge", "Dust"]


# --- where to look -----------------------------------------------------------------------------------------------


def cut_by_border():
    """A square item of 100 px that the right border of a picture 1000 px wide cuts: its last 50 px are missing."""
    side = np.arange(0.0, 50.0)
    low, high = np.full(50, 400.0), np.full(50, 500.0)
    across = np.column_stack([949.5 + side, high])  # to the border along the lower side,
    up = np.column_stack([np.full(100, 998.5), 500.0 - np.arange(100)])  # along the border,
    back = np.column_stack([998.5 - side, low])
    down = np.column_stack([np.full(100, 949.5), 400.0 + np.arange(100)])
    points = ring(np.vstack([across, up, back, down]))
    item = made.fob()
    contour = replace(item.contours[0], points_px=points, sd_px=points[:, 0] * 0 + 0.02)
    finding = Finding("cut-by-border", "cut", place_px=(975.0, 450.0))
    result = made.result(replace(item, contours=(contour,), findings=(finding,)), findings=())
    return replace(result, width_px=1000, height_px=900)


@pytest.mark.parametrize("shift", [0, 130, 290])
def test_of_an_item_that_is_cut_the_place_is_shown_where_its_edge_meets_the_border(shift):
    result = cut_by_border()
    (item,) = result.items
    rolled = replace(item.contours[0], points_px=ring(np.roll(item.contours[0].points_px, shift, axis=0)))
    first = worst_places(replace(result, items=(replace(item, contours=(rolled,)),)))[0]
    assert first.why == "Cut by the border"
    assert first.at_px == pytest.approx((998.5, 500.0), abs=7.0)


def test_an_item_cut_by_a_sheet_within_the_picture_is_shown_where_the_finding_points():
    first = worst_places(replace(cut_by_border(), width_px=1500))[0]
    assert first.at_px == (975.0, 450.0)


@pytest.mark.parametrize(("away", "times"), [(0.0, 8), (10.0, 8), (25.0, 4), (50.0, 2), (90.0, 1), (4000.0, 1)])
def test_a_window_shows_as_much_as_it_takes_to_see_something_of_the_item(away, times):
    """Half of a window 264 px high is 132: eight times as large 16.5 px of the picture, of which 0.8 count."""
    page = layout_for(whole(plain(1000, 900)), 3, 0)
    line = ring([(x, 500.0 + away) for x in range(0, 1000)])
    assert _times(Place((500.0, 500.0), "why", of_item=True), [line], page) == times
    assert _times(Place((500.0, 500.0), "why"), [line], page) == 8


# --- paths that leave the picture --------------------------------------------------------------------------------


def test_paths_beyond_the_picture_have_a_margin_and_it_is_named():
    view = whole(plain(900, 600))
    inside = PocketMarks([ring([(0, 0), (899, 0), (899, 599)])], [], [], [], [])
    assert with_margins(view, inside) == (view, "")
    some = PocketMarks([ring([(-40, 30), (950, 30), (500, 599)])], [], [], [], [])
    shown, words = with_margins(view, some)
    assert words == "beyond the picture"
    assert shown.pixels.shape == (600, 900 + 52 + 63, 3)
    assert shown.placed([(-40, 30)]) == pytest.approx(np.array([[12.0, 30.0]]))
    assert tuple(shown.pixels[30, 51]) == BEYOND
    assert tuple(shown.pixels[30, 52]) == (200, 200, 200)
    far = PocketMarks([ring([(-4000, 30), (950, 30), (500, 599)])], [], [], [], [])
    shown, words = with_margins(view, far)
    assert "run on" in words
    assert shown.pixels.shape[1] == 900 + 160 + 63


def test_the_path_beside_the_outline_is_seen_in_its_colour_in_the_whole_picture():
    """At 0.1 mm from the edge, less than a pixel of the view, half of the path's length is there to be seen."""
    result = made.result(made.tag())
    view = whole(plain(4000, 2600))
    scale = made.FlatScale()
    draw_overview(view, result, outline_marks(result, scale), pocket_marks(result, scale), [])
    around = (2 * (60 + 40)) * made.PX_PER_MM / view.step
    near = (np.abs(view.pixels.astype(int) - POCKET) <= 60).all(axis=2)
    assert near.sum() >= 0.5 * around


# --- warnings ----------------------------------------------------------------------------------------------------


def test_warnings_are_written_to_their_end():
    words = "The edge could not be measured on 27 % of its length. " * 6 + "Clean the glass."
    lines = warning_lines([words, "short"], 960)
    assert [first for first, _ in lines] == [True, False, False, True]
    assert " ".join(line for _, line in lines[:3]) == words
    assert all(width_of(line, 16) <= 940 for _, line in lines)


def test_more_warnings_than_have_room_are_counted():
    lines = warning_lines([f"warning {n}" for n in range(30)], 960)
    assert len(lines) == 9
    assert lines[-1] == (False, "and 22 more in the JSON")
    endless = warning_lines(["x" * 5000], 960)
    assert len(endless) == 8
    assert endless[-1][1] == "... the rest in the JSON"


def test_a_word_longer_than_a_line_is_cut_and_nothing_of_it_lost():
    assert "".join(wrapped("y" * 300, 16, 200)) == "y" * 300
    assert wrapped("", 16, 200) == []


def test_nothing_to_show_is_shown_without_windows():
    bare = replace(made.fob(), contours=())
    data = check_png_bytes(plain(900, 600), made.result(bare, findings=()), made.FlatScale())
    full = check_png_bytes(plain(900, 600), made.result(), made.FlatScale())
    assert opened(data).height < opened(full).height


def test_a_finding_far_outside_and_a_bare_result_do_no_harm():
    odd = Finding("odd-place", "x" * 5000, place_px=(-9e8, 9e8))
    result = made.result(findings=(odd,) * 30, source_name="鍵\n\udcff" * 200)
    result = replace(result, scale=replace(result.scale, corners_px=None, kind="camera"))
    opened(check_png_bytes(plain(900, 600, value=3), result, made.FlatScale())).load()


def test_labels_cover_neither_the_edge_nor_one_another():
    taken = np.zeros((400, 600), dtype=np.uint8)
    taken[100:300, 100:104] = taken[100:300, 396:400] = taken[100:104, 100:400] = taken[296:300, 100:400] = 1
    edges = taken.copy()
    room = Room(taken)
    rects = [room.place((100, 100, 400, 300), (120, 26)) for _ in range(8)]
    shown = np.zeros_like(edges)
    for left, top, right, bottom in rects:
        assert edges[top:bottom, left:right].sum() == 0
        shown[top:bottom, left:right] += 1
    assert shown.max() == 1


def test_a_label_in_a_full_picture_still_has_a_place_within_it():
    room = Room(np.ones((40, 60), dtype=np.uint8))
    left, top, right, bottom = room.place((0, 0, 60, 40), (120, 26))
    assert 0 <= left < right <= 60
    assert 0 <= top < bottom <= 40


def boxes_in_rows(columns, rows, pitch, side):
    return [
        (40 + x * pitch, 40 + y * pitch, 40 + x * pitch + side, 40 + y * pitch + side)
        for y in range(rows)
        for x in range(columns)
    ]


def overlap(one, other):
    return min(one[2], other[2]) > max(one[0], other[0]) and min(one[3], other[3]) > max(one[1], other[1])


@pytest.mark.parametrize(
    ("pitch", "side", "whole"),
    [(300, 120, True), (90, 60, False), (40, 16, False)],
)
def test_sizes_stand_beside_few_items_and_numbers_on_many(pitch, side, whole):
    boxes = boxes_in_rows(5, 5, pitch, side)
    taken = np.zeros((1600, 1600), np.uint8)
    for left, top, right, bottom in boxes:
        taken[top:bottom, left:right] = 1
        taken[top + 4 : bottom - 4, left + 4 : right - 4] = 0
    badges = [str(n) for n in range(1, 26)]
    labels = label_items(Room(taken), boxes, badges, ["29.80 x 20.00 mm ±0.012"] * 25)
    assert [badge for _, badge, _ in labels] == badges
    assert {words != "" for _, _, words in labels} == {whole}
    assert not any(overlap(a[0], b[0]) for n, a in enumerate(labels) for b in labels[:n])
    if not whole:
        centres = [((r[0] + r[2]) / 2, (r[1] + r[3]) / 2) for r, _, _ in labels]
        assert all(b[0] < x < b[2] and b[1] < y < b[3] for (x, y), b in zip(centres, boxes, strict=True))


def test_a_size_lies_on_no_other_item_but_on_its_own():
    """Three items in a narrow scan, no room below, above or between them: 29.8 mm in 170 px beside a label of 215."""
    owners = np.zeros((300, 700), np.uint16)
    taken = np.zeros((300, 700), np.uint8)
    boxes = [(20 + 225 * n, 10, 190 + 225 * n, 290) for n in range(3)]
    for number, (left, top, right, bottom) in enumerate(boxes, 1):
        owners[top:bottom, left:right] = number
        taken[top:bottom, left:right] = 1
        taken[top + 3 : bottom - 3, left + 3 : right - 3] = 0
    labels = label_items(Room(taken, owners), boxes, ["1", "2", "3"], ["29.80 x 40.40 mm ±0.054"] * 3)
    assert [badge for _, badge, _ in labels] == ["1", "2", "3"]
    assert all("29.80 x 40.40 mm" in words for *_, words in labels)
    for (left, top, right, bottom), badge, _ in labels:
        assert set(np.unique(owners[top:bottom, left:right])) <= {0, int(badge)}


def test_an_item_whose_size_has_no_room_has_its_number_and_what_has_not_even_that_has_none():
    owners = np.zeros((100, 200), np.uint16)
    owners[:, :60], owners[:, 60:] = 1, 2
    found = label_items(Room(np.zeros_like(owners, np.uint8), owners), [(0, 0, 60, 100)], ["1"], ["9 x 9 mm ±0.1"] * 1)
    assert [(badge, words) for _, badge, words in found] == [("1", "")]
    tiny = label_items(Room(np.zeros((10, 10), np.uint8)), [(0, 0, 10, 10)], ["1"], ["9 x 9 mm ±0.1"])
    assert tiny == []


def test_holes_are_numbered_where_there_are_several():
    def numbers(*holes):
        item = made.tag()
        paths = tuple(Path(hole, np.zeros(len(hole))) for hole in holes)
        result = made.result(replace(item, holes_mm=holes, hole_paths=paths))
        result = replace(result, scale=replace(result.scale, corners_px=None))  # its square would lie on the tag
        scale, view = made.FlatScale(), whole(plain(4000, 2600))
        return draw_overview(view, result, outline_marks(result, scale), pocket_marks(result, scale), [])[1]

    round_hole, other = (made.circle_ring(x, 20, 4, clockwise=True) for x in (10, 40))
    assert numbers(round_hole) == []
    (first, *_), (second, *_) = found = numbers(round_hole, other)
    assert [badge for _, badge, _ in found] == ["1", "2"]
    # 10 and 40 mm from the item's left, 600 / 25.4 px a mm, three px to one of the view
    for (left, top, right, bottom), x in ((first, 10), (second, 40)):
        centre = (left + right) / 2, (top + bottom) / 2
        assert centre == pytest.approx(((400 + x * made.PX_PER_MM) / 3, (2000 - 20 * made.PX_PER_MM) / 3), abs=2)


def test_a_number_that_would_cover_another_is_left_out():
    boxes = boxes_in_rows(10, 10, 12, 8)
    labels = label_items(Room(np.zeros((400, 400), np.uint8)), boxes, [str(n) for n in range(100)], ["5 x 5 mm"] * 100)
    assert 10 <= len(labels) < 50
    assert not any(overlap(a[0], b[0]) for n, a in enumerate(labels) for b in labels[:n])


def test_words_are_spelled_with_the_letters_the_font_has():
    assert spelled("Schlüssel 鍵 ±0.01 · naïve ß") == "Schlussel ? ±0.01 · naive ss"
    from PIL import ImageFont

    font = ImageFont.load_default(20)
    missing = font.getmask("鍵")
    for letter in [*map(chr, range(33, 127)), *KNOWN]:
        mask = font.getmask(letter)
        assert (mask.size, bytes(mask)) != (missing.size, bytes(missing)), letter


def test_shortened_words_fit():
    words = "a very long name of a picture of a wooden tag.png"
    short = shortened(words, 16, 120)
    assert short.endswith("...")
    assert width_of(short, 16) <= 120
    assert shortened("ab", 16, 120) == "ab"


def test_the_key_goes_on_in_a_second_line_where_the_page_is_too_narrow():
    found = made.result(made.tag())
    view = View(np.zeros((300, 400, 3), np.uint8), 4.0)
    room = inner_width(view) + PAD
    (only,) = key_rows(found, view, "")
    assert only[-1][0] + 40 + width_of(only[-1][1], 16) <= room
    first, second = key_rows(
        found, view, "beyond the picture, where paths run on to the left and to the right of it all"
    )
    assert first == only
    assert second == [
        (first[0][0], "beyond the picture, where paths run on to the left and to the right of it all", None)
    ]
    one, two = (layout_for(view, 3, 1, key_lines=lines) for lines in (1, 2))
    assert two.windows_y > one.windows_y
    assert two.height - one.height == two.windows_y - one.windows_y


def test_labels_keep_off_the_edges_of_other_items_and_the_paths_beside_them():
    """An item's size is not written over its neighbour's edge, nor on the 6 px beside it where its path runs."""
    left, right = ([(100, 50), (180, 50), (180, 250), (100, 250)], [(200, 50), (280, 50), (280, 250), (200, 250)])
    outlines = [Drawn(np.array(ring, float), ()) for ring in (left, right)]
    view = View(np.zeros((300, 400, 3), np.uint8), 1.0)
    bare = replace(made.result(), scale=replace(made.result().scale, corners_px=None))
    owners = _owners(view, bare, outlines)
    assert set(np.unique(owners[60:240, 170:187])) == {1}
    assert set(np.unique(owners[60:240, 194:210])) == {2}
    assert owners[150, 190] == 0
    taken = np.zeros((300, 400), np.uint8)
    labels = label_items(Room(taken, owners), [(100, 50, 180, 250), (200, 50, 280, 250)], ["1", "2"], ["8.00 mm"] * 2)
    assert len(labels) == 2
    for (x0, y0, x1, y1), badge, _ in labels:
        assert set(np.unique(owners[y0:y1, x0:x1])) <= {0, int(badge)}


def test_a_number_stands_where_its_item_is_widest_and_not_in_the_middle_of_its_hole():
    """A washer of 80 view px with a hole of 50: the ring about it is 15 px broad, its own middle is the hole."""
    boxes = [(10 + 100 * n, 10, 90 + 100 * n, 90) for n in range(7)]
    words = ["words for which there is no room " * 5] * 7
    places = [(50 + 100 * n, 18) for n in range(7)]
    labels = label_items(Room(np.zeros((100, 720), np.uint8)), boxes, list("1234567"), words, places.__getitem__)
    assert [badge for _, badge, _ in labels] == list("1234567")
    for ((left, top, right, bottom), _, said), (x, y) in zip(labels, places, strict=True):
        assert said == ""
        assert abs((left + right) / 2 - x) <= 1
        assert abs((top + bottom) / 2 - y) <= 1
