"""Pockets in rows: places by hand, webs measured anew, counts that are known, nothing ever over anything else."""

import itertools
import math
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from digitize.errors import UsageError
from digitize.plate.asked import PlateAsked
from digitize.plate.check import checked
from digitize.plate.lattice import densest
from digitize.plate.lay import lay_bytes, places_in
from digitize.plate.layout import empty, from_zero, laid, placed
from digitize.plate.nofit import MOST_CORNERS, few_corners, no_fit
from digitize.plate.plate import ZEROS, Hole, Place
from digitize.plate.slide import edges_of, slide
from tests import made
from tests.plates import BED, OPENING, disc, kind, shaped, tag
from tests.sweeps import tried


def plate_of(*kinds, **asked):
    return laid(kinds, PlateAsked(**{"bed_mm": BED, **asked}), name="plate")


def rounded_box(width, height, radius):
    return shapely.box(radius, radius, width - radius, height - radius).buffer(radius, quad_segs=256)


def tag_openings(plate):
    """What cutting the tags' pockets opens, drawn anew: boxes of 60.4 x 40.4 mm with corners of 6.2."""
    opening = affinity.translate(rounded_box(*OPENING, 6.2), -OPENING[0] / 2, -OPENING[1] / 2)
    return [
        affinity.translate(affinity.rotate(opening, place.turn_deg, origin=(0, 0)), place.x_mm, place.y_mm)
        for place in plate.places
    ]


def least_apart(openings):
    return min(shapely.distance(a, b) for a, b in itertools.combinations(openings, 2))


@pytest.mark.parametrize("zero", ZEROS)
def test_places_are_sums_of_margin_size_and_gap(zero):
    """From the zero corner: 10 mm of margin, half of 60.4 x 40.4 mm, then steps of 65.4 and 45.4."""
    plate, _ = plate_of(kind(tag()), rows=4, columns=3, gap_mm=5.0, zero=zero)
    assert len(plate.places) == 12
    found = sorted(from_zero(place, plate) for place in plate.places)
    expected = sorted((40.2 + 65.4 * column, 30.2 + 45.4 * row) for row in range(4) for column in range(3))
    assert np.abs(np.array(found) - expected).max() <= 1e-4
    assert checked(plate) == ()


def test_numbers_run_from_the_top_left_as_one_reads():
    plate, _ = plate_of(kind(tag()), rows=2, columns=2, gap_mm=5.0, zero="bottom-right")
    (a, b, c, d) = [(place.x_mm, place.y_mm) for place in plate.places]
    assert a[0] < b[0] and c[0] < d[0]  # noqa: PT018
    assert a[1] == b[1] > c[1] == d[1]


def test_webs_are_as_asked_and_never_less():
    plate, _ = plate_of(kind(tag()), rows=3, columns=3, web_mm=4.0)
    assert 4.0 - 1e-6 <= least_apart(tag_openings(plate)) <= 4.005


def test_an_item_that_lay_askew_is_laid_upright():
    item = tag()
    turn = math.radians(17.0)
    back = np.array([(math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))])
    askew = shaped(item.exterior_mm @ back, name="askew")
    plate, _ = plate_of(kind(askew), rows=1, columns=1, gap_mm=5.0)
    assert plate.kinds[0].turn_deg == pytest.approx(-17.0, abs=0.02)
    x, y = from_zero(plate.places[0], plate)
    assert (x, y) == pytest.approx((40.0, 30.0), abs=0.01)  # 10 mm and half of 60 x 40
    left, _ = plate_of(kind(askew, upright=False), rows=1, columns=1, gap_mm=5.0, as_laid=True)
    box = math.cos(turn) * 60 + math.sin(turn) * 40 - 2 * 6 * (math.cos(turn) + math.sin(turn) - 1)
    assert from_zero(left.places[0], left)[0] == pytest.approx(10 + box / 2, abs=0.01)


def test_staggered_rows():
    plate, _ = plate_of(kind(tag()), rows=2, columns=2, gap_mm=5.0, stagger=True)
    upper, lower = plate.places[:2], plate.places[2:]
    assert upper[0].x_mm - lower[0].x_mm == pytest.approx(65.4 / 2, abs=1e-4)
    assert lower[1].x_mm - lower[0].x_mm == pytest.approx(65.4, abs=1e-4)


def test_every_second_pocket_turned():
    plate, _ = plate_of(kind(tag()), rows=1, columns=3, gap_mm=5.0, turn_every_second=True)
    assert [place.turn_deg for place in plate.places] == [0, -180, 0]
    assert plate.places[2].x_mm - plate.places[0].x_mm == pytest.approx(2 * 65.4, abs=1e-4)


# --- as many as fit --------------------------------------------------------------------------------------------------


def test_68_discs_where_straight_rows_hold_64():
    """Of discs in a square of 8 diameters rows in a hexagon hold 5 x 8 + 4 x 7 = 68, the densest known.

    R. L. Graham and B. D. Lubachevsky, Repeated patterns of dense packings of equal disks in a square, Electronic
    Journal of Combinatorics 3 (1996), R16 (68 among the hexagonal ones; from memory). By hand: 9 rows are 1 + 8 x 0.866
    = 7.93 diameters high. A web of 0.1 mm makes discs of 20 mm ones of 20.1.
    """
    side = 8 * 20.1 - 0.1 + 0.05
    (plate, (block,)) = plate_of(kind(disc(20.0)), bed_mm=(side, side), margin_mm=0.0, web_mm=0.1, as_many_as_fit=True)
    assert (block.count, block.straight, len(plate.places)) == (68, 64, 68)
    centres = np.array([(place.x_mm, place.y_mm) for place in plate.places])
    apart = np.hypot(*(centres[:, None] - centres[None]).transpose(2, 0, 1))[np.triu_indices(68, 1)]
    assert apart.min() >= 20.1 - 1e-4
    assert centres.min() >= 10.0 - 0.001  # chords lie up to 0.5 um inside their arcs
    assert centres.max() <= side - 10.0 + 0.001


def test_triangles_in_turn():
    """Base and height of 20 mm, sides of slope 2, a web of 1: steps of 10 + sqrt(5) / 2 along, of 21 up.

    A field of 200 x 62 mm: 1 + 180 / 11.118 = 17 in each of 3 rows; all one way round 1 + 180 / 21.118 = 9.
    """
    triangle = kind(shaped([(0, 0), (20, 0), (10, 20)]), upright=False)
    field = {"bed_mm": (200.0, 62.2), "margin_mm": 0.0, "web_mm": 1.0, "as_laid": True}
    turned, _ = plate_of(triangle, turn_every_second=True, **field)
    assert len(turned.places) == 51
    _, (block,) = plate_of(triangle, as_many_as_fit=True, **field)
    assert block.count >= 51
    assert block.straight == 27


@st.composite
def stars(draw):
    """An irregular outline about a middle, dented as it may be."""
    radii = np.array(draw(st.lists(st.floats(4.0, 20.0), min_size=5, max_size=11)))
    angles = 2 * math.pi * np.arange(len(radii)) / len(radii)
    return radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])


@settings(max_examples=2, deadline=None)
@given(points=stars(), web=st.floats(0.2, 6.0), bed=st.tuples(st.floats(60, 120), st.floats(60, 120)))
def test_pockets_never_overlap_and_stay_inside(points, web, bed):
    """More cases: tests/bench/plate.py."""
    never_overlapping(points, web, bed)


def never_overlapping(points, web, bed):
    """Lay as many as fit, held against the shapes moved anew by another library; return how many more than rows."""
    one = kind(shaped(points), upright=False)
    plate, (block,) = plate_of(one, bed_mm=bed, margin_mm=3.0, web_mm=web, as_many_as_fit=True)
    assert block.count >= block.straight
    own = shapely.Polygon(one.item.path.points_mm)
    middle = (one.item.exterior_mm.min(axis=0) + one.item.exterior_mm.max(axis=0)) / 2
    there = [
        affinity.translate(
            affinity.rotate(own, place.turn_deg, origin=tuple(middle)), place.x_mm - middle[0], place.y_mm - middle[1]
        )
        for place in plate.places
    ]
    field = shapely.box(3, 3, bed[0] - 3, bed[1] - 3).buffer(2e-4)
    assert all(field.covers(shape) for shape in there)
    if len(there) > 1:
        assert least_apart(there) >= web - 2e-4  # places are rounded to 0.1 um
    return block.count - block.straight


def regular(corners, size=10.0):
    angles = 2 * np.pi * np.arange(corners) / corners
    return shapely.Polygon(size * np.column_stack([np.cos(angles), np.sin(angles)]))


@pytest.mark.parametrize(
    ("corners", "density"),
    [
        # the densest there is: T. Hales and W. Kusner, Packings of regular pentagons in the plane, arXiv:1602.07220
        (5, (5 - math.sqrt(5)) / 3),
        # the densest double lattice: G. Kuperberg and W. Kuperberg (1990), from memory
        (7, 0.8926),
        # the densest lattice, hexagonal: A. Thue (1910); as 64 corners the disc is 0.16 % smaller
        (64, math.pi / math.sqrt(12)),
        (3, 1.0),
    ],
)
def test_the_densest_lattices_are_the_published_ones(corners, density):
    one = regular(corners)
    found = densest(no_fit(one, one), no_fit(one, affinity.rotate(one, 180, origin=(0, 0))))
    assert one.area / found[0].area_mm2 == pytest.approx(density, rel=6e-4)


@settings(max_examples=20, deadline=None)
@given(first=stars(), second=stars(), seed=st.integers(0, 1000))
def test_no_fit_is_where_shapes_overlap(first, second, seed):
    """By areas of another library's intersections, at shifts over all of it and beyond."""
    fixed, moving = shapely.Polygon(first), shapely.Polygon(second)
    region = no_fit(fixed, moving)
    for x, y in np.random.default_rng(seed).uniform(-45, 45, (20, 2)):
        if region.exterior.distance(shapely.Point(x, y)) > 1e-6:
            over = shapely.area(fixed.intersection(affinity.translate(moving, x, y)))
            assert (over > 0) == shapely.contains_xy(region, x, y)


def test_few_corners_lie_around_the_shape():
    grown = shapely.buffer(regular(9, 20.0), 2.5, quad_segs=200)
    around, by = few_corners(grown)
    assert len(around.exterior.coords) <= MOST_CORNERS
    assert around.covers(grown)
    assert shapely.hausdorff_distance(around, grown) <= by


def test_boxes_on_a_pallet():
    """22 boxes of 5 x 3 on 22 x 16, where straight rows hold 20; 23 are known, as many as the area allows.

    The instance of the review of E. Silva, J. F. Oliveira and G. Wäscher, The pallet loading problem, International
    Transactions in Operational Research 23 (2016), 147-172, whose 23 turn around a middle (from memory): missed by one.
    """
    box = kind(shaped([(0, 0), (50, 0), (50, 30), (0, 30)]), upright=False)
    plate, (block,) = plate_of(box, bed_mm=(220.0, 160.0), margin_mm=0.0, gap_mm=0.0, as_many_as_fit=True)
    there = [
        affinity.rotate(shapely.box(at.x_mm - 25, at.y_mm - 15, at.x_mm + 25, at.y_mm + 15), at.turn_deg)
        for at in plate.places
    ]
    assert shapely.union_all(there).area == pytest.approx(block.count * 1500, abs=0.1)
    assert block.straight == 20
    assert 22 <= block.count <= 220 * 160 // (50 * 30)


@pytest.mark.sweep
@settings(max_examples=tried(30, of=60), deadline=None)
@given(first=stars(), second=stars(), across=st.floats(-50, 50))
def test_slide_is_where_the_last_contact_is(first, second, across):
    """Farther on the shapes are apart, nearer they are not, by distances of another library."""
    x = slide(edges_of([first]), edges_of([second]), across)
    fixed, moving = shapely.Polygon(first), shapely.Polygon(second)
    if x == -math.inf:
        assert not fixed.intersects(affinity.translate(moving, 0.0, across)) or abs(across) > 20
        return
    for farther in (1e-6, 0.1, 1.0, 7.0):
        assert shapely.area(fixed.intersection(affinity.translate(moving, x + farther, across))) < 1e-9
    assert fixed.distance(affinity.translate(moving, x, across)) < 1e-6


def test_the_work_grows_no_faster_than_the_pockets_by_far():
    """Ratios within one run; how long a hundred take is told by tests/bench/plate.py."""
    one = kind(tag())

    def took(bed_mm):
        begin = time.process_time()  # other work on the machine hardly changes it
        plate, _ = plate_of(one, bed_mm=bed_mm, as_many_as_fit=True)
        checked(plate)
        return time.process_time() - begin, len(plate.places)

    few, some = took((350.0, 240.0))
    more, hundred = took((700.0, 480.0))
    assert hundred >= 100
    assert more / few < 3 * hundred / some


# --- several kinds, tables, checks -----------------------------------------------------------------------------------


def test_kinds_lie_side_by_side():
    plate, blocks = plate_of(kind(tag()), kind(disc(30.0)), rows=2, columns=2, gap_mm=5.0)
    assert [(block.kind, block.count) for block in blocks] == [("tag-1", 4), ("disc", 4)]
    # two tags and their gap take 125.8 mm after the margin of 10; 5 mm on, half a disc of 30 later
    first = next(place for place in plate.places if place.kind == "disc")
    assert from_zero(first, plate)[0] == pytest.approx(10 + 125.8 + 5 + 15, abs=1e-3)
    assert checked(plate) == ()


def test_a_table_written_is_read_back():
    plate, _ = plate_of(kind(tag()), kind(disc(30.0)), rows=2, columns=2, gap_mm=5.0, zero="bottom-right")
    table = lay_bytes(plate).decode()
    assert table.splitlines()[0].startswith("number,kind,x,y,turn,source")
    bare = empty(plate.kinds, PlateAsked(bed_mm=BED, zero="bottom-right"), name="plate")
    assert placed(bare, places_in(table, bare, name="lay.csv")).places == plate.places


def test_a_table_typed_with_semicolons_and_commas():
    bare = empty([kind(tag())], PlateAsked(bed_mm=BED), name="plate")
    places = places_in("Kind;X;Y;Turn\ntag-1;40,5;30;\n\ntag-1; 120;30;90\n", bare, name="lay.csv")
    assert places == [Place("tag-1", 40.5, 428.0, 0.0), Place("tag-1", 120.0, 428.0, 90.0)]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("kind,x\ntag-1,3\n", "no column y"),
        ("kind,x,y\nbadge,3,4\n", "no document holds a kind badge"),
        ("kind,x,y\ntag-1,3,here\n", "y should be a number, it is here"),
        ("kind,x,y\n", "holds no place"),
        ("kind,x,y,source\ntag-1,50,50,0123456789abcdef\n", "from another picture"),
    ],
)
def test_tables_that_cannot_be_meant(table, said):
    bare = empty([kind(tag())], PlateAsked(bed_mm=BED), name="plate")
    with pytest.raises(UsageError, match=said):
        places_in(table, bare, name="lay.csv")


def by_hand(*places, **asked):
    bare = empty([kind(tag())], PlateAsked(**{"bed_mm": BED, **asked}), name="plate")
    return placed(bare, [Place("tag-1", *at) for at in places])


def test_what_overlaps_or_reaches_over_the_edge_is_refused():
    with pytest.raises(UsageError, match=r"Pocket 1 \(tag-1\) and Pocket 2 \(tag-1\) overlap"):
        checked(by_hand((100, 100, 0), (150, 100, 0)))
    # 30.2 mm from its middle to its edge
    with pytest.raises(UsageError, match=r"0\.30 mm over the left edge"):
        checked(by_hand((29.9, 100, 0)))
    with pytest.raises(UsageError, match=r"0\.20 mm over the upper edge"):
        checked(by_hand((100, 458.0 - 20.0, 0)))
    checked(by_hand((30.2, 100, 0)))


def test_webs_are_held_against_the_thickness():
    (thin,) = checked(by_hand((100, 100, 0), (100 + 60.4 + 5.5, 100, 0), thickness_mm=6.0))
    assert (thin.code, thin.limit) == ("plate-web-thin", 6.0)
    assert thin.value == pytest.approx(5.5, abs=0.005)
    assert checked(by_hand((100, 100, 0), (100 + 60.4 + 5.5, 100, 0), thickness_mm=3.0)) == ()
    rows, _ = plate_of(kind(tag()), rows=2, columns=2, thickness_mm=8.0)  # laid by us they are as far apart
    assert checked(rows) == ()


def test_holes_keep_clear_of_pockets():
    from dataclasses import replace

    plate = by_hand((100, 100, 0))
    assert checked(replace(plate, holes=(Hole(20.0, 20.0, 4.0),))) == ()
    with pytest.raises(UsageError, match="Hole 1 overlap"):
        checked(replace(plate, holes=(Hole(110.0, 100.0, 4.0),)))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "--bed 305x458"),
        ({"bed_mm": BED, "plate_mm": (400.0, 300.0)}, "larger than the bed"),
        ({"bed_mm": (60.0, 60.0)}, "Not one pocket"),
        ({"bed_mm": BED, "rows": 1000, "columns": 1000}, "some 1000000 pockets"),
        ({"bed_mm": (5000.0, 5000.0)}, "the most is 10000"),
    ],
)
def test_plates_that_cannot_be(asked, said):
    with pytest.raises(UsageError, match=said):
        laid([kind(tag())], PlateAsked(**asked), name="plate")


@pytest.mark.parametrize(
    "asked", [{"gap_mm": 5.0, "web_mm": 5.0}, {"as_many_as_fit": True, "rows": 3}, {"zero": "middle"}, {"rows": 0}]
)
def test_options_that_contradict_one_another(asked):
    with pytest.raises(UsageError, match="--"):
        PlateAsked(bed_mm=BED, **asked)


def test_two_kinds_with_one_name_and_an_item_without_a_pocket_are_refused():
    with pytest.raises(UsageError, match="Two kinds are called tag-1"):
        plate_of(kind(tag()), kind(tag(), source_name="other.png"))
    with pytest.raises(UsageError, match="has no pocket"):
        kind(made.tag(pocket=False))
