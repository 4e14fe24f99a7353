"""The page's server: who is answered, what is refused, and the same bytes as the command's."""

import ast
import importlib.util
import io
import json
import re
import threading
import zipfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from digitize.errors import UsageError
from digitize.options import Said, file_columns
from digitize.parameters import declared
from digitize.records import Picture, Usual
from digitize.review.app import make_app
from digitize.review.asked import Asked
from digitize.review.form import GROUPS as FORM_GROUPS
from digitize.review.form import OFFERED, fields
from digitize.review.guard import Guard, Keys
from digitize.review.kept import NAME as KEPT
from digitize.review.kept import Kept
from digitize.review.on_page import LABELS, STEPS, step_on_page, words_on_page
from digitize.review.shelf import Shelf
from digitize.review.tiles import TILE, Pyramid, colour_at
from digitize.review.work import Work
from digitize.run import Output, make_of
from digitize.settings import Settings
from digitize.words.of_cutting import OF_CUTTING
from digitize.words.of_edges import OF_EDGES
from digitize.words.of_hand import OF_HAND
from digitize.words.of_items import OF_ITEMS
from digitize.words.of_picture import OF_PICTURE
from digitize.words.of_scale import OF_SCALE
from digitize.words.say import MESSAGES
from tests.test_cli import digitize, draw, washer

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
PAGE = Path(__file__).resolve().parents[1] / "digitize" / "review" / "page"
HERE = "127.0.0.1:8123"
SAME = {"origin": f"http://{HERE}"}


def asked(*, to=None, max_mpx=400.0, formats="json,dxf", **words) -> Asked:
    """What the command line says where it says these words."""
    recipe, files = (Said(group, {key: one.unsaid for key, one in declared(group).items()}) for group in GROUPS)
    plain = {key: one if isinstance(one, str | bool | None) else str(one) for key, one in recipe.words.items()}
    files = files.with_words({"formats": formats})
    output = files.made().into(to or Path("."))
    return Asked(recipe=Said(Settings, {**plain, **words}), files=files, output=output, max_mpx=max_mpx, to=to)


GROUPS = (Settings, Output)


def page_of(work: Work, *, cookie=True, base=f"http://{HERE}"):
    def unexpected(error):
        raise AssertionError("unexpected") from error

    keys = Keys()
    client = TestClient(
        make_app(work, authority=HERE, keys=keys, unexpected=unexpected), base_url=base, follow_redirects=False
    )
    if cookie:
        assert client.get("/enter", params={"key": keys.once}).status_code == 200
    client.keys = keys
    return client


@pytest.fixture(autouse=True, scope="module")
def settings_of_their_own(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DIGITIZE_SETTINGS", str(tmp_path_factory.mktemp("settings")))
        yield


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """Two washers beside a square of 20 mm."""
    path = tmp_path_factory.mktemp("scan") / "scan.png"
    return draw(path, [(20, (20, 25), 5)], [(washer(), (52, 25)), (washer(18.0), (82, 25))])


@pytest.fixture(scope="module")
def work(scan, tmp_path_factory):
    shelf = Shelf(400.0)
    shelf.add([scan])
    yield Work(asked(square_mm="20", to=tmp_path_factory.mktemp("to")), shelf)
    shelf.clear()


@pytest.fixture(scope="module")
def page(work):
    return page_of(work)


@pytest.fixture(scope="module")
def key(page):
    return page.get("/known").json()["pictures"][0]["key"]


@pytest.fixture
def fresh(work, scan):
    """The same picture with steps of its own."""
    work.shelf.add([scan])
    return list(work.shelf.entries)[-1]


def test_what_a_workshops_file_set_is_shown_and_told_until_a_hand_changes_it(scan, tmp_path):
    usual = Usual("digitize.toml", "working", {"square": "20", "camera": False, "clearance": "0.2", "format": "json"})
    said = asked(square_mm="20", taken_with=False, clearance_mm="0.2", formats="json", to=tmp_path)
    shelf = Shelf(400.0)
    shelf.add([scan])
    page = page_of(Work(replace(said, recipe=replace(said.recipe, usual=usual)), shelf))
    at = f"/pictures/{next(iter(shelf.entries))}"
    shown = page.post(f"{at}/outline", json={}, headers=SAME).json()["usual"]
    assert shown == {
        "file": "digitize.toml",
        "fields": ["square_mm", "taken_with", "clearance_mm"],
        "others": ["format"],
    }

    def told():
        page.post(f"{at}/write", json={}, headers=SAME)
        return json.loads((tmp_path / "scan.json").read_text())["usual"]["options"]

    assert told() == dict(usual.options)
    shown = page.post(f"{at}/outline", json={"words": {"clearance_mm": "0.25"}}, headers=SAME).json()["usual"]
    assert shown["fields"] == ["square_mm", "taken_with"]
    assert list(told()) == ["square", "camera", "format"]
    page.post(f"{at}/step", json={"by": -1}, headers=SAME)
    assert told() == dict(usual.options)


def test_what_is_found_is_told_by_form_and_figures_for_other_languages(page, fresh):
    words = {"cut": "laser", "clearance_mm": "8", "cut_holes": True}
    shown = page.post(f"/pictures/{fresh}/outline", json={"words": words}, headers=SAME).json()["result"]
    (small,) = (one for one in shown["said"] if one["code"] == "peg-too-small")
    assert small["message"] == "Holes too small for a peg, left out: both items."
    assert small["told"] == {"form": "together", "fields": {"who": "both items"}, "items": [1, 2], "of": 2}
    words = {"cut": None, "cut_holes": False, "clearance_mm": None, "kerf_mm": "0.2"}
    shown = page.post(f"/pictures/{fresh}/outline", json={"words": words}, headers=SAME).json()["result"]
    (none,) = (one for one in shown["said"] if one["code"] == "no-clearance")
    assert none["told"] == {"form": "text", "fields": {"kerf": "0.2"}, "items": [], "of": 2}


# --- who is answered (OWASP ASVS 4.0.3: 3.4, 4.2.2, 14.4, 14.5.2) -----


@pytest.mark.parametrize("path", ["/", "/known", "/page/main.js", "/pictures/x", "/none"])
def test_nobody_without_the_cookie_is_answered(work, path):
    stranger = page_of(work, cookie=False)
    assert stranger.get(path).status_code == 403
    assert stranger.get(path, headers=SAME).status_code == 403
    assert stranger.post(path, headers=SAME).status_code == 403
    stranger.cookies.set("digitize-8123", "x" * 43)
    assert stranger.get(path).status_code == 403


def test_the_address_opens_once(work):
    first = page_of(work, cookie=False)
    once = first.keys.once
    assert first.get("/enter", params={"key": "x"}).status_code == 403
    opened = first.get("/enter", params={"key": once})
    assert opened.status_code == 200
    said = opened.headers["set-cookie"]
    assert "HttpOnly" in said
    assert "SameSite=Strict" in said
    assert once not in opened.text
    assert first.get("/known").status_code == 200
    assert first.get("/enter", params={"key": once}).status_code == 200  # who is in already may come back
    first.cookies.clear()
    assert first.get("/enter", params={"key": once}).status_code == 403


@pytest.mark.parametrize(
    "told",
    [
        {"host": "workshop.example:8123"},  # a name bent to this machine
        {"host": "127.0.0.1"},
        {"host": "localhost:8123"},
        {"origin": "https://workshop.example"},
        {"origin": "null"},
        {"origin": f"https://{HERE}"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},  # another port of this machine
    ],
)
def test_another_host_or_origin_is_refused(page, key, told):
    assert page.get("/known").status_code == 200
    assert page.get("/known", headers=told).status_code == 403
    assert page.post(f"/pictures/{key}/step", json={"by": -1}, headers={**SAME, **told}).status_code == 403


def test_what_changes_something_needs_an_origin(page, key):
    assert page.post(f"/pictures/{key}/step", json={"by": 5}).status_code == 403
    assert page.post(f"/pictures/{key}/step", json={"by": 5}, headers=SAME).status_code == 422  # no step, but heard


@pytest.mark.parametrize("path", ["/", "/known", "/none", "/enter"])
def test_every_answer_has_the_policy(page, path):
    told = page.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in told["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert "unsafe" not in told["content-security-policy"]
    assert told["x-content-type-options"] == "nosniff"
    assert told["referrer-policy"] == "no-referrer"
    assert told["cache-control"] == "no-store"


def test_the_page_holds_no_script_or_style_of_its_own_text_and_fetches_nothing_from_elsewhere():
    text = (PAGE / "index.html").read_text("utf-8")
    assert " style=" not in text
    assert "<style" not in text
    assert all("src=" in part.split(">")[0] for part in text.split("<script")[1:])
    for path in PAGE.iterdir():
        told = path.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http://" not in told, path.name
        assert "https://" not in told, path.name
        assert "innerHTML" not in told, path.name


# --- what is refused ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/page/..%2F..%2Ferrors.py",
        "/page/%2e%2e/app.py",
        "/page/../app.py",
        "/page/%2Fetc%2Fpasswd",
        "/pictures/..%2F..%2Fetc/tiles/0/0/0",
        "/pictures/%2e%2e/files.zip",
    ],
)
def test_no_path_leads_out(page, path):
    assert page.get(path).status_code == 404


def test_a_dropped_picture_lies_in_a_folder_of_its_own_that_goes_again(tmp_path):
    shelf = Shelf(1.0)
    page = page_of(Work(asked(), shelf))
    sent = page.post("/pictures", params={"name": "../../etc/cron.d/x"}, content=b"abc", headers=SAME)
    assert sent.status_code == 201
    (entry,) = shelf.entries.values()
    folder = entry.path.parent.parent
    assert entry.path.read_bytes() == b"abc"
    assert entry.path.parent.name not in ("cron.d", "etc")
    assert folder.name.startswith("digitize-review-")
    assert folder.stat().st_mode & 0o077 == 0
    assert page.get(f"/pictures/{entry.key}").status_code == 422  # three letters are no picture
    shelf.clear()
    assert not folder.exists()


def test_a_picture_that_is_too_large_is_refused_while_it_comes(tmp_path):
    shelf = Shelf(0.001)  # 1000 px of 8 bytes, and a megabyte of what stands before them
    page = page_of(Work(asked(max_mpx=0.001), shelf))
    taken = []

    def pieces():
        for _ in range(40):
            taken.append(1)
            yield bytes(100_000)

    sent = page.post("/pictures", params={"name": "a.png"}, content=pieces(), headers=SAME)
    assert sent.status_code == 422
    assert "larger than 1.008 MB" in sent.json()["error"]
    assert not shelf.entries
    assert list(shelf._own_folder().iterdir()) == []
    shelf.clear()


def test_options_that_name_files_of_this_machine_are_refused(page, key):
    for name in ("background_photo", "lens", "cutting", "profile"):
        sent = page.post(f"/pictures/{key}/outline", json={"words": {name: "/etc/passwd"}}, headers=SAME)
        assert sent.status_code == 422, name
        assert "is no option of this page" in sent.json()["error"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({"clearance_mm": "wide"}, "“Clearance a side” wide: expected a number"),
        ({"square_mm": "-3"}, "“Plain square”"),
        ({"bleed_mm": "1", "inset_mm": "1"}, "give one of them"),
        ({"cut": "saw"}, "choose from laser"),
        ({"clearance_mm": True}, "“Clearance a side”"),
        ({"dust_mm": "1" * 300}, "“Dust, up to”"),
        ({"cutter_mm": "3"}, "what: set “Way of cutting” router too."),
        ({"cut_holes": True, "pins": True, "clearance_mm": "1"}, "“Cut the holes too” and “A pin for each hole”"),
    ],
)
def test_options_are_refused_by_their_names_on_the_page_and_no_step_is_made(page, fresh, words, says):
    before = page.get(f"/pictures/{fresh}").json()["words"]
    sent = page.post(f"/pictures/{fresh}/outline", json={"words": words}, headers=SAME)
    assert sent.status_code == 422
    assert says in sent.json()["error"]
    assert "--" not in sent.json()["error"]
    assert page.get(f"/pictures/{fresh}").json()["words"] == before


PATHS = (
    "known",
    "pictures",
    "pictures/{key}",
    "pictures/{key}/length",
    "pictures/{key}/radius",
    "pictures/{key}/profile",
    "pictures/{key}/colour",
    "page/x",
    "card/{a}",
)
POSTS = (
    *("pictures/{key}/step", "pictures/{a}/outline", "pictures/{key}/correction", "pictures/{key}/by-hand.toml"),
    *("plate/ask", "plate/check", "plate/artwork", "plate/write"),
    *("pictures/{key}/decision", "pictures/{key}/ahead", "pictures/{a}/anew"),
    *("pictures/{key}/check", "cards"),
)
ODD = st.one_of(st.text(max_size=12), st.sampled_from(["nan", "inf", "-1", "1e999", "0", "99999999999", "x0", "\x00"]))


@settings(max_examples=30, deadline=None)
@given(
    path=st.sampled_from([*PATHS, "pictures/{key}/tiles/{a}/{b}/{c}", *POSTS]),
    words=st.tuples(ODD, ODD, ODD),
    query=st.dictionaries(st.sampled_from(["x", "y", "x0", "y0", "x1", "y1", "name", "key", "dropped"]), ODD),
    body=st.one_of(st.binary(max_size=40), st.recursive(st.none() | st.booleans() | st.floats() | ODD, st.lists)),
    is_post=st.booleans(),
)
def test_odd_requests_are_answered_without_a_failure(page, key, path, words, query, body, is_post):
    from urllib.parse import quote

    if path == "pictures":
        is_post = False  # takes any bytes for a picture
    place = path.format(key=key, **{name: quote(word, safe="") for name, word in zip("abc", words, strict=True)})
    card = {"item": 1, "readings": {"length": body}, "name": body, "measured": body}
    content = (
        body
        if isinstance(body, bytes)
        else json.dumps({"by": body, "words": body, "add": body, "seen": body, "said": body, **card}).encode()
    )
    if is_post:
        answer = page.post(f"/{place}", params=query, content=content, headers=SAME)
    else:
        answer = page.get(f"/{place}", params=query)
    assert answer.status_code < 500, (place, query, content)


def test_what_nobody_expected_is_a_sentence_on_the_page_and_told_on_the_screen(scan, monkeypatch):
    shelf, told = Shelf(400.0), []
    shelf.add([scan])
    work = Work(asked(), shelf)
    monkeypatch.setattr(work, "sight", lambda entry: 1 / 0)
    keys = Keys()
    app = make_app(work, authority=HERE, keys=keys, unexpected=lambda error: told.append(error) or "A sentence.")
    page = TestClient(app, base_url=f"http://{HERE}")
    page.get("/enter", params={"key": keys.once})
    answer = page.get(f"/pictures/{next(iter(shelf.entries))}")
    assert (answer.status_code, answer.json()) == (500, {"error": "A sentence."})
    assert isinstance(told[0], ZeroDivisionError)


@pytest.mark.parametrize("lacks", ["starlette", "uvicorn"])
def test_without_its_packages_it_says_how_to_get_them(monkeypatch, lacks):
    find = importlib.util.find_spec
    monkeypatch.setattr("importlib.util.find_spec", lambda name, *more: None if name == lacks else find(name, *more))
    done = digitize("review", "--no-browser")
    assert done.returncode == 2
    assert "pip install 'digitize[review]'" in done.said


@pytest.mark.parametrize(
    ("name", "says"), [("none.png", "is no picture, no outline document and no folder"), ("empty", "holds no picture")]
)
def test_what_is_not_there_is_said_before_anything_is_served(tmp_path, name, says):
    (tmp_path / "empty").mkdir()
    done = digitize("review", tmp_path / name, "--no-browser")
    assert done.returncode == 3
    assert says in done.said


# --- what it gives --------------------------------------------------------------------------------------------------


def test_the_files_are_the_commands_byte_for_byte(scan, tmp_path):
    shelf, theirs, mine = Shelf(400.0), tmp_path / "theirs", tmp_path / "mine"
    shelf.add([scan])
    said = asked(square_mm="20", formats="json,dxf,svg,pdf,proof,png", to=mine)
    page, (key,) = page_of(Work(said, shelf)), shelf.entries
    words = {"clearance_mm": "0.2", "kerf_mm": "0,18", "upright": True}
    told = page.post(f"/pictures/{key}/outline", json={"words": words}, headers=SAME).json()
    assert told["why"] is None
    options = ["--square", "20", "--clearance", "0.2", "--kerf", "0,18", "--upright"]
    assert digitize("outline", scan, *options, "--to", theirs).returncode in (0, 1)
    expected = {path.name: path.read_bytes() for path in theirs.iterdir()}
    assert len(expected) == 6
    with zipfile.ZipFile(io.BytesIO(page.get(f"/pictures/{key}/files.zip").content)) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == expected
    written = page.post(f"/pictures/{key}/write", json={}, headers=SAME).json()["written"]
    assert {Path(path).name: Path(path).read_bytes() for path in written} == expected
    assert {Path(path).parent for path in written} == {mine}
    (mine / "scan.svg").write_text("drawn by hand")
    refused = page.post(f"/pictures/{key}/write", json={}, headers=SAME)
    assert refused.status_code == 409
    assert (mine / "scan.svg").read_text() == "drawn by hand"


def test_the_command_it_names_writes_the_same_bytes(page, fresh, scan, tmp_path):
    import shlex

    words = {"cut": "laser", "kerf_mm": "0.1", "notches": "1", "notch_angle_deg": "-30"}
    told = page.post(f"/pictures/{fresh}/outline", json={"words": words}, headers=SAME).json()
    name, verb, picture, *options = shlex.split(told["command"])
    assert (name, verb, picture) == ("digitize", "outline", "scan.png")
    options[options.index("--to") + 1] = str(tmp_path)
    assert digitize(verb, scan, *options).returncode in (0, 1)
    theirs = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with zipfile.ZipFile(io.BytesIO(page.get(f"/pictures/{fresh}/files.zip").content)) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == theirs


def test_a_dropped_item_has_no_files_and_the_others_have_those_of_separate(page, fresh, scan, tmp_path):
    given = ["--square", 20, "--separate", "--format", "json,dxf", "--to", tmp_path]
    assert digitize("outline", scan, *given).returncode in (0, 1)
    theirs = {path.name: path.read_bytes() for path in tmp_path.iterdir() if not path.name.startswith("scan-1.")}
    with zipfile.ZipFile(io.BytesIO(page.get(f"/pictures/{fresh}/files.zip?dropped=1").content)) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == theirs
    assert "scan-2.dxf" in theirs
    assert page.get(f"/pictures/{fresh}/files.zip?dropped=1,2").status_code == 422


def test_one_item_alone_undone_and_done_again(page, fresh):
    def send(to, **told):
        return page.post(f"/pictures/{fresh}/{to}", json=told, headers=SAME).json()

    both = send("outline", words={"item_at_px": None})
    left, top, right, bottom = both["result"]["items"][1]["box"]
    one = send("outline", words={"item_at_px": f"{left + 12},{(top + bottom) / 2}"})
    assert [len(told["result"]["items"]) for told in (both, one)] == [2, 1]
    assert one["result"]["items"][0]["box"] == [left, top, right, bottom]
    assert send("step", by=-1)["result"] == both["result"]
    assert send("step", by=1)["result"] == one["result"]
    none = send("outline", words={"item_at_px": "1,1"})
    assert none["result"] is None
    assert "No item was found at 1,1 px" in none["why"]
    assert send("step", by=-1)["result"] == one["result"]


# --- stopped ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def held(monkeypatch):
    """The recipe, which waits until it is let go; tells how often it has begun and how many ran at a time."""
    from types import SimpleNamespace

    from digitize.review import work as under_test

    held = SimpleNamespace(began=threading.Semaphore(0), go=threading.Event(), now=0, most=0)

    def waiting(*given, **more):
        held.now += 1
        held.most = max(held.most, held.now)
        held.began.release()
        assert held.go.wait(20)
        held.now -= 1
        return make_of(*given, **more)

    monkeypatch.setattr(under_test, "make_of", waiting)
    yield held
    held.go.set()


def test_an_outline_is_stopped_and_nothing_of_it_stays(scan, tmp_path, held):
    shelf = Shelf(400.0)
    shelf.add([scan])
    page, (key,) = page_of(Work(asked(square_mm="20", to=tmp_path), shelf)), shelf.entries
    before = page.get(f"/pictures/{key}").json()

    def stop():
        return page.post(f"/pictures/{key}/stop", headers=SAME).json()["stopped"]

    def outline(words):
        return page.post(f"/pictures/{key}/outline", json={"words": words}, headers=SAME)

    assert stop() is False
    with ThreadPoolExecutor() as pool:
        first = pool.submit(outline, {"ideal": True})
        assert held.began.acquire(timeout=20)
        assert stop() is True
        told = first.result(20)
        assert (told.status_code, told.json()["stopped"]) == (409, True)
        assert page.get(f"/pictures/{key}").json() == before
        assert list(tmp_path.iterdir()) == []
        assert stop() is False
        second = pool.submit(outline, {"ideal": True})  # waits for the first to end, and is stopped before it begins
        while not stop():
            assert not second.done()
        assert second.result(20).status_code == 409
        third = pool.submit(outline, {"upright": True})
        held.go.set()
        told = third.result(20).json()
    assert (told["words"]["ideal"], told["words"]["upright"], told["step"]["count"]) == (False, True, 2)
    assert len(told["result"]["items"]) == 2
    assert held.most == 1


def test_a_step_back_that_is_stopped_is_not_made(work, page, fresh, held):
    held.go.set()
    told = page.post(f"/pictures/{fresh}/outline", json={"words": {"ideal": True}}, headers=SAME).json()
    assert told["step"] == {"at": 1, "count": 2}
    held.go.clear()
    held.began = threading.Semaphore(0)
    work.opened(work.shelf.entries[fresh]).results.clear()
    with ThreadPoolExecutor() as pool:
        back = pool.submit(page.post, f"/pictures/{fresh}/step", json={"by": -1}, headers=SAME)
        assert held.began.acquire(timeout=20)
        page.post(f"/pictures/{fresh}/stop", headers=SAME)
        assert back.result(20).status_code == 409
    held.go.set()
    assert page.post(f"/pictures/{fresh}/outline", json={}, headers=SAME).json()["step"] == told["step"]


# --- corrections by hand --------------------------------------------------------------------------------------------

HOLE = {"do": "drop", "at": [[283.0, 187.0]]}  # of the first washer, below


def middle_of_hole(page, key):
    ring = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()["result"]["items"][0]["rings"][1]
    return [sum(ring[::2]) / len(ring[::2]), sum(ring[1::2]) / len(ring[1::2])]


def correct(page, key, **sent):
    return page.post(f"/pictures/{key}/correction", json=sent, headers=SAME)


def test_a_correction_is_a_step_that_is_undone_done_again_and_left_out(page, fresh):
    step = {"do": "drop", "at": [middle_of_hole(page, fresh)]}
    made = correct(page, fresh, add=step).json()
    assert [item["holes"] for item in made["result"]["items"]] == [0, 1]
    assert [one["do"] for one in made["by_hand"]] == ["drop"]
    for by, holes in ((-1, [1, 1]), (1, [0, 1])):
        told = page.post(f"/pictures/{fresh}/step", json={"by": by}, headers=SAME).json()
        assert [item["holes"] for item in told["result"]["items"]] == holes
    told = correct(page, fresh, without=0).json()
    assert [item["holes"] for item in told["result"]["items"]] == [1, 1]
    assert told["by_hand"] == []
    assert told["step"] == {"at": 2, "count": 3}


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({"add": {"do": "erase", "at": [[1, 2]]}}, "one of bridge"),
        ({"add": {"do": "drop", "at": [[1e9, 2]]}}, "is no place"),
        ({"add": [1]}, "tells what to do"),
        ({"without": 0}, "no such correction"),
        ({"without": True}, "no such correction"),
        ({}, "one at a time"),
        ({"add": HOLE, "without": 0}, "one at a time"),
    ],
)
def test_a_correction_that_cannot_be_meant_is_refused_and_no_step_is_made(page, fresh, sent, says):
    answer = correct(page, fresh, **sent)
    assert answer.status_code == 422
    assert says in answer.json()["error"]
    assert page.post(f"/pictures/{fresh}/outline", json={}, headers=SAME).json()["step"] == {"at": 0, "count": 1}


def test_with_corrections_the_command_it_names_writes_the_same_bytes(page, fresh, scan, tmp_path):
    told = correct(page, fresh, add={"do": "drop", "at": [middle_of_hole(page, fresh)]}).json()
    steps = page.get(f"/pictures/{fresh}/by-hand.toml")
    name = steps.headers["content-disposition"].partition("UTF-8''")[2]
    (tmp_path / name).write_bytes(steps.content)
    words = told["command"].split()[2:]
    words[words.index("--by-hand") + 1] = str(tmp_path / name)
    words = [str(scan) if word == scan.name else word for word in words[: words.index("--to")]]
    assert digitize("outline", *words, "--to", tmp_path / "own").returncode in (0, 1)
    with zipfile.ZipFile(io.BytesIO(page.get(f"/pictures/{fresh}/files.zip").content)) as archive:
        taken = {one: archive.read(one) for one in archive.namelist()}
    assert taken == {path.name: path.read_bytes() for path in (tmp_path / "own").iterdir()}


def test_a_tab_that_has_not_seen_the_last_step_writes_nothing_over(page, fresh):
    seen = [0, 1]
    step = {"do": "drop", "at": [middle_of_hole(page, fresh)]}
    assert correct(page, fresh, add=step, seen=seen).status_code == 200
    late = page.post(f"/pictures/{fresh}/outline", json={"words": {"ideal": True}, "seen": seen}, headers=SAME)
    assert late.status_code == 412
    assert "Another tab" in late.json()["error"]
    assert correct(page, fresh, add=step, seen=seen).status_code == 412
    told = page.post(f"/pictures/{fresh}/outline", json={}, headers=SAME).json()
    assert (told["step"]["count"], len(told["by_hand"]), told["words"]["ideal"]) == (2, 1, False)


def test_steps_are_kept_as_they_are_made_and_another_server_goes_on_from_there(scan, tmp_path):
    def begun(**words):
        shelf = Shelf(400.0)
        shelf.add([scan])
        page = page_of(Work(asked(to=tmp_path, **words), shelf))
        return page, next(iter(shelf.entries))

    page, key = begun(square_mm="20")
    step = {"do": "drop", "at": [middle_of_hole(page, key)]}
    before = [
        correct(page, key, add=step).json(),
        page.post(f"/pictures/{key}/outline", json={"words": {"ideal": True}}, headers=SAME).json(),
        page.post(f"/pictures/{key}/step", json={"by": -1}, headers=SAME).json(),
    ][-1]
    page, key = begun(square_mm="20")  # the first is never told to end
    after = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()
    assert after == before
    assert after["step"] == {"at": 1, "count": 3}
    page, key = begun(square_mm="20.1")  # what is said now holds, what a hand did stays
    told = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()
    assert (told["words"]["square_mm"], len(told["by_hand"])) == ("20.1", 1)


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"format": "digitize-review-steps", "version": 2, "pictures": {}}'])
def test_a_file_that_holds_no_steps_is_not_written_over(tmp_path, text):
    (tmp_path / KEPT).write_text(text)
    with pytest.raises(UsageError, match="Move it away"):
        Work(asked(to=tmp_path), Shelf(400.0))
    assert (tmp_path / KEPT).read_text() == text


def test_kept_steps_that_cannot_be_read_are_left_aside():
    kept = Kept(None)
    kept._before = {"a": {"all": [{"words": 3, "by_hand": []}], "at": 0}, "b": {"all": [], "at": 0}, "c": 4}
    kept._before["d"] = {"all": [{"words": {}, "by_hand": [{"do": "x", "at": []}]}], "at": 0}
    assert [kept.of(one) for one in "abcde"] == [None] * 5


def test_a_length_across_a_washer_is_its_diameter(page, fresh):
    told = page.post(f"/pictures/{fresh}/outline", json={"words": {}}, headers=SAME).json()
    left, top, right, bottom = told["result"]["items"][0]["box"]
    middle = (top + bottom) / 2
    asked_for = {"x0": left, "y0": middle, "x1": right, "y1": middle}
    said = page.get(f"/pictures/{fresh}/length", params=asked_for).json()
    assert abs(said["mm"] - 24.0) < 0.02  # drawn 24 mm wide (tests/test_cli.py)
    assert 0 < said["k2_mm"] < 0.3


# --- measured -------------------------------------------------------------------------------------------------------


def on_washer(page, key, *angles_deg, ring=0):
    """Places on an edge of the first washer as the page's query wants them."""
    flat = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()["result"]["items"][0]["rings"][ring]
    points = np.array(flat).reshape(-1, 2)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    away = points - middle
    angle = np.degrees(np.arctan2(-away[:, 1], away[:, 0])) % 360
    places = [points[int(np.abs((angle - one + 180) % 360 - 180).argmin())] for one in angles_deg]
    return {f"{axis}{n}": place[k] for n, place in enumerate(places) for k, axis in enumerate("xy")}


@pytest.mark.parametrize("angles", [(10, 60, 120), (120, 60, 10), (300, 350, 40)])
def test_the_radius_of_a_washer_is_what_was_drawn(page, fresh, angles):
    told = page.get(f"/pictures/{fresh}/radius", params=on_washer(page, fresh, *angles)).json()
    assert told["mm"] == pytest.approx(24.0 / 2, abs=0.02)
    assert told["off_mm"] < 0.05


def test_a_radius_off_the_outline_runs_through_the_three_and_a_line_has_none(page, fresh):
    three = {"x0": 10, "y0": 20, "x1": 20, "y1": 10, "x2": 30, "y2": 20}  # about 20,20
    told = page.get(f"/pictures/{fresh}/radius", params=three).json()
    assert told == {"mm": pytest.approx(10 * 0.127, rel=1e-3), "off_mm": None}
    line = page.get(f"/pictures/{fresh}/radius", params=three | {"y0": 10, "y2": 10})
    assert (line.status_code, "straight line" in line.json()["error"]) == (422, True)


@pytest.mark.parametrize(("place", "deg"), [((20, 0), 90.0), ((10, 10), 45.0), ((0, -5), 90.0), ((-20, 0), 90.0)])
def test_an_angle_is_that_at_the_second_point(page, fresh, place, deg):
    query = {"x0": 100, "y0": 150, "x1": 100, "y1": 100, "x2": 100 + place[0], "y2": 100 + place[1]}
    told = page.get(f"/pictures/{fresh}/angle", params=query).json()
    expected = deg if place[1] >= 0 else 180.0
    assert told["deg"] == pytest.approx(expected, abs=0.01)
    assert page.get(f"/pictures/{fresh}/angle", params=query | {"x2": 100, "y2": 100}).status_code == 422


@pytest.mark.parametrize("ring", [0, 1])
def test_the_light_across_an_edge_rises_from_the_item_outward(page, fresh, ring):
    at = on_washer(page, fresh, 30, ring=ring)
    told = page.get(f"/pictures/{fresh}/profile", params={"x": at["x0"] + 3, "y": at["y0"] - 2}).json()
    light, offsets = np.array(told["light"]), np.array(told["from_mm"])
    assert np.hypot(told["at"][0] - at["x0"], told["at"][1] - at["y0"]) < 4
    half = (light[:8].mean() + light[-8:].mean()) / 2
    assert light[:8].mean() < 0.3 < light[-8:].mean()
    assert abs(np.interp(half, light[20:46], offsets[20:46])) < 0.5 * 0.127  # the edge is where it is half as light
    assert offsets[-1] == pytest.approx(16 * 0.127, rel=0.01)
    far = page.get(f"/pictures/{fresh}/profile", params={"x": 5, "y": 5})
    assert (far.status_code, "No edge is near" in far.json()["error"]) == (422, True)


def test_colours_can_be_told_apart_by_weak_eyes():
    """WCAG 2.2, 1.4.3 and 1.4.11: text 4.5 to 1 against its ground, lines and marks 3 to 1 (relative luminance)."""
    style = (PAGE / "style.css").read_text("utf-8")
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", style))

    def light(name):
        parts = [int(colours.get(name, name)[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        r, g, b = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    def contrast(one, other):
        low, high = sorted([light(one), light(other)])
        return (high + 0.05) / (low + 0.05)

    assert contrast("#ffffff", "#000000") == 21
    texts = [("ink", "paper"), ("ink", "sheet"), ("faint", "paper"), ("faint", "sheet"), ("act-ink", "act")]
    texts += [
        ("act", "sheet"),
        ("act", "paper"),
        ("alert", "alert-ground"),
        ("alert", "sheet"),
        ("ink", "alert-ground"),
    ]
    assert [pair for pair in texts if contrast(*pair) < 4.5] == []
    lines = ["edge", "hole", "pocket", "print", "uncut", "pin", "other", "reference", "left", "failed"]
    assert [name for name in lines if contrast(name, "rim") < 3] == []


def test_every_option_the_page_offers_has_words_and_every_word_an_option():
    words = (PAGE / "words.en.js").read_text("utf-8")
    assert list(LABELS) == list(OFFERED)
    assert len(set(LABELS.values())) == len(LABELS)
    files = {key for key, one in declared(Settings).items() if one.option in file_columns(Settings)}
    kept = {"scanner"}  # by a name, in this machine's own folder
    assert set(OFFERED) == declared(Settings).keys() - files - kept  # every option, but those that name files here
    groups = re.search(r"GROUPS = \{(.*?)\};", words, re.DOTALL)[1]
    assert re.findall(r"^  (\w+):", groups, re.MULTILINE) == list(FORM_GROUPS)


def test_next_steps_of_the_page_name_its_own_fields_and_tools():
    words = (PAGE / "words.en.js").read_text("utf-8")
    labels = set(LABELS.values())
    tools = set(re.findall(r'^  \["\w+", "(\w+)"', words, re.MULTILINE))
    for code, step in STEPS.items():
        assert code in MESSAGES
        assert "--" not in step
        assert 10 < len(step) < 130
        assert step.endswith(".")
        assert set(re.findall("“(.*?)”", step)) <= labels, code
        named = re.findall(r"(?:tool|with|with the tool) ([A-Z]\w+)", step)
        assert set(named) <= tools, code


ELSEWHERE = {  # what other commands say, none of it to the page
    *(
        "cli",
        "plate",
        "run_plate.py",
        "review/plate",
        "batch",
        "scanner",
        "again.py",
        "review/form.py",
        "write/proof/words.py",
        "write/plate",
    ),
    *("write/artwork", "trust/asked.py", "trust/apart.py", "trust/lot.py", "document", "recipe/lens.py"),
    *("words/of_failures.py", "words/of_plate.py", "words/of_lot.py", "camera"),
    "kept_cards.py",  # of damaged files, which the page passes over, and in the file itself
}
CODE = PAGE.parents[1]
AN_OPTION = re.compile(r"(?<![\w-])--[a-z]")


def sentences(left_out=ELSEWHERE):
    """Every text of the code that names an option and may come to the page, {} where a value stands."""
    for path in sorted(CODE.rglob("*.py")):
        name, text = path.relative_to(CODE).as_posix(), path.read_text("utf-8")
        if not AN_OPTION.search(text) or any(name == one or name.startswith(f"{one}/") for one in left_out):
            continue
        nodes = [one for one in ast.walk(ast.parse(text)) if isinstance(one, ast.Expr | ast.JoinedStr | ast.Constant)]
        said = {id(one.value) for one in nodes if isinstance(one, ast.Expr)}  # to who reads the code
        said |= {id(part) for one in nodes if isinstance(one, ast.JoinedStr) for part in one.values}
        for one in nodes:
            if isinstance(one, ast.JoinedStr):
                yield name, "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in one.values)
            elif isinstance(one, ast.Constant) and isinstance(one.value, str) and id(one) not in said:
                yield name, one.value


def test_no_sentence_of_the_page_speaks_of_options():
    told = [(name, one) for name, one in sentences() if AN_OPTION.search(one) and " " in one.strip()]
    assert len(told) > 60  # errors, messages, steps, help
    assert [(name, one) for name, one in told if re.search("--[a-z]", words_on_page(one))] == []
    rows = (*OF_ITEMS, *OF_HAND, *OF_EDGES, *OF_SCALE, *OF_CUTTING, *OF_PICTURE)
    assert [row.code for row in rows if "--" in step_on_page(row.code, row.step)] == []
    assert [one["key"] for one in fields() if "--" in one["help"] + one["label"]] == []


@pytest.mark.parametrize(
    ("sentence", "own"),
    [
        ("Say --camera if this is a photo.", "Set “Taken with” camera if this is a photo."),
        ("Say --flatbed if it is a scan.", "Set “Taken with” flatbed scanner if it is a scan."),
        ("--cut-holes, and say which, --cut WAY.", "“Cut the holes too”, and say which, “Way of cutting”."),
        ("as --square 49.8x48.9, or --square-at X,Y.", "as “Plain square” 49.8x48.9, or “The reference is at”."),
        ("choose another folder with --to", "choose another folder with “to” on the command line"),
        ("raise the limit: --max-mpx 401.", "raise the limit: “max-mpx 401” on the command line."),
        ("a--square.png and --squares stay", "a--square.png and --squares stay"),
    ],
)
def test_an_option_is_called_as_its_field_is(sentence, own):
    assert words_on_page(sentence) == own


# --- tiles ----------------------------------------------------------------------------------------------------------


def test_tiles_show_the_picture_where_it_is():
    import cv2
    import numpy as np

    pixels = np.zeros((700, 1301, 3), np.uint8)
    pixels[:, :, 0] = np.linspace(0, 255, 1301)
    pixels[600:, :, 1] = 200
    pyramid = Pyramid(Picture("a.png", "5e" * 32, pixels, np.zeros((256, 3), np.float32)))
    assert pyramid.count == 3
    data = pyramid.tile(0, 2, 1)
    shown = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[:, :, ::-1]
    assert shown.shape == (700 - TILE, 1301 - 2 * TILE, 3)
    assert np.abs(shown.astype(int) - pixels[TILE:, 2 * TILE :]).mean() < 2
    small = cv2.imdecode(np.frombuffer(pyramid.tile(2, 0, 0), np.uint8), cv2.IMREAD_COLOR)[:, :, ::-1]
    assert small.shape == (175, 326, 3)  # every pixel 4 x 4 of the picture's, the last ones in part
    assert abs(int(small[10, 100, 0]) - int(pixels[42, 402, 0])) <= 3
    assert pyramid.tile(3, 0, 0) is None
    assert pyramid.tile(0, 3, 0) is None
    assert colour_at(pyramid.picture, 0, 650) == "#00c800"
    assert colour_at(pyramid.picture, -1, 0) is None


def test_a_guard_speaks_nothing_but_http():
    async def inner(scope, receive, send):
        raise AssertionError("reached")

    async def silence(*_):
        raise AssertionError("answered")

    ended = Guard(inner, authority=HERE, keys=Keys())({"type": "websocket"}, silence, silence)
    with pytest.raises(StopIteration):  # at once, and awaiting nothing: no loop is needed
        ended.send(None)
