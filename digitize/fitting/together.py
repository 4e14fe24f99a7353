"""Many fits in step: what all of them wait for is worked out at once, as arrays over all of them.

A fit is a coroutine for this alone. It awaits a `Wish` where many of a kind cost hardly more than one: NumPy takes
longer to be called than to go through the few hundred numbers of one outline. What comes of a fit does not depend on
which others are under way.
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Generator, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

Given = TypeVar("Given")
Found = TypeVar("Found")

_UNDER_WAY = 256  # fits in step: more gain little, and their arrays leave the cache


@dataclass(frozen=True, slots=True, eq=False)
class Wish(Generic[Given, Found]):
    """Something to be worked out, by a function that does it for many at once."""

    by: Callable[[Sequence[Given]], Sequence[Found]]
    given: Given

    def __await__(self) -> Generator[Wish[Given, Found], Found, Found]:
        """Wait for it."""
        return (yield self)


Work = Coroutine[Wish[Any, Any], Any, Found]


def together(works: Iterable[Work[Found]]) -> list[Found]:
    """Bring works to their ends in step; return what came of each, in their order."""
    to_begin, found = enumerate(works), dict[int, Found]()
    waiting: list[tuple[int, Work[Found], Wish[Any, Any]]] = []
    while True:
        while len(waiting) < _UNDER_WAY and (begun := next(to_begin, None)) is not None:
            _go_on(*begun, None, waiting, found)
        if not waiting:
            return [found[number] for number in range(len(found))]
        by = _most_wanted([wish.by for _, _, wish in waiting])
        now = [one for one in waiting if one[2].by is by]
        waiting = [one for one in waiting if one[2].by is not by]
        answers = by([wish.given for _, _, wish in now])
        for (number, work, _), answer in zip(now, answers, strict=True):
            _go_on(number, work, answer, waiting, found)


def alone(work: Work[Found]) -> Found:
    """Bring one work to its end."""
    return together([work])[0]


def _go_on(
    number: int,
    work: Work[Found],
    answer: object,
    waiting: list[tuple[int, Work[Found], Wish[Any, Any]]],
    found: dict[int, Found],
) -> None:
    """Let a work go on to its next wish, or to its end."""
    try:
        waiting.append((number, work, work.send(answer)))
    except StopIteration as end:
        found[number] = end.value


def _most_wanted(kinds: list[Callable[..., Any]]) -> Callable[..., Any]:
    return max(dict.fromkeys(kinds), key=kinds.count)
