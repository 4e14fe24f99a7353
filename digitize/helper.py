"""Handing work to another process that may not be there, or may have died."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


def submitted(pool: Executor | None, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T] | None:
    """Submit work to a pool; None where there is no pool or it cannot take work, so that the caller does it himself."""
    if pool is None:
        return None
    try:
        return pool.submit(work, *args, **kwargs)
    except (BrokenExecutor, RuntimeError):
        return None
