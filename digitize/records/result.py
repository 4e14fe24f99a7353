"""All that was found in one picture; what the writers write."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Literal

from .arrays import FloatArray
from .item import FailedItem, Item
from .picture import Finding, LeftOut


@dataclass(frozen=True, slots=True)
class ScaleFacts:
    """What the document says about the scale."""

    kind: Literal["flatbed", "camera"]
    mm_per_px: tuple[float, float]
    reference: str  # in words: "plain square 50 x 50 mm", "ring card, measured 53.8 x 53.9 mm", "--dpi 600"
    residual_mm: float
    measured: bool
    skew_deg: float = 0.0
    corners_px: FloatArray | None = None  # (4, 2) outer corners of the reference, for the check picture


@dataclass(frozen=True, slots=True)
class LotSample:
    """One blank of a lot, laid on the mean of all."""

    name: str  # of the item
    source_name: str  # of its picture
    source_sha256: str
    turn_deg: float  # counter-clockwise, onto the mean
    turned_over: bool
    larger_mm: float  # a side, than the mean, on the whole
    form_mm: float  # root mean square of what its form differs by besides
    most_mm: float  # the largest distance from the mean
    is_odd: bool  # far from what the others are like


@dataclass(frozen=True, slots=True)
class LotFacts:
    """How the blanks of a lot differ, where the item is their mean."""

    samples: tuple[LotSample, ...]
    sd_mm: float  # between samples, at the place where it is largest
    range_along_mm: FloatArray  # (N,) from the smallest to the largest sample, at each point of the item's exterior
    tolerance_factor: float | None  # standard deviations that hold 95 % of all blanks, 95 % sure; None of one sample
    largest_mm: FloatArray  # (L, 2) edge of all together, item frame
    smallest_mm: FloatArray  # (S, 2) edge of what all have in common, item frame

    @property
    def range_mm(self) -> float:
        """The range where it is largest."""
        return float(self.range_along_mm.max())


@dataclass(frozen=True, slots=True)
class Usual:
    """What a workshop's file of usual options set, where nobody said otherwise."""

    file: str  # its name without folder
    folder: Literal["working", "settings"]  # where it lay
    options: dict[str, str | bool]  # by the option's name, as the file has them; of a card its reading too


def _of_photo(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(replace(one, of_photo=True) for one in findings)


def _item_of_photo(item: Item) -> Item:
    pocket = item.pocket
    told = (*item.findings, *(() if pocket is None else pocket.findings))
    if all(one.of_photo for one in told):
        return item
    if pocket is not None:
        pocket = replace(pocket, findings=_of_photo(pocket.findings))
    return replace(item, findings=_of_photo(item.findings), pocket=pocket)


@dataclass(frozen=True, slots=True)
class Result:
    """All that was found in one picture; what the writers write."""

    source_name: str
    source_sha256: str
    width_px: int
    height_px: int
    scale: ScaleFacts
    items: tuple[Item, ...]  # reading order, each sound
    tolerance_mm: float
    findings: tuple[Finding, ...] = ()
    left_out: tuple[LeftOut, ...] = ()  # the largest first
    options: dict[str, Any] = field(
        default_factory=dict
    )  # the options that shaped the result, as given, as JSON has it
    usual: Usual | None = None  # which of them nobody said, but a workshop's file
    failed: tuple[FailedItem, ...] = ()  # reading order
    lot: LotFacts | None = None  # the one item is the mean of several blanks
    imaged: Literal["print", "back"] = "print"  # face of the items that the picture shows
    mirrored: bool = False  # whether all is drawn with left and right exchanged

    def __post_init__(self) -> None:
        """Let every finding know whether it is of a photo or of a scan."""
        if self.scale.kind != "camera":
            return
        failed = tuple(replace(one, reason=replace(one.reason, of_photo=True)) for one in self.failed)
        for name, value in (
            ("failed", failed),
            ("findings", _of_photo(self.findings)),
            ("items", tuple(map(_item_of_photo, self.items))),
        ):
            object.__setattr__(self, name, value)

    @property
    def in_inches(self) -> bool:
        """Whether drawings that have a unit of their own are asked for in inches."""
        return self.options.get("units") == "inch"

    @property
    def all_findings(self) -> tuple[Finding, ...]:
        """Why items failed, findings of the picture, then of each item and its pocket in order."""
        found = [*(one.reason for one in self.failed), *self.findings]
        for item in self.items:
            found += item.findings
            if item.pocket is not None:
                found += item.pocket.findings
        return tuple(found)
