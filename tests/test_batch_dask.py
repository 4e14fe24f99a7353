"""The batch on a real Dask scheduler with two workers, one of them killed in the middle."""

import signal
import socket
import subprocess
import sys
import time
from importlib.util import find_spec

import pytest

from . import started
from .batch_scans import ROOT, arguments, environment, fill, inline, results, run

pytestmark = pytest.mark.skipif(find_spec("distributed") is None, reason="Dask is not installed")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("scans"), 5)


@pytest.fixture(scope="module")
def expected(folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("expected")
    with pytest.MonkeyPatch.context() as patch:
        assert inline(patch)(folder, "--to", out, "--format", "json,svg").returncode == 0
    return {name: data for name, data in results(out).items() if name != "contact.html"}


def start(*words):
    command = [sys.executable, "-m", "distributed.cli." + words[0], *words[1:]]
    return subprocess.Popen(command, cwd=ROOT, env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """A scheduler and two workers of one thread, each a process of its own; its address and the workers.

    One test kills a worker: the other is enough for what else is asked.
    """
    tmp_path = tmp_path_factory.mktemp("cluster")
    address = f"tcp://127.0.0.1:{free_port()}"
    scheduler = start("dask_scheduler", "--host", address, "--no-dashboard", "--no-show")
    words = ("dask_worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny", "--death-timeout", "30")
    workers = [start(*words, "--local-directory", str(tmp_path / f"worker-{n}"), "--name", f"w{n}") for n in range(2)]
    try:
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.send_signal(signal.SIGKILL)
            process.wait()


def without_page(out):
    return {name: data for name, data in results(out).items() if name != "contact.html"}


def test_a_worker_killed_in_the_middle(cluster, folder, expected, tmp_path):
    out = tmp_path / "out"
    address, workers = cluster
    command = arguments("batch", folder, "--to", out, "--format", "json,svg", "--dask", address)
    process = started.Popen(command, cwd=ROOT, stderr=subprocess.PIPE)
    end = time.monotonic() + 900
    while not list(out.glob("*.json")) and process.poll() is None and time.monotonic() < end:
        time.sleep(0.002)
    workers[0].kill()  # and not waited for: a process that is over, but still has a number
    _, said = process.communicate(timeout=900)
    assert process.returncode == 0, said.decode()
    assert b"Traceback" not in said
    assert without_page(out) == expected
    again = run("batch", folder, "--to", out, "--format", "json,svg")
    assert b"0 worked on, 5 done before" in again.stderr


def test_addresses_in_and_out(cluster, folder, expected, tmp_path):
    """The same files read and written through fsspec; ledger and reports stay with the client."""
    out, home = tmp_path / "out", tmp_path / "home"
    address, _ = cluster
    words = ("batch", f"local://{folder}", "--to", f"local://{out}", "--ledger", home, "--format", "json,svg")
    done = run(*words, "--dask", address)
    assert done.returncode == 0, done.stderr.decode()
    reports = without_page(home)
    assert {name: data for name, data in expected.items() if name.endswith(".csv")} == reports
    assert results(out) == {name: data for name, data in expected.items() if not name.endswith(".csv")}
    assert b"0 worked on, 5 done before" in run(*words, "--dask", address).stderr


def test_no_scheduler_there(folder, tmp_path, monkeypatch):
    from digitize.batch import cluster as module
    from digitize.errors import DigitizeError

    monkeypatch.setattr(module, "_WAIT_S", 0.5)
    with pytest.raises(DigitizeError, match="no Dask scheduler answers"):
        next(module.Cluster("tcp://127.0.0.1:9", print).run([]))
