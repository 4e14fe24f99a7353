"""The rings of one traced item in its own frame, checked: what cannot be cut is said, and goes no further."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..edge.touching import perhaps_two
from ..hand.steps import Step
from ..measure.rings import reading_order, signed_area
from ..records import Contour, Contribution, FailedItem, Finding, FloatArray, frozen_array
from ..sound import meeting, unsound
from ..words.say import excess, finding_of

if TYPE_CHECKING:
    from shapely import Polygon

MOST_LOST = 0.25  # of an item's edge: with more of it unmeasured what is left is a guess; set by the users' wishes
_WRITTEN_MM = 1e-4  # lengths are written rounded to this; rings have to be sound then too
_LEAST_LOOP_PX = 3.0  # a loop that small is an edge's own unevenness, whatever the dust is
_FIRM_HOLE_DUSTS = 5.0  # a hole so many times larger than dust is part of the item, and not left out of it
_FIRM_HOLE_PART = 0.15  # of the item's shorter side: as large may be a pale place that touches another


@dataclass(frozen=True, slots=True)
class Rings:
    """One item's rings, exterior first, and what was seen along them."""

    contours: tuple[Contour, ...]
    origin: FloatArray  # (2,), plane frame: where the item frame's origin lies
    own: tuple[FloatArray, ...]  # each (N, 2), mm, item frame
    corners: tuple[tuple[int, ...], ...]  # of each ring
    findings: tuple[Finding, ...]
    budget: tuple[Contribution, ...] = ()  # what this item adds to the picture's budget
    other_px: tuple[FloatArray, ...] = ()  # each (N, 2), open lines: where another border may be meant
    turn: float = 0.0  # radians, counter-clockwise, from how the item lay to its own frame
    mirrored: bool = False  # left and right exchanged, after the turn
    moved_to: FloatArray | None = None  # (2,), plane frame: its box's lower-left corner on the sheet, if not its origin
    undone: tuple[Step, ...] = ()  # by hand, that found nothing to correct
    is_dropped: bool = False  # by hand

    @property
    def corner(self) -> FloatArray:
        """Where the lower-left corner of the item's box lies on the sheet, (2,), plane frame."""
        return self.origin if self.moved_to is None else self.moved_to

    def with_findings(self, findings: tuple[Finding, ...]) -> Rings:
        """Return the same rings with further findings, one of each code."""
        return replace(self, findings=merged((*self.findings, *findings)))


_Part = tuple[FloatArray, tuple[int, ...]]  # a ring and its corners
_Kept = tuple[Contour, _Part]


def place_rings(
    contours: tuple[Contour, ...],
    rings_mm: tuple[FloatArray, ...],
    corners: tuple[tuple[int, ...], ...],
    findings: tuple[Finding, ...],
    budget: tuple[Contribution, ...] = (),
    *,
    dust_mm: float = 1.0,
) -> Rings | FailedItem:
    """Move rings from the plane frame into the item's own.

    Loops no larger than dust, where an edge crosses itself at a speck, are taken off, and it is said. A hole that has
    no edge of its own, or touches another or the outline, is left out, and said, unless it is large. Whatever else is
    not sound has failed. Holes come in reading order as they lie in the picture: that is how people count them.

    Parameters
    ----------
    contours
        Exterior first, as measured in the picture.
    rings_mm
        The same in the plane frame.
    corners
        Indices of each ring's corners.
    findings
        Seen along the edge.
    budget
        What a photo's camera adds at this place.
    dust_mm
        Size of what may be left out, or taken off, with a word.

    Returns
    -------
    Rings or FailedItem
        Rings whose polygon is sound, as it is and rounded as it will be written; or why there is none.
    """
    loop_mm = max(dust_mm, _LEAST_LOOP_PX * _mm_per_px(contours[0].points_px, rings_mm[0]))
    parts = [
        untangled(ring, at, -1.0 if contour.is_hole else 1.0, loop_mm)
        for ring, at, contour in zip(rings_mm, corners, contours, strict=True)
    ]
    outer = parts[0]
    if isinstance(outer, str):
        return failed_item(contours[0].points_px, outer)
    kept: list[_Kept] = []
    for contour, part, ring in zip(contours[1:], parts[1:], rings_mm[1:], strict=True):
        if not isinstance(part, str):
            kept.append((contour, part))
        elif np.ptp(ring, axis=0).max() > _FIRM_HOLE_DUSTS * loop_mm:
            return failed_item(
                contours[0].points_px, f"the edge of a hole {part}", at_px=contour.points_px.mean(axis=0)
            )
        else:
            findings = (*findings, hole_left_out(contour.points_px))
    firm_mm = max(_FIRM_HOLE_DUSTS * loop_mm, _FIRM_HOLE_PART * float(np.ptp(outer[0], axis=0).min()))
    kept, met = _clear_of_others(outer[0], kept, firm_mm)
    findings = (*findings, *(hole_left_out(contour.points_px) for contour in met))
    kept = [(contours[0], outer), *(kept[k] for k in reading_order([_box_px(contour) for contour, _ in kept]))]
    if any(not isinstance(part, str) and part[0] is not ring for part, ring in zip(parts, rings_mm, strict=True)):
        findings = (*findings, _tangled())
    origin = outer[0].min(axis=0)
    own = tuple(frozen_array(part[0] - origin, columns=2) for _, part in kept)
    wrong = unsound(own[0], own[1:]) or unsound(*_as_written(own))
    if wrong:
        return failed_item(contours[0].points_px, wrong)
    return Rings(
        tuple(contour for contour, _ in kept),
        origin,
        own,
        tuple(part[1] for _, part in kept),
        merged((*findings, *perhaps_two(outer[0]))),
        budget,
    )


def _clear_of_others(outer: FloatArray, holes: list[_Kept], least_mm: float) -> tuple[list[_Kept], list[Contour]]:
    """Take out the holes under `least_mm` that touch another ring: such are dark or pale places, not cut through.

    What is larger stays, and fails the item where it meets a ring all the same.
    """
    import shapely

    lines = np.array([shapely.linearrings(ring) for ring in (outer, *(part[0] for _, part in holes))])
    met = {number for pair in meeting(lines) for number in pair}
    gone = [k for k, (_, part) in enumerate(holes) if k + 1 in met and np.ptp(part[0], axis=0).max() <= least_mm]
    return [one for k, one in enumerate(holes) if k not in gone], [holes[k][0] for k in gone]


def _as_written(own: tuple[FloatArray, ...]) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    rounded = tuple(np.round(ring / _WRITTEN_MM) * _WRITTEN_MM for ring in own)
    return rounded[0], rounded[1:]


def _mm_per_px(points_px: FloatArray, ring_mm: FloatArray) -> float:
    """About how large a pixel is there."""
    return float(np.ptp(ring_mm, axis=0).max() / max(np.ptp(points_px, axis=0).max(), 1.0))


def untangled(ring: FloatArray, corners: tuple[int, ...], direction: float, loop_mm: float) -> _Part | str:
    """Give the ring if it does not cross itself, or without the loops no larger than `loop_mm`; else what is wrong.

    `direction` is 1 for a ring that runs counter-clockwise, -1 for a hole. What is wrong goes after "the outline".
    """
    import shapely

    if not direction * signed_area(ring) > 0:
        return "was lost on most of its way"
    if shapely.is_simple(shapely.linearrings(ring)):
        return ring, corners
    parts = [
        one
        for part in shapely.get_parts(shapely.make_valid(shapely.Polygon(ring)))
        for one in shapely.get_parts(part)
        if one.geom_type == "Polygon"
    ]
    if not parts:
        return "encloses nothing"
    largest = max(parts, key=lambda part: float(part.area))
    loops = [part for part in parts if part is not largest]
    loops += [shapely.Polygon(inner) for inner in largest.interiors]  # wound round twice
    if any(_extent(loop) > loop_mm for loop in loops):
        return "crosses itself"
    outline = shapely.get_coordinates(shapely.geometry.polygon.orient(largest, direction).exterior)[:-1]
    return (outline, ()) if len(outline) >= 8 else "encloses nothing"


def _extent(part: Polygon) -> float:
    left, bottom, right, top = part.bounds
    return float(max(right - left, top - bottom))


def too_much_lost(contours: Sequence[Contour], lost: Sequence[float]) -> float:
    """Return the part of an item's edge that could not be measured where it is too much, else 0.

    Parameters
    ----------
    contours
        Exterior first.
    lost
        Of each, the part that could not be measured.
    """
    lengths = np.array([len(contour.points_px) for contour in contours], dtype=np.float64)
    whole = float((lengths * lost).sum() / lengths.sum())
    part = max(whole, lost[0])
    return part if part > MOST_LOST else 0.0


def failed_item(points_px: FloatArray, wrong: str, *, at_px: FloatArray | None = None, because: str = "") -> FailedItem:
    """Return an item that failed: its border, what is wrong with it, and why, with what to do, where that is known."""
    (left, top), (right, bottom) = points_px.min(axis=0).tolist(), points_px.max(axis=0).tolist()
    x, y = ((left + right) / 2, (top + bottom) / 2) if at_px is None else at_px.tolist()
    reason = finding_of(
        "item-failed",
        place_px=(x, y),
        x=x,
        y=y,
        wide=right - left,
        high=bottom - top,
        why=f"{wrong}{'. ' if because else '.'}{because}",
    )
    return FailedItem((left, top, right, bottom), reason)


def lost_words(part: float) -> str:
    """What is wrong with an item of whose edge so much could not be measured."""
    return f"{100 * min(part, 1.0):.0f} % of its edge could not be measured (limit {100 * MOST_LOST:.0f} %)"


def hole_left_out(points_px: FloatArray) -> Finding:
    """What to say of a hole whose edge could not be followed."""
    x, y = points_px.mean(axis=0).tolist()
    wide, high = np.ptp(points_px, axis=0).tolist()
    return finding_of("hole-left-out", place_px=(x, y), x=x, y=y, wide=wide, high=high)


def _box_px(contour: Contour) -> tuple[float, float, float, float]:
    (x0, y0), (x1, y1) = contour.points_px.min(axis=0).tolist(), contour.points_px.max(axis=0).tolist()
    return x0, y0, x1, y1


def _tangled() -> Finding:
    return finding_of("edge-tangled")


def merged(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Keep one finding of each code, the worst."""
    best: dict[str, Finding] = {}
    for finding in findings:
        held = best.get(finding.code)
        if held is None or excess(finding.value, finding.limit) > excess(held.value, held.limit):
            best[finding.code] = finding
    return tuple(best.values())
