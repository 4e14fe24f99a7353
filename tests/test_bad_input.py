"""Bad input: a sentence, the right exit code, and the rest of the folder done."""

import contextlib
import csv
import ctypes
import functools
import io
import os
import re
import resource
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from digitize.cli.commands import app

from . import bad_files
from .batch_scans import ROOT, SQUARE, arguments, fill, inline, results, run, scan

COARSE = ("--format", "json", "--tolerance", "0.1")
CASES = {name: 4 if name in bad_files.NO_SCALE else 3 for name in bad_files.REFUSED}


def outline(path, out):
    """The command outline in this process; `--` so that a name may begin with a dash."""
    words = ["outline", "--to", str(out), *COARSE, "--square", SQUARE, "--", str(path)]
    came = CliRunner().invoke(app, words)
    assert came.exception is None or isinstance(came.exception, SystemExit), came.exception
    return came.exit_code, came.stderr


@pytest.mark.parametrize("name", CASES)
def test_refused_with_a_sentence(name, tmp_path):
    (tmp_path / name).write_bytes(bad_files.REFUSED[name]())
    code, said = outline(tmp_path / name, tmp_path / "out")
    assert code == CASES[name], said
    assert re.fullmatch(r"digitize: [^\n]{20,}\.\n", said), said
    assert not (tmp_path / "out").exists()


def test_a_byte_is_not_called_text(tmp_path):
    (tmp_path / "one.png").write_bytes(b"\x89")
    assert "of no known kind" in outline(tmp_path / "one.png", tmp_path / "out")[1]


# Of names that are all that is odd, some: the whole corpus goes through a batch below.
ODD = [
    name
    for name, make in bad_files.OUTLINED.items()
    if make is not bad_files.good or name in ("png named.jpg", "new\nline.png", "--to.png", "x" * 200 + ".png")
]


@pytest.mark.usefixtures("made_once")  # as by the batch below
@pytest.mark.parametrize("name", ODD)
def test_odd_but_good(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with open(name, "wb") as stream:
        stream.write(bad_files.OUTLINED[name]())
    code, said = outline(name, "out")
    assert code in (0, 1), said
    (written,) = os.listdir("out")
    assert written.endswith(".json")
    assert not re.search(r"[/\\:*?\"<>|\n]", written)
    if name.startswith(("animated", "300")):
        assert "only the first" in said.lower(), said


@pytest.mark.parametrize("name", ["link round.png", "link to nothing.png", "pipe.png", "folder.png", bad_files.ODD])
def test_what_is_no_file(name, tmp_path):
    bad_files.write_links(tmp_path)
    (tmp_path / "folder.png").mkdir()
    code, said = outline(tmp_path / name, tmp_path / "out")
    assert code == (0 if name == bad_files.ODD else 3), said
    assert "Traceback" not in said


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """One run over the whole corpus."""
    folder = tmp_path_factory.mktemp("bad")
    bad_files.write(folder / "in")
    with pytest.MonkeyPatch.context() as patch:
        return folder / "out", inline(patch)(folder / "in", "--to", folder / "out", *COARSE)


def test_the_rest_of_the_folder_is_done(whole):
    out, done = whole
    assert done.returncode == 1, done.stderr.decode()
    assert b"Traceback" not in done.stderr
    refused = {*bad_files.REFUSED, *bad_files.LINKS}
    outlined = {*bad_files.OUTLINED, "not utf-8 \\udcff.png"}
    attention, summary = (read(out / name) for name in ("attention.csv", "summary.csv"))
    none = {line["file"] for line in attention if line["code"] in ("unreadable", "no-scale")}
    assert {name.removeprefix("./") for name in none} == refused
    assert {line["file"].removeprefix("./") for line in summary} == outlined
    assert len(list(out.glob("*.json"))) == len(outlined)
    assert all(len(line["reason"]) > 20 and len(line["next_step"]) > 20 for line in attention)


def read(path):
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def test_reports_hold_names_that_would_break_them(whole):
    page = (whole[0] / "contact.html").read_text("utf-8")
    assert "&#x27;quote&quot; &amp; &lt;tag&gt;.png" in page
    assert "<tag>" not in page
    assert "new\\\\nline.png" in page  # of the pictures beyond the first, which are kept as JSON until they are shown
    assert "not%20utf-8%20%FF.png" in page
    assert "%252e%252e%252f.json" in page


# the machine in the way

DAC_OVERRIDE, DAC_READ_SEARCH, PR_CAPBSET_DROP = 1, 2, 24  # linux/capability.h, linux/prctl.h


def as_anyone():
    """Let permissions count for root too, in a child process before it begins."""
    if os.geteuid() == 0:
        for capability in (DAC_OVERRIDE, DAC_READ_SEARCH):
            assert ctypes.CDLL(None).prctl(PR_CAPBSET_DROP, capability, 0, 0, 0) == 0


def run_as_anyone(*words):
    """Run a command that is executed anew: that is when capabilities are taken away."""
    return subprocess.run(arguments(*words), cwd=ROOT, capture_output=True, preexec_fn=as_anyone, check=False)


def test_no_permission_to_read(tmp_path):
    folder = fill(tmp_path / "in", 2, bad_files.DPI)
    (folder / "scan-0.png").chmod(0)
    (folder / "closed").mkdir(mode=0)
    words = ("batch", folder, "--to", tmp_path / "out", "--recursive", "--format", "json")
    done = run_as_anyone(*words)
    assert done.returncode == 1
    assert b"scan-0.png: no permission to read the file." in done.stderr
    assert b"closed cannot be read: Permission denied." in done.stderr or b"closed/ cannot be read" in done.stderr
    assert list(results(tmp_path / "out")) == ["attention.csv", "contact.html", "scan-1.json", "summary.csv"]


def test_no_permission_to_write(tmp_path):
    folder = fill(tmp_path / "in", 1, bad_files.DPI)
    (tmp_path / "out").mkdir(mode=0o555)
    for command in ("batch", "outline"):
        source = folder if command == "batch" else folder / "scan-0.png"
        done = run_as_anyone(command, source, "--to", tmp_path / "out")
        assert done.returncode == 3
        assert re.fullmatch(rb"digitize: cannot write into [^\n]+Permission denied[^\n]+\n", done.stderr), done.stderr
    assert os.listdir(tmp_path / "out") == []


def test_results_where_a_file_is(tmp_path):
    folder = fill(tmp_path / "in", 1, bad_files.DPI)
    (tmp_path / "out").write_text("in the way")
    done = run("batch", folder, "--to", tmp_path / "out")
    assert done.returncode == 3
    assert re.fullmatch(rb"digitize: cannot write into [^\n]+\n", done.stderr)


def limited(size):
    """Let no file grow beyond `size` bytes: what a full disk is to one file, on any system."""
    return functools.partial(resource.setrlimit, resource.RLIMIT_FSIZE, (size, size))


@pytest.mark.parametrize("size", [60_000, 4_000, 0])
def test_no_room(size, tmp_path, monkeypatch):
    """60 kB hold ledger and vector files but no check picture, 4 kB not even the ledger."""
    folder, out = fill(tmp_path / "in", 2, bad_files.DPI), tmp_path / "out"
    done = run("batch", folder, "--to", out, preexec_fn=limited(size))
    assert done.returncode == 3, done.stderr.decode()
    assert b"Traceback" not in done.stderr
    assert b"File too large" in done.stderr or b"ledger.sqlite cannot be used" in done.stderr
    assert not [name for name in results(out) if name.endswith((".part", ".json", ".dxf", ".png"))]
    mended = inline(monkeypatch)(folder, "--to", out)
    assert mended.returncode == 0, mended.stderr.decode()
    assert "2 worked on" in mended.stderr.decode()
    assert len(results(out)) == 15  # two of each format and the batch's own three


@contextlib.contextmanager
def small_disk(folder, size):
    """Mount a disk of `size` kB; yield whether that was possible."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={size}k", "tmpfs", str(folder)]
    possible = os.geteuid() == 0 and subprocess.run(words, capture_output=True, check=False).returncode == 0
    try:
        yield possible
    finally:
        if possible:
            subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.fixture(scope="module")
def single(tmp_path_factory):
    """What comes of one picture where there is room."""
    folder = tmp_path_factory.mktemp("single")
    (folder / "scan-0.png").write_bytes(scan(0, bad_files.DPI))
    came = CliRunner().invoke(
        app, ["outline", str(folder / "scan-0.png"), "--to", str(folder / "out"), "--square", SQUARE]
    )
    assert came.exit_code == 0, came.stderr
    return results(folder / "out")


@pytest.mark.parametrize("size", [24, 200, 700])
def test_disk_full(size, single, tmp_path):
    """Disks that cannot hold the ledger, no picture's results, some pictures' results."""
    folder, disk = fill(tmp_path / "in", 3, bad_files.DPI), tmp_path / "disk"
    with small_disk(disk, size) as possible:
        limit = None if possible else limited(size * 50)
        done = run("batch", folder, "--to", disk / "out", preexec_fn=limit)
        assert done.returncode == 3, done.stderr.decode()
        assert b"Traceback" not in done.stderr
        left = results(disk / "out") if (disk / "out").exists() else {}
        assert not [name for name in left if name.endswith(".part")]
        assert all(data == single[name] for name, data in left.items() if name in single)


def test_corpus_can_be_written_by_hand(tmp_path):
    script = ROOT / "tests" / "bad_files.py"
    done = subprocess.run([sys.executable, script, tmp_path / "corpus"], capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert len(os.listdir(tmp_path / "corpus")) == len(bad_files.REFUSED) + len(bad_files.OUTLINED) + 4


def test_a_name_with_a_leading_dash_on_the_command_line(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "-scan.png").write_bytes(scan(0, bad_files.DPI))
    assert outline("-scan.png", "out")[0] == 0
    assert os.listdir(tmp_path / "out") == ["scan.json"]
