"""Commands as processes of their own that need not import the package each anew: forked from one that has imported it.

What is forked is a child of the tests' process as any other: its streams, folder, environment, group, signals and exit
code are its own, and `digitize/__main__.py` is run from its first line. Only the interpreter's start and the imports
are done before; a test of those, or of what a process inherits by execve(2), starts its command with `subprocess`.
A batch's own process that forks its workers, and imports the same again, is had in the same way.
"""

from __future__ import annotations

import atexit
import ctypes
import fcntl
import functools
import gc
import importlib
import inspect
import os
import pickle
import random
import runpy
import signal
import socket
import subprocess
import sys
import time
from multiprocessing import util
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SET_CHILD_SUBREAPER = 36  # linux/prctl.h
MOST_BYTES = 1 << 18  # of a message
IMPORTED = (
    *("digitize.cli.commands", "digitize.cli.from_pictures", "digitize.cli.from_documents"),
    *("digitize.cli.to_begin_with", "digitize.batch.request", "digitize.batch.worker", "digitize.run"),
    *("digitize.review.serve", "digitize.review.app", "uvicorn"),
    *("cv2", "shapely", "PIL.Image", "ezdxf", "multiprocessing.forkserver"),
)
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VIPS_CONCURRENCY"), "1")


class Popen(subprocess.Popen):
    """`subprocess.Popen` of ``python -m digitize`` and words; where it cannot be forked it is started as by that."""

    def _execute_child(self, *given):
        told = inspect.signature(super()._execute_child).bind(*given).arguments
        env = dict(os.environ if told["env"] is None else told["env"])
        if told["args"][:3] != [sys.executable, "-m", "digitize"] or _read_at_start(env) != _read_at_start(os.environ):
            return super()._execute_child(*given)
        mother = _mother()
        if mother is None:
            return super()._execute_child(*given)
        streams = [(told["p2cread"], 0), (told["c2pwrite"], 1), (told["errwrite"], 2)]
        asked = {
            "words": told["args"][3:], "cwd": os.fspath(told["cwd"] or os.getcwd()), "env": env,
            "first": told["preexec_fn"], "new_session": told["start_new_session"],
        }  # fmt: skip
        self.pid = mother.start(asked, [own if fd == -1 else fd for fd, own in streams])
        self._child_created = True
        self._close_pipe_fds(*(told[name] for name in _PIPES))
        return None


_PIPES = ("p2cread", "p2cwrite", "c2pread", "c2pwrite", "errread", "errwrite")


def run(words, *, timeout, **options):
    """`subprocess.run` for the same, its output captured."""
    with Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options) as process:
        try:
            stdout, stderr = process.communicate(timeout=timeout)
        except BaseException:
            process.kill()
            raise
    return subprocess.CompletedProcess(words, process.returncode, stdout, stderr)


def _read_at_start(env):
    """What of an environment the interpreter reads as it starts."""
    return {
        name: word for name, word in env.items() if name.startswith(("PYTHON", "LC_", "LANG")) and name not in _FREE
    }


_FREE = {"PYTHONPATH"}  # for who needs a certain one: the tests' own finds the package too


class Mother:
    """The process that has imported the package, and forks."""

    def __init__(self) -> None:
        self._line, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.started", str(theirs.fileno())],
                cwd=ROOT, env={**os.environ, **ONE_THREAD, "PYTHONPATH": str(ROOT)}, pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            )  # fmt: skip
        atexit.register(self._end)

    def _end(self):
        self._line.close()
        self._process.wait()

    def start(self, asked, streams):
        """Start a command; return its pid. For that moment orphans are ours: the process between us ends at once."""
        ctypes.CDLL(None).prctl(SET_CHILD_SUBREAPER, 1, 0, 0, 0)
        try:
            socket.send_fds(self._line, [pickle.dumps(asked)], streams)
            pid = int(self._line.recv(64))
            self._line.recv(64)  # the process between is no more
        finally:
            ctypes.CDLL(None).prctl(SET_CHILD_SUBREAPER, 0, 0, 0, 0)
        return pid


@functools.cache
def _mother():
    return Mother() if sys.platform == "linux" else None


# --- in the process that forks -----------------------------------------------------------------------------------


def _serve(line):
    """Fork a command for each message, until the tests' process is no more."""
    for name in IMPORTED:
        importlib.import_module(name)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # of a terminal's it is the tests' process that hears
    gc.freeze()
    while True:
        message, streams, _, _ = socket.recv_fds(line, MOST_BYTES, 3)
        if not message:
            return
        between = os.fork()
        if between == 0:
            pid = os.fork()
            if pid == 0:
                _be(_command, pickle.loads(message), streams)
            line.send(b"%d" % pid)
            os._exit(0)
        os.waitpid(between, 0)
        line.send(b"gone")
        for fd in streams:
            os.close(fd)


def _be(what, *given):
    """End this process as the interpreter would after `what`."""
    code = 1
    try:
        what(*given)
        code = 0
    except SystemExit as end:
        code = end.code or 0
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        os._exit(code)


def _command(asked, streams):
    if asked["new_session"]:
        os.setsid()
    for fd, own in zip(streams, range(3), strict=True):
        os.dup2(fd, own)
    os.closerange(3, 1024)
    os.chdir(asked["cwd"])
    _live_in(asked["env"])
    random.seed()
    signal.signal(signal.SIGINT, signal.default_int_handler)
    if asked["first"] is not None:
        asked["first"]()
    if asked["words"][:1] == ["batch"]:
        _have_twin()
    sys.path[0] = os.getcwd()
    sys.argv[:] = ["", *asked["words"]]
    runpy.run_module("digitize", run_name="__main__", alter_sys=True)


def _live_in(env):
    os.environ.clear()
    os.environ.update(env)
    time.tzset()


def _have_twin():
    """Fork, before there are threads, what will fork the workers: in place of a process that would import all anew."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    pid = os.fork()
    if pid == 0:
        ours.close()
        _be(_twin, theirs)
    theirs.close()
    anew = util.spawnv_passfds

    def instead(path, words, fds):
        if "multiprocessing.forkserver" not in words[-1] or ours.fileno() == -1:
            return anew(path, words, fds)
        blocked = {int(number) for number in signal.pthread_sigmask(signal.SIG_BLOCK, [])}
        with ours:
            socket.send_fds(ours, [pickle.dumps((words[-1], fds, dict(os.environ), blocked))], fds)
        return pid

    util.spawnv_passfds = instead


def _twin(line):
    message, came, _, _ = socket.recv_fds(line, MOST_BYTES, 8)
    if not message:  # the run is over, and needed none
        return
    script, numbers, env, blocked = pickle.loads(message)
    aside = [fcntl.fcntl(fd, fcntl.F_DUPFD, 512) for fd in came]  # a number that is to be taken may be one of these
    line.close()
    for fd, number in zip(aside, numbers, strict=True):
        os.dup2(fd, number)
    for fd in {*aside, *came} - {*numbers}:
        os.close(fd)
    _live_in(env)
    signal.pthread_sigmask(signal.SIG_SETMASK, blocked)
    exec(script, {})


if __name__ == "__main__":
    _serve(socket.socket(fileno=int(sys.argv[1])))
