"""A result as the page draws and lists it: lines in the picture's pixels, sizes in words, what is doubtful first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from ..errors import OutlineError
from ..records import FailedItem, Finding, FloatArray, Item, LeftOut, Result, Scale
from ..trust.lift import ALONG_SENSOR
from ..trust.readings import sizes_of
from ..trust.uncertainty import BY_HAND
from ..words.gather import Said, said_of
from ..words.say import title_of
from ..words.told import told
from ..write.preview.marks import Drawn, outline_marks, pocket_marks
from ..write.preview.overview import marked_left_out, marked_of
from ..write.preview.places import Place, worst_places
from ..write.words import cut_words, inch_size, made_of, plain, pocket_notes, size
from .on_page import step_on_page, words_on_page

Shown = dict[str, Any]
_ROOM = 0.6  # of an item's extent, that is shown each way from its middle


def shown_result(result: Result, scale: Scale) -> Shown:
    """Return all the page shows of a result; places are px as everywhere, lines flat lists x, y, x, y, ..."""
    outlines = outline_marks(result, scale)
    marks = pocket_marks(result, scale)
    return {
        "scale": _scale_words(result),
        "rests": _rests(result),
        "mm_per_px": float(np.mean(result.scale.mm_per_px)),
        "reference": None if result.scale.corners_px is None else _flat(result.scale.corners_px),
        "items": [
            _item(item, drawn, in_inches=result.in_inches) for item, drawn in zip(result.items, outlines, strict=True)
        ],
        "pocket": {
            "paths": [*map(_flat, marks.paths)],
            "leads": [*map(_flat, marks.leads)],
            "uncut": [*map(_flat, marks.uncut)],
            "pins": [*map(_flat, marks.pins)],
            "prints": [*map(_flat, marks.prints)],
        },
        **_beside(marked_left_out(result), result.failed),
        "said": [_said(said, result, outlines) for said in said_of(result)],
        "places": [*map(_place, worst_places(result))],
        "notes": [*map(words_on_page, pocket_notes(result.items))],
        "needs_person": any(finding.attention for finding in result.all_findings),
    }


def shown_unmade(error: OutlineError) -> Shown:
    """Return what the page draws where there is no outline: what was seen all the same, for a hand to mend."""
    nothing: Shown = {"reference": None, "items": []}
    nothing["pocket"] = {kind: [] for kind in ("paths", "leads", "uncut", "pins", "prints")}
    return nothing | _beside(marked_of(error.left_out, ()), error.failed)


def _beside(left_out: Sequence[LeftOut], failed: Sequence[FailedItem]) -> Shown:
    return {"left_out": [*map(_left_out, left_out)], "failed": [*map(_failed, failed)]}


def _item(item: Item, drawn: Drawn, *, in_inches: bool) -> Shown:
    (left, top), (right, bottom) = drawn.exterior.min(axis=0).tolist(), drawn.exterior.max(axis=0).tolist()
    return {
        "name": plain(item.name),
        "size": f"{size(item)} ({inch_size(item)} in)" if in_inches else size(item),
        "inches": inch_size(item),
        "box": [left, top, right, bottom],
        "holes": len(item.holes_mm),
        "area_mm2": item.area_mm2,
        "k2_mm": item.uncertainty.profile_k2_mm,
        "sizes": [*sizes_of(item)],
        "made_of": plain(made_of(item)),
        "rings": [*map(_flat, drawn.every())],
        "other": [*map(_flat, item.other_px)],
        "hand": [*map(_flat, item.by_hand_px)],
        "taken": any(finding.code == "by-hand-item" for finding in item.findings),
        "hand_k2_mm": _hand_k2_mm(item),
        "cut": None if item.pocket is None else cut_words(item.pocket),
    }


def _hand_k2_mm(item: Item) -> float | None:
    """Return what a hand adds to the outline's stated figure (k = 2), mm; None where it set nothing."""
    found = [2 * one.profile_mm for one in item.uncertainty.budget if one.name == BY_HAND]
    return max(found, default=None)


def _place(place: Place) -> Shown:
    return {"at": [*place.at_px], "code": place.code, "title": words_on_page(plain(place.why))}


def _left_out(one: LeftOut) -> Shown:
    at = one.place_px  # a strip along the border has no box that tells it apart
    box = [*map(float, (*at, *at) if one.why == "rim" else one.box_px)]
    return {"box": box, "at": [*at], "why": one.why, "area_mm2": one.area_mm2}


def _failed(one: FailedItem) -> Shown:
    lines = {"rings": [*map(_flat, one.rings_px)], "lost": [*map(_flat, one.lost_px)]}
    return {"box": [*one.box_px], "why": words_on_page(plain(one.reason.message)), **lines}


def _said(said: Said, result: Result, outlines: Sequence[Drawn]) -> Shown:
    return {
        "code": said.code,
        "attention": said.attention,
        "of_photo": said.of_photo,
        "title": title_of(said.code),
        "message": words_on_page(plain(said.message)),
        "told": _told(said, len(result.items)),
        "step": step_on_page(said.code, plain(said.step)),
        "ask": words_on_page(plain(said.step)),  # names the fields that it is about
        "places": list(_places(said, result, outlines)),
    }


def _told(said: Said, of: int) -> Shown | None:
    """Return which text of the table a sentence was made from, its fields and its items: for another language."""
    of_all = None if said.message == said.worst else told(said.code, said.message, together=True)
    found = of_all or told(said.code, said.worst)
    if found is None:
        return None
    named = [] if said.message == said.worst else [*said.items]
    return {"form": found.form, "fields": {k: plain(v) for k, v in found.fields.items()}, "items": named, "of": of}


def _places(said: Said, result: Result, outlines: Sequence[Drawn]) -> Iterator[Shown]:
    """Yield where to look: where the findings of that code point, else at their items."""
    pointed = [one for one in _alike(said, result) if one.place_px is not None]
    exact = [one for one in pointed if one.message == said.message]
    for finding in pointed if said.items or not exact else exact:
        assert finding.place_px is not None
        boxes = [one.box_px for one in result.failed if one.reason is finding]
        half = _ROOM * max(boxes[0][2] - boxes[0][0], boxes[0][3] - boxes[0][1]) if boxes else None
        yield {"at": [*map(float, finding.place_px)], "half": half}
    if not pointed:
        for number in said.items:
            ring = outlines[number - 1].exterior
            low, high = ring.min(axis=0), ring.max(axis=0)
            yield {"at": ((low + high) / 2).tolist(), "half": float(_ROOM * (high - low).max())}


def _alike(said: Said, result: Result) -> Iterator[Finding]:
    """Yield the findings that a sentence was gathered from."""
    found = [*(one.reason for one in result.failed), *result.findings]
    if said.items:
        found = []
        for item in (result.items[number - 1] for number in said.items):
            found += [*item.findings, *(item.pocket.findings if item.pocket is not None else ())]
    return (one for one in found if one.code == said.code and one.attention == said.attention)


def _flat(points: FloatArray) -> list[float]:
    return np.round(points, 3).ravel().tolist()


def _scale_words(result: Result) -> str:
    sx, sy = result.scale.mm_per_px
    fine = f"about {2 / (sx + sy):.1f} px per mm on the card" if result.scale.kind == "camera" else ""
    return f"{words_on_page(plain(result.scale.reference))}, {fine or f'{25.4 / sx:.1f} x {25.4 / sy:.1f} dpi'}"


def _rests(result: Result) -> Shown:
    """Return how sure the scale is: whether its reference was measured, and what it makes of 100 mm (k = 2).

    Where the least sure item lies; that an item's edge may be above the glass is the item's, not the scale's.
    """
    return {"measured": result.scale.measured, "of_100_k2_mm": max(map(_of_100_k2_mm, result.items), default=None)}


def _of_100_k2_mm(item: Item) -> float:
    """Return how sure 100 mm are by all that grows with length; a camera's part is told of the item's longer side."""
    longer = max(item.width_mm, item.height_mm)
    scale = [one for one in item.uncertainty.budget if one.acts == "with length" and one.name != ALONG_SENSOR]
    return 200 * math.hypot(*(part for one in scale for part in (one.length_per_mm, one.length_mm / longer)))
