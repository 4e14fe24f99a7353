"""A ledger that is lost, damaged or of another version: the sound is known, the rest found again, nothing lost."""

import contextlib
import csv
import json
import sqlite3

import pytest

from digitize.batch.ledger import Ledger
from digitize.batch.names import Place
from digitize.batch.row import Row
from digitize.batch.task import Outcome

from .batch_scans import fill, inline, results

WORDS = ("--format", "json,dxf,svg,pdf")
REPORTS = ("summary.csv", "attention.csv", "contact.html")


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A folder of two pictures and its results."""
    base = tmp_path_factory.mktemp("base")
    with pytest.MonkeyPatch.context() as patch:
        come = inline(patch)(fill(base / "in", 2), "--to", base / "out", *WORDS)
    assert come.returncode == 0, come.stderr.decode()
    return base


@pytest.fixture
def batch(monkeypatch):
    return inline(monkeypatch)


def ledger_of(base):
    return base / "out" / ".digitize" / "ledger.sqlite"


def cut(path, share):
    """Cut a file, all of the log of changes too."""
    path.with_name(path.name + "-wal").unlink(missing_ok=True)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])


def change(path, statement, *values):
    with contextlib.closing(sqlite3.connect(path)) as database, database:
        database.execute(statement, values)


def outcome_with(path, **more):
    with contextlib.closing(sqlite3.connect(path)) as database, database:
        text = database.execute("SELECT outcome FROM picture WHERE key = ?", (b"scan-0.png",)).fetchone()[0]
    change(path, "UPDATE picture SET outcome = ? WHERE key = ?", json.dumps(json.loads(text) | more), b"scan-0.png")


SET_ASIDE = {
    "zeroed": lambda path: path.write_bytes(bytes(path.stat().st_size)),
    "text": lambda path: path.write_bytes(b"no database" * 300),
    "truncated": lambda path: cut(path, 0.6),
    "later version": lambda path: change(path, "PRAGMA user_version = 99"),
    "column gone": lambda path: change(path, "ALTER TABLE picture DROP COLUMN stat"),
    "broken JSON": lambda path: change(path, "UPDATE picture SET outcome = '{' WHERE key = ?", b"scan-0.png"),
    "deep JSON": lambda path: change(path, "UPDATE picture SET outcome = ? WHERE key = ?", "[" * 9**5, b"scan-0.png"),
    "no number": lambda path: outcome_with(path, seconds="long"),
    "evil stem": lambda path: change(path, "UPDATE picture SET stem = '../evil' WHERE key = ?", b"scan-0.png"),
    "evil folder": lambda path: change(path, "UPDATE picture SET folder = '../evil' WHERE key = ?", b"scan-0.png"),
    "evil file": lambda path: outcome_with(path, files=[["../evil.json", 3]]),
}
NO_LEDGER = {
    "deleted": lambda path: path.unlink(),
    "emptied": lambda path: cut(path, 0),
    "member of another version": lambda path: outcome_with(path, mood="good"),
}


@pytest.mark.parametrize("how", [*SET_ASIDE, *NO_LEDGER])
def test_nothing_is_made_again_and_nothing_is_lost(done, batch, how):
    path = ledger_of(done)
    before, aside = results(done / "out"), set(path.parent.glob("ledger-damaged-*.sqlite"))
    (SET_ASIDE | NO_LEDGER)[how](path)
    damaged = path.read_bytes() if path.exists() else b""
    again = batch(done / "in", "--to", done / "out", *WORDS)
    said = again.stderr.decode()
    assert again.returncode == 0, said
    assert "0 worked on, 2 done before" in said
    assert "--force" not in said
    now = results(done / "out")
    assert all(now[name] == data for name, data in before.items() if name not in REPORTS)
    assert now["summary.csv"] == before["summary.csv"]
    new = set(path.parent.glob("ledger-damaged-*.sqlite")) - aside
    if how in SET_ASIDE:
        (kept,) = new
        assert kept.name in said
        if how not in ("later version", "column gone"):
            assert kept.stat().st_size >= min(len(damaged), 1)
    else:
        assert not new
    with (done / "out" / "summary.csv").open(encoding="utf-8-sig", newline="") as table:
        assert [line["item"] for line in csv.DictReader(table)] == ["scan-0-1", "scan-1-1"]
    assert "0 worked on, 2 done before" in batch(done / "in", "--to", done / "out", *WORDS).stderr.decode()
    assert not list(done.rglob("evil*"))


def test_what_is_not_as_wanted_is_made_again(done, batch):
    """Other options, another version of DXF; and a report that was written in is kept under another name."""
    attention = done / "out" / "attention.csv"
    attention.write_bytes(attention.read_bytes() + b'"ticked off"\r\n')
    ledger_of(done).unlink()
    other = batch(done / "in", "--to", done / "out", *WORDS, "--dxf-version", "r12")
    assert other.returncode == 0, other.stderr.decode()
    assert "2 worked on, 0 done before" in other.stderr.decode()
    assert b"ticked off" in (done / "out" / "attention-kept-1.csv").read_bytes()
    ledger_of(done).unlink()
    kerf = batch(done / "in", "--to", done / "out", *WORDS, "--dxf-version", "r12", "--kerf", "0.2")
    assert "2 worked on, 0 done before" in kerf.stderr.decode()
    ledger_of(done).unlink()
    assert (
        "0 worked on, 2 done"
        in batch(done / "in", "--to", done / "out", *WORDS, "--dxf-version", "r12", "--kerf", "0.2").stderr.decode()
    )


def test_results_of_pictures_that_are_gone_are_listed_and_edited_ones_are_kept(done, batch):
    words = (done / "in", "--to", done / "out", *WORDS, "--kerf", "0.2")
    batch(*words)
    (done / "in" / "scan-0.png").unlink()
    edited = done / "out" / "scan-1.dxf"
    edited.write_bytes(edited.read_bytes() + b"999\nmine\n")
    ledger_of(done).unlink()
    for _ in range(2):
        again = batch(*words)
        said = again.stderr.decode()
        assert "no longer there, their results are kept: scan-0.png" in said
        assert "scan-1.dxf was edited since digitize wrote it, and is kept" in said
        assert again.returncode == 3
        assert edited.read_bytes().endswith(b"mine\n")
        assert (done / "out" / "scan-0.dxf").exists()
        with (done / "out" / "attention.csv").open(encoding="utf-8-sig", newline="") as table:
            assert [line["code"] for line in csv.DictReader(table)] == ["not-written", "picture-gone"]


def test_sound_lines_on_both_sides_of_a_damaged_page_stay_known(tmp_path):
    ledger = Ledger(tmp_path)
    for number in range(400):
        came = Outcome(state="done", sha256="5a", files=((f"{number:03d}.json", 3),), problem="x" * 200)
        key = f"{number:03d}.png"
        place = Place("", f"{number:03d}")
        ledger.record(Row(key=key, place=place, source=key, stat="1", wanted="w", max_mpx=400.0, outcome=came))
    ledger.close()
    data = bytearray((tmp_path / "ledger.sqlite").read_bytes())
    place = data.index(b"200.json") // 4096 * 4096  # the default size of a page (sqlite.org, PRAGMA page_size)
    data[place : place + 4096] = b"\xff" * 4096
    (tmp_path / "ledger.sqlite").write_bytes(data)
    with contextlib.closing(Ledger(tmp_path)) as again:
        known = {row.key for row in again.rows()}
        assert "damaged" in again.said
    assert {"000.png", "399.png"} <= known
    assert len(known) > 350
