"""The wall besides the path: the cut simulated from the path as a DXF shows it, against WALL, solids and the item.

The simulation is of others: ezdxf reads the path and the wall, shapely (GEOS) and Clipper2 move a disc along it.
"""

from __future__ import annotations

import functools
import io
import json
from dataclasses import replace
from xml.etree import ElementTree

import jsonschema
import numpy as np
import pikepdf
import pyclipr
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from digitize.cutting.check import with_checks
from digitize.cutting.defaults import typical_values
from digitize.cutting.make import cut_pocket
from digitize.cutting.wall import opening, wall_of, with_wall
from digitize.cutting.ways import Cutting, choose
from digitize.document.document import document_bytes, read_document, schema
from digitize.fitting.bulge import curve_area, curve_ring, make_path, path_kinks
from digitize.fitting.chain import curve_of_chain
from digitize.fitting.fit import fit_curve
from digitize.fitting.regular import even_pocket
from digitize.fitting.ring import make_ring
from digitize.records import Allowance, Circle, Pocket, Symmetry
from digitize.write.look import DXF_VERSIONS
from digitize.write.solid.asked import Solid
from digitize.write.solid.files import solid_files
from digitize.write.solid.make import make_solid
from tests import made, readers
from tests import strategies as s
from tests.near import distances
from tests.sweeps import sweep
from tests.test_solid import read_back as mesh_of
from tests.test_solid import region_at
from tests.test_write_dxf import read_back
from tests.written import dxf_bytes, pdf_bytes, svg_bytes

UM = 1e-3
SAG_MM = 1e-4
SHAPES = {
    "plate": s.polygon("plate", np.array([[0, 0], [60, 0], [60, 40], [0, 40.0]])),
    "star": s.star(5, 30, 13),
    "scallops": s.scallops(12, 30, 3.0),
    "lug": s.tag_with_lug(),
}
WAYS = ("none", "kerf", "laser", "router", "side", "blunt", "knife", "print3d", "former")
RELIEFS = {"side": {"relief": "side"}, "blunt": {"relief": "none"}}


@functools.cache
def item_for(shape, way):
    """A shape beside a peg of 8 mm in its middle, and its pocket cut in a way."""
    ring, _ = SHAPES[shape].sampled(corners=True)
    middle = shapely.Polygon(ring).representative_point().coords[0] if shape != "star" else (0.0, 0.0)
    turn = np.linspace(0, -2 * np.pi, 600, endpoint=False)
    hole = made.ring(np.array(middle) + 4 * np.column_stack([np.cos(turn), np.sin(turn)]))
    rings = tuple(map(make_ring, (ring, hole)))
    curves = tuple(map(fit_curve, rings))
    plain = {"none": {"clearance_mm": 0.2}, "kerf": {"clearance_mm": 0.2, "kerf_mm": 0.3}}
    said = plain.get(way, RELIEFS.get(way, {}))
    named = None if way in plain else "router" if way in RELIEFS else way
    cutting = choose(named, {**said, "cut_holes": way != "former"}, typical_values())
    pocket = cut_pocket(rings, curves, cutting)
    box = np.ptp(ring, axis=0)
    item = replace(
        made.tag(), exterior_mm=ring, holes_mm=(hole,), path=curves[0], hole_paths=curves[1:], pocket=pocket,
        width_mm=float(box[0]), height_mm=float(box[1]), print_area=(), sheet_mm=(3.0, 5.0),
    )  # fmt: skip
    return with_checks([item], cutting, lambda _, place: place)[0]


def enclosed(lines):
    """The places that closed lines enclose, even-odd: what only shows as a line has no inside."""
    whole = shapely.Polygon()
    for line in lines:
        parts = shapely.get_parts(shapely.make_valid(shapely.Polygon(line)))
        flat = [one for one in parts if one.geom_type in ("Polygon", "MultiPolygon")]
        whole = whole.symmetric_difference(shapely.union_all(flat))
    return whole


def apart(one, other):
    """How far the edges of two regions lie apart at most, places every 0.2 mm of each."""
    edges = [shapely.boundary(region) for region in (one, other)]
    return max(
        float(distances(shapely.get_coordinates(shapely.segmentize(edge, 0.2)), beside).max())
        for edge, beside in (edges, edges[::-1])
    )


def discs_along(lines, radius):
    """Every place within a radius of closed lines, by Clipper2."""
    engine = pyclipr.ClipperOffset()
    engine.scaleFactor, engine.arcTolerance = 1_000_000, 200  # 2e-4 mm
    for line in lines:
        engine.addPath(np.vstack([line, line[:1]]), pyclipr.JoinType.Round, pyclipr.EndType.Round)
    rings = [np.asarray(ring) for ring in engine.execute(radius)]
    return enclosed([ring for ring in rings if len(ring) > 2])


def simulated(paths, radius, engine):
    """What is gone once a disc has gone along the paths and what it cut loose has fallen out."""
    if radius == 0:
        return enclosed(paths)
    lines = shapely.MultiLineString([np.vstack([path, path[:1]]) for path in paths])
    discs = discs_along(paths, radius) if engine == "clipper" else shapely.buffer(lines, radius, quad_segs=100)
    gone = enclosed(paths).union(discs)
    # where a disc just fills an arc of its own radius, chords leave slits of 1e-8 mm2 beside its middle
    return shapely.Polygon(gone.exterior, [hole for hole in gone.interiors if shapely.Polygon(hole).area > 1e-4])


def seen_of(item):
    """The drawing's rings by layer, read from its DXF; of the places on arcs as many as keep to 0.3 um."""
    rings = readers.by_ezdxf(dxf_bytes(made.result(item))).rings
    return {
        layer: [shapely.get_coordinates(shapely.LinearRing(ring).simplify(3e-4))[:-1] for ring in rings[layer]]
        for layer in ("POCKET", "WALL")
    }


CASES = [("plate", way) for way in WAYS]
CASES += [(shape, way) for shape in ("star", "scallops", "lug") for way in ("laser", "router")]
RADIUS = {
    "kerf": 0.15,
    "laser": 0.1,
    "router": 1.5,
    "side": 1.5,
    "blunt": 1.5,
}  # half of the kerf said, and of the typical ones


FEW = (
    ("plate", "kerf"),
    ("plate", "router"),
    ("plate", "blunt"),
    ("plate", "knife"),
    ("lug", "laser"),
    ("star", "router"),
)


@sweep(("shape", "way"), CASES, FEW)
def test_wall_is_what_a_disc_leaves_that_follows_the_path(shape, way):
    item = item_for(shape, way)
    seen = seen_of(item)
    radius, wall = RADIUS.get(way, 0.0), enclosed(seen["WALL"])
    assert radius == pytest.approx(max(item.pocket.kerf_mm, item.pocket.cutter_mm) / 2)
    for engine in ("geos", "clipper") if way in ("router", "side") else ("geos",):
        assert apart(simulated(seen["POCKET"], radius, engine), wall) <= 5 * UM
    assert apart(opening(item.pocket), wall) <= 2 * UM  # a DXF has no curves but lines and arcs, to 1e-6
    assert len(shapely.get_parts(wall)) == 1
    assert [curve_area(one) < 0 for one in item.pocket.wall if not isinstance(one, Circle)].count(False) == 1


@sweep(("shape", "way"), CASES, FEW)
def test_room_of_nine_tenths_is_left_or_it_is_said(shape, way):
    """The item's own dense ring against the simulated cut."""
    item = item_for(shape, way)
    seen = seen_of(item)
    gone = simulated(seen["POCKET"], RADIUS.get(way, 0.0), "geos")
    rings = (item.exterior_mm, *(item.holes_mm if gone.interiors else ()))
    places = np.concatenate(rings)
    room = np.where(shapely.contains_xy(gone, places), 1, -1) * shapely.distance(
        shapely.points(places), shapely.boundary(gone)
    )
    said = {finding.code for finding in item.pocket.findings} & {"uncut", "room-short"}
    assert bool(said) or room.min() >= 0.9 * item.pocket.clearance_mm
    assert said == ({"uncut"} if way == "blunt" else set())


SOLIDS = [("plate", "laser"), ("plate", "router"), ("star", "side"), ("plate", "former"), ("lug", "former")]


@pytest.mark.parametrize(("shape", "way"), SOLIDS)
def test_solid_stands_on_the_wall_and_its_corners_are_relieved(shape, way):
    """trimesh cuts the mesh, shapely holds the section against the wall; the rings differ by chords of 2 um."""
    item = item_for(shape, way)
    files = solid_files(made.result(item), [item], Solid(6), stem="x")
    zero = np.array(make_solid(made.result(item), [item], Solid(6)).zero_mm)
    above = region_at(mesh_of(files, kind="3mf"), 3.0)
    open_there = above if way == "former" else shapely.box(*above.bounds).difference(above)
    assert apart(open_there, shapely.transform(opening(item.pocket), lambda places: places + zero)) <= 5 * UM
    body = shapely.Polygon(item.exterior_mm + zero, [item.holes_mm[0] + zero])
    assert body.difference(open_there).area < 1e-9  # 0.4 mm of each corner stood outside without the reliefs


def test_an_item_that_stands_outside_is_said_and_one_with_little_room_too():
    item = item_for("plate", "laser")
    cutting = choose("laser", {"cut_holes": True}, typical_values())
    for inward, code, case in ((0.05, "room-short", "leaves"), (0.3, "room-short", "outside")):
        path = replace(item.pocket.curves[-1], points_mm=item.pocket.curves[-1].points_mm * (1 - inward / 30, 1))
        pocket = replace(item.pocket, curves=(item.pocket.curves[0], path), wall=(), findings=())
        pocket = replace(pocket, wall=wall_of(pocket))
        (found,) = (
            f
            for f in with_checks([replace(item, pocket=pocket)], cutting, lambda _, place: place)[0].pocket.findings
            if f.code == code
        )
        assert case in found.message
        assert found.attention


def test_wall_is_a_layer_of_its_own_that_is_off():
    item = item_for("plate", "router")
    result = made.result(item)
    for version in DXF_VERSIONS:
        layers = read_back(dxf_bytes(result, version=version)).layers
        assert [layer.dxf.name for layer in layers if layer.is_off()] == ["WALL"]
    (group,) = [g for g in ElementTree.fromstring(svg_bytes(result)).iter() if g.get("id") == "WALL"]
    assert group.get("display") == "none"
    assert float(group.get("stroke-width")) < 0.0254  # 0.001 inch
    with pikepdf.open(io.BytesIO(pdf_bytes(result))) as pdf:
        layers = pdf.Root.OCProperties.D
        assert [str(group.Name) for group in layers.OFF] == ["WALL"]
        assert "WALL" not in [str(group.Name) for group in layers.ON]
    assert "WALL" not in read_back(dxf_bytes(made.result())).layers  # a pocket read from an older document


def test_document_gives_the_wall_back_and_one_without_it_is_read_all_the_same():
    item = item_for("plate", "router")
    data = document_bytes(made.result(item))
    jsonschema.Draft202012Validator(schema()).validate(json.loads(data))
    back = read_document(data)
    assert apart(opening(back.items[0].pocket), opening(item.pocket)) <= 0.2 * UM  # written to 0.1 um
    assert document_bytes(back.result) == data
    older = json.loads(data)
    del older["items"][0]["pocket"]["wall"]
    read = read_document(json.dumps(older).encode()).items[0].pocket
    assert read.wall == ()
    assert apart(opening(read), opening(item.pocket)) <= 2 * UM  # by its path


@settings(max_examples=8, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 40), st.floats(0, 40), st.floats(1, 8)), min_size=1, max_size=5),
    st.floats(0.1, 3),
)
@example([(18.0, 0.0, 5.0), (20.0, 3.0, 4.0), (24.0, 0.0, 1.0)], 0.25)
def test_lines_and_arcs_keep_to_the_chain_and_are_few(discs, grown):
    """A chain around discs and boxes: near it both ways, in no more pieces than sides and arcs."""
    parts = [shapely.Point(x, y).buffer(r, quad_segs=80) for x, y, r in discs]
    parts += [shapely.box(x, y, x + r, y + 2 * r).buffer(grown, quad_segs=80) for x, y, r in discs]
    for part in shapely.get_parts(shapely.union_all(parts)):
        ring = np.asarray(part.exterior.coords)[:-1]
        curve = curve_of_chain(ring, within_mm=0.001)
        again = shapely.Polygon(curve_ring(curve, chord_mm=0.0002))
        assert apart(again, shapely.Polygon(ring)) <= 2.5 * UM
        if isinstance(curve, Circle):
            continue
        assert curve_area(curve) == pytest.approx(-part.area, abs=2.5 * UM * part.length)  # GEOS runs clockwise
        assert len(curve.bulges) <= 9 * len(parts) + 2


def test_a_pocket_made_symmetric_has_the_wall_of_its_new_path():
    """A rectangle with one corner 0.03 mm too far out, made the same after half a turn: that corner moves by 0.015."""
    corners = np.array([(0.0, 0.0), (60, 0), (60.03, 40), (0, 40)])
    chain = (Allowance("clearance", 0.2), Allowance("kerf", -0.1))
    pocket = with_wall(Pocket((make_path(corners, np.zeros(4)),), chain, 0.2, 0.2))
    half_turn = Symmetry((30.0075, 20.0), 2, 0.015, (), ())
    (path,) = even_pocket(pocket, half_turn, tolerance_mm=0.02).curves
    assert path.points_mm.max() < 60.02
    wall = opening(with_wall(even_pocket(pocket, half_turn, tolerance_mm=0.02)))
    assert apart(wall, shapely.Polygon(path.points_mm).buffer(0.1, quad_segs=100)) <= 2 * UM


@pytest.mark.parametrize("clearance", [0.1, 0.3], ids=["on the line", "outside"])
def test_wall_is_tangent_where_the_path_is(clearance: float) -> None:
    """What lies beside a smooth path at a distance is as smooth: of an ellipse no joint turns."""
    ring = make_ring(s.ellipse(30, 12))
    pocket = cut_pocket((ring,), (fit_curve(ring),), Cutting(way="laser", clearance_mm=clearance, kerf_mm=0.2))
    (wall,) = wall_of(pocket)
    assert len(wall.bulges) == len(pocket.curves[0].bulges)
    assert np.degrees(np.abs(path_kinks(wall))).max() < 0.3
