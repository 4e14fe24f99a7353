"""What the user asked for, checked once; the recipe reads nothing else."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from .errors import UsageError

if TYPE_CHECKING:
    from .camera.profile import LensProfile
    from .cutting.ways import Cutting

Pair = tuple[float, float]
HEIGHT_WITHIN_MM = 0.1  # as far as calipers are read across a blank by hand; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Options of the recipe; None means not given."""

    square_mm: Pair | None = None  # sides of a plain reference square
    measured_mm: Pair | None = None  # calipers' readings of our own card, X and Y
    dpi: Pair | None = None
    square_at_px: Pair | None = None
    item_at_px: Pair | None = None
    background: str | None = None  # "light", "dark" or "#rrggbb"
    dust_mm: float = 1.0
    tolerance_mm: float = 0.02
    clearance_mm: float | None = None
    kerf_mm: float | None = None
    cut_holes: bool = False
    ideal: bool = False  # write recognised ideal shapes
    symmetric: bool = False  # write outlines made exactly symmetric
    bleed_mm: float | None = None  # print area outside the outline
    inset_mm: float | None = None  # print area inside it
    cutting: Cutting | None = None  # a way of cutting, with its own clearance and kerf
    taken_with: Literal["camera", "flatbed"] | None = None  # None: told from the picture
    edge: Literal["outer", "inner"] | None = None  # which of two plausible borders; None: as measured, and both said
    item_height_mm: float | None = None  # above the card's plane, upright walls
    height_within_mm: float = HEIGHT_WITHIN_MM  # how well the height is known, either way
    edge_height_mm: float | None = None  # of the item's widest line above the card's plane
    lens: LensProfile | None = None
    background_photo: str | None = None  # file: the same view without the item

    def __post_init__(self) -> None:
        """Refuse values that cannot be meant.

        Raises
        ------
        UsageError
            Naming the option, what was given and what is expected.
        """
        for name, pair, low, high in (
            ("--square", self.square_mm, 2.0, 1000.0),
            ("--measured", self.measured_mm, 2.0, 1000.0),
            ("--dpi", self.dpi, 10.0, 20000.0),
        ):
            if pair is not None and not all(math.isfinite(v) and low <= v <= high for v in pair):
                raise UsageError(f"{name} {pair[0]:g}x{pair[1]:g}: expected values from {low:g} to {high:g}.")
        for name, value, low, high in (
            ("--dust", self.dust_mm, 0.0, 100.0),
            ("--tolerance", self.tolerance_mm, 0.001, 1.0),
            ("--clearance", self.clearance_mm, 0.0, 20.0),
            ("--kerf", self.kerf_mm, 0.0, 5.0),
            ("--bleed", self.bleed_mm, 0.0, 50.0),
            ("--inset", self.inset_mm, 0.0, 50.0),
            ("--item-height", self.item_height_mm, 0.0, 200.0),
            ("--edge-height", self.edge_height_mm, 0.0, 200.0),
            ("the +- of a height", self.height_within_mm, 0.0, 50.0),
        ):
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise UsageError(f"{name} {value:g}: expected {low:g} to {high:g} mm.")
        if self.background is not None:
            background_codes(self.background)
        if self.cut_holes and self.clearance_mm is None and self.kerf_mm is None and self.cutting is None:
            raise UsageError(
                "--cut-holes without --clearance or --kerf: there is no path to cut. Say at least one of them."
            )
        if self.bleed_mm is not None and self.inset_mm is not None:
            raise UsageError("--bleed goes over the edge, --inset stays inside it: give one of them.")
        self._check_cutting()
        self._check_camera()

    def _check_cutting(self) -> None:
        """Refuse what does not go with a way of cutting."""
        if self.cutting is None:
            return
        if self.clearance_mm is not None or self.kerf_mm is not None:
            raise UsageError("clearance and kerf are given twice: a way of cutting has its own.")
        if self.cut_holes and self.cutting.pins:
            raise UsageError("--cut-holes and --pins: a hole takes a peg of the sheet or a pin; give one of them.")
        if self.cut_holes and self.cutting.way == "former":
            raise UsageError("--cut-holes is for a pocket cut into a sheet, not for the plug of --cut former.")

    def _check_camera(self) -> None:
        """Refuse options that contradict one another."""
        if self.edge not in (None, "outer", "inner"):
            raise UsageError(f"--edge {self.edge}: expected outer or inner.")
        if self.item_height_mm is not None and self.edge_height_mm is not None:
            raise UsageError(
                "--item-height is for upright walls, --edge-height for a widest line above the card: give one of them."
            )
        if self.taken_with == "flatbed" and self.wants_camera:
            raise UsageError("--item-height, --edge-height and --profile are for photos, not for --flatbed.")

    @property
    def print_offset_mm(self) -> float | None:
        """How far the print area reaches beyond the outline; None if none was asked for."""
        return self.bleed_mm if self.inset_mm is None else -self.inset_mm

    @property
    def wants_camera(self) -> bool:
        """Whether an option is given that only a photo needs."""
        return any(v is not None for v in (self.item_height_mm, self.edge_height_mm, self.lens))


def parse_pair(text: str, *, option: str) -> Pair:
    """Read "50", "49.8x49.9" (also with a multiplication sign or decimal commas in both) as two numbers.

    Raises
    ------
    UsageError
        If it is neither.
    """
    parts = re.split(r"[xX×]", text.strip().replace(",", "."))
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) not in (1, 2):
        raise UsageError(
            f"{option} {text}: expected one number or two with an x between them, such as 50 or 49.8x49.9."
        )
    return numbers[0], numbers[-1]


def parse_height(text: str, *, option: str) -> tuple[float, float]:
    """Read "3", "3+-0.5" or "3±0.5" as a height in mm and how well it is known; 0.1 mm where that is not said.

    Raises
    ------
    UsageError
        If it is neither.
    """
    parts = re.split(r"\+-|\+/-|±", text.strip().replace(",", "."))
    try:
        height, within = (float(parts[0]), HEIGHT_WITHIN_MM) if len(parts) == 1 else (float(p) for p in parts)
    except ValueError:
        raise UsageError(
            f"{option} {text}: expected a height in mm, such as 3.2, or with how well it is known, such as 3.2+-0.3."
        ) from None
    return height, within


def parse_place(text: str, *, option: str) -> Pair:
    """Read "X,Y" in pixels of the picture.

    Raises
    ------
    UsageError
        If it is not two numbers.
    """
    parts = text.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError:
        raise UsageError(f"{option} {text}: expected two numbers with a comma, such as 1200,850 (pixels).") from None
    return x, y


def background_codes(text: str) -> str | tuple[int, int, int]:
    """Give "light", "dark" or the three 8-bit sRGB codes of "#rrggbb".

    Raises
    ------
    UsageError
        If it is none of them.
    """
    if text in ("light", "dark"):
        return text
    if re.fullmatch(r"#[0-9a-fA-F]{6}", text):
        return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)
    raise UsageError(f"--background {text}: expected light, dark or a colour such as #e8e4da.")
