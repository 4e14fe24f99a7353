"""What calipers read of printed cards, kept and taken on the page: the same files as `digitize profile card` keeps."""

from __future__ import annotations

import datetime
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from ..errors import UsageError
from ..kept_cards import OLD_DAYS, CardReading, keep_card, kept_cards
from .answers import aside, json_of, sent_json

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

Answer = Callable[["Request"], Awaitable["Response"]]
_LONGEST = 80  # characters of a name or a reading


class CardsPage:
    """The addresses of kept readings."""

    def __init__(self, today: Callable[[], datetime.date] = datetime.date.today) -> None:
        self._today = today

    def routes(self, answered: Callable[[Answer], Answer]) -> list[Route]:
        """Return the addresses, each answered as the page's others are."""
        from starlette.routing import Route

        return [
            Route("/cards", answered(self.listed)),
            Route("/cards", answered(self.keep), methods=["POST"]),
        ]

    async def listed(self, request: Request) -> Response:
        """Answer with all readings that are kept."""
        return json_of({"cards": await aside(self._cards)})

    async def keep(self, request: Request) -> Response:
        """Keep a reading under a name, in place of an older one of that name."""
        sent = await sent_json(request)
        name, measured, error = (_word(sent.get(key)) for key in ("name", "measured", "caliper_error"))
        if name is None:
            raise UsageError("Say a name to keep the reading under, such as desk.")
        if measured is None:
            raise UsageError("Say what calipers read of the card first: 53.90x53.80.")
        await aside(lambda: keep_card(name, measured, today=self._today(), caliper_error=error))
        return json_of({"cards": await aside(self._cards), "kept": name}, 201)

    def _cards(self) -> list[dict[str, Any]]:
        today = self._today()
        return [_plain(one, today) for one in kept_cards()]


def _plain(one: CardReading, today: datetime.date) -> dict[str, Any]:
    days = one.days(today)
    return {
        "name": one.name,
        "measured": one.measured,
        "caliper_error": None if one.caliper_error_mm is None else f"{one.caliper_error_mm:g}",
        "on": one.on.isoformat(),
        "days": days,
        "old": days > OLD_DAYS,
    }


def _word(sent: object) -> str | None:
    if sent is None:
        return None
    if not isinstance(sent, str) or len(sent) > _LONGEST:
        raise UsageError("The page sent what is no name and no reading. Load it again.")
    return sent.strip() or None
