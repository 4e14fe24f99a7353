"""What was recognised of an item's rings in the outline document: ideal shapes and symmetry."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from .. import records
from .form import Count, NotNegative, Pair, Part, UnsoundError, about, fine, mm, pair

Size = Literal["diameter", "inscribed_diameter", "length", "width", "corner_radius"]
SIZES: dict[records.ShapeKind, tuple[Size, ...]] = {
    "circle": ("diameter",),
    "regular polygon": ("inscribed_diameter",),
    "slot": ("length", "width"),
    "rectangle": ("length", "width"),
    "rounded rectangle": ("length", "width", "corner_radius"),
}
Sizes = Annotated[
    dict[Size, NotNegative], Meta(min_length=1, extra_json_schema={"propertyNames": {"enum": [*Size.__args__]}})
]


class IdealShape(Part, frozen=True, kw_only=True):
    """An ideal shape that explains a ring of the geometry within the tolerance."""

    kind: records.ShapeKind
    sizes_mm: Annotated[
        Sizes,
        about(
            "diameter; or inscribed_diameter; or length and width, the length being the longer; or these and "
            "corner_radius."
        ),
    ]
    sd_mm: Annotated[
        Sizes, about("Standard deviations of the fit, same names. The uncertainty of the scale is not in them.")
    ]
    sides: Annotated[Annotated[float, Meta(ge=3, multiple_of=1)] | None, about("Of a regular polygon.")]
    centre: Pair
    angle_deg: Annotated[
        float,
        about(
            "Of the longer side, or of the way from the centre to a side of a regular polygon, from +x; 0 for a circle."
        ),
    ]
    deviation_mm: Annotated[NotNegative, about("Largest distance of a point of the measured ring from the shape.")]
    written: Annotated[bool, about("Whether the ring's path is this shape.")]

    @classmethod
    def of(cls, shape: records.IdealShape) -> IdealShape:
        """Return the part of a record."""
        return cls(
            kind=shape.kind,
            sizes_mm={name: mm(shape.sizes_mm[name]) for name in SIZES[shape.kind]},
            sd_mm={name: fine(shape.sd_mm[name]) for name in SIZES[shape.kind]},
            sides=shape.sides,
            centre=pair(shape.centre_mm),
            angle_deg=fine(shape.angle_deg),
            deviation_mm=mm(shape.deviation_mm),
            written=shape.written,
        )

    def record(self, at: str) -> records.IdealShape:
        """Return the record of the part; `UnsoundError` if its sizes are those of another kind."""
        for name, sizes in (("sizes_mm", self.sizes_mm), ("sd_mm", self.sd_mm)):
            for size in sorted({*sizes} ^ {*SIZES[self.kind]}):
                what = "is not one of" if size in sizes else "is missing among"
                raise UnsoundError(f"{at}.{name}: '{size}' {what} the sizes of a {self.kind}")
        return records.IdealShape(
            kind=self.kind,
            sizes_mm={name: self.sizes_mm[name] for name in SIZES[self.kind]},
            sd_mm={name: self.sd_mm[name] for name in SIZES[self.kind]},
            sides=None if self.sides is None else int(self.sides),
            centre_mm=self.centre,
            angle_deg=self.angle_deg,
            deviation_mm=self.deviation_mm,
            written=self.written,
        )


class Axis(Part, frozen=True, kw_only=True):
    """A mirror axis through the centre."""

    angle_deg: Annotated[float, about("From +x, 0 to 180.")]
    deviation_mm: Annotated[NotNegative, about("Largest distance of the exterior from itself after mirroring.")]


class Symmetry(Part, frozen=True, kw_only=True):
    """What leaves the exterior where it is, within twice the tolerance."""

    centre: Pair
    turns: Annotated[Count, about("Rotations by 360 / turns degrees; 1 for none.")]
    turn_deviation_mm: Annotated[
        NotNegative, about("Largest distance of the exterior from itself after one such rotation.")
    ]
    axes: list[Axis]
    with_holes: Annotated[bool, about("Whether all of it holds for the holes too.")]
    moved_mm: Annotated[
        NotNegative | None,
        about("Largest distance of the path from the measured edge, if the path was made symmetric."),
    ]

    @classmethod
    def of(cls, symmetry: records.Symmetry) -> Symmetry:
        """Return the part of a record."""
        axes = zip(symmetry.axes_deg, symmetry.axis_deviations_mm, strict=True)
        return cls(
            centre=pair(symmetry.centre_mm),
            turns=symmetry.turns,
            turn_deviation_mm=mm(symmetry.turn_deviation_mm),
            axes=[Axis(angle_deg=fine(angle), deviation_mm=mm(away)) for angle, away in axes],
            with_holes=symmetry.with_holes,
            moved_mm=None if symmetry.moved_mm is None else mm(symmetry.moved_mm),
        )

    def record(self) -> records.Symmetry:
        """Return the record of the part."""
        return records.Symmetry(
            centre_mm=self.centre,
            turns=int(self.turns),
            turn_deviation_mm=self.turn_deviation_mm,
            axes_deg=tuple(axis.angle_deg for axis in self.axes),
            axis_deviations_mm=tuple(axis.deviation_mm for axis in self.axes),
            with_holes=self.with_holes,
            moved_mm=self.moved_mm,
        )
