"""A pocket: the path to cut, and how it came about."""

from __future__ import annotations

from dataclasses import dataclass

from .arrays import FloatArray
from .curves import Circle, Curve, OpenPath
from .picture import Finding


@dataclass(frozen=True, slots=True)
class Allowance:
    """One link of the chain from the item to the path that is cut; positive is outward."""

    name: str  # "lot", "clearance", "kerf", "cutter", "draft", "shrink"
    offset_mm: float
    scale: float = 1.0  # for what is no offset: everything before it times this, about the middle of the item's box


@dataclass(frozen=True, slots=True)
class Relief:
    """A corner the cutter cannot reach, relieved: the centre of the cutter goes out to `tip_mm` and back."""

    corner_mm: tuple[float, float]  # where the cutter's centre turns, item frame
    tip_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Uncut:
    """What a round cutter leaves standing inside a pocket."""

    ring_mm: FloatArray  # (N, 2), counter-clockwise, item frame
    area_mm2: float
    depth_mm: float  # from the wall the cutter leaves to the farthest point of what was wanted


@dataclass(frozen=True, slots=True)
class Notch:
    """A round notch in the pocket's wall for a finger."""

    centre_mm: tuple[float, float]  # on the pocket's wall, item frame
    width_mm: float
    angle_deg: float  # from the item's middle, counter-clockwise from +x


@dataclass(frozen=True, slots=True)
class Pocket:
    """The path to cut, and how it came about."""

    curves: tuple[Curve, ...]  # item frame
    chain: tuple[Allowance, ...]
    clearance_mm: float
    kerf_mm: float
    cutter_mm: float = 0.0
    findings: tuple[Finding, ...] = ()
    way: str = ""  # of cutting: "laser", "router", "knife", "print3d", "former"; empty: none was named
    leads: tuple[OpenPath, ...] = ()  # each ends where a curve begins
    reliefs: tuple[Relief, ...] = ()  # the curves run into them
    uncut: tuple[Uncut, ...] = ()
    notches: tuple[Notch, ...] = ()  # the curves run around them
    pins: tuple[Circle, ...] = ()  # to be made and set under the item's holes
    plug_top: tuple[Curve, ...] = ()  # former: edge of the plug's upper face; the curves are that of its foot
    plug_height_mm: float = 0.0  # former: from the plug's foot to its upper face
    wall: tuple[Curve, ...] = ()  # edges of the finished pocket, what stands inside it (pegs) running clockwise
    notes: tuple[str, ...] = ()  # what to know before cutting, a sentence each
