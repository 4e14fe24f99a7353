"""What a way of cutting adds to the files, written and read back by other libraries, and the whole command."""

import copy
import csv
import io
import json
from dataclasses import replace

import ezdxf
import jsonschema
import numpy as np
import pytest
import svgelements

from digitize.cli.table import report_lines
from digitize.document.document import document_bytes, read_document, schema
from digitize.errors import DocumentError
from digitize.records import Allowance, Circle, Notch, OpenPath, Pocket, Relief, Uncut
from digitize.run import Report
from digitize.write.look import DXF_VERSIONS, Look
from digitize.write.preview.marks import PIN, POCKET, UNCUT
from digitize.write.preview.picture import check_png_bytes
from digitize.write.sheet import compose
from tests import made
from tests.test_cli import digitize, draw
from tests.test_write_dxf import read_back
from tests.test_write_pdf import drawn
from tests.test_write_preview import has_colour, opened, plain
from tests.truth.shapes import Shape, circle, rectangle
from tests.written import dxf_bytes, pdf_bytes, svg_bytes

VALIDATOR = jsonschema.Draft202012Validator(schema())
# A quarter turn to the left from (1, 21.11), heading to -x, about (1, 20): it ends on the wall, heading to -y.
LEAD = OpenPath(made.ring([(1.0, 21.11), (-0.11, 20.0)]), made.ring([made.QUARTER]))
CORNER = Uncut(made.ring([(58, 39), (59.5, 38), (59.5, 39.5)]), 1.125, 0.62)
WAY = Pocket(
    curves=(made.rounded(60.22, 40.22, 6.11, at=(-0.11, -0.11)),),
    chain=(
        Allowance("lot", 0.0),
        Allowance("clearance", 0.75),
        Allowance("draft", 0.5),
        Allowance("shrink", 0.0, 1.006),
    ),
    clearance_mm=0.75,
    kerf_mm=0.18,
    cutter_mm=3.0,
    way="router",
    leads=(LEAD,),
    reliefs=(Relief((1.25, 1.25), (0.884, 0.884)),),
    uncut=(CORNER,),
    notches=(Notch((30.0, 40.2), 18.0, 90.0),),
    pins=(Circle((8.0, 20.0), 2.3),),
    plug_top=(Circle((30.0, 20.0), 5.0),),
    notes=("Cut by router: cutter 3 mm.", "Typical, test first: clearance 0.75 mm."),
)


def with_way(**changes):
    return made.result(replace(made.tag(), pocket=replace(WAY, **changes)), made.fob())


# --- document --------------------------------------------------------------------------------------------------


def test_document_gives_back_every_part_of_a_way_of_cutting():
    data = document_bytes(with_way())
    VALIDATOR.validate(json.loads(data))
    back = read_document(data)
    pocket = back.items[0].pocket
    for name in ("chain", "way", "reliefs", "notches", "pins", "plug_top", "notes", "cutter_mm"):
        assert getattr(pocket, name) == getattr(WAY, name), name
    (lead,), (uncut,) = pocket.leads, pocket.uncut
    assert np.array_equal(lead.points_mm, LEAD.points_mm)
    assert lead.bulges == pytest.approx(LEAD.bulges, abs=1e-9)
    assert np.array_equal(uncut.ring_mm, CORNER.ring_mm)
    assert (uncut.area_mm2, uncut.depth_mm) == (1.125, 0.62)
    assert not uncut.ring_mm.flags.writeable
    assert document_bytes(back.result) == data


def test_pocket_without_a_way_is_written_as_ever():
    pocket = json.loads(document_bytes(made.result()))["items"][0]["pocket"]
    assert list(pocket) == ["clearance_mm", "kerf_mm", "cutter_mm", "chain", "path", "warnings"]
    assert pocket["chain"] == [{"name": "clearance", "offset_mm": 0.2}, {"name": "kerf", "offset_mm": -0.09}]


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("way",), "saw"),
        (("leads", 0, "type"), "path"),
        (("leads", 0, "segments"), []),
        (("pins", 0, "type"), "path"),
        (("pins", 0, "radius"), 0),
        (("uncut", 0, "depth_mm"), -1),
        (("uncut", 0, "ring"), [[0, 0], [1, 0], [0, 0]]),
        (("notches", 0, "width_mm"), 0),
        (("reliefs", 0, "tip"), [1]),
        (("chain", 3, "scale"), 0),
        (("notes", 0), 3),
    ],
)
def test_what_the_schema_forbids_is_refused_by_the_reader_too(place, value):
    whole = json.loads(document_bytes(with_way()))
    changed = copy.deepcopy(whole)
    node = changed["items"][0]["pocket"]
    for key in place[:-1]:
        node = node[key]
    node[place[-1]] = value
    assert not VALIDATOR.is_valid(changed)
    with pytest.raises(DocumentError):
        read_document(json.dumps(changed).encode())


# --- drawings --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", DXF_VERSIONS)
def test_dxf_holds_open_leads_pins_and_uncut_places(version):
    document = read_back(dxf_bytes(with_way(), version=version))
    assert not document.audit().errors
    space = document.modelspace()
    lines = [(e.dxf.layer, e.is_closed, e) for e in space.query("LWPOLYLINE POLYLINE")]
    assert [(layer, closed) for layer, closed, _ in lines if layer not in ("OUTLINE", "PRINT")] == [
        ("POCKET", False),
        ("POCKET", True),
        ("NOTE", True),
    ]
    (lead,) = [e for layer, closed, e in lines if not closed]
    (arc,) = lead.virtual_entities()
    assert arc.dxf.radius == pytest.approx(1.11, abs=1e-5)
    assert tuple(arc.dxf.center)[:2] == pytest.approx((1, 20), abs=1e-5)
    ends = {tuple(np.round(p, 5)[:2]) for p in (arc.start_point, arc.end_point)}
    assert ends == {(1.0, 21.11), (-0.11, 20.0)}
    circles = {e.dxf.layer: e.dxf.radius for e in space.query("CIRCLE") if e.dxf.layer != "OUTLINE"}
    assert circles == {"PIN": pytest.approx(2.3), "NOTE": pytest.approx(5.0)}
    assert "PIN" in document.layers


def test_each_lead_is_drawn_before_its_path():
    lead = OpenPath(made.ring([(9.0, 23.0), (10.0, 20.0)]), made.ring([made.QUARTER]))
    result = with_way(curves=(Circle((8.0, 20.0), 2.0), *WAY.curves), leads=(lead, LEAD))
    drawing = compose(result, look=Look(leads="apart"))
    cut = [stroke for layer, stroke in drawing.curves if layer == "POCKET"]
    # a circle begins at three o'clock; a lead that belongs to no path comes first, and is not lost
    assert [type(stroke).__name__ for stroke in cut] == ["OpenPath", "OpenPath", "Circle", "Path"]
    assert cut[0].points_mm[-1] == pytest.approx((-0.11, 20.0))
    assert cut[1].points_mm[-1] == pytest.approx((10.0, 20.0))


@pytest.mark.parametrize("heading", [1.0, -1.0])
def test_a_lead_and_its_circle_are_one_line_that_runs_the_way_the_lead_comes_on(heading):
    """The waste lies to the left: a lead heading up at three o'clock comes from inside the circle, one heading down

    from outside. Its polyline in the DXF is cut into pieces by ezdxf.
    """
    # a quarter turn of 1 mm to the left, about the place 1 mm to the left of its end
    lead = OpenPath(made.ring([(10.0 - heading, 20.0 - heading), (10.0, 20.0)]), made.ring([made.QUARTER]))
    document = read_back(dxf_bytes(with_way(curves=(Circle((8.0, 20.0), 2.0),), leads=(lead,))))
    (line,) = document.modelspace().query('LWPOLYLINE[layer=="POCKET"]')
    assert not line.is_closed
    arcs = list(line.virtual_entities())
    assert [arc.dxf.radius for arc in arcs] == pytest.approx([1.0, 2.0, 2.0])
    assert [tuple(arc.dxf.center)[:2] for arc in arcs[1:]] == [pytest.approx((8.0, 20.0))] * 2
    corners = line.get_points("xy")
    assert corners[-1] == corners[1] == pytest.approx((10.0, 20.0))
    assert np.sign([bulge for (bulge,) in line.get_points("b")][1:3]) == pytest.approx([heading] * 2)


def test_dxf_without_pins_has_no_layer_for_them():
    assert "PIN" not in read_back(dxf_bytes(made.result())).layers


def test_svg_leaves_leads_open_and_shows_pins():
    data = svg_bytes(with_way())
    parsed = svgelements.SVG.parse(io.BytesIO(data), ppi=25.4)
    groups = {group.values.get("id"): list(group) for group in parsed if isinstance(group, svgelements.Group)}
    lead, wall = [shape for shape in groups["POCKET"] if isinstance(shape, svgelements.Path)]
    assert not isinstance(list(lead)[-1], svgelements.Close)
    assert isinstance(list(wall)[-1], svgelements.Close)
    assert lead.length() == pytest.approx(np.pi / 2 * 1.11, rel=1e-3)
    (pin,) = [shape for shape in groups["PIN"] if isinstance(shape, svgelements.Circle)]
    assert float(pin.values["r"]) == pytest.approx(2.3)


def test_pdf_shows_the_same():
    _, found = drawn(pdf_bytes(with_way()))
    lengths = sorted(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in found["POCKET"])
    assert lengths[0] == pytest.approx(np.pi / 2 * 1.11, rel=1e-3)
    assert len(lengths) == 2
    (pin,) = found["PIN"]
    assert np.ptp(pin[:, 0]) == pytest.approx(4.6, abs=0.001)


def test_notes_hold_chain_notes_and_cautions_once():
    words = "\n".join(compose(with_way()).notes)
    flat = " ".join(words.split())
    assert "item > lot +0.000 > clearance +0.750 > draft +0.500 > shrink +0.600 % > path +1.250 mm" in flat
    assert flat.count("Typical, test first: clearance 0.75 mm.") == 1
    assert "PIN pins" in flat
    assert "Vacuum former" not in flat
    former = " ".join(compose(with_way(way="former")).notes)
    assert "Vacuum former" in former
    assert "hot nozzle" in " ".join(compose(with_way(way="print3d")).notes)


def test_notes_of_some_items_name_them():
    other = replace(made.tag(name="tag-2"), pocket=replace(WAY, notes=("Cut by router: cutter 3 mm.", "Its own.")))
    words = " ".join(compose(made.result(replace(made.tag(), pocket=WAY), other)).notes)
    assert words.count("Cut by router: cutter 3 mm.") == 1
    assert "tag-2: Its own." in words


def test_table_shows_chain_and_notes_once():
    lines = report_lines(Report(with_way(), ()))
    (cut,) = [line.strip() for line in lines if "Cut " in line and "outside" in line]
    assert cut == (
        "tag-1: Cut 1.25 mm outside the item: 0.75 room and 0.50 for the draft, then all of it 0.60 % larger"
    )
    assert [line.strip() for line in lines].count("Typical, test first: clearance 0.75 mm.") == 1


def test_check_picture_shows_leads_uncut_places_and_pins():
    bare = opened(check_png_bytes(plain(2600, 2600), with_way(uncut=(), pins=()), made.FlatScale()))
    full = opened(check_png_bytes(plain(2600, 2600), with_way(), made.FlatScale()))
    for colour in (UNCUT, PIN):
        kept = tuple((value & 0xFC) | 2 for value in colour)
        assert has_colour(full, kept, least=30)
        assert not has_colour(bare, kept, least=30)
    assert has_colour(full, tuple((value & 0xFC) | 2 for value in POCKET), least=100)


# --- the command -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """A plate of 30 x 20 mm with a hole of 5 mm and a disc of 20 mm, 4 mm apart, beside a square of 20 mm."""
    plate = Shape(rectangle(30, 20), (circle(5),), "plate")
    items = [(plate, (55, 25)), (Shape(circle(20.0), (), "disc"), (84, 25))]
    return draw(tmp_path_factory.mktemp("cut") / "scan.png", [(20, (20, 25), 5)], items)


def test_router_from_scan_to_files(scan, tmp_path):
    run = digitize("outline", scan, "--square", 20, "--cut", "router", "--cutter", 4, "--pins", "--to", tmp_path)
    assert run.returncode == 1  # 4 mm of web, less twice the clearance
    assert "mm of sheet stay between" in run.said
    assert "Cut 1.75 mm inside the item's edge: 0.25 room less half the 4.00 cutter" in run.said
    assert "Typical, test first: clearance 0.25 mm, corner relief diagonal." in run.said
    document = read_document((tmp_path / "scan.json").read_bytes())
    plate, disc = sorted((item.pocket for item in document.items), key=lambda pocket: -len(pocket.reliefs))
    # (2 - 0.25)(sqrt 2 - 1) at four corners; the disc needs none
    assert [np.hypot(*np.subtract(r.tip_mm, r.corner_mm)) for r in plate.reliefs] == pytest.approx(
        [0.725] * 4, abs=0.05
    )
    assert disc.reliefs == ()
    assert isinstance(disc.curves[0], Circle)
    assert disc.curves[0].radius_mm == pytest.approx(10 - 1.75, abs=0.03)
    assert [2 * pin.radius_mm for pin in plate.pins] == pytest.approx([5 - 0.5], abs=0.03)
    dxf = ezdxf.readfile(tmp_path / "scan.dxf")
    assert not dxf.audit().errors
    assert len(dxf.modelspace().query('CIRCLE[layer=="PIN"]')) == 1


def test_own_values_from_the_file_that_the_command_writes(scan, tmp_path):
    printed = digitize("cutting")
    assert printed.returncode == 0
    assert b"typical, test first" in printed.stdout
    mine = tmp_path / "mine.toml"
    assert digitize("cutting", "--to", mine).returncode == 0
    assert mine.read_bytes() == printed.stdout
    mine.write_text(mine.read_text().replace("kerf_mm = 0.2 ", "kerf_mm = 0.3 "))
    assert digitize("cutting", "--to", mine).returncode == 3  # edited: not overwritten
    run = digitize(
        "outline",
        scan,
        "--square",
        20,
        "--cut",
        "laser",
        "--cutting",
        mine,
        "--web",
        1,
        "--format",
        "json",
        "--to",
        tmp_path,
    )
    assert run.returncode == 0, run.said
    assert "Cut 0.05 mm outside the item: 0.20 room less half the 0.30 kerf" in run.said
    assert "Typical" not in run.said  # every value is in the user's own file
    pockets = [item.pocket for item in read_document((tmp_path / "scan.json").read_bytes()).items]
    assert [len(pocket.leads) for pocket in pockets] == [1, 1]
    for pocket in pockets:
        start = pocket.curves[0].points_mm[0] if not isinstance(pocket.curves[0], Circle) else None
        if start is not None:
            assert np.array_equal(pocket.leads[0].points_mm[-1], start)


def test_batch_takes_a_way_of_cutting_for_each_picture(scan, tmp_path):
    manifest = tmp_path / "night.csv"
    with manifest.open("w", newline="") as file:
        csv.writer(file).writerows([("file", "cut", "notches"), (str(scan), "knife", "2")])
    run = digitize(
        "batch",
        "--manifest",
        manifest,
        "--square",
        20,
        "--to",
        tmp_path / "out",
        "--format",
        "json",
        "--jobs",
        1,
        "--anywhere",
    )
    assert run.returncode in (0, 1), run.said
    (path,) = (tmp_path / "out").rglob("scan.json")
    pockets = [item.pocket for item in read_document(path.read_bytes()).items]
    assert {pocket.way for pocket in pockets} == {"knife"}
    assert [len(pocket.notches) for pocket in pockets] == [2, 2]


def test_solid_of_items_narrower_than_the_cutter_is_refused_in_a_sentence(scan, tmp_path):
    pytest.importorskip("manifold3d")
    options = ("--square", 20, "--cut", "router", "--cutter", 40, "--solid", 5, "--to", tmp_path)
    run = digitize("outline", scan, *options)
    assert run.returncode == 2
    assert "no pocket has a path" in run.said
    assert list(tmp_path.iterdir()) == []
