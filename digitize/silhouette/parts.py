"""Connected parts of what differs from the background: which may be items, and why the others are none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import BoolArray, Finding, Why
from ..words.say import finding_of
from .background import Background
from .card_place import CardPlace
from .numbered import numbered
from .pieces import ITEM_THICKNESS, Box, Small, is_closed_band, is_rim, is_strip, size_of, small_piece, thickness
from .sheet import Squares, card_covered, is_card, paper_colour, rim_of, touches_card

Labels = npt.NDArray[np.unsignedinteger[Any]]  # as narrow as the count of parts allows
_AT_SHEET_MM = 2.0  # of the strip beside the card's sheet: an item there is cut off by it


@dataclass(frozen=True, slots=True)
class Part:
    """One connected part that may be an item."""

    label: int
    box: Box
    area: int  # reduced px
    is_cut: bool  # by the border of the field
    findings: tuple[Finding, ...]

    def comes_near(self, x: float, y: float) -> bool:
        """Whether a place (reduced px) lies in the box or just beside it."""
        left, top, width, height = self.box
        return left - 3 <= x <= left + width + 3 and top - 3 <= y <= top + height + 3


@dataclass(frozen=True, slots=True)
class Parts:
    """All parts of a picture."""

    labels: Labels  # (h, w)
    items: list[Part]
    card: list[Finding]  # what is seen of the card's sheet
    card_labels: list[int]
    small: list[Small]  # clean-edged, too small for items
    others: dict[int, Why]  # label of what is no item, and why

    def less(self, part: Part, small: Small | None) -> Parts:
        """The same, one part told to be too small for an item; `small` where it has clean edges."""
        return replace(
            self,
            items=[one for one in self.items if one is not part],
            small=self.small if small is None else [*self.small, small],
            others={**self.others, part.label: "stain" if small is None else "small"},
        )

    def thin(self, lines: list[Part]) -> Parts:
        """The same, some parts told to be made of lines."""
        others: dict[int, Why] = {part.label: "thin" for part in lines}
        kept = [one for one in self.items if one.label not in others]
        return replace(self, items=kept, others={**self.others, **others})


def find_parts(
    differs: BoolArray,
    card_at: CardPlace,
    field: BoolArray,
    reduced: Reduced,
    background: Background,
    *,
    pixel_mm: float,
    dust_mm: float,
    speck_px: float,
    of_photo: bool,
) -> Parts:
    """Tell the connected parts that may be items from dust, hair, the picture's rim, the card and its paper.

    Parameters
    ----------
    differs
        (h, w) what stands out.
    card_at
        Where the reference lies.
    field
        (h, w) where items may lie.
    reduced, background
        The picture and what would be seen without items.
    pixel_mm
        Size of the reduced picture's pixels.
    dust_mm
        What counts as dust.
    speck_px
        What does not count on a card, reduced px.
    of_photo
        Whether small things are not to be mentioned, and paper has many shades.
    """
    wide, stats = numbered(differs, 8)
    labels = wide.astype(np.min_scalar_type(len(stats)))  # held until all is traced
    del wide
    squares, sheet = Squares.of(card_at.squares), card_at.sheet
    paper = paper_colour(reduced, squares.mask)
    near_sheet = rim_of(sheet, 2) if sheet.any() else sheet
    found = Parts(labels, [], [], [], [], {})
    for label in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[label])
        box = x, y, w, h
        size = size_of(box, area, pixel_mm, dust_mm)
        if size == "dust":
            continue
        own = labels[y : y + h, x : x + w] == label
        if size == "small":
            piece = None if of_photo else small_piece(own, box, reduced, background, pixel_mm, dust_mm)
            found.small.extend([piece] if piece is not None else [])
            found.others[label] = "small" if piece is not None else "stain"
            continue
        why = _why_none(own, box, labels.shape, pixel_mm, dust_mm)
        if why is None and not of_photo and _runs_along(own, box, field, pixel_mm):
            why = "rim"
        if why is not None:
            found.others[label] = why
            continue
        verdict = is_card(own, box, squares, reduced, paper)
        if verdict in ("card", "paper"):
            found.card_labels.append(label)
            if verdict == "card":
                known = paper if not of_photo else None  # a photo's paper has many shades
                found.card.extend(card_covered(own, (x, y), card_at.print, reduced, known, speck_px))
            continue
        findings = []
        at_sheet = np.count_nonzero(near_sheet[y : y + h, x : x + w] & own) * pixel_mm > _AT_SHEET_MM
        if verdict == "touching" or at_sheet:
            findings.append(touches_card(_box_centre(box, reduced), sheet=verdict != "touching"))
        cut = cut_by_border(own, box, field, reduced)
        found.items.append(Part(label, box, area, bool(cut), (*findings, *cut)))
    return found


def _why_none(own: BoolArray, box: Box, shape: tuple[int, ...], pixel_mm: float, dust_mm: float) -> Why | None:
    """Why a part as large as an item is none: a hair, or a strip along the picture's border."""
    wide = thickness(own) * pixel_mm
    if wide < ITEM_THICKNESS * dust_mm and not is_closed_band(own, wide, pixel_mm, dust_mm):
        return "thin"
    return "rim" if is_rim(box, wide, pixel_mm, shape) else None


def _runs_along(own: BoolArray, box: Box, field: BoolArray, pixel_mm: float) -> bool:
    """Whether a part is a narrow strip most of whose length lies at the field's border, be that aslant."""
    if field.all():
        return False
    x, y, w, h = box
    length = float(np.hypot(w, h))
    at_border = own & ~(cv().erode(field.astype(np.uint8), np.ones((5, 5), np.uint8))[y : y + h, x : x + w] > 0)
    if np.count_nonzero(cv().dilate(at_border.astype(np.uint8), np.ones((3, 1), np.uint8))) < 0.5 * length:
        return False
    length = max(length, np.count_nonzero(at_border) / 2)  # in a corner it lies along two sides
    return is_strip(thickness(own) * pixel_mm, length * pixel_mm)


def _touches_border(own: BoolArray, origin: tuple[int, int], field: BoolArray) -> bool:
    x, y = origin
    h, w = own.shape
    whole = np.pad(field, 1)
    inner = whole[y : y + h, x + 1 : x + w + 1] & whole[y + 2 : y + h + 2, x + 1 : x + w + 1]
    inner &= whole[y + 1 : y + h + 1, x : x + w] & whole[y + 1 : y + h + 1, x + 2 : x + w + 2]
    return bool((own & ~inner).any())


def _box_centre(box: Box, reduced: Reduced) -> tuple[float, float]:
    x, y, w, h = box
    centre = reduced.to_full(np.array([x + w / 2.0, y + h / 2.0]))
    return float(centre[0]), float(centre[1])


def cut_by_border(own: BoolArray, box: Box, field: BoolArray, reduced: Reduced) -> tuple[Finding, ...]:
    """Return what is to be said of a part (h, w) of a box where the border of the field cuts it."""
    if not _touches_border(own, box[:2], field):
        return ()
    return (finding_of("cut-by-border", place_px=_box_centre(box, reduced)),)


def beside_sheet(own: BoolArray, box: Box, near: BoolArray, pixel_mm: float, reduced: Reduced) -> tuple[Finding, ...]:
    """Return what is to be said of a part (h, w) of a box that lies at the sheet, `near` (H, W) being beside that."""
    x, y, w, h = box
    if np.count_nonzero(near[y : y + h, x : x + w] & own) * pixel_mm <= _AT_SHEET_MM:
        return ()
    return (touches_card(_box_centre(box, reduced), sheet=True),)
