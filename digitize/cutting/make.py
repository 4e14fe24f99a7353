"""A pocket for one way of cutting: the wanted region, the path that makes it, and what the path cannot do."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..fitting.fit import Joins
from ..fitting.ring import Ring
from ..records import Allowance, Curve, Finding, FloatArray, Notch, OpenPath, Path, Pocket, Relief
from ..words.say import finding_of
from .blank import Blank, Cut, notched
from .former import chain_for, plug_for, scaled, scaled_path
from .judge import ByCurve
from .knife import Smoothed, for_knife, knife_paths
from .lead import with_lead
from .notch import place_notches
from .notes import notes_for
from .pins import pins_for
from .pocket import OffsetRing, curve_of, offset_circles, offset_shapes, part_findings, quiet_ring
from .region import grown, region_of, rings_of_region
from .relief import with_reliefs
from .routed import routed
from .wall import with_wall
from .ways import Cutting

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry


def cut_pocket(
    rings: tuple[Ring, ...],
    curves: tuple[Curve, ...],
    cutting: Cutting,
    *,
    tolerance_mm: float = 0.02,
    ideal: bool = False,
    joins: Joins = "smooth",
) -> Pocket:
    """Return the path to cut a pocket for an item in a given way, with all that goes with it.

    Parameters
    ----------
    rings
        Of the item, exterior first, item frame.
    curves
        The same as lines and arcs, exterior first.
    cutting
        The way, its widths, and whether a peg is cut for each hole; otherwise holes are ignored.
    tolerance_mm
        Largest distance of the path from the exact one.
    ideal
        Write paths of ideal shapes by formula, where the item is one within the tolerance.
    joins
        As for the item's own lines and arcs, where the path is not made of those.

    Returns
    -------
    Pocket
        Without any path, and with a finding that says so, where beam or cutter is wider than the pocket.
    """
    quiet = tuple(quiet_ring(*one, tolerance_mm=tolerance_mm) for one in zip(rings, curves, strict=True))
    noise = max(ring.sd_mm for ring in rings)
    blank = Blank(quiet, curves[0], curves[1:], cutting.cut_holes, tolerance_mm, noise, ideal, joins)
    wanted = region_of(blank.moved(cutting.clearance_mm))
    notches, about_notches = place_notches(wanted, blank.outline, blank.holes, cutting)
    cut = _cut(blank, cutting, notches)
    paths, reliefs = _paths(blank, cut, rings_of_region(cut.region))
    paths, leads = _led(paths, cut.region, cutting, notches)
    pins, about_pins = pins_for(blank.holes, blank.hole_curves, cutting.clearance_mm) if cutting.pins else ((), ())
    pocket = Pocket(
        curves=tuple(paths),
        chain=cut.chain,
        clearance_mm=cutting.clearance_mm,
        kerf_mm=cutting.kerf_mm,
        cutter_mm=cutting.cutter_mm,
        findings=(
            *(cut.findings if paths else (_nothing_left(cutting),)),
            *about_notches,
            *_about_leads(cutting, paths, leads),
            *about_pins,
        ),
        way=cutting.way or "",
        leads=tuple(lead for lead in leads if lead is not None),
        reliefs=reliefs,
        uncut=cut.uncut,
        notches=notches,
        pins=pins,
        plug_top=() if cut.top is None else _fitted(blank, rings_of_region(cut.top), cut.top_by_curve),
        plug_height_mm=0.0 if cut.top is None else plug_for(cutting).height_mm,
    )
    return with_wall(replace(pocket, notes=notes_for(pocket, cutting)))


def _cut(blank: Blank, cutting: Cutting, notches: tuple[Notch, ...]) -> Cut:
    if cutting.way == "router":
        return routed(blank, cutting, notches)
    if cutting.way == "former":
        return _formed(blank, cutting, notches)
    links = [Allowance("clearance", cutting.clearance_mm)]
    if cutting.way is not None:
        links.insert(0, Allowance("lot", 0.0))
    if cutting.way in (None, "laser"):
        links.append(Allowance("kerf", -cutting.kerf_mm / 2))
    distance = sum(link.offset_mm for link in links)
    parts = blank.moved(distance)
    less = cutting.kerf_mm / 2
    region = notched(region_of(parts), blank, notches, less_mm=less)
    formula: float | None = distance
    known = blank.by_curve(blank.sources, distance, region, notches, less_mm=less)
    if cutting.way == "knife":
        smoothed = _smoothed(region, known, blank, cutting)
        region, formula, known = smoothed.region, None, _knife_paths(known, smoothed, blank, cutting)
    about = part_findings(parts, len(blank.holes) if blank.pegs else 0, distance, blank.pegs)
    if blank.pegs and cutting.way == "knife":
        about += _about_pegs(sum(len(part.holes_mm) for part in parts), region, cutting)
    return Cut(region, tuple(links), known, None if notches else formula, findings=about)


def _smoothed(region: Geometry, known: tuple[Path, ...], blank: Blank, cutting: Cutting) -> Smoothed:
    return for_knife(
        region,
        known,
        least_radius_mm=cutting.least_radius_mm,
        chord_mm=blank.chord,
        tolerance_mm=blank.tolerance,
    )


def _knife_paths(known: tuple[Path, ...], smoothed: Smoothed, blank: Blank, cutting: Cutting) -> tuple[Path, ...]:
    return knife_paths(known, smoothed, least_radius_mm=cutting.least_radius_mm, tolerance_mm=blank.tolerance)


def _about_pegs(pegs: int, region: Geometry, cutting: Cutting) -> tuple[Finding, ...]:
    lost = pegs - sum(len(part.holes_mm) for part in rings_of_region(region))
    if lost <= 0:
        return ()
    return (finding_of("peg-too-small", value=lost, limit=0, case="knife", holes=pegs, radius=cutting.least_radius_mm),)


def _formed(blank: Blank, cutting: Cutting, notches: tuple[Notch, ...]) -> Cut:
    """The plug: its foot is the path."""
    plug = plug_for(cutting)
    top = notched(region_of(blank.moved(cutting.clearance_mm)), blank, notches, less_mm=0.0)
    foot = grown(top, plug.draft_mm, chord_mm=blank.chord)
    top_paths = blank.by_curve(blank.sources, cutting.clearance_mm, top, notches)
    foot_paths = blank.by_curve(top_paths, plug.draft_mm, foot)
    foot, top = (scaled(one, plug.scale, blank.middle) for one in (foot, top))
    by_curve, top_by_curve = (
        tuple(scaled_path(path, plug.scale, blank.middle) for path in paths) for paths in (foot_paths, top_paths)
    )
    return Cut(foot, chain_for(cutting), by_curve, top=top, top_by_curve=top_by_curve)


def _paths(blank: Blank, cut: Cut, rings: list[OffsetRing]) -> tuple[list[Curve], tuple[Relief, ...]]:
    """Return the curves to cut, inner ones first, with the reliefs they run into."""
    within = 3 * blank.tolerance
    perfect, known = _by_formula(blank, cut), ByCurve(cut.by_curve, blank.noise)
    corners = np.array([one.corner_mm for one in cut.reliefs]).reshape(-1, 2)
    found: list[Curve] = []
    used: list[Relief] = []
    for ring in _in_order(rings, blank.pegs):
        away = np.hypot(*(ring[:, None, :] - corners[None, :, :]).transpose(2, 0, 1)) if len(corners) else None
        near = [] if away is None else [int(i) for i, d in zip(away.argmin(0), away.min(0), strict=True) if d < within]
        curve = curve_of(ring, perfect, blank.tolerance, tuple(sorted(set(near))), known, joins=blank.joins)
        curve, here = with_reliefs(curve, list(cut.reliefs), within_mm=within)
        found.append(curve)
        used += here
    return found, tuple(used)


def _by_formula(blank: Blank, cut: Cut) -> list[Curve]:
    if cut.by_formula_mm is None or cut.reliefs:
        return []
    sources = blank.rings if blank.pegs else blank.rings[:1]
    found = offset_circles(sources, cut.by_formula_mm, blank.tolerance)
    return found + (offset_shapes(sources, cut.by_formula_mm, blank.tolerance) if blank.ideal else [])


def _in_order(rings: list[OffsetRing], pegs: bool) -> list[FloatArray]:
    """Return pegs first, so that the piece does not move before they are done."""
    return [hole for part in rings for hole in part.holes_mm if pegs] + [part.exterior_mm for part in rings]


def _fitted(blank: Blank, rings: list[OffsetRing], known: tuple[Path, ...]) -> tuple[Curve, ...]:
    return tuple(
        curve_of(ring, [], blank.tolerance, known=ByCurve(known, blank.noise), joins=blank.joins)
        for ring in _in_order(rings, blank.pegs)
    )


def _led(
    paths: list[Curve], region: Geometry, cutting: Cutting, notches: tuple[Notch, ...]
) -> tuple[list[Curve], list[OpenPath | None]]:
    if cutting.lead_in_mm == 0:
        return paths, []
    led = [with_lead(path, region, notches, length_mm=cutting.lead_in_mm) for path in paths]
    return [path for path, _ in led], [lead for _, lead in led]


def _about_leads(cutting: Cutting, paths: list[Curve], leads: list[OpenPath | None]) -> tuple[Finding, ...]:
    missing = sum(lead is None for lead in leads)
    if missing == 0:
        return ()
    return (finding_of("no-room-for-lead", value=missing, limit=0, attention=False, paths=len(paths)),)


def _nothing_left(cutting: Cutting) -> Finding:
    took = {
        "router": f"a cutter of {cutting.cutter_mm:g} mm",
        "knife": f"bends of {cutting.least_radius_mm:g} mm",
    }.get(cutting.way or "", f"half the kerf {cutting.kerf_mm:g} mm")
    return finding_of("no-path", clearance=cutting.clearance_mm, took=took)
