"""What of a workshop's file steps back beside what is said on the command line, where both cannot stand together."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import get_args

from ..cutting.ways import OF_WAY, VALUES, WAYS, Way

_PHOTO = frozenset({"item-height", "edge-height", "height-within", "profile"})
_SCAN = frozenset({"scanner", "disc"})
_ASIDE: Mapping[str, Collection[str]] = {
    "square": ("disc",),
    "disc": ("square", "camera", *_PHOTO),
    "item-height": ("edge-height", *_SCAN),
    "edge-height": ("item-height", *_SCAN),
    "profile": _SCAN,
    "scanner": ("dpi", "camera", *_PHOTO),
    "dpi": ("scanner",),
    "bleed": ("inset",),
    "inset": ("bleed",),
    "cut-holes": ("pins",),
    "pins": ("cut-holes",),
}


def stepping_back(said: Mapping[str, object]) -> frozenset[str]:
    """Return the options of the file that have no place beside what is `said`, words by option."""
    gone = {name for option in said for name in _ASIDE.get(option, ())}
    if (taken_with := said.get("camera")) is not None:
        gone |= _SCAN if taken_with in (True, "camera") else _PHOTO
    if said.get("cut") in get_args(Way):
        gone |= _of_other_ways(said["cut"])
    if any(mark in str(said.get(name, "")) for name in ("item-height", "edge-height") for mark in ("±", "+-", "+/-")):
        gone.add("height-within")
    return frozenset(gone - said.keys())


def _of_other_ways(way: object) -> set[str]:
    """Return the options of ways of cutting that this one does not have."""
    named = {name for one in WAYS for name in OF_WAY[one]}
    others = {VALUES[name].option for name in named if name not in OF_WAY[way]}  # type: ignore[index]
    return others | ({"cut-holes"} if way == "former" else set())
