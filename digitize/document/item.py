"""One item of the outline document: its sizes, how sure they are, its outline as lines and arcs and as a dense ring."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from .. import records
from .curves import Curve, Ring, curve_records, curves_of, ring_of, ring_record
from .form import Finding, NotNegative, Pair, Part, Positive, UnsoundError, about, fine, mm, pair, utf8
from .pocket import Pocket
from .regular import IdealShape, Symmetry


class Placement(Part, frozen=True, kw_only=True):
    """Where the item lay."""

    origin_px: Annotated[
        Pair, about("Where the item's origin lies in the picture; (0, 0) is the centre of the top-left pixel, y down.")
    ]
    rotation_deg: Annotated[
        float,
        Meta(ge=0, le=0, description="Always 0 in version 1: the item stands as it lay in the picture."),
    ]
    sheet_mm: Annotated[
        Pair,
        about(
            "Where the item's origin lies in the sheet, whose origin is the lower-left corner of the box around all "
            "items of the picture."
        ),
    ]


class Expanded(Part, frozen=True, kw_only=True):
    """Expanded uncertainty (k = 2) of a length."""

    offset: Annotated[NotNegative, about("mm")]
    per_metre: Annotated[NotNegative, about("mm for each metre of length")]


class Contribution(Part, frozen=True, kw_only=True):
    """A line of the budget: standard uncertainties (k = 1)."""

    name: str
    profile: NotNegative
    length: NotNegative
    length_per_mm: NotNegative
    note: str

    @classmethod
    def of(cls, line: records.Contribution) -> Contribution:
        """Return the part of a record."""
        numbers = {"profile": line.profile_mm, "length": line.length_mm, "length_per_mm": line.length_per_mm}
        return cls(name=utf8(line.name), note=utf8(line.note), **{name: fine(one) for name, one in numbers.items()})

    def record(self) -> records.Contribution:
        """Return the record of the part."""
        return records.Contribution(self.name, self.profile, self.length, self.length_per_mm, self.note)


class Uncertainty(Part, frozen=True, kw_only=True):
    """After JCGM 100. The lines of the budget are standard uncertainties (k = 1)."""

    profile_k2: Annotated[NotNegative, about("Expanded uncertainty (k = 2) of the place of an edge point, mm.")]
    length_k2: Expanded
    budget: list[Contribution]

    @classmethod
    def of(cls, stated: records.Uncertainty) -> Uncertainty:
        """Return the part of a record."""
        offset, share = fine(stated.length_offset_k2_mm), fine(stated.length_per_metre_k2_mm)
        return cls(
            profile_k2=fine(stated.profile_k2_mm),
            length_k2=Expanded(offset=offset, per_metre=share),
            budget=[Contribution.of(line) for line in stated.budget],
        )

    def record(self) -> records.Uncertainty:
        """Return the record of the part."""
        budget = tuple(line.record() for line in self.budget)
        return records.Uncertainty(self.profile_k2, self.length_k2.offset, self.length_k2.per_metre, budget)


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

    type: Literal["Polygon"]
    coordinates: Annotated[list[Ring], Meta(min_length=1)]


class Item(Part, frozen=True, kw_only=True):
    """One item; coordinates in its own frame."""

    name: str
    width_mm: Annotated[Positive, about("Of the bounding box, along x.")]
    height_mm: Annotated[Positive, about("Of the bounding box, along y.")]
    area_mm2: Annotated[Positive, about("Holes taken out.")]
    perimeter_mm: Annotated[Positive, about("Of the exterior.")]
    centroid_mm: Pair
    placement: Placement
    uncertainty_mm: Uncertainty
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
        float | UnsetType,
        about(
            "How far the edge of the print area lies from the item's: outward if positive (bleed), also into holes; "
            "inward if negative. Absent without a print area."
        ),
    ] = UNSET
    warnings: list[Finding]
    geometry: Geometry

    @classmethod
    def of(cls, item: records.Item) -> Item:
        """Return the part of a record."""
        (exterior,) = curves_of([item.path])
        rings = [ring_of(ring) for ring in (item.exterior_mm, *item.holes_mm)]
        shapes = [None if shape is None else IdealShape.of(shape) for shape in item.shapes]
        return cls(
            name=utf8(item.name),
            width_mm=mm(item.width_mm),
            height_mm=mm(item.height_mm),
            area_mm2=mm(item.area_mm2),
            perimeter_mm=mm(item.perimeter_mm),
            centroid_mm=pair(item.centroid_mm),
            placement=Placement(origin_px=pair(item.origin_px), rotation_deg=0.0, sheet_mm=pair(item.sheet_mm)),
            uncertainty_mm=Uncertainty.of(item.uncertainty),
            path=Paths(exterior=exterior, holes=curves_of(item.hole_paths)),
            shapes=shapes if any(shapes) else UNSET,
            symmetry=UNSET if item.symmetry is None else Symmetry.of(item.symmetry),
            pocket=None if item.pocket is None else Pocket.of(item.pocket),
            print_area=curves_of(item.print_area),
            print_offset_mm=UNSET if item.print_offset_mm is None else fine(item.print_offset_mm),
            warnings=[Finding.of(finding) for finding in item.findings],
            geometry=Geometry(type="Polygon", coordinates=rings),
        )

    def record(self, at: str) -> records.Item:
        """Return the record of the part; `UnsoundError` where its parts contradict one another."""
        exterior, *holes = (
            ring_record(ring, f"{at}.geometry.coordinates[{n}]", counter_clockwise=n == 0)
            for n, ring in enumerate(self.geometry.coordinates)
        )
        if len(self.path.holes) != len(holes):
            raise UnsoundError(f"{at} has {len(holes)} holes in its geometry and {len(self.path.holes)} in its path")
        return records.Item(
            name=self.name,
            exterior_mm=exterior,
            holes_mm=tuple(holes),
            path=self.path.exterior.record(f"{at}.path.exterior"),
            hole_paths=curve_records(self.path.holes, f"{at}.path.holes"),
            sheet_mm=self.placement.sheet_mm,
            origin_px=self.placement.origin_px,
            width_mm=self.width_mm,
            height_mm=self.height_mm,
            area_mm2=self.area_mm2,
            perimeter_mm=self.perimeter_mm,
            centroid_mm=self.centroid_mm,
            uncertainty=self.uncertainty_mm.record(),
            pocket=None if self.pocket is None else self.pocket.record(f"{at}.pocket"),
            print_area=curve_records(self.print_area, f"{at}.print_area"),
            print_offset_mm=None if self.print_offset_mm is UNSET else self.print_offset_mm,
            findings=tuple(finding.record() for finding in self.warnings),
            shapes=self._shape_records(f"{at}.shapes", rings=1 + len(holes)),
            symmetry=None if self.symmetry is UNSET else self.symmetry.record(),
        )

    def _shape_records(self, at: str, *, rings: int) -> tuple[records.IdealShape | None, ...]:
        if self.shapes is UNSET:
            return ()
        if len(self.shapes) != rings:
            raise UnsoundError(f"{at} should hold one for each of {rings} rings, it holds {len(self.shapes)}")
        return tuple(None if one is None else one.record(f"{at}[{n}]") for n, one in enumerate(self.shapes))
