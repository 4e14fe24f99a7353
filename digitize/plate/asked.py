"""What is asked of a plate, as options declare it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from ..errors import UsageError
from ..kinds import Choice, Json, Kind, Number, Switch, TwoNumbers, Whole, refusal
from ..parameters import Declared, check_fields, option, own_parameters
from .artwork import FITS, Fit
from .corner import Corner
from .plate import ZEROS, Centre, Heights, Zero

WEB_MM = 5.0  # least sheet between pockets, or its thickness if that is more (common practice, no source)
MARGIN_MM = 10.0  # room for the clamps and the eye (common practice, no source)
INSERT_ROOM_MM = 0.1  # about an insert on each side (common practice, no source: test first)
_SIZE = TwoNumbers(10.0, 5000.0, "mm", both="width x height")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateAsked(Declared):
    """How pockets are laid on a plate."""

    bed_mm: tuple[float, float] | None = option(None, _SIZE, "Size of the bed in mm, width and height: 305x458.")
    plate_mm: tuple[float, float] | None = option(
        None, _SIZE, "Size of the plate, which lies in the zero corner and is cut out; the bed's unless said."
    )
    rows: int | None = option(None, Whole(1, 1000), "Rows of pockets; as many as fit unless said.")
    columns: int | None = option(None, Whole(1, 1000), "Pockets in a row; as many as fit unless said.")
    as_many_as_fit: bool = option(
        False, Switch(), "As many as are found to fit by their true shape, in rows or not, and how many more that is."
    )
    gap_mm: float | None = option(None, Number(0.0, 1000.0, "mm"), "Between the boxes around pockets, mm.")
    web_mm: float | None = option(
        None, Number(0.1, 1000.0, "mm"), "Least sheet between pockets by their shape, mm; 5 or the thickness."
    )
    margin_mm: float = option(MARGIN_MM, Number(0.0, 1000.0, "mm"), "From the plate's edge to the first pocket, mm.")
    stagger: bool = option(False, Switch(), "Shift every second row by half a step.")
    turn_every_second: bool = option(False, Switch(), "Turn every second pocket of a row by 180 degrees.")
    turn_deg: float = option(0.0, Number(-360.0, 360.0, "degrees"), "Turn every item from upright, counter-clockwise.")
    as_laid: bool = option(False, Switch(), "Leave items as they lie in their documents, not upright.")
    zero: Zero = option("top-left", Choice(ZEROS), "Corner from which is measured.")
    cut_from: Literal["front", "back"] = option(
        "front",
        Choice(("front", "back")),
        "Side of the plate that is up when it is cut; from the back the cut drawing has left and right exchanged.",
    )
    thickness_mm: float | None = option(
        None, Number(0.1, 200.0, "mm"), "Of the sheet, mm: webs are held against it, and it stands on the drawings."
    )

    insert_mm: tuple[float, float] | None = option(
        None,
        _SIZE,
        "A base plate with windows for inserts of this outer size, 100x80, in place of documents; inserts are plates.",
    )
    insert_room_mm: float = option(
        INSERT_ROOM_MM, Number(0.0, 5.0, "mm"), "About an insert in its window, on each side, mm."
    )
    insert_kerf_mm: float = option(0.0, Number(0.0, 10.0, "mm"), "What the beam takes away as it cuts windows, mm.")
    corner_piece_mm: tuple[float, float] | None = option(
        None,
        TwoNumbers(6.0, 500.0, "mm", both="length x width"),
        "Also a corner piece for the zero corner: length of its arms and their width, 60x15.",
    )
    key_mm: float | None = option(
        None,
        Number(2.0, 50.0, "mm"),
        "Width of a tongue on the corner piece and a notch in the plate: put in turned, it does not go home.",
    )
    centres: Centre | None = option(
        None, Choice(get_args(Centre)), "Middle of each item, marked for items held in putty: box, centroid, circle."
    )
    leads: Literal["joined", "apart"] = option(
        "joined",
        Choice(("joined", "apart")),
        "Each lead-in and its path joined as one line, or apart, the path closed.",
    )
    pocket_depth_mm: float | None = option(
        None,
        Number(0.1, 200.0, "mm"),
        "Depth of the pockets, for --item-thickness; through the sheet unless said.",
    )
    base_mm: float = option(0.0, Number(0.0, 500.0, "mm"), "What lies under the plate, mm, for --item-thickness.")
    head_mm: float | None = option(
        None, Number(0.1, 1000.0, "mm"), "Lowest part of the printer's head above the bed, mm, for --item-thickness."
    )

    def __post_init__(self) -> None:
        """Refuse what cannot be meant.

        Raises
        ------
        UsageError
            Naming the option and what to do.
        """
        check_fields(self)
        if self.insert_mm is None and (self.insert_kerf_mm or self.insert_room_mm != INSERT_ROOM_MM):
            raise UsageError("--insert-room and --insert-kerf are for windows: say the inserts' size, --insert 100x80.")
        if self.key_mm is not None and self.corner_piece_mm is None:
            raise UsageError("--key is a tongue on the corner piece: say its arms too, --corner-piece 60x15.")
        if self.pocket_depth_mm is not None and self.thickness_mm is None:
            raise UsageError("--pocket-depth leaves a floor of the sheet: say its --thickness too.")
        if (
            self.pocket_depth_mm is not None
            and self.thickness_mm is not None
            and self.pocket_depth_mm > self.thickness_mm
        ):
            raise UsageError(
                f"--pocket-depth {self.pocket_depth_mm:g} is more than the sheet's {self.thickness_mm:g} mm: leave it "
                "out for pockets that go through."
            )
        if self.gap_mm is not None and self.web_mm is not None:
            raise UsageError("--gap is between the boxes around pockets, --web between their shapes: say one of them.")
        if self.as_many_as_fit and (self.rows or self.columns or self.stagger or self.turn_every_second):
            raise UsageError(
                "--as-many-as-fit chooses rows, columns and turns itself: leave out --rows, --columns, --stagger and "
                "--turn-every-second."
            )

    def corner(self) -> Corner | None:
        """Return the corner piece; `UsageError` if there is no room for its key."""
        if self.corner_piece_mm is None:
            return None
        try:
            corner = Corner(*self.corner_piece_mm, self.key_mm)
        except ValueError as error:
            raise UsageError(f"--corner-piece, --key: {error}.") from error
        corner.check(self.size())
        return corner

    def heights(self, thick: Mapping[str, float]) -> Heights | None:
        """Return what decides heights, by the thickness of each kind's items; None where nothing was said.

        Raises
        ------
        UsageError
            If only some is said.
        """
        if thick:
            return Heights(tuple(thick.items()), self.pocket_depth_mm, self.base_mm, self.head_mm)
        said = {"--pocket-depth": self.pocket_depth_mm, "--base": self.base_mm, "--head": self.head_mm}
        if any(said.values()):
            name = next(name for name, value in said.items() if value)
            raise UsageError(f"{name} is for heights: say how thick the items are too, --item-thickness 3.2.")
        return None

    @property
    def needed_web_mm(self) -> float:
        """The least sheet that should stand between two pockets."""
        return self.web_mm if self.web_mm is not None else max(WEB_MM, self.thickness_mm or 0.0)

    def check_table(self) -> None:
        """Refuse what a table of places leaves no use for; `UsageError` if such an option was said."""
        plain = type(self)()
        rows = ("rows", "columns", "as_many_as_fit", "gap_mm", "margin_mm", "stagger", "turn_every_second", "turn_deg")
        said = [key for key in rows if getattr(self, key) != getattr(plain, key)]
        if said:
            name = next(one.name for one in own_parameters(type(self)) if one.field == said[0])
            raise UsageError(f"{name} is for rows; with --lay the table says where every pocket lies. Leave one out.")

    def bed(self) -> tuple[float, float]:
        """Return the size of the bed; `UsageError` if it was not said."""
        if self.bed_mm is None:
            raise UsageError("Say the size of the bed, width x height in mm: --bed 305x458.")
        return self.bed_mm

    def size(self) -> tuple[float, float]:
        """Return the size of the plate; `UsageError` if it is larger than the bed."""
        bed, size = self.bed(), self.plate_mm or self.bed()
        if size[0] > bed[0] or size[1] > bed[1]:
            raise UsageError(
                f"--plate {size[0]:g}x{size[1]:g} is larger than the bed of {bed[0]:g} x {bed[1]:g} mm. Turn it "
                f"(--plate {size[1]:g}x{size[0]:g}), or say the right --bed."
            )
        return size


class Numbers(Kind):
    """Numbers of pockets, in words with commas between and hyphens from first to last: 3,5-8."""

    hint = "str | Sequence[int]"

    def checked(self, value: object, name: str) -> tuple[int, ...]:
        """Return the numbers in order, each once."""
        words = value.split(",") if isinstance(value, str) else value
        expected = "expected numbers of pockets, such as 3,5-8"
        if not isinstance(words, list | tuple) or not words:
            raise refusal(name, value, expected)
        found: set[int] = set()
        for word in words:
            match = re.fullmatch(r"([1-9][0-9]{0,4})(?:-([1-9][0-9]{0,4}))?", str(word).strip())
            if match is None or int(match[2] or match[1]) < int(match[1]):
                raise refusal(name, value, expected)
            found |= set(range(int(match[1]), int(match[2] or match[1]) + 1))
        return tuple(sorted(found))

    def plain(self, value: Any) -> Json:
        """Return the numbers as a list."""
        return list(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class TemplateAsked(Declared):
    """How artwork is laid on a plate's items.

    Examples
    --------
    >>> TemplateAsked(only="3,5-8").only
    (3, 5, 6, 7, 8)
    """

    only: tuple[int, ...] | None = option(None, Numbers(), "Only pockets of these numbers: 3,5-8.")
    fit: Fit = option(
        "size", Choice(FITS), "Artwork at its own size, or scaled to cover the print area or to lie inside it."
    )
    raised_edge_mm: float | None = option(
        None,
        Number(0.1, 50.0, "mm"),
        "Also a band of this width outside each outline, mm, as an area for a clear or white layer.",
    )
    raised_gap_mm: float = option(0.3, Number(0.0, 20.0, "mm"), "From the outline to the raised edge, mm.")
    no_guides: bool = option(False, Switch(), "Artwork alone, for printers that print every layer.")

    def numbers(self, count: int) -> tuple[int, ...]:
        """Return the numbers that are meant of so many pockets; `UsageError` if there is no such pocket."""
        beyond = [number for number in self.only or () if number > count]
        if beyond:
            raise UsageError(f"--only {beyond[0]}: the plate has {count} pockets.")
        return self.only or tuple(range(1, count + 1))
