"""Who is answered: this machine's browser at this address with this process's cookie, and nobody else.

Every request is checked for Host (a name that was bent to this machine), Origin and Sec-Fetch-Site (a page of somebody
else's in the same browser), and the cookie, which only who has the printed address gets, once.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

ENTRANCE = "/enter"
READING = ("GET", "HEAD")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
_USED = (
    "This address has been used already, or is not this program's. Go back to the page that it opened; if that is "
    "gone, stop digitize review with Ctrl-C and start it again: it prints a new address."
)
_STRANGER = "This page answers only the browser that opened the address printed by digitize review."
_ELSEWHERE = "This page answers only at the address printed by digitize review."
_INSIDE = (
    '<!doctype html><html lang="en"><title>digitize review</title><link rel="icon" href="/page/mark.svg">'
    '<meta http-equiv="refresh" content="0;url=/"><p><a href="/">To the page</a></p></html>'
)


@dataclass(slots=True)
class Keys:
    """What opens the page: a word in the address, good once, and the cookie that is given for it."""

    once: str | None = field(default_factory=lambda: secrets.token_urlsafe(24))
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    def take(self, word: str) -> bool:
        """Tell whether this is the word that opens; it opens no second time."""
        if self.once is None or not secrets.compare_digest(word.encode(), self.once.encode()):
            return False
        self.once = None
        return True

    def fits(self, cookie: str) -> bool:
        """Tell whether this is the cookie."""
        return secrets.compare_digest(cookie.encode(), self.cookie.encode())


class Guard:
    """An ASGI application around another, which strangers never reach."""

    def __init__(self, app: App, *, authority: str, keys: Keys) -> None:
        self._app, self._keys, self._authority = app, keys, authority
        self._origin = f"http://{authority}"
        self._name = f"digitize-{authority.rpartition(':')[2]}"  # cookies know no ports

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or let it pass."""
        if scope["type"] != "http":
            return  # nothing else is spoken here
        told = _headers(scope)
        if self._is_elsewhere(scope["method"], told):
            await _answer(send, 403, _ELSEWHERE)
        elif scope["path"] == ENTRANCE and scope["method"] in READING:
            await self._enter(scope, told, send)
        elif not self._has_cookie(told):
            await _answer(send, 403, _STRANGER)
        else:
            await self._app(scope, receive, _with_headers(send))

    def _is_elsewhere(self, method: str, told: dict[str, list[str]]) -> bool:
        """Whether a request came by another name, or from another page."""
        if told.get("host") != [self._authority]:
            return True
        origin = told.get("origin")
        if origin != [self._origin] and (origin is not None or method not in READING):
            return True
        return any(site not in ("same-origin", "none") for site in told.get("sec-fetch-site", []))

    async def _enter(self, scope: Scope, told: dict[str, list[str]], send: Send) -> None:
        words = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [""])
        if self._keys.take(words[0]):
            cookie = f"{self._name}={self._keys.cookie}; Path=/; HttpOnly; SameSite=Strict"
            await _answer(send, 200, _INSIDE, kind="text/html", more=((b"set-cookie", cookie.encode()),))
        elif self._has_cookie(told):
            await _answer(send, 200, _INSIDE, kind="text/html")
        else:
            await _answer(send, 403, _USED)

    def _has_cookie(self, told: dict[str, list[str]]) -> bool:
        for line in told.get("cookie", []):
            for part in line.split(";"):
                name, _, value = part.strip().partition("=")
                if name == self._name and self._keys.fits(value):
                    return True
        return False


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


async def _answer(
    send: Send, status: int, words: str, *, kind: str = "text/plain", more: tuple[tuple[bytes, bytes], ...] = ()
) -> None:
    """Answer with a sentence."""
    body = words.encode()
    lines = (
        (b"content-type", f"{kind}; charset=utf-8".encode()),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *HEADERS,
        *more,
    )
    await send({"type": "http.response.start", "status": status, "headers": list(lines)})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Send) -> Send:
    """Return `send` that adds what a browser is to know of every answer."""

    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            lines = list(message.get("headers", []))
            if not any(name.lower() == b"cache-control" for name, _ in lines):
                lines.append((b"cache-control", b"no-store"))
            message = {**message, "headers": [*lines, *HEADERS]}
        await send(message)

    return sending
