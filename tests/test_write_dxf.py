import io
from dataclasses import replace

import ezdxf
import numpy as np
import pytest

from digitize.errors import UsageError
from digitize.seal import is_sealed
from digitize.write.look import DXF_VERSIONS
from tests import made
from tests.written import dxf_bytes

FLAT_MM = 2e-6  # chords off their arcs: a five-hundredth of what is held


def read_back(data):
    text = data.decode("utf-8" if b"AC1024" in data[:200] else "cp1252")
    return ezdxf.read(io.StringIO(text))


def loops(document):
    """Return the closed curves of each layer as points on the lines and arcs that ezdxf makes of them."""
    found = {}
    for entity in document.modelspace().query("LWPOLYLINE POLYLINE CIRCLE"):
        found.setdefault(entity.dxf.layer, []).append(np.array(points_on(entity)))
    return found


def points_on(entity):
    if entity.dxftype() == "CIRCLE":
        return [(p.x, p.y) for p in entity.flattening(FLAT_MM)][:-1]
    assert entity.is_closed
    points = []
    for part in entity.virtual_entities():
        straight = part.dxftype() == "LINE"
        run = [part.dxf.start, part.dxf.end] if straight else list(part.flattening(FLAT_MM))
        if not straight and points and run[0].distance(points[-1]) > run[-1].distance(points[-1]):
            run.reverse()  # an ARC always runs counter-clockwise
        points += run
    return [(p.x, p.y) for p in points]


def test_the_oracle_sees_a_planted_fault():
    good = {"OUTLINE": [made.circle_ring(8, 20, 2.5, count=4000)]}
    expected = {"OUTLINE": [made.Truth(8, 20, 2.5, 2.5, 2.5)]}
    made.assert_shapes(good, expected)
    for bad in (
        [made.circle_ring(8, 20, 2.5011, count=4000)],
        [made.circle_ring(8.0011, 20, 2.5, count=4000)],
        [made.circle_ring(8, 20, 2.5, count=4000)[:3500]],
        [],
        good["OUTLINE"] * 2,
    ):
        with pytest.raises(AssertionError):
            made.assert_shapes({"OUTLINE": bad}, expected)


@pytest.mark.parametrize("version", DXF_VERSIONS)
def test_read_back_geometry_agrees_to_1_um(version):
    document = read_back(dxf_bytes(made.result(), version=version))
    assert document.dxfversion == {"r12": "AC1009", "r2000": "AC1015", "r2010": "AC1024"}[version]
    made.assert_shapes(loops(document))


@pytest.mark.parametrize("version", DXF_VERSIONS)
def test_audit_is_clean(version):
    audit = read_back(dxf_bytes(made.result(), version=version)).audit()
    assert audit.errors == []
    assert audit.fixes == []


def test_header_says_millimetres_and_the_extents():
    # $INSUNITS 4 = millimetres, $MEASUREMENT 1 = metric: Autodesk DXF Reference, HEADER section.
    document = read_back(dxf_bytes(made.result()))
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert document.header["$EXTMAX"][1] == pytest.approx(41, abs=1e-6)  # the print area: 40 mm and 1 mm of bleed
    assert document.header["$EXTMIN"][0] == pytest.approx(-1, abs=1e-6)
    for entity in document.modelspace().query("LINE TEXT"):
        for x, y, _ in [entity.dxf.insert] if entity.dxftype() == "TEXT" else [entity.dxf.start, entity.dxf.end]:
            assert document.header["$EXTMIN"][0] <= x <= document.header["$EXTMAX"][0]
            assert document.header["$EXTMIN"][1] <= y <= document.header["$EXTMAX"][1]


@pytest.mark.parametrize("version", DXF_VERSIONS)
def test_bulge_of_a_quarter_and_of_a_half_turn(version):
    # Autodesk DXF Reference, LWPOLYLINE: "the bulge is the tangent of one fourth the included angle
    # for an arc segment ... A bulge of 0 indicates a straight segment, and a bulge of 1 is a semicircle."
    document = read_back(dxf_bytes(made.result(), version=version))
    bulges = [
        sorted({round(b, 6) for b in ([p[4] for p in e] if version != "r12" else [v.dxf.bulge for v in e.vertices])})
        for e in document.modelspace().query("LWPOLYLINE POLYLINE")
        if e.dxf.layer == "OUTLINE"
    ]
    assert bulges == [[0, 0.414214], [0, 1]]


def test_r12_has_heavy_polylines_only():
    space = read_back(dxf_bytes(made.result(), version="r12")).modelspace()
    assert len(space.query("LWPOLYLINE")) == 0
    assert len(space.query("POLYLINE")) == 4


@pytest.mark.parametrize(("given", "read"), [("2000", "AC1015"), ("R2010", "AC1024"), ("12", "AC1009")])
def test_version_may_be_given_without_its_letter(given, read):
    assert read_back(dxf_bytes(made.result(), version=given)).dxfversion == read


def test_unknown_version_is_a_sentence():
    with pytest.raises(UsageError, match="'r14' is unknown: use one of r12, r2000, r2010"):
        dxf_bytes(made.result(), version="r14")


def test_layers_and_colours():
    document = read_back(dxf_bytes(made.result()))
    assert {"OUTLINE", "POCKET", "PRINT", "CHECK", "NOTE", "TEXT"} <= {layer.dxf.name for layer in document.layers}
    assert document.layers.get("POCKET").rgb == (168, 52, 0)
    assert {e.dxf.layer for e in document.modelspace()} == {"OUTLINE", "POCKET", "PRINT", "CHECK", "TEXT"}
    assert {e.dxf.layer for e in document.modelspace().query("TEXT")} == {"TEXT"}


def test_check_bar_is_100_mm_and_everything_for_checking_is_clear_of_the_items():
    space = read_back(dxf_bytes(made.result())).modelspace()
    lines = [e for e in space.query("LINE") if e.dxf.layer == "CHECK"]
    assert max(e.dxf.start.distance(e.dxf.end) for e in lines) == pytest.approx(100, abs=1e-9)
    tops = [max(e.dxf.start.y, e.dxf.end.y) for e in lines]
    tops += [e.dxf.insert.y + e.dxf.height for e in space.query("TEXT") if e.dxf.text not in ("tag-1", "fob-1")]
    assert max(tops) <= -1 - 5  # the lowest curve is the print area at y = -1


def test_holes_come_before_the_edge_around_them():
    kinds = [e.dxftype() for e in read_back(dxf_bytes(made.result())).modelspace() if e.dxf.layer == "OUTLINE"]
    assert kinds == ["CIRCLE", "LWPOLYLINE", "LWPOLYLINE"]


def test_notes_say_what_to_check_the_sizes_the_chain_and_the_cautions():
    space = read_back(dxf_bytes(made.result())).modelspace()
    words = " ".join(e.dxf.text for e in space.query("TEXT"))
    for part in (
        "lantern row 7.png",
        "Open in millimetres",
        "before cutting: it must be 100.0 mm",
        "tag-1: 60.00 x 40.00 mm",
        "clearance +0.200 > kerf -0.090 > path +0.110 mm",
        "never PVC or vinyl",
        "machine's manual",
        "as seen in the picture",
    ):
        assert part in words


def test_one_item_alone_has_its_own_zero():
    result = made.result()
    document = read_back(dxf_bytes(result, items=result.items[1:]))
    made.assert_shapes(loops(document), {"OUTLINE": [made.Truth(25, 10, 25, 10, 10)]})


def test_a_strange_name_cannot_break_the_file():
    for name in ("a\n0\nEOF\n", "%%u^J{\\H3;x}", "Schlüssel 鍵 \udcff.png", "x" * 3000):
        data = dxf_bytes(made.result(source_name=name))
        document = read_back(data)
        assert not document.audit().errors
        assert is_sealed(data)
        for text in document.modelspace().query("TEXT"):  # nothing that a reader takes for a control code
            assert text.plain_text() == text.dxf.text


@pytest.mark.parametrize("version", ["r2000", "r2010"])
def test_classes_stand_in_order(version):
    # ezdxf takes some of them from a set, whose order differs from process to process.
    keys = list(read_back(dxf_bytes(made.result(), version=version)).classes.classes)
    assert len(keys) > 5
    assert keys == sorted(keys)


def test_a_setting_of_the_whole_process_is_put_back():
    for before in (False, True):
        ezdxf.options.write_fixed_meta_data_for_testing = before
        try:
            dxf_bytes(made.result())
            assert ezdxf.options.write_fixed_meta_data_for_testing is before
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = False


def test_no_item_is_refused():
    with pytest.raises(ValueError, match="at least one item"):
        dxf_bytes(replace(made.result(), items=()))
