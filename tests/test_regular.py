"""Ideal shapes and symmetry from an item's rings to its curves, its pocket, its document and the words on it."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
import shapely
from shapely import affinity

from digitize.cli.table import report_lines
from digitize.document.document import document_bytes, read_document, schema
from digitize.errors import DocumentError
from digitize.fitting.bulge import curve_ring
from digitize.fitting.ring import make_ring
from digitize.recipe.describe import Drawn, draw
from digitize.records import Circle, IdealShape, Path, Symmetry
from digitize.run import Report
from digitize.settings import Settings
from digitize.write.regular_words import regular_lines
from digitize.write.words import notes
from tests import made
from tests import strategies as s
from tests.near import distances

# ISO/IEC 7810 ID-1: 85.60 x 53.98 mm, corner radius 2.88 to 3.48, here 3.18
CARD = s.id1_card().sampled(noise=0.002, seed=21, angle=0.2, corners=True)[0]
FREE = s.tag_with_lug().sampled(noise=0.002, seed=22, corners=True)[0]


def hole(radius: float, centre: tuple[float, float]) -> s.Ring:
    turn = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    return np.array(centre) + radius * np.column_stack([np.cos(turn), -np.sin(turn)])


def drawn(*rings: s.Ring, **options: object) -> Drawn:
    return draw(tuple(map(make_ring, rings)), Settings.of(options))


def polygon(curve: Path | Circle) -> shapely.Polygon:
    return shapely.Polygon(curve_ring(curve, chord_mm=1e-6))


def test_shapes_are_told_and_nothing_else_changes() -> None:
    plain = drawn(CARD, hole(4, tuple(CARD.mean(axis=0))))
    card, round_hole = plain.shapes
    assert card is not None
    assert round_hole is not None
    assert card.kind == "rounded rectangle"
    assert card.sizes_mm == pytest.approx({"length": 85.60, "width": 53.98, "corner_radius": 3.18}, abs=0.003)
    assert (round_hole.kind, round_hole.sizes_mm["diameter"]) == ("circle", pytest.approx(8, abs=1e-3))
    assert not card.written
    assert round_hole.written  # a circle is one anyway
    assert plain.symmetry is not None
    assert plain.symmetry.moved_mm is None
    assert plain.findings == ()
    sides = np.diff(np.asarray(plain.curves[0].points_mm), axis=0)  # type: ignore[union-attr]
    assert abs(sides[0] @ sides[4] / np.hypot(*sides[0]) / np.hypot(*sides[4])) != 1.0  # as fitted: not parallel


def test_ideal_writes_the_shape_and_offsets_it_by_formula() -> None:
    """A card grown by 0.3 mm has the sides and corner radius of the standard's plus 0.6 and 0.3 mm."""
    ideal = drawn(CARD, ideal=True, clearance_mm=0.3, bleed_mm=1.0)
    assert all(shape is not None and shape.written for shape in ideal.shapes)
    assert ideal.pocket is not None
    for curve, grow in ((ideal.curves[0], 0.0), (ideal.pocket.curves[0], 0.3), (ideal.print_area[0], 1.0)):
        assert isinstance(curve, Path)
        (a, b, c, d) = np.diff(np.vstack([curve.points_mm, curve.points_mm[:1]]), axis=0)[::2]
        assert np.array([np.hypot(*a), np.hypot(*c)]) == pytest.approx([85.60 - 6.36] * 2, abs=0.005)
        assert np.array([np.hypot(*b), np.hypot(*d)]) == pytest.approx([53.98 - 6.36] * 2, abs=0.005)
        assert abs(a @ b) < 1e-9
        assert abs(a[0] * c[1] - a[1] * c[0]) < 1e-9
        area = (85.60 + 2 * grow) * (53.98 + 2 * grow) - (4 - np.pi) * (3.18 + grow) ** 2
        assert polygon(curve).area == pytest.approx(area, abs=0.2)
    assert ideal.findings == ()


def test_ideal_of_what_is_none_is_written_as_measured_and_said() -> None:
    plain, ideal = drawn(FREE), drawn(FREE, ideal=True)
    assert ideal.shapes == ()
    assert [(f.code, f.attention) for f in ideal.findings] == [("no-ideal-shape", False)]
    assert np.array_equal(ideal.curves[0].points_mm, plain.curves[0].points_mm)  # type: ignore[union-attr]


@pytest.mark.parametrize("way", ["router", "print3d"])
def test_ideal_holds_for_ways_of_cutting(way: str) -> None:
    from digitize.cutting.defaults import typical_values
    from digitize.cutting.ways import choose

    cutting = choose(way, {}, typical_values(), None)
    pocket = drawn(CARD, ideal=True, cutting=cutting).pocket
    assert pocket is not None
    sides = np.diff(np.asarray(pocket.curves[-1].points_mm), axis=0)[::2]  # type: ignore[union-attr]
    assert abs(sides[0] @ sides[1]) < 1e-9 * np.hypot(*sides[0]) * np.hypot(*sides[1])


def test_symmetric_writes_an_outline_and_a_pocket_that_are_so_exactly() -> None:
    made_so = drawn(FREE, symmetric=True, clearance_mm=0.2)
    symmetry = made_so.symmetry
    assert symmetry is not None
    assert symmetry.moved_mm is not None
    assert 0 < symmetry.moved_mm < 0.02
    assert [f.code for f in made_so.findings] == ["made-symmetric"]
    assert made_so.findings[0].value == symmetry.moved_mm
    assert made_so.pocket is not None
    for curve in (made_so.curves[0], made_so.pocket.curves[0]):
        level = affinity.rotate(polygon(curve), -symmetry.axes_deg[0], symmetry.centre_mm)
        image = affinity.scale(level, 1, -1, origin=symmetry.centre_mm)
        assert level.symmetric_difference(image).area < 5e-6 * level.length
    as_measured = drawn(FREE, clearance_mm=0.2)
    level = affinity.rotate(polygon(as_measured.curves[0]), -symmetry.axes_deg[0], symmetry.centre_mm)
    image = affinity.scale(level, 1, -1, origin=symmetry.centre_mm)
    assert level.symmetric_difference(image).area > 5e-5 * level.length  # the check sees what is not symmetric


def test_moved_is_the_farthest_point_of_the_path_from_the_measured_edge() -> None:
    """Against shapely's distances; the ring is a rectangle with one corner 0.03 mm out."""
    ring = s.polygon("lopsided", np.array([[0, 0], [40, -0.03], [40, 20], [0, 20.0]])).sampled(corners=True)[0]
    found = drawn(ring, symmetric=True)
    assert found.symmetry is not None
    edge = shapely.LinearRing(ring)
    path = polygon(found.curves[0]).exterior
    along = shapely.get_coordinates(shapely.segmentize(path, 0.2))
    there, back = distances(along, edge).max(), distances(ring, path).max()
    assert found.symmetry.moved_mm == pytest.approx(max(there, back), abs=1e-3)


def test_no_symmetry_is_said_and_a_circle_needs_none() -> None:
    uneven = s.polygon("uneven", np.array([[0, 0], [20, 0], [17, 9], [3, 11.0]])).sampled(corners=True)[0]
    assert [f.code for f in drawn(uneven, symmetric=True).findings] == ["no-symmetry"]
    assert drawn(s.ellipse(10, 10), symmetric=True).findings == ()


def test_what_cannot_be_made_symmetric_is_written_as_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("digitize.fitting.regular.symmetric_curve", lambda *given, **more: None)
    plain, found = drawn(FREE, clearance_mm=0.2), drawn(FREE, symmetric=True, clearance_mm=0.2)
    assert [f.code for f in found.findings] == ["no-symmetry"]
    assert "cannot be made symmetric" in found.findings[0].message
    assert np.array_equal(found.curves[0].points_mm, plain.curves[0].points_mm)  # type: ignore[union-attr]
    assert found.symmetry == plain.symmetry


def test_ideal_goes_before_symmetric() -> None:
    found = drawn(CARD, symmetric=True, ideal=True)
    assert found.findings == ()
    assert found.symmetry is not None
    assert found.symmetry.moved_mm is None
    assert found.shapes[0] is not None
    assert found.shapes[0].written


def test_ragged_rings_are_not_looked_at() -> None:
    noisy = s.id1_card().sampled(noise=0.15, seed=5, spacing=0.05)[0]
    found = drawn(noisy, ideal=True)
    assert "edge-ragged" in [f.code for f in found.findings]
    assert found.shapes == ()
    assert found.symmetry is None


# the document


SHAPE = IdealShape(
    "rounded rectangle",
    {"length": 60.0, "width": 40.0, "corner_radius": 6.0},
    {"length": 0.0004, "width": 0.0003, "corner_radius": 0.0012},
    None,
    (30.0, 20.0),
    0.0,
    0.0042,
)
HEXAGON = IdealShape(
    "regular polygon", {"inscribed_diameter": 5.0}, {"inscribed_diameter": 0.001}, 6, (8, 20), 12.5, 0.003
)
SYMMETRY = Symmetry((30.0, 20.0), 2, 0.003, (0.0, 90.0), (0.002, 0.004), with_holes=False)
ITEM = replace(made.tag(), shapes=(SHAPE, HEXAGON), symmetry=SYMMETRY, print_offset_mm=1.0)


def test_document_carries_what_was_recognised_and_gives_it_back() -> None:
    for item in (ITEM, replace(ITEM, shapes=(None, HEXAGON), symmetry=replace(SYMMETRY, moved_mm=0.0112))):
        data = document_bytes(made.result(item))
        jsonschema.Draft202012Validator(schema()).validate(json.loads(data))
        (back,) = read_document(data).items
        assert (back.shapes, back.symmetry) == (item.shapes, item.symmetry)
        assert back.print_offset_mm == 1.0
        assert document_bytes(read_document(data).result) == data


def test_document_of_before_is_still_read() -> None:
    document = json.loads(document_bytes(made.result(made.fob())))
    assert not {"shapes", "symmetry", "print_offset_mm"} & document["items"][0].keys()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda item: item["shapes"].pop(), "one for each of 2 rings"),
        (lambda item: item["shapes"][0]["sizes_mm"].pop("width"), "'width' is missing"),
        (lambda item: item["shapes"][0].update(kind="square"), "one of circle"),
        (lambda item: item["symmetry"].update(turns=0), "turns"),
        (lambda item: item["symmetry"]["axes"][0].update(deviation_mm=-1), "deviation_mm"),
    ],
)
def test_damaged_documents_are_refused(change, said) -> None:  # type: ignore[no-untyped-def]
    document = json.loads(document_bytes(made.result(ITEM)))
    change(document["items"][0])
    with pytest.raises(DocumentError, match=said):
        read_document(json.dumps(document).encode())


# the words


def test_table_tells_sizes_and_offers_the_options() -> None:
    rows = report_lines(Report(made.result(ITEM), ()), verbose=True)
    (outline,) = [row for row in rows if "rounded rectangle" in row]
    assert "60.000 x 40.000 mm, corner radius 6.000 mm (sd of the fit 0.0004, 0.0003, 0.0012 mm" in outline
    assert outline.endswith("--ideal writes it so")
    (hole_line,) = [row for row in rows if "regular polygon of 6 sides" in row]
    assert "hole 1" in hole_line
    (symmetric,) = [row for row in rows if "symmetric" in row]
    assert (
        "by half a turn and about axes at 0.0, 90.0 degrees (within 0.004 mm of its image; its holes are not)"
        in symmetric
    )
    assert symmetric.endswith("--symmetric writes it so")


def test_what_is_written_is_not_offered() -> None:
    item = replace(
        ITEM, shapes=(replace(SHAPE, written=True), None), symmetry=replace(SYMMETRY, moved_mm=0.01, with_holes=True)
    )
    lines = regular_lines(item, offer=True)
    assert "written so" in lines[0]
    assert "written exactly so, up to 0.010 mm from the measured edge" in lines[1]
    assert not [line for line in lines if "--" in line]


def test_many_holes_are_not_all_listed() -> None:
    lines = regular_lines(replace(ITEM, shapes=(None, *[HEXAGON] * 40), symmetry=None))
    assert len(lines) == 7
    assert lines[-1] == "and 34 more holes (in the JSON)"


def test_drawing_notes_name_shape_symmetry_and_print_area() -> None:
    words = notes(made.result(ITEM), [ITEM], width=10_000)
    assert any("outline is a rounded rectangle" in line for line in words)
    assert any("symmetric by half a turn" in line for line in words)
    assert any("PRINT reaches 1 mm over the item's edge (bleed)" in line for line in words)
    inside = replace(ITEM, print_offset_mm=-0.5)
    assert any("PRINT stays 0.5 mm inside" in line for line in notes(made.result(inside), [inside], width=10_000))


# from the picture


def test_shapes_of_a_scan_are_named_with_their_true_sizes(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Rendered by the tests' own renderer at 300 dpi, where a pixel is 85 um: names right, sizes within 5 um."""
    from digitize.reading.picture import read_picture
    from digitize.recipe.outline import outline_picture
    from tests.truth.flatbed import Scene, save_png
    from tests.truth.shapes import Shape, circle, rectangle, ring, slot

    turn = np.arange(6) * np.pi / 3
    hexagon = ring(np.column_stack([10 * np.cos(turn), 10 * np.sin(turn)]))
    scene = Scene(110, 60, dpi_x=300, background=0.86, blur_px=1.0, noise_codes=1.5, seed=2)
    scene.add_square(12, (9, 13), 5)
    holed = Shape(rectangle(30, 20), (circle(5),))
    items = ((holed, (38, 15), 11), (Shape(rectangle(24, 14, 3)), (75, 15), -20), (Shape(slot(26, 8)), (25, 42), 30))
    for shape, at, degrees in (*items, (Shape(hexagon), (55, 42), 7), (Shape(circle(12)), (99, 20), 0)):
        scene.add_item(shape, at, degrees, 0.1)
    save_png(tmp_path / "shapes.png", scene.render(), dpi=300)
    result = outline_picture(read_picture(tmp_path / "shapes.png"), Settings(square_mm=(12, 12))).result
    found = {item.shapes[0].kind: item for item in result.items if item.shapes and item.shapes[0]}
    expected = {
        "rectangle": {"length": 30, "width": 20},
        "rounded rectangle": {"length": 24, "width": 14, "corner_radius": 3},
        "slot": {"length": 26, "width": 8},
        "regular polygon": {"inscribed_diameter": 20 * np.cos(np.pi / 6)},
        "circle": {"diameter": 12},
    }
    assert found.keys() == expected.keys()
    for kind, item in found.items():
        assert item.shapes[0] is not None
        assert item.shapes[0].sizes_mm == pytest.approx(expected[kind], abs=0.005)
        assert item.shapes[0].deviation_mm < 0.01
    (hole_shape,) = found["rectangle"].shapes[1:]
    assert hole_shape is not None
    assert hole_shape.sizes_mm == pytest.approx({"diameter": 5}, abs=0.005)
    symmetries = {
        kind: item.symmetry and (item.symmetry.turns, len(item.symmetry.axes_deg)) for kind, item in found.items()
    }
    assert symmetries == {
        "rectangle": (2, 2), "rounded rectangle": (2, 2), "slot": (2, 2), "regular polygon": (6, 6), "circle": None,
    }  # fmt: skip
