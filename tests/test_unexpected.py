"""Exit code 1 means "done, look" and nothing else; what nobody expected is 70 (EX_SOFTWARE of sysexits.h)."""

import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from digitize.batch import worker
from digitize.batch.drive import Done
from digitize.batch.reports import Counts
from digitize.cli.failures import guarded
from digitize.errors import DigitizeError, UsageError
from digitize.files import read_toml

from .batch_scans import ROOT

UNEXPECTED = 70


def digitize(*words, before="true", stdout=subprocess.PIPE, stderr=subprocess.PIPE):
    """Run the command after a line of a shell's own, such as one that closes a stream."""
    line = f'{before}; exec "$0" -m digitize "$@"'
    return subprocess.run(
        ["/bin/sh", "-c", line, sys.executable, *map(str, words)], cwd=ROOT, stdout=stdout, stderr=stderr, timeout=600
    )


def raising(error):
    raise error


@pytest.mark.parametrize(
    "error", [ZeroDivisionError("x"), RecursionError(), EOFError(), KeyboardInterrupt(), OSError(32, "pipe")]
)
def test_what_nobody_expected_is_told_with_where_the_details_are(error, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert guarded(lambda: raising(error)) == UNEXPECTED
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "Traceback" not in said
    (path,) = tmp_path.iterdir()
    assert said.rstrip().endswith(f"{path}.")
    assert "Traceback (most recent call last)" in path.read_text()
    assert type(error).__name__ in path.read_text()


def test_where_no_details_can_be_written_the_place_is_named(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    assert guarded(lambda: raising(ZeroDivisionError())) == UNEXPECTED
    assert re.search(r"test_unexpected\.py, line \d+\.$", capsys.readouterr().err.strip())


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="full(4) is of Linux")
def test_stdout_full_is_told_on_stderr():
    with open("/dev/full", "w") as full:
        done = digitize("--help", stdout=full)
    assert done.returncode == UNEXPECTED
    assert b"did not arrive" in done.stderr
    assert b"Traceback" not in done.stderr


def test_stdout_that_nobody_reads():
    read, write = os.pipe()
    os.close(read)
    done = digitize("cutting", stdout=write)
    os.close(write)
    assert done.returncode == UNEXPECTED
    assert done.stderr.count(b"\n") == 1


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="full(4) is of Linux")
def test_stderr_full_costs_no_result(tmp_path):
    with open("/dev/full", "w") as full:
        done = digitize("cutting", "--to", tmp_path / "own.toml", stderr=full)
    assert done.returncode == UNEXPECTED
    assert (tmp_path / "own.toml").stat().st_size > 100


def test_streams_closed_from_the_start_take_no_text_into_a_result(tmp_path):
    """Whoever closes them wants no text; a file that is opened gets the lowest free number (POSIX, open)."""
    assert digitize("cutting", "--to", tmp_path / "a.toml").returncode == 0
    assert digitize("cutting", "--to", tmp_path / "b.toml", before="exec 0<&- 1>&- 2>&-").returncode == 0
    assert (tmp_path / "a.toml").read_bytes() == (tmp_path / "b.toml").read_bytes()


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"a = " + b"[" * 9000, "as deep"), (b"a = 1 # " + b"x" * 1_000_000, "1 MB"), (None, "pipe")],
)
def test_option_files_that_are_none(content, said, tmp_path):
    path = tmp_path / "own.toml"
    os.mkfifo(path) if content is None else path.write_bytes(content)
    with pytest.raises(UsageError, match=said):
        read_toml(path, option="--cutting", form="x", expected="a file of digitize cutting")


@pytest.mark.parametrize(
    ("counted", "code"),
    [
        ({}, 0),
        ({"need_person": 1}, 1),
        ({"need_person": 1, "unwritten": 1}, 3),
        ({"need_person": 1, "unexpected": 1}, 70),
    ],
)
def test_a_batch_tells_defects_from_what_needs_a_person(counted, code):
    names = dict.fromkeys(("pictures", "items", "need_person", "without_result", "unwritten", "unexpected", "gone"), 0)
    done = Done(
        counts=Counts(**names | counted),
        redone=1,
        skipped=0,
        stopped=False,
        troubles=(),
        reports=(Path("a"), Path("b")),
    )
    assert done.exit_code == code
    assert json.loads(done.json())["unexpected"] == counted.get("unexpected", 0)


def test_where_no_process_can_be_started(monkeypatch):
    """As fork(2) has it where the limit of processes is reached: EAGAIN."""
    tried = []

    def refuse(process):
        tried.append(process)
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(worker._context().Process, "start", refuse)
    with pytest.raises(DigitizeError, match="fewer --jobs"):
        worker.hire(len, None)
    assert len(tried) == 2  # once more, for the process that forks may have been killed
