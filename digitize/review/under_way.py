"""The one outline that is being made, in a thread of its own, so that who waits for it can be told that it was stopped.

A recipe is not broken off in the middle: one that was stopped runs on to its end with nobody waiting, and what comes of
it is dropped. The next begins after it, so that never two are in memory.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, Generic, TypeVar

from ..errors import DigitizeError

T = TypeVar("T")


class StoppedError(DigitizeError):
    """Somebody stopped what was being made."""


class UnderWay:
    """What is being made now; asked for one at a time, stopped from any thread."""

    def __init__(self) -> None:
        self._now: _Making[Any] | None = None
        self._last: threading.Thread | None = None

    def make(self, key: str, call: Callable[[], T]) -> T:
        """Return what `call` gives, or raise what it raises.

        Raises
        ------
        StoppedError
            If it was stopped meanwhile; what it gives is dropped.
        """
        making = _Making(key, call, after=self._last)
        self._now, self._last = making, making.thread
        try:
            return making.outcome()
        finally:
            self._now = None

    def stop(self, key: str) -> bool:
        """Stop what is being made for a key; False where there is nothing (more) to stop."""
        now = self._now
        return now is not None and now.key == key and now.stop()


class _Making(Generic[T]):
    def __init__(self, key: str, call: Callable[[], T], *, after: threading.Thread | None) -> None:
        self.key = key
        self.thread = threading.Thread(target=self._run, args=(call, after), daemon=True, name="digitize-outline")
        self._over, self._lock = threading.Event(), threading.Lock()
        self._made: list[T] = []
        self._error: BaseException | None = None

    def outcome(self) -> T:
        self.thread.start()
        self._over.wait()
        if self._error is not None:
            raise self._error
        return self._made[0]

    def stop(self) -> bool:
        return self._end(error=StoppedError("Stopped: nothing was changed."))

    def _run(self, call: Callable[[], T], after: threading.Thread | None) -> None:
        if after is not None:
            after.join()
        if self._over.is_set():
            return
        try:
            made = call()
        except BaseException as error:  # raised where it is waited for
            self._end(error=error)
        else:
            self._end(made)

    def _end(self, *made: T, error: BaseException | None = None) -> bool:
        """Set how it ends, if it has not ended."""
        with self._lock:
            if self._over.is_set():
                return False
            self._made, self._error = [*made], error
            self._over.set()
            return True
