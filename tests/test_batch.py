"""The batch from end to end: the same bytes as the single command, and only what is not done is done."""

import contextlib
import csv
import io
import json
import os
import sqlite3
from pathlib import Path
from types import SimpleNamespace

import pytest
from PIL import Image

from digitize.batch import memory
from digitize.batch.drive import Stop
from digitize.batch.pool import Limits, Pool
from digitize.batch.task import Task, Wanted
from digitize.settings import Settings

from .batch_scans import SQUARE, fill, inline, results, run, scan
from .pool_work import answer, hang, sometimes_die, work_side_by_side
from .test_cli import digitize


def said(done):
    return done.stderr.decode()


@pytest.fixture
def batch(monkeypatch):
    return inline(monkeypatch)


def table(out, name):
    return list(csv.DictReader(io.StringIO((out / name).read_bytes().decode("utf-8-sig"), newline="")))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two folders deep, with two pictures of one stem."""
    folder = fill(tmp_path_factory.mktemp("in") / "scans", 2)
    fill(folder / "sub folder", 1)
    (folder / "sub folder" / "two.png").write_bytes(scan(2))
    (folder / "sub folder" / "two.tif").write_bytes(scan(3))  # what it is, its content tells
    return folder


@pytest.fixture(scope="module")
def done(folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("done") / "out"
    done = run("batch", folder, "--to", out, "--recursive")
    assert done.returncode == 0, said(done)
    return out


def test_a_picture_of_its_own_gives_the_same_bytes(folder, done, tmp_path):
    for name in ("scan-0.png", "sub folder/scan-0.png"):
        single = tmp_path / name
        assert digitize("outline", folder / name, "--to", single, "--square", SQUARE).returncode == 0
        ours = results(single)
        assert len(ours) == 6
        beside = done / Path(name).parent
        assert ours == {file: (beside / file).read_bytes() for file in ours}


def test_equal_stems_get_names_of_their_own(done):
    names = {path.name for path in (done / "sub folder").glob("two*")}
    assert names == {f"two_{kind}.{file}" for kind in ("png", "tif") for file in FILES}
    items = [line["item"] for line in table(done, "summary.csv")]
    assert items == ["scan-0-1", "scan-1-1", "scan-0-1", "two_png-1", "two_tif-1"]
    assert json.loads((done / "sub folder" / "two_tif.json").read_text("utf-8"))["items"][0]["name"] == "two_tif-1"


FILES = ("json", "dxf", "svg", "pdf", "proof.pdf", "check.png")


def test_done_and_unchanged_is_left_alone(folder, done):
    before = {path: path.stat().st_mtime_ns for path in done.rglob("*") if path.suffix == ".json"}
    again = run("batch", folder, "--to", done, "--recursive", "--json")
    assert again.returncode == 0
    assert json.loads(again.stdout) == {
        "pictures": 5,
        "items": 5,
        "need_person": 0,
        "without_result": 0,
        "unwritten": 0,
        "unexpected": 0,
        "gone": 0,
        "accepted": 0,
        "rejected": 0,
        "redone": 0,
        "skipped": 5,
        "stopped": False,
    }
    assert {path: path.stat().st_mtime_ns for path in before} == before


def test_what_changed_is_redone_and_nothing_else(tmp_path, batch):
    folder, out = fill(tmp_path / "in", 4), tmp_path / "out"
    assert batch(folder, "--to", out, "--format", "json,svg").returncode == 0
    expected = results(out)
    (folder / "scan-0.png").write_bytes(scan(5))  # another picture
    os.utime(folder / "scan-1.png")  # the same one, touched
    (out / "scan-2.json").unlink()  # a result is gone
    (folder / "scan-9.png").write_bytes(scan(9))
    again = batch(folder, "--to", out, "--format", "json,svg")
    assert "3 worked on, 2 done before" in said(again)
    now = results(out)
    assert now["scan-0.json"] != expected["scan-0.json"]
    same = ("scan-1.json", "scan-2.json", "scan-3.json")
    assert [now[name] for name in same] == [expected[name] for name in same]
    # other options: all again, and what is no longer asked for goes
    assert "5 worked on" in said(batch(folder, "--to", out, "--format", "json", "--clearance", "0.2"))
    assert not list(out.glob("*.svg"))
    # a picture that is no more is listed, and in no other report
    (folder / "scan-9.png").unlink()
    less = batch(folder, "--to", out, "--format", "json", "--clearance", "0.2")
    assert less.returncode == 0
    assert "no longer there, their results are kept: scan-9.png" in said(less)
    assert "scan-9" not in (out / "summary.csv").read_text("utf-8")
    (line,) = table(out, "attention.csv")
    assert (line["file"], line["code"], line["results"]) == ("scan-9.png", "picture-gone", "scan-9.json")


def test_an_edited_result_is_not_overwritten(tmp_path, batch):
    folder, out = fill(tmp_path / "in", 2), tmp_path / "out"
    batch(folder, "--to", out, "--format", "json,svg")
    edited = (out / "scan-0.svg").read_text().replace("</svg>", "<text>my words</text></svg>")
    (out / "scan-0.svg").write_text(edited)
    again = batch(folder, "--to", out, "--format", "json,svg", "--kerf", "0.2")
    assert again.returncode == 3
    assert "scan-0.svg was edited since digitize wrote it, and is kept" in said(again)
    assert (out / "scan-0.svg").read_text() == edited
    assert table(out, "attention.csv")[0]["code"] == "not-written"
    assert batch(folder, "--to", out, "--format", "json,svg", "--kerf", "0.2", "--force").returncode == 0
    assert (out / "scan-0.svg").read_text() != edited


def test_failed_waits_for_retry_or_change(tmp_path, batch):
    folder, out = fill(tmp_path / "in", 1), tmp_path / "out"
    (folder / "bad.png").write_bytes(scan(1)[:5000])
    words = (folder, "--to", out, "--format", "json")
    first = batch(*words)
    assert first.returncode == 1
    assert "1 need a person, 1 of them without a result" in said(first)
    assert "0 worked on, 2 done before" in said(batch(*words))
    assert "1 worked on, 1 done before" in said(batch(*words, "--retry"))
    (folder / "bad.png").write_bytes(scan(1))
    mended = batch(*words)
    assert mended.returncode == 0
    assert "1 worked on, 1 done before" in said(mended)


def test_a_picture_too_large_is_done_when_more_is_allowed(tmp_path, batch):
    folder, out = fill(tmp_path / "in", 1), tmp_path / "out"
    words = (folder, "--to", out, "--format", "json", "--max-mpx")
    assert batch(*words, "0.01").returncode == 1
    assert not (out / "scan-0.json").exists()
    assert "0 worked on, 1 done before" in said(batch(*words, "0.01"))
    more = batch(*words, "10")
    assert more.returncode == 0
    assert "1 worked on, 0 done before" in said(more)
    assert (out / "scan-0.json").exists()
    assert "0 worked on, 1 done before" in said(batch(*words, "0.01"))  # what is done stays done


def test_manifest_gives_each_picture_its_options(tmp_path, batch):
    folder, out = fill(tmp_path / "in", 3), tmp_path / "out"
    manifest = tmp_path / "night.csv"
    manifest.write_text("file,square,kerf,note\nscan-0.png,,,as it is\nscan-2.png,50,,twice as large\n")
    assert (
        batch(folder, "--to", out, "--manifest", manifest, "--format", "json").returncode == 1
    )  # 50 disagrees with the density
    sizes = {line["file"]: float(line["width_mm"]) for line in table(out, "summary.csv")}
    assert set(sizes) == {"scan-0.png", "scan-2.png"}
    assert run("outline", folder / "scan-2.png", "--to", tmp_path / "single").returncode == 0
    single = json.loads((tmp_path / "single" / "scan-2.json").read_text("utf-8"))["items"][0]["width_mm"]
    assert sizes["scan-2.png"] == pytest.approx(2 * single, abs=2e-3)
    manifest.write_text("file,kerf\nscan-0.png,wide\n")
    refused = batch(folder, "--to", tmp_path / "none", "--manifest", manifest)
    assert refused.returncode == 2
    assert "scan-0.png: --kerf wide: expected a number" in said(refused)
    assert not (tmp_path / "none").exists()


def test_list_from_anywhere(tmp_path, batch):
    folder, out = fill(tmp_path / "in", 2), tmp_path / "out"
    (tmp_path / "list.txt").write_text(f"in/scan-1.png\n{folder}/scan-0.png\nin/gone.png\n")
    done = batch("--list", tmp_path / "list.txt", "--to", out, "--format", "json")
    assert done.returncode == 1
    assert "in/gone.png: no such file" in said(done)
    assert {str(path.relative_to(out)) for path in out.rglob("*.json")} == {"in/scan-0.json", "in/scan-1.json"}


def test_results_beside_the_pictures(tmp_path, batch):
    folder = fill(tmp_path / "in", 2)
    for _ in range(2):
        done = batch(folder, "--to", folder)
        assert done.returncode == 0
        assert "2 pictures, 2 items" in said(done)
    assert "0 worked on" in said(done)


def test_names_as_long_as_they_may_be_and_accents_put_in_two_ways(tmp_path, batch):
    folder, out = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    long = "n" * 246 + ".png"  # 250 bytes: no ending of ours would fit behind the stem
    (folder / long).write_bytes(scan(0))
    (folder / "caf\u00e9.png").write_bytes(scan(1))
    words = ("--to", out, "--format", "json,png")
    assert batch(folder, *words).returncode == 0
    assert {path.stem[:100] for path in out.glob("*.json")} == {"n" * 100, "caf\u00e9"}
    assert len(list(out.glob("*.check.png"))) == 2
    (folder / "caf\u00e9.png").rename(folder / "cafe\u0301.png")  # as a disk that was formatted elsewhere names it
    again = batch(folder, *words)
    assert "2 pictures, 2 items, 0 worked on, 2 done before" in said(again)
    assert "no longer there" not in said(again)


def test_two_folders_are_not_mixed(tmp_path, batch):
    out = tmp_path / "out"
    assert batch(fill(tmp_path / "one", 1), "--to", out, "--format", "json").returncode == 0
    mixed = batch(fill(tmp_path / "two", 1), "--to", out, "--format", "json")
    assert mixed.returncode == 2
    assert "holds the results of" in said(mixed)
    (tmp_path / "one").rename(tmp_path / "moved")  # the same folder under another name is the same
    assert "0 worked on, 1 done before" in said(batch(tmp_path / "moved", "--to", out, "--format", "json"))


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("batch", "--to", "x"), "give a folder"),
        (("batch", "x", "--to", "x", "--list", "a", "--manifest", "b"), "not both"),
        (("batch", "x", "--to", "s3://shelf/out"), "--ledger"),
        (("batch", "x", "--to", "out", "--ledger", "y"), "--ledger is for"),
        (("batch", ".", "--to", "out", "--jobs", "0"), "--jobs 0: expected a number above 0"),
        (("batch", ".", "--to", "out", "--kerf", "99"), "--kerf 99"),
        (("batch", ".", "--to", "out", "--format", "gcode"), "choose from"),
    ],
)
def test_options_that_cannot_be_meant(tmp_path, words, expected):
    (tmp_path / "a.png").write_bytes(b"x")
    done = digitize(*words, "--square", SQUARE, cwd=tmp_path)
    assert done.returncode == 2
    assert expected in done.said
    assert os.listdir(tmp_path) == ["a.png"]


def test_nothing_to_do(tmp_path, batch):
    empty = batch(tmp_path, "--to", tmp_path / "out")
    assert empty.returncode == 3
    assert "no pictures in" in said(empty)
    assert os.listdir(tmp_path) == []
    assert batch(tmp_path / "none", "--to", tmp_path / "out").returncode == 3


# the pool


def task(number, source="/none"):
    return Task(key=str(number), source=source, folder="/none", wanted=Wanted(settings=Settings()))


def limits(**more):
    return Limits(**{"jobs": 2, "memory_bytes": 10**12} | more)


def test_every_task_once_and_workers_used_again():
    came = list(Pool(answer, limits()).run(task(n) for n in range(30)))
    assert sorted(int(one.key) for one, _ in came) == list(range(30))
    assert len({outcome.sha256 for _, outcome in came}) == 2


def test_workers_that_end_by_themselves(tmp_path):
    tasks = [task(n, str(tmp_path / "second")) for n in range(6)]
    came = {one.key: outcome for one, outcome in Pool(sometimes_die, limits()).run(tasks)}
    assert [came[str(n)].state for n in range(6)] == ["done", "failed", "unwritten", "done", "done", "done"]
    assert (came["1"].kind, came["2"].kind) == ("ended", "memory")
    assert "exit code -11" in came["1"].problem
    assert [(tmp_path / f"second.{n}").read_text() for n in range(6)] == ["I", "II", "II", "II", "I", "I"]


def test_a_picture_that_hangs_is_given_up(monkeypatch):
    """By a clock of the test's own: it stands still until the three others are done."""
    clock = SimpleNamespace(now=0.0)
    monkeypatch.setattr("digitize.batch.pool.time", SimpleNamespace(monotonic=lambda: clock.now))
    came = {}
    for one, outcome in Pool(hang, limits(base_s=1.5, per_mpx_s=0)).run(map(task, range(4))):
        came[one.key] = outcome
        if len(came) == 3:
            clock.now = 1.6
    assert came.pop("1").kind == "time"
    assert [outcome.state for outcome in came.values()] == ["done"] * 3


@pytest.mark.parametrize(("room", "most"), [(3, 3), (2, 2), (1, 1), (0, 1)])
def test_no_more_at_a_time_than_memory_carries(room, most, monkeypatch):
    monkeypatch.setattr(memory, "need_bytes", lambda source, max_mpx: 100)
    pool = Pool(work_side_by_side, limits(jobs=3, memory_bytes=100 * room))
    at_work = []

    def tasks():
        for number in range(9):
            yield task(number)

    for _ in pool.run(tasks()):
        at_work.append(len(pool._busy))
    assert max(at_work) == most


def test_stop_lets_what_is_begun_finish():
    stop = Stop()
    came = []
    for one, outcome in Pool(answer, limits(), stop).run(map(task, range(100))):
        came.append(one.key)
        assert outcome.state == "done"
        stop.asked = True
    assert 1 <= len(came) <= 4


def test_need_is_told_from_the_header(tmp_path):
    small, large = tmp_path / "a.png", tmp_path / "b.png"
    small.write_bytes(scan(0, 60))
    large.write_bytes(scan(0, 120))
    needs = [memory.need_bytes(str(path), max_mpx=400) - memory.BASE_BYTES for path in (small, large)]
    assert needs[1] == pytest.approx(4 * needs[0], rel=0.02)
    with Image.open(small) as picture:
        per_px = needs[0] / (picture.width * picture.height)
    # colour of 16 bit is 6 bytes a pixel, and is held twice while it is turned upright; photos took 15
    assert 12 <= per_px <= 30
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path / "none", tmp_path):
        # python with numpy, OpenCV, shapely and ezdxf loaded: 140 MB resident
        assert 140e6 <= memory.need_bytes(str(path), max_mpx=400) <= 300e6
    (tmp_path / "scan.pdf").write_bytes(b"%PDF-1.4 << /Width 3000 /Height 2000 >> << /Height 40 /Width 30 >>")
    assert memory.need_bytes(str(tmp_path / "scan.pdf"), max_mpx=400) == memory.BASE_BYTES + 6e6 * memory.PER_PX_BYTES
    (tmp_path / "hidden.pdf").write_bytes(b"%PDF-1.5 << /Type /ObjStm >>")
    assert memory.need_bytes(str(tmp_path / "hidden.pdf"), max_mpx=90) >= 90e6 * memory.PER_PX_BYTES
    (tmp_path / "odd").write_bytes(b"?")
    assert memory.need_bytes(str(tmp_path / "odd"), max_mpx=1) == memory.BASE_BYTES + 1e6 * memory.PER_PX_BYTES
    assert 1e8 < memory.free_bytes() < 1e14
    assert memory.cores() >= 1


@pytest.mark.parametrize(
    ("files", "free", "cores"),
    [
        # names and "max" as in the kernel's Documentation/admin-guide/cgroup-v2.rst and cgroup-v1/memory.rst
        ({"memory.max": "300000000\n", "memory.current": "100000000\n", "cpu.max": "100000 100000\n"}, 200_000_000, 1),
        ({"memory/memory.limit_in_bytes": "70000000", "memory/memory.usage_in_bytes": "90000000"}, 0, None),
        ({"memory.max": "max\n", "memory.current": "100000000\n", "cpu.max": "max 100000\n"}, None, None),
    ],
)
def test_a_container_s_limits_count(files, free, cores, tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "_GROUPS_AT", tmp_path / "none")
    plain = memory.cores()
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    monkeypatch.setattr(memory, "_GROUPS_AT", tmp_path)
    if free is None:
        assert memory.free_bytes() > 10**9
    else:
        assert memory.free_bytes() == free
    assert memory.cores() == (cores or plain)


def test_ledger_can_be_read_by_anyone_afterwards(done):
    with contextlib.closing(sqlite3.connect(done / ".digitize" / "ledger.sqlite")) as database:
        rows = database.execute(
            "SELECT state, version, length(sha256), seconds > 0, ended > 1e9 FROM picture"
        ).fetchall()
    assert rows == [("done", "0.1.0", 64, 1, 1)] * 5
