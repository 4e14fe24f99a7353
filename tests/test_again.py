"""An outline made again from its document alone: the same bytes, or a sentence that says what differs."""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from digitize.cli.commands import app

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
CASES = {
    "fobs.jpg": ["--square", "30", "--clearance", "0.2", "--kerf", "0.18"],
    "tag.jpg": ["--measured", "53.90x53.80", "--cut", "router", "--cutter", "3", "--notches", "2", "--symmetric"],
    "hanger.jpg": ["--measured", "100x100", "--profile", str(SAMPLES / "phone.toml"), "--item-height", "4+-0.2"],
}


def digitize(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def made(folder, name, *options):
    """Copy a sample into a folder, outline it there, and return the documents' folder."""
    folder.mkdir(exist_ok=True)
    shutil.copy(SAMPLES / name, folder)
    done = digitize("outline", folder / name, *options, "--to", folder)
    assert done.exit_code in (0, 1), done.stderr
    return folder / f"{Path(name).stem}.json"


@pytest.mark.parametrize("name", CASES)
def test_the_same_bytes_come_out_again(tmp_path, name):
    document = made(tmp_path / "first", name, *CASES[name])
    again = tmp_path / "again"
    done = digitize("outline", "--again", document, "--to", again)
    assert done.exit_code in (0, 1), done.stderr
    files = {path.name for path in again.iterdir()}
    assert {f"{Path(name).stem}.{end}" for end in ("json", "dxf", "svg", "pdf", "check.png")} <= files
    for path in again.iterdir():
        assert path.read_bytes() == (document.parent / path.name).read_bytes(), path.name


@pytest.fixture
def document(tmp_path):
    return made(tmp_path / "first", "fobs.jpg", "--square", "30", "--format", "json")


def test_values_of_a_file_are_not_needed_again(tmp_path):
    own = tmp_path / "mine.toml"
    assert digitize("cutting", "--to", own).exit_code == 0
    document = made(tmp_path / "first", "fobs.jpg", "--square", "30", "--cut", "laser", "--cutting", own)
    own.unlink()
    assert digitize("outline", "--again", document, "--to", tmp_path / "again").exit_code in (0, 1)
    assert (tmp_path / "again" / "fobs.dxf").read_bytes() == (document.parent / "fobs.dxf").read_bytes()


def refused(code, words, *given):
    done = digitize("outline", *given)
    assert done.exit_code == code, done.stderr
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_another_picture_of_that_name_is_refused(document, tmp_path):
    shutil.copy(SAMPLES / "case.jpg", document.parent / "fobs.jpg")
    refused(3, "another or a changed one", "--again", document, "--to", tmp_path / "again")
    (document.parent / "fobs.jpg").unlink()
    refused(3, "neither beside it nor in the working folder", "--again", document, "--to", tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_what_goes_beside_it_is_refused(document, tmp_path):
    refused(2, "give no other", document.parent / "fobs.jpg", "--again", document)
    refused(2, "given: --square", "--again", document, "--square", "31")
    refused(2, "No picture was given", "--to", tmp_path)


def test_a_changed_document_is_refused(document):
    text = document.read_text("utf-8")
    document.write_text(text.replace('"square_mm"', '"squore_mm"', 1), "utf-8")
    assert document.read_text("utf-8") != text
    refused(3, "was changed since digitize wrote it", "--again", document)
    document.write_text("{}", "utf-8")
    refused(3, "--again", "--again", document)
    refused(2, "cannot be read", "--again", document.parent / "none.json")
