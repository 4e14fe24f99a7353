"""The addresses of the plate: what comes is looked at here, what is to be done is done in `work.py`."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ...errors import UsageError
from ..answers import aside, file, json_of, sent_json
from ..bundle import zipped
from .form import fields
from .work import PlateWork

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

_MOST_JSON = 1_000_000  # bytes: ten thousand places


class PlatePage:
    """Every address of the plate as a method."""

    def __init__(self, work: PlateWork) -> None:
        self._work = work

    def routes(self, answered: Callable[[Any], Any]) -> list[Route]:
        """Return the addresses, answered as all are."""
        from starlette.routing import Route

        return [
            Route("/plate", answered(self.state)),
            Route("/plate/fields", answered(self.fields)),
            Route("/plate/ask", answered(self.ask), methods=["POST"]),
            Route("/plate/check", answered(self.check), methods=["POST"]),
            Route("/plate/artwork", answered(self.artwork), methods=["POST"]),
            Route("/plate/files.zip", answered(self.files)),
            Route("/plate/template.zip", answered(self.template)),
            Route("/plate/write", answered(self.write), methods=["POST"]),
        ]

    async def fields(self, request: Request) -> Response:
        """Answer with the options there are."""
        return json_of({"fields": fields()})

    async def state(self, request: Request) -> Response:
        """Answer with the plate as it is."""
        return json_of(await aside(self._work.state))

    async def ask(self, request: Request) -> Response:
        """Lay another plate."""
        return json_of(await aside(self._work.ask, await sent_json(request, _MOST_JSON)))

    async def check(self, request: Request) -> Response:
        """Answer with what is wrong with pockets that are being moved."""
        return json_of(await aside(self._work.held_against, await sent_json(request, _MOST_JSON)))

    async def artwork(self, request: Request) -> Response:
        """Take in artwork."""
        name = request.query_params.get("name", "")
        if not name.strip():
            raise UsageError("The artwork has no name. Choose it again.")
        key, called = await self._work.arts.receive(name, request.stream())
        return json_of({"key": key, "name": called}, 201)

    async def files(self, request: Request) -> Response:
        """Answer with all files of the plate as a zip."""
        stem, made = await aside(self._work.files)
        return file(await aside(zipped, made), f"{stem}.zip", "application/zip")

    async def template(self, request: Request) -> Response:
        """Answer with the template as a zip."""
        stem, made = await aside(self._work.template)
        return file(await aside(zipped, made), f"{stem}.template.zip", "application/zip")

    async def write(self, request: Request) -> Response:
        """Write the plate's files, or its template's, into the folder named on the command line."""
        template = (await sent_json(request, _MOST_JSON)).get("template") is True
        paths = await aside(lambda: self._work.write(template=template))
        return json_of({"written": [str(path) for path in paths]})
