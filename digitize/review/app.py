"""The addresses of the page: what comes is looked at here, what is to be done is done in `work.py`."""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable
from importlib import resources
from typing import TYPE_CHECKING, Any

from ..errors import DigitizeError, UsageError, WriteError
from ..files import safe_stem
from .answers import aside, file, json_of, sent_json
from .bundle import CARDS, card_pdf, zipped
from .cards import CardsPage
from .form import fields
from .guard import App, Guard, Keys
from .measured import angle_at, length_between, profile_at, radius_through
from .on_page import words_on_page
from .plate.addresses import PlatePage
from .plate.work import PlateWork
from .shelf import Entry
from .steps import UnseenError
from .tiles import colour_at
from .under_way import StoppedError
from .work import Work

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

Unexpected = Callable[[BaseException], str]
_KINDS = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_TOO_LITTLE_MEMORY = "Not enough memory for this picture: close programs, scan a smaller area."
_NOT_HERE = "There is no such place on this page."


def make_app(work: Work, *, authority: str, keys: Keys, unexpected: Unexpected) -> App:
    """Return the page as an ASGI application, guarded.

    Parameters
    ----------
    work
        What is under way.
    authority
        Host and port it answers at: "127.0.0.1:8123".
    keys
        What opens it.
    unexpected
        Tells, and keeps for whoever mends it, what nobody expected; returns the sentence for the page.
    """
    from starlette.applications import Starlette
    from starlette.routing import Route

    page = _Page(work, unexpected)
    routes = [
        Route("/", page.answered(page.start)),
        Route("/page/{name}", page.answered(page.part)),
        Route("/known", page.answered(page.known)),
        Route("/card/{name}", page.answered(page.card)),
        Route("/pictures", page.answered(page.receive), methods=["POST"]),
        Route("/pictures/sample", page.answered(page.sample), methods=["POST"]),
        Route("/pictures/{key}", page.answered(page.sight)),
        Route("/pictures/{key}/outline", page.answered(page.outline), methods=["POST"]),
        Route("/pictures/{key}/step", page.answered(page.step), methods=["POST"]),
        Route("/pictures/{key}/anew", page.answered(page.anew), methods=["POST"]),
        Route("/pictures/{key}/decision", page.answered(page.decision), methods=["POST"]),
        Route("/pictures/{key}/ahead", page.answered(page.ahead), methods=["POST"]),
        Route("/pictures/{key}/stop", page.answered(page.stop), methods=["POST"]),
        Route("/pictures/{key}/correction", page.answered(page.correction), methods=["POST"]),
        Route("/pictures/{key}/by-hand.toml", page.answered(page.corrections)),
        Route("/pictures/{key}/tiles/{level}/{column}/{row}", page.answered(page.tile)),
        Route("/pictures/{key}/colour", page.answered(page.colour)),
        Route("/pictures/{key}/length", page.answered(page.length)),
        Route("/pictures/{key}/angle", page.answered(page.angle)),
        Route("/pictures/{key}/radius", page.answered(page.radius)),
        Route("/pictures/{key}/profile", page.answered(page.profile)),
        Route("/pictures/{key}/files.zip", page.answered(page.files)),
        Route("/pictures/{key}/write", page.answered(page.write), methods=["POST"]),
        Route("/pictures/{key}/check", page.answered(page.check), methods=["POST"]),
        *CardsPage().routes(page.answered),
        *PlatePage(PlateWork(work)).routes(page.answered),
    ]
    return Guard(Starlette(routes=routes), authority=authority, keys=keys)


class _Page:
    """Every address as a method; those that take long work in a thread beside."""

    def __init__(self, work: Work, unexpected: Unexpected) -> None:
        self._work, self._unexpected = work, unexpected
        folder = resources.files("digitize") / "review" / "page"
        self._parts = {one.name: one.read_bytes() for one in folder.iterdir() if one.is_file()}

    def answered(self, answer: Callable[[Request], Awaitable[Response]]) -> Callable[[Request], Awaitable[Response]]:
        """Turn our errors into a sentence, and what nobody expected too."""

        async def answering(request: Request) -> Response:
            from starlette.requests import ClientDisconnect

            try:
                return await answer(request)
            except _NotHereError:
                return json_of({"error": _NOT_HERE}, 404)
            except UnseenError as error:
                return json_of({"error": str(error)}, 412)
            except StoppedError as error:
                return json_of({"error": str(error), "stopped": True}, 409)
            except DigitizeError as error:
                told = {"error": words_on_page(str(error))}
                return json_of(told, 409 if isinstance(error, WriteError) else 422)
            except MemoryError:
                return json_of({"error": _TOO_LITTLE_MEMORY}, 503)
            except ClientDisconnect:
                return json_of({"error": "The page went away."}, 400)
            except Exception as error:
                return json_of({"error": await aside(self._unexpected, error)}, 500)

        return answering

    async def start(self, request: Request) -> Response:
        """Answer with the page itself."""
        return self._part("index.html")

    async def part(self, request: Request) -> Response:
        """Answer with a part of the page, one of those that were there when it began."""
        return self._part(request.path_params["name"])

    def _part(self, name: str) -> Response:
        if name not in self._parts:
            raise _NotHereError
        from starlette.responses import Response

        return Response(self._parts[name], media_type=_KINDS.get(name.rpartition(".")[2], "application/octet-stream"))

    async def known(self, request: Request) -> Response:
        """Answer with the options there are and the pictures that are here."""
        work, folder = self._work, self._work.folder
        return json_of(
            {
                "fields": fields(),
                "pictures": [self._listed(one) for one in work.shelf.entries.values()],
                "to": None if work.asked.to is None or folder is not None else str(work.asked.to),
                "folder": None if folder is None else str(folder.results),
                "most_bytes": work.shelf.most_bytes,
            }
        )

    def _listed(self, entry: Entry) -> dict[str, Any]:
        folder = self._work.folder
        return {"key": entry.key, "name": entry.name, **({} if folder is None else folder.told(entry))}

    async def card(self, request: Request) -> Response:
        """Answer with a card to print, such as single-a4.pdf."""
        which = request.path_params["name"]
        if which not in CARDS:
            raise _NotHereError
        name, data = await aside(card_pdf, which)
        return file(data, name, "application/pdf")

    async def receive(self, request: Request) -> Response:
        """Take in a picture that was dropped on the page."""
        name = request.query_params.get("name", "")
        if not name.strip():
            raise UsageError("The picture has no name. Drop it again.")
        entry = await self._work.shelf.receive(name, request.stream())
        return json_of({"key": entry.key, "name": entry.name}, 201)

    async def sample(self, request: Request) -> Response:
        """Put the sample beside the pictures, with the side of its square said."""
        entry = await aside(self._work.add_sample)
        return json_of({"key": entry.key, "name": entry.name}, 201)

    async def sight(self, request: Request) -> Response:
        """Answer with what is to be known of a picture before it is outlined."""
        return json_of(await aside(self._work.sight, self._entry(request)))

    async def outline(self, request: Request) -> Response:
        """Outline with the options sent; without any, as they stand."""
        sent = await sent_json(request)
        return json_of(await aside(self._work.outline, self._entry(request), sent.get("words"), sent.get("seen")))

    async def correction(self, request: Request) -> Response:
        """Add a correction by hand, or leave one out."""
        sent = await sent_json(request)
        if (sent.get("add") is None) == (sent.get("without") is None):
            raise UsageError("A correction is added or left out, one at a time.")
        entry = self._entry(request)
        return json_of(await aside(self._work.correct, entry, sent.get("add"), sent.get("without"), sent.get("seen")))

    async def corrections(self, request: Request) -> Response:
        """Answer with the corrections by hand as a file."""
        name, data = await aside(self._work.corrections, self._entry(request))
        return file(data, name, "application/toml")

    async def step(self, request: Request) -> Response:
        """Undo, or do again."""
        by = (await sent_json(request)).get("by")
        if by not in (-1, 1) or isinstance(by, bool):
            raise UsageError("A step goes one back or one on.")
        return json_of(await aside(self._work.move, self._entry(request), by))

    async def anew(self, request: Request) -> Response:
        """Leave the steps of before, which an undo brings back."""
        return json_of(await aside(self._work.anew, self._entry(request)))

    async def decision(self, request: Request) -> Response:
        """Accept a picture of the folder, reject it, or leave it open again."""
        sent, entry, folder = await sent_json(request), self._entry(request), self._work.folder
        if folder is None:
            raise UsageError("Nothing is accepted or rejected here: give a folder, and with --to where files go.")
        return json_of(await aside(folder.decide, self._work, entry, sent.get("said"), sent.get("seen")))

    async def ahead(self, request: Request) -> Response:
        """Begin to prepare a picture that will be looked at next."""
        return json_of({"begun": self._work.prepare(self._entry(request))})

    async def stop(self, request: Request) -> Response:
        """Stop the outline that is being made; who waits for it is answered at once, with 409."""
        return json_of({"stopped": self._work.stop(self._entry(request))})

    async def tile(self, request: Request) -> Response:
        """Answer with a piece of the picture."""
        from starlette.responses import Response

        entry, place = self._entry(request), [request.path_params[name] for name in ("level", "column", "row")]
        if not all(word.isascii() and word.isdecimal() and len(word) < 7 for word in place):
            raise _NotHereError
        data = await aside(lambda: self._work.opened(entry).pyramid.tile(*map(int, place)))
        if data is None:
            raise _NotHereError
        kept = {"cache-control": "private, max-age=3600"}  # its key is of this run alone
        return Response(data, media_type="image/jpeg", headers=kept)

    async def colour(self, request: Request) -> Response:
        """Answer with the colour at a place."""
        entry, (x, y) = self._entry(request), _numbers(request, "x", "y")
        found = await aside(lambda: colour_at(self._work.opened(entry).pyramid.picture, x, y))
        if found is None:
            raise UsageError("That place is outside the picture.")
        return json_of({"colour": found})

    async def length(self, request: Request) -> Response:
        """Answer with the length between two places."""
        entry, (x0, y0, x1, y1) = self._entry(request), _numbers(request, "x0", "y0", "x1", "y1")
        made = await aside(self._work.made, entry)
        return json_of(length_between(made.result, made.outlined.scale, (x0, y0), (x1, y1)))

    async def angle(self, request: Request) -> Response:
        """Answer with the angle at the second of three places."""
        entry, three = self._entry(request), _three(request)
        made = await aside(self._work.made, entry)
        return json_of(angle_at(made.outlined.scale, three))

    async def radius(self, request: Request) -> Response:
        """Answer with the radius of the arc through three places."""
        entry, three = self._entry(request), _three(request)
        made = await aside(self._work.made, entry)
        return json_of(await aside(radius_through, made.result, made.outlined.scale, three))

    async def profile(self, request: Request) -> Response:
        """Answer with the light across the edge nearest to a place."""
        entry, (x, y) = self._entry(request), _numbers(request, "x", "y")
        made = await aside(self._work.made, entry)
        return json_of(await aside(profile_at, made.picture, made.result, made.outlined.scale, (x, y)))

    async def check(self, request: Request) -> Response:
        """Answer with how calipers' readings of an item agree with its outline."""
        sent = await sent_json(request)
        return json_of(await aside(self._work.check, self._entry(request), sent.get("item"), sent.get("readings")))

    async def files(self, request: Request) -> Response:
        """Answer with all files of the result as a zip."""
        entry, dropped = self._entry(request), _dropped(request.query_params.get("dropped", "").split(","))
        data = await aside(lambda: zipped(self._work.files(entry, dropped)))
        return file(data, f"{safe_stem(entry.path.stem)}.zip", "application/zip")

    async def write(self, request: Request) -> Response:
        """Write all files of the result into the folder named on the command line."""
        sent = (await sent_json(request)).get("dropped", [])
        dropped = _dropped([str(one) for one in sent] if isinstance(sent, list) else ["?"])
        paths = await aside(self._work.write, self._entry(request), dropped)
        return json_of({"written": [str(path) for path in paths]})

    def _entry(self, request: Request) -> Entry:
        found = self._work.shelf.entries.get(request.path_params["key"])
        if found is None:
            raise _NotHereError
        return found


class _NotHereError(Exception):
    """An address that there is not."""


def _numbers(request: Request, *names: str) -> tuple[float, ...]:
    try:
        found = tuple(float(request.query_params.get(name, "")) for name in names)
    except ValueError as error:
        raise UsageError("A place is two numbers, in pixels.") from error
    if not all(map(math.isfinite, found)):
        raise UsageError("A place is two numbers, in pixels.")
    return found


def _three(request: Request) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
    x0, y0, x1, y1, x2, y2 = _numbers(request, "x0", "y0", "x1", "y1", "x2", "y2")
    return (x0, y0), (x1, y1), (x2, y2)


def _dropped(words: list[str]) -> frozenset[int]:
    plain = [word.strip() for word in words if word.strip()]
    if not all(word.isascii() and word.isdecimal() and len(word) < 7 for word in plain):
        raise UsageError("Items are named by their numbers.")
    return frozenset(map(int, plain))
