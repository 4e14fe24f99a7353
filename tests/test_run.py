"""From a picture file to files: what is written, under which names, and the table on screen."""

import json

import pytest

from digitize.errors import PictureError, ScaleError, UsageError, WriteError
from digitize.records import Finding
from digitize.run import FORMATS, Output, Report, findings_of, make_files, outline_file
from digitize.settings import Settings
from tests.made import fob, result
from tests.truth.flatbed import Scene, save_png
from tests.truth.shapes import Shape, circle, rectangle

SQUARE = Settings.of({"square": 12, "clearance": 0.2, "kerf": 0.18})


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """Two items beside a square, at 300 dpi."""
    made = Scene(60, 24, dpi_x=300, background=0.86, blur_px=0.8, noise_codes=1.5)
    made.add_square(12, (9, 12), 5)
    made.add_item(Shape(rectangle(16, 12, 2), (circle(4),)), (30, 12), 0, 0.1)
    made.add_item(Shape(circle(10)), (49, 12), 0, 0.2)
    path = tmp_path_factory.mktemp("scan") / "two things.png"
    save_png(path, made.render())
    return path


@pytest.mark.parametrize(
    ("text", "formats"),
    [("dxf", ("dxf",)), ("svg,dxf", ("dxf", "svg")), (" PNG , json,", ("json", "png")), ("dxf,dxf", ("dxf",))],
)
def test_formats_are_read_in_their_own_order(text, formats):
    assert Output(formats=text).formats == formats
    assert Output(formats=",".join(FORMATS)).formats == FORMATS


@pytest.mark.parametrize("text", ["", ",", "gif", "dxf,step"])
def test_unknown_formats_are_refused(text):
    with pytest.raises(UsageError, match="choose from json, dxf, svg, pdf, proof, png"):
        Output(formats=text)


def test_every_format_is_written_under_the_pictures_name(scan, tmp_path):
    report = outline_file(scan, SQUARE, Output(folder=tmp_path))
    names = [f"two things.{kind}" for kind in ("check.png", "dxf", "json", "pdf", "proof.pdf", "svg")]
    assert sorted(p.name for p in tmp_path.iterdir()) == names
    assert sorted(p.name for p in report.written) == names
    document = json.loads((tmp_path / "two things.json").read_text())
    assert [item["name"] for item in document["items"]] == ["two things-1", "two things-2"]
    assert document["items"][0]["width_mm"] == pytest.approx(16, abs=0.01)
    assert not report.needs_person


def test_separate_writes_a_file_an_item(scan, tmp_path):
    output = Output(folder=tmp_path, formats=("svg", "json"), separate=True)
    outline_file(scan, SQUARE, output)
    names = ["two things-1.json", "two things-1.svg", "two things-2.json", "two things-2.svg"]
    assert sorted(p.name for p in tmp_path.iterdir()) == names
    assert len(json.loads((tmp_path / "two things-2.json").read_text())["items"]) == 1


def test_files_of_others_are_not_overwritten(scan, tmp_path):
    (tmp_path / "two things.svg").write_text("a drawing of somebody's own")
    output = Output(folder=tmp_path, formats=("json", "svg"))
    with pytest.raises(WriteError):
        outline_file(scan, SQUARE, output)
    assert [p.name for p in tmp_path.iterdir()] == ["two things.svg"]
    assert "somebody's own" in (tmp_path / "two things.svg").read_text()
    outline_file(scan, SQUARE, Output(folder=tmp_path, formats=("json", "svg"), force=True))
    assert "somebody's own" not in (tmp_path / "two things.svg").read_text()


def test_the_same_picture_gives_the_same_bytes(scan, tmp_path):
    for name in ("one", "two"):
        outline_file(scan, SQUARE, Output(folder=tmp_path / name))
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


@pytest.mark.parametrize("kind", ["missing", "no scale", "rubbish"])
def test_nothing_is_written_when_it_fails(scan, tmp_path, kind):
    out = tmp_path / "out"
    if kind == "rubbish":
        scan = tmp_path / "rubbish.png"
        scan.write_bytes(b"no picture")
    path = tmp_path / "missing.png" if kind == "missing" else scan
    settings = Settings() if kind == "no scale" else SQUARE
    with pytest.raises(ScaleError if kind == "no scale" else PictureError):
        outline_file(path, settings, Output(folder=out))
    assert not out.exists() or not list(out.iterdir())


def test_another_stem_may_be_given(scan):
    from digitize.reading.picture import read_picture
    from digitize.recipe.outline import outline_picture

    picture = read_picture(scan)
    outlined = outline_picture(picture, SQUARE)
    files = make_files(picture, outlined, Output(folder=scan.parent, formats=("json", "png")), stem="lot 7")
    assert sorted(files) == ["lot 7.check.png", "lot 7.json"]
    assert files["lot 7.check.png"][:4] == b"\x89PNG"


# --- findings ----------------------------------------------------------------------------------------------------


def test_findings_come_with_the_name_of_what_they_belong_to():
    assert [(name, f.code) for name, f in findings_of(result())] == [
        ("lantern row 7.png", "two-items"),
        ("tag-1", "shadow-suspected"),
    ]


def test_a_person_is_needed_when_a_finding_says_so():
    assert Report(result(), ()).needs_person
    calm = result(fob(), findings=(Finding("remark", "all well", attention=False),))
    assert not Report(calm, ()).needs_person
    assert Report(result(fob(), findings=(Finding("look", "look at this"),)), ()).needs_person


def test_the_photo_of_the_background_is_read(scan, tmp_path):
    """A wrong name must not go unnoticed: the file is part of the recipe."""
    settings = Settings(square_mm=(15, 15), background_photo=str(tmp_path / "empty.jpg"))
    with pytest.raises(PictureError, match=r"empty\.jpg: no such file"):
        outline_file(scan, settings, Output(folder=tmp_path / "out"))
