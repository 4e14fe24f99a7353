"""One item of the outline document: its sizes, how sure they are, its outline as lines and arcs and as a dense ring."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from msgspec import UNSET, Meta, UnsetType, field

from .. import records
from .curves import Curve, OpenLine, Ring, curve_of, line_record, ring_of, ring_record
from .form import (
    FINE,
    MM,
    Finding,
    NotNegative,
    Pair,
    Part,
    Positive,
    UnsoundError,
    about,
    fine,
    pair,
    part_of,
    record_of,
)
from .pocket import Pocket
from .regular import IdealShape, Symmetry


class Placement(Part, frozen=True, kw_only=True):
    """Where the item lay."""

    origin_px: Annotated[
        Pair, about("Where the item's origin lies in the picture; (0, 0) is the centre of the top-left pixel, y down.")
    ]
    rotation_deg: Annotated[
        float,
        Meta(
            ge=-45,
            le=45,
            extra=FINE.extra,
            description="How far the item's frame is turned, counter-clockwise, from how the item lay; 0 unless it was "
            "set upright. Turned back by it about the origin, the frame's places lie as they lay in the picture.",
        ),
    ]
    sheet_mm: Annotated[
        Pair,
        about(
            "Where the item's origin lies in the sheet, whose origin is the lower-left corner of the box around all "
            "items as they lay in the picture; set upright, they lie in rows where they would come too close."
        ),
    ]


class Expanded(Part, frozen=True, kw_only=True):
    """Expanded uncertainty (k = 2) of a length."""

    offset: Annotated[NotNegative, about("mm")]
    per_metre: Annotated[NotNegative, about("mm for each metre of length")]


class Contribution(Part, frozen=True, kw_only=True):
    """A line of the budget: standard uncertainties (k = 1)."""

    made_of = records.Contribution
    name: str
    profile_mm: Annotated[NotNegative, FINE] = field(name="profile")
    length_mm: Annotated[NotNegative, FINE] = field(name="length")
    length_per_mm: Annotated[NotNegative, FINE]
    note: str
    acts: Annotated[
        Literal["with length", "all round", "side by side", "point by point"] | UnsetType,
        about(
            "How far along the edge the error is one and the same: it grows with the length, moves all edges outward "
            "or inward alike, each side by its own, or each point by its own. Lines are independent of one another."
        ),
    ] = UNSET


class Uncertainty(Part, frozen=True, kw_only=True):
    """After JCGM 100. The lines of the budget are standard uncertainties (k = 1)."""

    made_of = records.Uncertainty
    profile_k2_mm: Annotated[
        NotNegative, FINE, about("Expanded uncertainty (k = 2) of the place of an edge point, mm.")
    ] = field(name="profile_k2")
    length_k2: Expanded
    budget: list[Contribution]

    @classmethod
    def of(cls, record: records.Uncertainty) -> Uncertainty:
        """Return the part of a record."""
        offset, share = fine(record.length_offset_k2_mm), fine(record.length_per_metre_k2_mm)
        return part_of(cls, record, length_k2=Expanded(offset=offset, per_metre=share))

    def record(self, at: str) -> Any:
        """Return the record of the part."""
        offset, share = self.length_k2.offset, self.length_k2.per_metre
        return record_of(self, at, length_offset_k2_mm=offset, length_per_metre_k2_mm=share)


class Paths(Part, frozen=True, kw_only=True):
    """The outline as lines and arcs within the tolerance.

    Exterior counter-clockwise, one curve for each hole of the geometry, in its order, clockwise (a circle has no
    direction).
    """

    exterior: Curve
    holes: list[Curve]


class Geometry(Part, frozen=True, kw_only=True):
    """The dense measured edge as a GeoJSON Polygon in mm (not in degrees).

    Exterior counter-clockwise, holes clockwise, after RFC 7946, section 3.1.6.
    """

    of_rings = True
    type: Literal["Polygon"]
    coordinates: Annotated[list[Ring], Meta(min_length=1)]


class Calipers(Part, frozen=True, kw_only=True):
    """What calipers read of the exterior, the jaws turned until they read least; of a round item its diameter twice."""

    made_of = records.Calipers
    length_mm: Annotated[Positive, MM, about("Extent along the jaws.")]
    width_mm: Annotated[Positive, MM, about("Distance of the jaws, the least of all directions.")]
    direction_deg: Annotated[
        float,
        Meta(
            ge=0,
            lt=180,
            extra=FINE.extra,
            description="Of the length, counter-clockwise from the frame's x; 0 of a round item.",
        ),
    ]
    length_k2_mm: Annotated[NotNegative, FINE, about("Expanded uncertainty (k = 2).")]
    width_k2_mm: Annotated[NotNegative, FINE, about("Expanded uncertainty (k = 2).")]

    @classmethod
    def of(cls, record: records.Calipers) -> Calipers:
        """Return the part of a record; a direction just below 180 may be rounded to it, which is 0."""
        return part_of(cls, record, direction_deg=fine(record.direction_deg) % 180.0)


class LeastSure(Part, frozen=True, kw_only=True):
    """A place where the edge is least sure."""

    made_of = records.LeastSure
    at_px: Pair
    k2_mm: Annotated[NotNegative, FINE, about("Expanded uncertainty (k = 2) there, mm; its random part only.")] = field(
        name="k2"
    )


class Item(Part, frozen=True, kw_only=True):
    """One item; coordinates in its own frame."""

    made_of = records.Item
    name: str
    width_mm: Annotated[Positive, MM, about("Of the bounding box, along x.")]
    height_mm: Annotated[Positive, MM, about("Of the bounding box, along y.")]
    calipers: Calipers | UnsetType = UNSET
    area_mm2: Annotated[Positive, MM, about("Holes taken out.")]
    perimeter_mm: Annotated[Positive, MM, about("Of the exterior.")]
    centroid_mm: Pair
    placement: Placement
    uncertainty: Uncertainty = field(name="uncertainty_mm")
    path: Paths
    shapes: (
        Annotated[
            list[IdealShape | None],
            Meta(
                min_length=1,
                description="One for each ring of the geometry, in its order; null where a ring is no ideal shape. "
                "Absent where none is.",
            ),
        ]
        | UnsetType
    ) = UNSET
    symmetry: Symmetry | UnsetType = UNSET
    pocket: Pocket | None
    print_area: Annotated[list[Curve], about("Where artwork goes.")]
    print_offset_mm: Annotated[
        Annotated[float, FINE] | UnsetType,
        about(
            "How far the edge of the print area lies from the item's: outward if positive (bleed), also into holes; "
            "inward if negative. Absent without a print area."
        ),
    ] = UNSET
    by_hand_mm: (
        Annotated[
            list[OpenLine],
            Meta(
                min_length=1,
                description="Stretches of the geometry that a hand set, as open lines. Absent where there are none.",
            ),
        ]
        | UnsetType
    ) = field(name="by_hand", default=UNSET)
    other_px: (
        Annotated[
            list[OpenLine],
            Meta(
                min_length=1,
                description="Where another border may be meant: open lines in the picture, px. Absent if nowhere.",
            ),
        ]
        | UnsetType
    ) = field(name="other_border_px", default=UNSET)
    least_sure: (
        Annotated[
            list[list[LeastSure]],
            Meta(
                min_length=1,
                description="Where the edge in the picture is least sure: of each ring a few places, the least sure "
                "first. Absent where the picture is not known.",
            ),
        ]
        | UnsetType
    ) = UNSET
    findings: list[Finding] = field(name="warnings")
    geometry: Geometry

    @classmethod
    def of(cls, record: records.Item) -> Item:
        """Return the part of a record."""
        rings = [ring_of(ring) for ring in (record.exterior_mm, *record.holes_mm)]
        own: dict[str, Any] = {} if any(record.shapes) else {"shapes": UNSET}
        own["by_hand_mm"], own["other_px"] = _lines(record.by_hand_mm), _lines(record.other_px)
        return part_of(
            cls,
            record,
            placement=Placement(
                origin_px=pair(record.origin_px),
                rotation_deg=fine(record.rotation_deg),
                sheet_mm=pair(record.sheet_mm),
            ),
            path=Paths(exterior=curve_of(record.path), holes=[curve_of(hole) for hole in record.hole_paths]),
            geometry=Geometry(type="Polygon", coordinates=rings),
            **own,
        )

    def record(self, at: str) -> Any:
        """Return the record of the part; `UnsoundError` where its parts contradict one another."""
        exterior, *holes = (
            ring_record(ring, f"{at}.geometry.coordinates[{n}]", counter_clockwise=n == 0)
            for n, ring in enumerate(self.geometry.coordinates)
        )
        paths = self.path.holes
        if len(paths) != len(holes):
            raise UnsoundError(f"{at} has {len(holes)} holes in its geometry and {len(paths)} in its path")
        if self.shapes is not UNSET and len(self.shapes) != 1 + len(holes):
            rings = 1 + len(holes)
            raise UnsoundError(f"{at}.shapes should hold one for each of {rings} rings, it holds {len(self.shapes)}")
        return record_of(
            self,
            at,
            exterior_mm=exterior,
            holes_mm=tuple(holes),
            path=self.path.exterior.record(f"{at}.path.exterior"),
            hole_paths=tuple(hole.record(f"{at}.path.holes[{n}]") for n, hole in enumerate(paths)),
            sheet_mm=self.placement.sheet_mm,
            origin_px=self.placement.origin_px,
            rotation_deg=self.placement.rotation_deg,
            by_hand_mm=_line_records(self.by_hand_mm),
            other_px=_line_records(self.other_px),
        )


def _lines(lines: tuple[records.FloatArray, ...]) -> list[OpenLine] | UnsetType:
    return [[pair(place) for place in line.tolist()] for line in lines] or UNSET


def _line_records(lines: list[OpenLine] | UnsetType) -> tuple[records.FloatArray, ...]:
    return () if lines is UNSET else tuple(map(line_record, lines))
