"""A worker: a process of its own that does one task after another until it is told to end, or its run ends."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import IO, Any

from ..ending import SIGNALS
from ..errors import DigitizeError
from .lock import hold_as_worker
from .task import Outcome, Task

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VIPS_CONCURRENCY")
# Loaded once and shared by all workers. Not pyvips: its threads do not survive a fork.
_PRELOAD = [
    "digitize.batch.work",
    "digitize.recipe.outline",
    "digitize.write.preview.picture",
    "cv2",
    "digitize.write.dxf",
    "digitize.write.proof.pages",
    "shapely",
    "PIL.Image",
]


@dataclass(frozen=True, slots=True, eq=False)
class Worker:
    """The handle on a worker, for the process that gives it tasks."""

    process: BaseProcess
    pipe: Connection[Any, Any]

    def dismiss(self) -> None:
        """Tell the worker to end after what it is at."""
        with contextlib.suppress(OSError):
            self.pipe.send(None)

    def end(self, *, wait_s: float = 0.0) -> int | None:
        """End the process, after `wait_s` if it does not end by itself; return its exit code."""
        self.process.join(wait_s)
        self.process.kill()
        self.process.join()
        code = self.process.exitcode
        self.pipe.close()
        self.process.close()
        return code


def hire(work: Callable[[Task], Outcome], house: Path | None) -> Worker:
    """Start a worker that answers each task it is sent with what `work`, a function of a module, returns.

    Raises
    ------
    DigitizeError
        If the system starts no process.
    """
    try:
        return _started(work, house)
    except (OSError, EOFError):  # the process that forks workers was killed: the next has one of its own
        pass
    try:
        return _started(work, house)
    except (OSError, EOFError) as error:
        raise DigitizeError(
            f"the system starts no process to work in ({type(error).__name__}: {error}). Close programs, or use fewer "
            "--jobs, then run the same command again."
        ) from error


def _started(work: Callable[[Task], Outcome], house: Path | None) -> Worker:
    context = _context()
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, work, house), daemon=True, name="digitize-worker")
    with _one_thread_each(), _deaf():
        process.start()
    theirs.close()
    return Worker(process, ours)


def given_up() -> Outcome:
    """Return what is said of a picture that takes too long."""
    problem = "the picture took far longer than usual and was given up. Scan it again, or a smaller area of it."
    return Outcome(state="failed", problem=problem, kind="time", exit_code=3)


def ended(code: int | None) -> Outcome:
    """Return what is said of a picture at which two workers ended by themselves."""
    if code == -9:
        problem = "the system ended the work on this picture, most likely for want of memory. Use a smaller --memory."
        return Outcome(state="unwritten", problem=problem, kind="memory", exit_code=3)
    problem = f"the work on this picture ended twice without a word (exit code {code}). Save it in another format."
    return Outcome(state="failed", problem=problem, kind="ended", exit_code=3)


def _context() -> Any:
    """Return the way of starting processes: never by a bare fork, which would copy threads' locks."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(_PRELOAD)
    return context


@contextlib.contextmanager
def _one_thread_each() -> Iterator[None]:
    """Let processes started meanwhile use one thread each in the libraries that would take all cores."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value


@contextlib.contextmanager
def _deaf() -> Iterator[None]:
    """Let processes started meanwhile hear none of the signals that go to all of a run: the run decides.

    What is blocked stays so in a process that is started; this one hears the signals a moment later.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    before = signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS)
    try:
        resource_tracker.ensure_running()  # it changes the mask, once
        signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS)
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: Connection[Any, Any], work: Callable[[Task], Outcome], house: Path | None) -> None:
    """Be a worker."""
    for number in SIGNALS:
        signal.signal(number, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_run, daemon=True).start()
    lock: IO[bytes] | None = None if house is None else hold_as_worker(house)
    from ..opencv import cv

    cv().setNumThreads(1)
    with contextlib.suppress(EOFError, OSError):
        while (task := pipe.recv()) is not None:
            pipe.send(work(task))
    if lock is not None:
        lock.close()


def _end_with_the_run() -> None:
    """End this process at once when the run is no more; the ledger then knows nothing of what was begun."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
