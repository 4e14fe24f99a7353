"""The server: on this machine's own address alone, at a free port, until it is asked to end."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..ending import politely, undone
from ..errors import DigitizeError, UsageError
from .app import Unexpected, make_app
from .guard import ENTRANCE, App, Keys
from .work import Work

if TYPE_CHECKING:
    from uvicorn import Server

LOOPBACK = "127.0.0.1"
_PATIENCE_S = 2.0  # a recipe under way has this long to come to its end
_MOST_AT_A_TIME = 64  # connections


def check_packages() -> None:
    """Refuse at once where the packages that serve the page are not installed.

    Raises
    ------
    UsageError
        With the command that installs them.
    """
    import importlib.util

    if any(importlib.util.find_spec(name) is None for name in ("starlette", "uvicorn")):
        raise UsageError(
            "digitize review needs two further packages: python -m pip install 'digitize[review]' "
            "(in the clone: '.[review]')."
        )


@dataclass(frozen=True, slots=True)
class Serving:
    """A page that is being served."""

    address: str  # opens it, once
    wait: Callable[[], object]  # until it is asked to end


@contextlib.contextmanager
def serving(work: Work, *, unexpected: Unexpected) -> Iterator[Serving]:
    """Serve the page meanwhile; what was dropped on it is removed in the end.

    Raises
    ------
    DigitizeError
        If there is no port to be had.
    """
    with _listening() as listening, undone(work.shelf.clear):
        authority = f"{LOOPBACK}:{listening.getsockname()[1]}"
        keys = Keys()
        server = _server(make_app(work, authority=authority, keys=keys, unexpected=unexpected))
        over = threading.Event()
        thread = threading.Thread(target=_run, args=(server, listening, over), daemon=True, name="digitize-review")
        thread.start()
        with politely(over.set):  # until all is cleared away: asked once more meanwhile, the process ends at once
            try:
                yield Serving(f"http://{authority}{ENTRANCE}?key={keys.once}", over.wait)
            finally:
                server.should_exit = True
                thread.join(_PATIENCE_S)
                work.shelf.clear()


@contextlib.contextmanager
def _listening() -> Iterator[socket.socket]:
    try:
        listening = socket.create_server((LOOPBACK, 0))
    except OSError as error:
        raise DigitizeError(f"No page can be served on this machine: {error.strerror or error}.") from error
    with listening:
        yield listening


def _server(app: App) -> Server:
    import uvicorn

    return uvicorn.Server(
        uvicorn.Config(
            app,
            http="h11",
            ws="none",
            loop="asyncio",
            lifespan="off",
            interface="asgi3",
            log_config=None,
            log_level="critical",
            access_log=False,
            proxy_headers=False,
            server_header=False,
            limit_concurrency=_MOST_AT_A_TIME,
            timeout_graceful_shutdown=1,
        )
    )


def _run(server: Server, listening: socket.socket, over: threading.Event) -> None:
    """Serve in a thread of its own: there the library leaves signals to us."""
    try:
        asyncio.run(server.serve(sockets=[listening]))
    finally:
        over.set()
