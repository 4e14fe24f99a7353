"""From the parsed JSON of an outline document to the records; the inverse of `digitize.document.document`."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

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
    Relief,
    Result,
    ScaleFacts,
    ShapeKind,
    Symmetry,
    Uncertainty,
    Uncut,
    frozen_array,
)
from .node import Node, NodeError

ARC_SLACK_MM = 0.001
SIZES: dict[ShapeKind, tuple[str, ...]] = {
    "circle": ("diameter",),
    "regular polygon": ("inscribed_diameter",),
    "slot": ("length", "width"),
    "rectangle": ("length", "width"),
    "rounded rectangle": ("length", "width", "corner_radius"),
}
WAYS = ("laser", "router", "knife", "print3d", "former")


def result_of(root: Node) -> tuple[str, Result]:
    """Return who wrote the document, and its result.

    Raises
    ------
    NodeError
        At the first value that the schema does not allow or that contradicts another.
    """
    at = root.keys(
        (
            "format", "version", "written_by", "mark", "units", "source", "scale", "face",
            "tolerance_mm", "options", "items", "warnings",
        ),
        optional=("failed",),
    )  # fmt: skip
    at["units"].choice(("mm",))
    _matching(at["mark"], r"DIGITIZE_[0-9A-F]{16}", "digitize's mark")
    source = at["source"].keys(("file", "sha256", "width_px", "height_px"))
    face = at["face"].keys(("imaged", "mirrored"))
    result = Result(
        source_name=source["file"].text(),
        source_sha256=_matching(source["sha256"], r"[0-9a-f]{64}", "64 hexadecimal digits"),
        width_px=source["width_px"].count(least=1),
        height_px=source["height_px"].count(least=1),
        scale=_scale(at["scale"]),
        items=tuple(_item(node) for node in at["items"].list()),
        tolerance_mm=at["tolerance_mm"].number(above=0),
        findings=_findings(at["warnings"]),
        face=face["imaged"].choice(("print", "back")),
        mirrored=face["mirrored"].flag(),
        options={key: value.text() for key, value in at["options"].entries()},
        failed=tuple(_failed(node) for node in at["failed"].list()) if "failed" in at else (),
    )
    return at["written_by"].text(), result


def _matching(node: Node, pattern: str, expected: str) -> str:
    if not re.fullmatch(pattern, node.text()):
        raise node.bad(expected)
    return node.text()


def _scale(node: Node) -> ScaleFacts:
    at = node.keys(("kind", "mm_per_px", "reference", "residual_mm", "measured", "skew_deg", "corners_px"))
    sizes = at["mm_per_px"].pair()
    if min(sizes) <= 0:
        raise at["mm_per_px"].bad("two numbers above 0")
    corners = None if at["corners_px"].value is None else at["corners_px"].points(least=4)
    if corners is not None and len(corners) != 4:
        raise at["corners_px"].bad("four points")
    return ScaleFacts(
        kind=at["kind"].choice(("flatbed", "camera")),
        mm_per_px=sizes,
        reference=at["reference"].text(),
        residual_mm=at["residual_mm"].number(least=0),
        measured=at["measured"].flag(),
        skew_deg=at["skew_deg"].number(),
        corners_px=corners,
    )


def _failed(node: Node) -> FailedItem:
    at = node.keys(("box_px", "reason"))
    sides = [side.number() for side in at["box_px"].list()]
    if len(sides) != 4:
        raise at["box_px"].bad("four numbers")
    left, top, right, bottom = sides
    return FailedItem((left, top, right, bottom), _finding(at["reason"]))


def _item(node: Node) -> Item:
    try:
        return _sound_item(node)
    except NodeError:
        raise
    except ValueError as error:  # what the record itself refuses
        raise NodeError(f"{node.where} cannot be: {error}") from error


def _sound_item(node: Node) -> Item:
    at = node.keys(
        (
            "name", "width_mm", "height_mm", "area_mm2", "perimeter_mm", "centroid_mm", "placement",
            "uncertainty_mm", "path", "pocket", "print_area", "warnings", "geometry",
        ),
        optional=("shapes", "symmetry", "print_offset_mm"),
    )  # fmt: skip
    placement = at["placement"].keys(("origin_px", "rotation_deg", "sheet_mm"))
    if placement["rotation_deg"].number() != 0:
        raise placement["rotation_deg"].bad("0 in version 1")
    paths = at["path"].keys(("exterior", "holes"))
    exterior, holes = _geometry(at["geometry"])
    hole_paths = tuple(_curve(hole) for hole in paths["holes"].list())
    if len(hole_paths) != len(holes):
        raise NodeError(f"{node.where} has {len(holes)} holes in its geometry and {len(hole_paths)} in its path")
    return Item(
        name=at["name"].text(),
        exterior_mm=exterior,
        holes_mm=holes,
        path=_curve(paths["exterior"]),
        hole_paths=hole_paths,
        sheet_mm=placement["sheet_mm"].pair(),
        origin_px=placement["origin_px"].pair(),
        width_mm=at["width_mm"].number(above=0),
        height_mm=at["height_mm"].number(above=0),
        area_mm2=at["area_mm2"].number(above=0),
        perimeter_mm=at["perimeter_mm"].number(above=0),
        centroid_mm=at["centroid_mm"].pair(),
        uncertainty=_uncertainty(at["uncertainty_mm"]),
        pocket=None if at["pocket"].value is None else _pocket(at["pocket"]),
        print_area=tuple(_curve(curve) for curve in at["print_area"].list()),
        print_offset_mm=at["print_offset_mm"].number() if "print_offset_mm" in at else None,
        findings=_findings(at["warnings"]),
        shapes=_shapes(at["shapes"], rings=1 + len(holes)) if "shapes" in at else (),
        symmetry=_symmetry(at["symmetry"]) if "symmetry" in at else None,
    )


def _shapes(node: Node, *, rings: int) -> tuple[IdealShape | None, ...]:
    members = node.list()
    if len(members) != rings:
        raise NodeError(f"{node.where} should hold one for each of {rings} rings, it holds {len(members)}")
    return tuple(None if member.value is None else _ideal_shape(member) for member in members)


def _ideal_shape(node: Node) -> IdealShape:
    at = node.keys(("kind", "sizes_mm", "sd_mm", "sides", "centre", "angle_deg", "deviation_mm", "written"))
    kind: ShapeKind = at["kind"].choice(("circle", "regular polygon", "slot", "rectangle", "rounded rectangle"))
    names = SIZES[kind]
    sizes, spreads = at["sizes_mm"].keys(names), at["sd_mm"].keys(names)
    return IdealShape(
        kind=kind,
        sizes_mm={name: sizes[name].number(least=0) for name in names},
        sd_mm={name: spreads[name].number(least=0) for name in names},
        sides=None if at["sides"].value is None else at["sides"].count(least=3),
        centre_mm=at["centre"].pair(),
        angle_deg=at["angle_deg"].number(),
        deviation_mm=at["deviation_mm"].number(least=0),
        written=at["written"].flag(),
    )


def _symmetry(node: Node) -> Symmetry:
    at = node.keys(("centre", "turns", "turn_deviation_mm", "axes", "with_holes", "moved_mm"))
    axes = [axis.keys(("angle_deg", "deviation_mm")) for axis in at["axes"].list()]
    return Symmetry(
        centre_mm=at["centre"].pair(),
        turns=at["turns"].count(least=1),
        turn_deviation_mm=at["turn_deviation_mm"].number(least=0),
        axes_deg=tuple(axis["angle_deg"].number() for axis in axes),
        axis_deviations_mm=tuple(axis["deviation_mm"].number(least=0) for axis in axes),
        with_holes=at["with_holes"].flag(),
        moved_mm=None if at["moved_mm"].value is None else at["moved_mm"].number(least=0),
    )


def _geometry(node: Node) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    at = node.keys(("type", "coordinates"))
    at["type"].choice(("Polygon",))
    rings = at["coordinates"].list(least=1)
    exterior, *holes = (_ring(ring, counter_clockwise=number == 0) for number, ring in enumerate(rings))
    return exterior, tuple(holes)


def _ring(node: Node, *, counter_clockwise: bool) -> FloatArray:
    closed = node.points(least=4)
    if not np.array_equal(closed[0], closed[-1]):
        raise NodeError(f"the ring {node.where} is open: its last point is not its first")
    x, y = closed[:, 0], closed[:, 1]
    twice_area = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    if (twice_area > 0) != counter_clockwise or twice_area == 0:
        turn = "counter-clockwise" if counter_clockwise else "clockwise"
        raise NodeError(f"the ring {node.where} does not run {turn}")
    return frozen_array(closed[:-1], columns=2)


def _uncertainty(node: Node) -> Uncertainty:
    at = node.keys(("profile_k2", "length_k2", "budget"))
    length = at["length_k2"].keys(("offset", "per_metre"))
    return Uncertainty(
        profile_k2_mm=at["profile_k2"].number(least=0),
        length_offset_k2_mm=length["offset"].number(least=0),
        length_per_metre_k2_mm=length["per_metre"].number(least=0),
        budget=tuple(_contribution(line) for line in at["budget"].list()),
    )


def _contribution(node: Node) -> Contribution:
    at = node.keys(("name", "profile", "length", "length_per_mm", "note"))
    return Contribution(
        name=at["name"].text(),
        profile_mm=at["profile"].number(least=0),
        length_mm=at["length"].number(least=0),
        length_per_mm=at["length_per_mm"].number(least=0),
        note=at["note"].text(),
    )


def _pocket(node: Node) -> Pocket:
    at = node.keys(
        ("clearance_mm", "kerf_mm", "cutter_mm", "chain", "path", "warnings"),
        optional=("way", "leads", "reliefs", "uncut", "notches", "pins", "plug_top", "plug_height_mm", "notes"),
    )

    def members(key: str) -> list[Node]:
        return at[key].list() if key in at else []

    return Pocket(
        curves=tuple(_curve(curve) for curve in at["path"].list()),
        chain=tuple(_link(link) for link in at["chain"].list()),
        clearance_mm=at["clearance_mm"].number(),
        kerf_mm=at["kerf_mm"].number(least=0),
        cutter_mm=at["cutter_mm"].number(least=0),
        findings=_findings(at["warnings"]),
        way=at["way"].choice(WAYS) if "way" in at else "",
        leads=tuple(_open_path(lead) for lead in members("leads")),
        reliefs=tuple(_relief(one) for one in members("reliefs")),
        uncut=tuple(_uncut(one) for one in members("uncut")),
        notches=tuple(_notch(one) for one in members("notches")),
        pins=tuple(_circle(pin) for pin in members("pins")),
        plug_top=tuple(_curve(curve) for curve in members("plug_top")),
        plug_height_mm=at["plug_height_mm"].number(least=0) if "plug_height_mm" in at else 0.0,
        notes=tuple(note.text() for note in members("notes")),
    )


def _link(node: Node) -> Allowance:
    at = node.keys(("name", "offset_mm"), optional=("scale",))
    scale = at["scale"].number(above=0) if "scale" in at else 1.0
    return Allowance(at["name"].text(), at["offset_mm"].number(), scale)


def _relief(node: Node) -> Relief:
    at = node.keys(("corner", "tip"))
    return Relief(at["corner"].pair(), at["tip"].pair())


def _uncut(node: Node) -> Uncut:
    at = node.keys(("ring", "area_mm2", "depth_mm"))
    ring = _ring(at["ring"], counter_clockwise=True)
    return Uncut(ring, at["area_mm2"].number(least=0), at["depth_mm"].number(least=0))


def _notch(node: Node) -> Notch:
    at = node.keys(("centre", "width_mm", "angle_deg"))
    return Notch(at["centre"].pair(), at["width_mm"].number(above=0), at["angle_deg"].number())


def _findings(node: Node) -> tuple[Finding, ...]:
    return tuple(_finding(member) for member in node.list())


def _finding(node: Node) -> Finding:
    at = node.keys(("code", "message", "value", "limit", "place_px", "attention"))
    return Finding(
        code=_matching(at["code"], r"[a-z0-9]+(-[a-z0-9]+)*", "lower-case words joined by hyphens"),
        message=at["message"].text(),
        value=None if at["value"].value is None else at["value"].number(),
        limit=None if at["limit"].value is None else at["limit"].number(),
        place_px=None if at["place_px"].value is None else at["place_px"].pair(),
        attention=at["attention"].flag(),
    )


def _curve(node: Node) -> Curve:
    kind = node.value.get("type") if isinstance(node.value, dict) else None
    if kind == "circle":
        return _circle(node)
    if kind == "path":
        return _path(node)
    raise node.bad("a path or a circle")


def _circle(node: Node) -> Circle:
    at = node.keys(("type", "centre", "radius"))
    at["type"].choice(("circle",))
    return Circle(at["centre"].pair(), at["radius"].number(above=0))


def _path(node: Node) -> Path:
    at = node.keys(("type", "start", "segments"))
    points, bulges = _segments(at["start"].pair(), at["segments"].list(least=2))
    if points[-1] != points[0]:
        raise NodeError(f"{node.where} is open: its last segment does not end at its start")
    return Path(frozen_array(points[:-1], columns=2), frozen_array(bulges))


def _open_path(node: Node) -> OpenPath:
    at = node.keys(("type", "start", "segments"))
    at["type"].choice(("open-path",))
    points, bulges = _segments(at["start"].pair(), at["segments"].list(least=1))
    return OpenPath(frozen_array(points, columns=2), frozen_array(bulges))


def _segments(start: tuple[float, float], nodes: list[Node]) -> tuple[list[tuple[float, float]], list[float]]:
    """Return every end of the segments, the start first, and their bulges."""
    points, bulges = [start], []
    for segment in nodes:
        end, bulge = _segment(segment, points[-1])
        points.append(end)
        bulges.append(bulge)
    return points, bulges


def _segment(node: Node, start: tuple[float, float]) -> tuple[tuple[float, float], float]:
    kind = node.value.get("type") if isinstance(node.value, dict) else None
    if kind == "line":
        return node.keys(("type", "to"))["to"].pair(), 0.0
    if kind != "arc":
        raise node.bad("a line or an arc")
    at = node.keys(("type", "to", "centre", "radius", "direction", "sweep_deg"))
    end, centre, radius = at["to"].pair(), at["centre"].pair(), at["radius"].number(above=0)
    sweep = at["sweep_deg"].number(above=0)
    if sweep >= 360:
        raise at["sweep_deg"].bad("an angle below 360")
    left = at["direction"].choice(("counter-clockwise", "clockwise")) == "counter-clockwise"
    meant_centre, meant_radius = arc_about(start, end, sweep_deg=sweep, counter_clockwise=left)
    slack = ARC_SLACK_MM + 1e-9 * radius
    if math.dist(centre, meant_centre) > slack or abs(radius - meant_radius) > slack:
        raise NodeError(f"{node.where} contradicts itself: centre and radius do not follow from its ends and sweep")
    return end, math.tan(math.radians(sweep) / 4) * (1 if left else -1)


def arc_about(
    start: Sequence[float], end: Sequence[float], *, sweep_deg: float, counter_clockwise: bool
) -> tuple[tuple[float, float], float]:
    """Return centre and radius of the arc from `start` to `end` that turns by `sweep_deg` (0 to 360).

    The centre lies chord / 2 / tan(sweep / 2) to the left of the chord's middle, to the right if clockwise.
    """
    half, chord = math.radians(sweep_deg) / 2.0, math.dist(start, end)
    share = (1.0 if counter_clockwise else -1.0) / (2.0 * math.tan(half))
    (x0, y0), (x1, y1) = start, end
    centre = ((x0 + x1) / 2.0 - (y1 - y0) * share, (y0 + y1) / 2.0 + (x1 - x0) * share)
    return centre, chord / (2.0 * math.sin(half))
