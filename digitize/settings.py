"""What the user asked for, declared and checked once; the recipe reads nothing else."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Self

from .cutting.ways import NO_POCKET, Cutting
from .errors import UsageError
from .hand.read import ByHand
from .hand.steps import Corrections
from .kinds import Choice, Either, FileName, Json, Kind, Number, Place, Switch, TwoNumbers, refusal
from .parameters import Declared, by_keyword, check_fields, declared, given, option
from .records import Usual
from .trust.asked import caliper_error
from .usual import OfUsual

if TYPE_CHECKING:
    from .camera.profile import LensProfile
    from .scanner.profile import ScannerProfile

Pair = tuple[float, float]
HEIGHT_WITHIN_MM = 0.1  # unless said: as calipers are read across a blank by hand; common practice, no source


class Colour(Kind):
    """Light, dark, or a colour."""

    def checked(self, value: object, name: str) -> str:
        """Return the words for it."""
        if not isinstance(value, str):
            raise refusal(name, value, COLOURS)
        background_codes(value)
        return value


@dataclass(frozen=True, slots=True)
class Height(Number):
    """A height, as a word perhaps with how well it is known: 3.2 or 3.2+-0.3."""

    metavar = "<float>"

    def read(self, word: str | bool, name: str) -> Any:
        """Return the height, or height and how well it is known; `Settings.of` parts the two."""
        parts = re.split(r"\+-|\+/-|±", str(word))
        if len(parts) > 2:
            raise refusal(name, word, "expected a height in mm, such as 3.2, or with how well it is known: 3.2+-0.3")
        values = [Number.read(self, part, name) for part in parts]
        return values[0] if len(values) == 1 else tuple(values)


class OwnValues(FileName):
    """A user's file of values for ways of cutting; in the settings the way itself."""

    hint = "str | os.PathLike[str] | Cutting"

    def checked(self, value: object, name: str) -> Any:
        """Return the way of cutting."""
        if not isinstance(value, Cutting):
            raise refusal(name, value, "expected a way of cutting (Cutting, or Settings.of)")
        return value

    def plain(self, value: Cutting) -> Json:
        """Return its values by field."""
        return value.plain()


class ScannerName(Kind):
    """A scanner, or the name its profile is kept under."""

    hint = "str | ScannerProfile"

    def checked(self, value: object, name: str) -> Any:
        """Return the scanner's profile."""
        from .kept import is_name
        from .scanner.profile import ScannerProfile, read_scanner, scanner_from

        if isinstance(value, ScannerProfile):
            return value
        if isinstance(value, Mapping):
            return scanner_from(value, f"{name} (values of a scanner)")
        if not isinstance(value, str) or not is_name(value):
            raise refusal(name, value, "expected the name that a scanner's profile is kept under, such as desk")
        return read_scanner(value)

    def plain(self, value: ScannerProfile) -> Json:
        """Return the profile as in its file."""
        from .scanner.profile import scanner_tables

        return scanner_tables(value)


class LensFile(FileName):
    """A camera's lens, or the file it is kept in."""

    hint = "str | os.PathLike[str] | LensProfile"

    def checked(self, value: object, name: str) -> Any:
        """Return the lens."""
        from .camera.profile import LensProfile, profile_from, read_lens_profile

        if isinstance(value, LensProfile):
            return value
        if isinstance(value, Mapping):
            return profile_from(value, f"{name} (values of a lens)")
        return read_lens_profile(Path(FileName.checked(self, value, name)))

    def plain(self, value: LensProfile) -> Json:
        """Return the lens as in its file."""
        from .camera.profile import profile_tables

        return profile_tables(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Options of the recipe; None means not given.

    Examples
    --------
    >>> Settings(square_mm=30).square_mm, Settings(square_mm=(49.8, 49.9)).square_mm
    ((30.0, 30.0), (49.8, 49.9))
    >>> Settings(bleed_mm=2, inset_mm=1)
    Traceback (most recent call last):
        ...
    digitize.errors.UsageError: --bleed goes over the edge, --inset stays inside it: give one of them.
    """

    square_mm: Pair | None = option(
        None, TwoNumbers(2, 1000, "mm"), "Sides of a plain reference square in mm: 50 or 49.8x49.9."
    )
    disc_mm: float | None = option(
        None, Number(2, 1000, "mm"), "Scans: diameter of a round reference disc in mm, by calipers: 25.02."
    )
    measured_mm: Pair | None = option(
        None, TwoNumbers(2, 1000, "mm"), "Calipers' readings of our card in mm, X and Y: 53.8x53.9."
    )
    caliper_error_mm: float = caliper_error()
    dpi: Pair | None = option(
        None,
        TwoNumbers(10, 20000, apart=8),  # scanners' own densities differ up to 4 times
        "Density where no reference is in the picture: 600 (large uncertainty).",
    )
    cutting: Cutting = option(
        NO_POCKET,
        OwnValues(),
        "Your own values for --cut: edited file from digitize cutting.",
        group=Cutting,
    )
    ideal: bool = option(False, Switch(), "Write circles, rectangles, slots, regular polygons as what they are.")
    symmetric: bool = option(False, Switch(), "Write a nearly symmetric outline made exactly so.")
    upright: bool = option(
        False,
        Switch(),
        "Set every item straight along its mirror axis, else its caliper length: turned by 45 degrees at most.",
    )
    imaged_face: Literal["print", "back"] = option(
        "print",
        Choice(("print", "back")),
        "Which face of the items the picture shows: the one to be printed, or the other.",
    )
    cut_from: Literal["front", "back"] = option(
        "front",
        Choice(("front", "back")),
        "Which side of the plate is up while it is cut: its front, which will face the printer, or its back.",
    )
    bleed_mm: float | None = option(None, Number(0, 50, "mm"), "Print area: this far over the item's edge, mm.")
    inset_mm: float | None = option(None, Number(0, 50, "mm"), "Print area: this far inside the item's edge, mm.")
    units: Literal["mm", "inch"] = option(
        "mm",
        Choice(("mm", "inch")),
        "mm or inch: unit of DXF files; with inch the screen shows sizes in both. SVG, PDF and JSON stay in mm.",
    )
    tolerance_mm: float = option(
        0.02, Number(0.001, 1, "mm"), "Largest distance of the lines and arcs from the edge in mm."
    )
    joins: Literal["smooth", "fewest"] = option(
        "smooth",
        Choice(("smooth", "fewest")),
        "smooth: lines and arcs tangent but at corners, for up to 30 % more of them; fewest: as few as the tolerance "
        "allows.",
    )
    dust_mm: float = option(
        1.0,
        Number(0, 100, "mm"),
        "Specks, hairs and holes up to this size in mm are ignored; items are 5 times as long at least.",
    )
    background: str | None = option(None, Colour(), "light, dark or #rrggbb, where it is not found by itself.")
    square_at_px: Pair | None = option(None, Place(), "X,Y in pixels: the reference square or disc is here.")
    item_at_px: Pair | None = option(None, Place(), "X,Y in pixels: outline only the item here.")
    taken_with: Literal["camera", "flatbed"] | None = option(
        None,
        Either(("camera", "flatbed")),
        "A photo or a scan, where the picture itself does not tell.",
        name="camera",
    )
    edge: Literal["outer", "inner"] | None = option(
        None,
        Choice(("outer", "inner")),
        "Where two borders are plausible (rim, bevel, shadow): take the outer or the inner.",
    )
    by_hand: Corrections | None = option(
        None,
        ByHand(),
        "Corrections by hand: steps that the page or you wrote down, or an outline document that holds some.",
    )
    item_height_mm: float | None = option(
        None,
        Height(0, 200, "mm"),
        "Photos: height of an item with upright walls in mm, 3.2 or 3.2+-0.3; 0 for a flat one.",
    )
    edge_height_mm: float | None = option(
        None, Height(0, 200, "mm"), "Photos: height of the item's widest line (rounded edges) in mm, 2 or 2+-0.5."
    )
    height_within_mm: float | None = option(
        None,
        Number(0, 50, "mm"),
        "Photos: how well that height is known, mm either way; 0.1 unless said, of a flat item none.",
    )
    lens: LensProfile | None = option(
        None, LensFile(), "Photos: the camera's lens, from digitize profile lens.", name="profile"
    )
    scanner: ScannerProfile | None = option(
        None, ScannerName(), "Scans: name of the scanner's profile, from digitize profile scanner."
    )
    background_photo: str | None = option(
        None, FileName(), "Photos: the same view without the item, for clear or glossy items."
    )
    usual: Usual | None = option(None, OfUsual(), "")  # which of these a workshop's file set

    def __post_init__(self) -> None:
        """Refuse values that cannot be meant, and what contradicts.

        Raises
        ------
        UsageError
            Naming the option, what was given and what is expected.
        """
        check_fields(self)
        if self.bleed_mm is not None and self.inset_mm is not None:
            raise UsageError("--bleed goes over the edge, --inset stays inside it: give one of them.")
        if self.item_height_mm is not None and self.edge_height_mm is not None:
            raise UsageError(
                "--item-height is for upright walls, --edge-height for a widest line above the card: give one of them."
            )
        if self.taken_with == "flatbed" and self.wants_camera:
            raise UsageError("--item-height, --edge-height and --profile are for photos, not for --flatbed.")
        if self.scanner is not None and (self.wants_camera or self.taken_with == "camera"):
            raise UsageError("--scanner is for scans, --camera, --item-height, --edge-height and --profile for photos.")
        if self.disc_mm is not None and self.square_mm is not None:
            raise UsageError("--disc and --square both say what the reference is: give one of them.")
        if self.disc_mm is not None and (self.wants_camera or self.taken_with == "camera"):
            raise UsageError("--disc is for scans, --camera, --item-height, --edge-height and --profile for photos.")
        if self.scanner is not None and self.dpi is not None:
            raise UsageError("--scanner knows the density, --dpi takes it at its word: give one of them.")

    @classmethod
    def of(cls, options: Mapping[str, object]) -> Self:
        """Return the settings that options ask for.

        Parameters
        ----------
        options
            By the names of `digitize.outline`'s keywords, or of fields or options of the command (``cut``,
            ``kerf_mm``, ``lead-in``, ...). None is not given. `given` returns such a mapping, in which ``usual`` tells
            which of them a workshop's file set.

        Raises
        ------
        UsageError
            If a name is not known or a value cannot be meant.
        """
        usual = options.get("usual")
        named = by_keyword(cls, {name: value for name, value in options.items() if name != "usual"})
        said = {one.field: named.pop(key) for key, one in declared(Cutting).items() if key in named}
        cutting = named.pop("cutting", None)
        fields: dict[str, Any] = {declared(cls)[key].field: value for key, value in _parted(named).items()}
        fields |= {} if usual is None else {"usual": usual}
        if not said and cutting is None:
            return cls(**fields)
        from .cutting.defaults import cutting_from

        return cls(**fields, cutting=cutting_from(said, cutting))

    def given(self) -> dict[str, Json]:
        """Return what was asked for, as JSON has it: ``Settings.of(settings.given()) == settings``.

        How pockets are cut and the lens come with all their values, so that no file of them is needed again; of
        `background_photo` only the name.
        """
        return given(self)

    @property
    def print_offset_mm(self) -> float | None:
        """How far the print area reaches beyond the outline; None if none was asked for."""
        return self.bleed_mm if self.inset_mm is None else -self.inset_mm

    @property
    def mirrored(self) -> bool:
        """Whether the cut sees the picture with left and right exchanged: once for each that is the other."""
        return (self.imaged_face == "back") != (self.cut_from == "back")

    @property
    def caliper_sd_mm(self) -> float:
        """Standard deviation of one reading of calipers."""
        return self.caliper_error_mm / 2

    @property
    def says_reference(self) -> bool:
        """Whether a plain square or a disc was said to be there."""
        return self.square_mm is not None or self.disc_mm is not None

    @property
    def wants_camera(self) -> bool:
        """Whether an option is given that only a photo needs."""
        return any(v is not None for v in (self.item_height_mm, self.edge_height_mm, self.lens))


def _parted(named: Mapping[str, object]) -> dict[str, object]:
    """Return the values with a height that was said with how well it is known, such as 3+-0.5, as the two it is."""
    said = dict(named)
    for key in ("item_height_mm", "edge_height_mm"):
        if isinstance(value := said.get(key), tuple) and len(value) == 2:
            if declared(Settings)["height_within_mm"].is_said(said.get("height_within_mm")):
                raise UsageError(f"--{key[:-3].replace('_', '-')} says how well it is known, --height-within too.")
            said[key], said["height_within_mm"] = value
    return said


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Declared):
    """How pictures are read."""

    max_mpx: float = option(400.0, Number(1e-6, 1e6), "Largest picture to decode, in millions of pixels.")


# What of the settings shapes the drawing of an outline that is known already.
DRAWN = (*declared(Cutting), "cutting", "ideal", "bleed_mm", "inset_mm", "tolerance_mm")
COLOURS = "expected light, dark or a colour such as #e8e4da"


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
    raise refusal("--background", text, COLOURS)
