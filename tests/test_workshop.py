"""What a workshop says once: usual options in a file, the card's reading under a name."""

import datetime
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.errors import UsageError
from digitize.kept_cards import CardReading, keep_card, kept_cards, read_card
from tests.batch_scans import scan

SCAN = "tag.png"
DAY = datetime.date(2026, 3, 1)


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """Work in a folder with a scan and a settings folder of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "settings"))
    (tmp_path / SCAN).write_bytes(scan(0, 80.0))
    return tmp_path


def run(*words):
    return CliRunner().invoke(app, list(map(str, words)))


def usual(text, folder=Path(".")):
    folder.mkdir(exist_ok=True)
    (folder / "digitize.toml").write_text(f'format = "digitize-workshop"\nversion = 1\n{text}\n')


def outlined(*words):
    done = run("outline", SCAN, "--to", "out", "--format", "json", "--force", *words)
    document = Path("out/tag.json")
    return done, json.loads(document.read_text())["options"] if document.exists() else None


def test_usual_options_are_taken_said_and_told_by_the_document():
    usual("square = 25\nclearance = 0.2\nideal = true")
    done, options = outlined()
    assert done.exit_code == 0, done.output
    assert "from digitize.toml: square 25, clearance 0.2, ideal" in done.output
    assert options["square_mm"] == [25.0, 25.0]
    assert options["ideal"] is True
    assert options["cutting"]["clearance_mm"] == 0.2


def test_the_command_line_comes_first_even_where_it_says_a_default():
    usual("square = 25\ntolerance = 0.05")
    assert outlined()[1]["tolerance_mm"] == 0.05
    done, options = outlined("--tolerance", "0.02")
    assert "tolerance_mm" not in options
    assert "tolerance" not in done.output


def test_the_users_own_file_holds_where_the_folder_has_none(here):
    usual("square = 25\ntolerance = 0.07", here / "settings")
    assert outlined()[1]["tolerance_mm"] == 0.07
    usual("square = 25")
    assert "tolerance_mm" not in outlined()[1]


def test_a_document_is_made_again_whatever_is_usual():
    usual("square = 25")
    outlined()
    usual("square = 30\ntolerance = 0.5")
    done = run("outline", "--again", "out/tag.json", "--to", "again", "--format", "json")
    assert done.exit_code == 0, done.output
    assert Path("again/tag.json").read_bytes() == Path("out/tag.json").read_bytes()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("squares = 25", "squares is no option"),
        ("square = 'wide'", "--square wide"),
        ("square = {x = 3}", "expected a number, a text"),
        ("square = ", "no TOML"),
    ],
)
def test_a_file_that_cannot_be_meant_is_refused(text, said):
    usual(text)
    done, options = outlined()
    assert done.exit_code == 2
    assert said in done.output
    assert options is None


def test_a_reading_is_kept_and_taken_by_its_name(here):
    done = run("profile", "card", "desk", "--measured", "53,90x53,80")
    assert done.exit_code == 0, done.output
    assert read_card("desk").measured == "53.9x53.8"
    assert (here / "settings" / "cards" / "desk.toml").exists()
    assert "desk: measured 53.9x53.8 mm" in run("profile", "card").output
    done, options = outlined("--card", "desk", "--square", "25")
    assert "card desk: measured 53.9x53.8 mm on" in done.output
    assert options["measured_mm"] == [53.9, 53.8]


def test_how_far_off_the_calipers_are_is_kept_with_the_reading():
    run("profile", "card", "desk", "--measured", "53.9x53.8", "--caliper-error", "0,01")
    assert (read_card("desk").caliper_error_mm, kept_cards()[0].measured) == (0.01, "53.9x53.8")
    done, options = outlined("--card", "desk", "--square", "25")
    assert "card desk: measured 53.9x53.8 ±0.01 mm on" in done.output
    assert options["caliper_error_mm"] == 0.01


def test_a_usual_card():
    run("profile", "card", "desk", "--measured", "53.9x53.8")
    usual('square = 25\ncard = "desk"')
    assert outlined()[1]["measured_mm"] == [53.9, 53.8]
    assert outlined("--measured", "54x54")[1]["measured_mm"] == [54.0, 54.0]


def test_an_old_reading_is_said():
    reading = CardReading("desk", "53.9x53.8", DAY)
    assert len(reading.lines(DAY + datetime.timedelta(days=180))) == 1
    assert "181 days ago" in reading.lines(DAY + datetime.timedelta(days=181))[1]


def test_a_reading_is_replaced_by_a_newer_one():
    keep_card("desk", "53.9", today=DAY)
    keep_card("desk", "53.8x53.7", today=DAY)
    assert [one.measured for one in kept_cards()] == ["53.8x53.7"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("outline", SCAN, "--card", "attic"), "no reading is kept"),
        (("outline", SCAN, "--card", "attic", "--measured", "54"), "give one of them"),
        (("profile", "card", "desk"), "Say what calipers read"),
        (("profile", "card", "../desk", "--measured", "54"), "no name for a card"),
        (("profile", "card", "desk", "--measured", "wide"), "--measured wide"),
        (("profile", "card", "desk", "--measured", "54", "--caliper-error", "2"), "--caliper-error 2"),
    ],
)
def test_what_cannot_be_meant_is_refused(words, said, here):
    done = run(*words)
    assert done.exit_code == 2
    assert said in done.output
    assert not (here / "desk.toml").exists()


def test_a_damaged_reading_is_refused(here):
    keep_card("desk", "53.9", today=DAY)
    path = here / "settings" / "cards" / "desk.toml"
    path.write_text(path.read_text().replace("measured_mm", "read_mm"))
    with pytest.raises(UsageError, match="missing or cannot be meant"):
        read_card("desk")
    assert kept_cards() == []
