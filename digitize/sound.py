"""Whether rings make a body that can be cut: an outline that does not cross itself, each hole apart within it."""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Ring = npt.NDArray[np.float64]

_FEW = 8  # pairs: of more, lines made ready beforehand are quicker


def unsound(exterior: Ring, holes: Sequence[Ring]) -> str:
    """Say what is wrong with an outline and its holes; empty where nothing is.

    Sound is what OGC 06-103r4 (Simple Features, 6.1.11.1) calls a valid polygon, and beyond it: no ring touches
    another, not even in a point, the outline runs counter-clockwise and the holes clockwise.

    Parameters
    ----------
    exterior
        (N, 2) points in a y-up frame, the first not repeated.
    holes
        Likewise.

    Returns
    -------
    str
        Words that go after "because", such as "hole 2 reaches beyond the outline".
    """
    if not _SOUND.holds((exterior, *holes)):
        wrong = _unsound(exterior, holes)
        if wrong:
            return wrong
        _SOUND.add((exterior, *holes))
    return ""


class _Sound:
    """Bodies found sound: rings that nobody can write to are not looked at again as long as they are there."""

    def __init__(self) -> None:
        self._found: dict[tuple[int, ...], list[weakref.ref[Ring]]] = {}

    def holds(self, rings: tuple[Ring, ...]) -> bool:
        """Tell whether these very arrays were found sound."""
        found = self._found.get(tuple(map(id, rings)), ())
        return bool(found) and all(one() is ring for one, ring in zip(found, rings, strict=True))

    def add(self, rings: tuple[Ring, ...]) -> None:
        """Remember a body, if it stays what it is."""
        if any(ring.flags.writeable or ring.base is not None for ring in rings):
            return
        key = tuple(map(id, rings))
        self._found[key] = [weakref.ref(ring, lambda _: self._found.pop(key, None)) for ring in rings]


_SOUND = _Sound()


def _unsound(exterior: Ring, holes: Sequence[Ring]) -> str:
    """Say what `unsound` does, having looked."""
    import shapely

    rings, wrong = [exterior, *holes], ""
    for number, ring in enumerate(rings):
        wrong = _of_one(ring, inward=number > 0)
        if wrong:
            rings, wrong = rings[:number], f"{_name(number)} {wrong}"
            break
    lines = _lines(rings)
    filled = shapely.polygons(lines)
    crossing = np.flatnonzero(~shapely.is_valid(filled))
    if len(crossing):
        return f"{_name(int(crossing[0]))} crosses itself"
    if wrong or not holes:
        return wrong
    return _met(lines) or _misplaced(filled[0], filled[1:])


def _name(number: int) -> str:
    return "the outline" if number == 0 else f"hole {number}"


def _lines(rings: Sequence[Ring]) -> Any:
    """All rings as those of Shapely, made at once."""
    import shapely

    if not rings:
        return np.empty(0, dtype=object)
    return shapely.linearrings(np.concatenate(rings), indices=np.repeat(np.arange(len(rings)), [*map(len, rings)]))


def _of_one(ring: Ring, *, inward: bool) -> str:
    """What is wrong with one ring by itself, but for its crossing itself."""
    if ring.ndim != 2 or len(ring) < 3 or not np.isfinite(ring).all():
        return "has fewer than three places"
    x, y = (ring - ring.mean(axis=0)).T
    area = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() + x[-1] * y[0] - x[0] * y[-1])
    if area == 0:
        return "encloses nothing"
    if (area < 0) != inward:
        return "is inside out"
    return ""


def meeting(lines: Any) -> list[tuple[int, int]]:
    """Which of some rings (R,), of Shapely, touch or cross each other: pairs of numbers, the lower first."""
    import shapely

    first, second = shapely.STRtree(lines).query(lines)
    some = first < second  # by their boxes; beyond those lines are asked themselves, each pair once
    first, second = first[some], second[some]
    if len(first) > _FEW:
        shapely.prepare(lines)
    met = shapely.intersects(lines[first], lines[second])
    return sorted(zip(first[met].tolist(), second[met].tolist(), strict=True))


def _met(lines: Any) -> str:
    """Which two rings touch or cross."""
    pairs = meeting(lines)
    if not pairs:
        return ""
    a, b = pairs[0]
    return f"hole {b} meets the outline" if a == 0 else f"holes {a} and {b} meet"


def _misplaced(shell: Any, holes: Any) -> str:
    """Which hole lies outside the outline, or within another; no two rings meet."""
    import shapely

    shapely.prepare(shell)
    beyond = np.flatnonzero(~shapely.contains_properly(shell, holes))
    if len(beyond):
        return f"hole {beyond[0] + 1} reaches beyond the outline"
    outer, inner = shapely.STRtree(holes).query(holes, predicate="contains_properly")
    nested = sorted((b + 1, a + 1) for a, b in zip(outer.tolist(), inner.tolist(), strict=True) if a != b)
    return f"hole {nested[0][0]} lies within hole {nested[0][1]}" if nested else ""
