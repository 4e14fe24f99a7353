"""Asked to stop at any moment, a command ends with one sentence and 130, nothing half-written; how soon: the bench."""

import os
import subprocess
import sys

import pytest

from .batch_scans import ROOT, scan
from .bench.signals import HANGS_S, SENTENCE, faults

pytestmark = pytest.mark.skipif(not os.path.exists("/proc/self/status"), reason="looks at processes by proc(5)")


def python(script, *words):
    """Run a script that may be ended by its own signal."""
    return subprocess.run(
        [sys.executable, "-c", script, *map(str, words)], cwd=ROOT, capture_output=True, timeout=120, text=True
    )


def test_random_moments(tmp_path):
    """A few; as many as one likes: `python -m tests.bench.signals`."""
    picture = tmp_path / "scan.png"
    picture.write_bytes(scan())
    words = ("outline", picture, "--square", 25, "--format", "json,dxf")
    wrong, ends, _ = faults(words, 14, 5, tmp_path, power=3, longest_s=HANGS_S)  # most in imports
    assert wrong == []
    assert sum(count for (code, _), count in ends.items() if code == 130) > 10


WRITE = """
import os, signal, sys
from pathlib import Path
from digitize import ending, files
ending.watch()
name, left = sys.argv[2], [2]
real = getattr(os, name)
def interrupted(*words):
    left[0] -= 1
    if left[0] == 0:
        signal.raise_signal(signal.SIGTERM)
    return real(*words)
setattr(os, name, interrupted)
files.write_files(Path(sys.argv[1]) / "new" / "out", {"a.svg": b"1", "b.svg": b"2", "c.svg": b"3"})
print("went on")
"""


@pytest.mark.parametrize(("call", "expected"), [("fsync", None), ("replace", ["a.svg", "b.svg", "c.svg"])])
def test_all_files_or_none(tmp_path, call, expected):
    done = python(WRITE, tmp_path, call)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", SENTENCE)
    new = tmp_path / "new"
    assert (sorted(path.name for path in (new / "out").iterdir()) if new.exists() else None) == expected


@pytest.mark.parametrize(
    "busy",
    [
        "hashlib.pbkdf2_hmac('sha256', b'', b'', 10**9)",  # deep in a library, which hears nothing for minutes
        "while True: Deaf()",  # an exception in such a place is printed and lost
    ],
)
def test_whatever_the_program_is_at(busy):
    done = python(
        "import hashlib, os, signal, threading\nfrom digitize import ending\n"
        "class Deaf:\n    def __del__(self):\n        sum(range(999))\n"
        "ending.watch()\n"
        f"threading.Timer(0.1, os.kill, (os.getpid(), signal.SIGINT)).start()\n{busy}"
    )
    assert (done.returncode, done.stderr) == (130, SENTENCE)


def test_what_is_ignored_stays_ignored():
    """nohup(1) starts a program with SIGHUP ignored; it is to outlive its terminal."""
    done = python(
        "import signal\nfrom digitize import ending\nsignal.signal(signal.SIGHUP, signal.SIG_IGN)\nending.watch()\n"
        "signal.raise_signal(signal.SIGHUP)\nprint('lives', flush=True)\nsignal.raise_signal(signal.SIGTERM)"
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "lives\n", SENTENCE)
