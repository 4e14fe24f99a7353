"""Processes that work on tasks side by side, within a bound of memory, and are replaced when one ends or hangs.

`concurrent.futures` and `pebble` were weighed: neither holds a task back until there is memory for it, a worker that is
killed breaks the first one's whole pool, and neither says in the folder which worker still writes there.
"""

from __future__ import annotations

import contextlib
import time
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import wait
from pathlib import Path

from . import memory
from .task import Outcome, Task
from .worker import Worker, ended, given_up, hire

_LOOK_S = 0.25  # between two looks whether the run is to stop
_GRACE_S = 5.0  # for a worker to end by itself before it is killed


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How much the pool may take."""

    jobs: int
    memory_bytes: int
    base_s: float = 180.0  # a picture that takes longer than this ...
    per_mpx_s: float = 6.0  # ... and this for each million pixels is given up
    house: Path | None = None  # where workers say that they live, see `digitize.batch.lock`


@dataclass(slots=True)
class _Job:
    task: Task
    need: int  # bytes
    lost: int = 0  # how many workers ended on it
    end: float = 0.0  # when it is given up


@dataclass(slots=True)
class Pool:
    """Workers for tasks. Results come in the order of their being ready.

    The sum of what the pictures in work need, told from their headers, stays below the bound; a picture that needs
    more than all of it is worked on alone. A worker that ends by itself gives its picture one more try, alone.
    """

    work: Callable[[Task], Outcome]
    limits: Limits
    stop: Callable[[], bool] = lambda: False  # asked before each new task
    _idle: list[Worker] = field(default_factory=list)
    _busy: dict[Worker, _Job] = field(default_factory=dict)
    _again: deque[_Job] = field(default_factory=deque)
    _held: _Job | None = None  # taken from the tasks, waiting for room

    def run(self, tasks: Iterable[Task]) -> Generator[tuple[Task, Outcome], None, None]:
        """Yield every task with what came of it; after `stop` says so, only those already begun."""
        waiting = iter(tasks)
        ready: list[tuple[Task, Outcome]] = []
        try:
            while True:
                self._fill(waiting)  # before the results go out: nobody waits while they are put down
                yield from ready
                if not self._busy:
                    return
                ready = self._look()
        finally:
            self._end()

    def _fill(self, waiting: Iterator[Task]) -> None:
        while not self.stop():
            self._held = self._held or self._next(waiting)
            if self._held is None or not self._fits(self._held):
                return
            self._begin(self._held)
            self._held = None

    def _next(self, waiting: Iterator[Task]) -> _Job | None:
        if self._again:
            return self._again.popleft()
        task = next(waiting, None)
        return None if task is None else _Job(task, memory.need_bytes(task.source, max_mpx=task.max_mpx))

    def _fits(self, job: _Job) -> bool:
        if not self._busy:
            return True
        alone = job.lost or any(other.lost for other in self._busy.values())
        taken = sum(other.need for other in self._busy.values())
        return not alone and len(self._busy) < self.limits.jobs and taken + job.need <= self.limits.memory_bytes

    def _begin(self, job: _Job) -> None:
        worker = self._idle.pop() if self._idle else hire(self.work, self.limits.house)
        mpx = (job.need - memory.BASE_BYTES) / memory.PER_PX_BYTES / 1e6
        job.end = time.monotonic() + self.limits.base_s + self.limits.per_mpx_s * mpx
        self._busy[worker] = job
        with contextlib.suppress(OSError):  # it has just ended: seen at the next look
            worker.pipe.send(job.task)

    def _look(self) -> list[tuple[Task, Outcome]]:
        """Wait a little for results, and deal with workers that ended or hang."""
        pipes = set(wait([worker.pipe for worker in self._busy], timeout=_LOOK_S))
        ready = []
        for worker, job in list(self._busy.items()):
            outcome = None
            if worker.pipe in pipes:
                outcome = self._received(worker, job)
            elif time.monotonic() > job.end:
                del self._busy[worker]
                worker.end()
                outcome = given_up()
            if outcome is not None:
                ready.append((job.task, outcome))
        return ready

    def _received(self, worker: Worker, job: _Job) -> Outcome | None:
        """Return what the worker sent; None if it ended and its picture is to be tried once more."""
        del self._busy[worker]
        try:
            outcome: Outcome = worker.pipe.recv()
        except (EOFError, OSError):
            job.lost += 1
            code = worker.end(wait_s=_GRACE_S)
            if job.lost > 1:
                return ended(code)
            self._again.append(job)
            return None
        self._idle.append(worker)
        return outcome

    def _end(self) -> None:
        for worker in self._busy:
            worker.end()
        for worker in self._idle:
            worker.dismiss()
        for worker in self._idle:
            worker.end(wait_s=_GRACE_S)
        self._busy.clear()
        self._idle.clear()
