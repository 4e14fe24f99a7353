"""Caliper readings held against an item's sizes: each agrees, disagrees, or is too close to call."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from ..errors import UsageError
from ..records import Circle, Item
from .uncertainty import of_length_k2_mm

CALIPER_K2_MM = 0.04  # one careful reading of calipers with 0.01 mm resolution, k = 2; common practice, no source
_AXIS_DEG = 10.0  # a length nearer than this to the picture's width or height tells of that direction's scale
Verdict = Literal["agree", "doubtful", "disagree"]
Along = Literal["x", "y", ""]


@dataclass(frozen=True, slots=True)
class Size:
    """One size of an item that calipers can read."""

    mm: float
    k2_mm: float  # expanded uncertainty, k = 2
    along: Along = ""  # the picture's axis it lies along, where it does
    grows: float = 1.0  # -1 for a hole, which an outline too large all round makes smaller


@dataclass(frozen=True, slots=True)
class Compared:
    """A size and what calipers said of it."""

    name: str  # "length", "width", "box width", "box height", "hole 1"
    size: Size
    read_mm: float
    read_k2_mm: float

    @property
    def difference_mm(self) -> float:
        """The outline less the reading."""
        return self.size.mm - self.read_mm

    @property
    def both_k2_mm(self) -> float:
        """Expanded uncertainty of the difference: independent, root sum of squares (JCGM 100, 5.1.2)."""
        return math.hypot(self.size.k2_mm, self.read_k2_mm)

    @property
    def verdict(self) -> Verdict:
        """Whether both can be true.

        They agree where the difference is within its own expanded uncertainty (E_n of at most 1, ISO/IEC 17043). That
        one of them is wrong counts as proven, as ISO 14253-1 asks before anything is refused, only where the
        difference exceeds both uncertainties one after the other. Between these it is doubtful.

        Examples
        --------
        >>> [Compared("length", Size(40.0, 0.03), 40.0 + off, 0.04).verdict for off in (0.05, 0.06, 0.08)]
        ['agree', 'doubtful', 'disagree']
        """
        off = abs(self.difference_mm)
        if off <= self.both_k2_mm:
            return "agree"
        return "disagree" if off > self.size.k2_mm + self.read_k2_mm else "doubtful"


def sizes_of(item: Item) -> dict[str, Size]:
    """Return what calipers can read of an item, by name: length and width along itself, its box, its round holes."""
    found: dict[str, Size] = {}

    def size(mm: float, along: Along = "", grows: float = 1.0) -> Size:
        return Size(mm, of_length_k2_mm(item.uncertainty, mm), along, grows)

    if item.calipers is not None:
        read = item.calipers
        lies = (read.direction_deg - item.rotation_deg) % 180  # in the picture
        round_ = read.length_mm == read.width_mm
        found["length"] = Size(read.length_mm, read.length_k2_mm, "" if round_ else _axis(lies))
        found["width"] = Size(read.width_mm, read.width_k2_mm, "" if round_ else _axis(lies + 90))
    turned = item.rotation_deg != 0
    found["box width"] = size(item.width_mm, "" if turned else "x")
    found["box height"] = size(item.height_mm, "" if turned else "y")
    for number, path in enumerate(item.hole_paths, 1):
        diameter = _diameter(item, number, path)
        if diameter is not None:
            found[f"hole {number}"] = size(diameter, grows=-1.0)
    return found


def compare(item: Item, readings: Mapping[str, float], *, read_k2_mm: float = CALIPER_K2_MM) -> tuple[Compared, ...]:
    """Hold readings in mm, by the names of `sizes_of`, against an item's sizes.

    Raises
    ------
    UsageError
        If the item has no such size.
    """
    sizes = sizes_of(item)
    for name in readings:
        if name not in sizes:
            raise UsageError(f"{item.name} has no {name} that calipers could read{_why_not(name, item)}.")
    return tuple(Compared(name, sizes[name], mm, read_k2_mm) for name, mm in readings.items())


def worst(compared: Iterable[Compared]) -> Verdict:
    """Return the worst verdict."""
    found = {one.verdict for one in compared}
    return "disagree" if "disagree" in found else "doubtful" if "doubtful" in found else "agree"


def _axis(direction_deg: float) -> Along:
    off = (direction_deg + 45) % 90 - 45
    if abs(off) > _AXIS_DEG:
        return ""
    return "x" if round(direction_deg / 90) % 2 == 0 else "y"


def _diameter(item: Item, number: int, path: object) -> float | None:
    if isinstance(path, Circle):
        return 2 * path.radius_mm
    shape = item.shapes[number] if number < len(item.shapes) else None
    return shape.sizes_mm["diameter"] if shape is not None and shape.kind == "circle" else None


def _why_not(name: str, item: Item) -> str:
    if not name.startswith("hole "):
        return ": its document is of an older digitize. Outline the picture again"
    if int(name.split()[1]) > len(item.hole_paths):
        return f": it has {len(item.hole_paths)} hole{'' if len(item.hole_paths) == 1 else 's'}"
    return ": that hole is not round"
