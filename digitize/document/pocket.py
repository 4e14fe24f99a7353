"""The path to cut, and how it came about, in the outline document."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from msgspec import UNSET, UnsetType, field

from .. import records
from .curves import Curve, OpenPath, Ring, ring_of, ring_record
from .form import FINE, MM, Finding, NotNegative, Pair, Part, Positive, about, part_of, record_of

Way = Literal["laser", "router", "knife", "print3d", "former"]


class Allowance(Part, frozen=True, kw_only=True):
    """One link of the chain from the item to the path."""

    made_of = records.Allowance
    name: str
    offset_mm: Annotated[float, FINE, about("Positive outward.")]
    scale: Annotated[
        Annotated[Positive, FINE] | UnsetType,
        about("For a link that is no offset: everything before it times this, about the middle of the item's box."),
    ] = UNSET


class Relief(Part, frozen=True, kw_only=True):
    """Where the path runs out to a tip and back, to clear a corner."""

    made_of = records.Relief
    corner_mm: Pair = field(name="corner")
    tip_mm: Pair = field(name="tip")


class Uncut(Part, frozen=True, kw_only=True):
    """What the cutter leaves of the pocket."""

    made_of = records.Uncut
    ring_mm: Ring = field(name="ring")
    area_mm2: Annotated[NotNegative, MM]
    depth_mm: Annotated[NotNegative, MM]

    @classmethod
    def of(cls, record: records.Uncut) -> Uncut:
        """Return the part of a record."""
        return part_of(cls, record, ring_mm=ring_of(record.ring_mm))

    def record(self, at: str) -> Any:
        """Return the record of the part."""
        return record_of(self, at, ring_mm=ring_record(self.ring_mm, f"{at}.ring", counter_clockwise=True))


class Notch(Part, frozen=True, kw_only=True):
    """A finger notch."""

    made_of = records.Notch
    centre_mm: Pair = field(name="centre")
    width_mm: Annotated[Positive, MM]
    angle_deg: Annotated[float, FINE, about("From the item's middle, counter-clockwise from +x.")]


class Pin(Part, frozen=True, kw_only=True):
    """A pin to be made and set in the base, through a hole of the item."""

    made_of = records.Circle
    type: Literal["circle"]  # not a tag: msgspec lets a lone tag be left out
    centre_mm: Pair = field(name="centre")
    radius_mm: Annotated[Positive, MM] = field(name="radius")

    @classmethod
    def of(cls, record: records.Circle) -> Pin:
        """Return the part of a record."""
        return part_of(cls, record, type="circle")


class Pocket(Part, frozen=True, kw_only=True):
    """The path to cut. What only a named way of cutting adds is left out where there is none of it."""

    made_of = records.Pocket
    clearance_mm: Annotated[float, FINE]
    kerf_mm: Annotated[NotNegative, FINE]
    cutter_mm: Annotated[NotNegative, FINE, about("Diameter.")]
    chain: Annotated[list[Allowance], about("From the item to the path, each allowance once.")]
    curves: Annotated[list[Curve], about("What to cut.")] = field(name="path")
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
    plug_height_mm: Annotated[
        Annotated[NotNegative, MM] | UnsetType, about("From the plug's foot to its upper face.")
    ] = UNSET
    wall: (
        Annotated[
            list[Curve],
            about("Edges of the finished pocket, where beam, cutter or knife end; clockwise around what stands in it."),
        ]
        | UnsetType
    ) = UNSET
    notes: Annotated[list[str], about("What to know before cutting.")] | UnsetType = UNSET
    findings: list[Finding] = field(name="warnings")
