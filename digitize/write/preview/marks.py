"""Strokes on a view: edges, the path to cut, the reference; all anti-aliased and placed below a pixel."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt

from ...opencv import cv
from ...records import FailedItem, FloatArray, Item, LeftOut, Path, Pocket, Result, Scale
from ...steady import norm
from ..paths import Stroke, sampled
from .view import Pixels, View

Colour = tuple[int, int, int]

DARK: Colour = (18, 24, 34)
EDGE: Colour = (255, 214, 64)
HOLE: Colour = (96, 222, 255)
POCKET: Colour = (255, 104, 48)
REFERENCE: Colour = (190, 160, 255)
UNCUT: Colour = (255, 64, 160)
WALL: Colour = (0, 196, 140)
PIN: Colour = (150, 240, 130)
PRINT: Colour = (255, 255, 255)
FAILED: Colour = (255, 72, 72)
LOST: Colour = (255, 204, 204)
LEFT_OUT: Colour = (186, 186, 186)
OTHER: Colour = (255, 150, 220)
AXES: Colour = (90, 140, 255)
BY_HAND: Colour = (120, 255, 60)

SHIFT = 4  # OpenCV takes places in 1/16 px
DASH, PAUSE = 12, 10  # view px
_OUTLINE_STEP_MM = 0.05  # along arcs, and as much more as keeps the line so close to them:
_OUTLINE_WITHIN_MM = 0.0005  # a tenth of a px of the largest view at 600 dpi
_ABOUT = 4.0  # view px between something left out and the box about it
_MANY = 60  # places of a ring, from which it pays to leave some out
_UNSEEN = 0.1  # view px: what leaving places out may move the line
_LEGS = (34.0, 52.0)  # of the arrows along x and y, view px; unequal, as in the drawings
_HEAD = 9.0
MARGIN = 8  # view px, more than half the thickest stroke


@dataclass(frozen=True, slots=True)
class Drawn:
    """The outlines of one item as they are written, each (N, 2) px, closed."""

    exterior: FloatArray
    holes: tuple[FloatArray, ...]

    def every(self) -> tuple[FloatArray, ...]:
        """Return the exterior, then the holes."""
        return self.exterior, *self.holes


def outline_marks(result: Result, scale: Scale) -> list[Drawn]:
    """Return, in the picture, the very curves that every file holds: what is drawn is what will be cut."""
    if not result.items:
        return []
    zeros = scale.to_mm(np.array([item.origin_px for item in result.items]))
    rings = [
        item.as_laid(_written(curve)) + zero
        for item, zero in zip(result.items, zeros, strict=True)
        for curve in (item.path, *item.hole_paths)
    ]
    left = iter(np.split(scale.to_px(np.concatenate(rings)), np.cumsum([len(ring) for ring in rings[:-1]])))
    return [Drawn(next(left), tuple(next(left) for _ in item.hole_paths)) for item in result.items]


def _written(curve: Stroke) -> FloatArray:
    return _dense(np.array(sampled(curve, step_mm=_OUTLINE_STEP_MM, within_mm=_OUTLINE_WITHIN_MM)))


def draw_edges(view: View, outlines: Sequence[Drawn]) -> None:
    """Draw every outline as a bright line in a dark one."""
    rings = [(ring, n > 0) for outline in outlines for n, ring in enumerate(outline.every())]
    for (ring, is_hole), may_show in zip(rings, _may_show(view, [ring for ring, _ in rings]), strict=True):
        if may_show:
            places = _thinned(view.placed(ring))
            runs = _runs_within(view.pixels, np.vstack([places, places[:1]]))
            _double(view.pixels, runs, HOLE if is_hole else EDGE, closed=False)


def draw_others(view: View, items: Sequence[Item]) -> None:
    """Draw, dashed, borders that may be meant instead of the outline."""
    for item in items:
        for line in item.other_px:
            places = view.placed(line)
            if _touches(view.pixels, places):
                _double(view.pixels, _dashes(places, closed=False), OTHER, closed=False)


def shows_axes(result: Result) -> bool:
    """Tell whether the files' axes are drawn: where picture and cut do not both see the face to be printed."""
    return result.mirrored or result.imaged == "back"


def axes_marks(result: Result, scale: Scale) -> list[FloatArray]:
    """Return, where they are drawn, each item's origin in the files, and places along its x and its y, (3, 2) px."""
    if not shows_axes(result):
        return []
    places = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    return [_to_px(scale, item, places) for item in result.items]


def draw_axes(view: View, axes: Sequence[FloatArray]) -> None:
    """Draw two arrows from each origin, the short one along the files' x, the long one along their y."""
    for places in axes:
        origin, *ends = view.placed(places)
        for end, length in zip(ends, _LEGS, strict=True):
            along = (end - origin) / norm(end - origin)
            across, tip = np.array([-along[1], along[0]]), origin + length * along
            barbs = [tip - _HEAD * along + side * _HEAD / 2 * across for side in (1.0, -1.0)]
            _double(view.pixels, [np.array([origin, tip]), np.array([barbs[0], tip, barbs[1]])], AXES, closed=False)


def draw_by_hand(view: View, items: Sequence[Item]) -> None:
    """Draw over the edges where a hand set them."""
    for item in items:
        for line in item.by_hand_px:
            places = view.placed(line)
            if _touches(view.pixels, places):
                _double(view.pixels, [places], BY_HAND, closed=False, rim=False)


def draw_failed(view: View, failed: Sequence[FailedItem]) -> None:
    """Mark what has no outline: its border as far as it was followed, dashed where it could not be measured.

    What shows no border is struck out: a box about it and its two diagonals.
    """
    for one in failed:
        if one.rings_px:
            _draw_followed(view, one)
            continue
        left, top, right, bottom = one.box_px
        a, b, c, d = view.placed([(left, top), (right, top), (right, bottom), (left, bottom)])
        _double(view.pixels, [np.array([a, b, c, d])], FAILED, closed=True)
        _double(view.pixels, [np.array([a, c]), np.array([b, d])], FAILED, closed=False)


def _draw_followed(view: View, failed: FailedItem) -> None:
    places = [view.placed(ring) for ring in failed.rings_px]
    _double(view.pixels, [ring for ring in places if _touches(view.pixels, ring)], FAILED, closed=True)
    for line in map(view.placed, failed.lost_px):
        if len(line) > 1 and _touches(view.pixels, line):
            _double(view.pixels, _dashes(line, closed=False), LOST, closed=False)


def left_out_boxes(view: View, left_out: Sequence[LeftOut]) -> list[FloatArray]:
    """Return a box about each thing left out, (4, 2) view px, kept within the view."""
    height, width = view.pixels.shape[:2]
    boxes = []
    for one in left_out:
        at = one.place_px  # a strip along the border has no box that tells it apart
        x0, y0, x1, y1 = (*at, *at) if one.why == "rim" else one.box_px
        (left, top), (right, bottom) = view.placed([(x0, y0), (x1, y1)]) + np.array([[-_ABOUT], [_ABOUT]])
        left, right = np.clip([left, right], 1, width - 2)
        top, bottom = np.clip([top, bottom], 1, height - 2)
        boxes.append(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]))
    return boxes


def draw_left_out(view: View, left_out: Sequence[LeftOut]) -> None:
    """Draw a grey box about each thing left out; a strip along the border is marked all along it."""
    for one, box in zip(left_out, left_out_boxes(view, left_out), strict=True):
        strips = [view.placed([(x0, y0), (x1, y1)]) for x0, y0, x1, y1 in one.along_px]
        _double(view.pixels, strips, LEFT_OUT, closed=False, thick=2)
        _double(view.pixels, [box], LEFT_OUT, closed=True, thick=1)


def draw_rings(view: View, rings: Sequence[FloatArray], colour: Colour) -> None:
    """Draw closed lines, given in what the view shows, bright in dark."""
    _double(view.pixels, [view.placed(ring) for ring in rings], colour, closed=True)


@dataclass(frozen=True, slots=True)
class PocketMarks:
    """What is drawn of the pockets and print areas, each (N, 2) px."""

    paths: list[FloatArray]  # closed
    leads: list[FloatArray]  # open
    uncut: list[FloatArray]  # closed
    pins: list[FloatArray]  # closed
    prints: list[FloatArray]  # closed
    walls: list[FloatArray] = field(default_factory=list)  # closed

    def every(self) -> list[FloatArray]:
        """Return the points of all lines."""
        return [*self.paths, *self.leads, *self.walls, *self.uncut, *self.pins, *self.prints]


def draw_pockets(view: View, marks: PocketMarks, *, halo: bool = True) -> None:
    """Draw paths to cut and print areas dashed, what paths leave uncut filled, walls, leads and pins as lines.

    Without `halo` dashes have no dark rim: beside an edge a few pixels away little but the rim would be seen.
    """
    for ring in marks.uncut:
        places = view.placed(ring)
        if _touches(view.pixels, places):
            cv().fillPoly(view.pixels, [_fixed(places)], UNCUT, cv().LINE_AA, SHIFT)
    _draw_paths(view, marks.prints, PRINT, halo=True)
    walls = [places for places in map(view.placed, marks.walls) if _touches(view.pixels, places)]
    _double(view.pixels, walls, WALL, closed=True, thick=2 if halo else 1, rim=False)
    _draw_paths(view, marks.paths, POCKET, halo=halo)
    for lines, colour, closed in ((marks.leads, POCKET, False), (marks.pins, PIN, True)):
        seen = [places for places in map(view.placed, lines) if _touches(view.pixels, places)]
        _double(view.pixels, seen, colour, closed=closed)


def _draw_paths(view: View, paths_px: Sequence[FloatArray], colour: Colour, *, halo: bool) -> None:
    for path_px in paths_px:
        places = view.placed(path_px)
        if _touches(view.pixels, places):
            dashes = _dashes(places)
            height, width = view.pixels.shape[:2]
            seen = ((dashes > -DASH) & (dashes < (width + DASH, height + DASH))).all(axis=(1, 2))
            _double(view.pixels, dashes[seen], colour, closed=False, thick=3 if halo else 2, rim=halo)


def draw_reference(view: View, result: Result) -> None:
    """Draw the reference square with a ring about each corner."""
    if result.scale.corners_px is None:
        return
    corners = view.placed(result.scale.corners_px)
    _double(view.pixels, [corners], REFERENCE, closed=True)
    for x, y in _fixed(corners).tolist():
        for colour, thick in ((DARK, 3), (REFERENCE, 1)):
            cv().circle(view.pixels, (x, y), 6 << SHIFT, colour, thick, cv().LINE_AA, SHIFT)


def draw_frame(pixels: Pixels, centre: FloatArray, half: float, colour: Colour) -> None:
    """Draw an upright square frame about a place."""
    corners = centre + half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    _double(pixels, [corners], colour, closed=True)


def pocket_marks(result: Result, scale: Scale) -> PocketMarks:
    """Return dense points of all that is drawn of the pockets and print areas, in the picture."""
    marks = PocketMarks([], [], [], [], [])
    for item in result.items:
        if item.pocket is None and not item.print_area:
            continue
        to_px = partial(_to_px, scale, item)
        marks.prints.extend(_closed(item.print_area, to_px))
        if item.pocket is not None:
            _add_marks(marks, item.pocket, to_px)
    return marks


def _to_px(scale: Scale, item: Item, points_mm: FloatArray) -> FloatArray:
    """Return places of an item's frame, which begins at its ``origin_px``, in the picture."""
    return scale.to_px(item.as_laid(points_mm) + scale.to_mm(np.array([item.origin_px])))


def _add_marks(marks: PocketMarks, pocket: Pocket, to_px: Callable[[FloatArray], FloatArray]) -> None:
    marks.paths.extend(_closed((*pocket.curves, *pocket.plug_top), to_px))
    if has_own_wall(pocket):
        marks.walls.extend(_closed(pocket.wall, to_px))
    marks.pins.extend(_closed(pocket.pins, to_px))
    marks.uncut.extend(_closed([Path(one.ring_mm, np.zeros(len(one.ring_mm))) for one in pocket.uncut], to_px))
    marks.leads.extend(to_px(np.array(sampled(lead, step_mm=0.1))) for lead in pocket.leads)


def has_own_wall(pocket: Pocket) -> bool:
    """Whether a pocket's wall stands elsewhere than its path: there is a kerf or a cutter."""
    return bool(pocket.wall) and max(pocket.kerf_mm, pocket.cutter_mm) > 0


def _closed(strokes: Sequence[Stroke], to_px: Callable[[FloatArray], FloatArray]) -> list[FloatArray]:
    return [to_px(_dense(np.array(sampled(one, step_mm=0.25)))) for one in strokes]


def _dense(points: FloatArray, *, largest: float = 5.0) -> FloatArray:
    """Cut long straight sides, which a camera may show bent, into pieces of at most `largest` mm."""
    sides = np.roll(points, -1, axis=0) - points
    counts = (np.hypot(*sides.T) // largest).astype(int) + 1
    first = np.cumsum(counts) - counts
    share = (np.arange(counts.sum()) - np.repeat(first, counts)) / np.repeat(counts, counts)
    dense: FloatArray = np.repeat(points, counts, axis=0) + share[:, np.newaxis] * np.repeat(sides, counts, axis=0)
    return dense


def _thinned(places: FloatArray) -> FloatArray:
    """Leave out places within a third of a view pixel of the one before; lines between those that are left show all."""
    if len(places) < _MANY:
        return places
    kept = cv().approxPolyDP(places.astype(np.float32)[:, None], _UNSEEN, True)
    return np.asarray(kept[:, 0], dtype=np.float64)


def _may_show(view: View, rings: Sequence[FloatArray]) -> list[bool]:
    """Tell of each ring whether its box comes near the view."""
    if not rings:
        return []
    height, width = view.pixels.shape[:2]
    places = view.placed(np.concatenate(rings))
    starts = np.cumsum([0, *(len(ring) for ring in rings[:-1])])
    low, high = np.minimum.reduceat(places, starts), np.maximum.reduceat(places, starts)
    near = (low < (width + MARGIN, height + MARGIN)) & (high > -MARGIN)
    return list((near[:, 0] & near[:, 1]).tolist())


def _runs_within(pixels: Pixels, places: FloatArray) -> list[FloatArray]:
    """Return the stretches of an open line that may touch the view: the rest costs time and shows nothing."""
    height, width = pixels.shape[:2]
    low, high = np.minimum(places[:-1], places[1:]), np.maximum(places[:-1], places[1:])
    touching = (low < (width + MARGIN, height + MARGIN)) & (high > -MARGIN)
    seen = np.concatenate([[False], touching[:, 0] & touching[:, 1], [False]])
    turns = np.flatnonzero(seen[1:] != seen[:-1])
    return [places[first : last + 1] for first, last in zip(turns[::2], turns[1::2], strict=True)]


def _touches(pixels: Pixels, places: FloatArray) -> bool:
    height, width = pixels.shape[:2]
    (left, top), (right, bottom) = places.min(axis=0), places.max(axis=0)
    return bool(left < width and right > 0 and top < height and bottom > 0)


def _double(
    pixels: Pixels,
    lines: list[FloatArray] | FloatArray,
    colour: Colour,
    *,
    closed: bool,
    thick: int = 2,
    rim: bool = True,
) -> None:
    fixed = [_fixed(line) for line in lines] if isinstance(lines, list) else list(_fixed(lines))
    for paint, width in ((DARK, thick + 2 * rim), (colour, thick))[0 if rim else 1 :]:
        cv().polylines(pixels, fixed, closed, paint, width, cv().LINE_AA, SHIFT)


def _fixed(places: FloatArray) -> npt.NDArray[np.int32]:
    return np.clip(np.rint(places * (1 << SHIFT)), -(2**30), 2**30).astype(np.int32)


def _dashes(places: FloatArray, *, closed: bool = True) -> FloatArray:
    """Return equal dashes along a line, (count, 4, 2)."""
    line = np.vstack([places, places[:1]]) if closed else places
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    count = max(1, round(along[-1] / (DASH + PAUSE)))
    starts = np.arange(count) * (along[-1] / count)
    steps = starts[:, np.newaxis] + np.linspace(0, DASH, 4)
    x, y = (np.interp(steps, along, line[:, axis]) for axis in (0, 1))
    return np.stack([x, y], axis=2)
