"""Which places of a result deserve a look, worst first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...records import Finding, Item, Result
from ...words.say import excess, rank_of, title_of

MOST = 3
APART_PX = 60.0
CUT_PX = 12.0  # an edge that near to the border is the border's
ALONG_PX = 6.0  # how much farther from it the edge is where it leaves the border; traced there, it may waver


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the picture and why to look there."""

    at_px: tuple[float, float]
    why: str
    of_item: bool = False  # whether it is about an item's edge or path, so that some of it is to be seen
    code: str | None = None  # of the finding that points there


def worst_places(result: Result) -> list[Place]:
    """Return up to three places, at least 60 px apart: where findings point, then where the edge is least sure."""
    found: list[Place] = []
    for place in [*_pointed_at(result), *_least_sure(result)]:
        if len(found) < MOST and all(np.hypot(*np.subtract(place.at_px, f.at_px)) >= APART_PX for f in found):
            found.append(place)
    return found


def _pointed_at(result: Result) -> list[Place]:
    pointed: list[tuple[Finding, Item | None]] = [(finding, None) for finding in result.findings]
    for item in result.items:
        about = (*item.findings, *(item.pocket.findings if item.pocket is not None else ()))
        pointed += [(finding, item) for finding in about]
    pointed.sort(key=lambda pair: _order(pair[0]))  # stable: else in the order of the result
    return [
        Place(
            _shown_at(finding, item, result) or finding.place_px, title_of(finding.code), item is not None, finding.code
        )
        for finding, item in pointed
        if finding.place_px is not None
    ]


def _order(finding: Finding) -> tuple[bool, int, float]:
    return not finding.attention, rank_of(finding.code), -excess(finding.value, finding.limit)


def _shown_at(finding: Finding, item: Item | None, result: Result) -> tuple[float, float] | None:
    """Return where to look if that is not where the finding points: at an item that is cut, the end of the cut."""
    if finding.code != "cut-by-border" or item is None or not item.contours:
        return None
    x, y = (points := item.contours[0].points_px).T
    away = np.minimum.reduce([x, y, result.width_px - 1 - x, result.height_px - 1 - y])
    if away.min() > CUT_PX:
        return None  # cut by the edge of a sheet within the picture
    along = away <= away.min() + ALONG_PX
    ends = np.flatnonzero(along & ~np.roll(along, 1))
    # the longest run is the cut; where it begins, the true edge meets the border
    lengths = np.diff(np.append(ends, ends[:1] + len(along))) if len(ends) else np.array([0])
    at = points[ends[int(np.argmax(lengths))] if len(ends) else int(np.argmin(away))].tolist()
    return at[0], at[1]


def _least_sure(result: Result) -> list[Place]:
    """Return the least sure place of every contour, the least sure first, then their second, then their third."""
    found = [candidate for n, item in enumerate(result.items, 1) for candidate in _of_item(n, item)]
    return [place for _, _, place in sorted(found, key=lambda candidate: candidate[:2])]


def _of_item(number: int, item: Item) -> list[tuple[int, float, Place]]:
    found: list[tuple[int, float, Place]] = []
    for places in item.least_sure:
        for rank, one in enumerate(places):
            why = f"Item {number}: least sure edge, ±{max(one.k2_mm, 0.001):.3f} mm"
            found.append((rank, -one.k2_mm, Place(one.at_px, why, of_item=True)))
    return found
