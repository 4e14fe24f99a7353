from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from ezdxf.colors import aci2rgb

from digitize.records import Circle, Path
from digitize.trust.uncertainty import length_k2_mm
from digitize.write.dxf import drawn_dxf
from digitize.write.look import PLAIN, Look
from digitize.write.paths import Piece, box_of, pieces, sampled
from digitize.write.pdf import drawn_pdf
from digitize.write.sheet import LAYERS, Box, Drawings, compose
from digitize.write.svg import drawn_svg
from digitize.write.words import plain, size
from tests import made
from tests.written import dxf_bytes, pdf_bytes, svg_bytes

# Simulation of the three dichromacies in linear sRGB: Machado, Oliveira and Fernandes 2009, table 1,
# severity 1.0 (figures from memory).
SEEN_BY = {
    "everybody": np.eye(3),
    "protanopes": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopes": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopes": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(rgb):
    code = np.array(rgb) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def lab(light):
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ light.clip(0, 1)
    f = [np.cbrt(v) if v > 0.008856 else 7.787 * v + 16 / 116 for v in xyz / (0.9505, 1, 1.089)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("layer", LAYERS.values(), ids=list(LAYERS))
def test_contrast_on_white_and_on_black(layer):
    # WCAG 2.1, success criterion 1.4.11: graphics need a contrast of 3 : 1; (lighter + 0.05) / (darker + 0.05).
    luminance = linear(layer.rgb) @ (0.2126, 0.7152, 0.0722)
    assert 1.05 / (luminance + 0.05) >= 3
    assert (luminance + 0.05) / 0.05 >= 3


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_any_two_layers_differ_for_every_kind_of_eyes(eyes):
    seen = {name: lab(SEEN_BY[eyes] @ linear(layer.rgb)) for name, layer in LAYERS.items()}
    assert LAYERS["TEXT"].rgb == LAYERS["NOTE"].rgb  # words beside the lines they are about
    for a, b in combinations(seen.keys() - {"TEXT"}, 2):
        least = 24 if "WALL" in (a, b) else 25  # an eighth colour that keeps 25 from all does not exist
        assert np.linalg.norm(seen[a] - seen[b]) > least, (a, b)


def test_colour_index_is_the_nearest():
    for layer in LAYERS.values():
        off = [sum((x - y) ** 2 for x, y in zip(aci2rgb(index), layer.rgb, strict=True)) for index in range(1, 256)]
        assert off[layer.aci - 1] == min(off)


def test_box_of_arcs_takes_in_their_bows():
    # A stadium's two lines end at x = 10 and 40; its half circles of radius 10 reach 0 and 50.
    box = box_of([made.fob().path])
    assert (box.left, box.bottom, box.right, box.top) == pytest.approx((0, 0, 50, 20))
    box = box_of([Circle((3.0, 4.0), 2.0)])
    assert (box.left, box.bottom, box.right, box.top) == (1, 2, 5, 6)
    # Three quarters of a circle of radius 5 about the origin, clockwise from (5, 0) to (0, 5).
    arc = Path(made.ring([(5, 0), (0, 5)]), made.ring([-np.tan(np.radians(270) / 4), 0]))
    box = box_of([arc])
    assert (box.left, box.bottom, box.right, box.top) == pytest.approx((-5, -5, 5, 5))


@pytest.mark.parametrize("bulge", [0.05, made.QUARTER, 1, 3, -0.4, -2])
def test_box_of_an_arc_against_dense_points(bulge):
    path = Path(made.ring([(1, 2), (7, -3)]), made.ring([bulge, 0]))
    points = np.array(sampled(path, step_mm=0.002))
    box = box_of([path])
    assert (box.left, box.bottom) == pytest.approx(tuple(points.min(axis=0)), abs=1e-3)
    assert (box.right, box.top) == pytest.approx(tuple(points.max(axis=0)), abs=1e-3)


@pytest.mark.parametrize("radius", [0.3, 5.0, 30.0])
def test_chords_stay_close_to_their_arc_and_are_no_more_than_needed(radius):
    # The middle of a chord of angle a lies radius (1 - cos(a / 2)) within the circle.
    corners = np.array(sampled(Circle((0.0, 0.0), radius), step_mm=0.001, within_mm=0.0005))
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    off = radius - np.hypot(*middles.T)
    assert 0.0004 < off.max() < 0.00051


@pytest.mark.parametrize("look", [PLAIN, Look(filled=True, notes="off", origin="centre")])
@pytest.mark.parametrize("in_inches", [False, True])
def test_drawings_that_formats_share_are_those_of_each_alone(look, in_inches):
    result = made.result(options={"units": "inch"} if in_inches else {})
    assert result.in_inches == in_inches
    drawn = Drawings(result)
    shared = drawn_dxf(drawn, version="r2010", look=look), drawn_svg(drawn, look), drawn_pdf(drawn, look)
    assert shared == (dxf_bytes(result, look=look), svg_bytes(result, look=look), pdf_bytes(result, look=look))
    assert drawn.sheet(look) is drawn.sheet(look)


def test_split_arcs_meet_and_turn_as_the_whole():
    whole = Piece((1.0, 0.0), (0.0, 1.0), -np.tan(np.radians(270) / 4))
    parts = whole.split(np.pi / 4)
    assert len(parts) == 6
    assert sum(p.angle for p in parts) == pytest.approx(whole.angle)
    assert all(a.end == b.start for a, b in pairwise(parts))
    assert all(p.centre == pytest.approx((0, 0), abs=1e-12) for p in parts)
    assert (parts[0].start, parts[-1].end) == (whole.start, whole.end)


def test_pieces_without_length_are_left_out():
    path = Path(made.ring([(0, 0), (0, 0), (1, 0), (1, 1)]), made.ring([0.5, 0, 0, 0]))
    assert [p.start for p in pieces(path)] == [(0, 0), (1, 0), (1, 1)]


def test_the_sheet_keeps_bar_mark_and_notes_below_and_inside_its_box():
    sheet = compose(made.result())
    lowest = box_of(curve for _, curve in sheet.curves).bottom
    for _, start, end in sheet.lines:
        assert max(start[1], end[1]) <= lowest - 5
    boxes = [text.box for text in sheet.texts]
    for box in boxes:
        assert sheet.box.left <= box.left <= box.right <= sheet.box.right
        assert sheet.box.bottom <= box.bottom
    below = [box for box in boxes if box.top < lowest]
    assert not any(overlap(a, b) for a, b in combinations(below, 2))


def overlap(a: Box, b: Box):
    return a.left < b.right and b.left < a.right and a.bottom < b.top and b.bottom < a.top


def test_many_items_do_not_flood_the_notes():
    items = [made.fob(name=f"fob-{n}", sheet_mm=(0.0, 30.0 * n)) for n in range(200)]
    notes = compose(made.result(*items)).notes
    assert len(notes) < 60
    assert "... and 170 more items." in notes


def test_cautions_stand_where_they_apply():
    printed, cut_only = (" ".join(compose(made.result(item)).notes) for item in (made.tag(), made.tag(pocket=False)))
    for words in (printed, cut_only):
        assert "never PVC or vinyl" in words
        assert "The machine's manual" in words
    assert "uncured ink" in printed
    assert "uncured ink" not in cut_only


def test_notes_say_what_to_cut():
    assert "Cut the layer POCKET only" in " ".join(compose(made.result()).notes)
    assert "no clearance and ignores the kerf" in " ".join(compose(made.result(made.fob())).notes)
    assert "drawn as seen in the picture" in " ".join(compose(made.result()).notes)


def test_stated_uncertainty_of_a_size():
    # 0.024 mm and 0.3 mm a metre over 60 mm, 0.018: a 3-4-5 triangle.
    assert length_k2_mm(made.tag()) == pytest.approx(0.030)
    assert size(replace(made.tag(), calipers=None)).endswith(" mm ±0.030")


def test_plain_text():
    assert plain("a\n\tb\x00  c\u202e\udcff") == "a b c"


def ringed(item, exterior, holes=()):
    box = exterior.max(axis=0)
    return replace(item, exterior_mm=exterior, holes_mm=holes, width_mm=float(box[0]), height_mm=float(box[1]))


def l_shaped(arm):
    corners = [(0, 0), (60, 0), (60, arm), (arm, arm), (arm, 40), (0, 40)]
    path = shapely.segmentize(shapely.LinearRing(corners), 0.5)
    return made.ring(shapely.get_coordinates(path)[:-1])


WASHER = ringed(made.fob(), made.circle_ring(20, 20, 20), (made.circle_ring(20, 20, 6, clockwise=True),))


@pytest.mark.parametrize(
    ("item", "shown"),
    [
        (made.tag(pocket=False), True),
        (WASHER, True),
        (ringed(made.fob(), l_shaped(8.0)), True),  # the middle of its box lies outside
        (ringed(made.fob(), l_shaped(3.0)), False),  # no arm is as broad as letters with room about them
        (ringed(made.fob(), made.circle_ring(20, 20, 20), (made.circle_ring(20, 20, 18, clockwise=True),)), False),
    ],
)
def test_a_name_stands_on_the_item_clear_of_edge_and_holes_or_not_at_all(item, shown):
    sheet = compose(made.result(item))
    names = [text for text in sheet.texts if text.words == item.name]
    assert len(names) == shown
    body = shapely.Polygon(item.exterior_mm, item.holes_mm)
    for text in names:
        (x, y), wide = text.at, 0.76 * 2.5 * len(text.words)
        assert shapely.box(x, y, x + wide, y + 2.5).buffer(0.4).within(body)
