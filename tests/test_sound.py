"""No unsound outline: refused by the record itself, by the recipe with a word and a place, and by every reader.

What is sound is judged by Shapely (GEOS, after OGC 06-103r4) and by counting crossings of sides one by one.
"""

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
import shapely

from digitize.document.document import document_bytes, read_document, schema
from digitize.edge.untie import untied
from digitize.errors import DocumentError
from digitize.fitting.ring import make_ring
from digitize.recipe.curves import apart, chords, crossed
from digitize.recipe.rings import Rings, place_rings, too_much_lost
from digitize.records import Circle, Contour, FailedItem, Finding, Path
from digitize.silhouette.regions import Region, calmed
from digitize.sound import unsound
from tests import made
from tests.made import circle_ring, ring, rounded_ring

SQUARE = ring([(0, 0), (10, 0), (10, 10), (0, 10)])


def hole(x, y, radius):
    return circle_ring(x, y, radius, count=40, clockwise=True)


def item(exterior, *holes, area=1.0):
    paths = tuple(Path(one, np.zeros(len(one))) for one in holes)
    outer = Path(exterior, np.zeros(len(exterior)))
    return replace(made.tag(), exterior_mm=exterior, holes_mm=holes, path=outer, hole_paths=paths, area_mm2=area)


@pytest.mark.parametrize(
    ("exterior", "holes", "words"),
    [
        (SQUARE[::-1], (), "the outline is inside out"),
        (ring([(0, 0), (10, 10), (10, 0), (0, 9)]), (), "the outline"),
        (ring([(0, 0), (5, 0), (10, 0)]), (), "the outline encloses nothing"),
        (ring([(0, 0), (1, 0)]), (), "fewer than three"),
        (ring([(0, 0), (4, 0), (5, 5), (6, 0), (10, 0), (10, 10), (5, 5), (0, 10)]), (), "crosses itself"),
        (SQUARE, (hole(5, 5, 2)[::-1],), "hole 1 is inside out"),
        (SQUARE, (hole(9, 5, 2),), "hole 1 meets the outline"),
        (SQUARE, (hole(20, 5, 2),), "hole 1 reaches beyond the outline"),
        (SQUARE, (hole(3, 3, 1), hole(5, 5, 40)), "hole 2 reaches beyond the outline"),
        (SQUARE, (hole(3, 5, 1), hole(4, 5, 1)), "holes 1 and 2 meet"),
        (SQUARE, (hole(5, 5, 3), hole(5, 5, 1)), "hole 2 lies within hole 1"),
        (SQUARE, (ring([(0, 5), (2, 6), (2, 4)]),), "hole 1 meets the outline"),  # in a point only
        (SQUARE, (ring([(2, 5), (4, 6), (4, 4)]), ring([(4, 6), (6, 9), (6, 5)])), "holes 1 and 2 meet"),
    ],
)
def test_an_item_is_refused_that_cannot_be_cut(exterior, holes, words):
    assert words in unsound(exterior, holes)
    with pytest.raises(ValueError, match="is no outline"):
        item(exterior, *holes)


def test_an_item_without_area_is_refused_whatever_its_rings_are():
    assert item(SQUARE, hole(5, 5, 2), area=80.0).area_mm2 == 80.0
    for area in (0.0, -19_074.0, float("nan")):
        with pytest.raises(ValueError, match="is no outline"):
            item(SQUARE, hole(5, 5, 2), area=area)


def _random_rings(rng):
    """Outlines and holes of all kinds, most of them bad: wavy, knotted, shifted, doubled."""
    turn = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 60)))
    radius = 10 + rng.normal(0, rng.choice([0.1, 3.0]), len(turn))
    outer = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    if rng.random() < 0.3:
        outer[rng.integers(len(outer))] += rng.normal(0, 15, 2)
    holes = [
        circle_ring(*rng.uniform(-9, 9, 2), rng.uniform(0.3, 4), count=12, clockwise=rng.random() < 0.9)
        for _ in range(rng.integers(0, 4))
    ]
    return outer, holes


def _crossings(points):
    """How many pairs of sides that are no neighbours meet, each pair looked at by itself."""
    count = len(points)
    sides = [shapely.LineString([points[k], points[(k + 1) % count]]) for k in range(count)]
    pairs = [(a, b) for a in range(count) for b in range(a + 2, count) if (a, b) != (0, count - 1)]
    return sum(sides[a].intersects(sides[b]) for a, b in pairs)


def test_of_many_random_rings_the_sound_ones_are_taken_and_no_other():
    rng = np.random.default_rng(5)
    taken = 0
    for _ in range(600):
        outer, holes = _random_rings(rng)
        said = unsound(outer, holes)
        polygon = shapely.Polygon(outer, holes)
        turned = shapely.LinearRing(outer).is_ccw and not any(shapely.LinearRing(one).is_ccw for one in holes)
        lines = [shapely.LinearRing(one) for one in (outer, *holes)]
        touching = any(a.intersects(b) for k, a in enumerate(lines) for b in lines[:k])
        assert (said == "") == (polygon.is_valid and turned and not touching), said
        if said == "":
            taken += 1
            assert _crossings(outer) == 0
    assert 60 < taken < 540


def contour(points_px, *, is_hole=False):
    return Contour(ring(points_px), ring(np.full(len(points_px), 0.02)), (), is_hole, 0.8, 0.7)


def placed(*rings_mm, dust_mm=1.0):
    contours = tuple(contour(one * (10.0, -10.0), is_hole=n > 0) for n, one in enumerate(rings_mm))
    return place_rings(contours, rings_mm, ((),) * len(rings_mm), (), dust_mm=dust_mm)


def test_whatever_the_edge_stage_gives_the_recipe_passes_on_sound_or_says_why_not():
    rng = np.random.default_rng(6)
    kinds = []
    for _ in range(400):
        outer, holes = _random_rings(rng)
        came = placed(outer, *holes)
        if isinstance(came, Rings):
            assert shapely.Polygon(came.own[0], came.own[1:]).is_valid
            item(came.own[0], *came.own[1:])
        else:
            assert came.reason.attention
            assert came.reason.place_px is not None
            assert "no file" in came.reason.message
        kinds.append(type(came))
    assert min(kinds.count(Rings), kinds.count(FailedItem)) > 40


def test_a_loop_as_large_as_dust_is_taken_off_and_said_a_larger_one_fails():
    outer = rounded_ring(60, 40, 6)
    k = int(np.argmin(np.abs(outer - (30, 0)).sum(axis=1)))

    def with_loop(size):
        loop = size * np.array([(0.5, -1.0), (-0.5, -1.0)]) + outer[k]
        return np.vstack([outer[: k + 1], loop, outer[k + 1 :]])

    small, large = with_loop(0.4), with_loop(4.0)
    assert not shapely.LinearRing(small).is_simple
    came = placed(small)
    assert [finding.code for finding in came.findings] == ["edge-tangled"]
    assert isinstance(placed(large), FailedItem)
    assert isinstance(placed(large, dust_mm=6.0), Rings)


def test_a_hole_without_an_edge_is_left_out_if_small_and_said():
    outer = rounded_ring(60, 40, 6)
    came = placed(outer, hole(30, 20, 1.0)[::-1], hole(10, 20, 2.0))
    assert len(came.own) == 2
    assert [finding.code for finding in came.findings] == ["hole-left-out"]
    assert isinstance(placed(outer, hole(30, 20, 8.0)[::-1]), FailedItem)


def test_small_holes_that_touch_one_another_or_the_outline_are_left_out_and_said_a_large_one_fails():
    outer = rounded_ring(60, 40, 6)
    came = placed(outer, hole(30, 20, 1.0), hole(31.5, 20, 1.0), hole(1.0, 20, 1.5), hole(10, 20, 2.0))
    assert [round(np.ptp(one, axis=0).max()) for one in came.own[1:]] == [4]
    assert [finding.code for finding in came.findings] == ["hole-left-out"]
    large = hole(20, 20, 4.0), hole(26, 20, 4.0)
    assert "holes 1 and 2 meet" in placed(outer, *large).reason.message
    wide = rounded_ring(80, 70, 6)  # beside its shorter side these are small
    assert [finding.code for finding in placed(wide, *large).findings] == ["hole-left-out"]


def test_what_is_narrower_than_dust_is_closed_or_taken_off_a_tangled_region():
    mask = np.zeros((80, 120), np.uint8)
    mask[20:60, 20:100] = 1
    mask[35, 30:90:2] = 0  # pin holes in a row
    mask[10:20, 50:52] = 1  # a hair
    mask[60:70, 5:8] = 1  # a speck apart
    chain = np.array([(20, 20), (99, 59)])
    calm = calmed(Region((chain,), mask, (7, 3), (27, 23, 107, 63)), 6.0)
    assert len(calm.chains) == 1
    assert calm.chains[0].min(axis=0) == pytest.approx((27, 23), abs=2)  # the hair's foot is widened
    assert calm.chains[0].max(axis=0) == pytest.approx((106, 62), abs=2)
    assert calmed(Region((chain,), mask[:20], (0, 0), (0, 0, 1, 1)), 6.0) is None  # nothing but the hair


def test_a_hole_larger_than_its_outline_fails():
    came = placed(rounded_ring(20, 10, 2), hole(10, 5, 40))
    assert isinstance(came, FailedItem)
    assert "hole 1 reaches beyond the outline" in came.reason.message


def test_rings_that_are_sound_only_before_they_are_rounded_fail():
    """A hole 0.02 um from the outline: written to 0.1 um the two meet."""
    near = ring([(0.00002, 5.0), (2.0, 6.0), (2.0, 4.0)])
    dense = rounded_ring(10, 10, 1)
    assert unsound(dense, (near,)) == ""
    assert "meets the outline" in placed(dense, near).reason.message


def test_more_than_a_quarter_unmeasured_is_too_much():
    outer, inner = contour(rounded_ring(600, 400, 60)), contour(hole(300, 200, 100), is_hole=True)
    assert too_much_lost([outer], [0.25]) == 0
    assert too_much_lost([outer], [0.26]) == pytest.approx(0.26)
    assert too_much_lost([outer, inner], [0.0, 1.0]) == 0  # 40 places of 440
    assert too_much_lost([outer, outer], [0.0, 1.0]) == pytest.approx(0.5)


def test_an_edge_whose_sides_have_swapped_in_a_gap_is_pulled_back_to_its_pixels():
    """A slot one pixel wide, both of whose sides were found 0.8 px within the other's material."""
    slot = [*((40, y) for y in range(31)), (41, 31), *((42, y) for y in range(30, -1, -1))]
    top, bottom = [(x, 0) for x in range(80) if x not in (40, 41, 42)], [(x, 59) for x in range(78, -1, -1)]
    sides = [(79, y) for y in range(1, 60)], [(0, y) for y in range(58, 0, -1)]
    chain = np.array([*top[:40], *slot, *top[40:], *sides[0], *bottom, *sides[1]], dtype=float)[::-1]
    edge = chain.copy()
    for x, by in ((40, 1.8), (42, -1.8)):
        edge[(edge[:, 0] == x) & (edge[:, 1] > 4) & (edge[:, 1] < 20), 0] += by
    assert not shapely.LinearRing(edge).is_simple
    points, pulled = untied(edge, chain)
    assert shapely.LinearRing(points).is_simple
    assert 30 < pulled.sum() < 100  # of 410; the two stretches are 30 places
    assert np.array_equal(points[~pulled], edge[~pulled])
    assert untied(points, chain)[0] is points


def test_curves_that_would_cross_are_drawn_apart():
    """A hole 0.01 mm from the edge, lines and arcs within 0.02 mm: moved toward each other they meet."""
    outer, inner = rounded_ring(20, 10, 2), hole(3.01, 5, 3.0)
    touching = (Path(outer, np.zeros(len(outer))), Circle((3.0, 5.0), 3.005))
    assert crossed(touching)
    drawn = apart((make_ring(outer), make_ring(inner)), 0.02)
    assert not crossed(drawn)
    assert shapely.Polygon(chords(drawn[0]), [chords(drawn[1])]).is_valid


def test_chords_follow_arcs():
    half = Path(ring([(10, 0), (-10, 0)]), ring([1.0, 1.0]))  # two half circles, tan(180 / 4 degrees) = 1
    for curve in (half, Circle((0.0, 0.0), 10.0)):
        points = chords(curve)
        assert np.allclose(np.hypot(*points.T), 10.0)
        assert shapely.Polygon(points).area == pytest.approx(np.pi * 100, abs=0.05)


REASON = Finding(
    "item-failed", "What lies at 5,6 px got no outline and no file: it crosses itself.", place_px=(5.0, 6.0)
)
FAILED = FailedItem((1.0, 2.0, 9.5, 10.0), REASON)


def test_what_failed_stands_in_the_document_and_comes_back():
    result = replace(made.result(), failed=(FAILED,))
    data = document_bytes(result)
    jsonschema.Draft202012Validator(schema()).validate(json.loads(data))
    assert json.loads(data)["failed"][0]["box_px"] == [1.0, 2.0, 9.5, 10.0]
    assert read_document(data).result.failed == (FAILED,)
    assert document_bytes(read_document(data).result) == data
    assert "failed" not in json.loads(document_bytes(made.result()))


def test_a_document_that_holds_an_unsound_item_is_refused():
    held = json.loads(document_bytes(made.result(made.tag())))
    coordinates = held["items"][0]["geometry"]["coordinates"]
    coordinates[1] = [[x + 100.0, y] for x, y in coordinates[1]]
    with pytest.raises(DocumentError, match="hole 1 reaches beyond the outline"):
        read_document(json.dumps(held).encode())
