"""The second process: its answers, its failures, its end."""

import math
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import BrokenExecutor
from pathlib import Path

import numpy as np
import pytest

from digitize.recipe.helper import Helper, dismiss, helping, start_early, submitted


@pytest.fixture
def helper():
    one = Helper()
    yield one
    one.shutdown()


def test_answers_and_arrays(helper):
    values = np.arange(200_000.0)
    assert helper.submit(math.hypot, 3.0, 4.0).result(60) == 5.0
    np.testing.assert_array_equal(helper.submit(np.negative, values).result(60), -values)
    assert helper.submit(os.getpid).result(60) != os.getpid()


def test_an_error_comes_back_and_the_helper_goes_on(helper):
    with pytest.raises(ValueError, match="math domain error"):
        helper.submit(math.sqrt, -1.0).result(60)
    assert helper.submit(math.sqrt, 4.0).result(60) == 2.0


def test_what_is_printed_does_not_get_between_the_answers(helper):
    assert helper.submit(os.write, 1, b"").result(60) == 0
    assert helper.submit(print, "stray").result(60) is None
    assert helper.submit(math.sqrt, 9.0).result(60) == 3.0


def test_a_dead_helper_is_said_so(helper):
    with pytest.raises(BrokenExecutor):
        helper.submit(os._exit, 1).result(60)
    with pytest.raises(BrokenExecutor):
        helper.submit(math.sqrt, 4.0).result(60)


def test_what_waits_can_be_cancelled(helper):
    helper.submit(math.sqrt, 4.0).result(60)
    first, second = helper.submit(time.sleep, 0.5), helper.submit(math.sqrt, 4.0)
    assert second.cancel()
    first.result(60)


def test_shut_down_in_the_midst_of_work_leaves_no_process():
    helper = Helper()
    pid = helper.submit(os.getpid).result(60)
    long = helper.submit(time.sleep, 600)
    while not long.running():
        time.sleep(0.01)
    helper.shutdown()
    with pytest.raises(BrokenExecutor):
        long.result(60)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert submitted(helper, math.sqrt, 4.0) is None


def test_an_interrupt_is_left_to_the_parent(helper):
    pid = helper.submit(os.getpid).result(60)
    os.kill(pid, signal.SIGINT)
    assert helper.submit(math.sqrt, 4.0).result(60) == 2.0


def test_the_early_helper_is_the_one_that_helps(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    start_early()
    start_early()
    with helping() as helper:
        pid = helper.submit(os.getpid).result(60)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    start_early()
    dismiss()


def test_no_helper_on_one_core(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    with helping() as helper:
        assert helper is None


def test_a_killed_parent_takes_its_helper_along():
    code = (
        "import os, time; from digitize.recipe.helper import Helper; h = Helper();"
        "print(h.submit(os.getpid).result(60), flush=True); time.sleep(600)"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    with parent:
        pid = int(parent.stdout.readline())
        parent.kill()
    for _ in range(200):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            break
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
        if state == "Z":  # ended; nobody collects orphans in a bare container
            break
        time.sleep(0.05)
    else:
        pytest.fail("the helper outlives its parent")
