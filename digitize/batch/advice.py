"""What needs a person: like findings of a picture in one sentence, the worst picture first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..words.gather import Said, Seen, gathered
from ..words.say import excess, finding_of, rank_of, step_of
from .row import Row
from .task import Outcome, Warned

CODES = {  # of the table of messages, by the kind of what went wrong
    "defect": "defect",
    "ended": "work-ended",
    "picture": "unreadable",
    "time": "took-too-long",
    "scale": "no-scale",
    "outline": "no-outline",
    "usage": "wrong-option",
    "write": "not-written",
    "memory": "out-of-memory",
    "machine": "machine",
}
GONE = "picture-gone"
REJECTED = "rejected"
_LAST = 1000  # after every rank


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing a person has to look at."""

    row: Row
    where: str  # item or picture
    code: str
    reason: str
    next_step: str
    value: float | None = None
    limit: float | None = None


def attention_of(rows: Iterable[Row]) -> list[Attention]:
    """Return everything that needs a person, worst first."""
    found = [attention for row in rows for attention in _of(row)]
    return sorted(found, key=_rank)


def gone_of(row: Row) -> Attention:
    """Return what is said of results whose picture is no longer there."""
    reason = finding_of("picture-gone", count=len(row.outcome.files)).message
    return Attention(row, row.shown, GONE, reason, step_of(GONE))


def badness(row: Row) -> tuple[int, int, float, str]:
    """Return the key that sorts pictures worst first; those without anything to look at come last."""
    return min((_rank(attention) for attention in _of(row)), default=(_LAST, 0, 0.0, row.key))


def said_of(outcome: Outcome) -> list[Said]:
    """Return what is told of a picture, like findings of its items in one sentence."""
    numbers = {item.name: number for number, item in enumerate(outcome.items, 1)}
    return gathered([_seen(warned, numbers) for warned in outcome.warned], of=len(numbers))


def where_of(row: Row, said: Said) -> str:
    """Return what a sentence is about: the item's name, several, or the picture's."""
    names = [row.outcome.items[number - 1].name for number in said.items]
    return ", ".join(names) if names else row.shown


def _seen(warned: Warned, numbers: dict[str, int]) -> Seen:
    return Seen(
        code=warned.code,
        message=warned.message,
        attention=warned.attention,
        value=warned.value,
        limit=warned.limit,
        item=numbers.get(warned.where),
        of_photo=warned.of_photo,
    )


def _of(row: Row) -> list[Attention]:
    outcome = row.outcome
    if row.decided == "accepted":
        return []
    if row.decided == "rejected":
        return [Attention(row, row.shown, REJECTED, finding_of("rejected").message, step_of(REJECTED))]
    if outcome.state != "done":
        reason = outcome.problem
        if outcome.files:
            reason += " Results of an earlier run still lie in the folder."
        code = CODES[outcome.kind]
        return [Attention(row, row.shown, code, reason, step_of(code))]
    return [
        Attention(row, where_of(row, said), said.code, said.message, said.step, said.value, said.limit)
        for said in said_of(outcome)
        if said.attention
    ]


_ORDER = {code: number for number, code in enumerate(CODES.values())}


def _rank(attention: Attention) -> tuple[int, int, float, str]:
    """Order: no result, then by rank of what was found, then by how far the limit is exceeded, then by name."""
    without = _ORDER.get(attention.code)
    rank = (0, without) if without is not None else (rank_of(attention.code), 0)
    return *rank, -excess(attention.value, attention.limit), attention.row.key
