"""A plate as the page draws it: kinds as lines about their middles, places, what is wrong with them; mm, y up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...fitting.bulge import curve_ring
from ...plate.check import Conflict
from ...plate.layout import Block
from ...plate.plate import Kind, Place, Plate, moved_by, placed_curve
from ...records import Curve, Finding
from ...words.say import step_of, title_of
from ...write.words import inch_size, plain, size
from .form import step_on_plate, words_on_plate

Shown = dict[str, Any]
_CHORD_MM = 0.02  # chord error on the screen


def shown_plate(plate: Plate) -> Shown:
    """Return all the page draws of a plate, but where its pockets lie."""
    return {
        "bed": [*plate.bed_mm],
        "size": [*plate.size_mm],
        "low": [*plate.low_mm],
        "zero": [*plate.zero_mm],
        "signs": [*plate.signs],
        "holes": [[one.x_mm, one.y_mm, one.diameter_mm] for one in plate.holes],
        "kinds": [_kind(kind) for kind in plate.kinds],
    }


def _kind(kind: Kind) -> Shown:
    pocket = kind.item.pocket
    assert pocket is not None
    return {
        "name": plain(kind.name),
        "size": size(kind.item),
        "inches": inch_size(kind.item),
        "edge": _rings(kind, [kind.item.path]),
        "hole": _rings(kind, kind.item.hole_paths),
        "pocket": _rings(kind, pocket.curves),
        "print": _rings(kind, kind.item.print_area),
    }


def _rings(kind: Kind, curves: Sequence[Curve]) -> list[list[float]]:
    """Return curves as flat lists x, y, x, y, ... about the middle of the upright item's box."""
    moved = moved_by(kind, Place(kind.name, 0.0, 0.0, 0.0))
    rings = (curve_ring(placed_curve(curve, moved), chord_mm=_CHORD_MM) for curve in curves)
    return [np.round(ring, 3).ravel().tolist() for ring in rings]


def shown_conflict(one: Conflict) -> Shown:
    """Return what is wrong at one place, in figures: the page has the words."""
    return {
        "what": one.what,
        "names": [*one.names],
        "pockets": [*one.pockets],
        "mm": one.mm,
        "between": [[*point] for point in one.between_mm],
    }


def shown_finding(one: Finding) -> Shown:
    """Return a finding with its next step, as the page says them."""
    return {
        "code": one.code,
        "title": title_of(one.code),
        "message": words_on_plate(plain(one.message)),
        "step": step_on_plate(one.code, step_of(one.code)),
    }


def shown_block(one: Block) -> Shown:
    """Return how the pockets of a kind were laid, in words, and how many straight rows would hold."""
    return {"kind": plain(one.kind), "count": one.count, "how": one.how, "straight": one.straight}
