"""An outline comes out again from its document alone, byte for byte; or what differs is said, and nothing written."""

import hashlib
import json
import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from digitize.again import outline_again
from digitize.cli.commands import app
from digitize.errors import DigitizeError, DocumentError, PictureError, UsageError
from digitize.run import Output, outline_file
from digitize.seal import BLANK, seal
from digitize.settings import Settings
from tests import same
from tests.batch_scans import scan

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
NAME, SQUARE = "tags-01.png", {"square": 25}
SHA256 = hashlib.sha256(scan()).hexdigest()
OWN = 'format = "digitize-cutting"\nversion = 1\n\n[router]\nclearance_mm = 0.17\ncutter_mm = 2.4\n'
ROUTER = {**SQUARE, "cut": "router", "cutting": "own.toml", "relief": "side"}
PROFILE = {"measured": 100, "lens": "phone.toml", "item_height_mm": 4}
BESIDE = {"square": 50, "item_height_mm": 3, "background_photo": "empty.jpg"}


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in a folder with all that the options name."""
    monkeypatch.chdir(tmp_path)
    Path("own.toml").write_text(OWN)
    shutil.copy(SAMPLES / "phone.toml", "phone.toml")
    return tmp_path


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Outline a scan once; the folder holds it and, in `out`, its files."""
    folder = tmp_path_factory.mktemp("written")
    (folder / NAME).write_bytes(scan())
    outline_file(folder / NAME, Settings.of(SQUARE), Output(folder=folder / "out", formats=("json", "dxf")))
    return folder


def contents(folder):
    return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


def resealed(data, old, new):
    """A document with something else in it and a mark that agrees."""
    changed = re.sub(rb"DIGITIZE_[0-9A-F]{16}", BLANK.encode(), data).replace(old.encode(), new.encode(), 1)
    assert changed.count(new.encode())
    return seal(changed)


@pytest.mark.parametrize(
    "options", [SQUARE, {**SQUARE, "symmetric": True, "tolerance_mm": 0.05}, ROUTER, PROFILE, BESIDE]
)
def test_all_files_come_out_again_byte_for_byte(here, options):
    if options is BESIDE:
        same._beside(here / "photo.jpg", item=True)
        same._beside(here / "empty.jpg", item=False)
    else:
        Path("photo.jpg").write_bytes((SAMPLES / "hanger.jpg").read_bytes() if options is PROFILE else scan())
    outline_file(Path("photo.jpg"), Settings.of(options), Output(folder=Path("out")))
    Path("own.toml").unlink()
    Path("phone.toml").unlink()  # their values are in the document
    report = outline_again(Path("out/photo.json"), Output(folder=Path("again")))
    assert len(report.written) == 6
    assert contents("again") == contents("out")


def test_the_document_tells_what_was_given_and_nothing_else(written, here):
    def told(options):
        outline_file(written / NAME, Settings.of(options), Output(folder=here, formats=("json",), force=True))
        return json.loads((here / "tags-01.json").read_text())["options"]

    assert told(SQUARE) == {"square_mm": [25.0, 25.0]}
    given = told({**ROUTER, "symmetric": True})
    assert (
        given.pop("cutting").items()
        >= {"way": "router", "clearance_mm": 0.17, "cutter_mm": 2.4, "relief": "side"}.items()
    )
    assert given == {"square_mm": [25.0, 25.0], "symmetric": True}


def test_the_picture_may_lie_beside_the_document_or_here(written, here):
    Path("out").mkdir()
    for place in ("out", "."):
        shutil.copy(written / "out" / "tags-01.json", "out")
        Path(place, NAME).write_bytes(scan())
        Path("out" if place == "." else ".", NAME).write_bytes(b"another")  # is passed over
        outline_again(Path("out/tags-01.json"), Output(folder=Path("again"), formats=("json", "dxf")))
        assert contents("again") == contents(written / "out")
        shutil.rmtree("again")


def test_a_document_of_one_item_of_several_comes_out_as_one(here):
    shutil.copy(SAMPLES / "fobs.jpg", "fobs.jpg")
    files = Output(folder=Path("out"), formats=("json",), separate=True)
    outline_file(Path("fobs.jpg"), Settings.of({"square": 30, "tolerance_mm": 0.1}), files)
    outline_again(Path("out/fobs-2.json"), Output(folder=Path("again"), formats=("json",)))
    assert sorted(contents("again")) == ["fobs-1.json", "fobs-2.json", "fobs-3.json"]
    assert contents("again") == contents("out")


def test_a_printed_document_comes_out_again(written, here):
    Path(NAME).write_bytes(scan())
    Path("b.png").write_bytes(scan())
    shown = CliRunner().invoke(app, ["outline", NAME, "b.png", "--square", "25", "--format", "dxf", "--json"])
    Path("line.json").write_text(shown.stdout.splitlines()[0] + "\n")
    outline_again(Path("line.json"), Output(folder=Path("again"), formats=("json", "dxf")))
    assert contents("again") == contents(written / "out")


REFUSED = [
    ("this is no outline document", DocumentError, lambda data: b"words"),
    ("was changed since digitize wrote it", DocumentError, lambda data: data.replace(b"tags-01-1", b"tags-01-9")),
    (
        "written by digitize 0.0.9, this is",
        DocumentError,
        lambda data: resealed(data, "digitize 0.1.0", "digitize 0.0.9"),
    ),
    ("--colour|colour is no option", UsageError, lambda data: resealed(data, '"square_mm"', '"colour"')),
    ("options cannot be used: --square", UsageError, lambda data: resealed(data, "[25.0, 25.0]", '"wide"')),
    ("is not the picture", PictureError, lambda data: resealed(data, SHA256, "0" * 64)),
    (
        r"first that differs is tolerance_mm: 0\.03 in the document, 0\.02 now",
        DocumentError,
        lambda data: resealed(data, '"tolerance_mm": 0.02', '"tolerance_mm": 0.03'),
    ),
    (
        r"first that differs is items\[0\]\.width_mm: 1\d+\.\d+ in the document, \d+\.\d+ now",
        DocumentError,
        lambda data: resealed(data, '"width_mm": ', '"width_mm": 1'),
    ),
    (
        "is neither beside it nor in the working folder",
        PictureError,
        lambda data: resealed(data, NAME, "b.png"),
    ),
    (
        "photo without items gone.jpg is neither",
        PictureError,
        lambda data: resealed(
            data, '"options": {', '"options": {"background_photo": {"file": "gone.jpg", "sha256": "%s"}, ' % ("0" * 64)
        ),
    ),
    (
        "background_photo should tell a file",
        UsageError,
        lambda data: resealed(data, '"options": {', '"options": {"background_photo": "gone.jpg", '),
    ),
]


@pytest.mark.usefixtures("made_once")
@pytest.mark.parametrize(("said", "kind", "change"), REFUSED, ids=[said for said, _, _ in REFUSED])
def test_what_cannot_come_out_again_is_refused_and_nothing_written(written, here, said, kind, change):
    Path(NAME).write_bytes(scan())
    Path("doc.json").write_bytes(change((written / "out" / "tags-01.json").read_bytes()))
    with pytest.raises(kind, match=said) as caught:
        outline_again(Path("doc.json"), Output(folder=Path("again")))
    assert "doc.json" in str(caught.value)
    assert not Path("again").exists()


def test_a_changed_picture_is_refused(written, here):
    shutil.copy(written / "out" / "tags-01.json", ".")
    Path(NAME).write_bytes(scan() + b"\0")
    with pytest.raises(PictureError, match="another or a changed one: its SHA-256 begins with") as caught:
        outline_again(Path("tags-01.json"), Output(folder=Path("again")))
    assert SHA256[:12] in str(caught.value)
    assert not Path("again").exists()


def test_documents_that_cannot_be_opened_are_refused(here):
    for name in ("nix.json", ".", "a\0b", "n" * 5000):
        with pytest.raises(DigitizeError, match="cannot be read"):
            outline_again(Path(name), Output(folder=Path("again")))


@pytest.mark.usefixtures("made_once")
@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--again", "DOC", "--to", "again", "--format", "json"], 0, "wrote again/tags-01.json"),
        (["--again", "DOC", "--to", "again", "--square", "25"], 2, "given: --square."),
        (["--again", "DOC", "--to", "again", "--ideal"], 2, "given: --ideal."),
        (["--again", "DOC", "--to", "again", "--flatbed"], 2, "given: --camera."),
        (
            ["--again", "DOC", "--to", "again", "--cut", "laser", "--profile", "phone.toml"],
            2,
            "given: --cut, --profile.",
        ),
        (["--again", "DOC", NAME, "--to", "again"], 2, "give no other"),
        (["--again", "nix.json", "--to", "again"], 2, "cannot be read"),
        (["--again", NAME, "--to", "again"], 3, "no outline document"),
        (["--to", "again"], 2, "No picture was given"),
    ],
)
def test_the_command(written, here, words, code, said):
    Path(NAME).write_bytes(scan())
    document = str(written / "out" / "tags-01.json")
    done = CliRunner().invoke(app, ["outline", *(document if word == "DOC" else word for word in words)])
    assert done.exit_code == code, done.stderr
    assert said in done.stderr
    assert Path("again").exists() == (code == 0)
