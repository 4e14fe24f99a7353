"""A batch that is killed at any moment goes on where it was; nothing is half-written, nothing counted twice."""

import contextlib
import csv
import os
import random
import re
import signal
import sqlite3
import subprocess
import time

import pytest

from . import started
from .batch_scans import ROOT, arguments, fill, results, run

COUNT = 4
FORMATS = ("--format", "json,svg")  # two files a picture can be half there; what they hold is tested elsewhere


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("scans"), COUNT)


@pytest.fixture(scope="module")
def expected(scans, tmp_path_factory):
    """What a run that nothing disturbs writes, all its processes started as by a shell."""
    out = tmp_path_factory.mktemp("expected")
    done = subprocess.run(arguments("batch", scans, "--to", out, *FORMATS), cwd=ROOT, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    return told(out)


def told(out):
    """The results; links to the pictures depend on where the results lie."""
    found = results(out)
    found["contact.html"] = re.sub(rb'href="[^"]*/(scan-\d.png)"', rb'href="\1"', found["contact.html"])
    return found


def begin(scans, out, *words, by=started.Popen, **options):
    command = arguments("batch", scans, "--to", out, *FORMATS, *words)
    return by(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options)


def wait_for(process, fits, limit=900.0):
    """Wait until `fits` holds or the process has ended; return whether it held."""
    end = time.monotonic() + limit
    while time.monotonic() < end and process.poll() is None:
        if fits():
            return True
        time.sleep(0.0005)
    return False


def halves(out):
    """Files that are being written."""
    return list(out.rglob("*.part")) if out.exists() else []


def ledger(out):
    with contextlib.closing(sqlite3.connect(out / ".digitize" / "ledger.sqlite")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return database.execute("SELECT key, state FROM picture ORDER BY key").fetchall()


def test_killed_at_six_moments(scans, expected, tmp_path):
    out = tmp_path / "out"
    random.seed(5)
    while_writing = 0
    for number in range(6):
        process = begin(scans, out)
        if number % 2:
            while_writing += wait_for(process, lambda: halves(out))
        else:
            wait_for(process, (out / ".digitize").exists)
            time.sleep(random.uniform(0, 0.7))
        process.kill()
        process.communicate()
        whole = {name: data for name, data in results(out).items() if not name.endswith(".part")}
        assert all(expected[name] == data for name, data in whole.items() if name not in REPORTS)
        if len(whole) == len(expected):  # all is done: begin again with less
            for path in list(out.glob("scan-*"))[::2]:
                path.unlink()
    assert while_writing >= 2
    done = run("batch", scans, "--to", out, *FORMATS)
    assert done.returncode == 0, done.stderr.decode()
    assert told(out) == expected
    assert [state for _, state in ledger(out)] == ["done"] * COUNT
    again = run("batch", scans, "--to", out, *FORMATS)
    assert f"0 worked on, {COUNT} done before".encode() in again.stderr


REPORTS = ("summary.csv", "attention.csv", "contact.html")


def test_workers_end_with_a_run_that_is_killed(scans, tmp_path):
    out = tmp_path / "out"
    process = begin(scans, out, "--jobs", "2", by=subprocess.Popen)
    assert wait_for(process, lambda: halves(out))  # one worker writes, the other is in the middle of its picture
    process.kill()
    time.sleep(0.1)
    before = results(out).keys()
    process.communicate()  # returns when nobody holds the pipe of stderr: the workers are gone too
    assert results(out).keys() == before


def test_second_run_on_the_same_results_refuses(scans, expected, tmp_path):
    out = tmp_path / "out"
    first = begin(scans, out)
    assert wait_for(first, lambda: (out / ".digitize" / "ledger.sqlite").exists())
    second = run("batch", scans, "--to", out, *FORMATS)
    assert first.poll() is None
    assert second.returncode == 3
    assert b"another run is working on" in second.stderr
    assert b"Traceback" not in second.stderr
    first.communicate()
    assert first.returncode == 0
    assert told(out) == expected


def test_asked_to_stop(scans, expected, tmp_path):
    """By each signal in turn, sent to all processes as a terminal or a service sends it, and gone on each time."""
    out = tmp_path / "out"
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        there = len(documents(out))
        process = begin(scans, out, "--jobs", "1", start_new_session=True)
        assert wait_for(process, lambda there=there: len(documents(out)) > there)
        os.killpg(process.pid, number)
        _, said = process.communicate(timeout=900)
        assert process.returncode == 130, said.decode()
        assert b"run the same command to go on" in said
        assert b"Traceback" not in said
        assert not halves(out)
        assert there < len(ledger(out)) <= COUNT
        assert sorted(path.name for path in out.glob("*.*") if path.name in REPORTS) == sorted(REPORTS)
        with (out / "summary.csv").open(encoding="utf-8-sig", newline="") as table:
            assert {line["file"] for line in csv.DictReader(table)} == {os.fsdecode(key) for key, _ in ledger(out)}
    done = run("batch", scans, "--to", out, *FORMATS)
    assert done.returncode == 0
    assert told(out) == expected


def documents(out):
    return list(out.glob("scan-*.json"))


def test_asked_twice_stops_at_once(scans, tmp_path):
    out = tmp_path / "out"
    process = begin(scans, out, start_new_session=True, by=subprocess.Popen)
    assert wait_for(process, lambda: halves(out))
    os.killpg(process.pid, signal.SIGINT)
    time.sleep(0.4)  # nearer ones are one wish
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=900)
    assert process.returncode == 130, said.decode()
    assert b"Traceback" not in said
    assert not halves(out)
