"""What of an item's edge could not be measured: how much of it is left once a hand has mended it, and where it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from ..edge.spliced import drawn_by_hand, hand_runs
from ..edge.trace import Traced
from ..records import BoolArray, Contour, FailedItem, FloatArray, frozen_array
from .rings import MOST_LOST


class Measured(Protocol):
    """An item's contours, and how they were measured."""

    @property
    def contours(self) -> tuple[Contour, ...]:
        """As they were seen, the exterior first."""

    @property
    def traced(self) -> tuple[Traced, ...]:
        """As they were measured, one of each."""

    @property
    def lost(self) -> float:
        """The part of its edge that could not be measured where it is too much, else 0."""


def still_lost(seen: Sequence[Measured], contours: Sequence[Contour]) -> float:
    """Return the part of an item's edge that is neither measured nor set by a hand where it is too much, else 0.

    Parameters
    ----------
    seen
        What the item was seen as.
    contours
        As hands left them, the exterior first.
    """
    if not any(one.lost for one in seen):
        return 0.0
    places = _lost_places(seen)
    lost = [_lost_of(contour, places) for contour in contours]
    count = sum(int(one.sum()) for one in lost)
    if len(seen) == 1 and count == sum(int(_lost_of(contour, places).sum()) for contour in seen[0].contours):
        return seen[0].lost  # no hand has mended any of it
    part = max(float(lost[0].mean()), count / sum(len(one) for one in lost))
    return part if part > MOST_LOST else 0.0


def as_followed(failed: FailedItem, seen: Sequence[Measured], contours: Sequence[Contour]) -> FailedItem:
    """Return a failed item with its contours as hands left them, and where they are neither measured nor set."""
    places = _lost_places(seen)
    lost = [_lost_of(contour, places) for contour in contours]
    lines = [contour.points_px[run] for contour, one in zip(contours, lost, strict=True) for run in hand_runs(one)]
    return replace(
        failed,
        rings_px=tuple(contour.points_px for contour in contours),
        lost_px=tuple(frozen_array(line, columns=2) for line in lines if len(line) > 1),
    )


def _lost_of(contour: Contour, places: set[tuple[float, ...]]) -> BoolArray:
    """At which of a contour's points, (N,), no edge was found and no hand set one: untouched ones are still there."""
    held = np.array([place in places for place in map(tuple, contour.points_px.tolist())], dtype=bool)
    return np.asarray(held & ~drawn_by_hand(contour))


def _lost_places(seen: Sequence[Measured]) -> set[tuple[float, ...]]:
    found: set[tuple[float, ...]] = set()
    for one in seen:
        for contour, traced in zip(one.contours, one.traced, strict=False):
            lost: FloatArray = contour.points_px[traced.unmeasured(contour.points_px)]
            found.update(map(tuple, lost.tolist()))
    return found
