"""What a workshop says once: usual options in a file, the card's reading under a name."""

import datetime
import json
from pathlib import Path

import pymupdf
import pytest
from typer.testing import CliRunner

from digitize.cli.commands import app
from digitize.errors import UsageError
from digitize.kept_cards import CardReading, keep_card, kept_cards, read_card
from digitize.records import Usual
from digitize.settings import Settings
from digitize.spoken import spoken
from tests.batch_scans import scan

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
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


def made_again(before, after, formats):
    """Outline while one thing is usual, and again by the document alone while another is."""
    usual(before)
    outlined()
    usual(after)
    done = run("outline", "--again", "out/tag.json", "--to", "again", "--format", formats)
    assert done.exit_code == 0, done.output


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


@pytest.mark.parametrize(
    ("text", "words", "set_"),
    [
        ("cut = 'laser'\nkerf = 0.18\nclearance = 0.3", "--cut router --cutter 3", "clearance 0.3"),
        ("cut = 'router'\ncutter = 3\nrelief = 'side'", "--cut laser", ""),
        ("cut-holes = true\nclearance = 0.3", "--cut former --plug-height 3", "clearance 0.3"),
        ("disc = 30", "--square 25", ""),
        ("square = 30", "--disc 25", ""),
        ("scanner = 'shelf'\ndisc = 30", "--item-height 3", ""),
        ("item-height = 3\nheight-within = 0.5", "--flatbed", ""),
        ("height-within = 0.5", "--item-height 3+-0.2", ""),
        ("bleed = 1", "--inset 2", ""),
    ],
)
def test_beside_the_command_line_what_cannot_stand_steps_back(text, words, set_):
    usual(text)
    done, _ = outlined(*words.split())
    lines = [line for line in done.output.splitlines() if line.startswith("from digitize.toml")]
    assert lines == ([f"from digitize.toml: {set_}"] if set_ else [])
    assert done.exit_code != 2, done.output


def test_beside_a_row_too_but_nothing_that_was_said_here():
    usual("square = 25\ncut = 'laser'\nkerf = 0.18")
    Path("list.csv").write_text("file,cut,cutter\ntag.png,router,3\n")
    words = ("batch", "--manifest", "list.csv", "--to", "night", "--format", "json", "--jobs", "1")
    done = run(*words)
    assert done.exit_code in (0, 1), done.output
    told_ = json.loads(Path("night/tag.json").read_text())
    assert told_["options"]["cutting"]["way"] == "router"
    assert told_["usual"]["options"] == {"square": "25"}
    refused = run(*words, "--kerf", "0.2", "--retry")
    assert "--kerf is for --cut laser" in refused.output


def test_the_users_own_file_holds_where_the_folder_has_none(here):
    usual("square = 25\ntolerance = 0.07", here / "settings")
    assert outlined()[1]["tolerance_mm"] == 0.07
    usual("square = 25")
    assert "tolerance_mm" not in outlined()[1]


def test_a_document_is_made_again_whatever_is_usual():
    made_again("square = 25", "square = 30\ntolerance = 0.5", "json")
    assert Path("again/tag.json").read_bytes() == Path("out/tag.json").read_bytes()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("squares = 25", "squares is no option"),
        ("square = 'wide'", "--square wide"),
        ("square = [[3]]", "expected a number, a text"),
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


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("profile", "card", "--measured", "53.9x53.8"), "Say a name to keep the reading under"),
        (("profile", "scanner", "--measured", "53.9x53.8"), "Say a name to keep the profile under"),
        (("profile", "printer", "--shift", "1=0.1,0.1"), "Say a name to keep the printer under"),
    ],
)
def test_what_is_to_be_kept_without_a_name_is_not_lost_in_silence(words, said):
    usual("square = 25\ncaliper-error = 0.03\n[plate]\nbed = '90x90'")
    done = run(*words)
    assert done.exit_code == 2
    assert said in done.output
    assert run(*words[:2]).exit_code == 0  # without it what is kept is listed


@pytest.mark.parametrize("words", ["90x53.8", "53.8x90", "5.39x5.38", "539x538", "85.6x54", "20x20"])
def test_a_reading_that_is_no_cards_is_refused(words, here):
    """The ring of the ring card is 54 mm wide, those of the mat 32.4, the check bars are 100 mm long."""
    done = run("profile", "card", "desk", "--measured", words)
    assert done.exit_code == 2
    assert f"--measured {words}: no card of ours has these sides." in done.output
    assert "is drawn 54 mm, one of the mat's 32.4 mm, a check bar is 100 mm long" in done.output
    assert kept_cards() == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("56x53.9", "LOOK  You measured 56 mm in X, but the ring's outer side is drawn 54 mm long: if the reading is"),
        ("93x53.8", "LOOK  You measured 93 mm in X, but the check bar is drawn 100 mm long"),
        ("45.2x45.1", "LOOK  That is a card with a ring of a side of its own."),
    ],
)
def test_a_reading_that_is_unlikely_is_kept_and_said(words, said):
    done = run("profile", "card", "desk", "--measured", words)
    assert done.exit_code == 1
    assert said in done.output
    assert read_card("desk").measured == words


@pytest.mark.parametrize("words", ["53.9x53.8", "53.9", "32.4x32.3", "100.1x99.9", "99.8x53.9", "54.9x53.1"])
def test_a_reading_of_any_card_as_it_comes_is_kept_without_a_word(words):
    done = run("profile", "card", "desk", "--measured", words)
    assert done.exit_code == 0
    assert "LOOK" not in done.output


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


# --- what the document tells of the file ------------------------------------------------------------------------


def told(path="out/tag.json"):
    return json.loads(Path(path).read_text()).get("usual")


def test_the_document_tells_what_the_file_set_and_nothing_that_was_said():
    usual('square = 25\nclearance = 0.2\nideal = true\npaper = "letter"')
    outlined()
    words = {"square": "25", "clearance": "0.2", "ideal": True, "paper": "letter"}
    assert told() == {"file": "digitize.toml", "folder": "working", "options": words}
    outlined("--clearance", "0.2", "--paper", "letter", "--ideal")
    assert told()["options"] == {"square": "25"}
    outlined("--clearance", "0.2", "--paper", "letter", "--ideal", "--square", "25")
    assert told() is None  # as where there is no file, and in documents of before


def test_the_document_tells_which_file_without_its_path(here):
    usual("square = 25", here / "settings")
    outlined()
    assert told() == {"file": "digitize.toml", "folder": "settings", "options": {"square": "25"}}
    assert str(here) not in Path("out/tag.json").read_text()


def test_a_usual_card_is_told_with_its_reading():
    run("profile", "card", "desk", "--measured", "53.9x53.8", "--caliper-error", "0.01")
    usual('square = 25\ncard = "desk"')
    outlined()
    card = {"card": "desk", "measured": "53.9x53.8", "caliper-error": "0.01"}
    assert told()["options"] == {"square": "25", **card}
    outlined("--card", "desk")
    assert told()["options"] == {"square": "25"}
    outlined("--measured", "54")
    assert told()["options"] == {"square": "25"}
    usual('square = 25\nmeasured = "54x54"\ncaliper-error = 0.02')
    done, options = outlined("--card", "desk")
    assert "from digitize.toml: square 25\n" in done.output
    assert (options["measured_mm"], options["caliper_error_mm"]) == ([53.9, 53.8], 0.01)
    assert told()["options"] == {"square": "25"}


def test_a_document_made_again_keeps_what_the_file_set():
    made_again("square = 25\nclearance = 0.2", "square = 30\nideal = true", "json,proof")
    assert told("again/tag.json")["options"] == {"square": "25", "clearance": "0.2"}
    with pymupdf.open("again/tag.proof.pdf") as pdf:
        assert "Set by digitize.toml: square 25, clearance 0.2." in " ".join(page.get_text() for page in pdf)


def test_several_pictures_and_a_batch_tell_it_and_a_rows_own_options_are_not_the_files():
    Path("second.png").write_bytes(scan(1, 80.0))
    usual("square = 25\nclearance = 0.2")
    run("outline", SCAN, "second.png", "--to", "out", "--format", "json")
    Path("list.csv").write_text(f"file,clearance\n{SCAN},\nsecond.png,0.2\n")
    done = run("batch", "--manifest", "list.csv", "--to", "night", "--format", "json", "--jobs", "1")
    assert done.exit_code == 0, done.output
    both = {"square": "25", "clearance": "0.2"}
    assert [told(f"out/{name}.json")["options"] for name in ("tag", "second")] == [both, both]
    assert [told(f"night/{name}.json")["options"] for name in ("tag", "second")] == [both, {"square": "25"}]
    assert Path("night/tag.json").read_bytes() == Path("out/tag.json").read_bytes()
    # where an option was said makes no other outline: nothing is made anew
    Path("digitize.toml").unlink()
    words = ("--square", "25", "--clearance", "0.2", "--format", "json", "--jobs", "1")
    done = run("batch", "--manifest", "list.csv", "--to", "night", *words)
    assert "0 worked on, 2 done before" in done.output
    assert told("night/tag.json")["options"] == both


def test_a_lot_takes_and_tells_the_usual_options_that_it_has_a_use_for():
    usual("square = 25\nclearance = 0.2\nkerf = 0.1\nmax-mpx = 100")
    outlined()
    done = run("lot", "out/tag.json", "--to", "lot", "--format", "json", "--kerf", "0.15")
    assert done.exit_code in (0, 1), done.output
    assert "from digitize.toml: clearance 0.2\n" in done.output
    document = json.loads(Path("lot/tag-lot.json").read_text())
    assert document["usual"]["options"] == {"clearance": "0.2"}
    pocket = document["items"][0]["pocket"]
    assert (pocket["clearance_mm"], pocket["kerf_mm"]) == (0.2, 0.15)


def test_what_a_person_changes_later_is_no_more_the_files():
    usual_ = Usual(
        "digitize.toml", "working", {"card": "desk", "measured": "53.9x53.8", "clearance": "0.2", "dpi": "300"}
    )
    settings = Settings.of({"measured_mm": (53.9, 53.8), "clearance_mm": 0.2, "dpi": 300, "usual": usual_})
    assert Settings.of(json.loads(json.dumps(settings.given()))) == settings
    said = spoken(settings)

    def left(**words):
        return list(said.settings({**said.words, **words}).usual.options)

    assert left() == left(clearance_mm="0.20", ideal=True) == ["card", "measured", "clearance", "dpi"]
    assert left(clearance_mm="0.3") == ["card", "measured", "dpi"]
    assert left(measured_mm="54") == ["clearance", "dpi"]
    assert said.settings(dict.fromkeys(said.words)).usual is None
    with pytest.raises(UsageError, match="a workshop's file set"):
        Settings.of({"usual": {"file": "digitize.toml", "folder": "/home/mill", "options": {}}})


# --- plates, templates, calipers ------------------------------------------------------------------------------------


def plate_of_four(text, *words):
    """Outline, say what is usual, lay a plate; the command's end and the plate's document."""
    usual("square = 25\nclearance = 0.2")
    outlined()
    usual(text)
    done = run("plate", "out/tag.json", "--to", "plate", "--force", *words)
    written = Path("plate/plate.json")
    return done, json.loads(written.read_text()) if written.exists() else None


def test_what_is_usual_for_plates_is_taken_said_and_told_by_their_document(here):
    table = '[plate]\nbed = [100, 90]\nzero = "bottom-left"\nplate-hole = ["8,8,3", "92,8,3"]\nrows = 1\nformat = "svg"'
    done, told = plate_of_four(f"clearance = 0.9\n{table}")
    assert done.exit_code == 0, done.output
    line = "bed 100x90, zero bottom-left, plate-hole 8,8,3 92,8,3, rows 1, format svg"
    assert f"from digitize.toml: {line}\n" in done.output
    assert "clearance" not in done.output  # of pictures
    assert (told["bed_mm"], told["zero"]) == ([100.0, 90.0], "bottom-left")
    assert [(one["x_mm"], one["y_mm"]) for one in told["holes"]] == [(8.0, 8.0), (92.0, 8.0)]
    assert len({place["y_mm"] for place in told["places"]}) == 1
    assert not list(Path("plate").glob("*.pdf"))
    words = {"bed": "100x90", "zero": "bottom-left", "plate-hole": "8,8,3 92,8,3", "rows": "1", "format": "svg"}
    assert told["usual"] == {"file": "digitize.toml", "folder": "working", "options": words}
    usual('[plate]\nbed = "200x200"\nrows = 2')
    again = run("plate", "--again", "plate/plate.json", "--to", "again")
    assert again.exit_code == 0, again.output
    assert "from digitize.toml" not in again.output
    assert Path("again/plate.json").read_bytes() == Path("plate/plate.json").read_bytes()


@pytest.mark.parametrize(
    ("holes", "told_as", "places"),
    [
        ("[8, 8, 3.5]", "8,8,3.5", [(8.0, 8.0, 3.5)]),
        ("[[8, 8, 3], [92, 8, 3]]", "8,8,3 92,8,3", [(8.0, 8.0, 3.0), (92.0, 8.0, 3.0)]),
        ('"8,8,3"', "8,8,3", [(8.0, 8.0, 3.0)]),
    ],
)
def test_a_hole_of_three_numbers_is_one_hole_and_not_a_size(holes, told_as, places):
    done, told = plate_of_four(f'[plate]\nbed = [100, 90]\nzero = "bottom-left"\nplate-hole = {holes}\nitem = [1, 2]')
    assert done.exit_code == 0, done.output
    assert f"zero bottom-left, plate-hole {told_as}, item 1 2\n" in done.output
    assert [(one["x_mm"], one["y_mm"], one["diameter_mm"]) for one in told["holes"]] == places


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("bed", "305", "--bed 305: expected width x height; if both are 305, say 305x305."),
        ("plate", "80.5", "--plate 80.5: expected width x height; if both are 80.5, say 80.5x80.5."),
        ("corner-piece", "60", "--corner-piece 60: expected length x width; if both are 60, say 60x60."),
        ("insert", "4in", "--insert 4: expected width x height; if both are 4, say 4x4."),
    ],
)
def test_one_side_of_what_has_two_is_refused_on_the_command_line_and_in_the_file(name, value, said):
    usual("square = 25")
    done = run("plate", "no.json", f"--{name}", value)
    assert (done.exit_code, done.output) == (2, f"digitize: {said}\n")
    usual(f"[plate]\n{name} = {value if value[-1].isdecimal() else repr(value)}")
    done = run("plate", "no.json")
    assert (done.exit_code, said in done.output) == (2, True)


def test_a_square_bed_is_said_with_both_its_sides():
    done, told = plate_of_four('[plate]\nbed = "120x120"')
    assert (done.exit_code, told["bed_mm"]) == (0, [120.0, 120.0])
    assert outlined("--square", "25")[1]["square_mm"] == [25.0, 25.0]  # of which one says both, as the help says


def test_a_place_in_the_file_is_two_numbers_with_a_comma():
    usual("square = 25\nitem-at = [300, 220]")
    done, _ = outlined()
    assert "item-at 300,220\n" in done.output
    assert "No item was found at 300,220 px." in done.output


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "format = 'dxf'",
            "line 3 (format = 'dxf') says format a second time. The first says what this file is; which drawings are "
            "written is said on the command line, --format dxf,svg, of plates also below a line [plate].",
        ),
        (
            "[plate]\nformat = 'dxf'\nformat = 'svg'",
            "line 5 (format = 'svg') says format a second time. Each may stand",
        ),
        ("clearance = 0.2\nkerf = 0.1\nclearance = 0.3", "line 5 (clearance = 0.3) says clearance a second time."),
        ("clearance = 0,2", "line 3 (clearance = 0,2) is no TOML: "),
        ("square = 20\ncard = desk", "line 4 (card = desk) is no TOML: "),
        (
            "clearance = 0,2",
            'Numbers are written with a point (0.2), texts in quotes ("desk"), switches as true or false',
        ),
        ("clearence = 0.2", "clearence is no option for pictures. Is clearance meant? There are square, disc, "),
        ("[plate]\nweeb = 3", "weeb is no option of plate. Is web meant? There are "),
    ],
)
def test_a_line_that_cannot_be_is_named_with_what_to_write(text, said):
    usual(text)
    done = run(*(("plate", "no.json") if "weeb" in text else ("outline", SCAN)))
    assert done.exit_code == 2
    assert said in done.output
    assert "no TOML file" not in done.output


def test_the_files_own_format_is_not_listed_among_its_options():
    usual("clearence = 0.2")
    assert " max-mpx, separate, " in run("outline", SCAN).output


def test_of_plates_the_command_line_comes_first_and_what_cannot_stand_beside_it_steps_back():
    done, told = plate_of_four(
        '[plate]\nbed = "100x90"\nzero = "bottom-left"\nrows = 1\nweb = 7', "--bed", "90x80", "--gap", "6"
    )
    assert done.exit_code == 0, done.output
    assert told["bed_mm"] == [90.0, 80.0]
    assert told["usual"]["options"] == {"zero": "bottom-left", "rows": "1"}
    table = Path("plate/plate.lay.csv").read_text()
    Path("four.csv").write_text(table)
    done = run("plate", "out/tag.json", "--lay", "four.csv", "--to", "laid")
    assert done.exit_code == 0, done.output
    assert "from digitize.toml: bed 100x90, zero bottom-left, web 7\n" in done.output
    done = run("plate", "--grid", "--to", "grid")
    assert "from digitize.toml: bed 100x90, zero bottom-left\n" in done.output
    assert done.exit_code == 0, done.output


def test_what_is_usual_for_templates_and_walls_is_taken():
    done, _ = plate_of_four(
        '[plate]\nbed = "100x90"\n[template]\nfit = "cover"\nno-guides = true\n[unroll]\ndiameter = 80'
    )
    assert done.exit_code == 0, done.output
    done = run("template", "plate/plate.json", "--to", "art")
    assert "from digitize.toml: fit cover, no-guides\n" in done.output
    assert "--no-guides leaves the artwork alone" in done.output  # taken: there is no artwork
    done = run("unroll", "--length", "50", "--to", "wall")
    assert "Round: 251.33 mm" in done.output  # pi times 80
    assert done.exit_code == 0, done.output


def test_calipers_and_paper_are_the_same_for_every_command():
    usual('caliper-error = 0.25\npaper = "letter"\nsquare = 25')
    outlined()
    done = run("check", "out/tag.json", "--length", "1")
    assert "from digitize.toml: caliper-error 0.25\n" in done.output
    assert " 0.250 " in done.output
    assert " 0.100 " in run("check", "out/tag.json", "--length", "1", "--caliper-error", "0.1").output
    run("profile", "card", "desk", "--measured", "53.9x53.8")
    assert read_card("desk").caliper_error_mm == 0.25
    run("card", "--to", "sheet", "--format", "svg")
    assert [one.name for one in Path("sheet").iterdir()] == ["ring-50-letter.svg"]


@pytest.mark.parametrize(
    ("text", "command", "said"),
    [
        ("bed = '3x4'", "outline", "bed is no option for pictures"),
        ("[plate]\nbad = 3", "plate", "bad is no option of plate"),
        ("[plat]\nbed = 3", "outline", "[plat] is no table of options"),
        ("[plats]\nzero = 'top-left'", "plate", "[plats] is no table of options"),
        ("zero = 'top-left'\n[plate]\nbed = '90x90'", "plate", "zero stands above the tables"),
        ("[plate]\nbed = true", "plate", "bed = True: expected a number or a text"),
        ("[plate]\nstagger = 'yes'", "plate", "stagger = yes: expected true or false"),
        ("[plate]\nzero = {x = 1}", "plate", "expected a number, a text"),
        ("[plate]\nzero = 'middle'", "plate", "--zero middle"),
        ("[template]\ndocument = 'x'", "template", "document is no option of template"),
    ],
)
def test_a_table_that_cannot_be_meant_is_refused(text, command, said):
    usual(text)
    done = run(command, SCAN, "--to", "out")
    assert done.exit_code == 2
    assert said in done.output
    assert not Path("out").exists()
    assert run(command, "--help").exit_code == 0


def test_every_table_is_of_a_command_that_there_is():
    from digitize.cli.commands import _PLACES
    from digitize.cli.tables import _READS
    from digitize.cli.usual_file import TABLES

    assert {one.table for one in _READS.values() if one.table} == set(TABLES)
    assert {name for name in _READS if " " not in name} < set(_PLACES)


def test_the_page_takes_of_the_file_what_the_commands_take():
    from digitize.cli.from_documents import plate, template
    from digitize.cli.tables import table_of

    usual('[plate]\nbed = [100, 90]\nplate-hole = ["8,8,3", "92,8,3"]\n[template]\nno-guides = true')
    assert table_of(plate, "plate") == Usual(
        "digitize.toml", "working", {"bed": "100x90", "plate-hole": "8,8,3 92,8,3"}
    )
    assert table_of(template, "template") == Usual("digitize.toml", "working", {"no-guides": True})
    usual("[plate]\nbad = 3")
    with pytest.raises(UsageError, match="bad is no option of plate"):
        table_of(plate, "plate")
    usual("clearance = 0.2")
    assert table_of(plate, "plate") is None
