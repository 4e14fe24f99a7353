"""The plate's document and drawings, read back by other libraries: one zero corner, one frame, cut in order."""

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import ezdxf
import jsonschema
import numpy as np
import pypdfium2
import pytest
import shapely
import trimesh
from PIL import Image
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import document_bytes
from digitize.document.plate import SCHEMA_FILE, plate_bytes, plate_schema_text, read_plate
from digitize.errors import DocumentError, UsageError
from digitize.plate.asked import PlateAsked
from digitize.plate.layout import laid
from digitize.plate.plate import ZEROS, Hole
from digitize.records import Circle
from digitize.seal import is_sealed, mark_in
from digitize.write.plate.files import plate_files
from digitize.write.plate.template import template_files
from digitize.write.plate.words import draft_words
from tests import made, outline_schema
from tests.plates import BED, disc, kind, shaped, tag
from tests.sweeps import sweep
from tests.test_write_dxf import loops as dxf_loops
from tests.test_write_dxf import points_on as dxf_points
from tests.test_write_dxf import read_back
from tests.test_write_pdf import drawn as pdf_drawn
from tests.test_write_svg import parsed, points_on

ROOT = Path(__file__).resolve().parents[1]
TOP = {"top-left": (0, -458), "top-right": (-305, -458), "bottom-left": (0, 0), "bottom-right": (-305, 0)}


def plate_of(*kinds, holes=(), **asked):
    plate, _ = laid(kinds or (kind(tag()),), PlateAsked(**{"bed_mm": BED, "gap_mm": 5.0, **asked}), name="plate")
    return replace(plate, holes=holes)


def files_of(plate, formats=("dxf", "svg", "pdf")):
    return plate_files(plate, mark_in(plate_bytes(plate)), formats)


def svg_loops(data, layers):
    """Closed curves of an SVG by layer, mm on its page, y up from the page's top."""
    found = {}
    for group in parsed(data).elements(lambda one: type(one).__name__ == "Group"):
        if group.values.get("id") in layers:
            for shape in group:
                if hasattr(shape, "as_points") or type(shape).__name__ in ("Path", "Circle"):
                    found.setdefault(group.values["id"], []).append(points_on(shape) * (1, -1))
    return found


def union(loops):
    return shapely.union_all([shapely.Polygon(loop).buffer(0) for loop in loops])


# --- the document ----------------------------------------------------------------------------------------------------


def test_the_published_schema_is_the_declared_one():
    assert outline_schema.PLATE_FILE.name == SCHEMA_FILE
    assert outline_schema.PLATE_FILE.read_text("utf-8") == outline_schema.plate_text(), "python -m tests.outline_schema"


def test_a_document_is_valid_and_comes_back():
    plate = plate_of(
        kind(tag()), kind(tag(name="tag-2")), rows=2, columns=2, holes=(Hole(8.0, 8.0, 4.2),), thickness_mm=3.0
    )
    data = plate_bytes(plate)
    jsonschema.Draft202012Validator(json.loads(plate_schema_text())).validate(json.loads(data))
    assert is_sealed(data)
    back = read_plate(data)
    assert plate_bytes(back) == data
    assert (back.places, back.holes, back.zero, back.bed_mm) == (plate.places, plate.holes, plate.zero, plate.bed_mm)
    again = plate_of(
        kind(tag()), kind(tag(name="tag-2")), rows=2, columns=2, holes=(Hole(8.0, 8.0, 4.2),), thickness_mm=3.0
    )
    assert files_of(back) == files_of(again)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda root: root.update(format="digitize-outline"), "no plate document"),
        (lambda root: root.update(version=2), "use a newer digitize"),
        (lambda root: root["places"][0].update(kind="badge"), "none of the kinds"),
        (lambda root: root["places"][0].update(x_mm="left"), "should be a number"),
        (lambda root: root["kinds"][0]["item"].update(pocket=None), "has no pocket"),
        (lambda root: root.update(size_mm=[500, 10]), "larger than its bed"),
        (lambda root: root.pop("zero"), "'zero' is missing"),
    ],
)
def test_a_damaged_document_is_refused(change, said):
    root = json.loads(plate_bytes(plate_of(rows=1, columns=1)))
    change(root)
    with pytest.raises(DocumentError, match=said):
        read_plate(json.dumps(root).encode())


# --- the drawings ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("zero", ZEROS)
def test_dxf_has_its_origin_in_the_zero_corner(zero):
    """Margin 10, clearance 0.2: the first item's edge lies 10.2 mm from both edges at the zero corner."""
    document = read_back(files_of(plate_of(rows=1, columns=1, zero=zero), ("dxf",))["cut.dxf"])
    loops = dxf_loops(document)
    outline = max(loops["OUTLINE"], key=lambda loop: np.ptp(loop[:, 0]))
    near = np.abs(outline).min(axis=0)
    assert near == pytest.approx((10.2, 10.2), abs=1e-3)
    right, up = (outline.mean(axis=0) > 0).tolist()
    assert right == zero.endswith("left")
    assert up == zero.startswith("bottom")
    # the edge of the plate is the bed's
    edge = max(loops["NOTE"], key=lambda loop: np.ptp(loop[:, 0]))
    assert tuple(edge.min(axis=0)) == pytest.approx(TOP[zero], abs=1e-6)
    assert tuple(np.ptp(edge, axis=0)) == pytest.approx(BED, abs=1e-6)


@sweep(
    ("which", "zero"),
    [(which, zero) for which in ("cut", "draft") for zero in ZEROS],
    [("cut", "top-left"), ("cut", "bottom-right"), ("draft", "bottom-left")],
)
def test_three_formats_share_corner_and_frame_to_the_micrometre(zero, which):
    plate = plate_of(rows=2, columns=2, zero=zero)
    files = files_of(plate)
    outlines = dxf_loops(read_back(files[f"{which}.dxf"]))["OUTLINE"]
    size, pdf = pdf_drawn(files[f"{which}.pdf"])
    svg = svg_loops(files[f"{which}.svg"], ("OUTLINE",))["OUTLINE"]
    # the page's corner at zero is the bed's, whichever strip the notes stand on
    x = 0.0 if zero.endswith("left") else size[0]
    y = 0.0 if zero.startswith("bottom") else size[1]
    for one, in_pdf, in_svg in zip(outlines, pdf["OUTLINE"], svg, strict=True):
        assert box(in_pdf - (x, y)) == pytest.approx(box(one), abs=1e-3)
        assert box(in_svg - (x, y - size[1])) == pytest.approx(box(one), abs=1e-3)


def box(loop):
    return (*loop.min(axis=0), *loop.max(axis=0))


def test_cut_in_order_holes_then_pegs_then_pockets_then_the_edge():
    item = tag()
    peg = Circle((8.0, 20.0), 2.3)
    with_peg = replace(item, pocket=replace(item.pocket, curves=(*item.pocket.curves, peg)))
    plate = plate_of(kind(with_peg), rows=1, columns=2, plate_mm=(200.0, 100.0), holes=(Hole(5.0, 453.0, 4.0),))
    document = read_back(files_of(plate, ("dxf",))["cut.dxf"])
    cuts = [e for e in document.modelspace() if e.dxf.layer == "POCKET"]
    kinds = [e.dxftype() for e in cuts]
    assert kinds == ["CIRCLE", "CIRCLE", "LWPOLYLINE", "CIRCLE", "LWPOLYLINE", "LWPOLYLINE"]
    # a kerf of 0.18 mm: the hole's path runs 0.09 inside its edge, the plate's 0.09 outside
    assert cuts[0].dxf.radius == pytest.approx(2.0 - 0.09)
    assert cuts[0].dxf.center.x == pytest.approx(5.0)
    assert cuts[0].dxf.center.y == pytest.approx(-5.0)
    corners = np.array([(x, y) for x, y, *_ in cuts[-1].get_points()])
    assert np.ptp(corners, axis=0) == pytest.approx((200.18, 100.18))
    assert corners.max(axis=0) == pytest.approx((200.09, 0.09))


def test_holes_need_kinds_that_are_cut_alike():
    plate = plate_of(kind(tag()), kind(disc(30.0)), rows=1, columns=1, holes=(Hole(8.0, 8.0, 4.2),))
    with pytest.raises(UsageError, match=r"different cuts \(0 and 0\.18 mm wide\)"):
        files_of(plate)


def test_label_bar_mark_and_cautions_stand_on_both_drawings():
    plate = replace(plate_of(rows=1, columns=2, thickness_mm=3.0), label=("rev B", "2026-11-02"))
    mark = mark_in(plate_bytes(plate))
    for which in ("cut", "draft"):
        data = files_of(plate)[f"{which}.pdf"]
        document = pypdfium2.PdfDocument(data)
        words = " ".join(document[0].get_textpage().get_text_bounded().split())
        document.close()
        for part in (
            "rev B / 2026-11-02",
            "3 mm thick",
            mark,
            "top left corner",
            "Front: the lower edge",
            "not mirrored",
            "strikes the head",
            "local rules",
            "2 tag-1",
            "never PVC or vinyl",
        ):
            assert part in words, (which, part)
        _, found = pdf_drawn(data)
        assert max(np.ptp(loop[:, 0]) for loop in found["CHECK"]) == pytest.approx(100, abs=1e-3)
    cut = read_back(files_of(plate, ("dxf",))["cut.dxf"])
    said = " ".join(text.dxf.text for text in cut.modelspace().query("TEXT"))
    assert "never PVC or vinyl" in said
    assert "path +0.110 mm" in said


def test_every_pocket_bears_its_number():
    plate = plate_of(
        kind(tag()), kind(shaped([(0, 0), (12, 0), (12, 9), (0, 9)], name="a long name")), rows=1, columns=2
    )
    texts = {t.dxf.text for t in read_back(files_of(plate, ("dxf",))["cut.dxf"]).modelspace().query("TEXT")}
    assert {"1 tag-1", "2 tag-1", "3", "4"} <= texts


# --- the command -----------------------------------------------------------------------------------------------------


def run(*words):
    return CliRunner().invoke(app, ["plate", *map(str, words)])


@pytest.fixture
def document(tmp_path):
    path = tmp_path / "tag.json"
    path.write_bytes(document_bytes(made.result(tag())))
    return path


def test_command_writes_document_table_and_drawings(document, tmp_path):
    out = tmp_path / "out"
    done = run(document, "--bed", "305x458", "--rows", 4, "--columns", 3, "--gap", 5, "--to", out)
    assert done.exit_code == 0, done.output
    names = {path.name for path in out.iterdir()}
    drawings = {f"plate.{which}.{kind}" for which in ("cut", "draft", "template") for kind in ("dxf", "svg", "pdf")}
    assert {"plate.json", "plate.lay.csv", *drawings} <= names
    assert "12 tag-1 on a bed of 305 x 458 mm, zero in the top left corner" in done.output
    assert "strikes the head" in done.output
    pockets = dxf_loops(ezdxf.readfile(out / "plate.cut.dxf"))["POCKET"]
    assert len(pockets) == 12
    # the same again replaces its own files; by the table written, the same places
    before = (out / "plate.json").read_bytes()
    again = run(document, "--bed", "305x458", "--lay", out / "plate.lay.csv", "--to", out)
    assert again.exit_code == 0, again.output
    assert (out / "plate.json").read_bytes() == before


def test_as_many_as_fit_says_how_many_more(tmp_path):
    """2.5 by 5.4 diameters: 5 straight rows of 2, or 6 in a hexagon, 1 + 5 x 0.866 = 5.33 high."""
    path = tmp_path / "disc.json"
    path.write_bytes(document_bytes(made.result(disc(20.0))))
    bed = f"{2.5 * 20.1 - 0.05}x{5.4 * 20.1 - 0.1}"
    done = run(path, "--bed", bed, "--margin", 0, "--web", 0.1, "--as-many-as-fit", "--to", tmp_path)
    assert "12 in 6 rows" in done.output
    assert "2 more than straight rows hold" in done.output


def test_a_thin_web_asks_for_a_person(document, tmp_path):
    done = run(
        document, "--bed", "305x458", "--rows", 1, "--columns", 2, "--gap", 2, "--thickness", 3, "--to", tmp_path
    )
    assert done.exit_code == 1
    assert re.search(r"LOOK +Pocket 1 \(tag-1\) and Pocket 2 \(tag-1\) leave 2.00 mm", done.output)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--bed", "305x458", "--rows", "30", "--columns", "1"], "over the lower edge"),
        (["--bed", "305x458", "--plate", "400x200"], "larger than the bed"),
        (["--rows", "2"], "--bed 305x458"),
        (["--bed", "305x458", "--plate-hole", "10,10"], "such as 10,10,4.2"),
        (["--bed", "305x458", "--plate-hole", "40,30,4"], "overlap"),
        (["--bed", "305x458", "--item", "badge"], "No item is called badge"),
        (["--bed", "305x458", "--lay", "none.csv"], "cannot be read"),
        (["--bed", "305x458", "--lay", "none.csv", "--rows", "2"], "--rows is for rows"),
        (["--bed", "305x458", "--grid"], "leave documents"),
        (["--bed", "305x458", "--format", "docx"], "--format docx"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_written(document, tmp_path, words, said):
    out = tmp_path / "out"
    done = run(document, *words, "--to", out)
    assert done.exit_code == 2, done.output
    assert said in done.output
    assert "Traceback" not in done.output
    assert not out.exists()


def test_files_that_are_no_outline_are_refused(document, tmp_path):
    out = tmp_path / "out"
    picture, twin = tmp_path / "tag.png", tmp_path / "twin.json"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n")
    twin.write_bytes(document_bytes(made.result(tag(), source_name="other.png")))
    bare = tmp_path / "bare.json"
    bare.write_bytes(document_bytes(made.result(made.tag(pocket=False))))
    for given, said in (([picture], "no outline document"), ([document, twin], "Two kinds"), ([bare], "no pocket")):
        done = run(*given, "--bed", "305x458", "--to", out)
        assert done.exit_code == 2, done.output
        assert said in done.output
        assert not out.exists()


def test_a_table_laid_for_another_picture_is_refused(document, tmp_path):
    run(document, "--bed", "305x458", "--rows", 1, "--columns", 1, "--to", tmp_path / "first")
    other = tmp_path / "other.json"
    other.write_bytes(document_bytes(made.result(tag(), source_sha256="ab" * 32)))
    done = run(other, "--bed", "305x458", "--lay", tmp_path / "first" / "plate.lay.csv", "--to", tmp_path / "out")
    assert done.exit_code == 2
    assert "from another picture" in done.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("zero", ZEROS)
def test_grid_has_a_line_every_10_mm_numbered_from_zero(zero, tmp_path):
    done = run("--grid", "--bed", "105x60", "--zero", zero, "--to", tmp_path)
    assert done.exit_code == 0, done.output
    space = ezdxf.readfile(tmp_path / "grid.dxf").modelspace()
    lines = [(e.dxf.start, e.dxf.end) for e in space.query("LINE")]
    upright = sorted({abs(round(a.x, 6)) for a, b in lines if a.x == b.x and abs(a.y - b.y) == pytest.approx(60)})
    level = sorted({abs(round(a.y, 6)) for a, b in lines if a.y == b.y and abs(a.x - b.x) == pytest.approx(105)})
    assert upright == [10.0 * k for k in range(1, 11)]
    assert level == [10.0 * k for k in range(1, 7)]
    numbers = [t.dxf.text for t in space.query("TEXT") if t.dxf.text.isdecimal()]
    assert sorted(map(int, numbers)) == sorted([10 * k for k in range(1, 11)] + [10 * k for k in range(1, 7)])
    size, _ = pdf_drawn((tmp_path / "grid.pdf").read_bytes())
    assert size == pytest.approx((105, 60), abs=1e-3)
    svg = parsed((tmp_path / "grid.svg").read_bytes())
    assert (svg.width, svg.height) == pytest.approx((105, 60))


def test_files_are_the_same_bytes_again():
    assert files_of(plate_of(rows=2, columns=2)) == files_of(plate_of(rows=2, columns=2))
    assert io.BytesIO(files_of(plate_of(rows=1, columns=1))["cut.pdf"]).read(5) == b"%PDF-"


def test_the_whole_plate_as_a_solid(document, tmp_path):
    """Volume by hand: 200 x 150 x 6 mm, less 4 openings of 60.4 x 40.4 (corners 6.2) 4 mm deep and a hole of 4 mm."""
    words = ["--rows", 2, "--columns", 2, "--gap", 5, "--plate-hole", "5,5,4", "--solid", 6, "--depth", 4]
    done = run(document, "--bed", "200x150", *words, "--to", tmp_path)
    assert done.exit_code == 1, done.output  # the hole lies 3 mm from the edge, which is said
    mesh = trimesh.load(tmp_path / "plate.stl")
    assert mesh.is_watertight
    opening = 60.4 * 40.4 - (4 - np.pi) * 6.2**2
    assert mesh.volume == pytest.approx(200 * 150 * 6 - 4 * 4 * opening - np.pi * 4 * 6, rel=2e-5)
    assert tuple(mesh.bounds[1] - mesh.bounds[0]) == pytest.approx((200, 150, 6), abs=1e-3)
    loops = [np.array(loop)[:, :2] for loop in mesh.section(plane_origin=(0, 0, 4.0), plane_normal=(0, 0, 1)).discrete]
    boxes = sorted(tuple(np.round(box(loop), 2).tolist()) for loop in loops)
    assert (10.0, 99.6, 70.4, 140.0) in boxes  # the first pocket, from the upper left
    assert (75.4, 54.2, 135.8, 94.6) in boxes  # the last
    assert (3.0, 143.0, 7.0, 147.0) in boxes  # the hole
    assert len(boxes) == 6


def commands_of(text):
    return [line.split()[1:] for line in text.splitlines() if line.startswith("    digitize ")]


def test_the_worked_example_from_scan_to_template(tmp_path, monkeypatch):
    """The README's commands from first to last, then those the manual adds; what they write is measured."""
    readme = (ROOT / "README.md").read_text("utf-8")
    section = readme.partition("## From a scan to a plate, worked through\n")[2].partition("\n## ")[0]
    manual = (ROOT / "digitize" / "README.md").read_text("utf-8")
    chapter = manual.partition("## From outlines to a plate\n")[2].partition("<img")[0]
    worked = commands_of(section)
    assert [words[0] for words in worked] == ["outline", "plate", "template"]
    assert commands_of(chapter)[:3] == worked
    monkeypatch.chdir(ROOT)
    said = []
    for words in (*worked, *commands_of(chapter)[3:]):
        done = CliRunner().invoke(app, [word.replace("out/", f"{tmp_path}/") for word in words])
        assert done.exit_code == 0, done.output
        assert "LOOK" not in done.output
        said.append(done.output)
    assert "the faces of the items, 3.2 mm" in said[1]
    assert "strikes the head" in said[1]
    assert len(read_plate((tmp_path / "plate.json").read_bytes()).places) == 12
    assert len(read_plate((tmp_path / "full.json").read_bytes()).places) > 12
    assert (tmp_path / "plate.template.svg").read_text("utf-8").count("<use ") == 12
    drawing = ezdxf.readfile(tmp_path / "plate.cut.dxf").modelspace()
    assert len(drawing.query('*[layer=="POCKET"]')) == 12  # each with its lead, joined
    cut = {
        layer: [np.array(dxf_points(one)) for one in drawing.query(f'LWPOLYLINE CIRCLE[layer=="{layer}"]')]
        for layer in ("WALL", "OUTLINE")
    }
    walls, items = (union(loop for loop in cut[layer] if np.ptp(loop[:, 0]) > 20) for layer in ("WALL", "OUTLINE"))
    assert walls.contains(items)
    expected = json.loads((ROOT / "samples" / "tag.expected.json").read_text())["items"][0]
    holes = union(loop for loop in cut["OUTLINE"] if np.ptp(loop[:, 0]) < 20)
    assert (items.area - holes.area) / 12 == pytest.approx(expected["area_mm2"], rel=0.002)  # as the tag was drawn
    shown = np.asarray(Image.open(ROOT / "samples" / "tag.plate.png").convert("L")).astype(int)
    drawn = np.asarray(Image.open(tmp_path / "plate.png").convert("L")).astype(int)
    assert shown.shape == drawn.shape
    assert np.abs(shown - drawn).mean() < 2.0, "samples/tag.plate.png is the example's plate.png"


def top_right(loop):
    """How far right a loop reaches, to 0.01 mm, then how far up: those of one column reach equally far."""
    return round(float(loop[:, 0].max()), 2), float(loop[:, 1].max())


def test_cut_from_the_back_is_the_mirror_image_of_the_template():
    """Each pocket's item of the cut drawing, turned over about the axis through zero, lies on its print area."""
    plate = plate_of(kind(tag()), rows=2, columns=2, turn_deg=10.0, cut_from="back")
    assert read_plate(plate_bytes(plate)).cut_from == "back"
    files = files_of(plate) | template_files(plate, "0" * 16, only=(1, 2, 3, 4)).files
    cut = read_back(files["cut.dxf"])
    over = union([loop * (-1, 1) for loop in dxf_loops(cut)["OUTLINE"]])
    template = union(dxf_loops(read_back(files["template.dxf"]))["PRINT"])
    assert shapely.area(shapely.symmetric_difference(over, template)) < 1e-6 * template.area
    said = " ".join(text.dxf.text for text in cut.modelspace().query("TEXT"))
    assert "Seen from the BACK" in said
    assert "Zero: top right corner" in said
    size, found = pdf_drawn(files["cut.pdf"])
    first, in_pdf = (max(loops, key=top_right) for loops in (dxf_loops(cut)["OUTLINE"], found["OUTLINE"]))
    assert box(in_pdf - size) == pytest.approx(box(first), abs=1e-3)
    # numbers stay where their pockets are, and can be read
    place = next(text.dxf.insert for text in cut.modelspace().query("TEXT") if text.dxf.text == "1 tag-1")
    assert -10 - 60 < place.x < -10
    assert "seen from the back" in " ".join(draft_words(plate, ""))


def test_what_was_outlined_for_the_back_is_refused_where_it_would_print_mirrored():
    """Imaged face and cut side: each that is the other one exchanges left and right once."""
    for imaged, mirrored in (("print", False), ("back", True)):
        assert kind(tag(), imaged=imaged, mirrored=mirrored).name == "tag-1"
    for imaged, mirrored in (("print", True), ("back", False)):
        with pytest.raises(UsageError, match="--cut-from back to digitize plate"):
            kind(tag(), imaged=imaged, mirrored=mirrored)
