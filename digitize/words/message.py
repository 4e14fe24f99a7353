"""What one code says: the form of a row of the table."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum


class Rank(IntEnum):
    """What is told first: what makes the result wrong, then what may, then what is only to be known."""

    SIZE = 1  # everything measured may have another size
    WHOLE = 2  # something is missing, cut off, or no item at all
    SHAPE = 3  # an edge may lie elsewhere
    CUT = 4  # the path to cut is not what was asked for
    DOUBT = 5  # probably right, worth a look
    REMARK = 6  # to be known
    DETAIL = 7  # for experts: on screen with --verbose only


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A row of the table; texts are templates for `str.format`.

    A template may name `value`, `limit`, `percent` (100 times the value), `percent_limit`, and what else the place
    that finds it says. `together` knows these four and `who` only ("item 3", "11 of 12 items (1 to 8, 10 to 12)"),
    for the worst of them.
    """

    code: str  # an interface: never changes
    rank: Rank
    title: str  # for lists, two or three words
    text: str  # what happened, with the possible error in mm where there is one; of one item
    step: str  # the one thing to do next
    photo_step: str = ""  # the same where the picture is a photo; empty: `step` holds for both
    together: str = ""  # the same of several items; without it the worst one's text stands after their numbers
    cases: dict[str, str] = field(default_factory=dict)  # other texts of the same code, by what was the matter
