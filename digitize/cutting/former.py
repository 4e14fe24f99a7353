"""The plug over which a sheet is formed hot, from the pocket it is to leave when it is cold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..fitting.bulge import make_path
from ..records import Allowance, Path
from .ways import Cutting

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry


@dataclass(frozen=True, slots=True)
class Plug:
    """What draft and shrink make of an outline.

    The cold pocket is as wide as the item and its clearance at its floor, which forms over the plug's top, and
    height x tan(draft) wider on each side at its mouth, which forms about the plug's foot. A sheet that shrinks by s
    leaves (1 - s) of the plug, so the plug is 1 / (1 - s) times the cold pocket.
    """

    draft_mm: float  # on each side, from the plug's top to its foot, before shrinking
    scale: float  # 1 / (1 - shrink)
    height_mm: float  # of the plug, so that the cold pocket is as deep as was asked


def plug_for(cutting: Cutting) -> Plug:
    """Return the plug's allowances."""
    scale = 1 / (1 - cutting.shrink_percent / 100)
    draft = cutting.plug_height_mm * math.tan(math.radians(cutting.draft_deg))
    return Plug(draft, scale, cutting.plug_height_mm * scale)


def chain_for(cutting: Cutting) -> tuple[Allowance, ...]:
    """Return the way from the item to the plug's foot."""
    plug = plug_for(cutting)
    return (
        Allowance("lot", 0.0),
        Allowance("clearance", cutting.clearance_mm),
        Allowance("draft", plug.draft_mm),
        Allowance("shrink", 0.0, plug.scale),
    )


def scaled(region: Geometry, scale: float, about_mm: tuple[float, float]) -> Geometry:
    """Return a region times `scale`, about a point that stays."""
    from shapely import affinity

    return affinity.scale(region, scale, scale, origin=about_mm)


def scaled_path(path: Path, scale: float, about_mm: tuple[float, float]) -> Path:
    """Return a path times `scale`, about a point that stays."""
    return make_path(about_mm + scale * (path.points_mm - np.array(about_mm)), path.bulges)
