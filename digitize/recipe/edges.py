"""The edges of many regions, traced together, and what lies beside them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

from ..edge.pure import Rough
from ..edge.trace import Traced, trace_edges
from ..records import Picture
from ..reference.locate import Located
from ..silhouette.regions import Region
from .beside import Beside, look_beside

Edges = tuple[Traced | None, ...]  # of one region's chains, in their order


def edges_of(picture: Picture, regions: Sequence[Region], located: Located) -> list[Edges]:
    """Trace the edges of all regions together."""
    borders = [
        Rough(region.mask, region.mask_origin, chain, i > 0, _rim_px(region) if i == 0 else None)
        for region in regions
        for i, chain in enumerate(region.chains)
    ]
    traced = iter(trace_edges(picture, borders, blur_px=located.estimate.blur_px))
    return [tuple(islice(traced, len(region.chains))) for region in regions]


def seen_beside(
    picture: Picture, regions: Sequence[Region], edges: Sequence[Edges], located: Located, dust_mm: float
) -> list[Beside | None]:
    """Look beside the borders of all items of a scan together."""
    found: list[Beside | None] = [None] * len(regions)
    if located.camera is None:
        pairs = zip(regions, edges, strict=True)
        some = {
            k: tuple(one.contour for one in own if one is not None)
            for k, (region, own) in enumerate(pairs)
            if own[0] and region.drawn is None
        }
        seen = look_beside(picture, list(some.values()), located, dust_mm)
        for k, one in zip(some, seen, strict=True):
            found[k] = one
    return found


def _rim_px(region: Region) -> float | None:
    """Width of a rim within a region's border."""
    return None if region.rim is None or region.rim.is_outside else region.rim.width_px
