"""What is known of one way of cutting: its values, declared once; where the user said nothing, typical ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal, get_args

from ..errors import UsageError
from ..kinds import Choice, Json, Number, Switch, Whole, shown
from ..parameters import Parameter, check_fields, given, option, own_parameters

Way = Literal["laser", "router", "knife", "print3d", "former"]
ReliefKind = Literal["diagonal", "side", "none"]
Value = float | str

WAYS: tuple[Way, ...] = get_args(Way)
RELIEFS: tuple[ReliefKind, ...] = get_args(ReliefKind)
_UNNAMED = ("clearance_mm", "kerf_mm")  # what a pocket without a named way takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutting:
    """How pockets are cut; a width of 0 is none. Values that a way does not have stay as they are here."""

    clearance_mm: float = option(
        0.0,
        Number(0, 20, "mm"),
        "Room between item and pocket in mm, each side.",
        words="clearance",
        tables=WAYS,
    )
    kerf_mm: float = option(
        0.0,
        Number(0, 5, "mm"),
        "Width the laser takes away in mm; half is compensated.",
        words="kerf",
        tables=("laser",),
    )
    cut_holes: bool = option(False, Switch(), "Cut the item's holes too, as pegs.")
    way: Way | None = option(  # None: clearance and kerf alone
        None,
        Choice(WAYS),
        "Way of cutting: laser, router, knife, print3d or former, with typical values.",
        name="cut",
        keyword="cut",
    )
    lead_in_mm: float = option(
        0.0,
        Number(0, 20, "mm"),
        "Laser: length of the lead-in in mm; 0 for none.",
        words="lead-in",
        tables=("laser",),
    )
    cutter_mm: float = option(
        0.0,
        Number(0.1, 50, "mm"),
        "Router: diameter of the cutter in mm.",
        words="cutter",
        tables=("router",),
    )
    relief: ReliefKind = option(
        "none",
        Choice(RELIEFS),
        "Router, at corners it cannot reach: diagonal (along the bisector), side (along the longer side), none",
        words="corner relief",
        tables=("router",),
    )
    least_radius_mm: float = option(
        0.0,
        Number(0, 100, "mm"),
        "Knife: no bend tighter than this, mm.",
        words="least radius",
        tables=("knife",),
    )
    first_layer_mm: float = option(
        0.0,
        Number(0, 2, "mm"),
        "3D print: spread of the first layer in mm.",
        words="spread of the first layer",
        tables=("print3d",),
    )
    draft_deg: float = option(
        0.0,
        Number(0, 45, "degrees"),
        "Former: draft of the plug in degrees.",
        words="draft",
        tables=("former",),
    )
    shrink_percent: float = option(
        0.0,
        Number(0, 5, "%"),
        "Former: shrink of the sheet in percent.",
        words="shrink",
        tables=("former",),
    )
    plug_height_mm: float = option(
        0.0,
        Number(0.1, 200, "mm"),
        "Former: depth of the pocket in mm.",
        words="height of the plug",
        tables=("former",),
    )
    notches: int = option(0, Whole(0, 12), "Finger notches in the pocket's wall, evenly about the item.")
    notch_width_mm: float = option(
        18.0,
        Number(2, 100, "mm"),
        "Width of a finger notch in mm.",
        words="width of the finger notches",
        tables=("notch",),
    )
    notch_angle_deg: float | None = option(  # from the item's middle
        None,
        Number(-360, 360, "degrees"),
        "Direction of the first notch, degrees from +x; away from corners and holes unless said.",
    )
    pins: bool = option(False, Switch(), "A pin for each hole of the item: hole less clearance.")
    web_mm: float = option(
        5.0,
        Number(0, 200, "mm"),
        "Warn of less sheet than this between pockets, mm.",
        words="least web",
        tables=("sheet",),
    )
    node_spacing_mm: float = option(
        0.3,
        Number(0, 10, "mm"),
        "Warn of lines and arcs shorter than this, mm.",
        words="least node spacing",
        tables=("sheet",),
    )
    typical: tuple[str, ...] = ()  # names of the values that nobody has measured
    wanted: bool = True  # whether pockets are cut at all

    def __post_init__(self) -> None:
        """Refuse values that cannot be meant.

        Raises
        ------
        UsageError
            Naming the option, what was given and what is expected.
        """
        own = own_parameters(type(self))
        way = next(one for one in own if one.field == "way").checked(self.way)
        strange = [one for one in own if one.tables and not _has(way, one)]
        _refuse_strangers(way, [one for one in strange if getattr(self, one.field) != one.default])
        check_fields(self, but={one.field for one in strange})
        if self.cut_holes and self.pins:
            raise UsageError("--cut-holes and --pins: a hole takes a peg of the sheet or a pin; give one of them.")
        if self.cut_holes and self.way == "former":
            raise UsageError("--cut-holes is for a pocket cut into a sheet, not for the plug of --cut former.")

    @classmethod
    def of(cls, fields: Mapping[str, object]) -> Cutting:
        """Return what `plain` has told, checked.

        Raises
        ------
        UsageError
            If a field is not known or cannot be meant.
        """
        known = {one.field for one in own_parameters(cls)}
        strange = [name for name in fields if name not in known and name != "typical"]
        typical = fields.get("typical", ())
        if strange or not isinstance(typical, list | tuple) or not known.issuperset(typical):
            raise UsageError(f"{shown(strange[0] if strange else typical)} is no value of a way of cutting.")
        values: dict[str, Any] = {**fields, "typical": tuple(typical)}
        return cls(**values)

    def plain(self) -> dict[str, Json]:
        """Return what differs from a pocket as large as the item, by field, as JSON has it."""
        return given(self) | ({"typical": list(self.typical)} if self.typical else {})

    def said(self, name: str) -> str:
        """Return a value in words: ``kerf 0.2 mm``."""
        return VALUES[name].said(getattr(self, name))


def _has(way: Way | None, one: Parameter) -> bool:
    """Whether a way of cutting has a value; notches and sheets are of all."""
    ways = [other for other in WAYS if other in one.tables]
    return not ways or way in ways or (way is None and one.field in _UNNAMED)


def _refuse_strangers(way: Way | None, said: Sequence[Parameter]) -> None:
    """Refuse values that the way does not have."""
    for one in said:
        if _has(way, one):
            continue
        ways = [other for other in WAYS if other in one.tables]
        if way is None:
            raise UsageError(f"{one.name} says how to cut, but not with what: say --cut {' or --cut '.join(ways)} too.")
        takes = (other.name for other in own_parameters(Cutting) if way in other.tables)
        raise UsageError(
            f"{one.name} is for --cut {' or '.join(ways)}, not for --cut {way}, which takes {', '.join(takes)}."
        )


NO_POCKET = Cutting(wanted=False)
VALUES: Mapping[str, Parameter] = MappingProxyType({one.field: one for one in own_parameters(Cutting)})
OF_WAY: Mapping[Way, tuple[str, ...]] = MappingProxyType(
    {way: tuple(name for name, one in VALUES.items() if way in one.tables) for way in WAYS}
)
_CHECKS = ("web_mm", "node_spacing_mm")  # limits of what is warned of


def choose(
    way: str | None,
    asked: Mapping[str, object],
    typical: Mapping[str, Mapping[str, Value]],
    own: Mapping[str, Mapping[str, Value]] | None = None,
) -> Cutting:
    """Put a way of cutting together: what the user said, else what the user's file says, else what is typical.

    Parameters
    ----------
    way
        One of `WAYS`, or None for clearance and kerf alone.
    asked
        What was said, by the fields' names; what is None was not said.
    typical, own
        Values by table ("laser", ..., "notch", "sheet") as `digitize.cutting.defaults` reads them.

    Raises
    ------
    UsageError
        If the way is not known, or a value is given that cannot be meant or that the way does not have.
    """
    known: Way | None = VALUES["way"].checked(way)
    said = {name: value for name, value in asked.items() if VALUES[name].is_said(value)}
    _refuse_strangers(known, [VALUES[name] for name in said])
    if known is None and not said.keys() & _UNNAMED:
        return _without_way(said)
    values: dict[str, Any] = {}
    unsaid = []
    for table, name in _wanted(known, said):
        mine = (own or {}).get(table, {}).get(name)
        fallback = typical.get(table, {}).get(name, 0.0)
        values[name] = fallback if mine is None else mine
        if name not in said and mine is None and _matters(name, known, said):
            unsaid.append(name)
    return Cutting(**{**values, **said, "way": known, "typical": tuple(unsaid)})


def _without_way(said: Mapping[str, object]) -> Cutting:
    """Return that no pocket is wanted, if nothing of one was said."""
    if said.keys() == {"cut_holes"}:
        raise UsageError(
            "--cut-holes without --clearance or --kerf: there is no path to cut. Say at least one of them."
        )
    if said:
        raise UsageError("how the pocket is cut is not said: give --cut WAY, or --clearance or --kerf.")
    return NO_POCKET


def _wanted(way: Way | None, said: Mapping[str, object]) -> list[tuple[str, str]]:
    """Return table and name of every value that is looked up."""
    own = [("", name) for name in _UNNAMED] if way is None else [(way, name) for name in OF_WAY[way]]
    # clearance and kerf alone ask for no warnings of webs and nodes
    checks = "" if way is None and said.keys() <= {*_UNNAMED, "cut_holes"} else "sheet"
    return [*own, ("notch", "notch_width_mm"), *((checks, name) for name in _CHECKS)]


def _matters(name: str, way: Way | None, said: Mapping[str, object]) -> bool:
    """Whether it matters to the user that nobody said a value: one that shapes what is cut."""
    own = ("clearance_mm",) if way is None else OF_WAY[way]
    return name in own or (name == "notch_width_mm" and "notches" in said)
