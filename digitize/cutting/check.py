"""What only shows when all pockets lie on one sheet: webs too thin, walls that cross; and whether items go in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import curve_ring
from ..fitting.ring import make_ring
from ..records import Circle, Finding, FloatArray, Item, Path, Pocket
from ..words.say import finding_of
from .lead import piece_lengths
from .room import room_left
from .wall import opening
from .ways import Cutting

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

Point = tuple[float, float]
PlacePx = Callable[[Item, Point], Point]  # of a place in an item's frame, mm

_CHORD_MM = 0.005  # chord error
_ENOUGH = 0.9  # of the clearance: tolerance and the edge's noise may take the rest
_MANY_NODES = 10  # close ones that a person should look at
_MEETS_MM2 = 1e-4  # an overlap that chords alone may make


def with_checks(items: Sequence[Item], cutting: Cutting, place_px: PlacePx) -> tuple[Item, ...]:
    """Return the items with what is to be said of their pockets on one sheet.

    Parameters
    ----------
    items
        All items of a sheet, with pockets or without.
    cutting
        How they are cut, and the limits; crossing pockets are said without any.
    place_px
        From a place in an item's frame to the picture.
    """
    walls = [_wall(item) for item in items]
    beside = _neighbours(items, walls, cutting.web_mm, place_px)
    return tuple(
        item if item.pocket is None else _with(item, item.pocket, (*_own(item, item.pocket, cutting, place_px), *found))
        for item, found in zip(items, beside, strict=True)
    )


def _with(item: Item, pocket: Pocket, found: tuple[Finding, ...]) -> Item:
    return replace(item, pocket=replace(pocket, findings=(*pocket.findings, *found))) if found else item


def _wall(item: Item) -> Geometry | None:
    if item.pocket is None or not item.pocket.curves:
        return None
    return opening(item.pocket, item.sheet_mm, chord_mm=_CHORD_MM)


# --- between pockets -------------------------------------------------------------------------------------------


def _neighbours(
    items: Sequence[Item], walls: Sequence[Geometry | None], web_mm: float, place_px: PlacePx
) -> list[tuple[Finding, ...]]:
    """Return for each item what is to be said of it and those after it: all that it crosses, else the nearest."""
    import shapely

    found: list[tuple[Finding, ...]] = [() for _ in items]
    there = [number for number, wall in enumerate(walls) if wall is not None]
    tree = shapely.STRtree([wall for wall in walls if wall is not None])
    for at, number in enumerate(there):
        wall = walls[number]
        assert wall is not None
        left, bottom, right, top = wall.bounds
        box = shapely.box(left - web_mm, bottom - web_mm, right + web_mm, top + web_mm)
        others = [there[k] for k in np.sort(tree.query(box)).tolist() if k > at]
        away = {other: float(shapely.distance(wall, walls[other])) for other in others}
        crossed = [other for other in others if away[other] == 0]
        if crossed:
            found[number] = (_crossing(items, number, crossed, walls, place_px),)
        elif others:
            nearest = min(others, key=away.__getitem__)
            if away[nearest] < web_mm:
                found[number] = (_thin(items, (number, nearest), walls, web_mm, place_px),)
    return found


def _crossing(
    items: Sequence[Item], number: int, crossed: Sequence[int], walls: Sequence[Geometry | None], place_px: PlacePx
) -> Finding:
    import shapely

    areas = {other: float(shapely.area(shapely.intersection(walls[number], walls[other]))) for other in crossed}
    worst = max(crossed, key=areas.__getitem__)
    # where the paths cross there is something to see; in the middle of a large common part there is nothing
    near = shapely.get_coordinates(shapely.shortest_line(_lines(items[number]), _lines(items[worst])))[0]
    names = " and ".join(items[other].name for other in crossed)
    area = sum(areas.values())
    return finding_of(
        "pockets-cross", value=area, limit=0.0, place_px=_px_of(near, items[number], place_px), names=names
    )


def _thin(
    items: Sequence[Item],
    pair: tuple[int, int],
    walls: Sequence[Geometry | None],
    web_mm: float,
    place_px: PlacePx,
) -> Finding:
    import shapely

    line = shapely.shortest_line(walls[pair[0]], walls[pair[1]])
    web = float(shapely.length(line))
    place = _px_of(shapely.get_coordinates(line).mean(axis=0), items[pair[0]], place_px)
    return finding_of("web-thin", value=web, limit=web_mm, place_px=place, name=items[pair[1]].name)


def _lines(item: Item) -> Geometry:
    """Return the paths of an item's pocket on the sheet."""
    import shapely

    assert item.pocket is not None
    rings = (curve_ring(curve, chord_mm=_CHORD_MM) + item.sheet_mm for curve in item.pocket.curves)
    return shapely.MultiLineString([np.vstack([ring, ring[:1]]) for ring in rings])


def _px_of(sheet_mm: FloatArray, item: Item, place_px: PlacePx) -> Point:
    x, y = (sheet_mm - item.sheet_mm).tolist()
    return place_px(item, (x, y))


# --- of one pocket ---------------------------------------------------------------------------------------------


def _own(item: Item, pocket: Pocket, cutting: Cutting, place_px: PlacePx) -> tuple[Finding, ...]:
    uncut = _uncut(item, pocket, cutting, place_px)
    fit = uncut or _short_room(item, pocket, place_px)
    return (*fit, *_close_nodes(item, pocket, cutting.node_spacing_mm, place_px))


def _short_room(item: Item, pocket: Pocket, place_px: PlacePx) -> tuple[Finding, ...]:
    """What is to be said where the wall leaves clearly less room than was asked for; a person looks at half."""
    asked = pocket.clearance_mm
    found = room_left(item, pocket, enough_mm=_ENOUGH * asked) if asked > 0 and pocket.curves else None
    if found is None:
        return ()
    room, (x, y) = found
    return (
        finding_of(
            "room-short",
            value=max(room, 0.0),
            limit=asked,
            place_px=place_px(item, (x, y)),
            attention=room < asked / 2,
            case=None if room > 0 else "outside",
            beyond=-room,
        ),
    )


def _uncut(item: Item, pocket: Pocket, cutting: Cutting, place_px: PlacePx) -> tuple[Finding, ...]:
    if not pocket.uncut:
        return ()
    worst = max(pocket.uncut, key=lambda one: one.depth_mm)
    area = sum(one.area_mm2 for one in pocket.uncut)
    held = _meets_item(item, pocket)
    case = "fits" if not held else "side" if _fits_with_side(item, cutting) else None
    x, y = worst.ring_mm.mean(axis=0).tolist()
    return (
        finding_of(
            "uncut",
            value=worst.depth_mm,
            limit=0.0,
            place_px=place_px(item, (x, y)),
            attention=held,
            case=case,
            cutter=pocket.cutter_mm,
            area=area,
        ),
    )


def _fits_with_side(item: Item, cutting: Cutting) -> bool:
    """Tell whether the item would go in if corners were relieved along their longer side: cut so, to see."""
    if cutting.relief == "side" or cutting.way != "router":
        return False
    from .make import cut_pocket

    rings = tuple(map(make_ring, (item.exterior_mm, *item.holes_mm)))
    again = cut_pocket(rings, (item.path, *item.hole_paths), replace(cutting, relief="side"))
    return bool(again.curves) and not _meets_item(item, again)


def _meets_item(item: Item, pocket: Pocket) -> bool:
    import shapely

    body = shapely.make_valid(shapely.Polygon(item.exterior_mm)).difference(opening(pocket, chord_mm=_CHORD_MM))
    left = [shapely.make_valid(shapely.Polygon(one.ring_mm)) for one in pocket.uncut]
    return any(float(body.intersection(one).area) > _MEETS_MM2 for one in left)


def _close_nodes(item: Item, pocket: Pocket, limit: float, place_px: PlacePx) -> tuple[Finding, ...]:
    """Pieces shorter than the limit; the ways in and out of reliefs are meant to be as short as they are."""
    tips = {one.tip_mm for one in pocket.reliefs}
    places: list[tuple[float, FloatArray]] = []
    for curve in pocket.curves:
        if not isinstance(curve, Circle):
            places += _short(curve, limit, tips)
    if not places:
        return ()
    shortest, at = min(places, key=lambda one: one[0])
    x, y = at.tolist()
    return (
        finding_of(
            "nodes-close",
            value=shortest,
            limit=limit,
            place_px=place_px(item, (x, y)),
            attention=len(places) >= _MANY_NODES,
            count=len(places),
        ),
    )


def _short(path: Path, limit: float, tips: set[Point]) -> list[tuple[float, FloatArray]]:
    lengths, ends = piece_lengths(path), np.roll(path.points_mm, -1, axis=0)
    found = []
    for length, start, end in zip(lengths.tolist(), path.points_mm, ends, strict=True):
        meant = {(float(start[0]), float(start[1])), (float(end[0]), float(end[1]))} & tips
        if 0 < length < limit and not meant:
            found.append((length, start))
    return found
