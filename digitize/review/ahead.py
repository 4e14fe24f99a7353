"""The next picture read and outlined while a person looks at this one; one at a time, to be had once it is there."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Generic, TypeVar

R = TypeVar("R")
M = TypeVar("M")


class Ahead(Generic[R, M]):
    """What is being prepared: first what is read, then what is made of it, each to be had as soon as it is there."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._now: tuple[str, Future[R], Future[tuple[str, M]]] | None = None

    def begin(self, key: str, read: Callable[[], R], make: Callable[[R], tuple[str, M]]) -> bool:
        """Begin to prepare something, unless something is being prepared; False then.

        Parameters
        ----------
        key
            Names it.
        read, make
            Give what is read, and of that what is made with the name it is asked for by.
        """
        with self._lock:
            if self._now is not None and not self._now[2].done():
                return False
            was_read: Future[R] = Future()
            was_made: Future[tuple[str, M]] = Future()
            self._now = key, was_read, was_made
        work = threading.Thread(
            target=_prepare, args=(read, make, was_read, was_made), daemon=True, name="digitize-ahead"
        )
        work.start()
        return True

    def read(self, key: str) -> R | None:
        """Return what was read, or wait for it; None where it is not being prepared or could not be read."""
        now = self._now
        if now is None or now[0] != key:
            return None
        return now[1].result() if now[1].exception() is None else None

    def made(self, key: str, asked: str) -> M | None:
        """Return what was made as it is asked for, or wait for it; None where something else is being prepared."""
        now = self._now
        if now is None or now[0] != key or now[2].exception() is not None:
            return None
        name, made = now[2].result()
        return made if name == asked else None


def _prepare(
    read: Callable[[], R], make: Callable[[R], tuple[str, M]], was_read: Future[R], was_made: Future[tuple[str, M]]
) -> None:
    try:
        found = read()
        was_read.set_result(found)
        was_made.set_result(make(found))
    except BaseException as error:  # met again, and said, by whoever asks for it
        for one in (was_read, was_made):
            if not one.done():
                one.set_exception(error)
