"""How a command ends when it is asked to: at once, with one sentence and nothing half-written, whatever it is at.

An exception in place of this may be swallowed wherever it strikes, in the machinery of imports above all. So nothing
is raised: the handler itself clears away what is half done, says so and ends the process. Where the main thread is
inside a long call of a library and runs no handler, a thread beside it does the same.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import NoReturn

STOPPED = 130  # exit code for each of the signals; as shells have it for an interrupt
SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
_PATIENCE_S = 0.3  # the main thread has this long to end by itself ...
_WRITING_S = 1.0  # ... and this long more where files are just being put in their places
_SAME_S = 0.3  # signals as close as this are one wish: some programs send theirs to a process and to its group


class _State:
    """Of this process. Sets and keys: nothing interrupts what adds one or takes it away."""

    def __init__(self) -> None:
        self.undo: dict[object, Callable[[], None]] = {}
        self.unbroken: set[object] = set()
        self.pending = False
        self.politely: Callable[[], None] | None = None
        self.asked_at: float | None = None  # of a wish that was heard politely
        self.ends: int | None = None  # the thread that ends the process


_state = _State()


def watch() -> None:
    """From now on end this process when it is asked to; a signal that is ignored (nohup) stays so."""
    for number in SIGNALS:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _asked)
    if os.name == "nt":
        return  # wakes by sockets only
    heard, tell = os.pipe()
    os.set_blocking(tell, False)
    signal.set_wakeup_fd(tell, warn_on_full_buffer=False)
    threading.Thread(target=_listen, args=(heard,), daemon=True, name="digitize-ending").start()


@contextlib.contextmanager
def undone(undo: Callable[[], None]) -> Iterator[None]:
    """Call `undo` if the process is asked to end meanwhile; the last that was begun comes first."""
    token = object()
    _state.undo[token] = undo
    try:
        yield
    finally:
        _state.undo.pop(token, None)


@contextlib.contextmanager
def unbroken() -> Iterator[None]:
    """Let what is done meanwhile, a few moments, come to its end first."""
    token = object()
    _state.unbroken.add(token)
    try:
        yield
    finally:
        _state.unbroken.discard(token)
        if _state.pending and not _state.unbroken:
            end()


@contextlib.contextmanager
def politely(ask: Callable[[], None]) -> Iterator[None]:
    """Call `ask` for the first signal, which is to bring the work to its end; asked once more, the process ends."""
    _state.politely = ask
    try:
        yield
    finally:
        _state.politely = None


def end() -> NoReturn:
    """End the process: what is half done is undone."""
    if _state.ends is not None:
        while True:  # another thread is at it
            time.sleep(1)
    _state.ends = threading.get_ident()
    for undo in reversed(list(_state.undo.values())):
        with contextlib.suppress(Exception):
            undo()
    say("digitize: stopped.")
    os._exit(STOPPED)


def say(line: str) -> None:
    """Print a line on stderr past Python's buffer, which may be in the middle of another."""
    with contextlib.suppress(OSError):
        clear = "\r\x1b[K" if os.isatty(2) else ""  # a line that renews itself may stand there
        os.write(2, f"{clear}{line}\n".encode())


def _asked(number: int, frame: FrameType | None) -> None:
    """Hear a signal, in the main thread."""
    if _state.ends == threading.get_ident():
        return
    if _state.politely is not None and not _once_more(number):
        return
    if _state.unbroken:
        _state.pending = True
        return
    end()


def _once_more(number: int) -> bool:
    """Ask politely, unless that was done before; a terminal that goes may say so twice."""
    if _state.asked_at is None:
        _state.asked_at = time.monotonic()
        if _state.politely is not None:
            _state.politely()
        return False
    return number != getattr(signal, "SIGHUP", None) and time.monotonic() - _state.asked_at > _SAME_S


def _listen(heard: int) -> None:
    """End the process in place of a main thread that does not come to it."""
    while set(os.read(heard, 64)).isdisjoint(SIGNALS) or _state.politely is not None:
        pass
    time.sleep(_PATIENCE_S)
    late = time.monotonic() + _WRITING_S
    while _state.unbroken and time.monotonic() < late:
        time.sleep(0.01)
    end()
