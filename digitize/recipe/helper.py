"""A second process that shares the work on one picture; whoever has none, or a dead one, does the work himself.

A plain child with pickles through its standard streams: it is there sooner than a pool of `multiprocessing`, and
ends at once. It must import nothing before it is asked to.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")

_SERVE = "import sys; sys.path[:0] = [{!r}]; from digitize.recipe.helper import serve; serve()"
_NEEDED = ("digitize.recipe.describe", "digitize.cutting.make", "digitize.run")  # for its share of any picture


class Helper(Executor):
    """One child process, asked one thing at a time; what waits can be cancelled."""

    def __init__(self) -> None:
        place = str(Path(__file__).resolve().parents[2])
        command = [sys.executable, "-c", _SERVE.format(place)]
        self._child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._thread = ThreadPoolExecutor(1)
        self.submit(import_all, _NEEDED)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Let the child call a function that it can import; all that goes to and fro must pickle."""
        call: Callable[..., T] = self._call
        return self._thread.submit(call, fn, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the child, also in the midst of its work."""
        self._child.kill()
        self._thread.shutdown(wait=True, cancel_futures=True)
        for stream in (self._child.stdin, self._child.stdout):
            with contextlib.suppress(OSError):  # what it did not take any more
                stream.close()  # type: ignore[union-attr]
        self._child.wait()

    def _call(self, fn: Callable[..., T], *args: Any, **kwargs: Any) -> T:
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        try:
            pickle.dump((fn, args, kwargs), self._child.stdin, pickle.HIGHEST_PROTOCOL)
            self._child.stdin.flush()
            error, result = pickle.load(self._child.stdout)
        except (OSError, EOFError, pickle.UnpicklingError) as gone:
            raise BrokenExecutor("the helper process has ended") from gone
        if error is not None:
            raise error
        return result  # type: ignore[no-any-return]


def serve() -> None:
    """Be the child: call what is asked for until nobody asks any more."""
    # an interrupt is for the parent, which then ends this process
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    asked, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # nothing that is printed may get between the answers
    while True:
        try:
            fn, args, kwargs = pickle.load(asked)
        except (EOFError, OSError):
            os._exit(0)
        answer: tuple[Exception | None, Any]
        try:
            answer = None, fn(*args, **kwargs)
        except Exception as error:  # the parent's to judge
            answer = error, None
        pickle.dump(answer, answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()


_early: list[Helper] = []


def start_early() -> None:
    """Start the helper before it is known what for, while this process still imports."""
    if (os.cpu_count() or 1) > 1 and not _early:
        with contextlib.suppress(OSError):
            _early.append(Helper())


@contextlib.contextmanager
def helping() -> Iterator[Helper | None]:
    """Have a helper, the one that was started early if there is one; None on one core."""
    start_early()
    helper = _early.pop() if _early else None
    try:
        yield helper
    finally:
        if helper is not None:
            helper.shutdown()


def dismiss() -> None:
    """End a helper that was started early and not called for."""
    while _early:
        _early.pop().shutdown()


def import_all(names: tuple[str, ...]) -> None:
    """Import modules; a failure is met again, and said, where the module is used."""
    import importlib

    for name in names:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


def submitted(pool: Executor | None, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T] | None:
    """Submit work to a pool; None where there is no pool or it cannot take work, so that the caller does it himself."""
    if pool is None:
        return None
    try:
        return pool.submit(work, *args, **kwargs)
    except (BrokenExecutor, RuntimeError):
        return None
