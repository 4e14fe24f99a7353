"""Corrections by hand: each step a frozen record, all of a picture in one list, in the order they were made.

Places are px of the picture, so that the same steps on the same picture do the same whatever else is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, Self, get_args

from ..errors import UsageError
from ..kinds import Json, as_two, shown

Place = tuple[float, float]
Do = Literal["bridge", "move", "border", "drop", "take", "join", "split", "item", "draw"]
Along = Literal["edge", "straight", "curved"]
Border = Literal["outer", "inner"]

MOST_STEPS = 500  # on a picture; more is a file gone wrong
_MOST_PLACES = 50  # in a step
_MOST_PX = 1e6  # as of any place in a picture
_DIGITS = 2  # px: finer than a hand sets a place
_PLACES: Mapping[Do, tuple[int, int]] = {
    "bridge": (2, _MOST_PLACES),
    "move": (2, 2),
    "border": (1, 2),
    "drop": (1, 1),
    "take": (1, 1),
    "join": (4, 4),
    "split": (2, _MOST_PLACES),
    "item": (1, 1),
    "draw": (3, 4 * _MOST_PLACES),
}
_ALONG: Mapping[Do, tuple[Along, ...]] = {  # the first unless another is said
    "bridge": ("edge", "straight", "curved"),
    "join": ("straight", "curved", "edge"),
    "split": ("edge", "straight"),
    "draw": ("edge", "straight"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One correction.

    - ``bridge``: the outline or hole runs from the first place to the last along the picture's edge, straight, or
      curved on from both sides; those between are passed. The shorter way round is what it replaces.
    - ``move``: the line is pulled from the first place to the second, and its neighbourhood with it.
    - ``border``: of two plausible borders this one is taken: of the whole item at a place, or from place to place.
    - ``drop``: the hole that holds the place is none; outside of holes, the item that holds it.
    - ``take``: the patch of an item that holds the place is a hole.
    - ``join``: two items that are one: the first two places lie on the one's outline and across on the other's, the
      other two so at the other end of the gap. The lines across are straight, curved on, or along the picture's edge.
    - ``split``: an item that is two: cut from a place on its outline to another, through those between, along the
      picture's edge where there is one, or straight.
    - ``item``: what was left out at the place is an item.
    - ``draw``: an item's whole border, all round through the places, along the picture's edge where there is one, or
      straight. It takes the place of what was seen as an item there, holes within it aside.

    Examples
    --------
    >>> Step(do="bridge", at=((10, 20.004), (30, 20))).plain()
    {'do': 'bridge', 'at': [[10.0, 20.0], [30.0, 20.0]], 'along': 'edge'}
    >>> Step(do="drop", at=())
    Traceback (most recent call last):
        ...
    digitize.errors.UsageError: A step by hand that is to drop needs 1 place, not 0.
    """

    do: Do
    at: tuple[Place, ...]
    along: Along | None = None  # of a line that is drawn
    border: Border | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be meant.

        Raises
        ------
        UsageError
            Naming what was given and what is expected.
        """
        if self.do not in get_args(Do):
            raise UsageError(f"A step by hand is one of {', '.join(get_args(Do))}, not {shown(self.do)}.")
        object.__setattr__(self, "at", _places(self.at))
        least, most = _PLACES[self.do]
        if not least <= len(self.at) <= most:
            count = f"{least}" if least == most else f"{least} to {most}"
            places = "place" if most == 1 else "places"
            raise UsageError(f"A step by hand that is to {self.do} needs {count} {places}, not {len(self.at)}.")
        along = _ALONG.get(self.do, ())
        if along and self.along is None:
            object.__setattr__(self, "along", along[0])
        self._check_word("along", along, needed=bool(along))
        self._check_word("border", get_args(Border), needed=self.do == "border")

    def _check_word(self, name: str, choices: tuple[str, ...], *, needed: bool) -> None:
        word = getattr(self, name)
        if needed and word not in choices:
            raise UsageError(f"{name} of a step by hand is one of {', '.join(choices)}, not {shown(word)}.")
        if not needed and word is not None:
            raise UsageError(f"A step by hand that is to {self.do} has no {name}.")

    @classmethod
    def of(cls, told: object) -> Self:
        """Return the step that a mapping tells, as `plain` returns it.

        Raises
        ------
        UsageError
            If it tells none.
        """
        if not isinstance(told, Mapping):
            raise UsageError(f"A step by hand tells what to do and where, not {shown(told)}.")
        unknown = set(map(str, told)) - {"do", "at", "along", "border"}
        if unknown:
            raise UsageError(f"{shown(min(unknown))} is nothing that a step by hand tells: do, at, along, border.")
        at = told.get("at")
        return cls(
            do=told.get("do", ""),
            at=tuple(at) if isinstance(at, list | tuple) else (),
            along=told.get("along"),
            border=told.get("border"),
        )

    def plain(self) -> dict[str, Json]:
        """Return the step as JSON has it; `of` takes it back."""
        told: dict[str, Json] = {"do": self.do, "at": [list(place) for place in self.at]}
        words = {"along": self.along, "border": self.border}
        return told | {key: word for key, word in words.items() if word is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """All steps of one picture."""

    steps: tuple[Step, ...]
    picture: str = ""  # SHA-256 of the file they were made on, hex; empty where nobody told

    def __post_init__(self) -> None:
        """Refuse more steps than a hand makes.

        Raises
        ------
        UsageError
            With the limit.
        """
        if len(self.steps) > MOST_STEPS:
            raise UsageError(f"{len(self.steps)} steps by hand are more than {MOST_STEPS}: scan the item again.")

    @classmethod
    def of(cls, told: object) -> Self:
        """Return the corrections that a mapping tells, as `plain` returns them.

        Raises
        ------
        UsageError
            If it tells none.
        """
        steps = told.get("step") if isinstance(told, Mapping) else None
        picture = told.get("picture", "") if isinstance(told, Mapping) else ""
        if not isinstance(steps, list | tuple) or not isinstance(picture, str):
            raise UsageError(f"Corrections by hand are a list of steps, not {shown(told)}.")
        return cls(steps=tuple(map(Step.of, steps)), picture=picture)

    def plain(self) -> dict[str, Json]:
        """Return them as JSON has them."""
        named: dict[str, Json] = {"picture": self.picture} if self.picture else {}
        return named | {"step": [step.plain() for step in self.steps]}


def _places(at: Any) -> tuple[Place, ...]:
    found = []
    for place in at if isinstance(at, list | tuple) else ():
        pair = as_two(place)
        if pair is None or not all(abs(one) <= _MOST_PX for one in pair):
            raise UsageError(f"{shown(place)} is no place of a step by hand: x and y in pixels, such as [812.5, 440].")
        found.append((round(pair[0], _DIGITS) + 0.0, round(pair[1], _DIGITS) + 0.0))
    return tuple(found)
