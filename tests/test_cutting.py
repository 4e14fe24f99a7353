"""Ways of cutting against formulas worked by hand, Shapely's own opening, and what a cutter sweeps."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pyclipr
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.cutting.check import with_checks
from digitize.cutting.defaults import typical_values
from digitize.cutting.make import cut_pocket
from digitize.cutting.relief import corner_depth_mm
from digitize.cutting.wall import opening
from digitize.cutting.ways import Cutting, choose
from digitize.fitting.bulge import curve_area, curve_ring, path_radii
from digitize.fitting.fit import fit_curve
from digitize.fitting.ring import make_ring
from digitize.records import Allowance, Circle, Path, Pocket
from digitize.words.say import step_of
from tests import made
from tests import strategies as s
from tests.sweeps import sweep
from tests.truth import zoo

TOLERANCE = 0.02
PLATE = s.polygon("plate", np.array([[0, 0], [60, 0], [60, 40], [0, 40.0]])).sampled(corners=True)[0]
TRIANGLE = s.polygon("triangle", 40 * np.array([[0, 0], [1, 0], [0.5, math.sqrt(3) / 2]])).sampled(corners=True)[0]
ROUTER = {"way": "router", "clearance_mm": 0.0, "cutter_mm": 3.0, "relief": "none"}


def ring_of(radius, centre=(0.0, 0.0), *, hole=False):
    angle = np.linspace(0, 2 * np.pi, int(2 * np.pi * radius / 0.042), endpoint=False) * (-1 if hole else 1)
    return np.array(centre) + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def cut(ring, holes=(), *, cut_holes=False, **values) -> Pocket:
    rings = tuple(map(make_ring, (ring, *holes)))
    curves = tuple(fit_curve(one, tolerance_mm=TOLERANCE) for one in rings)
    return cut_pocket(rings, curves, Cutting(**values, cut_holes=cut_holes), tolerance_mm=TOLERANCE)


def region(curve):
    return shapely.make_valid(shapely.Polygon(curve_ring(curve, chord_mm=1e-4)))


def line(curve):
    ring = curve_ring(curve, chord_mm=1e-4)
    return shapely.LineString(np.vstack([ring, ring[:1]]))


def swept(pocket):
    """What a round cutter takes away along the written path and within it."""
    paths = [region(curve).union(line(curve)) for curve in pocket.curves]
    return shapely.union_all(paths).buffer(pocket.cutter_mm / 2, quad_segs=256)


def stadiums(pocket):
    ways = [shapely.LineString([one.corner_mm, one.tip_mm]) for one in pocket.reliefs]
    return shapely.union_all(ways).buffer(pocket.cutter_mm / 2 + TOLERANCE, quad_segs=256)


# --- router ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cutter", "angle", "depth"),
    # r (1 / sin(a / 2) - 1) by hand: 1.5 (sqrt 2 - 1), 3 (sqrt 2 - 1), 1.5 (2 - 1)
    [(3.0, 90, 0.6213), (6.0, 90, 1.2426), (3.0, 60, 1.5)],
)
def test_what_stays_in_a_sharp_corner_by_the_formula(cutter, angle, depth):
    assert corner_depth_mm(cutter / 2, math.radians(angle)) == pytest.approx(depth, abs=5e-5)
    pocket = cut(PLATE if angle == 90 else TRIANGLE, **{**ROUTER, "cutter_mm": cutter})
    assert len(pocket.uncut) == (4 if angle == 90 else 3)
    for one in pocket.uncut:
        assert one.depth_mm == pytest.approx(depth, abs=0.003)
        # two right triangles of legs r and r / tan(a / 2), less the cutter's sector of pi - a between them
        a, r = math.radians(angle), cutter / 2
        assert one.area_mm2 == pytest.approx(r**2 * (1 / math.tan(a / 2) - (math.pi - a) / 2), abs=0.002)


def test_clearance_rounds_the_corner_of_the_pocket_and_less_stays():
    # the pocket's corner has the clearance as its radius: (r - c)(sqrt 2 - 1)
    pocket = cut(PLATE, **{**ROUTER, "clearance_mm": 0.5})
    assert [one.depth_mm for one in pocket.uncut] == pytest.approx([math.sqrt(2) - 1] * 4, abs=0.003)


@sweep(
    ("outline", "cutter"),
    [
        (o, c)
        for o in (s.star(5, 30, 13), s.tag_with_lug(), s.scallops(12, 30, 3.0), s.wave(8, 20, 6.0))
        for c in (3.0, 8.0)
    ],
    ("star 5, 3.0", "tag with lug, 8.0", "wave 8, 3.0"),
    ids=lambda case: f"{case[0]}, {case[1]}",
)
def test_uncut_area_is_that_of_the_opening(outline, cutter):
    """Erosion, then dilation by the cutter's radius: with Shapely, and with Clipper2 (pyclipr) as a second engine."""
    ring, _ = outline.sampled(corners=True)
    pocket = cut(ring, **{**ROUTER, "clearance_mm": 0.3, "cutter_mm": cutter})
    wanted = shapely.Polygon(ring).buffer(0.3, quad_segs=256)
    opened = wanted.buffer(-cutter / 2, quad_segs=256).buffer(cutter / 2, quad_segs=256)
    theirs = clipped(clipped(clipped(shapely.Polygon(ring), 0.3), -cutter / 2), cutter / 2)
    assert theirs.symmetric_difference(opened).area < 0.001 * opened.length
    uncut = sum(one.area_mm2 for one in pocket.uncut)
    # grazes shallower than the tolerance are left out
    assert uncut <= wanted.area - opened.area + 1e-3 + 1e-4 * uncut
    assert uncut == pytest.approx(wanted.area - opened.area, abs=0.03 + 0.01 * uncut)
    standing = shapely.union_all([shapely.Polygon(one.ring_mm) for one in pocket.uncut])
    assert standing.difference(wanted.difference(opened).buffer(0.001)).area < 1e-3


def clipped(polygon, distance):
    engine = pyclipr.ClipperOffset()
    engine.scaleFactor = 1_000_000
    engine.arcTolerance = 500  # in units of the scale: 5e-4 mm
    for part in shapely.get_parts(polygon):
        engine.addPath(np.asarray(part.exterior.coords)[:-1], pyclipr.JoinType.Round, pyclipr.EndType.Polygon)
    return shapely.union_all([shapely.make_valid(shapely.Polygon(path)) for path in engine.execute(distance)])


def test_no_relief_where_the_cutter_reaches():
    # ID-1 card: corner radius 3.18; with 0.25 a cutter of 3.43 mm radius just fits
    card, _ = s.id1_card().sampled()
    assert cut(card, way="router", clearance_mm=0.25, cutter_mm=2 * 3.4, relief="diagonal").reliefs == ()
    relieved = cut(card, way="router", clearance_mm=0.25, cutter_mm=2 * 4.0, relief="diagonal")
    assert len(relieved.reliefs) == 4
    # depth (r - R)(sqrt 2 - 1) at each corner
    ways = [math.dist(one.corner_mm, one.tip_mm) for one in relieved.reliefs]
    assert ways == pytest.approx([(4.0 - 3.43) * (math.sqrt(2) - 1)] * 4, abs=0.01)


@pytest.mark.parametrize("kind", ["diagonal", "side"])
@pytest.mark.parametrize(
    "ring", [PLATE, TRIANGLE, s.star(5, 30, 13).sampled(corners=True)[0]], ids=["90", "60", "star"]
)
def test_relieved_corners_are_cut_and_the_rest_of_the_sheet_is_not(kind, ring):
    pocket = cut(ring, way="router", clearance_mm=0.2, cutter_mm=3.0, relief=kind)
    wanted = shapely.Polygon(ring).buffer(0.2, quad_segs=256)
    gone = swept(pocket)
    assert pocket.uncut == ()
    assert wanted.difference(gone.buffer(TOLERANCE)).area < 1e-3
    assert gone.difference(wanted.union(stadiums(pocket)).buffer(TOLERANCE)).area < 1e-6
    assert shapely.Polygon(ring).difference(gone).area < 0.01  # the item goes in
    for one in pocket.reliefs:  # and each is needed
        assert shapely.Point(one.tip_mm).buffer(1.5).difference(wanted).area > 0.01


def test_reliefs_along_the_longer_side_leave_it_straight():
    pocket = cut(PLATE, way="router", clearance_mm=0.0, cutter_mm=6.0, relief="side")
    gone = swept(pocket)
    left, bottom, right, top = gone.bounds
    # long sides, y = 0 and 40, stay; the short ones are cut into by the radius
    assert (bottom, top) == pytest.approx((0, 40), abs=0.01)
    assert (left, right) == pytest.approx((-3, 63), abs=0.01)
    diagonal = swept(cut(PLATE, way="router", clearance_mm=0.0, cutter_mm=6.0, relief="diagonal"))
    # centre on the bisector at r from the tip: reaches r - r / sqrt 2 beyond both sides
    assert diagonal.bounds == pytest.approx((-0.8787, -0.8787, 60.8787, 40.8787), abs=0.01)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(s.rings(), st.floats(0.05, 1.0), st.sampled_from([1.0, 3.0, 6.0]), st.sampled_from(["none", "diagonal", "side"]))
def test_the_cutter_never_leaves_pocket_and_reliefs(ring, clearance, cutter, relief):
    pocket = cut(ring, way="router", clearance_mm=clearance, cutter_mm=cutter, relief=relief)
    wanted = shapely.Polygon(ring).buffer(clearance, quad_segs=128)
    allowed = wanted.union(stadiums(pocket)).buffer(TOLERANCE + 0.002)
    assert swept(pocket).difference(allowed).area < 1e-6
    # and what it does not reach is told
    standing = shapely.union_all([shapely.Polygon(one.ring_mm) for one in pocket.uncut])
    assert wanted.difference(swept(pocket)).difference(standing.buffer(2 * TOLERANCE)).buffer(-TOLERANCE).is_empty


def test_slot_and_neck_narrower_than_the_cutter_are_said():
    tongue = np.array([[0, 0], [40, 0], [40, 9], [60, 9], [60, 11], [40, 11], [40, 20], [0, 20.0]])
    pocket = cut(s.polygon("tongue", tongue).sampled(corners=True)[0], **{**ROUTER, "relief": "diagonal"})
    (finding,) = pocket.findings
    assert finding.code == "narrower-than-cutter"
    # 20 mm of slot less what the cutter reaches into its mouth: sqrt(1.5^2 - 1) off its centre, which stays at x = 38.5
    assert finding.value == pytest.approx(20, abs=0.5)
    assert len(pocket.reliefs) == 4
    neck = np.array([[0, 0], [20, 0], [20, 9], [40, 9], [40, 0], [60, 0], [60, 20], [40, 20], [40, 11], [20, 11]])
    ring, _ = s.polygon("neck", np.vstack([neck, [[20, 20], [0, 20.0]]])).sampled(corners=True)
    # with clearance 0.1 the neck is 2.2 mm wide and 19.8 long; the cutter's centre stays sqrt(1.5^2 - 1.1^2) before it
    parted, short = cut(ring, **{**ROUTER, "clearance_mm": 0.1}), math.sqrt(1.5**2 - 1.1**2)
    assert [f.code for f in parted.findings] == ["narrower-than-cutter"]
    assert "2 parts" in parted.findings[0].message
    # from the middle of the neck's wall to the cutter
    assert parted.findings[0].value == pytest.approx(math.hypot(9.9 + short, 1.1) - 1.5, abs=0.2)
    # at both mouths the cutter reaches a segment of its circle, over a chord of 2.2 mm
    segment = 1.5**2 * math.asin(1.1 / 1.5) - 1.1 * short
    assert max(one.area_mm2 for one in parted.uncut) == pytest.approx(2.2 * 19.8 - 2 * segment, abs=0.01)


@pytest.mark.parametrize("values", [{**ROUTER, "cutter_mm": 50.0}, {"way": "laser", "kerf_mm": 5.0, "lead_in_mm": 2.0}])
def test_item_narrower_than_beam_or_cutter_has_no_path_and_says_so(values):
    small = s.rounded_rectangle(6, 4, 1).sampled()[0]
    pocket = cut(small, **values)
    assert pocket.curves == pocket.leads == ()
    assert [f.code for f in pocket.findings] == ["no-path"]
    assert pocket.findings[0].attention
    item = replace(made.tag(), exterior_mm=small, holes_mm=(), hole_paths=(), pocket=pocket)
    assert codes([item, *plates(90.0)], Cutting(**values))[0][0] == ["no-path"]


@pytest.mark.parametrize("relief", ["diagonal", "side"])
def test_no_relief_cuts_into_a_peg(relief):
    """The peg of an L-shaped hole has an inner corner that the cutter does not reach: that stays, the peg is whole."""
    angular = np.array([[20, 10], [20, 30], [28, 30], [28, 18], [40, 18], [40, 10.0]])
    hole = s.polygon("L", angular[::-1]).sampled(corners=True)[0][::-1]
    pocket = cut(PLATE, [hole], cut_holes=True, **{**ROUTER, "clearance_mm": 0.25, "relief": relief})
    peg = shapely.Polygon(angular).buffer(-0.25 - TOLERANCE, join_style="mitre")
    assert len(pocket.reliefs) == 4
    assert not stadiums(pocket).intersects(peg)
    (left,) = pocket.uncut
    # the wall of the peg lies 0.25 mm inside the hole's, with an arc of that radius about the hole's corner
    assert left.ring_mm.mean(axis=0) == pytest.approx((27.75, 17.75), abs=0.5)
    assert left.depth_mm == pytest.approx((1.5 - 0.25) * (math.sqrt(2) - 1), abs=0.001)


def test_pegs_are_walked_around_and_stay_whole():
    pocket = cut(PLATE, [ring_of(5, (20, 20), hole=True)], cut_holes=True, **{**ROUTER, "clearance_mm": 0.25})
    peg, _ = pocket.curves
    assert isinstance(peg, Circle)
    assert peg.radius_mm == pytest.approx(5 - 0.25 + 1.5, abs=0.005)


# --- laser -----------------------------------------------------------------------------------------------------

LASER = {"way": "laser", "clearance_mm": 0.2, "kerf_mm": 0.18, "lead_in_mm": 2.0}


@pytest.mark.parametrize(
    "outline", [s.id1_card(), s.star(5, 30, 13), s.tag_with_lug(), s.wave(8, 20, 6.0), s.slot(30, 8)], ids=str
)
def test_lead_in_comes_from_the_waste_onto_the_start_of_the_path(outline):
    ring, _ = outline.sampled(noise=0.002, seed=1, corners=True)
    pocket = cut(ring, **LASER)
    (curve,), (lead,) = pocket.curves, pocket.leads
    assert lead.points_mm[-1] == pytest.approx(curve.points_mm[0], abs=1e-9)
    inside = region(curve)
    arc = curve_ring(Path(lead.points_mm, np.append(lead.bulges, 0.0)), chord_mm=1e-4)
    assert shapely.LineString(arc[:-1]).within(inside)
    assert shapely.LineString(arc).length == pytest.approx(2.0, abs=0.01)
    # it meets the path without a corner, in the direction the path leaves
    end, ahead = arc[-1] - arc[-2], curve_ring(curve, chord_mm=1e-6)[:2]
    assert np.dot(end, ahead[1] - ahead[0]) > 0.999 * np.hypot(*end) * np.hypot(*(ahead[1] - ahead[0]))
    # the path itself is what it was
    plain = cut(ring, **{**LASER, "lead_in_mm": 0.0}).curves[0]
    assert inside.symmetric_difference(region(plain)).area < 0.01


def test_lead_in_keeps_off_what_locates_the_item():
    # a half-round end and a square one: the round end holds nothing
    ring, _ = s.tag_with_lug().sampled(corners=True)
    x, y = cut(ring, **LASER).curves[0].points_mm[0]
    assert (x, y) == pytest.approx((80.1, 0), abs=2.5)
    # in a rectangle everything locates: the middle of a short side
    x, y = cut(PLATE, **LASER).curves[0].points_mm[0]
    assert y == pytest.approx(20, abs=0.01)
    assert min(abs(x + 0.11), abs(x - 60.11)) < TOLERANCE
    # a finger notch never locates
    (notch,) = (pocket := cut(PLATE, **LASER, notches=1, notch_angle_deg=90.0)).notches
    assert math.dist(pocket.curves[0].points_mm[0], notch.centre_mm) == pytest.approx(9 - 0.09, abs=TOLERANCE)
    assert pocket.curves[0].points_mm[0][1] > 45


def test_lead_in_of_circles_and_pegs_lies_in_the_waste():
    pocket = cut(ring_of(20), [ring_of(5, (4, 0), hole=True)], cut_holes=True, **LASER)
    peg, wall = pocket.curves
    assert isinstance(peg, Circle)
    assert isinstance(wall, Circle)
    waste = region(wall).difference(region(peg))
    for curve, lead in zip(pocket.curves, pocket.leads, strict=True):
        # a circle begins at three o'clock in SVG and DXF
        assert lead.points_mm[-1] == pytest.approx(np.add(curve.centre_mm, (curve.radius_mm, 0)), abs=1e-9)
        arc = curve_ring(Path(lead.points_mm, np.append(lead.bulges, 0.0)), chord_mm=1e-4)
        assert shapely.LineString(arc[:-1]).within(waste)


def test_lead_in_without_room_is_shortened_then_left_out():
    short = cut(s.slot(30, 2.0).sampled(corners=True)[0], **{**LASER, "lead_in_mm": 8.0})
    assert shapely.LineString(short.leads[0].points_mm).length < 3
    none = cut(s.slot(30, 0.6).sampled(corners=True)[0], **{**LASER, "lead_in_mm": 8.0})
    assert none.leads == ()
    assert [f.code for f in none.findings] == ["no-room-for-lead"]


# --- knife, 3D print, former -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "outline",
    [s.id1_card(), s.scallops(12, 30, 3.0), s.wave(8, 20, 6.0), s.star(5, 30, 13), s.rounded_rectangle(60, 40, 2)],
    ids=str,
)
def test_knife_path_is_never_inside_and_has_no_tight_bend(outline):
    ring, _ = outline.sampled(corners=True)
    pocket = cut(ring, way="knife", clearance_mm=0.75, least_radius_mm=5.0)
    (curve,) = pocket.curves
    wanted = shapely.Polygon(ring).buffer(0.75, quad_segs=256)
    assert wanted.difference(region(curve).buffer(TOLERANCE)).area < 1e-6
    radii = path_radii(curve)
    assert radii[np.isfinite(radii)].min(initial=np.inf) > 5.0 - 0.1
    # not larger than need be: nowhere more than the corner of a bend of 5 mm lies from its sharp tip
    assert region(curve).difference(wanted.buffer(5.0 * (1 / math.sin(math.radians(18)) - 1))).is_empty


def test_knife_turns_tight_corners_into_sharp_ones():
    # 40 x 25 mm, corners of 1 mm: four lines that meet where the sides do
    (curve,) = cut(
        s.rounded_rectangle(40, 25, 1).sampled()[0], way="knife", clearance_mm=0.5, least_radius_mm=5.0
    ).curves
    assert len(curve.points_mm) == 4
    assert curve_area(curve) == pytest.approx(41 * 26, abs=0.5)


@sweep("noise", [0.0, 0.003], [0.003])
def test_knife_leaves_wide_bends_as_they_are_also_noisy_ones(noise):
    outline = s.rounded_rectangle(70, 142, 10)
    ring, _ = outline.sampled(noise=noise, seed=2, angle=0.03)
    truth = shapely.Polygon(outline.sampled(spacing=0.01, angle=0.03)[0]).buffer(0.75, quad_segs=256)
    plain = cut(ring, way="knife", clearance_mm=0.75, least_radius_mm=5.0)
    assert region(plain.curves[0]).symmetric_difference(truth).area < 0.003 * truth.length
    notched = cut(ring, way="knife", clearance_mm=0.75, least_radius_mm=5.0, notches=2)
    for notch in notched.notches:
        truth = truth.union(shapely.Point(notch.centre_mm).buffer(9, quad_segs=256))
    # the four corners between wall and notch become arcs of 5 mm; nothing else is wider
    assert truth.difference(region(notched.curves[0]).buffer(TOLERANCE)).area < 1e-6
    wider = region(notched.curves[0]).difference(truth.buffer(TOLERANCE))
    assert all(abs(part.centroid.y) < 15 for part in shapely.get_parts(wider) if part.area > 0.05)
    assert np.sum(path_radii(notched.curves[0]) < 5.1) == 4


def test_pegs_too_small_for_a_knife_are_left_out_and_said():
    # 12 mm less twice 0.75 leaves a peg of 10.5, which bends of 5 mm can go round; 9 mm leaves 7.5
    holes = [ring_of(6, (15, 20), hole=True), ring_of(4.5, (45, 20), hole=True)]
    pocket = cut(PLATE, holes, cut_holes=True, way="knife", clearance_mm=0.75, least_radius_mm=5.0)
    peg, _ = pocket.curves
    assert isinstance(peg, Circle)
    assert peg.radius_mm == pytest.approx(5.25, abs=0.005)
    (finding,) = pocket.findings
    assert (finding.code, finding.value, finding.attention) == ("peg-too-small", 1, True)


def test_print_is_clearance_alone_with_a_note():
    pocket = cut(ring_of(10), way="print3d", clearance_mm=0.4, first_layer_mm=0.3)
    assert pocket.curves[0].radius_mm == pytest.approx(10.4, abs=0.001)
    assert any("first layer spreads by about 0.3 mm" in note for note in pocket.notes)


def test_plug_by_hand():
    # foot (R + c + h tan(draft)) / (1 - s), top (R + c) / (1 - s): R 20, c 0.5, h 10, 5 degrees, 0.6 %
    pocket = cut(ring_of(20), way="former", clearance_mm=0.5, draft_deg=5.0, shrink_percent=0.6, plug_height_mm=10.0)
    (foot,), (top,) = pocket.curves, pocket.plug_top
    assert foot.radius_mm == pytest.approx((20.5 + 10 * 0.0874887) / 0.994, abs=0.001)
    assert top.radius_mm == pytest.approx(20.5 / 0.994, abs=0.001)
    assert [(link.name, link.offset_mm, link.scale) for link in pocket.chain] == [
        ("lot", 0.0, 1.0),
        ("clearance", 0.5, 1.0),
        ("draft", pytest.approx(0.874887, abs=1e-6), 1.0),
        ("shrink", 0.0, pytest.approx(1 / 0.994)),
    ]
    assert any("10.06 mm higher" in note for note in pocket.notes)


def test_plug_keeps_its_middle():
    ring, _ = s.rounded_rectangle(40, 20, 3).sampled()
    pocket = cut(ring, way="former", clearance_mm=0.5, draft_deg=3.0, shrink_percent=0.5, plug_height_mm=5.0)
    assert region(pocket.curves[0]).centroid.coords[0] == pytest.approx((0, 0), abs=0.005)


# --- chain -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "links"),
    [
        (LASER, [("lot", 0), ("clearance", 0.2), ("kerf", -0.09)]),
        ({**ROUTER, "clearance_mm": 0.25}, [("lot", 0), ("clearance", 0.25), ("cutter", -1.5)]),
        ({"way": "knife", "clearance_mm": 0.75}, [("lot", 0), ("clearance", 0.75)]),
        ({"way": "print3d", "clearance_mm": 0.4}, [("lot", 0), ("clearance", 0.4)]),
        ({"clearance_mm": 0.2, "kerf_mm": 0.1, "pins": True}, [("clearance", 0.2), ("kerf", -0.05)]),
    ],
)
def test_each_allowance_is_in_the_chain_once_and_adds_up(values, links):
    pocket = cut(ring_of(20), **values)
    assert [(link.name, pytest.approx(link.offset_mm)) for link in pocket.chain] == links
    assert pocket.curves[0].radius_mm == pytest.approx(20 + sum(offset for _, offset in links), abs=0.001)


# --- notches and pins ------------------------------------------------------------------------------------------


def test_notches_are_cut_to_their_width_where_asked():
    pocket = cut(PLATE, **LASER, notches=2, notch_width_mm=16.0, notch_angle_deg=90.0)
    beam = line(pocket.curves[0]).buffer(0.09, quad_segs=64)
    gone = region(pocket.curves[0]).union(beam)
    expected = shapely.Polygon(PLATE).buffer(0.2, quad_segs=128)
    for y in (-0.2, 40.2):  # discs on the pocket's wall
        expected = expected.union(shapely.Point(30, y).buffer(8, quad_segs=128))
    assert gone.symmetric_difference(expected).area < 0.01 * expected.length
    assert [notch.angle_deg for notch in pocket.notches] == [90, 270]


def test_notches_find_their_place_away_from_corners_and_holes():
    # by themselves in the middle of the long sides, 30 mm from the corners
    assert sorted(notch.angle_deg for notch in cut(PLATE, **LASER, notches=2).notches) == [90, 270]
    # a hole at the top and one at the bottom push them to the sides
    holes = [ring_of(4, (0, 14), hole=True), ring_of(4, (0, -14), hole=True)]
    pocket = cut(ring_of(20), holes, **LASER, notches=2)
    for notch in pocket.notches:
        assert abs(notch.centre_mm[1]) < 2
    assert pocket.findings == ()
    # three on a triangle: sides' middles, not tips
    for notch in cut(TRIANGLE, **LASER, notches=3, notch_width_mm=15.0).notches:
        assert min(math.dist(notch.centre_mm, tip) for tip in ((0, 0), (40, 0), (20, 34.64))) > 15


def test_notch_at_a_corner_is_said():
    pocket = cut(PLATE, **LASER, notches=1, notch_angle_deg=math.degrees(math.atan2(20, 30)))
    assert [finding.code for finding in pocket.findings] == ["notch-near-corner"]


def test_notch_leaves_pegs_whole():
    hole = ring_of(4, (30, 34), hole=True)
    pocket = cut(PLATE, [hole], cut_holes=True, **LASER, notches=1, notch_angle_deg=90.0)
    assert "notch-near-corner" in [finding.code for finding in pocket.findings]
    peg, wall = pocket.curves
    assert isinstance(peg, Circle)
    assert peg.radius_mm == pytest.approx(3.8 + 0.09, abs=0.003)
    assert curve_area(wall) > 60 * 40


def test_pins_are_holes_less_clearance():
    slot_ring = np.add(s.slot(12, 5).sampled(corners=True)[0][::-1], (40, 20))
    round_hole = ring_of(2.5, (10, 20), hole=True)
    pocket = cut(PLATE, [round_hole, slot_ring, ring_of(0.5, (30, 5), hole=True)], **LASER, pins=True)
    assert [2 * pin.radius_mm for pin in pocket.pins] == pytest.approx([5 - 0.4, 5 - 0.4], abs=0.005)
    assert pocket.pins[0].centre_mm == pytest.approx((10, 20), abs=0.001)
    assert [finding.code for finding in pocket.findings] == ["pin-too-thin"]
    assert [f.code for f in cut(PLATE, **LASER, pins=True).findings] == ["no-hole-for-pin"]


# --- all pockets on one sheet ----------------------------------------------------------------------------------


def plates(gap, clearance=0.5):
    """Two plates of 60 x 40 mm beside each other, with pockets as a router of 3 mm cuts them."""
    pocket = cut(PLATE, way="router", clearance_mm=clearance, cutter_mm=3.0, relief="none")
    one = replace(made.tag(), exterior_mm=PLATE, pocket=pocket)
    return one, replace(one, name="tag-2", sheet_mm=(60 + gap, 0.0))


def codes(items, cutting):
    found = with_checks(items, cutting, lambda item, at: (item.sheet_mm[0] + at[0], at[1]))
    return [[f.code for f in item.pocket.findings] for item in found], found


def test_thin_webs_and_crossing_pockets_are_said():
    cutting = Cutting(way="router", cutter_mm=3.0, web_mm=5.0)
    assert codes(plates(6.01), cutting)[0] == [["uncut"], ["uncut"]]
    (first, _), found = codes(plates(4.0), cutting)
    assert first == ["uncut", "web-thin"]
    finding = found[0].pocket.findings[-1]
    assert finding.value == pytest.approx(4.0 - 2 * 0.5, abs=2 * TOLERANCE)
    assert finding.place_px[0] == pytest.approx(62.0, abs=0.1)
    (first, _), found = codes(plates(0.5), cutting)
    assert first == ["uncut", "pockets-cross"]
    assert found[0].pocket.findings[-1].value == pytest.approx(0.5 * 41, abs=1.5)


def test_where_a_side_relief_would_do_it_is_named_and_where_not_it_is_not():
    """A wheel of 16 teeth, whose gaps a cutter of 4 mm reaches: relieved along the bisector the teeth do not go in."""
    wheel = zoo.gear().outer.polygon(0.001, 0.05)
    wheel = made.ring(wheel - wheel.min(axis=0))
    asked = {"way": "router", "clearance_mm": 0.25, "cutter_mm": 4.0}

    def told(ring, relief):
        pocket = cut(ring, relief=relief, **asked)
        item = replace(made.fob(), exterior_mm=ring, path=Circle((0.0, 0.0), 1.0), pocket=pocket)
        _, (found,) = codes([item], Cutting(relief=relief, **asked))
        return next(finding for finding in found.pocket.findings if finding.code == "uncut")

    first, second = told(wheel, "diagonal"), told(wheel, "side")
    assert first.attention
    assert first.message.endswith("will not go in; with --relief side it will.")
    assert not second.attention  # true to the word
    neck = shapely.box(0, 0, 30, 20).union(shapely.box(30, 9, 36, 11)).exterior.segmentize(0.05)
    narrow = told(made.ring(shapely.get_coordinates(neck)[:-1][::-1]), "none")  # its tongue is narrower than the cutter
    assert "--relief" not in narrow.message


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"way": "knife", "clearance_mm": 0.75, "least_radius_mm": 5.0, "cut_holes": True}, {"peg-too-small"}),
        ({"way": "router", "clearance_mm": 0.0, "cutter_mm": 3.0}, {"narrower-than-cutter", "no-path"}),
    ],
)
def test_nobody_without_a_kerf_is_told_of_one(values, told):
    """A dumbbell with a neck of 1 mm and a hole of 1 mm, and a strip of 1 mm."""
    parts = [shapely.box(0, 0, 25, 40), shapely.box(35, 0, 60, 40), shapely.box(20, 19.5, 40, 20.5)]
    neck = shapely.union_all(parts).exterior.segmentize(0.2)
    dumbbell = made.ring(shapely.get_coordinates(shapely.LinearRing(neck).reverse())[:-1])
    strip = made.ring(np.array([[0, 0], [30, 0], [30, 1], [0, 1.0]]))
    found = [*cut(dumbbell, [ring_of(0.5, (10, 10), hole=True)], **values).findings, *cut(strip, **values).findings]
    assert {finding.code for finding in found} == told
    for finding in found:
        for word in ("kerf", "beam"):
            assert word not in finding.message + step_of(finding.code)


def test_the_nearest_of_many_pockets_is_named_once():
    one, other = plates(3.0)
    items = [one, replace(other, name="near"), replace(other, name="far", sheet_mm=(300.0, 0.0))]
    found, _ = codes(items, Cutting(way="router", cutter_mm=3.0, web_mm=5.0))
    assert found == [["uncut", "web-thin"], ["uncut"], ["uncut"]]


def test_crossing_pockets_are_said_without_a_way_of_cutting_and_where_the_paths_cross():
    """Two plates side by side, 12 mm apart, each with a path 8 mm outside it: (16 - 12) x 56 mm in common at most."""
    plain = choose(None, {"clearance_mm": 8.0}, typical_values())
    pocket = cut_pocket((make_ring(PLATE),), (fit_curve(make_ring(PLATE)),), plain)
    one = replace(made.tag(), exterior_mm=PLATE, pocket=pocket)
    two, three = replace(one, name="tag-2", sheet_mm=(72.0, 0.0)), replace(one, name="tag-3", sheet_mm=(0.0, 50.0))
    (first, second), items = codes((one, two), plain)
    assert (first, second) == (["pockets-cross"], [])
    (finding,) = items[0].pocket.findings
    # the corners are round: r^2 (1 - pi / 4) of each of the four corners is missing at the very most
    assert 4 * 56 - 4 * 64 * (1 - math.pi / 4) < finding.value < 4 * 56
    x, y = finding.place_px
    assert x == pytest.approx(66.0, abs=0.01)  # the paths cross half-way between the plates,
    assert min(abs(y - (-math.sqrt(64 - 36))), abs(y - (40 + math.sqrt(64 - 36)))) < 0.02  # 6 mm beside the corner
    assert codes((one, replace(two, sheet_mm=(77.0, 0.0))), plain)[0] == [[], []]
    (first, *_), items = codes((one, two, three), plain)
    assert first == ["pockets-cross"]
    assert "tag-2 and tag-3" in items[0].pocket.findings[0].message


def test_uncut_corners_that_the_item_needs_want_a_person():
    (needs, *_), _ = (f.pocket.findings for f in codes(plates(90.0, 0.2), Cutting(way="router", cutter_mm=3.0))[1])
    # (1.5 - 0.2)(sqrt 2 - 1) = 0.54 mm stays, and the clearance at the corner's tip is 0.2
    assert needs.value == pytest.approx(0.5385, abs=0.005)
    assert needs.attention
    (fits, *_), _ = (f.pocket.findings for f in codes(plates(90.0, 0.5), Cutting(way="router", cutter_mm=3.0))[1])
    # 0.41 of 0.5 mm
    assert fits.value == pytest.approx(0.4142, abs=0.005)
    assert not fits.attention


def test_what_is_removed_is_path_and_half_the_width():
    pocket = cut(ring_of(20), **LASER)
    assert opening(pocket, (5.0, 0.0)).area == pytest.approx(math.pi * 20.2**2, rel=5e-4)
    assert opening(pocket, (5.0, 0.0)).centroid.x == pytest.approx(5.0, abs=1e-3)


def test_nodes_nearer_than_the_limit_are_counted():
    # four quarter arcs of 0.11 mm radius: pi / 2 x 0.11 = 0.173 mm
    chain = (Allowance("clearance", 0.2), Allowance("kerf", -0.09))
    pocket = Pocket((made.rounded(60.22, 40.22, 0.11, at=(-0.11, -0.11)),), chain, 0.2, 0.18, way="laser")
    item = replace(made.tag(), exterior_mm=PLATE, pocket=pocket)
    (finding,) = codes([item], Cutting(way="laser"))[1][0].pocket.findings
    assert (finding.code, finding.attention) == ("nodes-close", False)
    assert finding.value == pytest.approx(math.pi / 2 * 0.11, abs=1e-6)
    assert finding.message.startswith("4 lines or arcs")
    assert codes([item], Cutting(way="laser", node_spacing_mm=0.1))[0] == [[]]


# --- values ----------------------------------------------------------------------------------------------------


def test_typical_values_cut_a_pocket_in_every_way():
    for way in ("laser", "router", "knife", "print3d", "former"):
        cutting = choose(way, {}, typical_values())
        curves = (fit_curve(make_ring(PLATE)),)
        pocket = cut_pocket((make_ring(PLATE),), curves, cutting)
        assert pocket.way == way
        assert any(note.startswith("Typical, test first: clearance") for note in pocket.notes)
