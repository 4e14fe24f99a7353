"""Which item each step by hand belongs to, and what a hand asks for that was not seen as one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..edge.border import border_through
from ..errors import UsageError
from ..hand.steps import Corrections, Step
from ..measure.profiles import USUAL_BLUR_PX
from ..records import Finding, Picture
from ..silhouette.regions import Border, Region
from ..words.say import finding_of
from .by_hand import REACH_PX

if TYPE_CHECKING:
    from shapely import MultiLineString, Polygon

_FAR_PX = 200.0  # to an item's border: a border that was chosen by hand may lie that far off
ADDING = ("item", "draw")  # steps that make an item


@dataclass(frozen=True, slots=True)
class Asked:
    """What steps ask for that was not seen as an item."""

    what: tuple[tuple[float, float] | Border, ...] = ()
    steps: tuple[int, ...] = ()  # of each the number of its step

    def made_by(self, regions: Sequence[Region]) -> dict[int, int]:
        """Return by the number of a step which region came of it."""
        return {self.steps[one.asked]: number for number, one in enumerate(regions) if one.asked is not None}


@dataclass(frozen=True, slots=True)
class Owned:
    """Which region each step belongs to."""

    by: tuple[int | None, ...]  # the region's number; None of a step that belongs to none
    overtaken: frozenset[int] = frozenset()  # steps on what another border was drawn for afterwards
    needless: frozenset[int] = frozenset()  # steps to take for an item what is one

    def of(self, number: int, steps: Sequence[Step]) -> list[Step]:
        """Return the steps of a region."""
        return [step for step, owner in zip(steps, self.by, strict=True) if owner == number]

    def nobodys(self, steps: Sequence[Step]) -> list[Step]:
        """Return the steps that find nothing to do."""
        pairs, others = enumerate(zip(steps, self.by, strict=True)), self.overtaken | self.needless
        return [step for number, (step, owner) in pairs if owner is None and number not in others]


def steps_for(picture: Picture, corrections: Corrections | None) -> tuple[Step, ...]:
    """Return the steps for a picture.

    Raises
    ------
    UsageError
        If they were made on another one.
    """
    if corrections is None:
        return ()
    if corrections.picture and corrections.picture != picture.sha256:
        raise UsageError(
            f"--by-hand: these steps were made on another picture than {picture.name} (its SHA-256 begins with "
            f"{picture.sha256[:12]}, theirs with {corrections.picture[:12]}). Name the steps of this picture."
        )
    return corrections.steps


def asked_by(picture: Picture, steps: Sequence[Step], blur_px: float | None) -> Asked:
    """Return what steps ask for; a border that crosses itself, or encloses nothing, is left aside.

    Parameters
    ----------
    picture
        The picture.
    steps
        All of it.
    blur_px
        Of the picture, where it is known.
    """
    what: list[tuple[float, float] | Border] = []
    numbers = []
    for number, step in enumerate(steps):
        if step.do not in ADDING:
            continue
        one: tuple[float, float] | Border | None = step.at[0]
        if step.do == "draw":
            places = np.array(step.at, dtype=np.float64)
            around = border_through(picture, places, follows=step.along == "edge", blur_px=blur_px or USUAL_BLUR_PX)
            one = None if around is None else Border(around.ring_px, around.places_px, around.guessed_px)
        if one is not None:
            what.append(one)
            numbers.append(number)
    return Asked(tuple(what), tuple(numbers))


def owners(regions: Sequence[Region], steps: Sequence[Step], made_by: Mapping[int, int]) -> Owned:
    """Return for each step the region it belongs to: with the nearest border, or around the place.

    Parameters
    ----------
    regions
        All that is seen, or was asked for, as items.
    steps
        In the order in which they were made.
    made_by
        By the number of a step the region that it made: steps before it belong to others.
    """
    import shapely

    filled = [shapely.Polygon(region.chains[0]) for region in regions]
    lines = [
        shapely.MultiLineString([np.vstack([c, c[:1]]).astype(np.float64) for c in region.chains]) for region in regions
    ]
    since = {region: step for step, region in made_by.items()}
    by: list[int | None] = []
    overtaken, needless = set(), set()
    for number, step in enumerate(steps):
        if number in made_by:
            by.append(made_by[number])
            continue
        there = [n for n in range(len(regions)) if since.get(n, -1) < number and step.do not in ADDING]
        near = _owner(step, [filled[n] for n in there], [lines[n] for n in there])
        by.append(None if near is None else there[near])
        later = _owner(step, filled, lines) if near is None else None
        if later is not None and since.get(later, -1) > number:
            overtaken.add(number)
        elif later is not None and step.do == "item" and not _in_hole(regions[later], step):
            needless.add(number)
    return Owned(tuple(by), frozenset(overtaken), frozenset(needless))


def _in_hole(region: Region, step: Step) -> bool:
    """Whether a step's place lies in a hole of a region."""
    import shapely

    return any(shapely.Polygon(hole).distance(shapely.Point(step.at[0])) == 0 for hole in region.chains[1:])


def groups(
    regions: Sequence[Region], steps: Sequence[Step], owned: Owned, made_by: Mapping[int, int]
) -> list[list[int]]:
    """Return the numbers of regions that steps join or split, those that are joined together."""
    others = owners(regions, [_from_its_second(step) for step in steps], made_by)
    held: list[set[int]] = []
    for step, owner, other in zip(steps, owned.by, others.by, strict=True):
        if owner is None or step.do not in ("join", "split"):
            continue
        both = {owner, other} if step.do == "join" and other is not None else {owner}
        both = both.union(*(one for one in held if one & both))
        held = [one for one in held if not one & both] + [both]
    return [sorted(one) for one in held]


def _from_its_second(step: Step) -> Step:
    return replace(step, at=(step.at[1], step.at[0], *step.at[2:])) if len(step.at) > 1 else step


def _owner(step: Step, filled: Sequence[Polygon], lines: Sequence[MultiLineString]) -> int | None:
    import shapely

    if not filled:
        return None
    place = shapely.Point(step.at[0])
    away = shapely.distance(lines, place)
    around = np.flatnonzero(shapely.distance(filled, place) <= 1.0)
    near = int(away.argmin())
    if step.do in ("bridge", "move", "join", "split") and away[near] <= REACH_PX:
        return near
    if len(around):
        return int(around[away[around].argmin()])
    return near if step.do not in ("drop", "take", "item") and away[near] <= _FAR_PX else None


def said_of_all(undone: Sequence[Step], dropped: int, needless: Sequence[Step] = ()) -> tuple[Finding, ...]:
    """What is to be said of steps that belong to no item that is left, or that ask for what is there."""
    found = []
    for step in needless:
        x, y = step.at[0]
        found.append(finding_of("by-hand-no-item", case="already", place_px=(x, y), attention=False, x=x, y=y))
    none, undone = [one for one in undone if one.do in ADDING], [one for one in undone if one.do not in ADDING]
    for step in none:
        x, y = step.at[0]
        found.append(finding_of("by-hand-no-item", case=step.do, place_px=(x, y), x=x, y=y))
    if undone:
        x, y = undone[0].at[0]
        things = "1 step" if len(undone) == 1 else f"{len(undone)} steps"
        found.append(
            finding_of(
                "by-hand-nothing",
                value=float(len(undone)),
                place_px=(x, y),
                things=things,
                do=undone[0].do,
                x=x,
                y=y,
            )
        )
    if dropped:
        things = "1 item was" if dropped == 1 else f"{dropped} items were"
        found.append(finding_of("by-hand-dropped", value=float(dropped), attention=False, things=things))
    return tuple(found)
