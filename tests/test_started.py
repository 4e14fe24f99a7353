"""A forked command (tests/started.py) is as one that is started: streams, folder, environment, signals, code."""

import os
import signal
import subprocess
import sys

import pytest

from . import started

DIGITIZE = [sys.executable, "-m", "digitize"]
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="prctl(2) is of Linux")


def both(*words, **options):
    """What comes of it as it is started, and as it is forked."""
    command = [*DIGITIZE, *words]
    plain = subprocess.run(command, capture_output=True, check=False, timeout=600, **options)
    return plain, started.run(command, timeout=600, **options)


@pytest.mark.parametrize(("words", "code"), [(("card", "--list"), 2), (("cutting",), 0), (("plat", "x"), 2)])
def test_words_come_out_alike(words, code):
    plain, forked = both(*words)
    assert plain.returncode == forked.returncode == code
    assert (plain.stdout, plain.stderr) == (forked.stdout, forked.stderr)
    assert plain.stdout + plain.stderr


def test_it_lives_in_its_folder_and_environment(tmp_path):
    """A file named without its folder; help as wide as the environment says that the terminal is."""
    assert started.run([*DIGITIZE, "cutting", "--to", "own.toml"], timeout=600, cwd=tmp_path).returncode == 0
    assert os.listdir(tmp_path) == ["own.toml"]
    plain, forked = both("plate", "--help", env={**os.environ, "COLUMNS": "50"})
    assert plain.stdout == forked.stdout
    assert max(map(len, forked.stdout.decode().splitlines())) <= 50


def test_what_the_interpreter_reads_at_its_start_starts_one():
    """Python says what it imports to whoever asks by this variable; a fork has nothing to import."""
    words = ["--version"]
    loud = started.run([*DIGITIZE, *words], timeout=600, env={**os.environ, "PYTHONVERBOSE": "1"})
    assert b"import 'digitize" in loud.stderr
    assert b"import 'digitize" not in started.run([*DIGITIZE, *words], timeout=600).stderr


def test_it_is_a_child_with_a_group_of_its_own_and_hears(tmp_path):
    with started.Popen(
        [*DIGITIZE, "review", "--no-browser"],
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "DIGITIZE_STATE": str(tmp_path)},
    ) as process:
        assert "http://" in process.stderr.readline()
        assert os.getpgid(process.pid) == os.getsid(process.pid) == process.pid
        assert process.poll() is None
        os.killpg(process.pid, signal.SIGKILL)
        assert process.wait(60) == -signal.SIGKILL
    with pytest.raises(ProcessLookupError):
        os.kill(process.pid, 0)
