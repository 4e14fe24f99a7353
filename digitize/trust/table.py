"""The budget of one item as a table: a line a contribution, largest first, and what they come to together."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..records import Acts, Contribution, Item
from .uncertainty import arm_mm, of_length_k2_mm, outline_mm


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """What one cause gives, all standard uncertainties (k = 1)."""

    name: str
    acts: Acts | None  # how far along the edge its error is one and the same
    outline_mm: float  # of an edge point, what grows with length taken over the arm of the item (`arm_mm`)
    length_mm: float  # of a length as long as the item
    offset_mm: float  # the part of that which every length has
    per_metre_mm: float  # and the part that grows with it
    share: float  # of the outline's variance, 0 to 1; all rows' make 1
    note: str


@dataclass(frozen=True, slots=True)
class BudgetTable:
    """The rows and what they come to, expanded (k = 2): the outline's figure, and a length's as a + b L."""

    item: str
    extent_mm: float  # the longer side of the item's box, for which the rows are worked out
    rows: tuple[BudgetRow, ...]  # the largest share first
    outline_k2_mm: float
    length_k2_mm: float  # of a length of `extent_mm`
    offset_k2_mm: float  # a
    per_metre_k2_mm: float  # b, mm a metre; a and b L add as squares do


def budget_table(item: Item) -> BudgetTable:
    """Return an item's budget as a table; lines of one name count as one, which adds as squares do.

    What proportion of the length adds to the outline is taken over the item's arm, as `combine` does. The two parts of
    a length add as squares too (JCGM 100, 5.1.2).
    """
    extent, stated = max(item.width_mm, item.height_mm), item.uncertainty
    arm = arm_mm((item.exterior_mm, *item.holes_mm))
    whole = math.hypot(*(outline_mm(one, arm) for one in stated.budget))
    names = dict.fromkeys(one.name for one in stated.budget)
    rows = [_row([one for one in stated.budget if one.name == name], extent, arm, whole) for name in names]
    return BudgetTable(
        item.name,
        extent,
        tuple(sorted(rows, key=lambda row: -row.outline_mm)),
        stated.profile_k2_mm,
        of_length_k2_mm(stated, extent),
        stated.length_offset_k2_mm,
        stated.length_per_metre_k2_mm,
    )


def _row(lines: list[Contribution], extent_mm: float, arm: float, whole_mm: float) -> BudgetRow:
    outline = math.hypot(*(outline_mm(one, arm) for one in lines))
    offset, per_mm = math.hypot(*(one.length_mm for one in lines)), math.hypot(*(one.length_per_mm for one in lines))
    return BudgetRow(
        lines[0].name,
        lines[0].acts,
        outline,
        math.hypot(offset, per_mm * extent_mm),
        offset,
        1000.0 * per_mm,
        (outline / whole_mm) ** 2 if whole_mm else 0.0,
        "; ".join(dict.fromkeys(one.note for one in lines if one.note)),
    )
