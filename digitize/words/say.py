"""Findings and their sentences, made from the table; nothing else makes either."""

from __future__ import annotations

import math
import re

from ..records import Finding
from .message import Message, Rank
from .of_check import OF_CHECK
from .of_cutting import OF_CUTTING
from .of_edges import OF_EDGES
from .of_failures import OF_FAILURES
from .of_hand import OF_HAND
from .of_items import OF_ITEMS
from .of_lot import OF_LOT
from .of_picture import OF_PICTURE
from .of_plate import OF_PLATE
from .of_scale import OF_SCALE

ROWS = (
    *OF_SCALE,
    *OF_ITEMS,
    *OF_HAND,
    *OF_EDGES,
    *OF_CUTTING,
    *OF_PICTURE,
    *OF_FAILURES,
    *OF_CHECK,
    *OF_LOT,
    *OF_PLATE,
)
MESSAGES: dict[str, Message] = {row.code: row for row in ROWS}
SURE_MM = 0.05  # what an edge may be off before a person is asked to look; common practice of laser cutting, no source
_NAMES_VALUE = re.compile(r"\{(value|percent)[:}]")
_LOOK = "Look at the check picture, and compare a length with calipers."


def finding_of(
    code: str,
    *,
    value: float | None = None,
    limit: float | None = None,
    place_px: tuple[float, float] | None = None,
    attention: bool = True,
    case: str | None = None,
    detail: str = "",
    **facts: object,
) -> Finding:
    """Return the finding of a code, its sentence made from the table.

    Parameters
    ----------
    code
        A row of the table.
    value, limit, place_px, attention
        As in `Finding`.
    case
        Which of the row's texts, where there are several.
    detail
        Figures for experts.
    **facts
        What else the text names.

    Raises
    ------
    KeyError
        If the table has no such row, or its text names what was not given.
    """
    row = MESSAGES[code]
    text = row.text if case is None else row.cases[case]
    words = text.format(**_figures(value, limit), **facts)
    return Finding(code, words, value, limit, place_px, attention, detail)


def title_of(code: str) -> str:
    """Return a code as two or three words."""
    row = MESSAGES.get(code)
    return code.replace("-", " ").capitalize() if row is None else row.title


def step_of(code: str, *, of_photo: bool = False) -> str:
    """Return the one next step: what helps a scan may be no help to a photo."""
    row = MESSAGES.get(code)
    if row is None:
        return _LOOK
    return (of_photo and row.photo_step) or row.step


def rank_of(code: str) -> int:
    """Return how early a code is told; one that is not in the table comes after those that are."""
    row = MESSAGES.get(code)
    return Rank.DETAIL + 1 if row is None else row.rank


def together(code: str, who: str, value: float | None, limit: float | None) -> str | None:
    """Return what is said of several items at once; None where the table has no words for it."""
    row = MESSAGES.get(code)
    if row is None or not row.together or (value is None and _NAMES_VALUE.search(row.together)):
        return None
    words = row.together.format(who=who, **_figures(value, limit))
    return words[:1].upper() + words[1:]


def excess(value: float | None, limit: float | None) -> float:
    """Return how many times a value is beyond its limit, whichever side is the good one; without a limit its size."""
    if value is None:
        return 0.0
    if not limit:
        return abs(value)
    ratio = abs(value / limit)
    return math.inf if ratio == 0 else max(ratio, 1 / ratio)


def _figures(value: float | None, limit: float | None) -> dict[str, object]:
    return {
        "value": value,
        "limit": limit,
        "percent": None if value is None else 100 * value,
        "percent_limit": None if limit is None else 100 * limit,
    }
