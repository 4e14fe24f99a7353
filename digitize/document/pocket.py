"""The path to cut, and how it came about, in the outline document."""

from __future__ import annotations

from typing import Annotated, Literal, cast

from msgspec import UNSET, UnsetType

from .. import records
from .curves import Curve, OpenPath, Ring, curve_records, curves_of, ring_of, ring_record
from .form import Finding, NotNegative, Pair, Part, Positive, about, fine, mm, pair, utf8

Way = Literal["laser", "router", "knife", "print3d", "former"]


class Allowance(Part, frozen=True, kw_only=True):
    """One link of the chain from the item to the path."""

    name: str
    offset_mm: Annotated[float, about("Positive outward.")]
    scale: Annotated[
        Positive | UnsetType,
        about("For a link that is no offset: everything before it times this, about the middle of the item's box."),
    ] = UNSET

    @classmethod
    def of(cls, link: records.Allowance) -> Allowance:
        """Return the part of a record."""
        scale = UNSET if link.scale == 1.0 else fine(link.scale)
        return cls(name=utf8(link.name), offset_mm=fine(link.offset_mm), scale=scale)

    def record(self) -> records.Allowance:
        """Return the record of the part."""
        return records.Allowance(self.name, self.offset_mm, 1.0 if self.scale is UNSET else self.scale)


class Relief(Part, frozen=True, kw_only=True):
    """Where the path runs out to a tip and back, to clear a corner."""

    corner: Pair
    tip: Pair


class Uncut(Part, frozen=True, kw_only=True):
    """What the cutter leaves of the pocket."""

    ring: Ring
    area_mm2: NotNegative
    depth_mm: NotNegative


class Notch(Part, frozen=True, kw_only=True):
    """A finger notch."""

    centre: Pair
    width_mm: Positive
    angle_deg: Annotated[float, about("From the item's middle, counter-clockwise from +x.")]


class Pin(Part, frozen=True, kw_only=True):
    """A pin to be made and set in the base, through a hole of the item."""

    type: Literal["circle"]  # not a tag: msgspec lets a lone tag be left out
    centre: Pair
    radius: Positive


class Pocket(Part, frozen=True, kw_only=True):
    """The path to cut. What only a named way of cutting adds is left out where there is none of it."""

    clearance_mm: float
    kerf_mm: NotNegative
    cutter_mm: Annotated[NotNegative, about("Diameter.")]
    chain: Annotated[list[Allowance], about("From the item to the path, each allowance once.")]
    path: Annotated[list[Curve], about("What to cut.")]
    way: Annotated[Way | UnsetType, about("Of cutting; only if one was named.")] = UNSET
    leads: Annotated[list[OpenPath], about("Each ends where a path begins, on the waste side.")] | UnsetType = UNSET
    reliefs: list[Relief] | UnsetType = UNSET
    uncut: list[Uncut] | UnsetType = UNSET
    notches: Annotated[list[Notch], about("The path runs around them.")] | UnsetType = UNSET
    pins: list[Pin] | UnsetType = UNSET
    plug_top: (
        Annotated[list[Curve], about("Edge of a former's plug at its upper face; the path is that of its foot.")]
        | UnsetType
    ) = UNSET
    plug_height_mm: Annotated[NotNegative | UnsetType, about("From the plug's foot to its upper face.")] = UNSET
    notes: Annotated[list[str], about("What to know before cutting.")] | UnsetType = UNSET
    warnings: list[Finding]

    @classmethod
    def of(cls, pocket: records.Pocket) -> Pocket:
        """Return the part of a record."""
        uncut = [
            Uncut(ring=ring_of(one.ring_mm), area_mm2=mm(one.area_mm2), depth_mm=mm(one.depth_mm))
            for one in pocket.uncut
        ]
        notches = [
            Notch(centre=pair(one.centre_mm), width_mm=mm(one.width_mm), angle_deg=fine(one.angle_deg))
            for one in pocket.notches
        ]
        pins = [Pin(type="circle", centre=pair(pin.centre_mm), radius=mm(pin.radius_mm)) for pin in pocket.pins]
        return cls(
            clearance_mm=fine(pocket.clearance_mm),
            kerf_mm=fine(pocket.kerf_mm),
            cutter_mm=fine(pocket.cutter_mm),
            chain=[Allowance.of(link) for link in pocket.chain],
            path=curves_of(pocket.curves),
            way=cast(Way, pocket.way) or UNSET,
            leads=[OpenPath.of(lead) for lead in pocket.leads] or UNSET,
            reliefs=[Relief(corner=pair(one.corner_mm), tip=pair(one.tip_mm)) for one in pocket.reliefs] or UNSET,
            uncut=uncut or UNSET,
            notches=notches or UNSET,
            pins=pins or UNSET,
            plug_top=curves_of(pocket.plug_top) or UNSET,
            plug_height_mm=mm(pocket.plug_height_mm) or UNSET,
            notes=[utf8(note) for note in pocket.notes] or UNSET,
            warnings=[Finding.of(finding) for finding in pocket.findings],
        )

    def record(self, at: str) -> records.Pocket:
        """Return the record of the part; `UnsoundError` if a curve or a ring of it is."""
        return records.Pocket(
            curves=curve_records(self.path, f"{at}.path"),
            chain=tuple(link.record() for link in self.chain),
            clearance_mm=self.clearance_mm,
            kerf_mm=self.kerf_mm,
            cutter_mm=self.cutter_mm,
            findings=tuple(finding.record() for finding in self.warnings),
            way=self.way or "",
            leads=tuple(lead.record(f"{at}.leads[{n}]") for n, lead in enumerate(self.leads or ())),
            reliefs=tuple(records.Relief(one.corner, one.tip) for one in self.reliefs or ()),
            uncut=tuple(
                records.Uncut(
                    ring_record(one.ring, f"{at}.uncut[{n}].ring", counter_clockwise=True), one.area_mm2, one.depth_mm
                )
                for n, one in enumerate(self.uncut or ())
            ),
            notches=tuple(records.Notch(one.centre, one.width_mm, one.angle_deg) for one in self.notches or ()),
            pins=tuple(records.Circle(pin.centre, pin.radius) for pin in self.pins or ()),
            plug_top=curve_records(self.plug_top or (), f"{at}.plug_top"),
            plug_height_mm=self.plug_height_mm or 0.0,
            notes=tuple(self.notes or ()),
        )
