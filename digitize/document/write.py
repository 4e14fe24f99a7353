"""From the records to the text of an outline document; the inverse of `digitize.document.read`."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import cast

import numpy as np

from ..records import (
    Allowance,
    Circle,
    Contribution,
    Curve,
    FailedItem,
    Finding,
    FloatArray,
    IdealShape,
    Item,
    Notch,
    OpenPath,
    Path,
    Pocket,
    Result,
    ScaleFacts,
    Symmetry,
    Uncertainty,
    Uncut,
)
from ..seal import BLANK, __version__
from .read import arc_about

FORMAT = "digitize-outline"
VERSION = 1

LENGTH_DIGITS = 4  # 0.1 um, also areas in mm2 and places in px
FINE_DIGITS = 9  # ratios: mm per px, parts per mm, degrees of an arc


def text_of(result: Result, items: Sequence[Item]) -> str:
    """Return the document of `items` with a blank mark, a line for each key so that two can be compared."""
    head = {
        "format": FORMAT,
        "version": VERSION,
        "written_by": f"digitize {__version__}",
        "mark": BLANK,
        "units": "mm",
        "source": _source(result),
        "scale": _scale(result.scale),
        "face": {"imaged": result.face, "mirrored": result.mirrored},
        "tolerance_mm": _fine(result.tolerance_mm),
        "options": {_utf8(key): _utf8(value) for key, value in sorted(result.options.items())},
    }
    lines = [f"{_json(key)}: {_json(value)}" for key, value in head.items()]
    lines.append('"items": [\n' + ",\n".join(_item(item) for item in items) + "\n]")
    if result.failed:
        lines.append(f'"failed": {_json([_failed(one) for one in result.failed])}')
    lines.append(f'"warnings": {_json(_findings(result.findings))}')
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _utf8(text: str) -> str:
    """Replace what UTF-8 cannot hold: the odd bytes of a file name."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _mm(value: float) -> float:
    return round(float(value), LENGTH_DIGITS) + 0.0  # never -0.0


def _fine(value: float) -> float:
    return round(float(value), FINE_DIGITS) + 0.0


def _pair(values: Sequence[float]) -> list[float]:
    return [_mm(value) for value in values]


def _source(result: Result) -> dict[str, object]:
    return {
        "file": _utf8(result.source_name),
        "sha256": result.source_sha256,
        "width_px": result.width_px,
        "height_px": result.height_px,
    }


def _scale(facts: ScaleFacts) -> dict[str, object]:
    corners = None if facts.corners_px is None else [_pair(corner) for corner in facts.corners_px.tolist()]
    return {
        "kind": facts.kind,
        "mm_per_px": [_fine(value) for value in facts.mm_per_px],
        "reference": _utf8(facts.reference),
        "residual_mm": _fine(facts.residual_mm),
        "measured": facts.measured,
        "skew_deg": _fine(facts.skew_deg),
        "corners_px": corners,
    }


def _item(item: Item) -> str:
    fields = {
        "name": _utf8(item.name),
        "width_mm": _mm(item.width_mm),
        "height_mm": _mm(item.height_mm),
        "area_mm2": _mm(item.area_mm2),
        "perimeter_mm": _mm(item.perimeter_mm),
        "centroid_mm": _pair(item.centroid_mm),
        "placement": {
            "origin_px": _pair(item.origin_px),
            "rotation_deg": 0.0,
            "sheet_mm": _pair(item.sheet_mm),
        },
        "uncertainty_mm": _uncertainty(item.uncertainty),
        "path": {"exterior": _curve(item.path), "holes": [_curve(hole) for hole in item.hole_paths]},
        **_regular(item),
        "pocket": None if item.pocket is None else _pocket(item.pocket),
        "print_area": [_curve(curve) for curve in item.print_area],
        **({} if item.print_offset_mm is None else {"print_offset_mm": _fine(item.print_offset_mm)}),
        "warnings": _findings(item.findings),
        "geometry": {
            "type": "Polygon",
            "coordinates": [_ring(item.exterior_mm), *(_ring(hole) for hole in item.holes_mm)],
        },
    }
    return " {" + ",\n  ".join(f"{_json(key)}: {_json(value)}" for key, value in fields.items()) + "}"


def _regular(item: Item) -> dict[str, object]:
    """What was recognised of an item's rings: left out where nothing was."""
    members: dict[str, object] = {}
    if any(shape is not None for shape in item.shapes):
        members["shapes"] = [None if shape is None else _ideal_shape(shape) for shape in item.shapes]
    if item.symmetry is not None:
        members["symmetry"] = _symmetry(item.symmetry)
    return members


def _ideal_shape(shape: IdealShape) -> dict[str, object]:
    return {
        "kind": shape.kind,
        "sizes_mm": {name: _mm(size) for name, size in shape.sizes_mm.items()},
        "sd_mm": {name: _fine(size) for name, size in shape.sd_mm.items()},
        "sides": shape.sides,
        "centre": _pair(shape.centre_mm),
        "angle_deg": _fine(shape.angle_deg),
        "deviation_mm": _mm(shape.deviation_mm),
        "written": shape.written,
    }


def _symmetry(symmetry: Symmetry) -> dict[str, object]:
    axes = zip(symmetry.axes_deg, symmetry.axis_deviations_mm, strict=True)
    return {
        "centre": _pair(symmetry.centre_mm),
        "turns": symmetry.turns,
        "turn_deviation_mm": _mm(symmetry.turn_deviation_mm),
        "axes": [{"angle_deg": _fine(angle), "deviation_mm": _mm(away)} for angle, away in axes],
        "with_holes": symmetry.with_holes,
        "moved_mm": None if symmetry.moved_mm is None else _mm(symmetry.moved_mm),
    }


def _ring(points: FloatArray) -> list[list[float]]:
    """Return a closed ring; exterior counter-clockwise and holes clockwise, as RFC 7946 asks, they are already."""
    rounded = (np.round(points, LENGTH_DIGITS) + 0.0).tolist()
    return cast("list[list[float]]", [*rounded, rounded[0]])


def _uncertainty(stated: Uncertainty) -> dict[str, object]:
    return {
        "profile_k2": _fine(stated.profile_k2_mm),
        "length_k2": {
            "offset": _fine(stated.length_offset_k2_mm),
            "per_metre": _fine(stated.length_per_metre_k2_mm),
        },
        "budget": [_contribution(line) for line in stated.budget],
    }


def _contribution(line: Contribution) -> dict[str, object]:
    return {
        "name": _utf8(line.name),
        "profile": _fine(line.profile_mm),
        "length": _fine(line.length_mm),
        "length_per_mm": _fine(line.length_per_mm),
        "note": _utf8(line.note),
    }


def _pocket(pocket: Pocket) -> dict[str, object]:
    return {
        "clearance_mm": _fine(pocket.clearance_mm),
        "kerf_mm": _fine(pocket.kerf_mm),
        "cutter_mm": _fine(pocket.cutter_mm),
        "chain": [_link(link) for link in pocket.chain],
        "path": [_curve(curve) for curve in pocket.curves],
        **_way_of_cutting(pocket),
        "warnings": _findings(pocket.findings),
    }


def _link(link: Allowance) -> dict[str, object]:
    scale = {} if link.scale == 1.0 else {"scale": _fine(link.scale)}
    return {"name": _utf8(link.name), "offset_mm": _fine(link.offset_mm), **scale}


def _way_of_cutting(pocket: Pocket) -> dict[str, object]:
    """What only a way of cutting adds to a pocket: left out where there is none."""
    members: dict[str, object] = {
        "way": _utf8(pocket.way),
        "leads": [_open_path(lead) for lead in pocket.leads],
        "reliefs": [{"corner": _pair(one.corner_mm), "tip": _pair(one.tip_mm)} for one in pocket.reliefs],
        "uncut": [_uncut(one) for one in pocket.uncut],
        "notches": [_notch(one) for one in pocket.notches],
        "pins": [_curve(pin) for pin in pocket.pins],
        "plug_top": [_curve(curve) for curve in pocket.plug_top],
        "plug_height_mm": _mm(pocket.plug_height_mm),
        "notes": [_utf8(note) for note in pocket.notes],
    }
    return {key: value for key, value in members.items() if value}


def _uncut(uncut: Uncut) -> dict[str, object]:
    return {"ring": _ring(uncut.ring_mm), "area_mm2": _mm(uncut.area_mm2), "depth_mm": _mm(uncut.depth_mm)}


def _notch(notch: Notch) -> dict[str, object]:
    return {"centre": _pair(notch.centre_mm), "width_mm": _mm(notch.width_mm), "angle_deg": _fine(notch.angle_deg)}


def _failed(one: FailedItem) -> dict[str, object]:
    (reason,) = _findings([one.reason])
    return {"box_px": [_mm(value) for value in one.box_px], "reason": reason}


def _findings(findings: Sequence[Finding]) -> list[dict[str, object]]:
    return [
        {
            "code": finding.code,
            "message": _utf8(finding.message),
            "value": None if finding.value is None else _fine(finding.value),
            "limit": None if finding.limit is None else _fine(finding.limit),
            "place_px": None if finding.place_px is None else _pair(finding.place_px),
            "attention": finding.attention,
        }
        for finding in findings
    ]


def _curve(curve: Curve) -> dict[str, object]:
    if isinstance(curve, Circle):
        return {"type": "circle", "centre": _pair(curve.centre_mm), "radius": _mm(curve.radius_mm)}
    return _path(curve)


def _path(path: Path) -> dict[str, object]:
    points = [_pair(point) for point in path.points_mm.tolist()]
    return {"type": "path", "start": points[0], "segments": _segments([*points, points[0]], path.bulges)}


def _open_path(path: OpenPath) -> dict[str, object]:
    points = [_pair(point) for point in path.points_mm.tolist()]
    return {"type": "open-path", "start": points[0], "segments": _segments(points, path.bulges)}


def _segments(points: list[list[float]], bulges: FloatArray) -> list[dict[str, object]]:
    ends = zip(points[:-1], points[1:], bulges.tolist(), strict=True)
    return [_segment(start, end, bulge) for start, end, bulge in ends]


def _segment(start: list[float], end: list[float], bulge: float) -> dict[str, object]:
    sweep = _fine(math.degrees(4.0 * math.atan(abs(bulge))))
    if sweep == 0.0 or start == end:
        return {"type": "line", "to": end}
    return _arc(start, end, sweep, counter_clockwise=bulge > 0)


def _arc(start: list[float], end: list[float], sweep_deg: float, *, counter_clockwise: bool) -> dict[str, object]:
    centre, radius = arc_about(start, end, sweep_deg=sweep_deg, counter_clockwise=counter_clockwise)
    return {
        "type": "arc",
        "to": end,
        "centre": _pair(centre),
        "radius": _mm(radius),
        "direction": "counter-clockwise" if counter_clockwise else "clockwise",
        "sweep_deg": sweep_deg,
    }
