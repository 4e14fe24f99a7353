"""Like findings of many items as one sentence, the worst first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..records import Finding, Result
from .say import excess, rank_of, step_of, together

_THE_ITEM = re.compile(r"\b[Tt]he item\b")
_MOST_RUNS = 4  # stretches of numbers that are spelled out


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One finding, and the number of the item it is about."""

    code: str
    message: str
    attention: bool
    value: float | None = None
    limit: float | None = None
    item: int | None = None  # from 1; None: about the whole picture
    detail: str = ""
    of_photo: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What is told of one code: of the picture, or of all the items it was found at."""

    code: str
    attention: bool
    message: str  # what happened
    step: str  # what to do
    rank: int
    items: tuple[int, ...]  # numbers from 1; empty: about the whole picture
    value: float | None  # of the worst
    limit: float | None
    details: tuple[str, ...] = ()
    worst: str = ""  # what is said of the worst alone
    of_photo: bool = False

    @property
    def sentence(self) -> str:
        """What happened and what to do."""
        return f"{self.message} {self.step}"


def seen_in(result: Result) -> list[Seen]:
    """Return every finding of a result, the picture's first."""
    of_all = [_seen(finding, None) for finding in (*(one.reason for one in result.failed), *result.findings)]
    for number, item in enumerate(result.items, 1):
        pocket = item.pocket.findings if item.pocket is not None else ()
        of_all += [_seen(finding, number) for finding in (*item.findings, *pocket)]
    return of_all


def gathered(found: Iterable[Seen], *, of: int) -> list[Said]:
    """Return one sentence for each code, what asks for a person first, then by rank, then by how far it is off.

    Parameters
    ----------
    found
        What was found in one picture.
    of
        How many items it has.
    """
    groups: dict[tuple[str, bool, str | None], list[Seen]] = {}
    for one in found:
        # of the picture only what the table has words for is alike: two rings left out are two places
        apart = one.item is None and together(one.code, "", one.value, one.limit) is None
        groups.setdefault((one.code, one.attention, one.message if apart else None), []).append(one)
    return sorted((_said(group, of) for group in groups.values()), key=_order)


def said_of(result: Result) -> list[Said]:
    """Return what is told of a result, the worst first."""
    return gathered(seen_in(result), of=len(result.items))


def numbers(items: Sequence[int], *, of: int) -> str:
    """Return which of so many items: "item 2", "items 1 to 3 and 5", "11 of 12 items (1 to 8, 10 to 12)"."""
    if len(items) == of:
        return ("the item", "both items")[of - 1] if of < 3 else f"all {of} items"
    runs = _runs(items)
    listed = ", ".join(runs[:_MOST_RUNS]) + (" ..." if len(runs) > _MOST_RUNS else "")
    if len(items) == 1:
        return f"item {items[0]}"
    if len(runs) == 1 or len(items) == 2:
        return f"items {' and '.join(runs)}"
    return f"{len(items)} of {of} items ({listed})"


def _seen(finding: Finding, item: int | None) -> Seen:
    return Seen(
        code=finding.code,
        message=finding.message,
        attention=finding.attention,
        value=finding.value,
        limit=finding.limit,
        item=item,
        detail=finding.detail,
        of_photo=finding.of_photo,
    )


def _said(group: list[Seen], of: int) -> Said:
    worst = max(group, key=lambda one: excess(one.value, one.limit))
    items = tuple(dict.fromkeys(one.item for one in group if one.item is not None))
    message = worst.message
    if not items and len(group) > 1:
        message = together(worst.code, f"{len(group)} things", worst.value, worst.limit) or message
    if items and of > 1:
        who = numbers(items, of=of)
        alone = _of_item(worst.message, who)
        message = alone if len(items) == 1 else together(worst.code, who, worst.value, worst.limit) or alone
    return Said(
        code=worst.code,
        attention=worst.attention,
        message=message,
        step=step_of(worst.code, of_photo=worst.of_photo),
        rank=rank_of(worst.code),
        items=items,
        value=worst.value,
        limit=worst.limit,
        details=tuple(dict.fromkeys(one.detail for one in group if one.detail)),
        worst=worst.message,
        of_photo=worst.of_photo,
    )


def _of_item(message: str, who: str) -> str:
    """Return a sentence about "the item" as one about those named."""
    named = _THE_ITEM.sub(who, message, count=1) if who.startswith("item ") else message
    named = f"{who}: {message}" if named == message else named
    return named[:1].upper() + named[1:]


def _order(said: Said) -> tuple[bool, int, float]:
    return not said.attention, said.rank, -excess(said.value, said.limit)


def _runs(items: Sequence[int]) -> list[str]:
    """Return stretches of whole numbers in words."""
    runs: list[list[int]] = []
    for number in sorted(items):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words: list[str] = []
    for run in runs:
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run]
    return words
