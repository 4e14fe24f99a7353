"""A folder gone through by a person: decisions stand in the batch's ledger at once; a later run leaves them alone."""

import contextlib
import csv
import io
import json
import shutil
import sqlite3

import pytest
from PIL import Image

from digitize.api import outline
from digitize.batch.decided import Change
from digitize.batch.desk import batch_in, desk, is_batch
from digitize.batch.drive import Batch
from digitize.batch.find import Search, find_pictures
from digitize.batch.ledger import Ledger
from digitize.batch.task import Wanted
from digitize.document.document import document_bytes
from digitize.errors import OutlineError, PictureError, UsageError, WriteError
from digitize.options import Said
from digitize.parameters import declared
from digitize.run import Output, make
from digitize.settings import Settings

from .batch_scans import SQUARE, fill, inline

pytestmark = pytest.mark.usefixtures("made_once")  # files and words are tested here, not outlines
WORDS = ("--format", "json,dxf")
OPTIONS = Settings(square_mm=float(SQUARE))


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Three pictures: the second states another density than it has, the third cannot be read; and their results."""
    place = tmp_path_factory.mktemp("place") / "work"
    folder = fill(place / "in", 3, dpi=80)
    with Image.open(folder / "scan-1.png") as picture:
        picture.save(folder / "scan-1.png", dpi=(100, 100))
    (folder / "scan-2.png").write_bytes(b"\x89PNG\r\n\x1a\nxx")
    with pytest.MonkeyPatch.context() as patch:
        come = inline(patch)(folder, "--to", place / "out", *WORDS, "--json")
    assert json.loads(come.stdout)["need_person"] == 2
    shutil.copytree(place, place.with_name("kept"))
    return place


@pytest.fixture
def done(place):
    """The place as it was after the batch had run once."""
    kept = place.with_name("kept")
    shutil.rmtree(place / "out")
    shutil.copytree(kept / "out", place / "out")
    for path in (kept / "in").iterdir():
        if (place / "in" / path.name).read_bytes() != path.read_bytes():
            shutil.copy(path, place / "in")
    return place


@pytest.fixture
def run(monkeypatch, place):
    """The batch on it; what it says is returned."""
    batch = inline(monkeypatch)

    def call(*words):
        come = batch(place / "in", "--to", place / "out", *WORDS, "--json", *words)
        assert come.returncode in (0, 1), come.stderr
        return json.loads(come.stdout)

    return call


def held(at):
    return desk(batch_in(at / "out"))


def case_of(on, number):
    return next(case for case in on.cases() if case.key == f"scan-{number}.png")


@pytest.fixture(scope="module", autouse=True)
def made_once():
    """What comes of a picture by certain settings is made once."""
    MADE.clear()


MADE = {}


def made_of(case, change):
    settings = change.of(case.settings)
    key = (case.source.read_bytes(), json.dumps(settings.given(), sort_keys=True))
    if key not in MADE:
        MADE[key] = make(case.source, settings, Output())
    return MADE[key]


def accept(on, number, change=None):
    case, change = case_of(on, number), change or Change()
    made = made_of(case, change)
    return on.accept(case, made.picture.sha256, lambda: made, change)


def reject(on, number):
    case = case_of(on, number)
    made = made_of(case, Change())
    return on.reject(case, made.picture.sha256, lambda: made, Change())


def without(error):
    """What makes nothing, for that reason."""

    def make():
        raise error

    return make


def table(path):
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"))))


def files(at, number):
    return sorted(path.name for path in (at / "out").glob(f"scan-{number}.*"))


# --- what there is to decide on -------------------------------------------------------------------------------------


def test_a_folder_of_results_tells_its_pictures_worst_first_and_how_they_were_made(done):
    assert (is_batch(done / "in"), is_batch(done / "out")) == (False, True)
    reports = [(done / "out" / name).stat().st_mtime_ns for name in ("summary.csv", "attention.csv")]
    with held(done) as on:
        found = on.cases()
    assert [case.key for case in found] == ["scan-2.png", "scan-1.png", "scan-0.png"]
    assert found[0].why.startswith("scan-2.png: the PNG file is cut short")
    assert "by its PNG pHYs 100.0" in found[1].why
    assert (found[2].why, found[2].settings, found[2].said) == ("", OPTIONS, "")
    assert reports == [(done / "out" / name).stat().st_mtime_ns for name in ("summary.csv", "attention.csv")]


def test_one_at_a_time_works_on_a_folder(done, run):
    with held(done), pytest.raises(AssertionError, match="another run is working on"):
        run()
    with held(done), pytest.raises(WriteError, match="another run is working on"), held(done):
        pass


@pytest.mark.parametrize("tables", [("asked", "decision"), ("asked",)])
def test_a_ledger_of_before_is_kept_and_the_same_command_makes_it_fit(done, run, tables):
    ledger = done / "out" / ".digitize" / "ledger.sqlite"
    with contextlib.closing(sqlite3.connect(ledger)) as database, database:
        for name in tables:
            database.execute(f"DROP TABLE {name}")
    with pytest.raises(UsageError, match="run the same digitize batch command once more"):
        batch_in(done / "out")
    assert run()["redone"] == 0
    assert [one.name for one in ledger.parent.glob("*damaged*")] == []
    with held(done) as on:
        assert case_of(on, 0).settings == OPTIONS


# --- accepted -------------------------------------------------------------------------------------------------------


def test_what_is_accepted_as_it_lies_is_not_written_again_and_needs_nobody(done, run):
    before = [(done / "out" / name).stat().st_mtime_ns for name in files(done, 1)]
    with held(done) as on:
        assert accept(on, 1).said == "accepted"
    assert before == [(done / "out" / name).stat().st_mtime_ns for name in files(done, 1)]
    for _ in range(2):  # the lists that the desk writes are those of the next run
        assert [row["file"] for row in table(done / "out" / "attention.csv")] == ["scan-2.png"]
        needs = {row["file"]: row["needs_person"] for row in table(done / "out" / "summary.csv")}
        assert needs == {"scan-0.png": "no", "scan-1.png": "no"}
        come = run()
    assert (come["redone"], come["need_person"], come["accepted"], come["rejected"]) == (0, 1, 1, 0)


def test_a_decision_is_on_the_disk_before_the_next_is_made(done, tmp_path):
    with held(done) as on:
        accept(on, 1)
        shutil.copytree(done / "out" / ".digitize", tmp_path / "killed")  # as it is where the process ends now
    ledger = Ledger(tmp_path / "killed")
    assert (ledger.said, ledger.row("scan-1.png").decided, ledger.row("scan-0.png").decided) == ("", "accepted", "")
    ledger.close()


def test_what_a_person_changed_is_written_kept_and_made_again_when_all_is(done, run):
    hole = [[round(x) for x in made_hole(done)]]
    steps = {"step": [{"do": "drop", "at": hole}]}
    change = Change(words={"clearance_mm": "0.2", "background": "light"}, by_hand=steps)
    with held(done) as on:
        accept(on, 0, change)
    wanted = outline(done / "in" / "scan-0.png", square_mm=25, clearance_mm=0.2, background="light", by_hand=steps)
    assert (done / "out" / "scan-0.json").read_bytes() == document_bytes(wanted.result)
    assert run()["redone"] == 0
    (done / "out" / "scan-0.dxf").unlink()
    come = run()
    assert (come["redone"], come["accepted"]) == (1, 1)  # the same came out again: it stays accepted
    assert (done / "out" / "scan-0.json").read_bytes() == document_bytes(wanted.result)
    come = run("--kerf", "0.1", "--clearance", "0.3")
    assert (come["redone"], come["accepted"]) == (3, 0)  # of what is another now nobody has said anything
    told = json.loads((done / "out" / "scan-0.json").read_bytes())["options"]
    assert (told["cutting"]["clearance_mm"], told["cutting"]["kerf_mm"]) == (0.2, 0.1)
    assert told["by_hand"] == {"step": [{"do": "drop", "at": [[float(x) for x in hole[0]]]}]}
    with held(done) as on:
        case = case_of(on, 0)
    assert (case.said, case.settings.cutting.clearance_mm, case.decision.change) == ("", 0.3, change)


def made_hole(at):
    item = outline(at / "in" / "scan-0.png", square_mm=25).result.items[0]
    return item.contours[1].points_px.mean(axis=0)


def test_a_change_that_does_not_go_with_the_batch_any_more_is_said_and_left_out(done, monkeypatch):
    with held(done) as on:
        accept(on, 0, Change(words={"bleed_mm": "1"}))
    come = inline(monkeypatch)(done / "in", "--to", done / "out", *WORDS, "--inset", "1")
    assert "scan-0.png: what a person changed for it does not go with what is asked now: " in come.stderr.decode()
    told = json.loads((done / "out" / "scan-0.json").read_bytes())["options"]
    assert (told.get("bleed_mm"), told["inset_mm"]) == (None, 1.0)


def test_of_another_picture_nothing_was_decided(done, run):
    with held(done) as on:
        accept(on, 0, Change(words={"clearance_mm": "0.2"}))
        reject(on, 1)
    for name in ("scan-0.png", "scan-1.png"):
        picture = Image.open(done / "in" / name)
        picture.transpose(Image.Transpose.ROTATE_180).save(done / "in" / name, dpi=(80, 80))
    come = run()
    assert (come["redone"], come["accepted"], come["rejected"], come["need_person"]) == (2, 0, 0, 1)
    assert "cutting" not in json.loads((done / "out" / "scan-0.json").read_bytes())["options"]


def test_a_picture_that_was_only_touched_is_still_the_one_that_was_decided_on(done, run):
    with held(done) as on:
        reject(on, 0)
        accept(on, 1)
    for number in (0, 1):
        path = done / "in" / f"scan-{number}.png"
        data = path.read_bytes()
        path.unlink()
        path.write_bytes(data)
    come = run()
    assert (come["accepted"], come["rejected"], files(done, 0)) == (1, 1, [])


def test_a_picture_that_changed_under_the_persons_eyes_is_not_decided_on(done):
    with held(done) as on:
        case = case_of(on, 0)
        made = made_of(case, Change())
        case.source.write_bytes((done / "in" / "scan-1.png").read_bytes())
        with pytest.raises(PictureError, match="has changed since it was opened"):
            on.accept(case, made.picture.sha256, lambda: made, Change())
        assert case_of(on, 0).said == ""


# --- rejected -------------------------------------------------------------------------------------------------------


def test_of_what_is_rejected_no_file_stays_and_no_run_makes_it_again(done, run):
    with held(done) as on:
        assert reject(on, 0).said == "rejected"
        assert files(done, 0) == []
        unread = case_of(on, 2)
        on.reject(unread, "", without(PictureError("cut short")), Change())
    for _ in range(2):
        told = {row["file"]: row for row in table(done / "out" / "attention.csv")}
        assert {name: row["code"] for name, row in told.items()} == {
            "scan-0.png": "rejected",
            "scan-1.png": "density-disagrees",
            "scan-2.png": "rejected",
        }
        assert "Take the picture again under the same name" in told["scan-0.png"]["next_step"]
        assert [row["file"] for row in table(done / "out" / "summary.csv")] == ["scan-1.png"]
        come = run("--retry")
    assert (come["redone"], come["rejected"], come["without_result"], files(done, 0)) == (0, 2, 2, [])


def test_what_was_decided_can_be_decided_anew_or_left_open_again(done, run):
    with held(done) as on:
        reject(on, 0)
        assert accept(on, 0).said == "accepted"
        assert files(done, 0) == ["scan-0.dxf", "scan-0.json"]
        reject(on, 0)
        assert on.reopen(case_of(on, 0)).said == ""
        accept(on, 1)
        on.reopen(case_of(on, 1))
    come = run()
    assert (come["accepted"], come["rejected"], come["need_person"]) == (0, 0, 2)
    assert files(done, 0) == ["scan-0.dxf", "scan-0.json"]


def test_a_result_that_somebody_edited_is_left_where_a_picture_is_rejected(done):
    path = done / "out" / "scan-0.dxf"
    path.write_bytes(path.read_bytes() + b"\n")
    with held(done) as on:
        reject(on, 0)
    assert files(done, 0) == ["scan-0.dxf"]


def test_a_picture_without_an_outline_is_rejected_with_its_reason(done):
    with held(done) as on:
        case = case_of(on, 0)
        sha256 = made_of(case, Change()).picture.sha256
        case = on.reject(case, sha256, without(OutlineError("nothing lies there")), Change(words={"dust_mm": "50"}))
        assert (case.said, case.row.outcome.problem, case.row.outcome.state) == (
            "rejected",
            "nothing lies there",
            "failed",
        )


# --- begun by hand --------------------------------------------------------------------------------------------------


def test_a_folder_of_pictures_becomes_a_batch_as_they_are_accepted(done, run):
    at = done
    shutil.rmtree(at / "out")
    words = {**dict.fromkeys(declared(Output)), "formats": "json,dxf"}
    output = Said(Output, words).made().into(at / "out")
    found, _ = find_pictures(Search(root=at / "in"))
    wanted = Wanted(settings=OPTIONS, output=output)
    batch = Batch(
        root=str(at / "in"),
        found=found,
        wanted=lambda _: wanted,
        results=str(at / "out"),
        home=at / "out",
        output=words,
    )
    with desk(batch) as on:
        assert [case.key for case in on.cases()] == [f"scan-{n}.png" for n in range(3)]
        accept(on, 1)
        reject(on, 0)
    assert (files(at, 0), files(at, 1)) == ([], ["scan-1.dxf", "scan-1.json"])
    mark = (at / "out" / "scan-1.json").stat().st_mtime_ns
    come = run()
    assert (come["redone"], come["skipped"], come["accepted"], come["rejected"]) == (1, 2, 1, 1)
    assert (at / "out" / "scan-1.json").stat().st_mtime_ns == mark
    with held(at) as on:  # and is opened as one
        assert {case.key: case.said for case in on.cases()} == {
            "scan-0.png": "rejected",
            "scan-1.png": "accepted",
            "scan-2.png": "",
        }
