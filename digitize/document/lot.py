"""What a document says of a lot: the blanks, and how they differ."""

from __future__ import annotations

from typing import Annotated, Any

from msgspec import Meta

from .. import records
from ..records import frozen_array
from .form import FINE, MM, NotNegative, Pair, Part, about, mm, pair, part_of, record_of


class LotSample(Part, frozen=True, kw_only=True):
    """One blank of a lot, laid on the mean of all without a change of size."""

    made_of = records.LotSample
    name: Annotated[str, about("Of the item in its own document.")]
    source_name: Annotated[str, about("Of its picture.")]
    source_sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$", description="Of its picture.")]
    turn_deg: Annotated[float, FINE, about("Counter-clockwise, from its own frame onto the mean.")]
    turned_over: Annotated[bool, about("Whether it lay on its other face.")]
    larger_mm: Annotated[float, MM, about("A side, than the mean, on the whole.")]
    form_mm: Annotated[NotNegative, MM, about("Root mean square of what its form differs by besides.")]
    most_mm: Annotated[NotNegative, MM, about("Largest distance from the mean.")]
    is_odd: Annotated[bool, about("Whether it lies far from what the others are like.")]


class Lot(Part, frozen=True, kw_only=True):
    """How the blanks differ of which the item is the mean."""

    made_of = records.LotFacts
    samples: Annotated[list[LotSample], Meta(min_length=1)]
    sd_mm: Annotated[NotNegative, MM, about("Standard deviation between samples, where it is largest.")]
    range_along_mm: Annotated[
        list[Annotated[float, MM]], about("From the smallest to the largest sample, at each point of the exterior.")
    ]
    tolerance_factor: Annotated[
        float | None,
        about("Standard deviations that hold 95 % of all blanks with 95 % confidence; null of one sample."),
    ]
    largest_mm: Annotated[list[Pair], Meta(min_length=3), about("Edge of all together: what the pocket is made from.")]
    smallest_mm: Annotated[list[Pair], Meta(min_length=3), about("Edge of what all have in common.")]

    @classmethod
    def of(cls, record: records.LotFacts) -> Lot:
        """Return the part of a record."""
        return part_of(
            cls,
            record,
            range_along_mm=[mm(value) for value in record.range_along_mm.tolist()],
            largest_mm=[pair(point) for point in record.largest_mm.tolist()],
            smallest_mm=[pair(point) for point in record.smallest_mm.tolist()],
        )

    def record(self, at: str) -> Any:
        """Return the record of the part."""
        return record_of(
            self,
            at,
            range_along_mm=frozen_array(self.range_along_mm),
            largest_mm=frozen_array(self.largest_mm, columns=2),
            smallest_mm=frozen_array(self.smallest_mm, columns=2),
        )
