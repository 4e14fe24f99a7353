"""Where artwork lies on an item, and so on the plate: in its print area, at true size or fitted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from ..fitting.bulge import curve_area, curve_ring, make_path, reversed_curve
from ..records import Circle, Curve, Finding, Path
from ..words.say import finding_of
from .plate import Kind, Place, moved_by, placed_curve

Fit = Literal["size", "cover", "inside"]
FITS: tuple[Fit, ...] = get_args(Fit)
BARE_MM = 0.05  # of the print area, beside the artwork, from which it is said
_CHORD_MM = 0.002  # chord error


@dataclass(frozen=True, slots=True)
class ArtPlace:
    """Artwork on one kind of item, about the middle of the upright item's box, mm, y up."""

    clip: tuple[Path, ...]  # the print area: edges counter-clockwise, holes in it clockwise
    left: float
    bottom: float
    width: float
    height: float


def print_area_of(kind: Kind) -> tuple[Path, ...]:
    """Return where artwork goes on an upright item: its print area, or its outline and holes if it has none.

    Holes run the other way round than edges, for readers that do not know the even-odd rule.
    """
    import shapely

    item, moved = kind.item, moved_by(kind, Place(kind.name, 0.0, 0.0, 0.0))
    curves = [placed_curve(curve, moved) for curve in (item.print_area or (*item.hole_paths, item.path))]
    areas = [shapely.Polygon(curve_ring(curve, chord_mm=_CHORD_MM)) for curve in curves]
    within = [sum(other.contains(area) for other in areas if other is not area) for area in areas]
    return tuple(_running(curve, left=depth % 2 == 0) for curve, depth in zip(curves, within, strict=True))


def _running(curve: Curve, *, left: bool) -> Path:
    """Return a curve as a path that runs counter-clockwise (`left`) or clockwise."""
    if isinstance(curve, Circle):
        (x, y), r = curve.centre_mm, curve.radius_mm
        curve = make_path(np.array([(x + r, y), (x - r, y)]), np.ones(2))
    turned = curve if (curve_area(curve) > 0) == left else reversed_curve(curve)
    assert isinstance(turned, Path)
    return turned


def art_place(
    kind: Kind, width_mm: float, height_mm: float, fit: Fit, *, artwork: str
) -> tuple[ArtPlace, tuple[Finding, ...]]:
    """Return how artwork of a size lies on a kind, its middle on the middle of the print area's box.

    Parameters
    ----------
    kind
        The items it is for.
    width_mm, height_mm
        True size of the artwork.
    fit
        ``size``: as large as it is; ``cover``: scaled so that it just covers the print area's box; ``inside``: so that
        it just lies within. Its proportions are kept.
    artwork
        Its name, for what is said where part of the print area stays bare.
    """
    clip = print_area_of(kind)
    points = np.concatenate([curve_ring(curve, chord_mm=_CHORD_MM) for curve in clip])
    low, high = points.min(axis=0), points.max(axis=0)
    shares = (high - low) / (width_mm, height_mm)
    scale = {"size": 1.0, "cover": float(shares.max()), "inside": float(shares.min())}[fit]
    size = np.array([width_mm, height_mm]) * scale
    left, bottom = ((low + high - size) / 2).tolist()
    placed = ArtPlace(clip, left, bottom, float(size[0]), float(size[1]))
    bare = float(((high - low - size) / 2).max())
    if bare <= BARE_MM or fit == "inside":
        return placed, ()
    return placed, (finding_of("artwork-small", value=bare, name=kind.name, artwork=artwork),)
