"""A pocket cut by a round cutter: the way of its centre, relieved corners, and what it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..records import Allowance, Finding, Notch, Relief, Uncut, frozen_array
from ..words.say import finding_of
from .blank import Blank, Cut, notched
from .pocket import OffsetRing
from .region import Left, grown, left_standing, polygons_of, region_of, rings_of_region
from .relief import is_corner, relief_for, relief_region
from .ways import Cutting

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry


def routed(blank: Blank, cutting: Cutting, notches: tuple[Notch, ...]) -> Cut:
    """The way of the cutter's centre, and what the cutter leaves when its corners are relieved."""
    radius = cutting.cutter_mm / 2
    wanted = notched(region_of(blank.moved(cutting.clearance_mm)), blank, notches, less_mm=0.0)
    centres = grown(wanted, -radius, chord_mm=blank.chord)
    wall = blank.by_curve(blank.sources, cutting.clearance_mm, wanted, notches)
    swept = grown(centres, radius, chord_mm=blank.chord)
    left = left_standing(wanted, centres, swept, radius_mm=radius, tolerance_mm=blank.tolerance)
    reliefs = [] if cutting.relief == "none" else _reliefs(left, wanted, cutting, blank)
    if reliefs:
        swept = swept.union(relief_region(reliefs, radius_mm=radius, chord_mm=blank.chord))
        still = left_standing(wanted, centres, swept, radius_mm=radius, tolerance_mm=blank.tolerance)
    else:
        still = left
    links = (
        Allowance("lot", 0.0),
        Allowance("clearance", cutting.clearance_mm),
        Allowance("cutter", -radius),
    )
    return Cut(
        centres,
        links,
        blank.by_curve(wall, -radius, centres),
        None if notches else cutting.clearance_mm - radius,
        tuple(reliefs),
        tuple(_uncut(one) for one in still),
        findings=_about_slots(left, polygons_of(centres), cutting),
    )


def _reliefs(left: list[Left], wanted: Geometry, cutting: Cutting, blank: Blank) -> list[Relief]:
    """Return a relief for each corner that needs one, but where it would cut into a peg."""
    radius = cutting.cutter_mm / 2
    pegs = region_of([OffsetRing(hole, ()) for part in rings_of_region(wanted) for hole in part.holes_mm])
    corners = [one for one in left if is_corner(one, radius)]
    found = [relief_for(one, wanted, kind=cutting.relief, radius_mm=radius) for one in corners]
    if pegs.is_empty:
        return found
    inner = grown(pegs, -blank.tolerance, chord_mm=blank.chord)
    return [one for one in found if not relief_region([one], radius_mm=radius, chord_mm=blank.chord).intersects(inner)]


def _uncut(left: Left) -> Uncut:
    return Uncut(frozen_array(left.ring, columns=2), float(left.region.area), left.depth_mm)


def _about_slots(left: list[Left], parts: Sequence[Geometry], cutting: Cutting) -> tuple[Finding, ...]:
    slots = [one for one in left if not is_corner(one, cutting.cutter_mm / 2)]
    if not slots and len(parts) < 2:
        return ()
    deepest = max((one.depth_mm for one in slots), default=0.0)
    effect = f": it stays uncut over {deepest:.1f} mm" if slots else ""
    effect += f", and the path falls into {len(parts)} parts" if len(parts) > 1 else ""
    return (finding_of("narrower-than-cutter", value=deepest, limit=0.0, cutter=cutting.cutter_mm, effect=effect),)
