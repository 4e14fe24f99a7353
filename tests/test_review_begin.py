"""What the page begins with: an outline document goes on where it ended, and steps of before are gone on from."""

import hashlib
import io
import json
import os
import re
import shutil
import time
import zipfile
from dataclasses import replace

import pytest

from digitize.again import go_on
from digitize.errors import DocumentError, PictureError
from digitize.review.aside import Aside
from digitize.review.begin import begun
from digitize.review.shelf import Shelf
from digitize.review.work import Work
from digitize.settings import Settings
from tests.test_cli import digitize
from tests.test_review import PAGE, SAME, asked, correct, page_of, scan  # noqa: F401

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
OPTIONS = [
    {},
    {"square_mm": (49.8, 49.912345678), "caliper_error_mm": 0.03, "taken_with": "flatbed", "item_at_px": (3, 4.5)},
    {"cut": "router", "cutter_mm": 3, "clearance_mm": 0.2, "relief": "side", "notches": 2, "cut_holes": True},
    {"cut": "laser", "kerf_mm": 0.18, "units": "inch", "background": "#e8e4da", "edge": "inner"},
    {"kerf_mm": 0.1, "ideal": True, "tolerance_mm": 1e-3, "bleed_mm": 2, "joins": "fewest", "cut_from": "back"},
    {"edge_height_mm": (3, 0.2), "background_photo": "empty.jpg", "taken_with": "camera", "upright": True},
]


@pytest.mark.parametrize("options", OPTIONS)
def test_the_words_of_options_ask_for_the_same_again(options):
    wanted = Settings.of(options)
    begin = begun(wanted)
    assert begin.spoken.settings(begin.spoken.words) == wanted
    assert set(begin.spoken.held) == set(options) & {"background_photo"}  # what the page has no field for
    changed = begin.spoken.settings({**begin.spoken.words, "symmetric": True})
    assert changed.symmetric
    assert Settings.of({**changed.given(), "symmetric": False}) == wanted


def test_typical_values_of_another_table_are_held_until_one_is_changed():
    held = {"way": "laser", "clearance_mm": 0.2, "kerf_mm": 0.21, "lead_in_mm": 3.0, "typical": ["kerf_mm"]}
    wanted = Settings.of({"cutting": held, "square_mm": 50})
    said = begun(wanted).spoken
    assert said.settings(said.words) == wanted
    assert set(said.held) == {"cutting"}
    changed = said.settings({**said.words, "clearance_mm": "0.3"}).cutting
    assert (changed.clearance_mm, changed.kerf_mm, changed.lead_in_mm, changed.way) == (0.3, 0.21, 3.0, "laser")


@pytest.fixture
def document(scan, tmp_path):  # noqa: F811
    """A document of one of two washers, its hole dropped by hand, beside its picture."""
    shutil.copy(scan, tmp_path)
    steps = tmp_path / "steps.toml"
    named = f'picture = "{hashlib.sha256(scan.read_bytes()).hexdigest()}"'
    step = '[[step]]\ndo = "drop"\nat = [[410, 197]]'
    steps.write_text(f'format = "digitize-by-hand"\nversion = 1\n{named}\n{step}\n')
    words = ["--square", "20", "--clearance", "0.2", "--by-hand", steps, "--format", "json,dxf", "--separate"]
    assert digitize("outline", tmp_path / scan.name, *words, "--to", tmp_path / "out").returncode in (0, 1)
    path = tmp_path / "scan-1.json"
    shutil.move(tmp_path / "out" / "scan-1.json", path)
    return path


def opened(document, **more):
    shelf, found = Shelf(400.0), go_on(document)
    shelf.add([found.picture], begin=begun(found.settings, items=found.items))
    return page_of(Work(asked(**more), shelf)), next(iter(shelf.entries))


def test_the_page_goes_on_where_a_document_ended(document, tmp_path):
    told = json.loads(document.read_bytes())
    page, key = opened(document, to=tmp_path / "to")
    assert page.get(f"/pictures/{key}").json()["only"] == ["scan-1"]
    shown = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()
    assert (shown["words"]["square_mm"], shown["words"]["clearance_mm"]) == ("20", "0.2")
    assert [one["do"] for one in shown["by_hand"]] == ["drop"]
    names = [item["name"] for item in shown["result"]["items"]]
    assert names[0] == told["items"][0]["name"] == "scan-1"
    others = ",".join(str(n) for n, name in enumerate(names, 1) if name != "scan-1")
    with zipfile.ZipFile(io.BytesIO(page.get(f"/pictures/{key}/files.zip?dropped={others}").content)) as archive:
        assert archive.read("scan-1.json") == document.read_bytes()
    more = page.post(f"/pictures/{key}/outline", json={"words": {"clearance_mm": "0.3"}}, headers=SAME).json()
    assert more["step"] == {"at": 1, "count": 2}
    page, key = opened(document, to=tmp_path / "to")  # from where it was left, not from where the document ended
    again = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()
    assert (again["words"]["clearance_mm"], again["step"]) == ("0.3", {"at": 1, "count": 2})
    assert correct(page, key, without=0).json()["by_hand"] == []


def test_a_document_whose_picture_is_missing_or_another_is_refused(document, tmp_path):
    picture = tmp_path / "scan.png"
    picture.write_bytes(picture.read_bytes() + b"\0")
    with pytest.raises(PictureError, match=r"scan-1.json: .*another or a changed one"):
        go_on(document)
    done = digitize("review", document, "--no-browser")
    assert (done.returncode, "another or a changed one" in done.said, "--again" in done.said) == (3, True, False)
    picture.unlink()
    with pytest.raises(PictureError, match="neither beside it nor in the working folder"):
        go_on(document)


def test_what_is_no_document_and_options_beside_one_are_refused(document, tmp_path):
    done = digitize("review", document, "--no-browser", "--square", "20", "--ideal")
    assert (done.returncode, "Given: --square, --ideal." in done.said) == (2, True)
    (tmp_path / "other.json").write_text("{}")
    with pytest.raises(DocumentError):
        go_on(tmp_path / "other.json")
    assert digitize("review", tmp_path / "other.json", "--no-browser").returncode == 3
    document.write_bytes(document.read_bytes().replace(b'"20', b'"21').replace(b"20.0", b"20.1"))
    with pytest.raises(DocumentError, match="was changed since"):
        go_on(document)


def test_a_document_of_another_version_is_opened_and_that_is_said(document, monkeypatch):
    monkeypatch.setattr("digitize.again.WRITTEN_BY", "digitize 99.0")
    assert "this is digitize 99.0: its numbers may come out otherwise" in go_on(document).remark
    monkeypatch.undo()
    assert go_on(document).remark == ""


# --- steps of an earlier visit --------------------------------------------------------------------------------------


def visited(picture, state, **words):
    shelf = Shelf(400.0)
    shelf.add([picture])
    work = Work(replace(asked(**{"square_mm": "20", **words}), aside=state), shelf)
    return page_of(work), next(iter(shelf.entries))


def test_without_a_folder_steps_are_kept_aside_and_gone_on_from_by_whatever_name(scan, tmp_path):  # noqa: F811
    state = tmp_path / "state"
    page, key = visited(scan, state)
    assert page.get(f"/pictures/{key}").json()["before"] is None
    before = page.post(f"/pictures/{key}/outline", json={"words": {"clearance_mm": "0.3"}}, headers=SAME).json()
    renamed = tmp_path / "other name.png"
    shutil.copy(scan, renamed)
    page, key = visited(renamed, state)  # the first is never told to end
    sight = page.get(f"/pictures/{key}").json()
    assert (sight["before"]["steps"], abs(sight["before"]["when"] - time.time()) < 60) == (1, True)
    after = page.post(f"/pictures/{key}/outline", json={}, headers=SAME).json()
    assert (after["words"], after["step"]) == (before["words"], before["step"])
    anew = page.post(f"/pictures/{key}/anew", json={}, headers=SAME).json()
    assert (anew["words"]["clearance_mm"], anew["step"]) == (None, {"at": 2, "count": 3})
    back = page.post(f"/pictures/{key}/step", json={"by": -1}, headers=SAME).json()
    assert back["words"]["clearance_mm"] == "0.3"
    (kept,) = state.iterdir()
    assert kept.stat().st_mode & 0o022 == 0
    assert state.stat().st_mode & 0o077 == 0


def test_steps_kept_aside_that_cannot_be_read_are_passed_over(tmp_path):
    names = ["a" * 64, "b" * 64, "c" * 64]
    aside = Aside(tmp_path)
    for name, text in zip(names, ["", "[1]", '{"all": [{"words": 3, "by_hand": []}], "at": 0}'], strict=True):
        (tmp_path / f"{name}.steps").write_text(text)
    assert [aside.of(one) for one in [*names, "d" * 64]] == [None] * 4


def test_a_folder_that_refuses_stops_nothing_and_that_is_said(scan, tmp_path):  # noqa: F811
    state = tmp_path / "state"
    state.write_text("a file is in the way")
    page, key = visited(scan, state)
    told = page.post(f"/pictures/{key}/outline", json={"words": {"ideal": True}}, headers=SAME).json()
    assert told["words"]["ideal"]
    assert told["trouble"].startswith("Steps are not kept when the page ends: ")


def test_what_is_kept_aside_is_bounded_in_age_number_and_size(tmp_path, monkeypatch):
    def put(name, *, days=0.0, size=10):
        path = tmp_path / f"{name:064x}.steps"
        path.write_bytes(bytes(size))
        os.utime(path, (time.time() - days * 86_400,) * 2)
        return path

    old, young = put(1, days=91), put(2, days=89)
    other = tmp_path / "note.txt"
    other.write_text("x")
    os.utime(other, (0, 0))
    Aside(tmp_path)
    assert (old.exists(), young.exists(), other.exists()) == (False, True, True)
    monkeypatch.setattr("digitize.review.aside.MOST_PICTURES", 3)
    paths = [put(10 + n, days=n) for n in range(5)]
    Aside(tmp_path)
    assert [path.exists() for path in paths] == [True] * 3 + [False] * 2
    monkeypatch.setattr("digitize.review.aside.MOST_BYTES", 25)
    Aside(tmp_path)
    assert [path.exists() for path in paths[:3]] == [True, True, False]


# --- the first page -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "paper"), [("single", "a4"), ("mat", "letter")])
def test_the_cards_to_print_are_the_commands_own(kind, paper, tmp_path):
    page = page_of(Work(asked(), Shelf(400.0)))
    given = page.get(f"/card/{kind}-{paper}.pdf")
    assert given.headers["content-type"] == "application/pdf"
    assert digitize("card", "--kind", kind, "--paper", paper, "--format", "pdf", "--to", tmp_path).returncode == 0
    (written,) = tmp_path.iterdir()
    assert given.content == written.read_bytes()
    assert given.headers["content-disposition"].endswith(f"UTF-8''{written.name}")
    for name in ("single-a5.pdf", "mat-a4.svg", "..%2Fkept.py", "single"):
        assert page.get(f"/card/{name}").status_code == 404


def test_every_link_of_the_first_page_leads_somewhere():
    text = (PAGE / "index.html").read_text("utf-8")
    page = page_of(Work(asked(), Shelf(400.0)))
    links = re.findall(r'href="(/card/[^"]+)"', text)
    assert len(links) == 4
    assert [page.get(link).status_code for link in links] == [200] * 4
