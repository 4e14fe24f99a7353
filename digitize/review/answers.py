"""What every address of the page shares: answers, what a page sent read, and work in a thread beside."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from ..errors import UsageError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

MOST_JSON = 65_536  # bytes
_UNREADABLE = "The page sent what cannot be read. Load it again."


async def aside(call: Callable[..., Any], *arguments: Any) -> Any:
    """Work in a thread beside, so that tiles go on coming."""
    from starlette.concurrency import run_in_threadpool

    return await run_in_threadpool(call, *arguments)


def json_of(told: dict[str, Any], status: int = 200) -> Response:
    """Answer with JSON."""
    from starlette.responses import Response

    text = json.dumps(told, allow_nan=False, separators=(",", ":"))
    return Response(text, status, media_type="application/json")


def file(data: bytes, name: str, kind: str) -> Response:
    """Answer with a file to be kept."""
    from starlette.responses import Response

    told = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(data, media_type=kind, headers=told)


async def sent_json(request: Request, most_bytes: int = MOST_JSON) -> dict[str, Any]:
    """Return a JSON object of bounded length.

    Raises
    ------
    UsageError
        If it is longer, or none.
    """
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > most_bytes:
            raise UsageError("The page sent more than it ever does. Load it again.")
    try:
        told = json.loads(bytes(body) or b"{}")
    except (ValueError, RecursionError) as error:
        raise UsageError(_UNREADABLE) from error
    if not isinstance(told, dict):
        raise UsageError(_UNREADABLE)
    return told
