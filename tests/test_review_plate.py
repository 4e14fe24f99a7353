"""The plate on the page: the same bytes as the commands', pockets moved by hand, what stays, what is refused."""

import io
import json
import re
import shlex
import time
import zipfile
from dataclasses import replace

import pytest

from digitize.options import file_columns
from digitize.parameters import declared
from digitize.plate.asked import PlateAsked, TemplateAsked
from digitize.records import Usual
from digitize.review.plate.form import GROUPS, LABELS, OF_ROWS, OF_TEMPLATE, OWN, fields, step_on_plate, words_on_plate
from digitize.review.plate.kept import NAME
from digitize.review.shelf import Shelf
from digitize.review.work import Work
from digitize.words.of_plate import OF_PLATE
from tests.test_cli import digitize, draw, washer
from tests.test_review import AN_OPTION, SAME, asked, page_of, sentences

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
ART = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="30mm" height="30mm" viewBox="0 0 30 30">'
    b'<rect width="30" height="30"/></svg>'
)


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """Two washers of 24 and 18 mm beside a square of 20 mm."""
    path = tmp_path_factory.mktemp("scan") / "scan.png"
    return draw(path, [(20, (20, 25), 5)], [(washer(), (52, 25)), (washer(18.0), (82, 25))])


@pytest.fixture(scope="module")
def served(scan):
    """The page's client, and the key of its one picture."""
    shelf = Shelf(400.0)
    shelf.add([scan])
    page = page_of(Work(asked(square_mm="20", clearance_mm="0.2"), shelf))
    yield page, next(iter(shelf.entries))
    shelf.clear()


def ask(page, **wish):
    """Ask for a plate; every one stands for itself."""
    seen = page.get("/plate").json()["seen"]
    return page.post("/plate/ask", json={"seen": seen, **wish}, headers=SAME)


def of(key, *numbers, **words):
    return {"items": [[key, f"scan-{number}"] for number in numbers], "words": {"bed_mm": "100x80", **words}}


def unzipped(answer):
    assert answer.status_code == 200, answer.text
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def by_command(page, scan, folder, given):
    """What the commands write that the page names, run where its files lie."""
    folder.mkdir()
    written = {}
    for line in page.get("/plate").json()["command"]:
        _, command, *words = shlex.split(line)
        places = {"scan.png": scan, "scan.json": folder / "scan.json", "plate.json": folder / "plate.json"}
        words = [str(places.get(word, word)) for word in words]
        for name, data in given.items():
            (folder / name).write_bytes(data)
            words = [word.replace(name, str(folder / name)) for word in words]
        to = folder / command
        done = digitize(command, *words, "--to", to)
        assert done.returncode in (0, 1), done.said
        files = {path.name: path.read_bytes() for path in to.iterdir()}
        written[command] = files
        for name in ("scan.json", "plate.json"):
            if name in files:
                (folder / name).write_bytes(files[name])
    return written


def test_moved_turned_and_locked_pockets_are_those_of_the_table(served, scan, tmp_path):
    page, key = served
    rows = ask(page, **of(key, 1, 2)).json()
    first, *rest = rows["spots"]
    zero = rows["plate"]["zero"]
    moved = [first[0], zero[0] + 40.12346, zero[1] - 60.5, 33.3, True]  # zero is the top left corner
    told = ask(page, **of(key, 1, 2, holes="5,5,3.2 95,75,3.2", name="shelf"), by_hand=True, spots=[moved]).json()
    assert told["spots"] == [[first[0], 40.1235 + zero[0], pytest.approx(zero[1] - 60.5), 33.3, True]]
    assert told["sound"]
    files = unzipped(page.get("/plate/files.zip"))
    lines = files["shelf.lay.csv"].decode().splitlines()
    assert lines[1].startswith("1,scan-1,40.1235,60.5,33.3,")
    given = {"shelf.lay.csv": files["shelf.lay.csv"]}
    assert files == by_command(page, scan, tmp_path / "own", given)["plate"]
    kept = ask(page, **of(key, 1, 2), spots=[moved, *rest]).json()  # rows anew: only what is locked stays
    assert kept["spots"][0][1:4] == [pytest.approx(moved[1], abs=1e-4), pytest.approx(moved[2]), 33.3]
    assert [one[4] for one in kept["spots"]].count(True) == 1
    assert kept["sound"]
    assert kept["conflicts"] == []  # what of the rows was in its way is not laid
    assert 1 < len(kept["spots"]) <= len(rows["spots"])
    few = ask(page, **of(key, 1, 2), counts={"scan-1": 2, "scan-2": 0}).json()
    assert [one[0] for one in few["spots"]] == ["scan-1", "scan-1"]
    assert (
        unzipped(page.get("/plate/files.zip"))
        == by_command(
            page, scan, tmp_path / "few", {"plate.lay.csv": unzipped(page.get("/plate/files.zip"))["plate.lay.csv"]}
        )["plate"]
    )


def test_the_template_with_artwork_is_the_commands_byte_for_byte(served, scan, tmp_path):
    page, key = served
    ask(page, **of(key, 1, 2, rows="1", thickness_mm="3"))
    sent = page.post("/plate/artwork", params={"name": "../a.svg"}, content=ART, headers=SAME)
    assert (sent.status_code, sent.json()["name"]) == (201, "_a.svg")
    wish = {
        **of(key, 1, 2, rows="1", thickness_mm="3", fit="cover", only="1-2"),
        "arts": {"scan-1": sent.json()["key"]},
    }
    told = ask(page, **wish).json()
    assert told["arts"][wish["arts"]["scan-1"]] == "_a.svg"
    files = unzipped(page.get("/plate/template.zip"))
    assert b"<svg" in files["plate.template.svg"]
    own = by_command(page, scan, tmp_path / "own", {"_a.svg": ART})
    assert files == own["template"]
    plate = unzipped(page.get("/plate/files.zip"))
    assert set(plate) > {"plate.json", "plate.lay.csv", "plate.png", "plate.cut.dxf", "plate.draft.pdf"}
    assert plate == own["plate"]  # rows, without a table
    refused = page.post("/plate/artwork", params={"name": "a.txt"}, content=b"abc", headers=SAME)
    assert (refused.status_code, "no artwork" in refused.json()["error"]) == (422, True)


def test_what_is_wrong_is_told_pocket_by_pocket_while_one_is_moved(served):
    page, key = served
    told = ask(page, **of(key, 1, 2, web_mm="4")).json()
    wide = 24.4  # the washer and its clearance
    spots = [["scan-1", 20, 40, 0, False], ["scan-1", 20 + wide + 2.5, 40, 0, False], ["scan-1", 95, 40, 0, False]]
    found = page.post("/plate/check", json={"spots": [*spots, ["scan-2", 80, 40, 0, False]]}, headers=SAME).json()
    by_what = {one["what"]: one for one in found["conflicts"]}
    assert by_what["over"]["pockets"] == [3]
    assert by_what["over"]["mm"] == pytest.approx(95 + wide / 2 - 100, abs=0.02)
    assert by_what["overlap"]["pockets"] == [3, 4]
    (thin,) = (one for one in found["conflicts"] if one["what"] == "thin" and one["pockets"] == [1, 2])
    assert thin["mm"] == pytest.approx(2.5, abs=0.02)
    edge = 20 + wide / 2
    assert sorted(x for x, _ in thin["between"]) == pytest.approx([edge, edge + 2.5], abs=0.05)
    assert page.get("/plate").json()["seen"] == told["seen"]  # nothing was asked for
    bad = ask(page, **of(key, 1), by_hand=True, spots=[["scan-1", 95, 40, 0, False]]).json()
    assert not bad["sound"]
    refused = page.get("/plate/files.zip")
    assert (refused.status_code, "over the right edge" in refused.json()["error"]) == (422, True)


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        ({"words": {"bed_mm": "wide"}}, "“Bed”"),
        ({"words": {"bed_mm": None}}, "“Bed” 305x458"),
        ({"words": {"rows": "3", "as_many_as_fit": True}}, "“As many as fit, by shape” chooses"),
        ({"words": {"insert_mm": "30x30"}}, "is no option of this page"),
        ({"words": {"margin_mm": "45"}}, "smaller “Margin”"),
        ({"words": {"holes": "1,2"}}, "“Holes for pins, screws” 1,2: expected x and y"),
        ({"items": [["none", "scan-1"]]}, "not here any more"),
        ({"items": []}, "Nothing lies on the plate"),
        ({"spots": [["scan-1", 1, 2]]}, "no plate"),
        ({"spots": [["scan-1", 1, "2", 0, False]]}, "three numbers"),
        ({"spots": [["scan-1", 1, 1e9, 0, False]]}, "three numbers"),
        ({"by_hand": True, "spots": [["other", 1, 1, 0, False]]}, "is for other, which is not on the plate"),
        ({"counts": {"scan-1": -1}}, "whole number"),
    ],
)
def test_what_cannot_be_meant_is_said_in_the_fields_words(served, wish, says):
    page, key = served
    words = {"bed_mm": "100x80", **wish.get("words", {})}
    answer = ask(page, **{"items": [[key, "scan-1"]], **wish, "words": words})
    told = answer.json().get("why") if answer.status_code == 200 else answer.json()["error"]
    assert answer.status_code in (200, 422)
    assert says in told
    assert "--" not in told


def test_a_tab_that_has_not_seen_the_last_plate_writes_nothing_over(served):
    page, key = served
    told = ask(page, **of(key, 1)).json()
    ask(page, **of(key, 2))
    late = page.post("/plate/ask", json={"seen": told["seen"], **of(key, 1)}, headers=SAME)
    assert late.status_code == 412
    assert page.get("/plate").json()["wish"]["items"] == [[key, "scan-2"]]


def test_a_correction_of_the_picture_is_on_the_plate_too(served):
    page, key = served
    ask(page, **of(key, 1))
    before = page.get("/plate").json()["plate"]["kinds"][0]["pocket"]
    sent = page.post(f"/pictures/{key}/outline", json={"words": {"clearance_mm": "0.5"}}, headers=SAME)
    assert sent.status_code == 200
    after = page.get("/plate").json()["plate"]["kinds"][0]["pocket"]
    page.post(f"/pictures/{key}/outline", json={"words": {"clearance_mm": "0.2"}}, headers=SAME)
    wide = [max(one for ring in rings for one in ring[::2]) for rings in (before, after)]
    assert wide[1] - wide[0] == pytest.approx(0.3, abs=0.01)


def test_every_option_of_a_plate_is_on_the_page_or_left_out_by_name():
    of_heights = {"pocket_depth_mm", "base_mm", "head_mm"}  # with --item-thickness, on the command line
    of_inserts = {"insert_mm", "insert_room_mm", "insert_kerf_mm"}
    offered = {key for keys in GROUPS.values() for key in keys}
    assert declared(PlateAsked).keys() - offered == of_heights | of_inserts
    assert declared(TemplateAsked).keys() == set(OF_TEMPLATE)
    assert not file_columns(PlateAsked)
    assert set(LABELS) == offered | set(OF_TEMPLATE)
    assert len({*LABELS.values(), *OWN.values()}) == len(LABELS) + len(OWN)
    assert set(OF_ROWS) < offered
    told = [one["label"] + one["help"] for one in fields()]
    assert [one for one in told if "--" in one] == []
    assert words_on_plate("say --cut from") == "set “Way of cutting” from"  # the picture's own


def test_no_sentence_of_a_plate_speaks_of_options():
    other_commands = ("plate/printer.py", "plate/unrolled.py", "plate/inserts.py", "write/plate/crosses.py")
    rooms = ("plate/", "run_plate", "write/plate/", "write/artwork/")
    told = [
        one
        for name, one in sentences(())
        if name.startswith(rooms) and name not in other_commands and " " in one.strip() and AN_OPTION.search(one)
    ]
    assert len(told) > 25
    assert [one for one in told if re.search("--[a-z]", words_on_plate(one))] == []
    assert [row.code for row in OF_PLATE if "--" in step_on_plate(row.code, row.step)] == []


# --- a plate of an earlier visit ------------------------------------------------------------------------------------


def visited(state, *pictures, to=None):
    """A page that was begun with these pictures, as if by a process of its own; and their keys."""
    shelf = Shelf(400.0)
    shelf.add(pictures)
    work = Work(replace(asked(to=to, square_mm="20", clearance_mm="0.2"), aside=state), shelf)
    return page_of(work), list(shelf.entries)


@pytest.fixture
def other(tmp_path):
    return draw(tmp_path / "other.png", [(20, (20, 25), 5)], [(washer(21.0), (52, 25))])


@pytest.mark.parametrize("named", [False, True])
def test_a_plate_is_kept_as_it_is_laid_and_taken_up_when_its_pictures_are_there_again(scan, other, tmp_path, named):
    state, to = tmp_path / "state", tmp_path / "to" if named else None
    page, (first, second) = visited(state, scan, other, to=to)
    assert page.get("/plate").json()["before"] is None
    art = page.post("/plate/artwork", params={"name": "a.svg"}, content=ART, headers=SAME).json()["key"]
    spots = [
        ["scan-1", 40.5, 31.25, 33.3, True],
        ["scan-1", 75.0, 60.0, 0.0, False],
        ["other-1", 20.0, 64.0, 0.0, False],
    ]
    wish = {"items": [[first, "scan-1"], [second, "other-1"]], "words": {"bed_mm": "100x80", "rows": "1"}}
    told = ask(page, **wish, by_hand=True, spots=spots, arts={"other-1": art}).json()
    assert told["sound"], told
    files = [unzipped(page.get(f"/plate/{name}.zip")) for name in ("files", "template")]
    assert visited(state, scan, to=to)[0].get("/plate").json()["before"] is None  # one of the two is not there
    page, keys = visited(state, other, scan, to=to)  # the first is never told to end
    again = page.get("/plate").json()
    assert abs(again["before"] - time.time()) < 60
    assert again["wish"]["items"] == [[keys[1], "scan-1"], [keys[0], "other-1"]]
    for key in ("spots", "plate", "sound", "by_hand", "why", "conflicts"):
        assert again[key] == told[key], key
    assert again["wish"]["words"] == told["wish"]["words"]
    assert [*again["arts"].values()] == ["a.svg"]
    assert [unzipped(page.get(f"/plate/{name}.zip")) for name in ("files", "template")] == files
    after = ask(page, items=[[keys[1], "scan-2"]], words={"bed_mm": "100x80"}).json()
    assert after["before"] is None
    path = (to or state) / NAME
    kept = json.loads(path.read_bytes())
    assert sorted(len(one["pictures"]) for one in kept["plates"].values()) == [1, 2]  # of each set of pictures the last
    for one in kept["plates"].values():
        one["when"] = 10 * len(one["pictures"])
    path.write_text(json.dumps(kept))
    assert len(visited(state, other, scan, to=to)[0].get("/plate").json()["wish"]["items"]) == 2  # the later of both


def test_a_file_in_the_way_of_kept_plates_stays_and_that_is_said(scan, tmp_path):
    (tmp_path / NAME).write_text("mine")
    page, (key,) = visited(tmp_path, scan)
    told = ask(page, **of(key, 1)).json()
    assert told["trouble"].startswith("The plate is not kept when the page ends: ")
    assert told["sound"]
    assert (tmp_path / NAME).read_text() == "mine"
    (tmp_path / NAME).unlink()
    assert ask(page, **of(key, 1)).json()["trouble"] == ""


def test_a_plate_whose_picture_is_gone_from_the_disk_is_laid_and_that_it_is_not_kept_is_said(other, tmp_path):
    page, (key,) = visited(tmp_path, other)
    wish = {"items": [[key, "other-1"]], "words": {"bed_mm": "100x80"}}
    assert ask(page, **wish).json()["trouble"] == ""
    other.unlink()
    told = ask(page, **wish).json()
    assert told["trouble"].startswith("The plate is not kept when the page ends: ")
    assert told["sound"]


@pytest.mark.parametrize(
    ("change", "is_taken_up"),
    [
        ({"pictures": 3}, False),
        ({"pictures": [["0" * 64, 1, "scan.png"]]}, False),
        ({"wish": {"items": [[7, "scan-1"]], "arts": {}}}, False),
        ({"wish": {"items": [[0, "scan-1"]], "arts": {}, "spots": [["scan-1", "far", 0, 0, False]]}}, False),
        ({"when": "late"}, True),
    ],
)
def test_a_kept_plate_that_cannot_be_read_is_passed_over(scan, tmp_path, change, is_taken_up):
    page, (key,) = visited(tmp_path, scan)
    ask(page, **of(key, 1))
    told = json.loads((tmp_path / NAME).read_bytes())
    (name,) = told["plates"]
    told["plates"][name] |= change
    (tmp_path / NAME).write_text(json.dumps(told))
    again = visited(tmp_path, scan)[0].get("/plate").json()
    assert (again["before"] is not None, bool(again["wish"]["items"])) == (is_taken_up, is_taken_up)


def test_so_many_plates_are_kept_and_artwork_goes_with_the_last_that_has_it(scan, other, tmp_path, monkeypatch):
    monkeypatch.setattr("digitize.review.plate.kept._MOST", 1)
    page, (first, second) = visited(tmp_path, scan, other)
    art = page.post("/plate/artwork", params={"name": "a.svg"}, content=ART, headers=SAME).json()["key"]
    ask(page, **of(first, 1), arts={"scan-1": art})
    assert len([*tmp_path.glob("digitize-review.art-*")]) == 1
    ask(page, items=[[second, "other-1"]], words={"bed_mm": "100x80"})
    assert [*tmp_path.glob("digitize-review.art-*")] == []
    assert len(json.loads((tmp_path / NAME).read_bytes())["plates"]) == 1


# --- what a workshop's file sets ------------------------------------------------------------------------------------


def test_what_is_usual_for_plates_stands_in_the_fields_until_a_hand_changes_it(scan):
    usual = Usual("digitize.toml", "working", {"bed": "100x80", "zero": "top-right", "stagger": True, "label": "a b"})
    shelf = Shelf(400.0)
    shelf.add([scan])
    art = replace(usual, options={"fit": "cover"})
    begun = replace(asked(square_mm="20", clearance_mm="0.2"), plate=usual, template=art)
    page, key = page_of(Work(begun, shelf)), next(iter(shelf.entries))
    first = page.get("/plate").json()
    words = first["wish"]["words"]
    assert (words["bed_mm"], words["zero"], words["stagger"], words["label"]) == ("100x80", "top-right", True, "a b")
    assert words["fit"] == "cover"
    assert first["usual"]["plate-form"]["fields"] == ["bed_mm", "zero", "stagger", "label"]
    assert first["usual"]["template-form"] == {"file": "digitize.toml", "fields": ["fit"], "others": []}
    told = ask(page, items=[[key, "scan-1"]], words={**words, "zero": "bottom-left", "fit": "size"}).json()
    assert told["usual"]["plate-form"]["fields"] == ["bed_mm", "stagger", "label"]
    assert told["usual"]["template-form"] is None
    document = json.loads(unzipped(page.get("/plate/files.zip"))["plate.json"])
    assert document["usual"]["options"] == {"bed": "100x80", "stagger": True, "label": "a b"}
    anew = ask(page, items=[[key, "scan-1"]], words={}).json()  # as the page begins anew
    assert anew["usual"] == first["usual"]
    shelf.clear()
