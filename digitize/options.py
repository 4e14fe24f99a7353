"""The options that several commands share: declared once, for the command line and for a manifest's columns."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from inspect import Parameter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from .errors import UsageError

if TYPE_CHECKING:
    from .camera.profile import LensProfile
    from .cutting.ways import Cutting
    from .run import Output
    from .settings import Settings
    from .write.solid.make import Solid

Text = str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeOptions:
    """What shapes an outline; each may differ from picture to picture in a manifest."""

    square: Annotated[Text, typer.Option(help="Sides of a plain reference square in mm: 50 or 49.8x49.9.")] = None
    measured: Annotated[Text, typer.Option(help="Calipers' readings of our card in mm, X and Y: 53.8x53.9.")] = None
    dpi: Annotated[
        Text, typer.Option(help="Density where no reference is in the picture: 600 (large uncertainty).")
    ] = None
    clearance: Annotated[float | None, typer.Option(help="Room between item and pocket in mm, each side.")] = None
    kerf: Annotated[float | None, typer.Option(help="Width the laser takes away in mm; half is compensated.")] = None
    cut_holes: Annotated[bool, typer.Option("--cut-holes", help="Cut the item's holes too, as pegs.")] = False
    ideal: Annotated[
        bool, typer.Option("--ideal", help="Write circles, rectangles, slots, regular polygons as what they are.")
    ] = False
    symmetric: Annotated[
        bool, typer.Option("--symmetric", help="Write a nearly symmetric outline made exactly so.")
    ] = False
    bleed: Annotated[float | None, typer.Option(help="Print area: this far over the item's edge, mm.")] = None
    inset: Annotated[float | None, typer.Option(help="Print area: this far inside the item's edge, mm.")] = None
    cut: Annotated[
        Text, typer.Option(help="Way of cutting: laser, router, knife, print3d or former, with typical values.")
    ] = None
    cutting: Annotated[Text, typer.Option(help="Your own values for --cut: edited file from digitize cutting.")] = None
    lead_in: Annotated[float | None, typer.Option(help="Laser: length of the lead-in in mm; 0 for none.")] = None
    cutter: Annotated[float | None, typer.Option(help="Router: diameter of the cutter in mm.")] = None
    relief: Annotated[
        Text,
        typer.Option(
            help="Router, at corners it cannot reach: diagonal (along the bisector), side (along the longer side), none"
        ),
    ] = None
    least_radius: Annotated[float | None, typer.Option(help="Knife: no bend tighter than this, mm.")] = None
    first_layer: Annotated[float | None, typer.Option(help="3D print: spread of the first layer in mm.")] = None
    draft: Annotated[float | None, typer.Option(help="Former: draft of the plug in degrees.")] = None
    shrink: Annotated[float | None, typer.Option(help="Former: shrink of the sheet in percent.")] = None
    plug_height: Annotated[float | None, typer.Option(help="Former: depth of the pocket in mm.")] = None
    notches: Annotated[int, typer.Option(help="Finger notches in the pocket's wall, evenly about the item.")] = 0
    notch_width: Annotated[float | None, typer.Option(help="Width of a finger notch in mm.")] = None
    notch_angle: Annotated[
        float | None,
        typer.Option(help="Direction of the first notch, degrees from +x; away from corners and holes unless said."),
    ] = None
    pins: Annotated[bool, typer.Option("--pins", help="A pin for each hole of the item: hole less clearance.")] = False
    web: Annotated[float | None, typer.Option(help="Warn of less sheet than this between pockets, mm.")] = None
    node_spacing: Annotated[float | None, typer.Option(help="Warn of lines and arcs shorter than this, mm.")] = None
    tolerance: Annotated[float, typer.Option(help="Largest distance of the lines and arcs from the edge in mm.")] = 0.02
    dust: Annotated[
        float,
        typer.Option(
            help="Specks, hairs and holes up to this size in mm are ignored; items are 5 times as long at least."
        ),
    ] = 1.0
    background: Annotated[Text, typer.Option(help="light, dark or #rrggbb, where it is not found by itself.")] = None
    square_at: Annotated[Text, typer.Option(help="X,Y in pixels: the reference square is here.")] = None
    item_at: Annotated[Text, typer.Option(help="X,Y in pixels: outline only the item here.")] = None

    camera: Annotated[
        bool | None,
        typer.Option("--camera/--flatbed", help="A photo or a scan, where the picture itself does not tell."),
    ] = None
    edge: Annotated[
        Text, typer.Option(help="Where two borders are plausible (rim, bevel, shadow): take the outer or the inner.")
    ] = None
    item_height: Annotated[
        Text,
        typer.Option(help="Photos: height of an item with upright walls in mm, 3.2 or 3.2+-0.3; 0 for a flat one."),
    ] = None
    edge_height: Annotated[
        Text, typer.Option(help="Photos: height of the item's widest line (rounded edges) in mm, 2 or 2+-0.5.")
    ] = None
    profile: Annotated[Text, typer.Option(help="Photos: the camera's lens, from digitize profile lens.")] = None
    background_photo: Annotated[
        Text, typer.Option(help="Photos: the same view without the item, for clear or glossy items.")
    ] = None

    def settings(self) -> Settings:
        """Return what the recipe reads.

        Raises
        ------
        UsageError
            If an option cannot be meant.
        """
        from .settings import Settings, parse_place

        cutting = self._cutting()
        return Settings(
            square_mm=_pair(self.square, "--square"),
            measured_mm=_pair(self.measured, "--measured"),
            dpi=_pair(self.dpi, "--dpi"),
            square_at_px=None if self.square_at is None else parse_place(self.square_at, option="--square-at"),
            item_at_px=None if self.item_at is None else parse_place(self.item_at, option="--item-at"),
            background=self.background,
            dust_mm=self.dust,
            tolerance_mm=self.tolerance,
            clearance_mm=self.clearance if cutting is None else None,
            kerf_mm=self.kerf if cutting is None else None,
            cut_holes=self.cut_holes,
            ideal=self.ideal,
            symmetric=self.symmetric,
            bleed_mm=self.bleed,
            inset_mm=self.inset,
            cutting=cutting,
            taken_with=None if self.camera is None else "camera" if self.camera else "flatbed",
            edge=self.edge,  # type: ignore[arg-type]  # checked there
            **self._heights(),
            lens=_lens(self.profile),
            background_photo=self.background_photo,
        )

    def _heights(self) -> dict[str, Any]:
        """Return the height that was said, and how well it is known."""
        from .settings import parse_height

        given: dict[str, Any] = {}
        for name, text in (("item_height", self.item_height), ("edge_height", self.edge_height)):
            if text is not None:
                height, within = parse_height(text, option="--" + name.replace("_", "-"))
                given |= {f"{name}_mm": height, "height_within_mm": within}
        return given

    def _cutting(self) -> Cutting | None:
        """Return the way of cutting; None where clearance and kerf alone say all."""
        given = {
            "lead_in_mm": self.lead_in,
            "cutter_mm": self.cutter,
            "relief": self.relief,
            "least_radius_mm": self.least_radius,
            "first_layer_mm": self.first_layer,
            "draft_deg": self.draft,
            "shrink_percent": self.shrink,
            "plug_height_mm": self.plug_height,
            "notch_width_mm": self.notch_width,
            "web_mm": self.web,
            "node_spacing_mm": self.node_spacing,
        }
        asked = (self.cut, self.cutting, self.notch_angle, self.notches or None, self.pins or None, *given.values())
        if all(one is None for one in asked):
            return None
        from .cutting.defaults import read_cutting_file, typical_values
        from .cutting.ways import choose

        if self.cut is None and self.cutting is not None:
            raise UsageError("--cutting is a file of values for a way of cutting: say which, --cut WAY.")
        if self.cut is None and self.clearance is None and self.kerf is None:
            raise UsageError("how the pocket is cut is not said: give --cut WAY, or --clearance or --kerf.")
        return choose(
            self.cut,
            {"clearance_mm": self.clearance, "kerf_mm": self.kerf, **given},
            typical_values(),
            None if self.cutting is None else read_cutting_file(Path(self.cutting)),
            notches=self.notches,
            notch_angle_deg=self.notch_angle,
            pins=self.pins,
        )

    @classmethod
    def columns(cls) -> tuple[str, ...]:
        """Return the options' names as on the command line, without the dashes in front."""
        return tuple(field.name.replace("_", "-") for field in fields(cls))

    def with_cells(self, cells: Mapping[str, str]) -> RecipeOptions:
        """Return the options with those of one row of a manifest in their place.

        Raises
        ------
        UsageError
            If a cell is not of the option's kind.
        """
        kinds = get_type_hints(RecipeOptions)
        given = {name.replace("-", "_"): text for name, text in cells.items()}
        values: dict[str, Any] = {name: _value(name, text, kinds[name]) for name, text in given.items()}
        return replace(self, **values)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileOptions:
    """What is read and written, and how."""

    format: Annotated[str, typer.Option(help="Files to write.")] = "json,dxf,svg,pdf,png"
    separate: Annotated[bool, typer.Option("--separate", help="One file an item instead of one a picture.")] = False
    dxf_version: Annotated[str, typer.Option(help="r12, 2000 or 2010.")] = "2010"
    solid: Annotated[
        float | None,
        typer.Option(
            help="Also STL and 3MF of a plate this thick, in mm, with the pockets in it; with --cut former the plugs, "
            "on a block this thick. Needs digitize[solid]."
        ),
    ] = None
    depth: Annotated[
        float | None, typer.Option(help="Depth of the pockets in the solid in mm; all but a floor of 1 mm.")
    ] = None
    max_mpx: Annotated[float, typer.Option(help="Largest picture to decode, in millions of pixels.")] = 400.0
    force: Annotated[bool, typer.Option("--force", help="Overwrite files that digitize did not write.")] = False

    def output(self, folder: Path) -> Output:
        """Return what is to be written into `folder`.

        Raises
        ------
        UsageError
            If a format or a DXF version is not known, or the solid cannot be meant or made.
        """
        from .run import Output, parse_formats
        from .write.dxf import VERSIONS

        version = "r" + self.dxf_version.lower().removeprefix("r")
        if version not in VERSIONS:
            raise UsageError(f"--dxf-version {self.dxf_version}: DXF is written as r12, 2000 or 2010.")
        return Output(
            folder=folder,
            formats=parse_formats(self.format),
            separate=self.separate,
            force=self.force,
            dxf_version=version,
            solid=self._solid(),
        )

    def _solid(self) -> Solid | None:
        if self.solid is None and self.depth is None:
            return None
        if self.solid is None:
            raise UsageError("--depth is the depth of pockets in a solid: say the plate's thickness, --solid T.")
        from .write.solid.make import Solid, check_solid_package

        check_solid_package()
        return Solid(self.solid, self.depth)


def spread(command: Callable[..., int]) -> Callable[..., int]:
    """Let a command take a group of options as one argument: on the command line each field is an option."""
    signature = inspect.signature(command, eval_str=True)
    groups: dict[str, Any] = {
        name: one.annotation for name, one in signature.parameters.items() if is_dataclass(one.annotation)
    }

    @functools.wraps(command)
    def run(**given: Any) -> int:
        for name, group in groups.items():
            given[name] = group(**{field.name: given.pop(field.name) for field in fields(group)})
        return command(**given)

    shown: list[Parameter] = []
    for name, one in signature.parameters.items():
        shown += _parameters(groups[name]) if name in groups else [one.replace(kind=Parameter.KEYWORD_ONLY)]
    run.__signature__ = signature.replace(parameters=shown)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in shown}
    return run


def _parameters(group: Any) -> list[Parameter]:
    kinds = get_type_hints(group, include_extras=True)
    return [
        Parameter(field.name, Parameter.KEYWORD_ONLY, default=field.default, annotation=kinds[field.name])
        for field in fields(group)
    ]


def _pair(text: Text, option: str) -> tuple[float, float] | None:
    from .settings import parse_pair

    return None if text is None else parse_pair(text, option=option)


def _lens(path: Text) -> LensProfile | None:
    if path is None:
        return None
    from .camera.profile import read_lens_profile

    return read_lens_profile(Path(path))


def _value(name: str, text: str, kind: Any) -> str | float | int | bool:
    """Read a manifest's cell as an option of the given kind."""
    if kind in (bool, bool | None):
        if text.lower() not in ("yes", "no"):
            raise UsageError(f"{name.replace('_', '-')} {text}: expected yes or no.")
        return text.lower() == "yes"
    if kind is int and text.strip().isdecimal():
        return int(text)
    if kind not in (int, float, float | None):
        return text
    try:
        if kind is int:
            raise ValueError(text)
        return float(text.replace(",", "."))
    except ValueError:
        raise UsageError(f"{name.replace('_', '-')} {text}: expected a number.") from None
