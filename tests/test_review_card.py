"""Calipers and kept readings on the page's server: the answers of `digitize check`, the files of `profile card`."""

import datetime
import json
import math
from dataclasses import replace

import pytest

from digitize.cli.check import check_readings
from digitize.kept_cards import keep_card, kept_cards
from digitize.reading.picture import read_picture
from digitize.recipe.outline import outline_picture
from digitize.records import Contribution
from digitize.review.on_page import step_on_page, words_on_page
from digitize.review.shelf import Shelf
from digitize.review.shown import shown_result
from digitize.review.work import Work
from digitize.settings import Settings
from digitize.trust.asked import Readings
from digitize.words.of_check import OF_CHECK
from digitize.words.told import texts_of
from tests.test_cli import digitize, draw, washer
from tests.test_review import SAME, asked, page_of
from tests.test_words import fields_of

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
DRAWN_MM = 24.0  # washer, its hole 6 mm
INCH_MM = 25.4  # ISO 80000-3


@pytest.fixture(autouse=True)
def settings(tmp_path, monkeypatch):
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "settings"))
    return tmp_path / "settings"


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    scan = draw(tmp_path_factory.mktemp("scan") / "scan.png", [(20, (20, 25), 5)], [(washer(DRAWN_MM), (60, 25))])
    shelf = Shelf(400.0)
    shelf.add([scan])
    yield Work(asked(square_mm="20", caliper_error_mm="0.03"), shelf)
    shelf.clear()


@pytest.fixture
def page(work):
    return page_of(work)


def test_what_the_scale_leaves_unsure_holds_the_cameras_part_and_no_edge_above_the_glass(tmp_path):
    scan = draw(tmp_path / "scan.png", [(20, (20, 25), 5)], [(washer(DRAWN_MM), (60, 25))])
    made = outline_picture(read_picture(scan), Settings(square_mm=(20.0, 20.0), caliper_error_mm=0.03))
    (item,) = made.result.items
    lifted = Contribution("height along the sensor", length_per_mm=0.01, acts="with length")
    lens = Contribution("lens", length_mm=0.024, acts="with length")  # 0.2 mm in 100 of the 24 mm drawn (k = 2)
    print_ = Contribution("print", length_mm=0.5, acts="side by side")
    told = []
    for more in ((), (lifted, print_), (lens,)):
        stated = replace(item.uncertainty, budget=(*item.uncertainty.budget, *more))
        result = replace(made.result, items=(replace(item, uncertainty=stated),))
        told.append(shown_result(result, made.scale)["rests"]["of_100_k2_mm"])
    assert told[0] == told[1] == pytest.approx(item.uncertainty.length_per_metre_k2_mm / 10)
    assert told[2] == pytest.approx(math.hypot(told[0], 0.2), rel=0.003)


def check(page, readings, item=1):
    key = page.get("/known").json()["pictures"][0]["key"]
    return page.post(f"/pictures/{key}/check", json={"item": item, "readings": readings}, headers=SAME)


@pytest.mark.parametrize(
    ("read", "verdicts", "code"),
    [
        ({"length": "24,01", "width": "23.99", "hole 1": "6"}, ["agree"] * 3, None),
        ({"length": DRAWN_MM / INCH_MM, "width": DRAWN_MM / INCH_MM}, ["disagree"] * 2, "check-inch"),
        ({"length": "24.3", "width": "24.3", "hole 1": "6,3"}, ["disagree"] * 3, "check-unexplained"),
        ({"length": "24", "width": "24", "hole 1": "6,3"}, ["agree", "agree", "disagree"], "check-one-reading"),
    ],
)
def test_readings_are_held_against_the_outline_as_the_command_holds_them(work, page, read, verdicts, code):
    words = {name: str(mm) for name, mm in read.items()}
    answer = check(page, words).json()
    told = answer["check"]
    assert answer["faults"] == {}
    assert [one["verdict"] for one in told["readings"]] == verdicts
    assert [one["outline_mm"] for one in told["readings"]] == pytest.approx(
        [DRAWN_MM, DRAWN_MM, 6.0][: len(read)], abs=0.03
    )
    made = work.made(next(iter(work.shelf.entries.values())))
    mm = {name: float(word.replace(",", ".")) for name, word in words.items()}
    readings = Readings(length_mm=mm["length"], width_mm=mm["width"], caliper_error_mm=0.03)
    holes = [f"1={mm['hole 1']}"] if "hole 1" in mm else []
    lines, as_json, _ = check_readings(made.result, made.result.items[0], readings, holes, as_json=True)
    own = json.loads(as_json)
    assert told["readings"] == own["readings"]
    assert told["verdict"] == own["verdict"]
    assert (told["cause"] or {}).get("code") == code
    if code is None:
        assert told["sentence"] == lines[-1]
    else:
        assert told["sentence"] == words_on_page(own["cause"]["message"])
        assert told["cause"]["step"] == step_on_page(code, own["cause"]["step"])
        form = told["cause"]["told"]  # for the page's other language
        assert set(form["fields"]) == set(fields_of(texts_of(code)[form["form"]]))
        assert all(figure in told["sentence"] for figure in form["fields"].values())


def test_what_can_be_no_reading_is_said_at_it_and_the_others_count(page):
    answer = check(page, {"length": "wide", "width": "24,0", "box width": " "}).json()
    assert answer["faults"] == {"length": "wide: expected a number, 0.1 to 5000 mm."}
    assert [one["name"] for one in answer["check"]["readings"]] == ["width"]
    assert check(page, {}).json() == {"check": None, "faults": {}}


@pytest.mark.parametrize(
    ("readings", "item"),
    [
        *(({"length": "24"}, item) for item in (0, 2, True, "1", None)),
        *((readings, 1) for readings in (None, ["24"], {"length": 24}, {"length": "2" * 41}, {"hole 2": "6"})),
    ],
)
def test_what_the_page_never_sends_is_refused(page, readings, item):
    answer = check(page, readings, item)
    assert answer.status_code == 422
    assert answer.json()["error"].endswith(".")


def test_next_steps_after_calipers_name_fields_and_no_options():
    for row in OF_CHECK:
        told = step_on_page(row.code, row.step)
        assert "--" not in told, row.code
        assert "command line" not in told, row.code


def test_a_reading_is_kept_as_the_command_keeps_it_and_offered_with_its_age(page, settings, tmp_path, monkeypatch):
    today = datetime.date.today()
    keep_card("old", "53.7x53.9", today=today - datetime.timedelta(days=200))
    sent = {"name": "desk", "measured": "53,95x53.8", "caliper_error": "0,02"}
    answer = page.post("/cards", json=sent, headers=SAME)
    assert answer.status_code == 201
    listed = page.get("/cards").json()["cards"]
    assert listed == answer.json()["cards"]
    assert listed == [
        {"name": "desk", "measured": "53.95x53.8", "caliper_error": "0.02", "on": str(today), "days": 0, "old": False},
        {
            **{"name": "old", "measured": "53.7x53.9", "caliper_error": None},
            **{"on": str(today - datetime.timedelta(days=200)), "days": 200, "old": True},
        },
    ]
    monkeypatch.setenv("DIGITIZE_SETTINGS", str(tmp_path / "other"))
    words = ("--measured", "53,95x53.8", "--caliper-error", "0,02")
    assert digitize("profile", "card", "desk", *words).returncode == 0
    files = [folder / "cards" / "desk.toml" for folder in (settings, tmp_path / "other")]
    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({"name": "../desk", "measured": "53.9x53.8"}, "no name"),
        ({"name": "desk.toml/x", "measured": "53.9x53.8"}, "no name"),
        ({"name": " ", "measured": "53.9x53.8"}, "Say a name"),
        ({"name": "desk"}, "what calipers read"),
        ({"name": "desk", "measured": "wide"}, "“Card, as measured”"),
        ({"name": "desk", "measured": "53.9x53.8", "caliper_error": "9"}, "“Calipers' error”"),
        ({"name": ["desk"], "measured": "53.9x53.8"}, "no name"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_written(page, settings, sent, says):
    answer = page.post("/cards", json=sent, headers=SAME)
    assert (answer.status_code, says in answer.json()["error"]) == (422, True), answer.json()
    assert kept_cards() == []
    assert not settings.parent.joinpath("desk.toml").exists()
    assert [*settings.rglob("*.toml")] == []


def test_of_several_squares_each_is_named_by_its_place_and_one_that_is_pointed_at_is_taken(tmp_path):
    squares = [(20, (20, 25), 5), (15, (88, 25), 3)]
    scan = draw(tmp_path / "two.png", squares, [(washer(DRAWN_MM), (55, 25))])
    shelf = Shelf(400.0)
    shelf.add([scan])
    work = Work(asked(square_mm="20"), shelf)
    (entry,) = shelf.entries.values()
    told = work.outline(entry)
    assert told["result"] is None
    places = sorted(told["squares"])
    assert [x / 200 * 25.4 for x, _ in places] == pytest.approx([20, 88], abs=0.2)  # drawn at 200 dpi
    picked = work.outline(entry, {"square_at_px": "{},{}".format(*places[0])})
    assert picked["why"] is None
    (item,) = (one["size"] for one in picked["result"]["items"] if one["holes"])
    assert float(item.split()[0]) == pytest.approx(DRAWN_MM, abs=0.05)  # by the other square it would be 32
    shelf.clear()
