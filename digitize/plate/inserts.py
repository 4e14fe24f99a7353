"""A base plate with windows for inserts of one outer size, each a plate of its own; and the bed with them in it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..errors import UsageError
from ..records import Allowance, FloatArray, Item, Path, Pocket, Uncertainty, frozen_array
from .plate import Kind, Place, Plate

NAME = "insert"
_STEP_MM = 1.0  # of the dense ring


def insert_kind(size_mm: tuple[float, float], *, room_mm: float, kerf_mm: float) -> Kind:
    """Return an insert as what lies in a window: a box, and the path that leaves so much room on each side."""
    width, height = size_mm
    out = room_mm - kerf_mm / 2
    said = f"insert {width:g}x{height:g}"
    item = Item(
        name=NAME,
        exterior_mm=_dense(width, height),
        holes_mm=(),
        path=_box(0.0, 0.0, width, height),
        hole_paths=(),
        sheet_mm=(0.0, 0.0),
        origin_px=(0.0, 0.0),
        width_mm=width,
        height_mm=height,
        area_mm2=width * height,
        perimeter_mm=2 * (width + height),
        centroid_mm=(width / 2, height / 2),
        uncertainty=Uncertainty(0.0, 0.0, 0.0),
        pocket=Pocket(
            (_box(-out, -out, width + out, height + out),),
            (Allowance("clearance", room_mm), Allowance("kerf", -kerf_mm / 2)),
            room_mm,
            kerf_mm,
        ),
    )
    return Kind(NAME, said, hashlib.sha256(said.encode()).hexdigest(), item, 0.0)


def _box(left: float, bottom: float, right: float, top: float) -> Path:
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    return Path(frozen_array(corners, columns=2), frozen_array([0.0] * 4))


def _dense(width: float, height: float) -> FloatArray:
    corners = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    sides = []
    for begin, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = max(2, int(np.ceil(np.abs(end - begin).max() / _STEP_MM)))
        sides.append(begin + (end - begin) * np.arange(count)[:, None] / count)
    return frozen_array(np.concatenate(sides), columns=2)


def with_inserts(base: Plate, inserts: Mapping[int, Plate], marks: Mapping[int, str]) -> Plate:
    """Return the bed with inserts in the base plate's windows: what the template is for.

    Parameters
    ----------
    base
        A plate of `insert_kind` alone.
    inserts, marks
        By the number of the window, plates of the windows' size, and the marks of their documents.

    Raises
    ------
    UsageError
        If the base has no such windows, an insert has another size, or two kinds share a name.
    """
    if [kind.name for kind in base.kinds] != [NAME]:
        raise UsageError(f"{base.name} has no windows for inserts: make one with digitize plate --insert 100x80.")
    if any(window.turn_deg for window in base.places):
        raise UsageError(f"Windows of {base.name} lie turned; inserts lie as they are drawn. Lay it in straight rows.")
    item = base.kinds[0].item
    kinds: dict[str, Kind] = {}
    places: list[Place] = []
    for number, plate in sorted(inserts.items()):
        if not 1 <= number <= len(base.places):
            raise UsageError(f"--insert {number}=...: the base plate has {len(base.places)} windows.")
        if plate.size_mm != (item.width_mm, item.height_mm):
            raise UsageError(
                f"{plate.name} is {plate.size_mm[0]:g} x {plate.size_mm[1]:g} mm, the windows are for inserts of "
                f"{item.width_mm:g} x {item.height_mm:g}. Lay it again with --plate "
                f"{item.width_mm:g}x{item.height_mm:g}."
            )
        for kind in plate.kinds:
            known = kinds.setdefault(kind.name, kind)
            if known.source_sha256 != kind.source_sha256 or known.turn_deg != kind.turn_deg:
                raise UsageError(f"Two inserts hold kinds called {kind.name} of different pictures. Name one anew.")
        places += _moved(base.places[number - 1], plate, item)
    said = (f"{number} {plate.name} {marks[number]}" for number, plate in sorted(inserts.items()))
    return replace(
        base,
        kinds=tuple(kinds.values()),
        places=tuple(places),
        web_mm=min(plate.web_mm for plate in inserts.values()),
        thickness_mm=None,
        heights=None,  # those of the base are of the inserts' upper sides
        label=(*base.label, f"inserts: {', '.join(said)}"),
    )


def _moved(window: Place, insert: Plate, item: Item) -> list[Place]:
    """Return an insert's places where it lies in a window."""
    low_x, low_y = insert.low_mm
    x, y = window.x_mm - item.width_mm / 2 - low_x, window.y_mm - item.height_mm / 2 - low_y
    return [replace(one, x_mm=round(one.x_mm + x, 4), y_mm=round(one.y_mm + y, 4)) for one in insert.places]
