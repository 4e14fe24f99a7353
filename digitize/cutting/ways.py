"""What is known of one way of cutting: its widths, checked once; where the user said nothing, typical ones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, cast, get_args

from ..errors import UsageError

Way = Literal["laser", "router", "knife", "print3d", "former"]
ReliefKind = Literal["diagonal", "side", "none"]
Value = float | str

WAYS: tuple[Way, ...] = get_args(Way)
RELIEFS: tuple[ReliefKind, ...] = get_args(ReliefKind)


@dataclass(frozen=True, slots=True)
class Kind:
    """What a value is called, and between which limits it can be meant."""

    option: str
    words: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0


KINDS: dict[str, Kind] = {
    "clearance_mm": Kind("--clearance", "clearance", " mm", 0.0, 20.0),
    "kerf_mm": Kind("--kerf", "kerf", " mm", 0.0, 5.0),
    "lead_in_mm": Kind("--lead-in", "lead-in", " mm", 0.0, 20.0),
    "cutter_mm": Kind("--cutter", "cutter", " mm", 0.1, 50.0),
    "relief": Kind("--relief", "corner relief"),
    "least_radius_mm": Kind("--least-radius", "least radius", " mm", 0.0, 100.0),
    "first_layer_mm": Kind("--first-layer", "spread of the first layer", " mm", 0.0, 2.0),
    "draft_deg": Kind("--draft", "draft", " degrees", 0.0, 45.0),
    "shrink_percent": Kind("--shrink", "shrink", " %", 0.0, 5.0),
    "plug_height_mm": Kind("--plug-height", "height of the plug", " mm", 0.1, 200.0),
    "notch_width_mm": Kind("--notch-width", "width of the finger notches", " mm", 2.0, 100.0),
    "web_mm": Kind("--web", "least web", " mm", 0.0, 200.0),
    "node_spacing_mm": Kind("--node-spacing", "least node spacing", " mm", 0.0, 10.0),
}
OF_WAY: dict[Way, tuple[str, ...]] = {
    "laser": ("clearance_mm", "kerf_mm", "lead_in_mm"),
    "router": ("clearance_mm", "cutter_mm", "relief"),
    "knife": ("clearance_mm", "least_radius_mm"),
    "print3d": ("clearance_mm", "first_layer_mm"),
    "former": ("clearance_mm", "draft_deg", "shrink_percent", "plug_height_mm"),
}
_UNNAMED = ("clearance_mm", "kerf_mm")  # what a pocket without a named way takes
_OF_ALL = ("notch_width_mm", "web_mm", "node_spacing_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutting:
    """How pockets are cut; a width of 0 is none. Values that a way does not have stay 0."""

    way: Way | None = None  # None: clearance and kerf alone
    clearance_mm: float = 0.0
    kerf_mm: float = 0.0
    lead_in_mm: float = 0.0
    cutter_mm: float = 0.0  # diameter
    relief: ReliefKind = "none"
    least_radius_mm: float = 0.0
    first_layer_mm: float = 0.0
    draft_deg: float = 0.0
    shrink_percent: float = 0.0
    plug_height_mm: float = 0.0
    notches: int = 0
    notch_width_mm: float = 18.0
    notch_angle_deg: float | None = None  # of the first, from the item's middle; None: away from corners and holes
    pins: bool = False
    web_mm: float = 5.0
    node_spacing_mm: float = 0.3
    typical: tuple[str, ...] = ()  # names of the values that nobody has measured

    def __post_init__(self) -> None:
        """Refuse values that cannot be meant.

        Raises
        ------
        UsageError
            Naming the option, what was given and what is expected.
        """
        if self.way is not None and self.way not in WAYS:
            raise UsageError(f"--cut {self.way}: choose from {', '.join(WAYS)}.")
        used = (*(_UNNAMED if self.way is None else OF_WAY[self.way]), *_OF_ALL)
        for name in used:
            check_value(name, getattr(self, name))
        if not 0 <= self.notches <= 12:
            raise UsageError(f"--notches {self.notches}: expected 0 to 12.")
        angle = self.notch_angle_deg
        if angle is not None and not (math.isfinite(angle) and abs(angle) <= 360):
            raise UsageError(f"--notch-angle {angle:g}: expected -360 to 360 degrees.")

    def said(self, name: str) -> str:
        """Return a value in words: ``kerf 0.2 mm``."""
        value = getattr(self, name)
        return f"{KINDS[name].words} {value if isinstance(value, str) else f'{value:g}'}{KINDS[name].unit}"


def check_value(name: str, value: object, *, where: str | None = None) -> Value:
    """Return a value as the user gave it, if it can be meant.

    Raises
    ------
    UsageError
        Naming the option, or `where` it was read, and what is expected.
    """
    kind = KINDS[name]
    place = kind.option if where is None else where
    if name == "relief":
        if value not in RELIEFS:
            raise UsageError(f"{place} {value}: choose from {', '.join(RELIEFS)}.")
        return value
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not kind.low <= float(cast(float, value)) <= kind.high:
        raise UsageError(f"{place} {value}: expected {kind.low:g} to {kind.high:g}{kind.unit}.")
    return float(cast(float, value))


def choose(
    way: str | None,
    given: Mapping[str, Value | None],
    typical: Mapping[str, Mapping[str, Value]],
    own: Mapping[str, Mapping[str, Value]] | None = None,
    *,
    notches: int = 0,
    notch_angle_deg: float | None = None,
    pins: bool = False,
) -> Cutting:
    """Put a way of cutting together: what the user said, else what the user's file says, else what is typical.

    Parameters
    ----------
    way
        One of `WAYS`, or None for clearance and kerf alone.
    given
        Values by name (see `KINDS`) as said on the command line; None where nothing was said.
    typical, own
        Values by table ("laser", ..., "notch", "sheet") as `digitize.cutting.defaults` reads them.

    Raises
    ------
    UsageError
        If the way is not known, or a value is given that it does not have.
    """
    if way is not None and way not in WAYS:
        raise UsageError(f"--cut {way}: choose from {', '.join(WAYS)}.")
    known: Way | None = way
    _check_given(known, given)
    values: dict[str, Value] = {}
    unsaid = []
    for table, name in _wanted(known):
        said = given.get(name)
        mine = (own or {}).get(table, {}).get(name)
        values[name] = next(v for v in (said, mine, typical.get(table, {}).get(name), 0.0) if v is not None)
        if said is None and mine is None and _shown(name, known, notches):
            unsaid.append(name)
    made = {"way": known, "notches": notches, "notch_angle_deg": notch_angle_deg, "pins": pins}
    return Cutting(**values, **made, typical=tuple(unsaid))  # type: ignore[arg-type]


def _wanted(way: Way | None) -> list[tuple[str, str]]:
    """Return table and name of every value that is looked up."""
    own = [("", name) for name in _UNNAMED] if way is None else [(way, name) for name in OF_WAY[way]]
    return [*own, ("notch", "notch_width_mm"), ("sheet", "web_mm"), ("sheet", "node_spacing_mm")]


def _shown(name: str, way: Way | None, notches: int) -> bool:
    """Whether it matters to the user that a value is only a typical one: those that shape what is cut."""
    return name in OF_WAY.get(cast(Way, way), ()) or (name == "notch_width_mm" and notches > 0)


def _check_given(way: Way | None, given: Mapping[str, Value | None]) -> None:
    own = (*(_UNNAMED if way is None else OF_WAY[way]), *_OF_ALL)
    for name, value in given.items():
        if value is None or name in own:
            continue
        option, ways = KINDS[name].option, [w for w in WAYS if name in OF_WAY[w]]
        if way is None:
            raise UsageError(f"{option} says how to cut, but not with what: say --cut {' or --cut '.join(ways)} too.")
        raise UsageError(
            f"{option} is for --cut {' or '.join(ways)}, not for --cut {way}, which takes "
            f"{', '.join(KINDS[one].option for one in OF_WAY[way])}."
        )
