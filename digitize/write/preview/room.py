"""Free places for labels on the check picture: beside or on their own item, on nobody else's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .labels import Rect, width_of

Label = tuple[Rect, str, str]  # where, badge, words; a line's end parts the words into lines

_LABEL = 2
_NOBODY = 65534  # as an owner: such a label lies on no item
_FEW, _HIDDEN = 6, 0.08  # of more items than few, labels hide at most that part of their place


@dataclass(frozen=True, slots=True)
class Room:
    """What part of a view is taken: 1 by edges and the reference, 2 by labels already placed."""

    taken: npt.NDArray[np.uint8]  # (H, W), 0 where free
    owners: npt.NDArray[np.uint16] | None = None  # (H, W), whose item lies there, 0 for none

    def place(self, near: Rect, size: tuple[int, int]) -> Rect:
        """Take and return the best free place for a label of `size` beside or within `near`."""
        best = self._best(_choices(near, size), size)
        self._take(best)
        return best

    def free_place(
        self, corners: Sequence[tuple[int, int]], size: tuple[int, int], *, most_hidden: float, own: int = 0
    ) -> Rect | None:
        """Take the best of the places.

        Take none if that is too small, lies on a label or on an item other than `own`, or hides more marks than
        that part of it.
        """
        best = self._best(corners, size, own)
        left, top, right, bottom = best
        under = self.taken[top:bottom, left:right]
        if (right - left, bottom - top) != size or (under == _LABEL).any() or self._foreign(best, own):
            return None
        if np.count_nonzero(under) > most_hidden * under.size:
            return None
        self._take(best)
        return best

    def _best(self, corners: Sequence[tuple[int, int]], size: tuple[int, int], own: int = 0) -> Rect:
        height, width = self.taken.shape
        choices, costs = [], []
        for order, corner in enumerate(corners):
            choices.append(_inside(corner, size, (width, height)))
            cost = self._cost(choices[-1], own)
            costs.append(cost + order)
            if cost == 0:
                break  # all that follow cost more
        return choices[int(np.argmin(costs))]

    def _take(self, rect: Rect) -> None:
        left, top, right, bottom = rect
        self.taken[top:bottom, left:right] = _LABEL

    def _cost(self, rect: Rect, own: int) -> int:
        left, top, right, bottom = rect
        under = self.taken[top:bottom, left:right]
        hidden = 100 * int(np.count_nonzero(under)) + 1000 * int(np.count_nonzero(under == _LABEL))
        return hidden + 1000 * self._foreign(rect, own)

    def _foreign(self, rect: Rect, own: int) -> int:
        """Count the pixels that belong to another item, or to the reference."""
        if self.owners is None or own == 0:
            return 0
        left, top, right, bottom = rect
        under = self.owners[top:bottom, left:right]
        return int(np.count_nonzero((under != 0) & (under != own)))


def label_items(
    room: Room,
    boxes: Sequence[Rect],
    badges: Sequence[str],
    words: Sequence[str],
    middle: Callable[[int], tuple[int, int]] | None = None,
) -> list[Label]:
    """Find places for the items' sizes, on one line or two; where there is no room for them, for their numbers.

    `middle` tells of the item of an index where it is widest, clear of its edge and holes: there its number goes.

    No label covers another or lies on another item. Of many items none may hide much of its neighbours' edges,
    and if one has no room all have numbers only; a number for which there is no room is left out.
    """
    before = room.taken.copy()
    few = len(boxes) <= _FEW
    found: list[Label] = []
    for index, (box, badge, said) in enumerate(zip(boxes, badges, words, strict=True)):
        label = _label_size(room, box, badge, said, most_hidden=1.0 if few else _HIDDEN)
        if label is None and not few:
            room.taken[:] = before
            return [one for n, number in enumerate(badges) for one in _label_number(room, boxes[n], number, n, middle)]
        found += [label] if label is not None else _label_number(room, box, badge, index, middle)
    return found


def _label_size(room: Room, box: Rect, badge: str, said: str, *, most_hidden: float) -> Label | None:
    """Find a place for an item's size: one that hides nothing if there is any."""
    forms = (said, said.replace(" ±", "\n±"))
    for hidden in (0.0, most_hidden):
        for form in forms:
            size = _extent(form)
            place = room.free_place(_choices(box, size), size, most_hidden=hidden, own=int(badge))
            if place is not None:
                return place, badge, form
    return None


def _label_number(
    room: Room, box: Rect, badge: str, index: int, middle: Callable[[int], tuple[int, int]] | None
) -> list[Label]:
    """Find a place for a number on its item, at its widest place if there it is free; none if there is no room."""
    wide, high = size = 16 + width_of(badge, 15), 24
    widest = [] if middle is None else [middle(index)]
    places = [*((x - wide // 2, y - high // 2) for x, y in widest), *_on(box, size)]
    place = room.free_place(places, size, most_hidden=1.0, own=int(badge))
    return [] if place is None else [(place, badge, "")]


def label_holes(room: Room, boxes: Sequence[Rect], own: int) -> list[Label]:
    """Find places for the numbers of an item's holes, in them or close by; those without room are left out."""
    found: list[Label] = []
    for number, box in enumerate(boxes, 1):
        size = 10 + width_of(str(number), 13), 18
        place = room.free_place(_about(box, size), size, most_hidden=0.3, own=own)
        if place is not None:
            found.append((place, str(number), ""))
    return found


def label_left_out(room: Room, boxes: Sequence[Rect]) -> list[Label]:
    """Find places for the numbers of what was left out, beside its boxes; those without room are left out too."""
    found: list[Label] = []
    for number, box in enumerate(boxes, 1):
        size = 10 + width_of(str(number), 13), 18
        place = room.free_place(_about(box, size)[1:], size, most_hidden=0.3, own=_NOBODY)
        if place is not None:
            found.append((place, str(number), ""))
    return found


def _about(box: Rect, size: tuple[int, int], *, gap: int = 5) -> Sequence[tuple[int, int]]:
    """Return left upper corners in the middle of a box and close beside it."""
    left, top, right, bottom = box
    wide, high = size
    x, y = (left + right - wide) // 2, (top + bottom - high) // 2
    return [(x, y), (right + gap, y), (left - gap - wide, y), (x, top - gap - high), (x, bottom + gap)]


def _on(box: Rect, size: tuple[int, int]) -> Sequence[tuple[int, int]]:
    """Return left upper corners within a box, from its middle outward; the middle alone if it is small."""
    left, top, right, bottom = box
    across, down = right - left - size[0], bottom - top - size[1]
    shares = [(0.5, 0.5), (0.5, 0.75), (0.5, 0.25), (0.75, 0.5), (0.25, 0.5), (0.25, 0.25), (0.75, 0.75)]
    if min(across, down) < 0:
        shares = shares[:1]
    return [(left + round(across * x), top + round(down * y)) for x, y in shares]


def _extent(words: str) -> tuple[int, int]:
    lines = words.split("\n")
    return 30 + max(width_of(line, 15) for line in lines) + 12, 8 + 18 * len(lines)


def _choices(near: Rect, size: tuple[int, int], *, gap: int = 10) -> Sequence[tuple[int, int]]:
    """Return left upper corners to try, the best first: below, above, beside, within, then wider about."""
    left, top, right, bottom = near
    wide, high = size
    middle, centre = (left + right - wide) // 2, (top + bottom - high) // 2
    found = []
    for away in (gap, gap + high, gap + 2 * high):
        found += [(middle, bottom + away), (middle, top - away - high)]
        found += [(right + away, centre), (left - away - wide, centre)]
        found += [(left, bottom + away), (right - wide, bottom + away), (left, top - away - high)]
    found += [(middle, top + (bottom - top) * share // 12 - high // 2) for share in (6, 4, 8, 3, 9, 2, 10)]
    return found


def _inside(corner: tuple[int, int], size: tuple[int, int], whole: tuple[int, int]) -> Rect:
    left, top = (max(0, min(max(2, at), most - side - 2)) for at, side, most in zip(corner, size, whole, strict=True))
    return left, top, min(left + size[0], whole[0]), min(top + size[1], whole[1])
