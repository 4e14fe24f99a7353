"""What was recognised of an item's rings in the outline document: ideal shapes and symmetry."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from msgspec import Meta, field

from .. import records
from .form import FINE, MM, WHOLE, Count, NotNegative, Pair, Part, UnsoundError, about, fine, mm, part_of, record_of

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

    made_of = records.IdealShape
    kind: records.ShapeKind
    sizes_mm: Annotated[
        Sizes,
        MM,
        about(
            "diameter; or inscribed_diameter; or length and width, the length being the longer; or these and "
            "corner_radius."
        ),
    ]
    sd_mm: Annotated[
        Sizes, FINE, about("Standard deviations of the fit, same names. The uncertainty of the scale is not in them.")
    ]
    sides: Annotated[Annotated[float, Meta(ge=3, multiple_of=1, extra=WHOLE)] | None, about("Of a regular polygon.")]
    centre_mm: Pair = field(name="centre")
    angle_deg: Annotated[
        float,
        FINE,
        about(
            "Of the longer side, or of the way from the centre to a side of a regular polygon, from +x; 0 for a circle."
        ),
    ]
    deviation_mm: Annotated[NotNegative, MM, about("Largest distance of a point of the measured ring from the shape.")]
    written: Annotated[bool, about("Whether the ring's path is this shape.")]

    def record(self, at: str) -> Any:
        """Return the record of the part; `UnsoundError` if its sizes are those of another kind."""
        for name, sizes in (("sizes_mm", self.sizes_mm), ("sd_mm", self.sd_mm)):
            for size in sorted({*sizes} ^ {*SIZES[self.kind]}):
                what = "is not one of" if size in sizes else "is missing among"
                raise UnsoundError(f"{at}.{name}: '{size}' {what} the sizes of a {self.kind}")
        return record_of(self, at)


class Axis(Part, frozen=True, kw_only=True):
    """A mirror axis through the centre."""

    angle_deg: Annotated[float, about("From +x, 0 to 180.")]
    deviation_mm: Annotated[NotNegative, about("Largest distance of the exterior from itself after mirroring.")]


class Symmetry(Part, frozen=True, kw_only=True):
    """What leaves the exterior where it is, within twice the tolerance."""

    made_of = records.Symmetry
    centre_mm: Pair = field(name="centre")
    turns: Annotated[Count, about("Rotations by 360 / turns degrees; 1 for none.")]
    turn_deviation_mm: Annotated[
        NotNegative, MM, about("Largest distance of the exterior from itself after one such rotation.")
    ]
    axes: list[Axis]
    with_holes: Annotated[bool, about("Whether all of it holds for the holes too.")]
    moved_mm: Annotated[
        Annotated[NotNegative, MM] | None,
        about("Largest distance of the path from the measured edge, if the path was made symmetric."),
    ]

    @classmethod
    def of(cls, record: records.Symmetry) -> Symmetry:
        """Return the part of a record."""
        axes = zip(record.axes_deg, record.axis_deviations_mm, strict=True)
        return part_of(cls, record, axes=[Axis(angle_deg=fine(angle), deviation_mm=mm(away)) for angle, away in axes])

    def record(self, at: str) -> Any:
        """Return the record of the part."""
        angles, deviations = [one.angle_deg for one in self.axes], [one.deviation_mm for one in self.axes]
        return record_of(self, at, axes_deg=tuple(angles), axis_deviations_mm=tuple(deviations))
