"""Items set upright, along their mirror axis or the length that calipers read, before anything is drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..fitting.ring import make_ring
from ..fitting.symmetry import symmetries
from ..measure.jaws import jaws
from ..records import Finding, FloatArray, frozen_array, turning
from ..steady import product
from ..words.say import finding_of
from .rings import Rings, merged

CLOSE_MM = 5.0  # between boxes: the least web that is asked for between pockets unless another is said
ROW_GAP_MM = 10.0  # what the README asks for between items on the glass


def set_upright(work: Sequence[Rings], *, within_mm: float) -> tuple[tuple[Rings, ...], tuple[Finding, ...]]:
    """Turn every item upright, by 45 degrees at most, so that it stays as near to how it lay as can be.

    Parameters
    ----------
    work
        The items' rings as they lay.
    within_mm
        Of one another, readings of calipers are the same.

    Returns
    -------
    tuple of Rings
        In turned frames, each item's box about the middle it had; in rows, in the order given, where boxes would
        come within `CLOSE_MM` of one another.
    tuple of Finding
        What is to be said of the sheet; each item's turn is among its own findings.
    """
    turned = tuple(_turned(rings, within_mm) for rings in work)
    if not any(rings.turn for rings in turned) or not _too_close(turned):
        return turned, ()
    return _in_rows(turned), (finding_of("upright-rows", limit=CLOSE_MM, attention=False),)


def _turn(rings: Rings, within_mm: float) -> float | None:
    """Return by how much to turn an item, radians, so that an axis of it lies along x or y; None if it is round.

    A mirror axis, where there is one, is what people see an item stand by; calipers may hold it aslant.
    """
    read = jaws(rings.own[0], within=within_mm)
    if read.is_round:
        return None
    outer, *holes = map(make_ring, rings.own, rings.corners)
    axes = symmetries(outer, tolerance_mm=within_mm, holes=tuple(holes)).axes_deg
    quarters = [math.radians(axis) / (math.pi / 2) for axis in axes]
    return min(((round(q) - q) * math.pi / 2 for q in quarters), key=abs, default=read.turn)


def _turned(rings: Rings, within_mm: float) -> Rings:
    found = _turn(rings, within_mm)
    turn = found or 0.0
    case, way = "round" if found is None else None, "clockwise" if turn < 0 else "counter-clockwise"
    said = finding_of("set-upright", value=abs(math.degrees(turn)), attention=False, case=case, way=way)
    own = [product(ring, turning(turn)) for ring in rings.own]
    low = own[0].min(axis=0)
    middle = rings.origin + rings.own[0].max(axis=0) / 2
    return replace(
        rings,
        origin=rings.origin + product(low, turning(-turn)),
        own=tuple(frozen_array(ring - low, columns=2) for ring in own),
        findings=merged((*rings.findings, said)),
        turn=turn,
        moved_to=middle - np.ptp(own[0], axis=0) / 2,
    )


def _size(rings: Rings) -> FloatArray:
    return np.asarray(rings.own[0].max(axis=0))


def _too_close(turned: Sequence[Rings]) -> bool:
    """Whether the boxes of any two items come too close."""
    low = np.array([rings.corner for rings in turned])
    high = low + [_size(rings) for rings in turned]
    apart = np.maximum(low[:, None] - high[None, :], low[None, :] - high[:, None]).max(axis=2)
    np.fill_diagonal(apart, np.inf)
    return bool(apart.min() < CLOSE_MM)


def _in_rows(turned: Sequence[Rings]) -> tuple[Rings, ...]:
    """Lay the items in rows from the top, each row's upper edges level, no wider than the items lay together."""
    left = min(float(rings.corner[0]) for rings in turned)
    right = max(float(rings.corner[0] + _size(rings)[0]) for rings in turned)
    found: list[Rings] = []
    x, top, deepest = left, 0.0, 0.0
    for rings in turned:
        wide, high = _size(rings).tolist()
        if x > left and x + wide > right:
            x, top, deepest = left, top - deepest - ROW_GAP_MM, 0.0
        found.append(replace(rings, moved_to=np.array([x, top - high])))
        x, deepest = x + wide + ROW_GAP_MM, max(deepest, high)
    return tuple(found)
