"""The same tasks on a Dask cluster: workers read and write by path or address, the ledger stays with the client."""

from __future__ import annotations

import importlib
from collections import deque
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass
from typing import Any

from ..errors import DigitizeError
from .task import Outcome, Task

_AHEAD = 3  # tasks in the cluster for each thread of it
_WAIT_S = 30.0  # for a scheduler to answer


@dataclass(slots=True)
class Cluster:
    """A Dask scheduler. Start its workers with one thread each, and as many as their memory carries."""

    address: str
    work: Callable[[Task], Outcome]
    stop: Callable[[], bool] = lambda: False

    def run(self, tasks: Iterable[Task]) -> Generator[tuple[Task, Outcome], None, None]:
        """Yield every task with what came of it; a worker that is lost has its tasks done by another.

        Raises
        ------
        DigitizeError
            If Dask is not installed or the scheduler does not answer.
        """
        client = _client(self.address)
        try:
            yield from self._shared_out(client, iter(tasks))
        finally:
            client.close()

    def _shared_out(self, client: Any, tasks: Any) -> Generator[tuple[Task, Outcome], None, None]:
        first = deque(self._some(tasks, _AHEAD * max(1, sum(client.nthreads().values()))))
        given = {self._submit(client, task): task for task in first}
        ready = _dask().as_completed(list(given), with_results=False, raise_errors=False)
        for future in ready:
            for task in self._some(tasks, 1):
                more = self._submit(client, task)
                given[more] = task
                ready.add(more)
            task = given.pop(future)
            yield task, _outcome(future)
            future.release()

    def _some(self, tasks: Any, count: int) -> Iterable[Task]:
        for _ in range(count):
            if self.stop():
                return
            task = next(tasks, None)
            if task is None:
                return
            yield task

    def _submit(self, client: Any, task: Task) -> Any:
        return client.submit(self.work, task, pure=False, retries=2)


def work_in_one_thread(task: Task) -> Outcome:
    """Do a task on a cluster's worker, where as many run side by side as there are cores."""
    from ..opencv import cv
    from .work import work

    cv().setNumThreads(1)
    return work(task)


def _dask() -> Any:
    try:
        return importlib.import_module("distributed")
    except ImportError as error:
        raise DigitizeError("--dask needs the package distributed: python -m pip install 'digitize[dask]'") from error


def _client(address: str) -> Any:
    dask = _dask()
    try:
        return dask.Client(address, timeout=_WAIT_S)
    except TypeError as error:  # tls:// without certificates
        raise DigitizeError(
            f"--dask {address}: the certificates that Dask's settings name cannot be used ({error}). See Security in "
            "the manual for the settings."
        ) from error
    except (OSError, ValueError, TimeoutError) as error:
        raise DigitizeError(
            f"no Dask scheduler answers at {address} ({error}). Start one there: dask scheduler; then dask worker."
        ) from error


def _outcome(future: Any) -> Outcome:
    """Return what the task returned; what the cluster itself did wrong is tried again at the next run."""
    error = future.exception()
    if error is None:
        outcome: Outcome = future.result()
        return outcome
    problem = f"the cluster could not do this picture ({type(error).__name__}: {str(error)[:200]})."
    return Outcome(state="unwritten", problem=problem, kind="machine", exit_code=3)
