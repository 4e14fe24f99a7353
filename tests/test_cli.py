"""The command as a person or a script meets it: exit codes, sentences, files."""

import contextlib
import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import numpy as np
import pytest
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.document.document import schema
from digitize.seal import __version__, is_sealed
from tests import started
from tests.truth.flatbed import Scene, save_png
from tests.truth.shapes import Shape, circle, rectangle

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
ROOT = Path(__file__).resolve().parents[1]
FILES = ["scan.json", "scan.dxf", "scan.svg", "scan.pdf", "scan.proof.pdf", "scan.check.png"]


def process(*arguments, cwd=None):
    """Run the command in a process of its own."""
    words = [sys.executable, "-m", "digitize", *map(str, arguments)]
    done = started.run(words, cwd=cwd, env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=900)
    done.said = done.stderr.decode()
    assert "Traceback" not in done.said
    return done


def digitize(*arguments, cwd=None):
    """Run the command in this process: what would end in a traceback fails here."""
    with contextlib.chdir(cwd or "."):
        done = CliRunner().invoke(app, [str(word) for word in arguments], prog_name="digitize")
    if not isinstance(done.exception, SystemExit | None):
        raise done.exception
    assert "Traceback" not in done.stderr
    return SimpleNamespace(returncode=done.exit_code, stdout=done.stdout_bytes, said=done.stderr)


def draw(path, squares, items, size_mm=(100, 50), **look):
    """Write a scan at 200 dpi: squares (side, centre, degrees) and items (shape, centre)."""
    scene = Scene(*size_mm, dpi_x=200, blur_px=0.7, noise_codes=1.0, seed=1, **look)
    for square in squares:
        scene.add_square(*square)
    for shape, centre in items:
        scene.add_item(shape, centre, 0, (0.3, 0.1, 0.1))
    save_png(path, scene.render())
    return path


def washer(diameter=24.0):
    return Shape(circle(diameter), (circle(6),), "washer")


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """A washer beside a square of 20 mm."""
    return draw(tmp_path_factory.mktemp("scan") / "scan.png", [(20, (20, 25), 5)], [(washer(), (65, 25))])


@pytest.fixture(scope="module")
def done(scan, tmp_path_factory):
    """The command run once with everything on."""
    folder = tmp_path_factory.mktemp("done")
    run = process("outline", scan, "--square", 20, "--clearance", 0.2, "--kerf", 0.18, "--to", folder)
    return run, folder


# --- what it does ------------------------------------------------------------------------------------------------


def test_good_scan_gives_all_files_and_code_0(done):
    run, folder = done
    assert run.returncode == 0
    assert sorted(p.name for p in folder.iterdir()) == sorted(FILES)
    assert run.stdout == b""


def test_table_tells_size_uncertainty_chain_and_files(done):
    run, folder = done
    row = next(line.split() for line in run.said.splitlines() if line.split()[:1] == ["scan-1"])
    by_calipers, as_laid = (row[1], row[3]), (row[4], row[6])
    assert [float(side) for side in by_calipers] == pytest.approx([24, 24], abs=0.02)
    assert [float(side) for side in as_laid] == pytest.approx([24, 24], abs=0.02)
    assert float(row[7]) == pytest.approx(np.pi * (12**2 - 3**2), abs=1)
    assert row[8] == "1"
    assert 0 < float(row[9]) < 0.2
    assert "Cut 0.11 mm outside the item: 0.20 room less half the 0.18 kerf" in run.said
    for name in FILES:
        assert f"wrote {folder / name}" in run.said


def test_document_is_valid_and_knows_its_picture(done, scan):
    _, folder = done
    document = json.loads((folder / "scan.json").read_text())
    jsonschema.validate(document, schema())
    assert document["source"]["sha256"] == hashlib.sha256(scan.read_bytes()).hexdigest()


def test_json_on_stdout_is_the_document_alone(scan, tmp_path):
    run = digitize("outline", scan, "--square", 20, "--format", "json", "--json", "--to", tmp_path)
    assert run.returncode == 0
    document = json.loads(run.stdout)
    jsonschema.validate(document, schema())
    assert document["items"][0]["width_mm"] == pytest.approx(24, abs=0.02)
    assert run.stdout == (tmp_path / "scan.json").read_bytes()


def test_json_of_several_pictures_is_a_document_a_line(scan, tmp_path):
    other = tmp_path / "other.png"
    other.write_bytes(scan.read_bytes())
    none = tmp_path / "none.png"
    run = process("outline", scan, none, other, "--square", 20, "--format", "json", "--json", "--to", tmp_path)
    assert run.returncode == 3
    lines = run.stdout.decode().split("\n")
    assert lines.pop() == ""
    documents = [json.loads(line) for line in lines]
    assert [document["source"]["file"] for document in documents] == ["scan.png", "other.png"]
    for document, line, name in zip(documents, lines, ("scan", "other"), strict=True):
        jsonschema.validate(document, schema())
        assert is_sealed(line.encode() + b"\n")
        written = json.loads((tmp_path / f"{name}.json").read_text())
        assert {**document, "mark": None} == {**written, "mark": None}


def test_version_is_told():
    run = process("--version")
    assert (run.returncode, run.stdout.decode().strip()) == (0, f"digitize {__version__}")


def test_two_processes_write_the_same_bytes(done, scan, tmp_path):
    _, folder = done
    again = process("outline", scan, "--square", 20, "--clearance", 0.2, "--kerf", 0.18, "--to", tmp_path)
    assert again.returncode == 0
    for name in FILES:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


def test_format_writes_only_what_was_asked(scan, tmp_path):
    run = digitize("outline", scan, "--square", 20, "--format", "svg,dxf", "--to", tmp_path)
    assert run.returncode == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["scan.dxf", "scan.svg"]


def test_separate_writes_one_file_an_item(tmp_path):
    two = draw(tmp_path / "two.png", [(20, (15, 25), 0)], [(washer(), (45, 25)), (washer(20), (80, 25))])
    run = digitize("outline", two, "--square", 20, "--separate", "--format", "json,dxf", "--to", tmp_path / "out")
    assert run.returncode == 0
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert names == ["two-1.dxf", "two-1.json", "two-2.dxf", "two-2.json"]
    widths = [json.loads((tmp_path / "out" / f"two-{k}.json").read_text())["items"][0]["width_mm"] for k in (1, 2)]
    assert widths == pytest.approx([24, 20], abs=0.02)


def test_several_pictures_take_the_worst_exit_code(scan, tmp_path):
    run = digitize("outline", scan, tmp_path / "none.png", "--square", 20, "--format", "json", "--to", tmp_path)
    assert run.returncode == 3
    assert (tmp_path / "scan.json").exists()
    assert "none.png" in run.said


def test_errors_name_the_picture_when_there_are_several(scan, tmp_path):
    blank = draw(tmp_path / "blank.png", [], [(washer(), (65, 25))])
    for pictures, named in (((scan, blank), True), ((blank,), False)):
        run = digitize("outline", *pictures, "--square", 20, "--format", "json", "--to", tmp_path)
        assert run.returncode == 4
        (line,) = [line for line in run.said.splitlines() if line.startswith("digitize: ")]
        assert line.startswith("digitize: blank.png: ") == named


@pytest.mark.parametrize(("options", "said"), [((), True), (("--clearance", 0), False)])
def test_kerf_without_clearance_is_remarked_and_needs_nobody(scan, tmp_path, options, said):
    run = digitize("outline", scan, "--square", 20, "--kerf", 0.2, *options, "--format", "json", "--to", tmp_path)
    assert run.returncode == 0
    assert ("note  --kerf 0.2 mm without --clearance" in run.said) == said


def test_a_name_of_dashes_gives_files_with_names(scan, tmp_path):
    (tmp_path / "-.png").write_bytes(scan.read_bytes())
    run = digitize("outline", "--square", 20, "--to", "out", "--", "-.png", cwd=tmp_path)
    assert run.returncode == 0
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(f"outline{name[4:]}" for name in FILES)


def test_demo_needs_no_clone_and_says_what_to_look_at(tmp_path):
    run = process("demo", "--to", tmp_path / "out", cwd=tmp_path)
    assert run.returncode == 0
    names = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert [n for n in names if n.startswith("fobs")] == sorted(f"fobs{Path(n).name[4:]}" for n in FILES)
    drawings = {f"fob-plate.{which}.{kind}" for which in ("cut", "draft", "template") for kind in ("dxf", "svg", "pdf")}
    assert {"fob-plate.json", "fob-plate.lay.csv", "fob-plate.png", *drawings} <= set(names)
    plate = json.loads((tmp_path / "out" / "fob-plate.json").read_text())
    assert [place["kind"] for place in plate["places"]] == ["fobs-1"] * 20
    assert "look at this first" in run.said
    document = json.loads((tmp_path / "out" / "fobs.json").read_text())
    assert [item["width_mm"] for item in document["items"]] == pytest.approx([29.801, 29.899, 30.044], abs=0.005)


# --- 1: done, with items that need a person ----------------------------------------------------------------------


def test_item_cut_by_the_border_is_done_with_code_1(tmp_path):
    cut = draw(tmp_path / "cut.png", [(20, (20, 25), 0)], [(washer(), (94, 25)), (washer(), (60, 25))])
    run = digitize("outline", cut, "--square", 20, "--format", "json", "--to", tmp_path)
    assert run.returncode == 1
    assert "LOOK" in run.said
    assert "border" in run.said
    assert (tmp_path / "cut.json").exists()


def test_nothing_beside_the_square_is_code_1_without_files(tmp_path):
    empty = draw(tmp_path / "empty.png", [(20, (20, 25), 0)], [])
    run = digitize("outline", empty, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 1
    assert "No item was found" in run.said
    assert not (tmp_path / "out").exists()


def test_density_other_than_the_square_says_is_pointed_out(scan, tmp_path):
    run = digitize("outline", scan, "--square", 21, "--format", "json", "--to", tmp_path)
    assert run.returncode == 1
    assert "5.0 %" in run.said or "5 %" in run.said


# --- 2: usage ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--square", "fifty"], "--square"),
        (["--square", "1x2x3"], "--square"),
        (["--square", "0"], "--square"),
        (["--square", "nan"], "--square"),
        (["--measured", "-3"], "--measured"),
        (["--dpi", "1e9"], "--dpi"),
        (["--tolerance", "0"], "--tolerance"),
        (["--clearance", "inf"], "--clearance"),
        (["--clearance", "-0.2"], "expected 0 to 20 mm"),
        (["--clearance", "50"], "expected 0 to 20 mm"),
        (["--clearance", "3cm"], "expected 0 to 20 mm"),
        (["-clearance", "0.2"], "-clearance has one dash: write --clearance."),
        (["-kerf=0.2"], "-kerf has one dash: write --kerf."),
        (["--kerf", "-1"], "--kerf"),
        (["--dust", "nan"], "--dust"),
        (["--background", "beige"], "--background"),
        (["--square-at", "12"], "--square-at"),
        (["--item-at", "a,b"], "--item-at"),
        (["--format", "docx"], "--format"),
        (["--format", ","], "--format"),
        (["--dxf-version", "2099"], "DXF"),
        (["--max-mpx", "-1"], "--max-mpx"),
        (["--tolerance", "thick"], "--tolerance"),
        (["--colour", "red"], "--colour"),
    ],
    ids=lambda value: "=".join(value) if isinstance(value, list) else "",
)
def test_options_that_cannot_be_meant_are_code_2(scan, tmp_path, options, named):
    given = options if "--square" in options else ["--square", "20", *options]
    run = digitize("outline", scan, *given, "--to", tmp_path / "out")
    assert run.returncode == 2, run.said
    assert named in run.said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("pair", [("a/tag.png", "b/tag.png"), ("tag.png", "tag.jpg"), ("Tag.png", "tag.tif")])
def test_pictures_of_the_same_name_are_refused_before_anything_is_done(scan, tmp_path, pair):
    pictures = [tmp_path / name for name in pair]
    for picture in pictures:
        picture.parent.mkdir(exist_ok=True)
        picture.write_bytes(scan.read_bytes())
    run = digitize("outline", scan, *pictures, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 2
    assert all(str(picture) in run.said for picture in pictures)
    assert not (tmp_path / "out").exists()


def test_a_name_that_looks_like_an_option_is_told_how_to_be_given(scan, tmp_path):
    (tmp_path / "-dash.png").write_bytes(scan.read_bytes())
    run = process("outline", "-dash.png", "--square", 20, cwd=tmp_path)
    assert run.returncode == 2
    assert "./-dash.png" in run.said
    again = digitize("outline", "./-dash.png", "--square", 20, "--format", "json", cwd=tmp_path)
    assert again.returncode == 0
    for other in (["--squire", "2.5"], ["-z", "0.5"], ["-z", "--", "-dash.png"]):
        assert "./-" not in digitize("outline", "x.png", *other, cwd=tmp_path).said


def test_no_picture_is_code_2():
    assert digitize("outline").returncode == 2


def test_unknown_command_is_code_2():
    assert process("outlien", "scan.png").returncode == 2


def test_card_refuses_what_it_cannot_draw(tmp_path):
    assert digitize("card", "--square", 400, "--to", tmp_path).returncode == 2
    assert digitize("card", "--paper", "a3", "--to", tmp_path).returncode == 2
    assert digitize("card", "--kind", "poster", "--to", tmp_path).returncode == 2
    assert digitize("card", "--format", "docx", "--to", tmp_path).returncode == 2
    assert not list(tmp_path.iterdir())


# --- 3: unreadable input, or nowhere to write --------------------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [b"", b"hello", b"\x89PNG\r\n\x1a\n", b"%PDF-1.4 nothing", b"\xff\xd8\xff\xe0 no jpeg"],
    ids=["empty", "text", "png head", "pdf head", "jpeg head"],
)
def test_what_is_no_picture_is_code_3(tmp_path, data):
    path = tmp_path / "scan.png"
    path.write_bytes(data)
    run = digitize("outline", path, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 3
    assert "scan.png" in run.said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", [("outline", "--square", 20), ("profile", "lens")])
def test_a_picture_that_may_not_be_read_is_code_3_with_our_sentence(scan, tmp_path, command):
    # who runs the tests may be allowed everything: the system's answers are those that others get
    refusing = (
        "import io, os, sys, errno\n"
        "real = os.open\n"
        "def refused(path, *rest, **more):\n"
        "    if str(path).endswith('scan.png'):\n"
        "        raise PermissionError(errno.EACCES, 'Permission denied', path)\n"
        "    return real(path, *rest, **more)\n"
        "os.open, os.access = refused, lambda *asked, **more: False\n"
        "from digitize.__main__ import main\n"
        "main()\n"
    )
    words = [sys.executable, "-c", refusing, *map(str, command), str(scan), "--to", str(tmp_path / "out")]
    run = subprocess.run(
        words, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False
    )
    assert run.returncode == 3, run.stderr
    assert "no permission to read the file" in run.stderr
    assert "Usage" not in run.stderr


def test_opencv_that_cannot_be_loaded_is_code_3(scan, tmp_path):
    (tmp_path / "cv2.py").write_text("raise ImportError('libGL.so.1: cannot open shared object file')")
    run = subprocess.run(
        [sys.executable, "-m", "digitize", "outline", str(scan), "--square", "20", "--to", str(tmp_path / "out")],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), str(ROOT)])},
        check=False,
    )
    assert run.returncode == 3, run.stderr
    assert "libgl1" in run.stderr
    assert not (tmp_path / "out").exists()


def test_truncated_picture_is_code_3(scan, tmp_path):
    path = tmp_path / "half.png"
    path.write_bytes(scan.read_bytes()[: scan.stat().st_size // 2])
    run = digitize("outline", path, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 3
    assert not (tmp_path / "out").exists()


def test_missing_file_and_folder_are_code_3(tmp_path):
    assert digitize("outline", tmp_path / "none.png", "--square", 20).returncode == 3
    assert digitize("outline", tmp_path, "--square", 20).returncode == 3


def test_too_many_pixels_are_code_3_and_the_option_is_named(scan, tmp_path):
    run = digitize("outline", scan, "--square", 20, "--max-mpx", 0.01, "--to", tmp_path / "out")
    assert run.returncode == 3
    assert "--max-mpx" in run.said


def test_file_of_others_is_refused_and_forced(scan, tmp_path):
    mine = tmp_path / "scan.dxf"
    mine.write_text("drawn by hand")
    run = digitize("outline", scan, "--square", 20, "--to", tmp_path)
    assert run.returncode == 3
    assert "scan.dxf" in run.said
    assert "--force" in run.said
    assert mine.read_text() == "drawn by hand"
    assert [p.name for p in tmp_path.iterdir()] == ["scan.dxf"]
    assert digitize("outline", scan, "--square", 20, "--to", tmp_path, "--force").returncode == 0
    assert mine.read_bytes() != b"drawn by hand"


@pytest.mark.parametrize("force", [(), ("--force",)])
@pytest.mark.parametrize("as_link", [False, True])
def test_the_picture_itself_is_never_overwritten(scan, tmp_path, force, as_link):
    # a scanner's PDF whose results go beside it: scan.pdf would be both
    import pikepdf
    from PIL import Image

    Image.open(scan).save(tmp_path / "scan.pdf", resolution=200, quality=95)
    with pikepdf.open(tmp_path / "scan.pdf") as pdf:
        assert len(pdf.pages) == 1
    before = (tmp_path / "scan.pdf").read_bytes()
    picture = tmp_path / "scan.pdf"
    if as_link:
        (tmp_path / "in").mkdir()
        picture = tmp_path / "in" / "scan.pdf"
        picture.symlink_to(tmp_path / "scan.pdf")
    run = digitize("outline", picture, "--square", 20, "--to", tmp_path, *force)
    assert run.returncode == 3
    assert "is the picture itself" in run.said
    assert (tmp_path / "scan.pdf").read_bytes() == before
    assert not (tmp_path / "scan.json").exists()
    assert digitize("outline", picture, "--square", 20, "--format", "json", "--to", tmp_path, *force).returncode == 0


def test_own_files_are_written_again_unless_changed(scan, tmp_path):
    command = ("outline", scan, "--square", 20, "--format", "svg", "--to", tmp_path)
    assert digitize(*command).returncode == 0
    assert digitize(*command, "--tolerance", 0.05).returncode == 0
    svg = tmp_path / "scan.svg"
    svg.write_text(svg.read_text().replace("<svg", "<!-- my change --><svg", 1))
    assert digitize(*command).returncode == 3


def test_folder_that_is_a_file_is_code_3(scan, tmp_path):
    (tmp_path / "out").write_text("")
    run = digitize("outline", scan, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 3


# --- 4: no trustworthy scale -------------------------------------------------------------------------------------


def test_no_reference_is_code_4_and_says_how_to_go_on(scan, tmp_path):
    run = process("outline", scan, "--to", tmp_path / "out")
    assert run.returncode == 4
    for word in ("digitize card", "--square", "--dpi 200"):
        assert word in run.said
    assert not (tmp_path / "out").exists()


def test_no_square_in_the_picture_is_code_4(tmp_path):
    alone = draw(tmp_path / "alone.png", [], [(washer(), (50, 25))])
    run = digitize("outline", alone, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 4
    assert "No reference square was found" in run.said


def test_dpi_stands_in_for_a_reference_with_a_large_uncertainty(scan, tmp_path):
    run = digitize("outline", scan, "--dpi", 200, "--format", "json", "--json", "--to", tmp_path)
    assert run.returncode in (0, 1)
    item = json.loads(run.stdout)["items"][-1]
    assert item["width_mm"] == pytest.approx(24, abs=0.02)
    assert item["uncertainty_mm"]["length_k2"]["per_metre"] > 10


def test_several_squares_are_listed_and_none_is_picked(tmp_path):
    two = draw(tmp_path / "two.png", [(20, (17, 25), 0), (22, (47, 25), 10)], [(washer(), (80, 25))])
    run = digitize("outline", two, "--square", 20, "--to", tmp_path / "out")
    assert run.returncode == 4
    assert "--square-at" in run.said
    assert "20.0 x 20.0 mm" in run.said
    assert "22.0 x 22.0 mm" in run.said
    assert not (tmp_path / "out").exists()
    place = f"{17 * 200 / 25.4:.0f},{25 * 200 / 25.4:.0f}"
    chosen = digitize(
        "outline", two, "--square", 20, "--square-at", place, "--format", "json", "--to", tmp_path / "out"
    )
    assert chosen.returncode == 0
    items = json.loads((tmp_path / "out" / "two.json").read_text())["items"]
    assert sorted(item["width_mm"] for item in items)[-1] == pytest.approx(24, abs=0.02) or len(items) == 2


def test_square_cut_by_the_border_is_code_4(tmp_path):
    for centre in 9.2, 4:
        cut = draw(tmp_path / "cut.png", [(20, (centre, 25), 0)], [(washer(), (60, 25))])
        run = digitize("outline", cut, "--square", 20, "--to", tmp_path / "out")
        assert run.returncode == 4
        assert "well inside the picture" in run.said


def test_rectangle_is_no_square(tmp_path):
    half = draw(tmp_path / "half.png", [], [(washer(), (65, 25)), (Shape(rectangle(20, 10)), (20, 25))])
    assert digitize("outline", half, "--square", 20, "--to", tmp_path / "out").returncode == 4
