"""The whole picture on the check picture: what is drawn on it, and where its labels go."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ...opencv import cv
from ...records import FloatArray, LeftOut, Result
from ..inside import roomiest
from ..words import size
from .labels import Rect
from .marks import (
    Drawn,
    PocketMarks,
    draw_axes,
    draw_by_hand,
    draw_edges,
    draw_failed,
    draw_frame,
    draw_left_out,
    draw_others,
    draw_pockets,
    draw_reference,
    left_out_boxes,
)
from .page import BEYOND, WHITE
from .places import Place
from .room import Label, Room, label_holes, label_items, label_left_out
from .view import View, padded

_BADGE = (32.0, 24.0)  # view px, about as large as a number's
_STROKE, _LARGEST_MARGIN = 12, 160  # view px
_KEEP_OFF = 6  # view px beside an edge
_MOST_LEFT_OUT = 24  # marked and numbered, the largest; the document has all
# Of the smallest item's area, and mm2 at the most: a stain as large might be an item that was lost.
_PERHAPS_ITEM, _SURELY_LARGE_MM2 = 0.02, 100.0
_MOST_HOLES = 60  # numbered, of one item
_REFERENCE = 65535  # as an owner: nobody's label lies on it


def with_margins(view: View, marks: PocketMarks) -> tuple[View, str]:
    """Return the view with margins where paths leave the picture, and what to call them; no words without margins."""
    lines = marks.every()
    if not lines:
        return view, ""
    places = view.placed(np.concatenate(lines))
    height, width = view.pixels.shape[:2]
    out = [-places.min(axis=0), places.max(axis=0) - (width - 1, height - 1)]
    wanted = [int(np.ceil(v)) + _STROKE if v > 1.0 else 0 for v in np.concatenate(out).clip(-1e6, 1e6).tolist()]
    if not any(wanted):
        return view, ""
    left, top, right, bottom = (min(side, _LARGEST_MARGIN) for side in wanted)
    words = "beyond the picture" + (", where paths run on" if max(wanted) > _LARGEST_MARGIN else "")
    return padded(view, (left, top, right, bottom), BEYOND), words


def draw_overview(
    view: View,
    result: Result,
    outlines: list[Drawn],
    marks: PocketMarks,
    places: list[Place],
    axes: Sequence[FloatArray] = (),
) -> tuple[list[Label], list[Label], list[Label]]:
    """Draw on the view; return the labels to be written, the numbers of holes and of what was left out."""
    before = view.pixels.copy()
    draw_reference(view, result)
    left_out = marked_left_out(result)
    draw_left_out(view, left_out)
    draw_failed(view, result.failed)
    draw_others(view, result.items)
    draw_edges(view, outlines)  # over what may be meant instead
    draw_by_hand(view, result.items)
    draw_pockets(view, marks, halo=False)  # over the edges, which are no wider apart here than they are thick
    draw_axes(view, axes)
    for place in places:
        draw_frame(view.pixels, view.placed([place.at_px])[0], 13.0, WHITE)
    changed = view.pixels != before
    room = Room((changed[:, :, 0] | changed[:, :, 2]).view(np.uint8), _owners(view, result, outlines))
    letters = [_letter(room, view, place, "ABC"[n]) for n, place in enumerate(places)]
    boxes = [_box(view, outline.exterior) for outline in outlines]
    # holes before sizes: their numbers have fewer places to go
    holes: list[Label] = []
    for number, outline in enumerate(outlines, 1):
        if 2 <= len(outline.holes) <= _MOST_HOLES:
            holes += label_holes(room, [_box(view, hole) for hole in outline.holes], number)
    badges = [str(number) for number in range(1, len(outlines) + 1)]
    sizes = label_items(
        room, boxes, badges, [size(item) for item in result.items], lambda index: _widest(view, outlines[index])
    )
    return letters + sizes, holes, label_left_out(room, [_corners(box) for box in left_out_boxes(view, left_out)])


def marked_left_out(result: Result) -> tuple[LeftOut, ...]:
    """Return what was left out and is marked, the largest first: what might be an item, and strips along the border.

    An item's own shade is no thing to look for, and of the small stains of a dirty glass their number is enough.
    """
    return marked_of(result.left_out, [item.area_mm2 for item in result.items])


def marked_of(left_out: Sequence[LeftOut], item_areas_mm2: Sequence[float]) -> tuple[LeftOut, ...]:
    """Return what is marked of all that was left out beside items of these areas."""
    least = min(_SURELY_LARGE_MM2, _PERHAPS_ITEM * min(item_areas_mm2, default=0.0))
    seen = [one for one in left_out if one.why not in ("shade", "pale")]
    return tuple(one for one in seen if one.area_mm2 >= least or one.why == "rim")[:_MOST_LEFT_OUT]


def _owners(view: View, result: Result, outlines: list[Drawn]) -> npt.NDArray[np.uint16]:
    """Return whose item lies where, by its number; 0 for none."""
    owners = np.zeros(view.pixels.shape[:2], np.uint16)
    if result.scale.corners_px is not None:
        _fill(owners, view.placed(result.scale.corners_px), _REFERENCE)
    own = [(number, view.placed(outline.exterior)) for number, outline in enumerate(outlines[: _REFERENCE - 1], 1)]
    for number, places in own:
        # an item's edge and the path beside it belong to it too: a neighbour's label keeps off them
        cv().polylines(owners, [_whole(places)], True, number, 2 * _KEEP_OFF)
    for number, places in own:
        _fill(owners, places, number)
    return owners


def _fill(owners: npt.NDArray[np.uint16], places: FloatArray, owner: int) -> None:
    cv().fillPoly(owners, [_whole(places)], owner)


def _whole(places: FloatArray) -> npt.NDArray[np.int32]:
    return np.rint(np.clip(places, -(2**20), 2**20)).astype(np.int32)


def _letter(room: Room, view: View, place: Place, letter: str) -> Label:
    x, y = (int(v) for v in view.placed([place.at_px])[0])
    return room.place((x - 13, y - 13, x + 13, y + 13), (22, 24)), letter, ""


def _widest(view: View, outline: Drawn) -> tuple[int, int]:
    """Where an item has most room for its number, clear of its edge and its holes."""
    exterior, *holes = (view.placed(ring) for ring in outline.every())
    (x, y), _ = roomiest(exterior, holes, _BADGE)
    return round(x), round(y)


def _box(view: View, points_px: FloatArray) -> Rect:
    return _corners(view.placed(points_px))


def _corners(places: FloatArray) -> Rect:
    (left, top), (right, bottom) = places.min(axis=0).astype(int), places.max(axis=0).astype(int)
    return int(left), int(top), int(right), int(bottom)
